/* From a temperature profile to the cells of a duct: see discretisation.py. */
#include "core.h"

enum quantity { DENSITY, COMPLIANCE, VISCOSITY, RATIO, PRANDTL, QUANTITIES };

/* A gas without the water that it has lost, by the gas constants of both over the new one's: see
 * moist.py. */
static void lose(struct gas_state *gas, struct gas_state water, quad lost, quad share, quad of_water)
{
    quad kept = 1 + lost;
    gas->heat_capacity = kept * share * gas->heat_capacity - lost * of_water * water.heat_capacity;
    gas->conductivity = kept * gas->conductivity - lost * water.conductivity;
    gas->viscosity = kept * gas->viscosity - lost * water.viscosity;
}

/* The gas at every node, `value[quantity][node]`: its layers at the wall are as warm as that. */
static void gas_at_nodes(const struct gas_table *gas, const struct gas_table *water, int64_t nodes,
                         const double *gas_t, const double *wall_t, const double *dried,
                         double pressure, double *value[QUANTITIES])
{
    double most = 0.0;
    for (int64_t n = 0; n < nodes; n++)
        most = fmax(most, dried[n]);
    for (int64_t n = 0; n < nodes; n += LANES) {
        quad t, wall, lost;
        for (int k = 0; k < LANES; k++) { /* the last quad is filled up with the cap */
            int64_t at = n + k < nodes ? n + k : nodes - 1;
            t[k] = gas_t[at], wall[k] = wall_t[at], lost[k] = dried[at];
        }
        struct gas_state core = gas_at(gas, t), s = gas_at(gas, wall);
        quad constant = quad_of(gas->gas_constant);
        if (most != 0) {
            constant = 1 / ((1 + lost) / gas->gas_constant - lost / water->gas_constant);
            quad share = constant / gas->gas_constant, of_water = constant / water->gas_constant;
            lose(&core, gas_at(water, t), lost, share, of_water);
            lose(&s, gas_at(water, wall), lost, share, of_water);
        }
        quad ratio = core.heat_capacity / (core.heat_capacity - constant);
        quad_put(value[DENSITY] + n, pressure / (constant * t));
        quad_put(value[COMPLIANCE] + n, 1 / (ratio * pressure));
        quad_put(value[VISCOSITY] + n, s.viscosity * wall / t);
        quad_put(value[RATIO] + n, s.heat_capacity / (s.heat_capacity - constant));
        quad_put(value[PRANDTL] + n, s.heat_capacity * s.viscosity / s.conductivity);
    }
}

/* Means over the intervals between nodes, of fourth order on a grid whose spacing changes smoothly:
 * Gregory's correction of the trapezoidal rule, with the grid as a map of evenly spaced numbers
 * whose own curvature (`growth`) is taken off. Plain means on fewer than three intervals. */
static void interval_means(int64_t intervals, const double *value, const double *growth,
                           double *mean)
{
    int64_t last = intervals - 1;
    for (int64_t j = 0; j < intervals; j++)
        mean[j] = (value[j] + value[j + 1]) / 2;
    if (intervals < 3)
        return;
    for (int64_t j = 0; j < intervals; j++) {
        int64_t left = j < 1 ? 1 : j, right = j + 1 > last ? last : j + 1;
        double bend_left = value[left + 1] - 2 * value[left] + value[left - 1];
        double bend_right = value[right + 1] - 2 * value[right] + value[right - 1];
        mean[j] += ((value[j + 1] - value[j]) * growth[j] - bend_right - bend_left) / 24;
    }
}

