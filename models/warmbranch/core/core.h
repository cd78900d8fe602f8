/* What the files of the core share, and the records that Python hands over.
 *
 * SI units and kelvin throughout; NaN says "not given". A record's fields stand in the same order
 * in records.py; a test compares the two.
 */
#ifndef WARMBRANCH_CORE_H
#define WARMBRANCH_CORE_H

#include <complex.h>
#include <stdbool.h>

#include "gas_table.h"

#ifdef _WIN32
#define PUBLIC __declspec(dllexport)
#else
#define PUBLIC __attribute__((visibility("default")))
#endif

#define PI 3.14159265358979323846
#define GRAVITY 9.80665                /* m/s², ISO 80000-3 */
#define STEFAN_BOLTZMANN 5.670374419e-8 /* W/(m² K⁴), CODATA 2018 */
#define NUSSELT_LAMINAR 3.66           /* developed laminar flow, wall of one temperature */

/* ---- Records that Python fills ---------------------------------------------------------- */

#define RADIATION_TERMS 5 /* the size of radiation_coefficients; a test counts all numbers */

/* One design: the numbers of a case, see case.py. */
struct design {
    /* the branch, its tube at the mouth: m, m, m, rad; a positive rise climbs from mouth to cap */
    double outside_at_mouth, bore, length, rise;
    /* conductivity of its metal, W/(m K), in rising powers of the temperature */
    double conductivity[3];
    /* what covers it; m, W/(m K) */
    double emissivity, wrap_thickness, wrap_conductivity;
    /* main pipe; m, K, kg/s, Pa */
    double main_outside_diameter, main_wall_thickness, main_gas_temperature, main_skin_temperature;
    double mass_flow, main_emissivity, film_augmentation, incident_pressure, cap_pressure;
    /* surroundings; K, Pa, m/s */
    double air_temperature, radiant_temperature, pressure, air_speed;
    /* the same behind a place, m, that is infinite where there is none */
    double rear_from, rear_air_temperature, rear_radiant_temperature, rear_air_speed;
    /* closures, see closures.py */
    double mouth_exchange, tone_exchange, stirring, reach, sharpness, pulsation;
    double stirred_film, still_nusselt;
    double stanton, buoyancy, outer_film_factor, mouth_factor, mouth_flow, tone;
    double fixed_diffusivity, fixed_inner_film, fixed_outer_film, fixed_mouth_length;
    double mouth_model, wall_losses, flow_loss, level_loss;
    /* of the gas's radiation to the bore, see emissivity.py; all 0 for a transparent one */
    double radiation_coefficients[5];
    /* φ of the vapour in the gas, 0 where none condenses: see vapour.py */
    double vapour_content;
};

/* A gas for each design (or one for all), the air around them and the water that they lose, on
 * tables of one grid. */
struct mixtures {
    const struct gas_piece *gas, *air, *water;
    const double *gas_constant;
    double air_gas_constant, water_gas_constant, first, step;
    int64_t gas_count, gas_pieces, air_pieces;
};

/* The centre-lines of all designs, from mouth to cap, (designs, count) each; a design of fewer
 * pieces than others ends with some of no length. */
struct pieces {
    int64_t count;
    const double *length, *bend_radius; /* m; infinite for a straight */
    const double *outside, *bore;       /* m; none where all designs are of one tube */
    const double *added; /* m of the mouth's tube: gas that swings with the step behind each, for
                          * the sound alone */
};

/* When Newton's method ends, see temperature.py. */
struct tolerances {
    double step, left, imbalance;
};

/* What keeps Newton's method on its way, see temperature.py. */
struct newton_rules {
    double rounding_share, smallest_rounding, largest_rounding; /* -, K, K */
    double smallest_heat, undamped_step;                         /* W, K */
    double shrinks, shorter, longer, shortest;
    int64_t undamped_iterations, most_iterations;
};

/* What a heat balance comes to. */
struct heat_report {
    double by_gas, by_wall, lost; /* through the mouth and outside, W */
    double iterations, last_step; /* K; 0 if the tolerances are met */
};

/* How a root is sought: tolerance, longest step over the start (or now), most steps. */
struct search_rules {
    double tolerance, longest;
    int64_t most;
};

