/* Water vapour along a branch in balance with given temperatures, and the heat that it gives to the
 * wall. In full, with sources: vapour.py.
 */
#include "core.h"
#include "saturation.h"

#define GAS_CONSTANT 8.314462618    /* J/(mol K) */
#define WATER_MOLAR_MASS 0.018015268     /* kg/mol */
#define FOOT 0.02 /* over the φ of the gas: condensing sets in smoothly below the dew point */
#define AGREED 1e-9
#define MOST_STEPS 60
#define LATENT 2.501e6                   /* J/kg at 273.15 K */
#define LATENT_FALLS 2370.0              /* J/(kg K) */

/* Latent heat of a mole, J/mol. */
INLINE quad latent_heat(quad t) { return WATER_MOLAR_MASS * (LATENT - LATENT_FALLS * (t - 273.15)); }

/* What the main pipe holds, and what its gas's exchange with the branch lets pass: `moved`, m³/s,
 * through the mouth beside what diffuses into a disc of `shape` m; infinite where it is free. */
void vapour_mouth(struct balance *b, double hot, double moved, double shape)
{
    quad t = quad_of(hot), rises;
    b->entering = fmin(b->whole, saturated_content(t, b->pressure, &rises)[0]);
    double through = moved + shape * water_diffusivity(t, b->pressure, &rises)[0];
    b->mouth_admits = through * b->pressure / (GAS_CONSTANT * hot);
}

/* How easily vapour moves, mol/s per unit of φ: along, at the faces, and to the wall. */
static void paths(struct balance *b)
{
    double per_kelvin = b->pressure / GAS_CONSTANT;
    for (int64_t n = 0; n < b->padded; n += LANES) {
        quad t = quad_at(b->gas_t + n), volumetric = quad_at(b->volumetric + n);
        quad rises, own = water_diffusivity(t, b->pressure, &rises);
        quad k = quad_at(b->k + n), lewis = own * volumetric / k;
        quad power = quad_exp(quad_log(lewis) * (2.0 / 3));
        quad_put(b->diffusivity + n, own);
        quad_put(b->diffusivity_slope + n, rises * own / t);
        quad_put(b->to_wall + n, per_kelvin / t * quad_at(b->exchange + n) / volumetric * power);
        /* Of ln[(D/α)^(2/3)/(T ρ c_p)]. */
        quad_put(b->swells + n, ((2.0 / 3) * rises - 1) / t -
                                    quad_at(b->volumetric_slope + n) / (3 * volumetric) -
                                    (2.0 / 3) * quad_at(b->k_slope + n) / k);
    }
    for (int64_t n = 1; n < b->nodes; n += LANES) {
        int64_t left = n - 1;
        quad cold = quad_at(b->gas_t + left), warm = quad_at(b->gas_t + n);
        quad own_left = quad_at(b->diffusivity + left), own_right = quad_at(b->diffusivity + n);
        quad face = 0.5 * (cold + warm);
        quad mixed = quad_at(b->forced_face + n) + quad_at(b->buoyant + n);
        quad molar = per_kelvin / face * quad_at(b->gas_path + n);
        quad along = molar * (0.5 * (own_left + own_right) + mixed), dilutes = along / (2 * face);
        quad_put(b->along + n, along);
        quad_put(b->along_left + n,
                 molar * (0.5 * quad_at(b->diffusivity_slope + left) + quad_at(b->by_left + n)) -
                     dilutes);
        quad_put(b->along_right + n,
                 molar * (0.5 * quad_at(b->diffusivity_slope + n) + quad_at(b->by_right + n)) -
                     dilutes);
    }
    double *faces[] = {b->along, b->along_left, b->along_right};
    for (size_t f = 0; f < sizeof faces / sizeof *faces; f++) {
        faces[f][0] = 0.0;
        quad_put(faces[f] + b->nodes, quad_of(0));
    }
}

/* What counts at a node of φ over that at the wall, and its slope: a line with a parabola for a
 * foot. */
static void count_over(struct balance *b)
{
    quad foot = quad_of(FOOT * b->whole), nil = quad_of(0), one = quad_of(1);
    for (int64_t n = 0; n < b->padded; n += LANES) {
        quad excess = quad_at(b->content + n) - quad_at(b->at_wall + n);
        quad share = quad_min(quad_max(excess / foot, nil), one);
        quad_put(b->share + n, share);
        quad_put(b->over + n, quad_choose(share < one, 0.5 * foot * share * share, excess - 0.5 * foot));
    }
}

