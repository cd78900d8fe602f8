/* The warm-up: steps in time, implicit and with error control, one design after another.
 *
 * What is stepped is the heat stored, not the temperature: what a step takes in, gives off and
 * stores then adds up to rounding. The same time loop on numpy: stepping.py, dense_output.py.
 */
#include <stdlib.h>

#include "warm_up.h"

/* ESDIRK3(2)4L[2]SA, the implicit half of ARK3(2)4L[2]SA: [KennedyCarpenter2003], coefficients from
 * memory, held to their order conditions by test (stepping.py). */
#define GAMMA (1767732205903.0 / 4055673282236.0)
static const double stage_time[STAGES] = {0.0, 2 * GAMMA, 0.6, 1.0};
static const double stage_share[STAGES][STAGES] = {
    {0},
    {GAMMA, GAMMA},
    {2746238789719.0 / 10658868560708.0, -640167445237.0 / 6845629431997.0, GAMMA},
    {1471266399579.0 / 7840856788654.0, -4482444167858.0 / 7529755066697.0,
     11266239266428.0 / 11593286722821.0, GAMMA},
};
static const double embedded[STAGES] = {
    2756255671327.0 / 12835298489170.0, -10771552573575.0 / 22201958757719.0,
    9247589265047.0 / 10645013368117.0, 2193209047091.0 / 5459859503100.0,
};

/* Weights of a parabola through three moments. */
static void parabola(double a, double b, double c, double t, double weight[3])
{
    weight[0] = (t - b) * (t - c) / ((a - b) * (a - c));
    weight[1] = (t - a) * (t - c) / ((b - a) * (b - c));
    weight[2] = 1 - weight[0] - weight[1];
}

static void join(const struct run *r, const double *first, const double *second,
                 const double *third, const double weight[3], double *result)
{
    for (int64_t n = 0; n < PARTS * r->nodes; n++)
        result[n] = weight[0] * first[n] + weight[1] * second[n] + weight[2] * third[n];
}

/* A guess of stage k: its own balance decides. */
static void guess(struct run *r, int k)
{
    double here = stage_time[k] * r->length, early = stage_time[1] * r->length, weight[3];
    double *const *stage = r->stage, last = r->last_length;
    size_t bytes = (size_t)(PARTS * r->nodes) * sizeof(double);
    if (k == 3) {
        parabola(0.0, stage_time[2] * r->length, early, here, weight);
        join(r, stage[0], stage[2], stage[1], weight, stage[3]);
    } else if (k == 2 && last > 0) {
        parabola(-last, 0.0, early, here, weight);
        join(r, r->old[0], stage[0], stage[1], weight, stage[2]);
    } else if (k == 2) {
        for (int64_t n = 0; n < PARTS * r->nodes; n++)
            stage[2][n] = stage[0][n] + here / early * (stage[1][n] - stage[0][n]);
    } else if (last > 0) {
        parabola(-last, -(1 - stage_time[2]) * last, 0.0, here, weight);
        join(r, r->old[0], r->old[1], stage[0], weight, stage[1]);
    } else {
        memcpy(stage[1], stage[0], bytes);
    }
    for (int64_t n = 0; n < DRIED * r->nodes; n++)
        stage[k][n] = fmin(fmax(stage[k][n], r->low), r->high);
}