/* ---- A tube in the air (outside_film.c) -------------------------------------------------- */

struct outside {
    struct gas_table air;
    double air_temperature, radiant_temperature, pressure, air_speed;
    double length, rise; /* of the outermost surface */
    double factor, fixed_film, emissivity;
};

/* Convection and radiation from skins of some diameters, W/m², and their slopes, W/(m² K). `count`
 * is a multiple of LANES. */
void outside_fluxes(const struct outside *out, int64_t count, const double *diameter,
                    const double *skin, double *flux, double *slope);
double outside_flux(const struct outside *out, double diameter, double skin, double *slope);
void make_prandtl_series(void);

/* ---- The tubes along one branch (pieces.c) ------------------------------------------------ */

/* The pieces of one design, and its tube at the mouth, m. */
struct centreline {
    struct pieces piece;
    double outside, bore;
    bool stepped; /* some piece is of another tube than that */
};

/* A tube, m, and one number more that something wants. */
struct tube {
    double outside, bore, with;
};

/* What is steady within a piece. */
typedef double of_tube(struct tube t);
double perimeter_of_bore(struct tube t);
double perimeter_over(struct tube t);   /* over a wrap `with` thick */
double bores_per_length(struct tube t); /* over those of a bore `with` */
double section_over(struct tube t);     /* over that of a bore `with` */

struct centreline centreline_of(const struct pieces *all, const struct design *d, int64_t i);
/* Integral of it from the mouth to x; its mean between two places. */
double along(const struct centreline *line, of_tube *value, double with, double x);
double mean_between(const struct centreline *line, of_tube *value, double with, double from,
                    double to);
/* Draw nodes aside so that every step falls on one of `edges` even parts of them. */
void align(const struct centreline *line, int64_t nodes, int64_t edges, double *x);
/* The same profiles on nodes that are drawn to the steps, near enough for a guess; room for two. */
void draw_to_steps(const struct centreline *line, int64_t nodes, int64_t edges, double *x,
                   double *profile[4], double *room);
/* Inertance and section of the intervals between nodes over those of a straight tube. */
void bore_ratios(const struct centreline *line, int64_t nodes, const double *x, double *inertance,
                 double *area);
/* Section at a node over that at the mouth: the mean of the intervals beside it. */
double section_at(const struct centreline *line, int64_t nodes, const double *x, int64_t n);
/* What follows from the nodes of a balance alone. */
struct balance;
void balance_grid(struct balance *b, const struct design *d);

/* ---- The heat balance of one design (heat_balance.c) ------------------------------------- */

#define SCRAPING 0.75 /* of the counterflow's film, over that of stirring as strong */
#define TINY 1e-300   /* keeps nothing over nothing at nothing */