/* φ at the nodes, by Thomas's algorithm, with the sink along its tangents; the largest change. */
static double solve_content(struct balance *b)
{
    double *follow = b->eliminated, *found = follow + b->nodes, largest = 0.0;
    for (int64_t n = 0; n < b->nodes; n++) {
        double sink = b->to_wall[n] * b->share[n], left = b->along[n], right = b->along[n + 1];
        double given = b->to_wall[n] * (b->share[n] * b->content[n] - b->over[n]);
        double own = left + right + sink;
        if (n > 0) {
            own -= left * follow[n - 1];
            given += left * found[n - 1];
        } else if (isinf(b->mouth_admits)) {
            own = 1.0, given = b->entering, right = 0.0;
        } else {
            own += b->mouth_admits;
            given += b->mouth_admits * b->entering;
        }
        follow[n] = right / own, found[n] = given / own;
    }
    for (int64_t n = b->nodes - 1; n >= 0; n--) {
        double here = found[n] + (n < b->nodes - 1 ? follow[n] * b->content[n + 1] : 0.0);
        largest = fmax(largest, fabs(here - b->content[n]));
        b->content[n] = here;
    }
    return largest;
}

/* φ at the nodes, and what of it condenses: each follows from the other. The sink is convex: after
 * one of Newton's steps φ comes down to the solution and never passes it. */
static void find_content(struct balance *b)
{
    paths(b);
    if (!b->wet_before) /* elsewhere that of the last time is near enough to begin with */
        for (int64_t n = 0; n < b->padded; n++)
            b->content[n] = b->entering;
    b->wet_before = true;
    for (int step = 0; step < MOST_STEPS; step++) {
        count_over(b);
        if (solve_content(b) <= AGREED * b->whole)
            break;
    }
    for (int64_t n = b->nodes; n < b->padded; n++) /* the last quad is filled up with the cap's */
        b->content[n] = b->content[b->nodes - 1];
    count_over(b);
}

/* Add to the assembled balance what condensing gives to the wall, with its slopes, and lay out the
 * vapour's own rows, which are in balance. Sets `wet` where the third unknown has to be solved for. */
void vapour_assemble(struct balance *b)
{
    b->wet = false;
    b->latent = 0.0;
    if (b->whole == 0)
        return; /* `dried` stays nil */
    double coldest = INFINITY;
    for (int64_t n = 0; n < b->padded; n += LANES) {
        quad rises, at_wall = saturated_content(quad_at(b->wall_t + n), b->pressure, &rises);
        quad_put(b->at_wall_slope + n, rises);
        quad_put(b->at_wall + n, at_wall);
        coldest = fmin(coldest, -quad_largest(-at_wall));
    }
    if (!(b->entering > coldest)) {
        double dried = exp(b->whole - b->entering) - 1;
        for (int64_t n = 0; n < b->nodes; n++)
            b->dried[n] = dried;
        return;
    }
    b->wet = true;
    find_content(b);
    for (int64_t n = 0; n < b->padded; n += LANES) {
        quad heat = latent_heat(quad_at(b->wall_t + n)), content = quad_at(b->content + n);
        quad to_wall = quad_at(b->to_wall + n), sink = heat * to_wall * quad_at(b->share + n);
        quad over = heat * quad_at(b->over + n);
        quad latent = over * to_wall, rises = sink * quad_at(b->at_wall_slope + n);
        quad falls = rises + WATER_MOLAR_MASS * LATENT_FALLS / heat * latent;
        b->latent += quad_sum(latent);
        quad_put(b->by_content + n, sink);
        quad_put(b->by_wall + n, -falls);
        quad_put(b->dried + n, quad_exp(b->whole - content) - 1);

        quad ratio = over * to_wall / quad_at(b->exchange + n);
        quad by_left = ratio * quad_at(b->film_left + n);
        quad by_here = ratio * quad_at(b->film_here + n) + latent * quad_at(b->swells + n);
        quad by_right = ratio * quad_at(b->film_right + n);
        quad_put(b->by_gas_left + n, by_left);
        quad_put(b->by_gas_here + n, by_here);
        quad_put(b->by_gas_right + n, by_right);
        quad_put(b->wall_amiss + n, quad_at(b->wall_amiss + n) - latent);
        quad_put(b->wall_here + n, quad_at(b->wall_here + n) + falls);
        quad_put(b->wall_gas_left + n, quad_at(b->wall_gas_left + n) - by_left);
        quad_put(b->wall_gas_here + n, quad_at(b->wall_gas_here + n) - by_here);
        quad_put(b->wall_gas_right + n, quad_at(b->wall_gas_right + n) - by_right);

        quad before = quad_at(b->content + n - 1) - content;
        quad after = content - quad_at(b->content + n + 1);
        quad along = quad_at(b->along + n), next = quad_at(b->along + n + 1);
        quad_put(b->vapour_left + n, -heat * along);
        quad_put(b->vapour_here + n, heat * (along + next) + sink);
        quad_put(b->vapour_right + n, -heat * next);
        quad_put(b->vapour_wall + n, -rises);
        quad_put(b->vapour_gas_left + n, by_left - heat * quad_at(b->along_left + n) * before);
        quad_put(b->vapour_gas_here + n,
                 by_here + heat * (quad_at(b->along_left + n + 1) * after -
                                   quad_at(b->along_right + n) * before));
        quad_put(b->vapour_gas_right + n,
                 by_right + heat * quad_at(b->along_right + n + 1) * after);
    }
    double heat = latent_heat(quad_of(b->wall_t[0]))[0];
    if (isinf(b->mouth_admits)) {
        b->vapour_here[0] = 1.0;
        b->vapour_right[0] = b->vapour_gas_here[0] = b->vapour_gas_right[0] = 0.0;
    } else {
        b->vapour_here[0] += heat * b->mouth_admits;
    }
}

