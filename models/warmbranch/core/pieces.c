/* The tubes along one branch, which may change at places: see case/bores.py.
 *
 * Surfaces and sections on a grid (heat/sections.py), nodes on the steps, and what steps and bends
 * are to the sound (steady/stepped.py). Everything is exact for a tube whose size changes at a place.
 */
#include "core.h"

#define MOST_EDGES 64 /* that nodes are drawn to */

struct centreline centreline_of(const struct pieces *all, const struct design *d, int64_t i)
{
    struct centreline line = {.piece = *all, .outside = d->outside_at_mouth, .bore = d->bore};
    int64_t at = i * all->count;
    line.piece.length += at;
    line.piece.bend_radius += at;
    if (all->outside == NULL)
        return line;
    line.piece.outside += at;
    line.piece.bore += at;
    if (all->added != NULL)
        line.piece.added += at;
    for (int64_t k = 0; k < all->count; k++)
        line.stepped |= line.piece.outside[k] != line.outside || line.piece.bore[k] != line.bore;
    return line;
}

static double bore_of(const struct centreline *line, int64_t k)
{
    return line->stepped ? line->piece.bore[k] : line->bore;
}

static double outside_of(const struct centreline *line, int64_t k)
{
    return line->stepped ? line->piece.outside[k] : line->outside;
}

/* What is steady within a piece ----------------------------------------------------------------- */

double perimeter_of_bore(struct tube t) { return PI * t.bore; }
double perimeter_over(struct tube t) { return PI * (t.outside + 2 * t.with); }

/* Conduction through a wrap `with` thick round a tube, over 2 π and its conductivity. */
static double through_wrap(struct tube t) { return 1 / log((t.outside + 2 * t.with) / t.outside); }

static double own_bore(struct tube t) { return t.bore; }
static double per_square(struct tube t) { return 1 / (t.bore * t.bore); }

static double metal_section(struct tube t)
{
    return PI / 4 * (t.outside * t.outside - t.bore * t.bore);
}

static double per_metal(struct tube t) { return 1 / metal_section(t); }
double bores_per_length(struct tube t) { return t.with / t.bore; }
double section_over(struct tube t) { return t.bore / t.with * (t.bore / t.with); }
static double inverse_section_over(struct tube t) { return t.with / t.bore * (t.with / t.bore); }

double along(const struct centreline *line, of_tube *value, double with, double x)
{
    if (!line->stepped)
        return value((struct tube){line->outside, line->bore, with}) * x;
    const struct pieces *p = &line->piece;
    double total = 0.0, left = x;
    for (int64_t k = 0; k < p->count; k++) {
        /* The last piece goes on beyond the cap. */
        double within = k == p->count - 1 ? left : fmin(left, p->length[k]);
        total += value((struct tube){p->outside[k], p->bore[k], with}) * within;
        left -= within;
        if (left <= 0)
            break;
    }
    return total;
}

double mean_between(const struct centreline *line, of_tube *value, double with, double from,
                    double to)
{
    if (!line->stepped)
        return value((struct tube){line->outside, line->bore, with});
    return (along(line, value, with, to) - along(line, value, with, from)) / (to - from);
}

/* On a grid ------------------------------------------------------------------------------------- */

/* Where the control volume of a node begins; that of the next, where it ends. */
static double begins(const struct balance *b, int64_t n)
{
    return n == 0 ? b->x[0] : n == b->nodes ? b->x[n - 1] : (b->x[n - 1] + b->x[n]) / 2;
}

/* Rings that close the steps, in the control volumes that they lie in. */
static void add_rings(struct balance *b, double wrap)
{
    const struct pieces *p = &b->line.piece;
    double place = 0.0;
    int64_t n = 0;
    for (int64_t k = 0; k + 1 < p->count; k++) {
        place += p->length[k];
        while (n < b->nodes - 1 && begins(b, n + 1) < place)
            n++;
        double in = p->bore[k], in_next = p->bore[k + 1];
        double out = p->outside[k] + 2 * wrap, out_next = p->outside[k + 1] + 2 * wrap;
        b->bore_surface[n] += PI / 4 * fabs(in * in - in_next * in_next);
        b->skin_area[n] += PI / 4 * fabs(out * out - out_next * out_next);
    }
}

