/* Where nodes stand along the branch, and where the search for its temperatures starts.
 *
 * Graded nodes for a sketch (grid.py), then nodes where the sketched profiles bend (sketch.py).
 */
#include "core.h"

/* Graded nodes ---------------------------------------------------------------------------------- */

/* Solve β / (e^β - 1) = ratio for β >= 0, 0 < ratio <= 1, by Newton's method.
 *
 * In the form β - ln(1 + β/ratio) = 0, whose left side is convex and not below 0 at 2 ln(1/ratio):
 * from there steps come down to the solution, first cheap ones. */
static double steepness(double ratio)
{
    double beta = -2 * log(ratio);
    for (int n = 0; n < 3; n++)
        beta = log1p(beta / ratio);
    for (int n = 0; n < 60; n++) { /* where the ratio is 1 but for rounding, each halves the rest */
        double slope = 1 - 1 / (ratio + beta);
        double step = (beta - log1p(beta / ratio)) / (slope > 0 ? slope : 1.0);
        beta = fmax(beta - step, 0.0);
        if (step < 1e-12 * (1 + beta))
            break;
    }
    return beta;
}

/* x(s) = L (e^(β s) - 1)/(e^β - 1), with a first spacing of min(L, density scales) over s. */
void graded(double length, double first_scale, double density, int64_t nodes, double *x)
{
    double beta = fmax(steepness(fmin(1.0, density * first_scale / length)), 1e-9);
    double whole = expm1(beta);
    for (int64_t n = 0; n < nodes; n++)
        x[n] = length * expm1(beta * ((double)n / (double)(nodes - 1))) / whole;
    x[nodes - 1] = length;
}

/* Shorter of the gas's and the wall's decay lengths at the mouth, m: it only places nodes. */
double shortest_scale(const struct design *d, const struct gas_table *gas, double at_mouth,
                      double wall_scales)
{
    double bore = d->bore, hot = d->main_gas_temperature;
    struct gas_state s = gas_at(gas, quad_of(hot));
    double density = d->pressure / (gas->gas_constant * hot), k = s.conductivity[0];
    double mixed = density * s.heat_capacity[0] * at_mouth;
    double root = sqrt(at_mouth * density / s.viscosity[0]);
    double film = ((d->still_nusselt + d->stirred_film * root) * k + d->stanton * mixed) / bore;
    if (!isnan(d->fixed_inner_film))
        film = d->fixed_inner_film;
    double in_gas = sqrt((k + mixed) * bore / (4 * film));
    /* Outside, a film and radiation of the usual size. */
    double outer = isnan(d->fixed_outer_film) ? 20.0 : d->fixed_outer_film;
    outer += 2.0 * sqrt(d->air_speed / d->outside_at_mouth);
    const double *a = d->conductivity;
    double metal = a[0] + hot * (a[1] + hot * a[2]);
    double section = PI / 4 * (d->outside_at_mouth * d->outside_at_mouth - bore * bore);
    double in_wall = sqrt(metal * section / (PI * (d->outside_at_mouth * outer + bore * film)));
    double scale = fmin(in_gas, wall_scales * in_wall);
    /* Hot metal beside cold gas bends the gas's profile more than its decay length tells. */
    if (d->main_skin_temperature > hot)
        scale *= 0.65;
    return isnan(d->fixed_diffusivity) ? fmin(scale, d->reach * bore / fmax(d->sharpness, 1.0)) : scale;
}

/* Gas falls to the air over a few bores, the wall sits nearer the air: see first_guess.py. */
void first_guess(struct balance *b, const struct design *d, double wall_at_mouth)
{
    double air = d->air_temperature, hot = d->main_gas_temperature;
    double reach = fmin(6 * b->bore, d->length);
    for (int64_t n = 0; n < b->nodes; n++) {
        double x = b->x[n], fall = exp(-x / reach);
        double wall = air + (wall_at_mouth - air) * fall / (1 + 3 * x / reach);
        /* Cold gas in a hot tube soon takes the tube's temperature; were it guessed far below, its
         * conductivity, which rises with temperature, would lead Newton's method away. */
        b->gas_t[n] = wall_at_mouth > hot ? wall + (hot - wall) * exp(-x / b->bore)
                                          : air + (hot - air) * fall;
        b->wall_t[n] = b->skin_t[n] = wall;
    }
    b->gas_t[0] = hot;
    b->wall_t[0] = wall_at_mouth;
    if (!b->wrapped)
        b->skin_t[0] = wall_at_mouth;
}

