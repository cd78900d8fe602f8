/* The resonances of ducts, and their quality factors: see resonance.py, phases.py. */
#include "core.h"

/* Searches that go on side by side, `duct` and `mode` of each. */
#define MOST_SEARCHES 64

struct searches {
    int64_t count;
    const struct duct *duct[MOST_SEARCHES];
    int64_t mode[MOST_SEARCHES];
    double reference[MOST_SEARCHES]; /* Z0 of the phase that is brought to zero, Pa s/m³ */
};

/* Angle of a/b, rad. */
static double angle_between(double complex a, double complex b)
{
    double re = creal(a) * creal(b) + cimag(a) * cimag(b);
    double im = cimag(a) * creal(b) - creal(a) * cimag(b);
    return atan2(im, re);
}

/* Phase of -(Z - Z0)/(Z + Z0), rad: zero where the reactance is, and R below Z0. */
static double reflection_phase(double complex impedance, double reference)
{
    return angle_between(reference - impedance, reference + impedance);
}

/* Angle that a mode's resonance brings to a whole multiple of π, rad: phases.mode_angle. */
static double mode_angle(double complex tube, double travelled, double inertia, double reference)
{
    double principal = -0.5 * angle_between(tube - reference, tube + reference);
    double turns = floor((travelled - principal) / PI + 0.5);
    return principal + PI * turns - atan2(reference, inertia);
}

/* How far the searches `open` are from resonance, rad, at the frequencies `here`. */
static void angles(const struct searches *s, int64_t count, const int64_t *open, const double *here,
                   bool whole, double *value)
{
    const struct duct *duct[MOST_SEARCHES];
    double frequency[MOST_SEARCHES], travelled[MOST_SEARCHES];
    double complex impedance[MOST_SEARCHES];
    for (int64_t k = 0; k < count; k++) {
        duct[k] = s->duct[open[k]];
        frequency[k] = here[open[k]];
    }
    tubes(count, duct, frequency, impedance, whole ? NULL : travelled, NULL);
    for (int64_t k = 0; k < count; k++) {
        int64_t n = open[k];
        double inertia = mouth_reactance(duct[k], frequency[k]);
        value[n] = whole ? reflection_phase(impedance[k] + I * inertia, s->reference[n])
                         : mode_angle(impedance[k], travelled[k], inertia, s->reference[n]) -
                               (double)s->mode[n] * PI;
    }
}

/* The secant's slope where it can be trusted, else the old one. */
static double next_slope(double slope, double secant)
{
    double share = secant / slope;
    return isfinite(secant) && share > 0.2 && share < 5 ? secant : slope;
}

/* Secant steps, all searches side by side, from `here` with `value` and `slope`; NaN in `found`
 * where one does not end. `whole`: for the zero of the whole reactance next to the start, else for
 * the mode's angle, where a step may be as long as `longest` lets it. */
static void secant(const struct searches *s, const struct search_rules *rules, bool whole,
                   int64_t left, int64_t *open, double *here, double *value, double *slope,
                   double *found)
{
    double start[MOST_SEARCHES], step[MOST_SEARCHES], new[MOST_SEARCHES];
    for (int64_t n = 0; n < s->count; n++)
        start[n] = here[n];
    for (int64_t pass = 0; pass < rules->most; pass++) {
        int64_t still = 0;
        for (int64_t k = 0; k < left; k++) {
            int64_t n = open[k];
            double down = rules->longest * (whole ? start[n] : here[n]);
            double up = whole ? down : here[n] / rules->longest;
            step[n] = fmin(fmax(-value[n] / slope[n], -down), up);
            here[n] += step[n];
            if (fabs(step[n]) <= rules->tolerance * here[n])
                found[n] = here[n];
            else if (!whole || fabs(here[n] - start[n]) <= down)
                open[still++] = n;
        }
        left = still;
        if (left == 0)
            return;
        angles(s, left, open, here, whole, new);
        for (int64_t k = 0; k < left; k++) {
            int64_t n = open[k];
            slope[n] = next_slope(slope[n], (new[n] - value[n]) / step[n]);
            value[n] = new[n];
        }
    }
}

/* A zero of the reactance for each search, Hz, NaN where there is none.
 *
 * The first search follows the mode's angle, which rises steadily with frequency and knows its
 * mode; the second, from there, finds the zero of the whole reactance. */