void balance_grid(struct balance *b, const struct design *d)
{
    const struct centreline *line = &b->line;
    int64_t last = b->nodes - 1, end = line->piece.count - 1;
    double wrap = d->wrap_thickness, conductivity = 2 * PI * d->wrap_conductivity;
    double cap_bore = bore_of(line, end), cap_outside = outside_of(line, end);
    double plate = PI / 4 * (cap_outside + 2 * wrap) * (cap_outside + 2 * wrap);
    double metal = metal_section((struct tube){line->outside, line->bore, 0});
    for (int64_t n = 0; n <= last; n++) {
        double from = begins(b, n), to = begins(b, n + 1);
        double bore = mean_between(line, perimeter_of_bore, 0, from, to) / PI;
        double skin = mean_between(line, perimeter_over, wrap, from, to) / PI;
        b->per_bore[n] = 1 / bore;
        b->skin_diameter[n] = skin;
        b->width_share[n] = n == 0 || n == last ? 1.0 : 0.5; /* of each face in its node's mean */
        b->bore_surface[n] = PI * bore * (to - from);
        b->skin_area[n] = PI * skin * (to - from);
        b->cap_area[n] = n == last ? PI / 4 * cap_bore * cap_bore : 0.0;
        if (b->wrapped) /* a hollow cylinder's conduction round the tube */
            b->wrap_conductance[n] =
                conductivity * mean_between(line, through_wrap, wrap, from, to) * (to - from);
        if (n == 0)
            continue;
        double left = b->x[n - 1], right = b->x[n], step = right - left;
        b->per_step[n] = 1 / step;
        b->face_bore[n] = mean_between(line, own_bore, 0, left, right);
        /* The parts of both sides in series. */
        b->gas_path[n] = PI / 4 / mean_between(line, per_square, 0, left, right) / step;
        if (line->stepped)
            metal = 1 / mean_between(line, per_metal, 0, left, right);
        b->metal_path[n] = metal / step;
    }
    for (int64_t n = b->nodes; n < b->padded; n++) { /* the last quad is filled up with the cap */
        b->per_bore[n] = b->per_bore[last];
        b->skin_diameter[n] = b->skin_diameter[last];
    }
    if (line->stepped)
        add_rings(b, wrap);
    b->skin_area[last] += plate;
    if (b->wrapped) /* a plate's on the cap */
        b->wrap_conductance[last] +=
            PI / 4 * cap_outside * cap_outside * d->wrap_conductivity / wrap;
    for (int64_t n = 0; b->has_rear && n <= last; n++) {
        double from = begins(b, n), to = begins(b, n + 1);
        double beyond = fmin(fmax(to - d->rear_from, 0.0), to - from);
        double cap = n == last ? plate : 0.0;
        b->rear_share[n] =
            ((b->skin_area[n] - cap) * (beyond / (to - from)) + cap) / b->skin_area[n];
    }
}

/* Where the steps are, m, those that lie between mouth and cap; how many. */
static int64_t steps(const struct centreline *line, double length, int64_t most, double *place)
{
    const struct pieces *p = &line->piece;
    int64_t count = 0;
    double here = 0.0;
    for (int64_t k = 0; line->stepped && k + 1 < p->count; k++) {
        here += p->length[k];
        bool changes = p->bore[k] != p->bore[k + 1] || p->outside[k] != p->outside[k + 1];
        if (!changes || here <= 0 || here >= length)
            continue;
        if (count == most)
            return most + 1;
        place[count++] = here;
    }
    return count;
}

/* Straight lines through rising points (from, to) at rising x, which may be where it is found. */
static void interpolate(int64_t points, const double *from, const double *to, int64_t count,
                        const double *x, double *found)
{
    int64_t k = 1;
    for (int64_t n = 0; n < count; n++) {
        while (k < points - 1 && from[k] < x[n])
            k++;
        found[n] = to[k - 1] + (to[k] - to[k - 1]) / (from[k] - from[k - 1]) * (x[n] - from[k - 1]);
    }
}

