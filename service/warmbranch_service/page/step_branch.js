// Step 1: the branch and the pipe.

import { byId, el, fill } from "./dom.js";
import { field, forget, offer } from "./fields.js";
import * as store from "./store.js";

const TUBE = [
  {
    path: "case.branch.outside_diameter_mm",
    label: "Outside diameter",
    kind: "length",
    help: "Of the branch's tube, over the metal.",
  },
  {
    path: "case.branch.wall_thickness_mm",
    label: "Wall thickness",
    kind: "length",
    help: "Of the tube. Its bore follows.",
  },
  {
    path: "case.branch.material",
    label: "Metal",
    kind: "choice",
    choices: [["stainless 304", "stainless 304"]],
    help: "What the tube is made of.",
  },
  {
    path: "case.branch.surface",
    label: "Its skin",
    kind: "choice",
    choices: [["", "usual for it"]],
    help: "How it looks outside: sets what it radiates.",
  },
];
const MORE_TUBE = [
  {
    path: "case.branch.rise_deg",
    label: "Rise to the cap",
    kind: "angle",
    hint: "0",
    help: "0 level, 90 upright, negative when it falls.",
  },
  {
    path: "case.branch.cap_thickness_mm",
    label: "Cap plate",
    kind: "length",
    hint: "as the wall",
    help: "Thickness of the plate at the end.",
  },
  {
    path: "case.branch.wrap.thickness_mm",
    label: "Wrap thickness",
    kind: "length",
    hint: "bare",
    help: "Insulation round the branch; empty when bare.",
    after: wrapTogether,
  },
  {
    path: "case.branch.wrap.conductivity_W_mK",
    label: "Wrap conductivity",
    kind: "conductivity",
    hint: "0.09",
    help: "As fitted; exhaust tape is about 0.09.",
  },
];
const PIPE = [
  {
    path: "case.main_pipe.outside_diameter_mm",
    label: "Outside diameter",
    kind: "length",
    help: "Of the main pipe where the branch stands.",
  },
  {
    path: "case.main_pipe.wall_thickness_mm",
    label: "Wall thickness",
    kind: "length",
    help: "Of the main pipe.",
  },
  {
    path: "case.main_pipe.gas_temperature_degC",
    label: "Gas temperature",
    kind: "temperature",
    help: "In the pipe at the mouth, warm and at the speed that drones.",
  },
  {
    path: "case.main_pipe.mass_flow_kg_h",
    label: "Gas flow",
    kind: "flow",
    hint: "worked out",
    help: "Through the pipe; empty: from the engine, or assumed.",
  },
];
const MORE_PIPE = [
  {
    path: "case.main_pipe.gas.fuel",
    label: "Fuel",
    kind: "choice",
    choices: [["petrol", "petrol"]],
    help: "What was burnt; it sets the speed of sound.",
  },
  {
    path: "case.main_pipe.gas.excess_air_ratio",
    label: "Air over need (λ)",
    kind: "number",
    hint: "1",
    help: "1 for petrol, 1.5 to 4 for diesel.",
  },
  {
    path: "case.main_pipe.skin_temperature_degC",
    label: "Pipe's skin",
    kind: "temperature",
    hint: "worked out",
    help: "Its temperature at the mouth, if you measured it.",
  },
  {
    path: "case.main_pipe.surface",
    label: "Pipe's surface",
    kind: "choice",
    choices: [["", "usual for it"]],
    help: "How it looks outside.",
  },
];
const ENGINE = [
  {
    path: "case.engine.cylinders",
    label: "Cylinders",
    kind: "number",
    help: "That fire into this pipe.",
  },
  {
    path: "case.engine.cycle",
    label: "Cycle",
    kind: "choice",
    choices: [
      ["", "four-stroke"],
      ["two-stroke", "two-stroke"],
    ],
    help: "Most engines on the road are four-strokes.",
  },
  {
    path: "target_rpm",
    label: "It drones at",
    kind: "rpm",
    help: "Engine speed that is to fall quiet.",
  },
  {
    path: "drone_half_width_rpm",
    label: "Drone's half width",
    kind: "rpm",
    hint: "100",
    help: "How far up and down it is heard; only drawn.",
  },
];
const MORE_ENGINE = [
  {
    path: "case.engine.order",
    label: "Engine order",
    kind: "number",
    hint: "firing order",
    help: "Cycles of the tone in one turn of the crankshaft.",
  },
  {
    path: "case.engine.displacement_L",
    label: "Displacement",
    kind: "volume",
    help: "With the next two, stands in for the gas flow.",
  },
  { path: "case.engine.rpm", label: "Engine speed", kind: "rpm", help: "To which the flow belongs." },
  {
    path: "case.engine.volumetric_efficiency",
    label: "Filling",
    kind: "number",
    hint: "0.3 to 0.9",
    help: "Air drawn over displacement; 0.3 at part throttle.",
  },
];
const AIR = [
  {
    path: "case.surroundings.air_temperature_degC",
    label: "Air temperature",
    kind: "temperature",
    hint: "20",
    help: "Near the branch, not the forecast's.",
  },
  {
    path: "case.surroundings.air_speed_m_s",
    label: "Air speed",
    kind: "speed",
    hint: "0",
    help: "Across the branch. 60 mph or 90 km/h may be typed too.",
  },
];
const MORE_AIR = [
  {
    path: "case.surroundings.pressure_kPa",
    label: "Air pressure",
    kind: "pressure",
    hint: "101.325",
    help: "Lower in the hills: 90 at 1000 m.",
  },
  {
    path: "case.surroundings.relative_humidity_percent",
    label: "Humidity",
    kind: "percent",
    hint: "50",
    help: "Of the air that the engine draws.",
  },
];

