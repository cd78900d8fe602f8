/* From a case's numbers to its answer: temperatures, then sound, a block of designs at a time.
 *
 * The same way as steady/solve.py, sketch.py and interplay.py: the main pipe's wall; a sketch on few
 * nodes; nodes where it bends; temperatures there; where pulsation mixes the gas, heat and sound
 * in turns until they agree; the duct and its resonances. A design whose balance does not converge
 * is marked and left to Python, which tries finer grids and words the refusal.
 */
#include <stdlib.h>

#include "core.h"

#define DEEPEST 100.0 /* foldings beyond which stirring is nothing: see mixing.py */
#define BLOCK 16 /* designs whose profiles stay in the processor's caches */

struct steady_rules {
    struct newton_rules newton;
    struct tolerances sketch, fine;
    struct grid_rules grid;
    struct search_rules coarse_search, fine_search;
    struct wall_rules wall;
    double sketch_agreement, fine_agreement; /* change of the first resonance, relative */
    double steady_shrinking, foretold;       /* see interplay.py */
    int64_t most_passes, free_passes;
};

struct steady_job {
    int64_t designs, nodes, sketch_nodes, cells, modes;
    const struct design *design;
    struct mixtures mixtures;
    struct pieces pieces;
    const double *given_position; /* (designs, nodes), m, or none */
    struct steady_rules rules;
    const int64_t *stop;
    /* found */
    double *position, *gas, *wall, *skin, *dried; /* (designs, nodes) */
    double *condensing;                   /* (designs, nodes), kg/s */
    struct heat_report *report;           /* (designs,) */
    struct mouth *mouth;                  /* (designs,) */
    struct cell_means means;              /* (designs, cells) each */
    double *transit_time;                 /* (designs,), s */
    double *resonance, *quality;          /* (designs, modes) */
    int64_t *failed;                      /* (designs,), 1 where Python is to try again */
    int64_t solves, newton_steps;         /* heat balances solved, and what they took */
};

/* Profiles of a block on one grid: design after design, `nodes` each. */
struct profiles {
    int64_t nodes;
    double *x, *gas, *wall, *skin, *dried, *stirred, *condensing; /* the last not of a sketch */
};

struct block {
    struct steady_job *job;
    int64_t first, count;
    struct duct duct[BLOCK];
    struct cell *cells;
    double *size, *ratio, *area, *room;
};

/* The duct that temperatures make of design `i` of the block. */
static void hear(struct block *block, const struct profiles *p, int64_t i)
{
    struct steady_job *job = block->job;
    int64_t which = block->first + i, cells = job->cells, at = which * cells;
    const struct design *d = job->design + which;
    struct centreline line = centreline_of(&job->pieces, d, which);
    struct cell_means own = means_of(&job->means, at);
    struct gas_table gas = gas_of(&job->mixtures, which), water = water_of(&job->mixtures);
    const double *x = p->x + i * p->nodes;
    bore_ratios(&line, p->nodes, x, block->ratio, block->area);
    discretise_profile(&gas, &water, p->nodes, x, p->gas + i * p->nodes, p->wall + i * p->nodes,
                       p->dried + i * p->nodes, d->pressure, block->ratio,
                       line.stepped ? block->area : NULL, cells, &own, block->room);
    /* What a calibration learned of the tone, as shorter acoustic lengths: see closures.py. */
    for (int64_t c = 0; c < cells; c++)
        own.length[c] /= d->tone;
    const struct mouth *mouth = job->mouth + which;
    duct_of(&own, cells, d->bore / 2, mouth->inertance / d->tone, mouth->grazed_inertance / d->tone,
            mouth->crossing_time, d->wall_losses != 0, &block->duct[i]);
}

/* Temperatures of one design in balance with its mixing, from those in `p`. */
static void balance_heat(struct block *block, struct balance *b, struct profiles *p, int64_t i,
                         const double *shaken, double cap_pressure, const struct tolerances *ends)
{
    struct steady_job *job = block->job;
    int64_t which = block->first + i, at = i * p->nodes;
    size_t bytes = (size_t)p->nodes * sizeof(double);
    const struct design *d = job->design + which;
    double wall = job->mouth[which].wall, hot = d->main_gas_temperature;
    double low = fmin(hot, wall), high = fmax(hot, wall);
    surrounded_by(d, &low, &high);
    balance_fit(b, d, &job->mixtures, &job->pieces, which);
    memcpy(b->x, p->x + at, bytes);
    memcpy(b->gas_t, p->gas + at, bytes);
    memcpy(b->wall_t, p->wall + at, bytes);
    balance_mouth(b, d, hot, d->mass_flow, cap_pressure);
    b->wall_t[0] = wall;
    if (b->mouth_resistance == 0)
        b->gas_t[0] = hot;
    memcpy(b->skin_t, b->wrapped ? p->skin + at : b->wall_t, bytes);
    for (int64_t n = 0; n < p->nodes; n++)
        b->forced[n] = p->stirred[at + n] + (shaken != NULL ? shaken[n] : 0.0);
    balance_grid(b, d);
    balance_mixing(b);
    newton_steady(b, ends, &job->rules.newton, low, high, job->report + which);
    memcpy(p->gas + at, b->gas_t, bytes);
    memcpy(p->wall + at, b->wall_t, bytes);
    memcpy(p->skin + at, b->skin_t, bytes);
    memcpy(p->dried + at, b->dried, bytes);
    if (p->condensing != NULL)
        condensing(b, p->condensing + at);
    job->solves += 1;
    job->newton_steps += (int64_t)job->report[which].iterations;
    if (job->report[which].last_step > 0)
        job->failed[which] = 1;
}

