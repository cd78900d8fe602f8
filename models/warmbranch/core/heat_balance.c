/* The heat balance of gas, wall and skin along one branch, and its exact linearisation.
 *
 * Control volumes stand round the nodes; fluxes pass through the faces between them, so that what
 * leaves one volume enters the next and heat is conserved to rounding. Node 0 is the mouth, where
 * the wall's temperature is given and the gas gets its heat through the mouth's resistance; the
 * last node carries the cap. The same equations on numpy,
 * batch by batch: heat_balance.py.
 */
#include <stdlib.h>

#include "core.h"

#define DISC_SHAPE_FACTOR 2.0 /* conduction from a half-space into a disc, exact */
#define SELF_EXCITED 0.04 /* gas velocity of a branch that sings by itself: see mouth_exchange.py */
#define AHEAD LANES /* places before an array's first, so that one may look to the left */

bool balance_make(struct balance *b, int64_t nodes)
{
    double **arrays[] = {
        &b->x, &b->gas_t, &b->wall_t, &b->skin_t, &b->forced,
        &b->width_share, &b->bore_surface, &b->cap_area, &b->skin_area,
        &b->wrap_conductance, &b->per_bore, &b->skin_diameter,
        &b->rear_share, &b->rear_flux, &b->rear_slope,
        &b->per_step, &b->face_bore, &b->gas_path, &b->metal_path, &b->forced_face,
        &b->buoyant, &b->by_left, &b->by_right, &b->scraping, &b->scraped_left, &b->scraped_right,
        &b->flux, &b->flux_left, &b->flux_right, &b->metal_flux, &b->metal_left, &b->metal_right,
        &b->k, &b->k_slope, &b->cp, &b->cp_slope, &b->mu, &b->mu_slope,
        &b->volumetric, &b->volumetric_slope,
        &b->gas_amiss, &b->gas_left, &b->gas_here, &b->gas_wall, &b->gas_right,
        &b->wall_amiss, &b->wall_left, &b->wall_here, &b->wall_right,
        &b->wall_gas_left, &b->wall_gas_here, &b->wall_gas_right,
        &b->skin_loss, &b->skin_slope, &b->outside_loss, &b->outside_slope,
        &b->gas_step, &b->wall_step, &b->skin_step,
        &b->exchange, &b->film_left, &b->film_here, &b->film_right,
        &b->diffusivity, &b->diffusivity_slope, &b->swells, &b->at_wall_slope, &b->content,
        &b->at_wall, &b->over, &b->share, &b->dried, &b->to_wall,
        &b->along, &b->along_left, &b->along_right,
        &b->by_content, &b->by_wall, &b->by_gas_left, &b->by_gas_here, &b->by_gas_right,
        &b->vapour_left, &b->vapour_here, &b->vapour_right, &b->vapour_wall,
        &b->vapour_gas_left, &b->vapour_gas_here, &b->vapour_gas_right, &b->content_step,
    };
    int64_t count = sizeof arrays / sizeof *arrays;
    b->nodes = nodes;
    b->padded = (nodes + LANES - 1) / LANES * LANES;
    int64_t each = AHEAD + b->padded + 2 * LANES;
    b->room = calloc((size_t)(count * each + 12 * (nodes + 1)), sizeof(double));
    if (b->room == NULL)
        return false;
    double *next = b->room;
    for (int64_t n = 0; n < count; n++, next += each)
        *arrays[n] = next + AHEAD;
    b->eliminated = next;
    return true;
}

void balance_free(struct balance *b) { free(b->room); }

struct gas_table gas_of(const struct mixtures *m, int64_t i)
{
    int64_t own = i < m->gas_count ? i : m->gas_count - 1;
    return (struct gas_table){m->gas + own * m->gas_pieces, m->gas_pieces, m->first, m->step,
                              m->gas_constant[own]};
}

struct gas_table air_of(const struct mixtures *m)
{
    return (struct gas_table){m->air, m->air_pieces, m->first, m->step, m->air_gas_constant};
}