/* Nodes where the profile bends ------------------------------------------------------------------ */

/* Wanted density of nodes at those of the sketch, up to a factor: the root of |T''|, which keeps
 * the scheme's error even, smoothed, and nowhere less than a share of its mean. */
static void node_density(int64_t few, const double *x, const double *gas, const double *wall,
                         const double *dried, const struct grid_rules *rules, double *density)
{
    int64_t last = few - 1;
    double length = x[last], mean = 0.0;
    for (int64_t n = 1; n < last; n++) {
        double before = x[n] - x[n - 1], after = x[n + 1] - x[n];
        double turn = fabs((gas[n + 1] - gas[n]) / after - (gas[n] - gas[n - 1]) / before);
        turn += fabs((wall[n + 1] - wall[n]) / after - (wall[n] - wall[n - 1]) / before);
        turn += rules->drying *
                fabs((dried[n + 1] - dried[n]) / after - (dried[n] - dried[n - 1]) / before);
        density[n] = sqrt(turn / (before + after) * 2 + rules->faint / (length * length));
    }
    for (int64_t pass = 0; pass < rules->smoothings; pass++) {
        density[0] = density[1], density[last] = density[last - 1];
        double left = density[0];
        for (int64_t n = 1; n < last; n++) {
            double here = density[n];
            density[n] = (left + 2 * here + density[n + 1]) / 4;
            left = here;
        }
    }
    density[0] = density[1], density[last] = density[last - 1];
    for (int64_t n = 0; n < last; n++)
        mean += (density[n + 1] + density[n]) / 2 * (x[n + 1] - x[n]);
    for (int64_t n = 0; n <= last; n++)
        density[n] += rules->evenness * mean / length;
}

/* Slopes at the nodes, from the parabola through each and its neighbours. */
static void slopes(int64_t few, const double *x, const double *value, double *slope)
{
    int64_t last = few - 1;
    for (int64_t n = 1; n < last; n++) {
        double before = x[n] - x[n - 1], after = x[n + 1] - x[n];
        double left = (value[n] - value[n - 1]) / before, right = (value[n + 1] - value[n]) / after;
        slope[n] = (left * after + right * before) / (before + after);
    }
    slope[0] = 2 * (value[1] - value[0]) / (x[1] - x[0]) - slope[1];
    slope[last] = 2 * (value[last] - value[last - 1]) / (x[last] - x[last - 1]) - slope[last - 1];
}

/* Place nodes by density and interpolate gas, wall, skin and what the gas has lost of its
 * water there by cubic Hermite pieces; `room` holds 5 few. */
void place_nodes(int64_t few, const double *x, const double *warm[4], int64_t nodes,
                 double cap_crowding, const struct grid_rules *rules, double *position,
                 double *found[4], double *room)
{
    double *density = room, *slope[] = {room + few, room + 2 * few, room + 3 * few, room + 4 * few};
    node_density(few, x, warm[0], warm[1], warm[3], rules, density);
    density[few - 1] *= cap_crowding;
    for (int part = 0; part < 4; part++)
        slopes(few, x, warm[part], slope[part]);
    double total = 0.0, passed = 0.0, step = x[1] - x[0];
    for (int64_t j = 0; j < few - 1; j++)
        total += (density[j + 1] + density[j]) / 2 * (x[j + 1] - x[j]);
    double within = (density[1] + density[0]) / 2 * step;
    int64_t j = 0;
    for (int64_t n = 0; n < nodes; n++) {
        double wanted = total * (double)n / (double)(nodes - 1);
        while (j < few - 2 && wanted >= passed + within) {
            passed += within;
            j++;
            step = x[j + 1] - x[j];
            within = (density[j + 1] + density[j]) / 2 * step;
        }
        /* The density is linear within a piece, so what is passed is quadratic. */
        double rest = wanted - passed, here = density[j];
        double curvature = 2 * (density[j + 1] - here) / step;
        double run = 2 * rest / (here + sqrt(here * here + curvature * rest)), t = run / step;
        position[n] = x[j] + run;
        for (int part = 0; part < 4; part++) {
            double low = warm[part][j], mean = (warm[part][j + 1] - low) / step;
            double left = slope[part][j], right = slope[part][j + 1];
            found[part][n] = low + run * (left + t * ((3 * mean - 2 * left - right) +
                                                      t * (left + right - 2 * mean)));
        }
    }
    position[0] = x[0];
    position[nodes - 1] = x[few - 1];
}