/* Mixing by pulsation, m²/s, of a tone of frequency f with the flow's size `size` at the edges of the
 * cells, and the pressure at the cap that goes with its velocity at the mouth, Pa: see
 * interplay.displacement, mixing.pulsation and discretise.pulsating. */
static double shake(const struct block *block, struct balance *b, const struct profiles *p,
                    int64_t i, double f, double complex tube, const double *size, double *shaken)
{
    const struct steady_job *job = block->job;
    int64_t which = block->first + i, cells = job->cells, per_cell = (p->nodes - 1) / cells;
    const struct design *d = job->design + which;
    const struct mouth *mouth = job->mouth + which;
    double complex z = tube + I * mouth_reactance(&block->duct[i], f);
    double velocity = 2 * d->incident_pressure / cabs(2 * z + mouth->main_impedance);
    double swing = velocity / (2 * PI * f * (PI / 4 * d->bore * d->bore));
    const double *x = p->x + i * p->nodes, *length = job->means.length + which * cells;
    balance_fit(b, d, &job->mixtures, &job->pieces, which);
    for (int64_t n = 0; n < p->nodes; n++) {
        int64_t c = n / per_cell < cells ? n / per_cell : cells - 1;
        double share = n == p->nodes - 1 ? 1.0 : (x[n] - x[c * per_cell]) / d->tone / length[c];
        double xi = swing * (size[c] + share * (size[c + 1] - size[c]));
        if (b->line.stepped)
            xi /= section_at(&b->line, p->nodes, x, n);
        double strength = d->pulsation;
        if (isnan(strength))
            strength = laminar_pulsation(b, p->gas[i * p->nodes + n], f);
        shaken[n] = isnan(d->fixed_diffusivity) ? strength * 2 * PI * f * xi * xi : 0.0;
    }
    return 2 * PI * f * swing * size[0] * characteristic_impedance(b, d->main_gas_temperature);
}

/* First resonances of some designs, or their estimates where losses leave none, Hz; and whether
 * there is one. */
static void tones(const struct block *block, int64_t count, const int64_t *open, double *tone,
                  bool *known)
{
    const struct steady_rules *r = &block->job->rules;
    struct duct duct[BLOCK];
    double quality[BLOCK];
    for (int64_t k = 0; k < count; k++)
        duct[k] = block->duct[open[k]];
    resonances_of(count, duct, 1, &r->coarse_search, &r->fine_search, tone, quality);
    for (int64_t k = 0; k < count; k++) {
        known[k] = !isnan(tone[k]);
        if (!known[k])
            tone[k] = 1 / (4 * duct[k].transit_time);
    }
}

/* Heat and sound in turns until the mixing by pulsation belongs to the sound it makes. The tone is
 * held at the first resonance, where pulsation is strongest; at its estimate where there is none, or
 * where it comes and goes: see FREE_PASSES in interplay.py. */