struct gas_table water_of(const struct mixtures *m)
{
    return (struct gas_table){m->water, m->air_pieces, m->first, m->step, m->water_gas_constant};
}

/* Everything of a design but its grid, its mixing and its temperatures. */
void balance_fit(struct balance *b, const struct design *d, const struct mixtures *m,
                 const struct pieces *pieces, int64_t i)
{
    b->gas = gas_of(m, i);
    b->line = centreline_of(pieces, d, i);
    b->bore = d->bore;
    b->bore_area = PI / 4 * b->bore * b->bore;
    b->rise = d->rise;
    b->buoyancy = isnan(d->fixed_diffusivity) ? d->buoyancy : 0.0;
    b->stanton = d->stanton;
    b->still_nusselt = d->still_nusselt;
    b->stirred_film = d->stirred_film;
    b->fixed_film = d->fixed_inner_film;
    b->gas_per_kelvin = d->pressure / b->gas.gas_constant; /* density times temperature */
    memcpy(b->conductivity, d->conductivity, sizeof b->conductivity);
    b->radiates = false;
    for (int64_t k = 0; k < RADIATION_TERMS; k++) {
        b->radiation[k] = STEFAN_BOLTZMANN * d->radiation_coefficients[k];
        b->radiates |= d->radiation_coefficients[k] != 0;
    }
    b->pressure = d->pressure;
    b->whole = d->vapour_content;
    b->wet_before = false;
    memset(b->dried, 0, (size_t)b->padded * sizeof(double));
    b->wrapped = d->wrap_thickness > 0;
    if (b->buoyancy == 0) /* nothing of the design before may stay */
        counterflow_none(b);
    b->out = (struct outside){
        .air = air_of(m),
        .air_temperature = d->air_temperature,
        .radiant_temperature = d->radiant_temperature,
        .pressure = d->pressure,
        .air_speed = d->air_speed,
        .length = d->length,
        .rise = d->rise,
        .factor = d->outer_film_factor,
        .fixed_film = d->fixed_outer_film,
        .emissivity = d->emissivity,
    };
    b->has_rear = d->rear_from < d->length;
    b->rear = b->out;
    b->rear.air_temperature = d->rear_air_temperature;
    b->rear.radiant_temperature = d->rear_radiant_temperature;
    b->rear.air_speed = d->rear_air_speed;
}

/* Widen a range of temperatures by those of all that is around the branch. */
void surrounded_by(const struct design *d, double *low, double *high)
{
    *low = fmin(*low, fmin(d->air_temperature, d->radiant_temperature));
    *high = fmax(*high, fmax(d->air_temperature, d->radiant_temperature));
    if (!isfinite(d->rear_from))
        return;
    *low = fmin(*low, fmin(d->rear_air_temperature, d->rear_radiant_temperature));
    *high = fmax(*high, fmax(d->rear_air_temperature, d->rear_radiant_temperature));
}

/* Mixing at the faces: stirring decays exponentially from the mouth, and of such numbers the
 * geometric mean is the one midway. */
void balance_mixing(struct balance *b)
{
    for (int64_t n = 1; n < b->nodes; n++)
        b->forced_face[n] = sqrt(b->forced[n - 1] * b->forced[n]);
    b->forced_face[0] = b->forced_face[b->nodes] = 0.0;
}

/* Density times sound speed, Pa s/m. */
double characteristic_impedance(const struct balance *b, double t)
{
    double capacity = gas_at(&b->gas, quad_of(t)).heat_capacity[0], constant = b->gas.gas_constant;
    return b->gas_per_kelvin / t * sqrt(capacity / (capacity - constant) * constant * t);
}

/* Mixing by the laminar layers of a tone of frequency f, over ω ξ²: see mixing.py. */
double laminar_pulsation(const struct balance *b, double t, double f)
{
    struct gas_state s = gas_at(&b->gas, quad_of(t));
    double viscosity = s.viscosity[0] / (b->gas_per_kelvin / t);
    double prandtl = s.viscosity[0] * s.heat_capacity[0] / s.conductivity[0], root = sqrt(prandtl);
    double layer = sqrt(viscosity / (PI * f)) / (b->bore / 2);
    return layer / 2 * (1 + root + prandtl) / (root * (1 + root) * (1 + prandtl));
}

