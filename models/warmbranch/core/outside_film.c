/* Convection and radiation from the skin to the surroundings.
 *
 * Air properties are those at the film temperature, the mean of skin and air; the expansion
 * coefficient of an ideal gas is one over it. Every correlation comes with its exact slope, which
 * Newton's method needs. The same physics on numpy: films.py, nusselt_with_slopes.py, radiation.py;
 * equations, validity and sources in full: nusselt.py.
 */
#include "core.h"
#include "series.h"

/* What the correlations make of the Prandtl number alone ---------------------------------------
 *
 * Air's Prandtl number hardly changes, and roots and powers of it are smooth: once at loading each
 * becomes a polynomial, as good as they (1e-14, by test) and several times quicker.
 */

#define LOWEST_PRANDTL 0.70 /* hold all of the table of dry air, by test */
#define HIGHEST_PRANDTL 0.76
#define PRANDTL_TERMS 10

/* [ChurchillChu1975]: Nu^(1/2) = C + 0.387 Ra^(1/6) / [1 + (c/Pr)^(9/16)]^(8/27), with C = 0.60,
 * c = 0.559 for a level cylinder, on its diameter, and C = 0.825, c = 0.492 for an upright plate,
 * on its height. */
#define LEVEL_STILL 0.60
#define PLATE_STILL 0.825

static double natural_factor(double prandtl, double c)
{
    return 0.387 / pow(1 + pow(c / prandtl, 9.0 / 16), 8.0 / 27);
}

/* Slope of its logarithm in ln Pr, over 1/6: (8/27) (9/16) = 1/6. */
static double natural_slope(double prandtl, double c)
{
    double raised = pow(c / prandtl, 9.0 / 16);
    return raised / (1 + raised);
}

static double level_factor(double prandtl) { return natural_factor(prandtl, 0.559); }
static double level_slope(double prandtl) { return natural_slope(prandtl, 0.559); }
static double plate_factor(double prandtl) { return natural_factor(prandtl, 0.492); }
static double plate_slope(double prandtl) { return natural_slope(prandtl, 0.492); }

/* [Popiel2008]: an upright cylinder's Nu is the plate's times 1 + B [32^(1/2) Gr^(-1/4) H/D]^C,
 * B = 0.0571322 + 0.20305 Pr^-0.43,
 * C = 0.9165 - 0.0043 Pr^(1/2) + 0.01333 ln Pr + 0.0004809/Pr. */
static double bend_strength(double prandtl) { return 0.0571322 + 0.20305 * pow(prandtl, -0.43); }
static double bend_strength_slope(double prandtl) { return -0.43 * 0.20305 * pow(prandtl, -0.43); }
static double bend_exponent(double prandtl)
{
    return 0.9165 - 0.0043 * sqrt(prandtl) + 0.01333 * log(prandtl) + 4.809e-4 / prandtl;
}
static double bend_exponent_slope(double prandtl)
{
    return 0.01333 - 0.00215 * sqrt(prandtl) - 4.809e-4 / prandtl;
}

/* [ChurchillBernstein1977]: Nu = 0.3 + 0.62 Re^(1/2) Pr^(1/3) / [1 + (0.4/Pr)^(2/3)]^(1/4)
 *                                * [1 + (Re/282000)^(5/8)]^(4/5) */
static double cross_factor(double prandtl)
{
    return 0.62 * cbrt(prandtl) / pow(1 + pow(0.4 / prandtl, 2.0 / 3), 0.25);
}
static double cross_slope(double prandtl) /* of its logarithm in ln Pr */
{
    double raised = pow(0.4 / prandtl, 2.0 / 3);
    return 1.0 / 3 + raised / (6 * (1 + raised));
}

enum prandtl_series {
    LEVEL_FACTOR, LEVEL_SLOPE, PLATE_FACTOR, PLATE_SLOPE,
    BEND_STRENGTH, BEND_STRENGTH_SLOPE, BEND_EXPONENT, BEND_EXPONENT_SLOPE,
    CROSS_FACTOR, CROSS_SLOPE, PRANDTL_SERIES
};

static double (*const of_prandtl[PRANDTL_SERIES])(double) = {
    level_factor, level_slope, plate_factor, plate_slope,
    bend_strength, bend_strength_slope, bend_exponent, bend_exponent_slope,
    cross_factor, cross_slope,
};
static double series[PRANDTL_SERIES][PRANDTL_TERMS];

