/* Gas properties from a table: cubic pieces over equal steps of temperature. See gas.py. */
#ifndef WARMBRANCH_GAS_TABLE_H
#define WARMBRANCH_GAS_TABLE_H

#include "quad.h"

/* Coefficients of rising powers of the kelvin above the piece's lower end. */
struct gas_piece {
    double heat_capacity[4]; /* at constant pressure, J/(kg K) */
    double conductivity[4];  /* W/(m K) */
    double viscosity[4];     /* Pa s */
};

struct gas_table {
    const struct gas_piece *piece;
    int64_t pieces;
    double first, step;  /* lowest temperature and step, K */
    double gas_constant; /* J/(kg K) */
};

/* Properties of an ideal gas at four temperatures, and their slopes, the same units per K. */
struct gas_state {
    quad heat_capacity, conductivity, viscosity;
    quad heat_capacity_slope, conductivity_slope, viscosity_slope;
};

INLINE void cubic_at(const double *const lane[LANES], quad local, quad *value, quad *slope)
{
    quad c[4];
    for (int k = 0; k < LANES; k++)
        c[k] = quad_at(lane[k]);
    quad_transpose(c);
    *value = ((c[3] * local + c[2]) * local + c[1]) * local + c[0];
    *slope = (3 * c[3] * local + 2 * c[2]) * local + c[1];
}

/* Outside the table the end pieces go on: an iterate that strays meets a smooth function. */
INLINE struct gas_state gas_at(const struct gas_table *table, quad temperature)
{
    quad above = temperature - table->first;
    quad place = above * (1 / table->step), last = quad_of((double)(table->pieces - 1));
    place = quad_min(quad_max(place, quad_of(0)), last);
    const double *heat_capacity[LANES], *conductivity[LANES], *viscosity[LANES];
    quad lower;
    for (int k = 0; k < LANES; k++) {
        int64_t n = (int64_t)place[k];
        lower[k] = (double)n;
        heat_capacity[k] = table->piece[n].heat_capacity;
        conductivity[k] = table->piece[n].conductivity;
        viscosity[k] = table->piece[n].viscosity;
    }
    quad local = above - lower * table->step;
    struct gas_state s;
    cubic_at(heat_capacity, local, &s.heat_capacity, &s.heat_capacity_slope);
    cubic_at(conductivity, local, &s.conductivity, &s.conductivity_slope);
    cubic_at(viscosity, local, &s.viscosity, &s.viscosity_slope);
    return s;
}

#endif