static void seek(struct searches *s, const struct search_rules *coarse,
                 const struct search_rules *fine, double *found)
{
    int64_t open[MOST_SEARCHES], left = s->count;
    double here[MOST_SEARCHES], value[MOST_SEARCHES], slope[MOST_SEARCHES], near[MOST_SEARCHES];
    for (int64_t n = 0; n < s->count; n++) {
        const struct duct *duct = s->duct[n];
        double time = duct->transit_time + duct->mouth_inertance / duct->mouth_impedance;
        open[n] = n;
        near[n] = found[n] = NAN;
        here[n] = (double)(2 * s->mode[n] + 1) / (4 * time);
        slope[n] = 2 * PI * time;
        s->reference[n] = duct->mouth_impedance;
    }
    angles(s, left, open, here, false, value);
    secant(s, coarse, false, left, open, here, value, slope, near);

    double nearby[MOST_SEARCHES], value_nearby[MOST_SEARCHES];
    left = 0;
    for (int64_t n = 0; n < s->count; n++) {
        if (isnan(near[n]))
            continue;
        open[left++] = n;
        here[n] = near[n];
        nearby[n] = near[n] * (1 + fine->longest / 16);
        s->reference[n] += fabs(mouth_reactance(s->duct[n], near[n]));
    }
    angles(s, left, open, here, true, value);
    angles(s, left, open, nearby, true, value_nearby);
    for (int64_t k = 0; k < left; k++) {
        int64_t n = open[k];
        slope[n] = (value_nearby[n] - value[n]) / (nearby[n] - here[n]);
    }
    secant(s, fine, true, left, open, here, value, slope, found);
}

/* Q = ω (dX/dω)/(2 R), the slope by a central difference; NaN where the reactance falls or the
 * resistance exceeds the characteristic impedance: that is no resonance. Infinite without losses. */
static void qualities(const struct searches *s, const double *frequency, double *quality)
{
    const double step = 1e-4;
    const struct duct *duct[3 * MOST_SEARCHES];
    double around[3 * MOST_SEARCHES];
    double complex impedance[3 * MOST_SEARCHES];
    for (int64_t n = 0; n < s->count; n++)
        for (int side = 0; side < 3; side++) {
            duct[3 * n + side] = s->duct[n];
            around[3 * n + side] = isnan(frequency[n]) ? 1.0 : frequency[n] * (1 + step * (side - 1));
        }
    tubes(3 * s->count, duct, around, impedance, NULL, NULL);
    for (int64_t n = 0; n < s->count; n++) {
        const double complex *z = impedance + 3 * n;
        double mouth = mouth_reactance(s->duct[n], around[3 * n + 2]) -
                       mouth_reactance(s->duct[n], around[3 * n]);
        double rise = (cimag(z[2]) - cimag(z[0]) + mouth) / (2 * step);
        double resistance = creal(z[1]);
        bool proper = rise > 0 && resistance < s->duct[n]->mouth_impedance && !isnan(frequency[n]);
        double q = s->duct[n]->lossy ? rise / (2 * resistance) : INFINITY;
        quality[n] = proper ? q : NAN;
    }
}

/* Rising, without the frequencies that are no resonance; NaN last. */
static void put_in_order(int64_t modes, double *frequency, double *quality)
{
    for (int64_t n = 0; n < modes; n++)
        if (isnan(quality[n]))
            frequency[n] = NAN;
    for (int64_t n = 1; n < modes; n++)
        for (int64_t k = n; k > 0 && (isnan(frequency[k - 1]) ? !isnan(frequency[k])
                                                              : frequency[k] < frequency[k - 1]);
             k--) {
            double f = frequency[k], q = quality[k];
            frequency[k] = frequency[k - 1], quality[k] = quality[k - 1];
            frequency[k - 1] = f, quality[k - 1] = q;
        }
}

static void of_modes(int64_t count, const struct duct *const *duct, int64_t modes,
                     const struct search_rules *coarse, const struct search_rules *fine,
                     double *frequency, double *quality)
{
    for (int64_t first = 0, together = MOST_SEARCHES / modes; first < count; first += together) {
        struct searches s = {.count = 0};
        for (int64_t i = first; i < count && i < first + together; i++)
            for (int64_t mode = 0; mode < modes; mode++) {
                s.duct[s.count] = duct[i];
                s.mode[s.count++] = mode;
            }
        seek(&s, coarse, fine, frequency + first * modes);
        qualities(&s, frequency + first * modes, quality + first * modes);
        for (int64_t n = 0; n < s.count; n += modes)
            put_in_order(modes, frequency + first * modes + n, quality + first * modes + n);
    }
}