/* What the mouth's shear layer lets pass: see mouth_exchange.py. */
void balance_mouth(struct balance *b, const struct design *d, double hot, double mass_flow,
                   double cap_pressure)
{
    b->main_gas = hot;
    b->mouth_resistance = 0.0;
    if (isinf(d->mouth_exchange)) {
        vapour_mouth(b, hot, INFINITY, 0.0);
        return;
    }
    struct gas_state s = gas_at(&b->gas, quad_of(hot));
    double density = b->gas_per_kelvin / hot;
    double main = d->main_outside_diameter - 2 * d->main_wall_thickness;
    double speed = mass_flow / (density * (PI / 4 * main * main));
    double exchange = density * s.heat_capacity[0] * b->bore_area;
    double stagnant = DISC_SHAPE_FACTOR * s.conductivity[0] * b->bore;
    double tone = hypot(cap_pressure / characteristic_impedance(b, hot), SELF_EXCITED * speed);
    double moved = d->mouth_exchange * speed + d->tone_exchange * tone;
    b->mouth_resistance = 1 / (exchange * moved + stagnant);
    vapour_mouth(b, hot, b->bore_area * moved, DISC_SHAPE_FACTOR * b->bore);
}

static void gas_at_nodes(struct balance *b)
{
    for (int64_t n = 0; n < b->padded; n += LANES) {
        quad t = quad_at(b->gas_t + n);
        struct gas_state s = gas_at(&b->gas, t);
        quad per_t = 1 / t, density = b->gas_per_kelvin * per_t;
        quad volumetric = density * s.heat_capacity;
        quad_put(b->k + n, s.conductivity);
        quad_put(b->k_slope + n, s.conductivity_slope);
        quad_put(b->volumetric + n, volumetric);
        quad_put(b->volumetric_slope + n, density * s.heat_capacity_slope - volumetric * per_t);
        quad_put(b->cp + n, s.heat_capacity);
        quad_put(b->cp_slope + n, s.heat_capacity_slope);
        quad_put(b->mu + n, s.viscosity);
        quad_put(b->mu_slope + n, s.viscosity_slope);
    }
}

/* Conduction and mixing in the gas, conduction in the metal, and how they answer to both sides. */
static void fluxes_at_faces(struct balance *b)
{
    double a1 = b->conductivity[1], a2 = b->conductivity[2];
    for (int64_t n = 1; n < b->nodes; n += LANES) {
        int64_t left = n - 1;
        quad mixed = quad_at(b->forced_face + n) + quad_at(b->buoyant + n);
        quad volumetric = (quad_at(b->volumetric + left) + quad_at(b->volumetric + n)) * 0.5;
        quad k = (quad_at(b->k + left) + quad_at(b->k + n)) * 0.5 + volumetric * mixed;
        quad through = quad_at(b->gas_path + n);
        quad fall = through * (quad_at(b->gas_t + left) - quad_at(b->gas_t + n));
        through *= k;
        quad own_left = quad_at(b->k_slope + left) + quad_at(b->volumetric_slope + left) * mixed;
        quad own_right = quad_at(b->k_slope + n) + quad_at(b->volumetric_slope + n) * mixed;
        quad by_left = 0.5 * own_left + volumetric * quad_at(b->by_left + n);
        quad by_right = 0.5 * own_right + volumetric * quad_at(b->by_right + n);
        quad_put(b->flux + n, fall * k);
        quad_put(b->flux_left + n, fall * by_left + through);
        quad_put(b->flux_right + n, fall * by_right - through);

        quad wall = (quad_at(b->wall_t + left) + quad_at(b->wall_t + n)) * 0.5;
        quad metal = b->conductivity[0] + wall * (a1 + wall * a2);
        through = quad_at(b->metal_path + n);
        fall = through * (quad_at(b->wall_t + left) - quad_at(b->wall_t + n));
        quad bent = fall * (a1 + 2 * a2 * wall) * 0.5;
        quad_put(b->metal_flux + n, fall * metal);
        quad_put(b->metal_left + n, bent + through * metal);
        quad_put(b->metal_right + n, bent - through * metal);
    }
    /* Nothing passes beyond the ends; the last quad may have run over. */
    double *faces[] = {b->buoyant, b->by_left, b->by_right,
                       b->scraping, b->scraped_left, b->scraped_right,
                       b->flux, b->flux_left, b->flux_right,
                       b->metal_flux, b->metal_left, b->metal_right};
    for (size_t f = 0; f < sizeof faces / sizeof *faces; f++) {
        faces[f][0] = 0.0;
        quad_put(faces[f] + b->nodes, quad_of(0));
    }
}

