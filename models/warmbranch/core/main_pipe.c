/* The main pipe at the mouth: gas speed, inner film, wall, and what the branch meets there. */
#include "core.h"

#define LAMINAR_LIMIT 2300.0
#define TURBULENT_LIMIT 4000.0

/* [Gnielinski1976] with Petukhov's friction factor f = (0.790 ln Re - 1.64)^-2:
 * Nu = (f/8)(Re - 1000) Pr / [1 + 12.7 (f/8)^(1/2) (Pr^(2/3) - 1)] */
static double turbulent_nusselt(double reynolds, double prandtl)
{
    double root = 0.790 * log(reynolds) - 1.64, eighth = 0.125 / (root * root);
    return eighth * (reynolds - 1000) * prandtl /
           (1 + 12.7 * sqrt(eighth) * (cbrt(prandtl * prandtl) - 1));
}

/* Laminar, turbulent, and [Gnielinski2013]'s straight line in Re between: nusselt.nusselt_pipe. */
double pipe_nusselt(double reynolds, double prandtl)
{
    double share = (reynolds - LAMINAR_LIMIT) / (TURBULENT_LIMIT - LAMINAR_LIMIT);
    if (share <= 0)
        return NUSSELT_LAMINAR;
    if (share >= 1)
        return turbulent_nusselt(reynolds, prandtl);
    return NUSSELT_LAMINAR + share * (turbulent_nusselt(TURBULENT_LIMIT, prandtl) - NUSSELT_LAMINAR);
}

static double main_bore(const struct design *d)
{
    return d->main_outside_diameter - 2 * d->main_wall_thickness;
}

struct outside around_main(const struct design *d, const struct mixtures *m)
{
    return (struct outside){ /* bare, level and long */
        .air = air_of(m),
        .air_temperature = d->air_temperature,
        .radiant_temperature = d->radiant_temperature,
        .pressure = d->pressure,
        .air_speed = d->air_speed,
        .length = 1.0,
        .rise = 0.0,
        .factor = 1.0,
        .fixed_film = NAN,
        .emissivity = d->main_emissivity,
    };
}

double main_supply(const struct design *d, const struct gas_table *gas, double augmentation,
                   double hot, double mass_flow)
{
    struct gas_state s = gas_at(gas, quad_of(hot));
    double bore = main_bore(d), cp = s.heat_capacity[0], k = s.conductivity[0], mu = s.viscosity[0];
    double number = pipe_nusselt(4 * mass_flow / (PI * bore * mu), cp * mu / k);
    return augmentation * (number * k / bore) * bore / d->main_outside_diameter;
}

/* Root of supply (T_gas - T_wall) = flux outside (T_wall), the wall being thin; the balance is
 * monotone in the wall temperature, so the root lies between the extremes. Whether it was found. */
static bool wall_temperature(const struct design *d, const struct mixtures *m,
                             const struct gas_table *gas, const struct wall_rules *rules,
                             double *wall)
{
    struct outside out = around_main(d, m);
    double hot = d->main_gas_temperature, air = d->air_temperature, radiant = d->radiant_temperature;
    double supply = main_supply(d, gas, d->film_augmentation, hot, d->mass_flow);
    double low = fmin(fmin(hot, air), radiant), high = fmax(fmax(hot, air), radiant);
    double here = (supply * hot + rules->usual_loss * air) / (supply + rules->usual_loss);
    for (int64_t n = 0; n < rules->most; n++) {
        double slope, flux = outside_flux(&out, d->main_outside_diameter, here, &slope);
        double new = here + (supply * (hot - here) - flux) / (supply + slope);
        double step = fmin(fmax(new, low), high) - here;
        *wall = here += step;
        if (fabs(step) < rules->tolerance)
            return true;
    }
    return false;
}

/* Mouth corrections over the branch's bore radius; sources and ranges: mouth.py. */
#define FLANGED 0.8216   /* infinite flange, low frequency, from memory */
#define UNFLANGED 0.6133 /* Levine & Schwinger (1948) */
enum mouth_model { SIDE_BRANCH = 0, FLANGED_MOUTH = 1, UNFLANGED_MOUTH = 2 };

static double side_branch_correction(double ratio) /* [Ji2005], of bore over main bore */
{
    ratio = fmin(ratio, 1.0);
    return ratio <= 0.4 ? 0.8216 - 0.0644 * ratio - 0.694 * ratio * ratio
                        : 0.9326 - 0.6196 * ratio;
}

#define TAKEN 0.82 /* by the flow; these four are fitted to our own simulation */
#define FASTEST 0.40
#define LOUD 0.3
#define QUADRATIC (4 / (3 * PI))

double mouth_reactance(const struct duct *duct, double frequency)
{
    double inertance = duct->mouth_inertance, fast = frequency * duct->crossing_time / FASTEST;
    if (duct->grazed_inertance != 0)
        inertance -= duct->grazed_inertance * exp(-fast * fast * fast);
    return 2 * PI * frequency * inertance;
}

/* Amplitude of the gas's velocity at the mouth, m/s: see mouth_loss.mouth_velocity. */
static double mouth_velocity(const struct design *d, const struct mouth *mouth, double density,
                             double area_ratio)
{
    double c = mouth->main_sound_speed, arriving = d->incident_pressure / (density * c);
    double rest = 2 * d->flow_loss * mouth->speed / c + area_ratio;
    double per_velocity = QUADRATIC * d->level_loss / c;
    return arriving > 0 ? 4 * arriving / (rest + sqrt(rest * rest + 16 * per_velocity * arriving))
                        : d->cap_pressure / (density * c);
}

bool mouth_of(const struct design *d, const struct mixtures *m, int64_t i,
              const struct wall_rules *rules, struct mouth *mouth)
{
    struct gas_table gas = gas_of(m, i);
    double hot = d->main_gas_temperature, main = main_bore(d), main_area = PI / 4 * main * main;
    double bore = d->bore, density = d->pressure / (gas.gas_constant * hot);
    double cp = gas_at(&gas, quad_of(hot)).heat_capacity[0];
    double per_radius = d->mouth_model == SIDE_BRANCH     ? side_branch_correction(bore / main)
                        : d->mouth_model == FLANGED_MOUTH ? FLANGED
                                                          : UNFLANGED;
    mouth->speed = d->mass_flow / (density * main_area);
    mouth->main_sound_speed = sqrt(cp / (cp - gas.gas_constant) * gas.gas_constant * hot);
    bool given = !isnan(d->fixed_mouth_length), flows = mouth->speed > 0;
    double area = PI / 4 * bore * bore, per_length = density / area;
    double level = mouth_velocity(d, mouth, density, area / main_area) / mouth->speed / LOUD;
    double taken = TAKEN * sqrt(fmin(bore / main, 1.0)) / (1 + level * level) * bore / 2;
    mouth->inertance =
        per_length * (given ? d->fixed_mouth_length : d->mouth_factor * per_radius * bore / 2);
    mouth->grazed_inertance = given || !flows ? 0.0 : per_length * d->mouth_flow * taken;
    mouth->crossing_time = flows ? bore / mouth->speed : INFINITY;
    mouth->main_impedance = density * mouth->main_sound_speed / main_area;
    mouth->wall = d->main_skin_temperature;
    return !isnan(mouth->wall) || wall_temperature(d, m, &gas, rules, &mouth->wall);
}
