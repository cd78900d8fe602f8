/* Sound in ducts: four pairs of duct and frequency march together from cap to mouth.
 *
 * Time convention e^(+jωt); U is the volume velocity towards the cap. The transfer matrix of a cell
 * is written here and nowhere else. On numpy: acoustics.py, viscothermal.py.
 */
#include "core.h"
#include "series.h"

/* Four complex numbers. */
struct wave {
    quad re, im;
};

INLINE struct wave wave_of(double re) { return (struct wave){quad_of(re), quad_of(0)}; }
INLINE struct wave plus(struct wave a, struct wave b)
{
    return (struct wave){a.re + b.re, a.im + b.im};
}
INLINE struct wave minus(struct wave a, struct wave b)
{
    return (struct wave){a.re - b.re, a.im - b.im};
}
INLINE struct wave times(struct wave a, struct wave b)
{
    return (struct wave){a.re * b.re - a.im * b.im, a.re * b.im + a.im * b.re};
}

/* The layers at the wall -------------------------------------------------------------------------
 *
 * F(r) = 2 J1(z)/[z J0(z)], z = r √-j, is the share of the section that a layer takes; r the shear
 * wave number a √(ω/ν), or a √(ω/α) for the thermal one. [ZwikkerKosten1949], [Tijdeman1975].
 */

#define WIDE_TUBE 25.0       /* wave number from which the wide-tube series is used */
#define NARROW_PIECES 100    /* of wave numbers below it, a quarter each, ... */
#define NARROW_TERMS 12      /* ... with polynomials, within 1e-13 of the Bessel functions, by test */
#define HIGHEST_ORDER 60     /* where the backward recurrence starts, ample below WIDE_TUBE */

static double narrow_re[NARROW_PIECES][NARROW_TERMS], narrow_im[NARROW_PIECES][NARROW_TERMS];

/* I1(y)/I0(y), y = r √j, by I_n/I_n-1 = 1/(2n/y + I_n+1/I_n), which forgets where it starts. */
static double complex bessel_ratio(double wave_number)
{
    double complex y = wave_number * (sqrt(0.5) + I * sqrt(0.5)), ratio = y / (2 * HIGHEST_ORDER);
    for (int order = HIGHEST_ORDER - 1; order > 0; order--)
        ratio = 1 / (2 * order / y + ratio);
    return 2 * ratio / y;
}

void make_layer_series(void)
{
    for (int piece = 0; piece < NARROW_PIECES; piece++) {
        double re[NARROW_TERMS], im[NARROW_TERMS];
        for (int n = 0; n < NARROW_TERMS; n++) {
            double place = piece + (series_node(n, NARROW_TERMS) + 1) / 2;
            double complex value = bessel_ratio(place * (WIDE_TUBE / NARROW_PIECES));
            re[n] = creal(value), im[n] = cimag(value);
        }
        series_make(NARROW_TERMS, re, narrow_re[piece]);
        series_make(NARROW_TERMS, im, narrow_im[piece]);
    }
}

/* F of 1/r >= 1/WIDE_TUBE. */
static void narrow(double inverse, double *re, double *im)
{
    double place = NARROW_PIECES / (WIDE_TUBE * inverse);
    int piece = place < NARROW_PIECES - 1 ? (int)place : NARROW_PIECES - 1;
    double t = 2 * (place - piece) - 1;
    *re = *im = 0.0;
    for (int n = NARROW_TERMS - 1; n >= 0; n--) {
        *re = *re * t + narrow_re[piece][n];
        *im = *im * t + narrow_im[piece][n];
    }
}

/* F from 1/r. The quotient of Hankel's expansions of I1 and I0, with s = 1/y = (1 - j) t:
 * F = 2 s (1 - s/2 - s²/8 - s³/8 - 25 s⁴/128 - 13 s⁵/32), s² = -2j t², s³ = -2(1 + j) t³, ... */