/* Stage k of a step; the Newton steps spent, -1 where it fails. */
static int64_t solve_stage(struct run *r, int k, double time)
{
    const struct store *s = &r->job->store;
    double now = time + stage_time[k] * r->length, rate = 1 / (GAMMA * r->length);
    double *gas = r->stage[k] + GAS * r->nodes, *wall = r->stage[k] + WALL * r->nodes;
    double *skin = r->stage[k] + SKIN * r->nodes;
    const double *begin_wall = r->stage[0] + WALL * r->nodes;
    const double *begin_skin = r->stage[0] + SKIN * r->nodes, *in_skin = row(r, s->wrap_skin);
    guess(r, k);
    if (isinf(r->d->mouth_exchange))
        gas[0] = hot_at(r, now);
    wall[0] = begin_wall[0];
    if (s->main_held[r->i] == 0) {
        double metal = s->main_metal[r->i];
        const double *capacity = s->main_capacity + 3 * r->i;
        double energy = metal * stored_heat(capacity, begin_wall[0]);
        for (int j = 0; j < k; j++)
            energy += r->length * stage_share[k][j] * r->main_rate[j];
        wall[0] = main_wall(r, now, rate, energy, r->stage[k - 1][WALL * r->nodes]);
        if (isnan(wall[0]))
            return -1;
        r->main_rate[k] = (metal * stored_heat(capacity, wall[0]) - energy) * rate;
    }
    for (int64_t n = 0; n < r->nodes; n++) {
        r->known_wall[n] = wall_heat(r, n, begin_wall[n]);
        r->known_skin[n] = in_skin[n] * begin_skin[n];
        for (int j = 0; j < k; j++) {
            r->known_wall[n] += r->length * stage_share[k][j] * r->wall_rate[j][n];
            r->known_skin[n] += r->length * stage_share[k][j] * r->skin_rate[j][n];
        }
    }
    if (in_skin[0] == 0) /* bare: the skin is the wall */
        memcpy(skin, wall, (size_t)r->nodes * sizeof(double));
    int64_t spent = balance_stage(r, now, rate, false, r->stage[k], &r->heat[k]);
    if (spent < 0)
        return -1;
    for (int64_t n = 0; n < r->nodes; n++) {
        r->wall_rate[k][n] = (wall_heat(r, n, wall[n]) - r->known_wall[n]) * rate;
        r->skin_rate[k][n] = (in_skin[n] * skin[n] - r->known_skin[n]) * rate;
    }
    r->heat[k].entering += r->wall_rate[k][0];
    return spent;
}

/* One step from the present stage 0; its error, K, infinite when a stage fails. */
static double step(struct run *r, double time, double *iterations)
{
    const double *in_skin = row(r, r->job->store.wrap_skin);
    for (int k = 1; k < STAGES; k++) {
        int64_t spent = solve_stage(r, k, time);
        if (spent < 0)
            return INFINITY;
        *iterations += (double)spent;
    }
    double error = 0.0, weight[3];
    parabola(stage_time[0], stage_time[1], stage_time[3], stage_time[2], weight);
    const struct stepping_rules *rules = &r->job->rules;
    for (int64_t n = 0; n < r->nodes; n++) {
        double of_wall = 0.0, of_skin = 0.0;
        for (int j = 0; j < STAGES; j++) {
            double difference = stage_share[3][j] - embedded[j];
            of_wall += difference * r->wall_rate[j][n];
            of_skin += difference * r->skin_rate[j][n];
        }
        double capacity = wall_capacity(r, n, r->stage[3][WALL * r->nodes + n]);
        error = fmax(error, fabs(r->length * of_wall) / capacity);
        if (in_skin[n] > 0)
            error = fmax(error, fabs(r->length * of_skin) / in_skin[n]);
        /* The gas follows from the wall, but between the stages it is interpolated. */
        double bent = weight[0] * r->stage[0][n] + weight[1] * r->stage[1][n] +
                      weight[2] * r->stage[3][n];
        double off = fabs(r->stage[2][n] - bent) - rules->loose_step;
        error = fmax(error, rules->gas_share * off);
    }
    return error;
}

/* Temperatures within a step: Hermite's cubic for what stores heat, the stages' for the gas; where
 * the mouth does not resist, set right by what it misses of the mouth's known temperature `hot`:
 * see dense_output.py. */