/* Arrays of one design; those of nodes have nodes + LANES places, which pad the last quad. */
struct balance {
    int64_t nodes, padded;
    struct gas_table gas;
    struct outside out, rear;
    struct centreline line;
    double bore, bore_area; /* at the mouth */
    double rise, buoyancy, stanton, fixed_film, gas_per_kelvin;
    double still_nusselt, stirred_film;
    double main_gas, mouth_resistance; /* K, K/W; 0 where the mouth does not resist */
    double conductivity[3];
    double radiation[RADIATION_TERMS]; /* times the constant of Stefan and Boltzmann */
    double pressure, whole, entering; /* Pa; φ of the gas, and in the main pipe: see vapour.py */
    double mouth_admits, latent;      /* mol/s per unit of φ; W that all that condenses gives */
    bool wrapped, has_rear, radiates;
    bool wet;        /* somewhere vapour condenses: the third unknown is there */
    bool wet_before; /* and did at temperatures before these */
    double *x, *gas_t, *wall_t, *skin_t; /* m and K */
    double *forced;                      /* mixing that does not depend on temperatures, m²/s */
    /* of the grid alone */
    double *width_share, *bore_surface, *cap_area, *skin_area, *wrap_conductance;
    double *per_bore, *skin_diameter;            /* 1/m and m, means of the control volumes */
    double *rear_share, *rear_flux, *rear_slope; /* of skin_area; what leaves, were all rear */
    /* of faces; face n lies left of node n, and none at the ends */
    double *per_step, *face_bore, *gas_path, *metal_path; /* 1/m, m, and sections over steps, m */
    double *forced_face;
    double *buoyant, *by_left, *by_right;          /* by buoyancy, along the branch */
    double *scraping, *scraped_left, *scraped_right; /* by buoyancy, at the wall */
    double *flux, *flux_left, *flux_right, *metal_flux, *metal_left, *metal_right;
    /* gas at the nodes */
    double *k, *k_slope, *cp, *cp_slope, *mu, *mu_slope, *volumetric, *volumetric_slope;
    /* residuals, W, and slopes, W/K: what a node fails to pass on, and how that answers to the
     * temperatures of its left neighbour, its own and its right neighbour's */
    double *gas_amiss, *gas_left, *gas_here, *gas_wall, *gas_right;
    double *wall_amiss, *wall_left, *wall_here, *wall_right;
    double *wall_gas_left, *wall_gas_here, *wall_gas_right;
    double *skin_loss, *skin_slope;       /* from the skin to the outside */
    double *outside_loss, *outside_slope; /* from the wall outwards, the skin being eliminated */
    double *gas_step, *wall_step, *skin_step;
    /* exchange of gas and wall by convection, W/K, and its slopes to left, own and right node */
    double *exchange, *film_left, *film_here, *film_right;
    /* vapour at the nodes: m²/s, φ, φ at saturation, what counts of
     * the first over the second and its slope, mol/mol, and the paths, mol/s */
    double *diffusivity, *diffusivity_slope, *swells, *at_wall_slope, *content, *at_wall;
    double *over, *share, *dried, *to_wall;
    double *along, *along_left, *along_right; /* of faces, with slopes to the nodes beside, per K */
    /* slopes of what it gives to the wall, and of its own residual, W per φ and W/K */
    double *by_content, *by_wall, *by_gas_left, *by_gas_here, *by_gas_right;
    double *vapour_left, *vapour_here, *vapour_right, *vapour_wall;
    double *vapour_gas_left, *vapour_gas_here, *vapour_gas_right, *content_step;
    double *eliminated; /* twelve numbers a node */
    void *room;
};

bool balance_make(struct balance *b, int64_t nodes);
void balance_free(struct balance *b);
void balance_fit(struct balance *b, const struct design *d, const struct mixtures *m,
                 const struct pieces *pieces, int64_t i);
void surrounded_by(const struct design *d, double *low, double *high);
void balance_mixing(struct balance *b);
void counterflow_at_faces(struct balance *b); /* counterflow.c */
void counterflow_none(struct balance *b);
double characteristic_impedance(const struct balance *b, double t);
double laminar_pulsation(const struct balance *b, double t, double f);
void balance_mouth(struct balance *b, const struct design *d, double hot, double mass_flow,
                   double cap_pressure);
void balance_assemble(struct balance *b);
/* Vapour (vapour.c): what the mouth admits, what condenses, and Newton's linear system with it. */
void vapour_mouth(struct balance *b, double hot, double moved, double shape);
void vapour_assemble(struct balance *b);
void condensing(const struct balance *b, double *rate);
void vapour_move(struct balance *b);
double latent_change(const struct balance *b);
void solve_wet_blocks(struct balance *b);
struct gas_table gas_of(const struct mixtures *m, int64_t i);
struct gas_table air_of(const struct mixtures *m);
struct gas_table water_of(const struct mixtures *m);

/* ---- Newton's method (elimination.c) ------------------------------------------- */

void eliminate_skin(struct balance *b);
void solve_blocks(struct balance *b);
double newton_step(struct balance *b);
void newton_move(struct balance *b, double share, double low, double high);
void newton_steady(struct balance *b, const struct tolerances *ends, const struct newton_rules *r,
                   double low, double high, struct heat_report *report);

/* ---- The grid (grid.c) -------------------------------------------------------------------- */

/* How nodes are placed, see grid.py and sketch.py. */
struct grid_rules {
    double density, wall_scales;
    double faint, evenness, cap_crowding, drying;
    int64_t smoothings, step_edges;
};