void make_prandtl_series(void)
{
    for (int which = 0; which < PRANDTL_SERIES; which++) {
        double value[PRANDTL_TERMS];
        for (int n = 0; n < PRANDTL_TERMS; n++) {
            double share = (series_node(n, PRANDTL_TERMS) + 1) / 2;
            value[n] = of_prandtl[which](LOWEST_PRANDTL + share * (HIGHEST_PRANDTL - LOWEST_PRANDTL));
        }
        series_make(PRANDTL_TERMS, value, series[which]);
    }
}

/* -1 at the lowest Prandtl number, 1 at the highest. */
INLINE quad prandtl_place(quad prandtl)
{
    return (prandtl - 0.5 * (LOWEST_PRANDTL + HIGHEST_PRANDTL)) *
           (2 / (HIGHEST_PRANDTL - LOWEST_PRANDTL));
}

INLINE quad series_at(enum prandtl_series which, quad place)
{
    const double *c = series[which];
    quad sum = quad_of(c[PRANDTL_TERMS - 1]);
    for (int n = PRANDTL_TERMS - 2; n >= 0; n--)
        sum = sum * place + c[n];
    return sum;
}

/* For the tests: the series, and the function that it stands for. */
PUBLIC void core_prandtl(int64_t which, double prandtl, double *of_series, double *exact)
{
    *of_series = series_at((enum prandtl_series)which, prandtl_place(quad_of(prandtl)))[0];
    *exact = of_prandtl[which](prandtl);
}

/* The correlations ------------------------------------------------------------------------------ */

/* A Nusselt number and its slopes in the logarithms of Ra (or Re) and of Pr. */
struct sloped {
    quad value, by_log_first, by_log_prandtl;
};

/* Churchill and Chu's form, from the sixth root of Ra. */
INLINE struct sloped natural(quad root_rayleigh, double still, quad factor, quad slope)
{
    quad rising = root_rayleigh * factor, root_nusselt = rising + still;
    /* The slope in ln Pr has the same factor 2/6 as that in ln Ra. */
    quad by_log_rayleigh = root_nusselt * rising * (1.0 / 3);
    return (struct sloped){root_nusselt * root_nusselt, by_log_rayleigh, by_log_rayleigh * slope};
}

/* A curvature parameter of 10 is what a tube tends to as its skin nears air temperature: its inverse
 * to the fourth. */
#define FLATTEST_FOURTH 1e-4

/* A plate's natural convection bent round a cylinder of this diameter over its height. */
INLINE struct sloped curved(struct sloped plate, quad grashof, quad stoutness, quad at)
{
    quad strength = series_at(BEND_STRENGTH, at), exponent = series_at(BEND_EXPONENT, at);
    quad strength_slope = series_at(BEND_STRENGTH_SLOPE, at);
    quad exponent_slope = series_at(BEND_EXPONENT_SLOPE, at);
    quad squared = stoutness * stoutness * (1.0 / 32), inverse_fourth = grashof * (squared * squared);
    quad joined = inverse_fourth + FLATTEST_FOURTH;
    quad log_curvature = -0.25 * quad_log(joined);
    quad raised = quad_exp(exponent * log_curvature), added = strength * raised;
    quad by_log_grashof = -0.25 * exponent * added * inverse_fourth / joined;
    quad by_log_prandtl = strength_slope * raised + added * log_curvature * exponent_slope -
                          by_log_grashof; /* Gr = Ra/Pr */
    return (struct sloped){
        plate.value * (1 + added),
        plate.by_log_first * (1 + added) + plate.value * by_log_grashof,
        plate.by_log_prandtl * (1 + added) + plate.value * by_log_prandtl,
    };
}

/* Churchill and Bernstein's form. */
INLINE struct sloped crossed(quad reynolds, quad factor, quad slope)
{
    quad root = quad_sqrt(reynolds), quarter = root * (1 / sqrt(282000.0));
    quad five_eighths = quarter * quad_sqrt(quad_sqrt(quarter));
    quad rising = factor * root * quad_power(1 + five_eighths, 0.8);
    return (struct sloped){
        0.3 + rising,
        rising * (0.5 + 0.5 * five_eighths / (1 + five_eighths)),
        rising * slope,
    };
}

