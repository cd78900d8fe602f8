/* Newton's linear system: block elimination along the branch.
 *
 * A node's unknowns are the steps of its gas and its wall; the skin's is eliminated first. Blocks
 * are taken out from both ends towards the middle, then back: two chains of divisions that do not
 * wait for each other take little longer than one. Without pivoting between blocks: each own block
 * outweighs its neighbours, as conduction and exchange make it.
 */
#include "core.h"

/* A node's own block [[a, b], [c, d]] and what its residuals ask of it, r and s. Once the node has
 * but one neighbour left: the block to that neighbour, divided by the own, and the same of r, s. */
struct block {
    double a, b, c, d, r, s;
};

/* The block [[gas, 0], [by_gas, wall]] to a neighbour on one side: its gas acts on the wall too. */
struct beside {
    double gas, by_gas, wall;
};

INLINE struct beside on_left(const struct balance *b, int64_t n)
{
    return (struct beside){b->gas_left[n], b->wall_gas_left[n], b->wall_left[n]};
}

INLINE struct beside on_right(const struct balance *b, int64_t n)
{
    return (struct beside){b->gas_right[n], b->wall_gas_right[n], b->wall_right[n]};
}

INLINE struct block own(const struct balance *b, int64_t n)
{
    return (struct block){
        b->gas_here[n],      b->gas_wall[n],
        b->wall_gas_here[n], b->wall_here[n] + b->outside_slope[n],
        -b->gas_amiss[n],    -(b->wall_amiss[n] + b->outside_loss[n]),
    };
}

/* Take the neighbour's block times the eliminated neighbour from the own one. */
INLINE struct block less(struct block own, struct beside to, struct block done)
{
    return (struct block){
        own.a - to.gas * done.a,
        own.b - to.gas * done.b,
        own.c - (to.by_gas * done.a + to.wall * done.c),
        own.d - (to.by_gas * done.b + to.wall * done.d),
        own.r - to.gas * done.r,
        own.s - (to.by_gas * done.r + to.wall * done.s),
    };
}

/* The block to the neighbour that is left, and what is asked for, divided by the own block. */
INLINE struct block divided(struct block own, struct beside to)
{
    double inverse = 1 / (own.a * own.d - own.b * own.c);
    return (struct block){
        inverse * (own.d * to.gas - own.b * to.by_gas),
        -inverse * own.b * to.wall,
        inverse * (own.a * to.by_gas - own.c * to.gas),
        inverse * own.a * to.wall,
        inverse * (own.d * own.r - own.b * own.s),
        inverse * (own.a * own.s - own.c * own.r),
    };
}

INLINE void back(struct balance *b, int64_t n, int64_t known)
{
    struct block done = ((struct block *)b->eliminated)[n];
    double gas = b->gas_step[known], wall = b->wall_step[known];
    b->gas_step[n] = done.r - done.a * gas - done.b * wall;
    b->wall_step[n] = done.s - done.c * gas - done.d * wall;
}

/* Steps of gas and wall. At the mouth the wall's temperature is given, and
 * resistance × (heat passed on) = (main pipe's gas - gas just inside). */
void solve_blocks(struct balance *b)
{
    if (b->wet) {
        solve_wet_blocks(b);
        return;
    }
    struct block *done = (struct block *)b->eliminated;
    double inside = 1 + b->mouth_resistance * b->gas_here[0];
    struct block left = {
        .a = b->mouth_resistance * b->gas_right[0] / inside,
        .r = (b->main_gas - b->gas_t[0] - b->mouth_resistance * b->gas_amiss[0]) / inside,
    };
    struct block mouth = left, right = {0};
    int64_t last = b->nodes - 1, middle = (last + 1) / 2;
    for (int64_t n = 1, m = last; n < middle; n++, m--) {
        done[n] = left = divided(less(own(b, n), on_left(b, n), left), on_right(b, n));
        done[m] = right = divided(less(own(b, m), on_right(b, m), right), on_left(b, m));
    }
    if (last - middle > middle - 1) {
        int64_t m = middle + 1;
        done[m] = right = divided(less(own(b, m), on_right(b, m), right), on_left(b, m));
    }
    struct block here = less(own(b, middle), on_left(b, middle), left);
    here = less(here, on_right(b, middle), right);
    double inverse = 1 / (here.a * here.d - here.b * here.c);
    b->wall_step[0] = 0.0;
    b->gas_step[middle] = inverse * (here.d * here.r - here.b * here.s);
    b->wall_step[middle] = inverse * (here.a * here.s - here.c * here.r);
    for (int64_t n = middle - 1; n > 0; n--)
        back(b, n, n + 1);
    b->gas_step[0] = mouth.r - mouth.a * b->gas_step[1];
    for (int64_t n = middle + 1; n <= last; n++)
        back(b, n, n - 1);
}

/* The skin's own balance, loss = conductance (wall - skin), is linear in the skin's step: what is
 * lost from the wall outwards follows. A bare tube's skin is its wall. */