INLINE struct wave layers(quad inverse)
{
    quad t = inverse * 0.7071067811865476, squared = t * t;
    struct wave f = {
        t * (2 + squared * (0.5 + t * (1 + 25.0 / 16 * t))),
        t * (t * (2 + t * (0.5 - squared * (25.0 / 16 + 13.0 / 2 * t))) - 2),
    };
    for (int k = 0; k < LANES; k++)
        if (__builtin_expect(inverse[k] > 1 / WIDE_TUBE, 0)) {
            double re, im;
            narrow(inverse[k], &re, &im);
            f.re[k] = re, f.im[k] = im;
        }
    return f;
}

/* For the tests: F of one number. */
PUBLIC void core_layer(double inverse, double *re, double *im)
{
    struct wave f = layers(quad_of(inverse));
    *re = f.re[0], *im = f.im[0];
}

/* One cell ---------------------------------------------------------------------------------------- */

/* Largest size of a cell's squared phase w for which the series below suffice, to 1e-17, ... */
#define LARGEST_SQUARE 2.25
/* ... and up to which powers to the fifth do: the sixth adds less than 4e-17. */
#define SMALL_SQUARE 0.05

INLINE struct wave horner(struct wave sum, struct wave w, double coefficient)
{
    return (struct wave){sum.re * w.re - sum.im * w.im + coefficient,
                         sum.re * w.im + sum.im * w.re};
}

/* cosh √w = Σ wⁿ/(2n)! and sinh √w / √w = Σ wⁿ/(2n + 1)!, without a branch per number. */
INLINE void even_and_odd(struct wave w, double largest, struct wave *even, struct wave *odd)
{
    static const double of_even[] = {1.0, 1.0 / 2, 1.0 / 24, 1.0 / 720, 1.0 / 40320,
                                     1.0 / 3628800, 1.0 / 479001600, 1.0 / 87178291200,
                                     1.0 / 20922789888000, 1.0 / 6402373705728000,
                                     1.0 / 2432902008176640000};
    static const double of_odd[] = {1.0, 1.0 / 6, 1.0 / 120, 1.0 / 5040, 1.0 / 362880,
                                    1.0 / 39916800, 1.0 / 6227020800, 1.0 / 1307674368000,
                                    1.0 / 355687428096000, 1.0 / 121645100408832000,
                                    1.0 / 51090942171709440000.0};
    if (largest < SMALL_SQUARE * SMALL_SQUARE) {
        *even = wave_of(of_even[5]), *odd = wave_of(of_odd[5]);
        for (int n = 4; n >= 0; n--) {
            *even = horner(*even, w, of_even[n]);
            *odd = horner(*odd, w, of_odd[n]);
        }
        return;
    }
    /* Long cells: halve √w until the series serve, then double: cosh 2a = 2 cosh² a - 1 and
     * sinh 2a / 2a = (sinh a / a) cosh a. */
    int halvings = 0;
    for (; largest > LARGEST_SQUARE * LARGEST_SQUARE && halvings < 40; halvings++) {
        largest /= 16;
        w.re *= 0.25, w.im *= 0.25;
    }
    *even = wave_of(of_even[10]), *odd = wave_of(of_odd[10]);
    for (int n = 9; n >= 0; n--) {
        *even = horner(*even, w, of_even[n]);
        *odd = horner(*odd, w, of_odd[n]);
    }
    for (; halvings > 0; halvings--) {
        *odd = times(*odd, *even);
        struct wave square = times(*even, *even);
        *even = (struct wave){2 * square.re - 1, 2 * square.im};
    }
}

/* Four marches: pressure and volume velocity, for a pressure of 1 at the cap. */
struct march {
    quad omega, thinner; /* rad/s; 1/√f, by which the layers are thinner than at 1 Hz */
    struct wave p, u;
    quad travelled; /* sum of the cells' phases, rad */
};

/* Take the marches through one cell each, `lane[k]` being the cell of the k-th.
 *
 * The matrix is the Magnus expansion to fourth order in the cell's length: inertance and
 * compliance commute but for their skew, which tilts the diagonal. */