/* What condenses on the wall of each node's control volume as the balance stands, kg/s. */
void condensing(const struct balance *b, double *rate)
{
    for (int64_t n = 0; n < b->nodes; n++)
        rate[n] = b->wet ? WATER_MOLAR_MASS * b->to_wall[n] * b->over[n] : 0.0;
}

/* Take the last steps of vapour, too, to first order, where the balance is not assembled anew. */
void vapour_move(struct balance *b)
{
    for (int64_t n = 0; b->wet && n < b->nodes; n++)
        b->dried[n] -= (1 + b->dried[n]) * b->content_step[n];
}

/* By how much the last steps change the latent heat of all that condenses, W. */
double latent_change(const struct balance *b)
{
    if (!b->wet)
        return 0.0;
    double change = 0.0;
    for (int64_t n = 0; n < b->nodes; n++) {
        change += b->by_content[n] * b->content_step[n] + b->by_wall[n] * b->wall_step[n] +
                  b->by_gas_here[n] * b->gas_step[n];
        if (n > 0)
            change += b->by_gas_left[n] * b->gas_step[n - 1];
        if (n < b->nodes - 1)
            change += b->by_gas_right[n] * b->gas_step[n + 1];
    }
    return change;
}

/* Elimination with vapour -------------------------------------------------------------------- */

/* A node once it has but one neighbour left: by how much its gas, wall and vapour follow that
 * neighbour's gas, wall and vapour, and what they move by themselves. */
struct wet_block {
    double gas[3], wall[3], vapour[3], asked[3];
};

/* The block of a neighbour on one side, row by row: [[gas, 0, 0], [by_gas, wall, 0], [vapour_gas,
 * 0, vapour]]. */
struct wet_beside {
    double gas, by_gas, vapour_gas, wall, vapour;
};

INLINE struct wet_beside wet_left(const struct balance *b, int64_t n)
{
    return (struct wet_beside){b->gas_left[n], b->wall_gas_left[n], b->vapour_gas_left[n],
                               b->wall_left[n], b->vapour_left[n]};
}

INLINE struct wet_beside wet_right(const struct balance *b, int64_t n)
{
    return (struct wet_beside){b->gas_right[n], b->wall_gas_right[n], b->vapour_gas_right[n],
                               b->wall_right[n], b->vapour_right[n]};
}

/* A node's own columns, of its gas, wall and vapour, and what its residuals ask for. */
INLINE struct wet_block wet_own(const struct balance *b, int64_t n)
{
    return (struct wet_block){
        .gas = {b->gas_here[n], b->wall_gas_here[n], b->vapour_gas_here[n]},
        .wall = {b->gas_wall[n], b->wall_here[n] + b->outside_slope[n], b->vapour_wall[n]},
        .vapour = {0.0, -b->by_content[n], b->vapour_here[n]},
        .asked = {-b->gas_amiss[n], -(b->wall_amiss[n] + b->outside_loss[n]), 0.0},
    };
}

INLINE void take(double here[3], const struct wet_beside *to, const double done[3])
{
    here[0] -= to->gas * done[0];
    here[1] -= to->by_gas * done[0] + to->wall * done[1];
    here[2] -= to->vapour_gas * done[0] + to->vapour * done[2];
}

/* Take the neighbour's block times the eliminated neighbour from the own one. */
INLINE struct wet_block wet_less(struct wet_block own, struct wet_beside to,
                                 const struct wet_block *done)
{
    take(own.gas, &to, done->gas);
    take(own.wall, &to, done->wall);
    take(own.vapour, &to, done->vapour);
    take(own.asked, &to, done->asked);
    return own;
}