/* The first `modes` resonances of each duct, (count, modes), and their quality factors.
 *
 * A mode more or less changes no other: where one of the first has no resonance, the next ones move
 * up, and are sought for that duct even if fewer were asked for. */
void resonances_of(int64_t count, const struct duct *duct, int64_t modes,
                   const struct search_rules *coarse, const struct search_rules *fine,
                   double *frequency, double *quality)
{
    for (int64_t first = 0; first < count; first += MOST_SEARCHES) {
        const struct duct *these[MOST_SEARCHES];
        int64_t many = count - first < MOST_SEARCHES ? count - first : MOST_SEARCHES;
        for (int64_t i = 0; i < many; i++)
            these[i] = duct + first + i;
        of_modes(many, these, modes, coarse, fine, frequency + first * modes,
                 quality + first * modes);
    }
    for (int64_t i = 0; i < count && modes < MOST_MODES; i++) {
        bool lacks = false;
        for (int64_t n = i * modes; n < (i + 1) * modes; n++)
            lacks |= isnan(frequency[n]);
        if (!lacks)
            continue;
        const struct duct *this = duct + i;
        double f[MOST_MODES], q[MOST_MODES];
        of_modes(1, &this, MOST_MODES, coarse, fine, f, q);
        memcpy(frequency + i * modes, f, (size_t)modes * sizeof(double));
        memcpy(quality + i * modes, q, (size_t)modes * sizeof(double));
    }
}

/* The one temperature at which the same branch and gas would resonate at a frequency ------------- */

/* The same duct filled with gas of one temperature; a straight one is one cell then. */
static void fill_uniformly(const struct cell_means *like, int64_t cells, const struct gas_table *gas,
                           double pressure, double temperature, double radius, struct duct *duct)
{
    struct gas_state s = gas_at(gas, quad_of(temperature));
    double cp = s.heat_capacity[0], k = s.conductivity[0], mu = s.viscosity[0];
    double ratio = cp / (cp - gas->gas_constant), area = PI * radius * radius;
    double density = pressure / (gas->gas_constant * temperature);
    double viscous = duct->lossy ? sqrt(mu / (2 * PI * density)) / radius : 0.0;
    double root_prandtl = sqrt(cp * mu / k), straight = 0.0;
    bool bent = false;
    for (int64_t c = 0; c < cells; c++) {
        bent |= like->inertance_ratio[c] != 1 || like->area_ratio[c] != 1;
        straight += like->length[c];
    }
    duct->cells = bent ? cells : 1;
    duct->mouth_impedance = sqrt(density * ratio * pressure) / area / like->area_ratio[0];
    for (int64_t c = 0; c < duct->cells; c++) {
        double length = bent ? like->length[c] : straight;
        double inertance = bent ? length * like->inertance_ratio[c] : length;
        double wide = bent ? like->area_ratio[c] : 1.0, layer = viscous / sqrt(wide);
        duct->cell[c] = (struct cell){
            .mass = density * inertance / (area * wide),
            .spring = length * area * wide / (ratio * pressure),
            .viscous = layer,
            .heat = layer / root_prandtl,
            .thermal = ratio - 1,
        };
    }
}

/* ln of that temperature by the secant method from ln of a start; NaN where it does not end. */
double effective_temperature(const struct cell_means *like, int64_t cells,
                             const struct gas_table *gas, double pressure, double radius,
                             double frequency, double log_start, const struct search_rules *rules,
                             struct duct *duct)
{
    const struct duct *own[] = {duct};
    double here = log_start, slope = PI / 2, step = 0.0, value = 0.0;
    double longest = rules->longest * fabs(here), inertia = mouth_reactance(duct, frequency);
    for (int64_t pass = 0; pass <= rules->most; pass++) {
        double complex tube;
        fill_uniformly(like, cells, gas, pressure, exp(here), radius, duct);
        tubes(1, own, &frequency, &tube, NULL, NULL);
        double new = reflection_phase(tube + I * inertia, duct->mouth_impedance);
        if (pass > 0) /* the phase goes as -ωL/c, and c as the root of T: hence the first slope */
            slope = next_slope(slope, (new - value) / step);
        value = new;
        step = fmin(fmax(-value / slope, -longest), longest);
        here += step;
        if (fabs(step) <= rules->tolerance * fabs(here))
            return here;
    }
    return NAN;
}