static void between(const struct run *r, double share, double hot, double *output)
{
    const struct store *s = &r->job->store;
    double a = stage_time[2], b = stage_time[1], length = r->length;
    double of_end = share * (share - a) * (share - b) / ((1 - a) * (1 - b));
    double of_first = share * (share - b) * (share - 1) / (a * (a - b) * (a - 1));
    double of_second = share * (share - a) * (share - 1) / (b * (b - a) * (b - 1));
    double of_start = 1 - of_end - of_first - of_second;
    double *gas = output + GAS * r->nodes, *wall = output + WALL * r->nodes;
    for (int64_t n = 0; n < r->nodes; n++) {
        for (int64_t at = n; at < PARTS * r->nodes; at += DRIED * r->nodes) /* gas, dried */
            output[at] = of_start * r->stage[0][at] + of_first * r->stage[2][at] +
                         of_second * r->stage[1][at] + of_end * r->stage[3][at];
        for (int part = WALL; part <= SKIN; part++) {
            int64_t at = part * r->nodes + n, on_wall = WALL * r->nodes + n;
            double begin = r->stage[0][at], end = r->stage[3][at], in_skin = row(r, s->wrap_skin)[n];
            bool as_wall = part == WALL || in_skin == 0;
            double first = as_wall ? r->wall_rate[0][n] / wall_capacity(r, n, r->stage[0][on_wall])
                                   : r->skin_rate[0][n] / in_skin;
            double last = as_wall ? r->wall_rate[3][n] / wall_capacity(r, n, r->stage[3][on_wall])
                                  : r->skin_rate[3][n] / in_skin;
            output[at] = begin + share * (length * first +
                                          share * (3 * (end - begin) - length * (2 * first + last) +
                                                   share * (2 * (begin - end) +
                                                            length * (first + last))));
        }
    }
    if (!isinf(r->d->mouth_exchange))
        return;
    double missed = hot - gas[0], drop = gas[0] - wall[0];
    for (int64_t n = 0; n < r->nodes; n++) {
        double shape = row(r, s->fall)[n];
        if (fabs(drop) > 20 * fabs(missed)) /* where it lies between wall and mouth */
            shape = fmin(fmax((gas[n] - wall[n]) / drop, 0.0), 1.0);
        gas[n] += missed * shape;
    }
}

/* Heat of a step that is taken, added to the report. */
static void account(struct run *r, struct warm_report *report, double *passed)
{
    double entered = 0.0, lost = 0.0, stored = 0.0;
    for (int k = 0; k < STAGES; k++) {
        entered += r->length * stage_share[3][k] * r->heat[k].entering;
        lost += r->length * stage_share[3][k] * r->heat[k].lost;
        *passed += r->length * (fabs(r->heat[k].entering) + fabs(r->heat[k].lost)) / 4;
    }
    const double *in_skin = row(r, r->job->store.wrap_skin);
    for (int64_t n = 0; n < r->nodes; n++) {
        int64_t wall = WALL * r->nodes + n, skin = SKIN * r->nodes + n;
        stored += wall_heat(r, n, r->stage[3][wall]) - wall_heat(r, n, r->stage[0][wall]);
        stored += in_skin[n] * (r->stage[3][skin] - r->stage[0][skin]);
    }
    report->entered += entered;
    report->lost += lost;
    report->stored += stored;
    double total = report->entered - report->lost - report->stored;
    report->imbalance = fmax(report->imbalance, fabs(total) / *passed);
}

/* Where a stretch of the curves begins whatever bends or jumps there: the gas balances anew. Returns
 * the fastest heating, K/s; NaN where there is no balance. */
static double begin_stretch(struct run *r, double time, struct warm_report *report)
{
    const struct store *s = &r->job->store;
    double hot = hot_at(r, time), *gas = r->stage[0], *wall = r->stage[0] + WALL * r->nodes;
    double missed = hot - gas[0], none;
    if (isinf(r->d->mouth_exchange)) {
        for (int64_t n = 0; n < r->nodes; n++)
            gas[n] += missed * row(r, s->fall)[n];
        gas[0] = hot;
    }
    int64_t spent = balance_stage(r, time, 0.0, true, r->stage[0], &r->heat[0]);
    if (spent < 0)
        return NAN;
    report->iterations += (double)spent;
    rates(r, time);
    r->main_rate[0] = s->main_held[r->i] == 0 ? main_flux(r, time, wall[0], &none) : 0.0;
    double capacity = heat_capacity(s->main_capacity + 3 * r->i, wall[0]);
    double warming = r->main_rate[0] / (s->main_metal[r->i] * capacity), fastest = fabs(warming);
    r->wall_rate[0][0] = wall_capacity(r, 0, wall[0]) * warming;
    r->heat[0].entering += r->wall_rate[0][0];
    for (int64_t n = 1; n < r->nodes; n++)
        fastest = fmax(fastest, fabs(r->wall_rate[0][n] / wall_capacity(r, n, wall[n])));
    return fastest;
}

