/* Water vapour at saturation, and how it diffuses: see saturation.py and vapour.py. */
#ifndef WARMBRANCH_SATURATION_H
#define WARMBRANCH_SATURATION_H

#include "quad.h"

#define TRIPLE_TEMPERATURE 273.16
#define TRIPLE_PRESSURE 611.657
#define COLDEST_ICE 50.0
#define HOTTEST_WATER 647.096
#define WETTEST (1 - 1e-9) /* mole fraction that cannot be told from steam's */

/* Pressure and its slope, Pa/K: [IAPWS1997], region 4. */
INLINE quad pressure_over_water(quad t, quad *slope)
{
    quad off = 1 / (t - 0.65017534844798e3), theta = t - 0.23855557567849 * off;
    quad a = theta * theta + 0.11670521452767e4 * theta - 0.72421316703206e6;
    quad b = -0.17073846940092e2 * theta * theta + 0.12020824702470e5 * theta - 0.32325550322333e7;
    quad c = 0.14915108613530e2 * theta * theta - 0.48232657361591e4 * theta + 0.40511340542057e6;
    quad a_slope = 2 * theta + 0.11670521452767e4;
    quad b_slope = -2 * 0.17073846940092e2 * theta + 0.12020824702470e5;
    quad c_slope = 2 * 0.14915108613530e2 * theta - 0.48232657361591e4;
    quad root = quad_sqrt(b * b - 4 * a * c);
    quad root_slope = (b * b_slope - 2 * (a * c_slope + a_slope * c)) / root;
    quad under = root - b, quarter = 2 * c / under, cubed = quarter * quarter * quarter;
    *slope = 4e6 * cubed * (2 * c_slope - quarter * (root_slope - b_slope)) / under *
             (1 + 0.23855557567849 * off * off);
    return 1e6 * cubed * quarter;
}

/* The same over ice: [IAPWS2011]. */
INLINE quad pressure_over_ice(quad t, quad *slope)
{
    quad theta = t * (1 / TRIPLE_TEMPERATURE), ln = quad_log(theta);
    quad first = -0.212144006e2 * quad_exp(ln * (0.333333333e-2 - 1));
    quad second = 0.273203819e2 * quad_exp(ln * (1.20666667 - 1));
    quad third = -0.610598130e1 * quad_exp(ln * (1.70333333 - 1));
    quad pressure = TRIPLE_PRESSURE * quad_exp(first + second + third);
    *slope = pressure / t * (first * (0.333333333e-2 - 1) + second * (1.20666667 - 1) +
                             third * (1.70333333 - 1));
    return pressure;
}

/* φ = -ln(1 - y) of saturated vapour, that of steam where water would boil, and its slope. */
INLINE quad saturated_content(quad temperature, double pressure, quad *slope)
{
    quad t = quad_min(quad_max(temperature, quad_of(COLDEST_ICE)), quad_of(HOTTEST_WATER));
    quad triple = quad_of(TRIPLE_TEMPERATURE), rises;
    quad own = pressure_over_water(quad_max(t, triple), &rises);
    if (fmin(fmin(t[0], t[1]), fmin(t[2], t[3])) < TRIPLE_TEMPERATURE) {
        quad by_ice, over_ice = pressure_over_ice(quad_min(t, triple), &by_ice);
        own = quad_choose(t >= triple, own, over_ice);
        rises = quad_choose(t >= triple, rises, by_ice);
    }
    quad wettest = quad_of(WETTEST), share = own / pressure, rest = 1 - quad_min(share, wettest);
    *slope = quad_choose(share > wettest, quad_of(0), rises / pressure / rest);
    return -quad_log(rest);
}

/* Diffusivity of water vapour in air, m²/s, and the power of the temperature that it goes with:
 * [MarreroMason1972], from memory. */
INLINE quad water_diffusivity(quad temperature, double pressure, quad *power)
{
    quad_bits cool = temperature < quad_of(450.0);
    quad factor = quad_choose(cool, quad_of(1.87e-10), quad_of(2.75e-9));
    *power = quad_choose(cool, quad_of(2.072), quad_of(1.632));
    return factor * quad_exp(quad_log(temperature) * *power) * (101325.0 / pressure);
}

#endif