void discretise_profile(const struct gas_table *gas, const struct gas_table *water, int64_t nodes,
                        const double *x, const double *gas_t, const double *wall_t,
                        const double *dried, double pressure, const double *inertance_ratio,
                        const double *area_ratio, int64_t cells, const struct cell_means *means,
                        double *room)
{
    int64_t intervals = nodes - 1, per_cell = intervals / cells, each = nodes + LANES;
    double *value[QUANTITIES], *mean[QUANTITIES];
    for (int q = 0; q < QUANTITIES; q++) {
        value[q] = room + q * each;
        mean[q] = room + (QUANTITIES + q) * each;
    }
    double *step = room + 2 * QUANTITIES * each, *growth = step + each;

    gas_at_nodes(gas, water, nodes, gas_t, wall_t, dried, pressure, value);
    for (int64_t j = 0; j < intervals; j++)
        step[j] = x[j + 1] - x[j];
    for (int64_t j = 1; j < intervals - 1; j++)
        growth[j] = (step[j + 1] - step[j - 1]) / step[j];
    if (intervals > 2) {
        growth[0] = growth[1];
        growth[intervals - 1] = growth[intervals - 2];
    }
    for (int q = 0; q < QUANTITIES; q++)
        interval_means(intervals, value[q], growth, mean[q]);

    for (int64_t c = 0; c < cells; c++) {
        int64_t first = c * per_cell, beyond = first + per_cell;
        double middle = (x[first] + x[beyond]) / 2, length = 0.0, inertia = 0.0;
        double spring_lever = 0.0, mass_lever = 0.0, open = 0.0, springs = 0.0;
        double sum[QUANTITIES] = {0};
        for (int64_t j = first; j < beyond; j++) {
            /* A bend shortens the length that counts for the inertance. */
            double weight = step[j] * inertance_ratio[j];
            double wide = area_ratio == NULL ? step[j] : step[j] * area_ratio[j];
            double arm = (x[j] + x[j + 1]) / 2 - middle;
            double stiff = (value[COMPLIANCE][j + 1] - value[COMPLIANCE][j]) * (step[j] / 12);
            double heavy = (value[DENSITY][j + 1] - value[DENSITY][j]) * (step[j] / 12);
            length += step[j];
            inertia += mean[DENSITY][j] * weight;
            springs += mean[COMPLIANCE][j] * wide;
            open += wide;
            spring_lever += (mean[COMPLIANCE][j] * arm + stiff) * wide;
            mass_lever += (mean[DENSITY][j] * arm + heavy) * weight;
            for (int q = 0; q < QUANTITIES; q++)
                sum[q] += mean[q][j] * step[j];
        }
        double skew = spring_lever / springs - mass_lever / inertia, area = open / length;
        means->length[c] = length;
        means->density[c] = sum[DENSITY] / length / area;
        means->bulk_modulus[c] = length / springs;
        means->viscosity[c] = sum[VISCOSITY] / length / (area * area);
        means->heat_capacity_ratio[c] = sum[RATIO] / length;
        means->prandtl[c] = sum[PRANDTL] / length;
        means->inertance_ratio[c] = inertia / sum[DENSITY] * area;
        means->skew[c] = skew / length;
        means->area_ratio[c] = area;
    }
}

struct cell_means means_of(const struct cell_means *all, int64_t at)
{
    return (struct cell_means){
        all->length + at, all->density + at, all->bulk_modulus + at, all->viscosity + at,
        all->heat_capacity_ratio + at, all->prandtl + at, all->inertance_ratio + at,
        all->skew + at, all->area_ratio == NULL ? NULL : all->area_ratio + at,
    };
}

/* The cells as their transfer matrices want them. */
void duct_of(const struct cell_means *means, int64_t cells, double radius, double mouth_inertance,
             double grazed_inertance, double crossing_time, bool lossy, struct duct *duct)
{
    double area = PI * radius * radius, time = 0.0;
    for (int64_t c = 0; c < cells; c++) {
        double density = means->density[c], length = means->length[c];
        /* Thickness of the viscous layer at 1 Hz over the radius, 1/[a √(2π ρ/μ)]. */
        double viscous = lossy ? sqrt(means->viscosity[c] / (2 * PI * density)) / radius : 0.0;
        duct->cell[c] = (struct cell){
            .mass = density * (length * means->inertance_ratio[c]) / area,
            .spring = length * area / means->bulk_modulus[c],
            .viscous = viscous,
            .heat = viscous / sqrt(means->prandtl[c]),
            .thermal = means->heat_capacity_ratio[c] - 1,
            .skew = means->skew[c],
        };
        time += length * sqrt(density / means->bulk_modulus[c]);
    }
    duct->cells = cells;
    duct->mouth_inertance = mouth_inertance;
    duct->grazed_inertance = grazed_inertance;
    duct->crossing_time = crossing_time;
    duct->mouth_impedance = sqrt(means->density[0] * means->bulk_modulus[0]) / area;
    duct->transit_time = time;
    duct->lossy = lossy;
}