void eliminate_skin(struct balance *b)
{
    if (!b->wrapped) {
        memcpy(b->outside_loss, b->skin_loss, (size_t)b->nodes * sizeof(double));
        memcpy(b->outside_slope, b->skin_slope, (size_t)b->nodes * sizeof(double));
        return;
    }
    for (int64_t n = 0; n < b->nodes; n++) {
        double conductance = b->wrap_conductance[n];
        double through = conductance * (b->wall_t[n] - b->skin_t[n]);
        double part = conductance / (conductance + b->skin_slope[n]);
        b->outside_loss[n] = through + part * (b->skin_loss[n] - through);
        b->outside_slope[n] = part * b->skin_slope[n];
    }
}

static void skin_steps(struct balance *b)
{
    if (!b->wrapped) {
        memcpy(b->skin_step, b->wall_step, (size_t)b->nodes * sizeof(double));
        return;
    }
    for (int64_t n = 0; n < b->nodes; n++) {
        double conductance = b->wrap_conductance[n];
        double through = conductance * (b->wall_t[n] - b->skin_t[n]);
        b->skin_step[n] = (conductance * b->wall_step[n] - (b->skin_loss[n] - through)) /
                          (conductance + b->skin_slope[n]);
    }
}

/* Solve for all steps; the largest of them, K, NaN if any is. */
double newton_step(struct balance *b)
{
    solve_blocks(b);
    skin_steps(b);
    quad largest = quad_of(0), sum = quad_of(0); /* beyond the nodes the steps are nil */
    for (int64_t n = 0; n < b->padded; n += LANES) {
        quad gas = quad_at(b->gas_step + n), wall = quad_at(b->wall_step + n);
        quad skin = quad_at(b->skin_step + n);
        sum += gas + wall + skin; /* a maximum passes over NaN, a sum does not */
        largest = quad_max(largest, quad_max(quad_abs(gas), quad_abs(wall)));
        largest = quad_max(largest, quad_abs(skin));
    }
    return isnan(quad_sum(sum)) ? NAN : quad_largest(largest);
}

static void move(double *here, const double *step, int64_t count, double share, double low,
                 double high)
{
    for (int64_t n = 0; n < count; n += LANES) {
        quad moved = quad_at(here + n) + share * quad_at(step + n);
        quad_put(here + n, quad_min(quad_max(moved, quad_of(low)), quad_of(high)));
    }
}

/* Take a share of the steps, within bounds: the balance obeys a maximum principle. */
void newton_move(struct balance *b, double share, double low, double high)
{
    move(b->gas_t, b->gas_step, b->padded, share, low, high);
    move(b->wall_t, b->wall_step, b->padded, share, low, high);
    move(b->skin_t, b->skin_step, b->padded, share, low, high);
}

/* Whether the last step, or the last two, leave little. */
static bool leaves_little(double largest, double before, const struct tolerances *ends)
{
    return largest < ends->step || largest * largest * largest < ends->left * before * before;
}

/* Newton's method on the steady balance from the temperatures at hand: see temperature.py. */
void newton_steady(struct balance *b, const struct tolerances *ends, const struct newton_rules *r,
                   double low, double high, struct heat_report *report)
{
    double rounding = fmin(fmax(r->rounding_share * (high - low), r->smallest_rounding),
                           r->largest_rounding);
    double largest = INFINITY, before = 0.0, share = 1.0;
    for (int64_t iteration = 0; iteration <= r->most_iterations; iteration++) {
        balance_assemble(b);
        eliminate_skin(b);
        double lost = b->outside_loss[0], moved = fabs(lost), amiss = 0.0;
        for (int64_t n = 1; n < b->nodes; n++) {
            lost += b->outside_loss[n];
            moved += fabs(b->outside_loss[n]);
            amiss += fabs(b->gas_amiss[n]) + fabs(b->wall_amiss[n] + b->outside_loss[n]);
        }
        if (b->mouth_resistance > 0)
            amiss += fabs(b->gas_amiss[0] - (b->main_gas - b->gas_t[0]) / b->mouth_resistance);
        double by_gas = b->gas_amiss[0] + b->latent, by_wall = b->wall_amiss[0] + b->outside_loss[0];
        double through_mouth = fabs(by_gas) + fabs(by_wall);
        double imbalance = amiss / (through_mouth + moved + r->smallest_heat);
        *report = (struct heat_report){by_gas, by_wall, lost, (double)iteration, largest};
        bool close = leaves_little(largest, before, ends);
        /* Where much latent heat hangs on a wall that saturated gas warms, less is rounding. */
        bool stays = iteration > r->undamped_iterations && largest < r->undamped_step;
        if (largest < rounding || stays || (close && imbalance < ends->imbalance)) {
            report->last_step = 0.0;
            return;
        }
        before = isinf(largest) ? 0.0 : largest;
        largest = newton_step(b);
        /* Steps that do not shrink go to and fro: shorten them, and let them grow again. */
        if (iteration >= r->undamped_iterations)
            share = largest > r->shrinks * before ? fmax(share * r->shorter, r->shortest)
                                                  : fmin(1.0, share * r->longer);
        newton_move(b, largest > r->undamped_step ? share : 1.0, low, high);
        if (isinf(ends->imbalance) && leaves_little(largest, before, ends)) {
            vapour_move(b);
            *report = (struct heat_report){NAN, NAN, NAN, (double)(iteration + 1), 0.0};
            return;
        }
    }
}
