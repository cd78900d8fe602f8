/* Buoyant counterflow: what it carries along the branch, and what of it scrapes the wall.
 *
 * In full, with sources: counterflow.py.
 */
#include "core.h"

#define ISOTHERMAL_PERIMETER (1.0 / 23040) /* in the manner of Bejan & Tien (1978), derived */
#define STEEP_COEFFICIENT (1.0 / 300)
#define LAYERING 7.0
#define STEEP_SCRAPING 0.3
#define GENTLE_GRADIENT 10.0 /* K/m; below it the inertial scale fades smoothly */

/* A diffusivity and how it answers to the gradient and to the temperature: twice, with the slopes
 * of the properties on the left of the face and on its right. */
struct answering {
    quad value, by_gradient, by_left, by_right;
};

/* The gas at four faces. */
struct face {
    quad per_t, viscosity, diffusivity, left_slope, right_slope; /* 1/K, m²/s both, 1/K both */
    quad half_bore_squared;
};

/* The slower of the viscous flow and the inertial one, joined harmonically, by a gradient's size. */
INLINE struct answering slower(const struct face *f, double gravity, quad size,
                               double viscous_coefficient, double reach)
{
    quad half = f->half_bore_squared;
    quad push = gravity * f->per_t; /* g β, β = 1/T */
    quad rayleigh = push * size * (half * half) / f->viscosity;
    quad viscous = viscous_coefficient * rayleigh * rayleigh / f->diffusivity;
    quad squared = size * size, whole = squared + GENTLE_GRADIENT * GENTLE_GRADIENT;
    quad root = quad_sqrt(whole);
    /* The root of the size, with a smooth foot. */
    quad inertial = reach * 4 * half * quad_sqrt(push / root) * squared / root;
    quad share = inertial / (viscous + inertial + TINY);
    quad value = viscous * share;
    quad bend = 2 * share + (1 - share) * (2 - 1.5 * squared / whole);
    quad own = (0.5 + 1.5 * share) * f->per_t; /* by the temperature itself */
    return (struct answering){value, value * bend * size / (squared + TINY),
                              value * (share * f->left_slope - own),
                              value * (share * f->right_slope - own)};
}

INLINE struct answering sum(struct answering a, double of_a, struct answering b, double of_b)
{
    return (struct answering){of_a * a.value + of_b * b.value,
                              of_a * a.by_gradient + of_b * b.by_gradient,
                              of_a * a.by_left + of_b * b.by_left,
                              of_a * a.by_right + of_b * b.by_right};
}

static void put(double *value, double *left, double *right, int64_t n, struct answering a,
                double strength, quad per_step)
{
    double half = strength * 0.5;
    quad stepped = strength * a.by_gradient * per_step;
    quad_put(value + n, strength * a.value);
    quad_put(left + n, half * a.by_left - stepped);
    quad_put(right + n, half * a.by_right + stepped);
}

/* At all inner faces. */
void counterflow_at_faces(struct balance *b)
{
    double across = fmax(GRAVITY * cos(b->rise), 0.0), sine = fabs(sin(b->rise));
    double towards = (b->rise < 0) - (b->rise > 0);
    /* How much farther than free fall the streams run, and what layers leave of the level part. */
    double farther = 1.3 + 66 * sine * sine * pow(fabs(cos(b->rise)), 5);
    double kept = exp(-LAYERING * fmax(-sin(b->rise), 0.0)), scraping = STEEP_SCRAPING / farther;
    struct face f;
    for (int64_t n = 1; n < b->nodes; n += LANES) {
        int64_t left = n - 1;
#define FACE(quantity) ((quad_at(b->quantity + left) + quad_at(b->quantity + n)) * 0.5)
        quad bore = quad_at(b->face_bore + n);
        f.half_bore_squared = 0.25 * bore * bore;
        quad mu = FACE(mu), cp = FACE(cp), k = FACE(k);
        quad per_step = quad_at(b->per_step + n);
        quad gradient = (quad_at(b->gas_t + n) - quad_at(b->gas_t + left)) * per_step;
        f.per_t = 1 / FACE(gas_t);
        quad density = b->gas_per_kelvin * f.per_t;
        f.viscosity = mu / density, f.diffusivity = k / (density * cp);
        /* Slope of ln [1/(ν² α)] = ln [ρ³ c_p / (μ² k)], with ρ as 1/T. */
#define SLOPE(side) (quad_at(b->cp_slope + side) * per_cp - 2 * quad_at(b->mu_slope + side) * per_mu - \
                     quad_at(b->k_slope + side) * per_k - 3 * f.per_t)
        quad per_cp = 1 / cp, per_mu = 1 / mu, per_k = 1 / k;
        f.left_slope = SLOPE(left), f.right_slope = SLOPE(n);
#undef SLOPE
#undef FACE
        struct answering along = slower(&f, across, quad_abs(gradient), ISOTHERMAL_PERIMETER, 1.0);
        along.by_gradient = quad_choose(gradient < 0, -along.by_gradient, along.by_gradient);
        struct answering at_wall = along;
        if (sine > 0) {
            quad up = quad_max(gradient * towards, quad_of(0));
            struct answering steep =
                slower(&f, GRAVITY * sine, up, STEEP_COEFFICIENT, farther);
            steep.by_gradient *= towards;
            at_wall = sum(along, 1.0, steep, scraping);
            along = sum(along, kept, steep, 1.0);
        }
        put(b->buoyant, b->by_left, b->by_right, n, along, b->buoyancy, per_step);
        put(b->scraping, b->scraped_left, b->scraped_right, n, at_wall, b->buoyancy, per_step);
    }
}

/* Where buoyancy is left out. */
void counterflow_none(struct balance *b)
{
    double *faces[] = {b->buoyant,  b->by_left,      b->by_right,
                       b->scraping, b->scraped_left, b->scraped_right};
    for (size_t f = 0; f < sizeof faces / sizeof *faces; f++)
        memset(faces[f], 0, (size_t)(b->padded + LANES) * sizeof(double));
}
