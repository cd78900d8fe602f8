/* What the two files of the warm-up share: its records, and one design on its way. */
#ifndef WARMBRANCH_WARM_UP_H
#define WARMBRANCH_WARM_UP_H

#include "core.h"

/* Rows of a state: temperatures, K, and water that a mole of gas has lost, mol/mol. */
enum part { GAS, WALL, SKIN, DRIED, PARTS };

/* What stores heat, see storage.py; (designs, nodes) unless said otherwise. */
struct store {
    const double *metal, *wrap_wall, *wrap_skin; /* kg, J/K, J/K */
    const double *capacity;                      /* (designs, 3), quadratic, J/(kg K) */
    const double *main_metal;                    /* (designs,), kg/m² */
    const double *main_capacity;                 /* (designs, 3) */
    const double *main_held;                     /* (designs,), 1 where the wall is held */
    const double *fall;                          /* shape of the gas's first guess after a jump */
};

/* Straight stretches of the curves between breaks, see storage.py; (designs, stretches). */
struct forcing {
    const double *breaks, *jumps; /* (stretches + 1,) s; (stretches,) 0 or 1 */
    const double *gas_start, *gas_slope, *flow_start, *flow_slope, *air_start, *air_slope;
    const double *lag_amount, *lag_rate; /* (designs, lags) */
};

struct stepping_rules {
    double tolerance, newton_step, foretold_step, first_step; /* K, K, K, s */
    double gas_share, smallest_step, loose_step, swing, shorter, longer, main_wall_step;
    int64_t most_steps, most_newton_steps, loose_after;
};

/* Columns of what a run reports: see stepping.REPORT. */
struct warm_report {
    double entered, lost, stored, imbalance, steps, rejected, iterations, reached;
};

struct warm_job {
    int64_t designs, nodes, times_count, stretches, lags;
    const struct design *design;
    struct mixtures mixtures;
    struct pieces pieces;
    const double *position, *stirred, *shaken, *constant; /* (designs, nodes); m, m, m²/s, m²/s */
    const double *main_film;                              /* (designs,) over that of steady flow */
    struct store store;
    struct forcing forcing;
    struct stepping_rules rules;
    const double *start;  /* (designs, 4, nodes), K and mol/mol */
    const double *bounds; /* (designs, 2), K */
    const double *times;  /* (times,), s */
    double *output;       /* (designs, times, 4, nodes) */
    struct warm_report *report;
    const int64_t *stop;
};

#define STAGES 4 /* of a step in time */

/* Heat through mouth and skin, W. */
struct heat {
    double entering, lost;
};

/* One design on its way. */
struct run {
    const struct warm_job *job;
    const struct design *d;
    int64_t i, nodes, stretch;
    struct balance b;
    struct outside main;
    double low, high, last_length, length;
    double *stage[STAGES], *old[2];                      /* states, PARTS × nodes */
    double *wall_rate[STAGES], *skin_rate[STAGES];       /* of heating, W */
    double *known_wall, *known_skin, *earlier, *slope;   /* slope of the loss, W/K */
    double main_rate[STAGES];                            /* W/m² */
    struct heat heat[STAGES];
};

/* A design's own row of an array (designs, nodes). */
static inline const double *row(const struct run *r, const double *array)
{
    return array + r->i * r->nodes;
}

/* The curves and the stores (warm_moment.c). */
double hot_at(const struct run *r, double time);
double stored_heat(const double *capacity, double t);
double heat_capacity(const double *capacity, double t);
double wall_heat(const struct run *r, int64_t n, double t);
double wall_capacity(const struct run *r, int64_t n, double t);

/* The balances at one moment (warm_moment.c). */
int64_t balance_stage(struct run *r, double time, double rate, bool frozen, double *here,
                      struct heat *heat);
void rates(struct run *r, double time);
double main_flux(struct run *r, double time, double wall, double *slope);
double main_wall(struct run *r, double time, double rate, double known, double wall);

#endif