INLINE void through_cell(struct march *m, const struct cell *const lane[LANES], int measured)
{
    quad first[LANES], second[LANES];
    for (int k = 0; k < LANES; k++) {
        first[k] = quad_at(&lane[k]->mass);
        second[k] = quad_at(&lane[k]->thermal);
    }
    quad_transpose(first);
    quad_transpose(second);
    quad mass = first[0], spring = first[1], viscous = first[2], heat = first[3];
    quad thermal = second[0], skew = second[1];

    /* Z = jω m/(1 - F_v), Y = jω s [1 + (γ - 1) F_t] */
    struct wave of_viscous = layers(viscous * m->thinner), of_heat = layers(heat * m->thinner);
    quad a = 1 - of_viscous.re, b = -of_viscous.im, scale = m->omega * mass / (a * a + b * b);
    struct wave z = {scale * b, scale * a};
    scale = m->omega * spring;
    struct wave y = {-scale * thermal * of_heat.im, scale * (1 + thermal * of_heat.re)};
    struct wave squared = times(z, y), tilt = {squared.re * skew, squared.im * skew};
    struct wave w = plus(squared, times(tilt, tilt));
    quad size = w.re * w.re + w.im * w.im;
    if (measured) /* the imaginary part of √w */
        m->travelled += quad_sqrt(quad_max(0.5 * (quad_sqrt(size) - w.re), quad_of(0)));

    struct wave even, odd;
    even_and_odd(w, quad_largest(size), &even, &odd);
    struct wave lean = times(tilt, odd), p = m->p, u = m->u;
    m->p = plus(times(plus(even, lean), p), times(times(z, odd), u));
    m->u = plus(times(times(y, odd), p), times(minus(even, lean), u));
}

/* Ducts at frequencies ---------------------------------------------------------------------------- */

static void put_sizes(quad flow, int lanes, double *const size[LANES], int64_t edge)
{
    for (int k = 0; k < lanes; k++)
        size[k][edge] = flow[k];
}

void tubes(int64_t count, const struct duct *const *duct, const double *frequency,
           double complex *impedance, double *travelled, double *size)
{
    for (int64_t n = 0; n < count; n += LANES) {
        int lanes = count - n < LANES ? (int)(count - n) : LANES;
        const struct cell *lane[LANES];
        double *own_size[LANES] = {0};
        quad f;
        int64_t cells = duct[n]->cells;
        for (int k = 0; k < LANES; k++) { /* what is missing to four repeats the last */
            int64_t which = n + (k < lanes ? k : lanes - 1);
            lane[k] = duct[which]->cell + cells;
            f[k] = frequency[which];
            if (size != NULL)
                own_size[k] = size + which * (cells + 1);
        }
        struct march m = {.omega = 2 * PI * f, .thinner = 1 / quad_sqrt(f), .p = wave_of(1),
                          .u = wave_of(0), .travelled = quad_of(0)};
        if (size != NULL)
            put_sizes(quad_of(0), lanes, own_size, cells);
        for (int64_t c = cells - 1; c >= 0; c--) {
            for (int k = 0; k < LANES; k++)
                lane[k]--;
            through_cell(&m, lane, travelled != NULL);
            if (size != NULL)
                put_sizes(quad_sqrt(m.u.re * m.u.re + m.u.im * m.u.im), lanes, own_size, c);
        }
        quad norm = 1 / (m.u.re * m.u.re + m.u.im * m.u.im);
        quad re = (m.p.re * m.u.re + m.p.im * m.u.im) * norm;
        quad im = (m.p.im * m.u.re - m.p.re * m.u.im) * norm;
        for (int k = 0; k < lanes; k++) {
            impedance[n + k] = re[k] + I * im[k];
            if (travelled != NULL)
                travelled[n + k] = m.travelled[k];
            if (size == NULL)
                continue;
            double at_mouth = own_size[k][0];
            for (int64_t c = 0; c <= cells; c++)
                own_size[k][c] /= at_mouth;
        }
    }
}
