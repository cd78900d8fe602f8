/* The warm-up's balances at one moment: the curves, what is stored, Newton's method on a stage.
 *
 * The steady balance (heat_balance.c) and its linear system (elimination.c), with what wall and
 * wrap store added. The gas, whose own store is some five hundred times smaller, balances at once.
 */
#include "warm_up.h"

/* The curves at one moment ------------------------------------------------------------------------ */

static double curve_at(const struct run *r, const double *start, const double *slope, double time)
{
    int64_t at = r->i * r->job->stretches + r->stretch;
    return start[at] + slope[at] * (time - r->job->forcing.breaks[r->stretch]);
}

double hot_at(const struct run *r, double time)
{
    const struct forcing *f = &r->job->forcing;
    double value = curve_at(r, f->gas_start, f->gas_slope, time);
    for (int64_t k = r->i * r->job->lags; k < (r->i + 1) * r->job->lags; k++)
        value += f->lag_amount[k] * exp(-f->lag_rate[k] * time);
    return value;
}

static double flow_at(const struct run *r, double time)
{
    return curve_at(r, r->job->forcing.flow_start, r->job->forcing.flow_slope, time);
}

static double air_at(const struct run *r, double time)
{
    return curve_at(r, r->job->forcing.air_start, r->job->forcing.air_slope, time);
}

/* Stores of heat ----------------------------------------------------------------------------------- */

double stored_heat(const double *capacity, double t) /* above 0 K, J/kg */
{
    return t * (capacity[0] + t * (capacity[1] / 2 + t * capacity[2] / 3));
}

double heat_capacity(const double *capacity, double t)
{
    return capacity[0] + t * (capacity[1] + t * capacity[2]);
}

double wall_heat(const struct run *r, int64_t n, double t)
{
    const struct store *s = &r->job->store;
    return row(r, s->metal)[n] * stored_heat(s->capacity + 3 * r->i, t) +
           row(r, s->wrap_wall)[n] * t;
}

double wall_capacity(const struct run *r, int64_t n, double t)
{
    const struct store *s = &r->job->store;
    return row(r, s->metal)[n] * heat_capacity(s->capacity + 3 * r->i, t) + row(r, s->wrap_wall)[n];
}

/* The balance at one moment ------------------------------------------------------------------------ */

/* Put mixing and air speed of one moment, and temperatures, in place. */
static void set(struct run *r, double time, const double *here)
{
    const struct warm_job *job = r->job;
    double hot = hot_at(r, time), flow = flow_at(r, time), running = r->d->mass_flow;
    double main = r->d->main_outside_diameter - 2 * r->d->main_wall_thickness;
    double speed = flow * hot / (r->b.gas_per_kelvin * PI / 4 * main * main);
    double louder = running > 0 ? flow / running : 1.0, strength = louder * louder;
    for (int64_t n = 0; n < r->nodes; n++)
        r->b.forced[n] = row(r, job->constant)[n] + speed * row(r, job->stirred)[n] +
                         strength * row(r, job->shaken)[n];
    r->b.out.air_speed = air_at(r, time);
    balance_mixing(&r->b);
    balance_mouth(&r->b, r->d, hot, flow, louder * r->d->cap_pressure);
    size_t bytes = (size_t)r->nodes * sizeof(double);
    memcpy(r->b.gas_t, here + GAS * r->nodes, bytes);
    memcpy(r->b.wall_t, here + WALL * r->nodes, bytes);
    memcpy(r->b.skin_t, here + SKIN * r->nodes, bytes);
}

static void get(const struct run *r, double *here)
{
    size_t bytes = (size_t)r->nodes * sizeof(double);
    memcpy(here + GAS * r->nodes, r->b.gas_t, bytes);
    memcpy(here + WALL * r->nodes, r->b.wall_t, bytes);
    memcpy(here + SKIN * r->nodes, r->b.skin_t, bytes);
    memcpy(here + DRIED * r->nodes, r->b.dried, bytes);
}

/* Add to the assembled balance what wall and skin store: (heat - known) × rate. */
static void add_stores(struct run *r, double rate)
{
    struct balance *b = &r->b;
    const double *in_skin = row(r, r->job->store.wrap_skin);
    for (int64_t n = 0; n < r->nodes; n++) {
        b->wall_amiss[n] += (wall_heat(r, n, b->wall_t[n]) - r->known_wall[n]) * rate;
        b->wall_here[n] += wall_capacity(r, n, b->wall_t[n]) * rate;
        if (b->wrapped) {
            b->skin_loss[n] += (in_skin[n] * b->skin_t[n] - r->known_skin[n]) * rate;
            b->skin_slope[n] += in_skin[n] * rate;
        }
    }
}

/* Wall and skin keep their temperatures: the gas alone finds its balance, and vapour its own. */
static void freeze(struct balance *b)
{
    b->wet = false;
    size_t bytes = (size_t)b->nodes * sizeof(double);
    double *nil[] = {b->wall_amiss, b->outside_loss, b->outside_slope, b->wall_left, b->wall_right,
                     b->wall_gas_left, b->wall_gas_here, b->wall_gas_right};
    for (size_t k = 0; k < sizeof nil / sizeof *nil; k++)
        memset(nil[k], 0, bytes);
    for (int64_t n = 0; n < b->nodes; n++)
        b->wall_here[n] = 1.0;
}