void graded(double length, double first_scale, double density, int64_t nodes, double *x);
double shortest_scale(const struct design *d, const struct gas_table *gas, double at_mouth,
                      double wall_scales);
void first_guess(struct balance *b, const struct design *d, double wall_at_mouth);
void place_nodes(int64_t few, const double *x, const double *warm[4], int64_t nodes,
                 double cap_crowding, const struct grid_rules *rules, double *position,
                 double *found[4], double *room);

/* ---- Sound (discretisation.c, sound.c, resonance.c) --------------------------------------- */

/* A design's cells as the acoustics describe them, see acoustics.Duct; arrays of `cells`. */
struct cell_means {
    double *length, *density, *bulk_modulus, *viscosity, *heat_capacity_ratio, *prandtl;
    double *inertance_ratio, *skew;
    double *area_ratio; /* to none it is 1 */
};

/* Those of the design whose cells begin at a place. */
struct cell_means means_of(const struct cell_means *all, int64_t at);
void discretise_profile(const struct gas_table *gas, const struct gas_table *water, int64_t nodes,
                        const double *x, const double *gas_t, const double *wall_t,
                        const double *dried, double pressure, const double *inertance_ratio,
                        const double *area_ratio, int64_t cells, const struct cell_means *means,
                        double *room);
#define DISCRETISING_ROOM(nodes) (12 * ((nodes) + LANES)) /* numbers that it works in */

/* One cell as its transfer matrix wants it. */
struct cell {
    double mass, spring;  /* without the layers: kg/m⁴, m³/Pa */
    double viscous, heat; /* thickness of the layers at 1 Hz over the radius */
    double thermal, skew; /* heat capacity ratio less 1; see acoustics.Duct */
    double spare[2];      /* fills two quads */
};

struct duct {
    struct cell *cell;
    int64_t cells;
    double mouth_inertance, mouth_impedance, transit_time; /* kg/m⁴, Pa s/m³, s */
    double grazed_inertance, crossing_time;                /* kg/m⁴, s: see acoustics.Duct */
    bool lossy;
};

void duct_of(const struct cell_means *means, int64_t cells, double radius, double mouth_inertance,
             double grazed_inertance, double crossing_time, bool lossy, struct duct *duct);
/* p/U without the mouth's inertance and the phase travelled, of each duct at its frequency; the
 * flow's size at the edges of the cells over that at the mouth, cells + 1 a duct, if asked for. */
void tubes(int64_t count, const struct duct *const *duct, const double *frequency,
           double complex *impedance, double *travelled, double *size);
/* Reactance of the main pipe's gas that swings with the branch, Pa s/m³. */
double mouth_reactance(const struct duct *duct, double frequency);
void make_layer_series(void);
double complex layer_function(double inverse);

#define MOST_MODES 3
void resonances_of(int64_t count, const struct duct *duct, int64_t modes,
                   const struct search_rules *coarse, const struct search_rules *fine,
                   double *frequency, double *quality);

double effective_temperature(const struct cell_means *like, int64_t cells,
                             const struct gas_table *gas, double pressure, double radius,
                             double frequency, double log_start, const struct search_rules *rules,
                             struct duct *duct);

/* ---- The main pipe (main_pipe.c) ----------------------------------------------------------- */

/* What the branch meets at the main pipe; m/s, K, m, kg/m⁴, Pa s/m³, m/s. */
struct mouth {
    double speed, wall, inertance, grazed_inertance, crossing_time;
    double main_impedance, main_sound_speed;
};

/* Newton's method on the main pipe's own wall. */
struct wall_rules {
    double tolerance, usual_loss; /* K, W/(m² K) */
    int64_t most;
};

double pipe_nusselt(double reynolds, double prandtl);
struct outside around_main(const struct design *d, const struct mixtures *m);
/* Inner film of the main pipe over its outer surface, W/(m² K). */
double main_supply(const struct design *d, const struct gas_table *gas, double augmentation,
                   double hot, double mass_flow);
bool mouth_of(const struct design *d, const struct mixtures *m, int64_t i,
              const struct wall_rules *rules, struct mouth *mouth);

/* Work that nobody waits for any more: see stopping.py. */
static inline bool stopped(const int64_t *flag) { return *(volatile const int64_t *)flag != 0; }

#endif