function wrapTogether(job) {
  const wrap = job.case.branch.wrap;
  if (wrap && wrap.thickness_mm == null) delete job.case.branch.wrap;
  else if (wrap && wrap.conductivity_W_mK == null) wrap.conductivity_W_mK = 0.09;
}

/** Build the step. */
export function build() {
  group("tube-fields", TUBE, MORE_TUBE);
  group("pipe-fields", PIPE, MORE_PIPE);
  group("engine-fields", ENGINE, MORE_ENGINE);
  group("air-fields", AIR, MORE_AIR);
  byId("add-straight").addEventListener("click", () => addPiece({ straight_mm: 200 }, "straight"));
  byId("add-bend").addEventListener("click", () => {
    addPiece({ bend_deg: 90, bend_radius_mm: 75 }, "bend");
  });
  pieces();
}

function group(id, fields, more) {
  const rest = el(
    "details",
    { class: "more" },
    el("summary", { text: "Less often needed" }),
    el("div", { class: "fields" }, ...more.map(field)),
  );
  fill(byId(id), el("div", { class: "fields" }, ...fields.map(field)), rest);
}

/** Names from GET /v1/reference. */
export function name(reference) {
  const named = (list) => list.map((entry) => [entry.name, entry.name]);
  offer("case.branch.material", named(reference.materials));
  const surfaces = [["", "usual for it"], ...named(reference.surfaces)];
  offer("case.branch.surface", surfaces);
  offer("case.main_pipe.surface", surfaces);
  offer("case.main_pipe.gas.fuel", [...named(reference.fuels), [reference.air, reference.air]]);
}

/** Build the list of pieces anew. */
export function pieces() {
  forget("case.branch.centreline.");
  forget("case.branch.length_mm");
  const centreline = store.at("case.branch.centreline");
  byId("straight-only").hidden = Array.isArray(centreline);
  if (!Array.isArray(centreline)) {
    const whole = {
      path: "case.branch.length_mm",
      label: "Length",
      kind: "length",
      help: "Of a straight branch, from the main pipe's inner wall to the cap's inner face.",
    };
    fill(byId("pieces"), el("li", {}, field(whole)));
    return;
  }
  fill(byId("pieces"), ...centreline.map(pieceRow));
}

function pieceRow(piece, place) {
  const path = `case.branch.centreline.${place}`;
  const bend = !("straight_mm" in piece);
  const compact = true;
  const inside = bend
    ? [
        field({ path: `${path}.bend_deg`, label: "Bend", kind: "angle", compact }),
        field({ path: `${path}.bend_radius_mm`, label: "Radius", kind: "length", compact }),
      ]
    : [field({ path: `${path}.straight_mm`, label: "Straight", kind: "length", compact })];
  const remove = el("button", {
    type: "button",
    class: "faint",
    title: "Remove",
    "aria-label": `Remove piece ${place + 1}`,
    text: "×",
    onclick: () => removePiece(place),
  });
  return el("li", { class: "piece" }, ...inside, remove);
}

function addPiece(piece, what) {
  store.change(`adding a ${what}`, (job) => {
    const branch = job.case.branch;
    if (!Array.isArray(branch.centreline)) {
      branch.centreline = branch.length_mm == null ? [] : [{ straight_mm: branch.length_mm }];
      delete branch.length_mm;
    }
    branch.centreline.push(piece);
  });
  byId("pieces").querySelector("li:last-child input")?.focus();
}

function removePiece(place) {
  store.change(`removing piece ${place + 1}`, (job) => {
    const branch = job.case.branch;
    branch.centreline.splice(place, 1);
    if (branch.centreline.length === 0) {
      delete branch.centreline;
      branch.length_mm = 500;
    }
  });
  byId("add-straight").focus();
}