/* What a step ends with is what the next begins with. */
static void go_on(struct run *r)
{
    size_t nodes = (size_t)r->nodes * sizeof(double);
    memcpy(r->old[0], r->stage[0], PARTS * nodes);
    memcpy(r->old[1], r->stage[2], PARTS * nodes);
    memcpy(r->stage[0], r->stage[3], PARTS * nodes);
    memcpy(r->wall_rate[0], r->wall_rate[3], nodes);
    memcpy(r->skin_rate[0], r->skin_rate[3], nodes);
    r->heat[0] = r->heat[3];
    r->main_rate[0] = r->main_rate[3];
}

static void follow(struct run *r, struct warm_report *report)
{
    const struct warm_job *job = r->job;
    const struct stepping_rules *rules = &job->rules;
    const double *breaks = job->forcing.breaks, tolerance = rules->tolerance;
    int64_t each = PARTS * r->nodes, done = 0, next = 0;
    double *output = job->output + r->i * job->times_count * each, time = breaks[0], passed = 1e-9;
    memcpy(r->stage[0], job->start + r->i * each, (size_t)each * sizeof(double));
    r->length = 0.0;
    for (r->stretch = 0; r->stretch < job->stretches; r->stretch++) {
        double end = breaks[r->stretch + 1], fastest = begin_stretch(r, time, report);
        if (isnan(fastest))
            break;
        if (next < job->times_count && job->times[next] <= time)
            memcpy(output + next++ * each, r->stage[0], (size_t)each * sizeof(double));
        if (r->length == 0.0 || job->forcing.jumps[r->stretch] != 0)
            /* As far as a straight line would go for some tolerances. */
            r->length = fmin(rules->first_step, 20 * tolerance / (fastest + 1e-9));
        r->last_length = 0.0;
        while (time < end) {
            if (stopped(job->stop))
                return;
            double left = end - time;
            if (r->length > 0.99 * left)
                r->length = left;
            else if (r->length > left / 2)
                r->length = left / 2; /* two even steps rather than one and a sliver */
            double error = step(r, time, &report->iterations);
            if (!(error <= tolerance)) {
                report->rejected += 1;
                r->length *= isinf(error) ? 0.2 : fmax(0.2, 0.9 * pow(tolerance / error, 1.0 / 3));
                if (r->length < rules->smallest_step)
                    break;
                continue;
            }
            double ends = time + r->length;
            if (ends > end * (1 - 1e-12))
                ends = end;
            for (; next < job->times_count && job->times[next] <= ends; next++)
                between(r, (job->times[next] - time) / r->length, hot_at(r, job->times[next]),
                        output + next * each);
            account(r, report, &passed);
            go_on(r);
            time = ends, r->last_length = r->length;
            r->length *= fmin(4.0, 0.9 * pow(tolerance / (error + 1e-12), 1.0 / 3));
            report->steps += 1;
            if (++done >= rules->most_steps)
                break;
        }
        if (time < end)
            break;
    }
    report->reached = time;
}

/* Follow every design of a job; false when there is no memory. */
PUBLIC bool core_warm_up(struct warm_job *job)
{
    struct run r = {.job = job, .nodes = job->nodes};
    int64_t each = PARTS * job->nodes;
    double *room = calloc((size_t)(6 * each + 12 * job->nodes), sizeof(double)), *next = room;
    bool made = room != NULL && balance_make(&r.b, job->nodes);
    if (made) {
        for (int k = 0; k < STAGES; k++, next += each)
            r.stage[k] = next;
        for (int k = 0; k < 2; k++, next += each)
            r.old[k] = next;
        for (int k = 0; k < STAGES; k++, next += 2 * job->nodes)
            r.wall_rate[k] = next, r.skin_rate[k] = next + job->nodes;
        double **rest[] = {&r.known_wall, &r.known_skin, &r.earlier, &r.slope};
        for (int k = 0; k < 4; k++, next += job->nodes)
            *rest[k] = next;
        for (r.i = 0; r.i < job->designs && !stopped(job->stop); r.i++) {
            r.d = job->design + r.i;
            r.low = job->bounds[2 * r.i], r.high = job->bounds[2 * r.i + 1];
            r.main = around_main(r.d, &job->mixtures);
            balance_fit(&r.b, r.d, &job->mixtures, &job->pieces, r.i);
            memcpy(r.b.x, job->position + r.i * job->nodes, (size_t)job->nodes * sizeof(double));
            balance_grid(&r.b, r.d);
            follow(&r, job->report + r.i);
        }
    }
    balance_free(&r.b);
    free(room);
    return made;
}
