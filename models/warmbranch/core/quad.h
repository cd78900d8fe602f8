/* Four numbers at once, and the elementary functions of them.
 *
 * A quad holds four numbers that go through the same formula side by side: four nodes of a branch,
 * or four pairs of duct and frequency. It is written like one number (a * b + c); the compiler
 * makes one instruction of it where the processor has registers as wide, and two or four elsewhere.
 *
 * The library's log and exp are calls of one number each. Those here have no branch and no call:
 * the number is parted into its exponent and its fraction, and the fraction goes into a series
 * whose coefficients are exact. Within 3 units in the last place, by test.
 */
#ifndef WARMBRANCH_QUAD_H
#define WARMBRANCH_QUAD_H

#include <math.h>
#include <stdint.h>
#include <string.h>

/* Small functions that must not become calls, which would hand quads over in memory. */
#define INLINE static inline __attribute__((always_inline))

#define LANES 4

typedef double quad __attribute__((vector_size(8 * LANES)));
typedef int64_t quad_bits __attribute__((vector_size(8 * LANES)));

INLINE quad quad_of(double x) { return (quad){x, x, x, x}; }

INLINE quad quad_at(const double *place)
{
    quad q;
    memcpy(&q, place, sizeof q);
    return q;
}

INLINE void quad_put(double *place, quad q) { memcpy(place, &q, sizeof q); }

/* Where a comparison (all bits set or none) holds the first, elsewhere the second. */
INLINE quad quad_choose(quad_bits where, quad first, quad second)
{
    return (quad)(((quad_bits)first & where) | ((quad_bits)second & ~where));
}

INLINE quad quad_max(quad a, quad b) { return quad_choose(a > b, a, b); }
INLINE quad quad_min(quad a, quad b) { return quad_choose(a < b, a, b); }
INLINE quad quad_abs(quad x) { return (quad)((quad_bits)x & INT64_MAX); }

INLINE quad quad_sqrt(quad x)
{
    quad root;
    for (int k = 0; k < LANES; k++)
        root[k] = sqrt(x[k]);
    return root;
}

INLINE double quad_sum(quad x) { return (x[0] + x[1]) + (x[2] + x[3]); }
INLINE double quad_largest(quad x) { return fmax(fmax(x[0], x[1]), fmax(x[2], x[3])); }

/* Rows a, b, c, d of four numbers each become columns. */
INLINE void quad_transpose(quad row[LANES])
{
    quad ab_low = __builtin_shufflevector(row[0], row[1], 0, 4, 2, 6);
    quad ab_high = __builtin_shufflevector(row[0], row[1], 1, 5, 3, 7);
    quad cd_low = __builtin_shufflevector(row[2], row[3], 0, 4, 2, 6);
    quad cd_high = __builtin_shufflevector(row[2], row[3], 1, 5, 3, 7);
    row[0] = __builtin_shufflevector(ab_low, cd_low, 0, 1, 4, 5);
    row[1] = __builtin_shufflevector(ab_high, cd_high, 0, 1, 4, 5);
    row[2] = __builtin_shufflevector(ab_low, cd_low, 2, 3, 6, 7);
    row[3] = __builtin_shufflevector(ab_high, cd_high, 2, 3, 6, 7);
}

/* ln 2 in two parts, the first with enough zeros behind to be multiplied without rounding: from
 * the source of fdlibm, from memory; their sum is checked by test. */
#define LN2_HIGH 6.93147180369123816490e-01
#define LN2_LOW 1.90821492927058770002e-10
#define LOG2_E 1.4426950408889634

#define FRACTION_BITS 52
#define BITS_OF_ROOT_HALF 0x3FE6A09E667F3BCD /* of sqrt(1/2): fractions run from there to sqrt(2) */
#define WHOLE_SHIFT 6755399441055744.0       /* 1.5 2^52: what is added to it is rounded to whole */

/* Natural logarithm of normal numbers > 0. */
INLINE quad quad_log(quad x)
{
    quad_bits bits = (quad_bits)x;
    /* The exponent is kept positive by 1024, so that a shift without sign will do. */
    quad_bits raised = bits - BITS_OF_ROOT_HALF + ((int64_t)1024 << FRACTION_BITS);
    typedef uint64_t unsigned_bits __attribute__((vector_size(8 * LANES)));
    quad_bits exponent = (quad_bits)((unsigned_bits)raised >> FRACTION_BITS);
    quad fraction = (quad)(bits - ((exponent - 1024) << FRACTION_BITS));
    quad whole = (quad)(exponent | 0x4330000000000000) - (4503599627370496.0 + 1024.0); /* 2^52 */
    /* ln f = 2 artanh s = 2 (s + s³/3 + s⁵/5 + ...), |s| < 0.172 */
    quad s = (fraction - 1) / (fraction + 1);
    quad z = s * s;
    quad tail = z * (1.0 / 21) + 1.0 / 19;
    tail = tail * z + 1.0 / 17;
    tail = tail * z + 1.0 / 15;
    tail = tail * z + 1.0 / 13;
    tail = tail * z + 1.0 / 11;
    tail = tail * z + 1.0 / 9;
    tail = tail * z + 1.0 / 7;
    tail = tail * z + 1.0 / 5;
    tail = tail * z + 1.0 / 3;
    quad twice = s + s;
    return whole * LN2_HIGH + (twice + (twice * z * tail + whole * LN2_LOW));
}

/* Exponential, |x| < 700. */
INLINE quad quad_exp(quad x)
{
    quad shifted = x * LOG2_E + WHOLE_SHIFT;
    quad whole = shifted - WHOLE_SHIFT;
    quad rest = (x - whole * LN2_HIGH) - whole * LN2_LOW;
    /* 1 + r + r²/2! + ..., |r| < 0.347 */
    quad p = rest * (1.0 / 6227020800) + 1.0 / 479001600;
    p = p * rest + 1.0 / 39916800;
    p = p * rest + 1.0 / 3628800;
    p = p * rest + 1.0 / 362880;
    p = p * rest + 1.0 / 40320;
    p = p * rest + 1.0 / 5040;
    p = p * rest + 1.0 / 720;
    p = p * rest + 1.0 / 120;
    p = p * rest + 1.0 / 24;
    p = p * rest + 1.0 / 6;
    p = p * rest + 1.0 / 2;
    p = p * rest + 1.0;
    p = p * rest + 1.0;
    /* The lowest bits of the shifted number are the whole one: added to p's exponent. */
    return (quad)((quad_bits)p + ((quad_bits)shifted << FRACTION_BITS));
}

/* x to a power, x > 0. */
INLINE quad quad_power(quad x, double exponent) { return quad_exp(quad_log(x) * exponent); }

#endif