void align(const struct centreline *line, int64_t nodes, int64_t edges, double *x)
{
    double knot[MOST_EDGES + 1], place[MOST_EDGES + 1], length = x[nodes - 1];
    int64_t every = (nodes - 1) / edges, chosen = 0;
    if ((nodes - 1) % edges != 0 || edges > MOST_EDGES)
        return;
    int64_t count = steps(line, length, edges - 1, place + 1);
    if (count == 0 || count >= edges)
        return;
    int64_t edge = 1;
    for (int64_t k = 1; k <= count; k++) {
        while (edge < edges && x[edge * every] < place[k])
            edge++;
        double before = x[(edge - 1) * every], after = x[edge * every];
        double wanted = rint((double)(edge - 1) + (place[k] - before) / (after - before));
        /* Rising, no two alike, with room for those that follow. */
        int64_t own = (int64_t)fmin(fmax(wanted, (double)k), (double)(edges - count + k - 1));
        chosen = k > 1 && own <= chosen ? chosen + 1 : own;
        knot[k] = x[chosen * every];
    }
    knot[0] = place[0] = 0.0;
    knot[count + 1] = place[count + 1] = length;
    interpolate(count + 2, knot, place, nodes - 2, x + 1, x + 1);
}

void draw_to_steps(const struct centreline *line, int64_t nodes, int64_t edges, double *x,
                          double *profile[4], double *room)
{
    if (!line->stepped)
        return;
    double *old = room, *values = room + nodes;
    memcpy(old, x, (size_t)nodes * sizeof(double));
    align(line, nodes, edges, x);
    for (int part = 0; part < 4; part++) {
        memcpy(values, profile[part], (size_t)nodes * sizeof(double));
        interpolate(nodes, old, values, nodes, x, profile[part]);
    }
}

/* To the sound ---------------------------------------------------------------------------------- */

/* Take from the ratio what the bends of one piece lack: [KeefeBenade1983], see geometry.py. */
static void bend(double radius, double start, double length, int64_t nodes, const double *x,
                 double *ratio)
{
    double missing = 1 - (1 + sqrt(1 - radius * radius)) / 2;
    for (int64_t j = 0; missing > 0 && j < nodes - 1; j++) {
        double left = fmin(fmax(x[j] - start, 0), length);
        double right = fmin(fmax(x[j + 1] - start, 0), length);
        ratio[j] -= missing * (right - left) / (x[j + 1] - x[j]);
    }
}

/* Add half of the gas that swings with a step to the intervals on either side of it. */
static void add_gas_of_step(double place, double added, int64_t nodes, const double *x, double *ratio)
{
    int64_t nearest = 0, last = nodes - 2;
    for (int64_t n = 1; n < nodes; n++)
        if (fabs(x[n] - place) < fabs(x[nearest] - place))
            nearest = n;
    int64_t left = nearest > 0 ? nearest - 1 : 0, right = nearest < last ? nearest : last;
    ratio[left] += added / 2 / (x[left + 1] - x[left]);
    ratio[right] += added / 2 / (x[right + 1] - x[right]);
}

void bore_ratios(const struct centreline *line, int64_t nodes, const double *x, double *inertance,
                 double *area)
{
    const struct pieces *p = &line->piece;
    double start = 0.0;
    for (int64_t j = 0; j < nodes - 1; j++)
        inertance[j] = area[j] = 1.0;
    for (int64_t k = 0; k < p->count; k++) {
        bend(bore_of(line, k) / 2 / p->bend_radius[k], start, p->length[k], nodes, x, inertance);
        start += p->length[k];
    }
    if (!line->stepped)
        return;
    for (int64_t j = 0; j < nodes - 1; j++) {
        inertance[j] *= mean_between(line, inverse_section_over, line->bore, x[j], x[j + 1]);
        area[j] = mean_between(line, section_over, line->bore, x[j], x[j + 1]);
    }
    start = 0.0;
    for (int64_t k = 0; k + 1 < p->count; k++) {
        start += p->length[k];
        if (p->added[k] > 0 && start > 0 && start < x[nodes - 1])
            add_gas_of_step(start, p->added[k], nodes, x, inertance);
    }
}

double section_at(const struct centreline *line, int64_t nodes, const double *x, int64_t n)
{
    int64_t left = n > 0 ? n - 1 : 0, right = n < nodes - 1 ? n : nodes - 2;
    return 0.5 * (mean_between(line, section_over, line->bore, x[left], x[left + 1]) +
                  mean_between(line, section_over, line->bore, x[right], x[right + 1]));
}