static void pulsate(struct block *block, struct balance *b, struct profiles *p, int64_t count,
                    int64_t *open, double agreement, const struct tolerances *ends)
{
    struct steady_job *job = block->job;
    const struct steady_rules *r = &job->rules;
    double tone[BLOCK], change[BLOCK] = {0}, new_tone[BLOCK], *shaken = block->room;
    bool known[BLOCK], still_known[BLOCK], estimated[BLOCK] = {false};
    double complex tube[BLOCK];
    for (int64_t k = 0; k < count; k++)
        hear(block, p, open[k]);
    tones(block, count, open, tone, known);
    for (int64_t pass = 0; pass < r->most_passes && count > 0; pass++) {
        const struct duct *duct[BLOCK];
        for (int64_t k = 0; k < count; k++)
            duct[k] = &block->duct[open[k]];
        tubes(count, duct, tone, tube, NULL, block->size);
        int64_t kept = 0;
        for (int64_t k = 0; k < count; k++) {
            int64_t i = open[k];
            double cap_pressure =
                shake(block, b, p, i, tone[k], tube[k], block->size + k * (job->cells + 1), shaken);
            balance_heat(block, b, p, i, shaken, cap_pressure, ends);
            if (job->failed[block->first + i])
                continue;
            hear(block, p, i);
            known[kept] = known[k], estimated[kept] = estimated[k];
            open[kept] = i, tone[kept] = tone[k], change[kept++] = change[k];
        }
        count = kept;
        if (count == 0)
            return;
        tones(block, count, open, new_tone, still_known);
        kept = 0;
        for (int64_t k = 0; k < count; k++) {
            estimated[k] |= pass >= r->free_passes && known[k] != still_known[k];
            if (estimated[k])
                new_tone[k] = 1 / (4 * block->duct[open[k]].transit_time);
            double now = fabs(new_tone[k] / tone[k] - 1), earlier = change[k];
            /* Passes shrink the change by about one factor each: the last two foretell the next. */
            bool shrinks = now < r->steady_shrinking * earlier &&
                           now * now < r->foretold * agreement * earlier;
            if (now < agreement || shrinks)
                continue;
            known[kept] = still_known[k], estimated[kept] = estimated[k];
            open[kept] = open[k], tone[kept] = new_tone[k], change[kept++] = now;
        }
        count = kept;
    }
    for (int64_t k = 0; k < count; k++)
        job->failed[block->first + open[k]] = 1;
}

/* Steady temperatures with the mixing by pulsation where there is any: interplay.solve_temperatures.
 * `guessed`:
 * whether the profiles are a nearby solution already. */
static void settle(struct block *block, struct balance *b, struct profiles *p, bool guessed,
                   double agreement, const struct tolerances *ends)
{
    struct steady_job *job = block->job;
    int64_t open[BLOCK], driven = 0;
    for (int64_t i = 0; i < block->count; i++) {
        if (job->failed[block->first + i])
            continue;
        bool pulsates = job->design[block->first + i].incident_pressure > 0;
        if (!pulsates || !guessed)
            balance_heat(block, b, p, i, NULL, job->design[block->first + i].cap_pressure, ends);
        if (pulsates && !job->failed[block->first + i])
            open[driven++] = i;
    }
    if (driven > 0)
        pulsate(block, b, p, driven, open, agreement, ends);
}

/* Mixing by the flow that grazes the mouth, C_m U d exp[-(x/(Λ d))^s], or the fixed one, m²/s. */
static void stir(const struct design *d, const struct centreline *line, double speed, int64_t nodes,
                 const double *x, double *stirred)
{
    double reach = d->reach * d->bore, at_mouth = d->stirring * speed * d->bore;
    bool fixed = !isnan(d->fixed_diffusivity);
    for (int64_t n = 0; n < nodes; n++) {
        /* As many bores of the tubes that lie there. */
        double depth = (line->stepped ? along(line, bores_per_length, d->bore, x[n]) : x[n]) / reach;
        if (d->sharpness != 1.0)
            depth = pow(depth, d->sharpness);
        stirred[n] = fixed ? d->fixed_diffusivity : at_mouth * exp(-fmin(depth, DEEPEST));
    }
}

/* Graded (or given) nodes, mixing by stirring, and a first guess, for all of a block. */
static void lay_out(struct block *block, struct balance *b, struct profiles *p,
                    const double *given)
{
    struct steady_job *job = block->job;
    for (int64_t i = 0; i < block->count; i++) {
        int64_t which = block->first + i, at = i * p->nodes;
        const struct design *d = job->design + which;
        const struct grid_rules *rules = &job->rules.grid;
        size_t bytes = (size_t)p->nodes * sizeof(double);
        double *x = p->x + at, speed = job->mouth[which].speed, mixing;
        balance_fit(b, d, &job->mixtures, &job->pieces, which);
        if (given != NULL) {
            memcpy(x, given + which * p->nodes, bytes);
        } else {
            double mouth = 0.0;
            stir(d, &b->line, speed, 1, &mouth, &mixing);
            double scale = shortest_scale(d, &b->gas, mixing, rules->wall_scales);
            graded(d->length, scale, rules->density, p->nodes, x);
            align(&b->line, p->nodes, rules->step_edges, x);
        }
        stir(d, &b->line, speed, p->nodes, x, p->stirred + at);
        memset(p->dried + at, 0, bytes);
        memcpy(b->x, x, bytes);
        first_guess(b, d, job->mouth[which].wall);
        memcpy(p->gas + at, b->gas_t, bytes);
        memcpy(p->wall + at, b->wall_t, bytes);
        memcpy(p->skin + at, b->skin_t, bytes);
    }
}