/* The whole film -------------------------------------------------------------------------------- */

/* What does not change from skin to skin. */
struct surroundings {
    double radiation, radiant, buoyancy, flow, length, upright, factor;
};

static struct surroundings of(const struct outside *out)
{
    double per_kelvin = out->pressure / out->air.gas_constant; /* density times temperature */
    double rise = sin(out->rise), radiation = STEFAN_BOLTZMANN * out->emissivity;
    double squared = out->radiant_temperature * out->radiant_temperature;
    return (struct surroundings){
        .radiation = radiation,
        .radiant = radiation * squared * squared,
        .buoyancy = GRAVITY * per_kelvin * per_kelvin,
        .flow = out->air_speed * per_kelvin,
        .length = out->length,
        .upright = rise * rise,
        .factor = out->factor,
    };
}

/* Four skins on their way through the film, from one loop to the next: short loops leave the
 * processor several quads to work on at a time, one long one does not.
 *
 * Changes named by_* are the excess (skin less air) times d ln(quantity)/d(skin temperature), which
 * stays finite where the excess is nil although the slope of ln Ra alone does not. */
struct skins {
    quad diameter, excess, k, mu, per_film, prandtl, prandtl_place;
    quad rayleigh, root; /* over a length cubed; the sixth root of Ra on the diameter */
    quad by_rayleigh, by_prandtl, by_reynolds, by_k;
    quad nusselt, growth; /* on the diameter, and by_nusselt times it */
};

/* Air at the film temperature, the mean of skin and air. */
static void put_air(const struct outside *out, const struct surroundings *s, int64_t count,
                    const double *diameter, const double *skin, struct skins *a)
{
    for (int64_t n = 0; n < count; n++) {
        a[n].diameter = quad_at(diameter + n * LANES);
        quad excess = quad_at(skin + n * LANES) - out->air_temperature;
        quad half = 0.5 * excess, film = out->air_temperature + half;
        struct gas_state air = gas_at(&out->air, film);
        quad cp = air.heat_capacity, k = air.conductivity, mu = air.viscosity;
        /* Divisions are dear: two, whose factors give the others. */
        quad each = 1 / (cp * k * mu), per_film = 1 / film;
        quad by_cp = half * air.heat_capacity_slope * (each * k * mu);
        quad by_k = half * air.conductivity_slope * (each * cp * mu);
        quad by_mu = half * air.viscosity_slope * (each * cp * k);
        quad by_film = half * per_film;
        a[n].excess = excess;
        a[n].k = k;
        a[n].mu = mu;
        a[n].per_film = per_film;
        a[n].prandtl = cp * mu * (each * cp * mu);
        a[n].prandtl_place = prandtl_place(a[n].prandtl);
        a[n].rayleigh = s->buoyancy * quad_abs(excess) * (per_film * per_film * per_film) *
                        (each * cp * cp);
        a[n].by_rayleigh = 1 + (by_cp - by_k - by_mu - 3 * by_film);
        a[n].by_prandtl = by_cp - by_k + by_mu;
        a[n].by_reynolds = -by_film - by_mu;
        a[n].by_k = by_k;
    }
    /* The least normal number stands for Ra = 0: its sixth root, 5e-52, is nil beside `still`. */
    quad least = quad_of(2.2250738585072014e-308);
    for (int64_t n = 0; n < count; n++) {
        quad cubed = a[n].diameter * a[n].diameter * a[n].diameter;
        a[n].root = quad_power(quad_max(a[n].rayleigh * cubed, least), 1.0 / 6);
    }
}

/* A level tube's natural convection. */
static void put_level(int64_t count, struct skins *a)
{
    for (int64_t n = 0; n < count; n++) {
        quad at = a[n].prandtl_place;
        struct sloped level = natural(a[n].root, LEVEL_STILL, series_at(LEVEL_FACTOR, at),
                                      series_at(LEVEL_SLOPE, at));
        a[n].nusselt = level.value;
        a[n].growth = level.by_log_first * a[n].by_rayleigh + level.by_log_prandtl * a[n].by_prandtl;
    }
}

/* Of a tube that rises: cos² of a level tube's film and sin² of an upright one's, our assumption,
 * see films.py. */
