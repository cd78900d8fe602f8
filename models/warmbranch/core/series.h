/* Polynomials that stand for smooth functions which are dear to compute. */
#ifndef WARMBRANCH_SERIES_H
#define WARMBRANCH_SERIES_H

#include <math.h>

#define SERIES_MOST 12 /* coefficients */

/* Where between -1 and 1 the function is wanted for the n-th coefficient: Chebyshev's nodes. */
static inline double series_node(int n, int count)
{
    return cos(3.14159265358979323846 * (n + 0.5) / count);
}

/* Coefficients of rising powers of the polynomial through `count` values at the nodes. */
static inline void series_make(int count, const double *value, double *power)
{
    double now[SERIES_MOST] = {1.0}, next[SERIES_MOST] = {0.0, 1.0}; /* T_n and T_n+1 in powers */
    for (int n = 0; n < count; n++)
        power[n] = 0.0;
    for (int n = 0; n < count; n++) {
        double sum = 0.0; /* of the values times T_n, which are orthogonal over the nodes */
        for (int k = 0; k < count; k++)
            sum += value[k] * cos(3.14159265358979323846 * n * (k + 0.5) / count);
        double share = sum * (n == 0 ? 1.0 : 2.0) / count;
        for (int k = 0; k <= n; k++)
            power[k] += share * now[k];
        for (int k = SERIES_MOST - 1; k >= 0; k--) { /* T_n+2 = 2 x T_n+1 - T_n */
            double after = (k > 0 ? 2 * next[k - 1] : 0.0) - now[k];
            now[k] = next[k];
            next[k] = after; /* downwards: next[k - 1] is still the old one */
        }
    }
}

#endif
