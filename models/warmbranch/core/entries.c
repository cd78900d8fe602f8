/* What Python calls, but for a whole answer (steady.c) and a warm-up (warm_up.c). Every job is one
 * record; the other side of it stands in records.py. */
#include <stdlib.h>

#include "core.h"

/* Tables that are made once, before anything else is called. */
PUBLIC void core_prepare(void)
{
    make_prandtl_series();
    make_layer_series();
}

/* Digest of the sources and flags that this was made from; build.py gives it, and reads it in the
 * library's file. */
#ifndef CORE_DIGEST
#define CORE_DIGEST "none"
#endif
PUBLIC const char *core_digest(void) { return CORE_DIGEST; }

/* The elementary functions, for their tests: count is a multiple of LANES. */
PUBLIC void core_elementary(int64_t kind, int64_t count, const double *x, double exponent,
                            double *result)
{
    for (int64_t n = 0; n < count; n += LANES) {
        quad q = quad_at(x + n);
        quad_put(result + n, kind == 0 ? quad_log(q) : kind == 1 ? quad_exp(q)
                                                                 : quad_power(q, exponent));
    }
}

/* Newton's method on given grids, from given temperatures, in place. */
struct heat_job {
    int64_t designs, nodes;
    const struct design *design;
    struct mixtures mixtures;
    struct pieces pieces;
    const double *position, *forced; /* (designs, nodes); m, m²/s */
    double *gas, *wall, *skin;       /* (designs, nodes), K; those at the mouth are kept */
    double *dried;                   /* (designs, nodes), mol/mol: found */
    struct tolerances ends;
    struct newton_rules rules;
    struct heat_report *report;
    const int64_t *stop;
};

PUBLIC bool core_heat(struct heat_job *job)
{
    struct balance b = {0};
    if (!balance_make(&b, job->nodes))
        return false;
    size_t bytes = (size_t)job->nodes * sizeof(double);
    for (int64_t i = 0; i < job->designs; i++) {
        if (stopped(job->stop))
            break;
        const struct design *d = job->design + i;
        int64_t at = i * job->nodes;
        balance_fit(&b, d, &job->mixtures, &job->pieces, i);
        memcpy(b.x, job->position + at, bytes);
        memcpy(b.forced, job->forced + at, bytes);
        memcpy(b.gas_t, job->gas + at, bytes);
        memcpy(b.wall_t, job->wall + at, bytes);
        memcpy(b.skin_t, job->skin + at, bytes);
        balance_grid(&b, d);
        balance_mixing(&b);
        double hot = d->main_gas_temperature, wall = b.wall_t[0];
        balance_mouth(&b, d, hot, d->mass_flow, d->cap_pressure);
        double low = fmin(hot, wall), high = fmax(hot, wall);
        surrounded_by(d, &low, &high);
        newton_steady(&b, &job->ends, &job->rules, low, high, job->report + i);
        memcpy(job->gas + at, b.gas_t, bytes);
        memcpy(job->wall + at, b.wall_t, bytes);
        memcpy(job->skin + at, b.skin_t, bytes);
        memcpy(job->dried + at, b.dried, bytes);
    }
    balance_free(&b);
    return true;
}

/* Nodes where sketched profiles bend, and the temperatures there. */
struct grid_job {
    int64_t designs, few, nodes;
    const double *position, *gas, *wall, *skin, *dried; /* (designs, few) */
    const double *cap_crowding;                 /* (designs,) */
    struct grid_rules rules;
    double *new_position, *new_gas, *new_wall, *new_skin, *new_dried; /* (designs, nodes) */
};

PUBLIC bool core_grid(struct grid_job *job)
{
    double *room = malloc((size_t)(5 * job->few) * sizeof(double));
    if (room == NULL)
        return false;
    for (int64_t i = 0; i < job->designs; i++) {
        int64_t from = i * job->few, to = i * job->nodes;
        const double *warm[] = {job->gas + from, job->wall + from, job->skin + from,
                                job->dried + from};
        double *found[] = {job->new_gas + to, job->new_wall + to, job->new_skin + to,
                           job->new_dried + to};
        place_nodes(job->few, job->position + from, warm, job->nodes, job->cap_crowding[i],
                    &job->rules, job->new_position + to, found, room);
    }
    free(room);
    return true;
}

/* Profiles, divided into cells. */
struct discretise_job {
    int64_t designs, nodes, cells;
    struct mixtures mixtures;
    const double *position, *temperature, *wall, *dried; /* (designs, nodes) */
    const double *pressure;                      /* (designs,) */
    const double *inertance_ratio;               /* (designs, nodes - 1) */
    const double *area_ratio;                    /* as that, or none: see discretisation.py */
    struct cell_means means;                     /* (designs, cells) each */
};