static void add_upright(const struct surroundings *s, int64_t count, struct skins *a)
{
    double lying = 1 - s->upright, length_cubed = s->length * s->length * s->length;
    for (int64_t n = 0; n < count; n++) {
        quad at = a[n].prandtl_place, stoutness = a[n].diameter * (1 / s->length);
        quad taller = quad_sqrt(1 / stoutness);
        quad standing = s->upright * stoutness; /* from Nu on the length to Nu on the diameter */
        struct sloped plate = natural(taller * a[n].root, PLATE_STILL, series_at(PLATE_FACTOR, at),
                                      series_at(PLATE_SLOPE, at));
        quad grashof = a[n].rayleigh * length_cubed / a[n].prandtl;
        struct sloped up = curved(plate, grashof, stoutness, at);
        quad growth = up.by_log_first * a[n].by_rayleigh + up.by_log_prandtl * a[n].by_prandtl;
        a[n].nusselt = lying * a[n].nusselt + standing * up.value;
        a[n].growth = lying * a[n].growth + standing * growth;
    }
}

/* With wind, Nu⁴ = Nu_natural⁴ + Nu_forced⁴: Incropera, chapter 9, from memory. */
static void add_wind(const struct surroundings *s, int64_t count, struct skins *a)
{
    for (int64_t n = 0; n < count; n++) {
        quad at = a[n].prandtl_place, still = a[n].nusselt;
        struct sloped cross = crossed(s->flow * a[n].diameter * a[n].per_film / a[n].mu,
                                      series_at(CROSS_FACTOR, at), series_at(CROSS_SLOPE, at));
        quad grown = cross.by_log_first * a[n].by_reynolds + cross.by_log_prandtl * a[n].by_prandtl;
        quad natural_cubed = still * still * still;
        quad forced_cubed = cross.value * cross.value * cross.value;
        quad fourth = natural_cubed * still + forced_cubed * cross.value;
        a[n].nusselt = quad_sqrt(quad_sqrt(fourth));
        a[n].growth = (natural_cubed * a[n].growth + forced_cubed * grown) * a[n].nusselt / fourth;
    }
}

#define TOGETHER 8 /* quads that go through the loops at a time */

static void some_fluxes(const struct outside *out, const struct surroundings *s, int64_t count,
                        const double *diameter, const double *skin, double *flux, double *slope)
{
    struct skins a[TOGETHER];
    bool fixed = !isnan(out->fixed_film);
    if (!fixed) {
        put_air(out, s, count, diameter, skin, a);
        put_level(count, a);
        if (s->upright > 0)
            add_upright(s, count, a);
        if (out->air_speed > 0)
            add_wind(s, count, a);
    }
    for (int64_t n = 0; n < count; n++) {
        quad here = quad_at(skin + n * LANES), excess = here - out->air_temperature;
        quad cubed = s->radiation * here * here * here; /* of ε σ T⁴ */
        quad film = quad_of(out->fixed_film), growth = quad_of(0);
        if (!fixed) {
            quad scale = s->factor * a[n].k / a[n].diameter;
            film = scale * a[n].nusselt;
            growth = scale * a[n].growth + film * a[n].by_k;
        }
        quad_put(flux + n * LANES, cubed * here - s->radiant + film * excess);
        quad_put(slope + n * LANES, 4 * cubed + film + growth);
    }
}

void outside_fluxes(const struct outside *out, int64_t count, const double *diameter,
                    const double *skin, double *flux, double *slope)
{
    struct surroundings s = of(out);
    int64_t quads = count / LANES;
    for (int64_t n = 0; n < quads; n += TOGETHER) {
        int64_t these = quads - n < TOGETHER ? quads - n : TOGETHER, at = n * LANES;
        some_fluxes(out, &s, these, diameter + at, skin + at, flux + at, slope + at);
    }
}

double outside_flux(const struct outside *out, double diameter, double skin, double *slope)
{
    struct surroundings s = of(out);
    double here[LANES] = {skin, skin, skin, skin}, flux[LANES], own[LANES];
    double round[LANES] = {diameter, diameter, diameter, diameter};
    some_fluxes(out, &s, 1, round, here, flux, own);
    *slope = own[0];
    return flux[0];
}