/* Balance one stage in place; into `heat`, to first order in the last step as the linear system
 * holds them, what enters but for the mouth node's own store, and what is lost. Returns the steps
 * spent, -1 if they did not suffice. */
int64_t balance_stage(struct run *r, double time, double rate, bool frozen, double *here,
                      struct heat *heat)
{
    const struct stepping_rules *rules = &r->job->rules;
    struct balance *b = &r->b;
    bool wrapped = b->wrapped;
    double before = 0.0, share = 1.0;
    size_t bytes = (size_t)r->nodes * sizeof(double);
    memset(r->earlier, 0, bytes);
    set(r, time, here);
    for (int64_t spent = 1; spent <= rules->most_newton_steps; spent++) {
        balance_assemble(b);
        double entering = b->gas_amiss[0] + b->latent + b->wall_amiss[0], lost = 0.0;
        if (frozen) {
            freeze(b);
            b->wrapped = false; /* the skin goes with the wall, which stays */
        } else {
            for (int64_t n = 0; n < r->nodes; n++)
                lost += b->skin_loss[n];
            memcpy(r->slope, b->skin_slope, bytes); /* without what the skin stores */
            add_stores(r, rate);
            eliminate_skin(b);
            entering += b->outside_loss[0];
        }
        double largest = newton_step(b), swing = 0.0, swung = 0.0;
        if (isnan(largest)) {
            b->wrapped = wrapped;
            return -1;
        }
        for (int64_t n = 0; n < r->nodes; n++) {
            if (!frozen)
                lost += r->slope[n] * b->skin_step[n];
            if (fabs(b->gas_step[n]) > fabs(swing))
                swing = b->gas_step[n], swung = r->earlier[n];
            r->earlier[n] = b->gas_step[n];
        }
        /* Quadratic convergence foretells the next step from the last two. */
        bool last = largest < rules->newton_step ||
                    (largest < before && largest * largest < rules->foretold_step * before) ||
                    (spent > rules->loose_after && largest < rules->loose_step);
        before = largest;
        /* A step that takes back much of the one before goes to and fro: shorten it. */
        bool to_and_fro = swing * swung < 0 && fabs(swing) > rules->swing * fabs(swung);
        share = last         ? 1.0
                : to_and_fro ? share * rules->shorter
                             : fmin(1.0, share * rules->longer);
        newton_move(b, share, r->low, r->high);
        b->wrapped = wrapped;
        if (last) {
            entering += (b->gas_here[0] + b->wall_gas_here[0]) * b->gas_step[0];
            entering += b->gas_right[0] * b->gas_step[1] + b->wall_gas_right[0] * b->gas_step[1] +
                        b->wall_right[0] * b->wall_step[1];
            entering += latent_change(b);
            *heat = (struct heat){entering, lost};
            get(r, here);
            return spent;
        }
    }
    return -1;
}

/* Rates of heating of wall and skin, W, and the heat that enters and is lost. */
void rates(struct run *r, double time)
{
    struct balance *b = &r->b;
    set(r, time, r->stage[0]);
    balance_assemble(b);
    r->heat[0].lost = 0.0;
    for (int64_t n = 0; n < r->nodes; n++) {
        double loss = b->skin_loss[n], through = loss;
        if (b->wrapped)
            through = b->wrap_conductance[n] * (b->wall_t[n] - b->skin_t[n]);
        r->heat[0].lost += loss;
        r->wall_rate[0][n] = -(b->wall_amiss[n] + through);
        r->skin_rate[0][n] = through - loss;
        if (n == 0)
            r->heat[0].entering = b->gas_amiss[0] + b->latent + b->wall_amiss[0] + through;
    }
}

/* Heat that the main pipe's wall takes up over its outer surface, W/m², and its slope. */
double main_flux(struct run *r, double time, double wall, double *slope)
{
    double hot = hot_at(r, time);
    double supply = main_supply(r->d, &r->b.gas, r->job->main_film[r->i], hot, flow_at(r, time));
    r->main.air_speed = air_at(r, time);
    double own, flux = outside_flux(&r->main, r->d->main_outside_diameter, wall, &own);
    *slope = -supply - own;
    return supply * (hot - wall) - flux;
}

/* Temperature of the main pipe's wall that closes one stage, K; NaN when none is found. */
double main_wall(struct run *r, double time, double rate, double known, double wall)
{
    const struct store *s = &r->job->store;
    const double *capacity = s->main_capacity + 3 * r->i;
    double metal = s->main_metal[r->i];
    for (int n = 0; n < 40; n++) {
        double slope, flux = main_flux(r, time, wall, &slope);
        double amiss = (metal * stored_heat(capacity, wall) - known) * rate - flux;
        double change = amiss / (metal * heat_capacity(capacity, wall) * rate - slope);
        wall -= change;
        if (fabs(change) < r->job->rules.main_wall_step)
            return wall;
    }
    return NAN;
}