PUBLIC bool core_discretise(struct discretise_job *job)
{
    double *room = calloc((size_t)DISCRETISING_ROOM(job->nodes), sizeof(double));
    if (room == NULL)
        return false;
    for (int64_t i = 0; i < job->designs; i++) {
        struct gas_table gas = gas_of(&job->mixtures, i), water = water_of(&job->mixtures);
        struct cell_means own = means_of(&job->means, i * job->cells);
        int64_t first = i * job->nodes, between = i * (job->nodes - 1);
        discretise_profile(&gas, &water, job->nodes, job->position + first,
                           job->temperature + first, job->wall + first, job->dried + first,
                           job->pressure[i], job->inertance_ratio + between,
                           job->area_ratio == NULL ? NULL : job->area_ratio + between, job->cells,
                           &own, room);
    }
    free(room);
    return true;
}

/* Sound in ducts that are in cells already. */
struct sound_job {
    int64_t designs, cells, many;
    struct cell_means means;                /* (designs, cells) each */
    const double *radius, *mouth_inertance, *grazed_inertance, *crossing_time; /* (designs,) */
    const double *wall_losses; /* (designs,), 0 or 1 */
    const double *frequency;   /* (designs, many), Hz; resonances need none */
    double complex *impedance; /* (designs, many), Pa s/m³, mouth included */
    double *flow;              /* (designs, cells + 1), or none */
    struct search_rules coarse, fine;
    double *resonance, *quality; /* (designs, many) */
    const int64_t *stop;
};

#define TOGETHER 16 /* designs whose cells are held at a time */

static bool for_blocks(struct sound_job *job,
                       void (*work)(struct sound_job *, const struct duct *, int64_t, int64_t))
{
    struct duct duct[TOGETHER];
    struct cell *cell = malloc((size_t)(TOGETHER * job->cells) * sizeof *cell);
    if (cell == NULL)
        return false;
    for (int64_t first = 0; first < job->designs; first += TOGETHER) {
        if (stopped(job->stop))
            break;
        int64_t left = job->designs - first, count = left < TOGETHER ? left : TOGETHER;
        for (int64_t i = 0; i < count; i++) {
            struct cell_means own = means_of(&job->means, (first + i) * job->cells);
            duct[i].cell = cell + i * job->cells;
            duct_of(&own, job->cells, job->radius[first + i], job->mouth_inertance[first + i],
                    job->grazed_inertance[first + i], job->crossing_time[first + i],
                    job->wall_losses[first + i] != 0, &duct[i]);
        }
        work(job, duct, first, count);
    }
    free(cell);
    return true;
}

#define PAIRS 64 /* of duct and frequency, handed on at a time */

static void impedances(struct sound_job *job, const struct duct *duct, int64_t first, int64_t count)
{
    const double *frequency = job->frequency + first * job->many;
    double complex *impedance = job->impedance + first * job->many;
    const struct duct *own[PAIRS];
    for (int64_t begin = 0, all = count * job->many; begin < all; begin += PAIRS) {
        int64_t pairs = all - begin < PAIRS ? all - begin : PAIRS;
        for (int64_t k = 0; k < pairs; k++)
            own[k] = duct + (begin + k) / job->many;
        tubes(pairs, own, frequency + begin, impedance + begin, NULL,
              job->flow == NULL ? NULL : job->flow + (first + begin) * (job->cells + 1));
        for (int64_t k = 0; k < pairs; k++)
            impedance[begin + k] += I * mouth_reactance(own[k], frequency[begin + k]);
    }
}

PUBLIC bool core_impedance(struct sound_job *job) { return for_blocks(job, impedances); }

static void resonances(struct sound_job *job, const struct duct *duct, int64_t first, int64_t count)
{
    resonances_of(count, duct, job->many, &job->coarse, &job->fine,
                  job->resonance + first * job->many, job->quality + first * job->many);
}

PUBLIC bool core_resonances(struct sound_job *job) { return for_blocks(job, resonances); }

/* The one temperature that puts each duct's resonance at a frequency: see resonance.py. */
struct effective_job {
    int64_t designs, cells;
    struct cell_means means; /* lengths and inertance ratios of these */
    struct mixtures mixtures;
    const double *radius, *mouth_inertance, *grazed_inertance, *crossing_time, *wall_losses;
    const double *pressure, *frequency, *log_start; /* (designs,) as those above; Pa, Hz, ln K */
    struct search_rules search;
    double *log_found; /* (designs,) */
    const int64_t *stop;
};

PUBLIC bool core_effective(struct effective_job *job)
{
    struct duct duct = {.cell = malloc((size_t)job->cells * sizeof(struct cell))};
    if (duct.cell == NULL)
        return false;
    for (int64_t i = 0; i < job->designs && !stopped(job->stop); i++) {
        struct gas_table gas = gas_of(&job->mixtures, i);
        struct cell_means own = means_of(&job->means, i * job->cells);
        duct.mouth_inertance = job->mouth_inertance[i];
        duct.grazed_inertance = job->grazed_inertance[i];
        duct.crossing_time = job->crossing_time[i];
        duct.lossy = job->wall_losses[i] != 0;
        job->log_found[i] =
            effective_temperature(&own, job->cells, &gas, job->pressure[i], job->radius[i],
                                  job->frequency[i], job->log_start[i], &job->search, &duct);
    }
    free(duct.cell);
    return true;
}