/* Nodes where the sketch bends, and its temperatures there as a guess. */
static void refine(struct block *block, const struct profiles *rough, struct profiles *p)
{
    struct steady_job *job = block->job;
    const struct grid_rules *rules = &job->rules.grid;
    for (int64_t i = 0; i < block->count; i++) {
        int64_t which = block->first + i, from = i * rough->nodes, to = i * p->nodes;
        if (job->failed[which])
            continue;
        const struct design *d = job->design + which;
        const double *warm[] = {rough->gas + from, rough->wall + from, rough->skin + from,
                                rough->dried + from};
        double *found[] = {p->gas + to, p->wall + to, p->skin + to, p->dried + to};
        place_nodes(rough->nodes, rough->x + from, warm, p->nodes,
                    d->wrap_thickness > 0 ? rules->cap_crowding : 1.0, rules, p->x + to, found,
                    block->room);
        struct centreline line = centreline_of(&job->pieces, d, which);
        draw_to_steps(&line, p->nodes, rules->step_edges, p->x + to, found, block->room);
        stir(d, &line, job->mouth[which].speed, p->nodes, p->x + to, p->stirred + to);
    }
}

static void answer_block(struct block *block, struct balance *coarse, struct balance *fine,
                         struct profiles *rough, double *stirred)
{
    struct steady_job *job = block->job;
    const struct steady_rules *r = &job->rules;
    int64_t at = block->first * job->nodes;
    struct profiles p = {job->nodes, job->position + at, job->gas + at, job->wall + at,
                         job->skin + at, job->dried + at, stirred, job->condensing + at};
    for (int64_t i = 0; i < block->count; i++) {
        int64_t which = block->first + i;
        job->failed[which] = !mouth_of(job->design + which, &job->mixtures, which, &r->wall,
                                       job->mouth + which);
    }
    bool sketched = coarse != NULL;
    if (sketched) {
        lay_out(block, coarse, rough, NULL);
        settle(block, coarse, rough, false, r->sketch_agreement, &r->sketch);
        refine(block, rough, &p);
    } else {
        lay_out(block, fine, &p, job->given_position);
    }
    settle(block, fine, &p, sketched, r->fine_agreement, &r->fine);
    int64_t well = 0, place[BLOCK];
    struct duct duct[BLOCK];
    double frequency[BLOCK * MOST_MODES], quality[BLOCK * MOST_MODES];
    for (int64_t i = 0; i < block->count; i++) {
        if (job->failed[block->first + i])
            continue;
        hear(block, &p, i);
        job->transit_time[block->first + i] = block->duct[i].transit_time;
        place[well] = block->first + i, duct[well++] = block->duct[i];
    }
    resonances_of(well, duct, job->modes, &r->coarse_search, &r->fine_search, frequency, quality);
    for (int64_t k = 0; k < well; k++)
        for (int64_t n = 0; n < job->modes; n++) {
            job->resonance[place[k] * job->modes + n] = frequency[k * job->modes + n];
            job->quality[place[k] * job->modes + n] = quality[k * job->modes + n];
        }
}

/* Answer all designs of a job; false when there is no memory. */
PUBLIC bool core_steady(struct steady_job *job)
{
    bool sketched = job->given_position == NULL && job->nodes > job->sketch_nodes;
    int64_t few = sketched ? job->sketch_nodes : 1, cells = job->cells, most = job->nodes;
    struct balance coarse = {0}, fine = {0};
    size_t numbers = (size_t)(BLOCK * (6 * few + most + cells + 1) + 2 * most);
    numbers += (size_t)DISCRETISING_ROOM(most);
    double *room = calloc(numbers, sizeof(double));
    struct cell *cell = calloc((size_t)(BLOCK * cells), sizeof *cell);
    bool made = room != NULL && cell != NULL && balance_make(&coarse, few) &&
                balance_make(&fine, most);
    if (made) {
        double *next = room, *part[6];
        for (int k = 0; k < 6; k++, next += BLOCK * few)
            part[k] = next;
        struct profiles rough = {few, part[0], part[1], part[2], part[3], part[4], part[5], NULL};
        double *stirred = next;
        struct block block = {.job = job, .cells = cell, .size = stirred + BLOCK * most};
        block.ratio = block.size + BLOCK * (cells + 1);
        block.area = block.ratio + most;
        block.room = block.area + most;
        for (int64_t i = 0; i < BLOCK; i++)
            block.duct[i].cell = cell + i * cells;
        for (block.first = 0; block.first < job->designs; block.first += BLOCK) {
            if (stopped(job->stop))
                break; /* Python tells: see stopping.py */
            int64_t left = job->designs - block.first;
            block.count = left < BLOCK ? left : BLOCK;
            answer_block(&block, sketched ? &coarse : NULL, &fine, &rough, stirred);
        }
    }
    balance_free(&coarse);
    balance_free(&fine);
    free(room);
    free(cell);
    return made;
}