/* What a gas or a wall sends to the other by the gas's radiation, W/m², and its slope: radiation.py. */
static quad radiated(const double *coefficients, quad temperature, quad *slope)
{
    quad t = temperature * 1e-3, cubed = temperature * temperature * temperature;
    quad whole = quad_of(0), bent = quad_of(0);
    for (int64_t k = RADIATION_TERMS - 1; k >= 0; k--) {
        bent = bent * t + coefficients[k];
        whole = whole * t + coefficients[k] / (double)(4 + k);
    }
    *slope = cubed * bent;
    return cubed * temperature * whole;
}

/* Exchange of gas and wall, and the residuals of both.
 *
 * The inner film is (Nu_0 + B √((D + β² E)/ν)) k/d + St* ρ c_p D_mix/d, with the forced mixing D
 * and what of the counterflow scrapes the wall, E, under the root. On the cap's plate the
 * counterflow, which must turn there, adds nothing to it. */
static void rows_at_nodes(struct balance *b)
{
    bool fixed = !isnan(b->fixed_film);
    for (int64_t n = 0; n < b->padded; n += LANES) {
        quad surface = quad_at(b->bore_surface + n), cap = quad_at(b->cap_area + n);
        quad exchange, to_left = quad_of(0), to_here = quad_of(0), to_right = quad_of(0);
        if (fixed) {
            exchange = b->fixed_film * (surface + cap);
        } else {
            quad k = quad_at(b->k + n), k_slope = quad_at(b->k_slope + n);
            quad per_bore = quad_at(b->per_bore + n), per_mixing = b->stanton * per_bore;
            quad volumetric = quad_at(b->volumetric + n), share = quad_at(b->width_share + n);
            quad volumetric_slope = quad_at(b->volumetric_slope + n);
            quad t = quad_at(b->gas_t + n);
            quad mu = quad_at(b->mu + n), mu_slope = quad_at(b->mu_slope + n);
            quad stirred = quad_at(b->forced + n), half = SCRAPING * SCRAPING * share;
            quad scraped = half * (quad_at(b->scraping + n) + quad_at(b->scraping + n + 1));
            quad per_viscosity = b->gas_per_kelvin / (t * mu), falls = -0.5 * (1 / t + mu_slope / mu);
            quad cap_root = b->stirred_film * quad_sqrt(stirred * per_viscosity);
            quad bare_root = quad_sqrt((stirred + scraped) * per_viscosity);
            quad root = b->stirred_film * bare_root;
            quad forced = per_mixing * stirred, plate = b->still_nusselt + cap_root;
            quad on_cap = plate * k * per_bore + volumetric * forced;
            quad cap_slope = (plate * k_slope + cap_root * falls * k) * per_bore +
                             volumetric_slope * forced;
            quad nusselt = b->still_nusselt + root;
            quad buoyant = share * (quad_at(b->buoyant + n) + quad_at(b->buoyant + n + 1));
            quad mixed = forced + per_mixing * buoyant, scaled = per_mixing * volumetric * share;
            exchange = (nusselt * k * per_bore + volumetric * mixed) * surface + on_cap * cap;
            /* How the film answers to what scrapes, and to what goes along, at each face. */
            quad per_root = b->stirred_film / (2 * bare_root + TINY);
            quad by_scraping = half * per_root * per_viscosity * k * per_bore;
            to_left = by_scraping * quad_at(b->scraped_left + n) + scaled * quad_at(b->by_left + n);
            to_right = by_scraping * quad_at(b->scraped_right + n + 1) +
                       scaled * quad_at(b->by_right + n + 1);
            to_here = by_scraping * (quad_at(b->scraped_right + n) + quad_at(b->scraped_left + n + 1)) +
                      scaled * (quad_at(b->by_right + n) + quad_at(b->by_left + n + 1)) +
                      (nusselt * k_slope + root * falls * k) * per_bore + volumetric_slope * mixed;
            to_left *= surface, to_right *= surface;
            to_here = to_here * surface + cap_slope * cap;
        }
        quad_put(b->exchange + n, exchange);
        quad_put(b->film_left + n, to_left);
        quad_put(b->film_here + n, to_here);
        quad_put(b->film_right + n, to_right);
        quad excess = quad_at(b->gas_t + n) - quad_at(b->wall_t + n);
        quad given = exchange * excess, here = to_here * excess + exchange, taken = exchange;
        if (b->radiates) {
            quad by_gas, by_wall, sent = radiated(b->radiation, quad_at(b->gas_t + n), &by_gas);
            sent -= radiated(b->radiation, quad_at(b->wall_t + n), &by_wall);
            given += (surface + cap) * sent;
            here += (surface + cap) * by_gas;
            taken += (surface + cap) * by_wall;
        }
        quad left = to_left * excess, right = to_right * excess;
        quad_put(b->gas_amiss + n, quad_at(b->flux + n + 1) - quad_at(b->flux + n) + given);
        quad_put(b->gas_left + n, left - quad_at(b->flux_left + n));
        quad_put(b->gas_here + n, quad_at(b->flux_left + n + 1) - quad_at(b->flux_right + n) + here);
        quad_put(b->gas_wall + n, -taken);
        quad_put(b->gas_right + n, quad_at(b->flux_right + n + 1) + right);
        quad_put(b->wall_amiss + n,
                 quad_at(b->metal_flux + n + 1) - quad_at(b->metal_flux + n) - given);
        quad_put(b->wall_left + n, -quad_at(b->metal_left + n));
        quad_put(b->wall_here + n,
                 quad_at(b->metal_left + n + 1) - quad_at(b->metal_right + n) + taken);
        quad_put(b->wall_right + n, quad_at(b->metal_right + n + 1));
        quad_put(b->wall_gas_left + n, -left);
        quad_put(b->wall_gas_here + n, -here);
        quad_put(b->wall_gas_right + n, -right);
        quad area = quad_at(b->skin_area + n);
        quad_put(b->skin_loss + n, area * quad_at(b->skin_loss + n));
        quad_put(b->skin_slope + n, area * quad_at(b->skin_slope + n));
    }
}

/* Residuals and slopes at the present temperatures. */
void balance_assemble(struct balance *b)
{
    for (int64_t n = b->nodes; n < b->padded; n++) { /* the last quad is filled up with the cap */
        b->gas_t[n] = b->gas_t[b->nodes - 1];
        b->wall_t[n] = b->wall_t[b->nodes - 1];
        b->skin_t[n] = b->skin_t[b->nodes - 1];
    }
    gas_at_nodes(b);
    if (b->buoyancy != 0)
        counterflow_at_faces(b);
    fluxes_at_faces(b);
    outside_fluxes(&b->out, b->padded, b->skin_diameter, b->skin_t, b->skin_loss, b->skin_slope);
    if (b->has_rear) {
        outside_fluxes(&b->rear, b->padded, b->skin_diameter, b->skin_t, b->rear_flux,
                       b->rear_slope);
        for (int64_t n = 0; n < b->nodes; n++) {
            b->skin_loss[n] += b->rear_share[n] * (b->rear_flux[n] - b->skin_loss[n]);
            b->skin_slope[n] += b->rear_share[n] * (b->rear_slope[n] - b->skin_slope[n]);
        }
    }
    rows_at_nodes(b);
    vapour_assemble(b);
}