/* The inverse of the own columns, row by row. */
INLINE void invert(const struct wet_block *own, double row[3][3])
{
    const double *a = own->gas, *b = own->wall, *c = own->vapour;
    double x = b[1] * c[2] - b[2] * c[1], y = b[2] * c[0] - b[0] * c[2];
    double z = b[0] * c[1] - b[1] * c[0], inverse = 1 / (a[0] * x + a[1] * y + a[2] * z);
    row[0][0] = inverse * x, row[0][1] = inverse * y, row[0][2] = inverse * z;
    row[1][0] = inverse * (c[1] * a[2] - c[2] * a[1]);
    row[1][1] = inverse * (c[2] * a[0] - c[0] * a[2]);
    row[1][2] = inverse * (c[0] * a[1] - c[1] * a[0]);
    row[2][0] = inverse * (a[1] * b[2] - a[2] * b[1]);
    row[2][1] = inverse * (a[2] * b[0] - a[0] * b[2]);
    row[2][2] = inverse * (a[0] * b[1] - a[1] * b[0]);
}

/* The block to the neighbour that is left, and what is asked for, divided by the own block. */
INLINE void wet_divided(struct wet_block own, struct wet_beside to, struct wet_block *done)
{
    double row[3][3];
    invert(&own, row);
    for (int k = 0; k < 3; k++) {
        done->gas[k] = row[k][0] * to.gas + row[k][1] * to.by_gas + row[k][2] * to.vapour_gas;
        done->wall[k] = row[k][1] * to.wall;
        done->vapour[k] = row[k][2] * to.vapour;
        done->asked[k] = row[k][0] * own.asked[0] + row[k][1] * own.asked[1] +
                         row[k][2] * own.asked[2];
    }
}

static void wet_back(struct balance *b, int64_t n, int64_t known)
{
    const struct wet_block *own = (const struct wet_block *)b->eliminated + n;
    double gas = b->gas_step[known], wall = b->wall_step[known], vapour = b->content_step[known];
    double *const step[] = {b->gas_step, b->wall_step, b->content_step};
    for (int k = 0; k < 3; k++)
        step[k][n] = own->asked[k] - own->gas[k] * gas - own->wall[k] * wall -
                     own->vapour[k] * vapour;
}

/* As solve_blocks, with vapour as the third unknown: from both ends towards the middle. */
void solve_wet_blocks(struct balance *b)
{
    struct wet_block *done = (struct wet_block *)b->eliminated;
    int64_t last = b->nodes - 1, middle = (last + 1) / 2;
    double inside = 1 + b->mouth_resistance * b->gas_here[0];
    /* At the mouth: gas by the resistance, a wall that is given, vapour by what is admitted. */
    double follow = b->mouth_resistance * b->gas_right[0] / inside;
    double begin = (b->main_gas - b->gas_t[0] - b->mouth_resistance * b->gas_amiss[0]) / inside;
    double by_gas = b->vapour_gas_here[0] / b->vapour_here[0];
    done[0] = (struct wet_block){
        .gas = {follow, 0.0, b->vapour_gas_right[0] / b->vapour_here[0] - by_gas * follow},
        .vapour = {0.0, 0.0, b->vapour_right[0] / b->vapour_here[0]},
        .asked = {begin, 0.0, -by_gas * begin},
    };
    static const struct wet_block nothing;
    for (int64_t n = 1, m = last; n < middle || m > middle; n++, m--) {
        if (n < middle)
            wet_divided(wet_less(wet_own(b, n), wet_left(b, n), done + n - 1), wet_right(b, n),
                        done + n);
        if (m > middle)
            wet_divided(wet_less(wet_own(b, m), wet_right(b, m), m < last ? done + m + 1 : &nothing),
                        wet_left(b, m), done + m);
    }
    struct wet_block here = wet_less(wet_own(b, middle), wet_left(b, middle), done + middle - 1);
    if (middle < last)
        here = wet_less(here, wet_right(b, middle), done + middle + 1);
    double row[3][3];
    invert(&here, row);
    double *const step[] = {b->gas_step, b->wall_step, b->content_step};
    for (int k = 0; k < 3; k++)
        step[k][middle] = row[k][0] * here.asked[0] + row[k][1] * here.asked[1] +
                          row[k][2] * here.asked[2];
    for (int64_t n = middle - 1; n >= 0; n--)
        wet_back(b, n, n + 1);
    for (int64_t n = middle + 1; n <= last; n++)
        wet_back(b, n, n - 1);
    b->wall_step[0] = 0.0;
}
