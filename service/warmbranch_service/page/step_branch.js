// Step 1: whether it is built, the drone, the pipes.

import { question } from "./ask.js";
import { byId, el, fill, write } from "./dom.js";
import { AIR, ENGINE, GAS, LENGTH, MORE_AIR, MORE_ENGINE, MORE_PIPE, MORE_TUBE, PIPE, TARGET, TUBE } from "./field_list.js";
import { choiceOf, field, forget, offer, touch } from "./fields.js";
import { builtLength, leftOver, lengthened, targetKind } from "./job.js";
import { whereToPoint } from "./pointing.js";
import { answers } from "./questions.js";
import * as store from "./store.js";
import { leastOnTape, onTape, say, tapeLength } from "./units.js";

let built = null;
let gas = null;
let target = null;
let surfaces = [];

/** Build the step. */
export function build() {
  built = choiceOf({
    name: "built",
    label: "Is it built already?",
    choices: [["no", "Not yet"], ["yes", "It is built"]],
    chosen: () => (store.current().built ? "yes" : "no"),
    choose: (value) => (value === "yes" ? toStand() : store.change("whether it is built", (job) => (job.built = false))),
  });
  fill(byId("built-choice"), built.node);
  target = choiceOf({
    name: "target",
    label: "How the drone is known",
    choices: [["rpm", "engine speed"], ["hertz", "a tone in Hz"], ["road", "road speed"], ["loudness", "how loud"]],
    chosen: () => targetKind(store.current()),
    choose: (value) => store.change("how the drone is told", (job) => (job.target_kind = value)),
  });
  fill(byId("target-choice"), target.node);
  gas = choiceOf({
    name: "gas",
    label: "What tells how hot it runs",
    choices: [["load", "not measured"], ["skin", "read on the pipe’s skin"], ["gas", "gas temperature"]],
    chosen: gasKind,
    choose: chooseGas,
  });
  fill(byId("gas-choice"), gas.node);
  fill(byId("where-to-point"), whereToPoint());
  group("tube-fields", TUBE.map(withReset), MORE_TUBE);
  group("pipe-fields", PIPE, MORE_PIPE);
  group("air-fields", AIR, MORE_AIR);
  rebuild();
  byId("add-straight").addEventListener("click", () => addPiece({ straight_mm: 200 }, "straight"));
  byId("add-bend").addEventListener("click", () => addPiece({ bend_deg: 90, bend_radius_mm: 75 }, "bend"));
}

// The length in the fields was only where the search began, another one was advised: which of them
// stands, nobody is to guess, for every cut is counted from it.
function toStand() {
  const job = store.current();
  const sound = answers.length && answers.errors.length + answers.lacking.length + job.trims.length === 0;
  const advised = sound ? tapeLength(answers.length.build_length_mm, Math.ceil) : NaN;
  const typed = builtLength(job);
  if (!(advised > 0) || Math.abs(advised - typed) < leastOnTape() / 2) {
    stand();
    return;
  }
  built.show(); // not before it is answered
  question(
    "How long was it built, along the centre-line from the main pipe’s inner wall to the cap?",
    `${onTape(advised, Math.round)}, as advised`,
    () => stand(advised),
    typed > 0 && !shapeIsTheExamples(job) ? `${onTape(typed, Math.round)}, as typed below` : "Another length: I type it below",
    () => {
      stand();
      byId("shape").open = true;
    },
  );
}

const shapeIsTheExamples = (job) => leftOver(job).some((path) => path.startsWith("case.branch.centreline."));

function stand(length = null) {
  store.change("whether it is built", (job) => {
    job.built = true;
    if (length === null) return;
    job.case = lengthened(job.case, length);
    const { centreline } = job.case.branch;
    touch(job, centreline ? `case.branch.centreline.${centreline.length - 1}` : "case.branch.length_mm");
  });
}

/** Show the choices and the fields that belong to them, and the pieces, anew. */
export function rebuild() {
  for (const one of [built, target, gas]) one.show();
  engine();
  gasFields();
  pieces();
}

// Another metal has another skin.
function withReset(one) {
  if (one.path !== "case.branch.material") return one;
  const after = (job) => {
    delete job.case.branch.surface;
    delete job.case.branch.emissivity;
    touch(job, "case.branch.surface", "case.branch.emissivity");
  };
  return { ...one, after: (job) => (after(job), setTimeout(() => offer("case.branch.surface", surfaceChoices()))) };
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

function engine() {
  for (const path of ["case.engine.", "target_rpm", "target_Hz", "road.", "loudness", "drone_half_width_rpm"]) forget(path);
  const kind = targetKind(store.current());
  group("engine-fields", [...TARGET[kind], ...ENGINE], MORE_ENGINE);
}

function gasKind() {
  const pipe = store.at("case.main_pipe");
  if (pipe.skin_reading) return "skin";
  return pipe.engine_load ? "load" : "gas";
}

function chooseGas(value) {
  store.change("what tells how hot it runs", (job) => {
    const pipe = job.case.main_pipe;
    for (const name of ["gas_temperature_degC", "skin_reading", "engine_load", "skin_temperature_degC"]) delete pipe[name];
    touch(job, "case.main_pipe.gas_temperature_degC", "case.main_pipe.skin_reading", "case.main_pipe.engine_load");
    if (value === "load") pipe.engine_load = "cruise";
    if (value === "skin") pipe.skin_reading = { surface: "matt black paint" };
  });
}

function gasFields() {
  for (const path of ["case.main_pipe.gas_temperature_degC", "case.main_pipe.skin_reading", "case.main_pipe.engine_load"]) forget(path);
  const kind = gasKind();
  fill(byId("gas-fields"), el("div", { class: "fields" }, ...GAS[kind].map(field)));
  byId("where-to-point").hidden = kind !== "skin";
  if (surfaces.length) offer("case.main_pipe.skin_reading.surface", readOn());
}

const surfaceChoices = () => [["", "usual for it"], ...surfaces];
const readOn = () => [["", "the pipe’s own skin"], ...surfaces];

/** Names from GET /v1/reference. */
export function name(reference) {
  const named = (list) => list.map((entry) => [entry.name, entry.name]);
  surfaces = named(reference.surfaces);
  offer("case.branch.material", named(reference.materials));
  offer("case.branch.surface", surfaceChoices());
  offer("case.main_pipe.surface", surfaceChoices());
  offer("case.main_pipe.skin_reading.surface", readOn());
  offer("case.main_pipe.gas.fuel", [...named(reference.fuels), [reference.air, reference.air]]);
}

/** What the answer says of the gas, and what is still the example's. */
export function show() {
  const pipe = answers.now?.main_pipe;
  const range = pipe?.gas_temperature_90_degC;
  write(
    byId("gas-words"),
    range && answers.lacking.length === 0
      ? `Taken for the gas: ${say("temperature", pipe.gas_temperature_degC)}, 90 % between ` +
          `${say("temperature", range[0])} and ${say("temperature", range[1])}.` +
          (pipe.gas_temperature_from === "engine load" ? " An infrared thermometer on the pipe’s skin narrows that a lot." : "")
      : "",
  );
  write(
    byId("lead-1"),
    store.current().invented?.length
      ? "Type over what is different on yours; what is still marked “example” is nobody’s."
      : "Fill in what is asked; a field in slanted type says what is taken while it is empty.",
  );
  showShape();
}

function showShape() {
  const centreline = store.at("case.branch.centreline");
  const bends = (centreline ?? []).filter((piece) => !("straight_mm" in piece)).length;
  write(byId("shape-words"), bends === 0 ? "straight" : bends === 1 ? "one bend" : `${bends} bends`);
}

/** Build the list of pieces anew. */
export function pieces() {
  forget("case.branch.centreline.");
  forget("case.branch.length_mm");
  const job = store.current();
  const centreline = store.at("case.branch.centreline");
  if (job.built) byId("shape").open = true;
  if (Array.isArray(centreline)) fill(byId("pieces"), ...centreline.map(pieceRow));
  else if (job.built) fill(byId("pieces"), el("li", {}, field(LENGTH)));
  else fill(byId("pieces"), el("li", { class: "help", text: "One straight tube, as long as it must be. With bends, the last straight takes the length." }));
  showShape();
}

function pieceRow(piece, place, all) {
  const path = `case.branch.centreline.${place}`;
  const bend = !("straight_mm" in piece);
  const compact = true;
  const sought = !store.current().built && place === all.length - 1 && !bend;
  const inside = bend
    ? [
        field({ path: `${path}.bend_deg`, label: "Bend", kind: "angle", compact }),
        field({ path: `${path}.bend_radius_mm`, label: "Radius", kind: "length", compact }),
      ]
    : [field({ path: `${path}.straight_mm`, label: sought ? "Last straight, for now" : "Straight", kind: "length", compact })];
  inside.push(field({ path: `${path}.outside_diameter_mm`, label: "Own tube, outside", kind: "length", hint: "same", compact }));
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
      if (branch.centreline.length === 0 && what === "bend") branch.centreline.push({ straight_mm: 150 });
      delete branch.length_mm;
    }
    branch.centreline.push(piece);
    if (!job.built && what === "bend") branch.centreline.push({ straight_mm: 500 });
  });
  byId("pieces").querySelector("li:last-child input")?.focus();
}

function removePiece(place) {
  store.change(`removing piece ${place + 1}`, (job) => {
    const branch = job.case.branch;
    const length = builtLength(job);
    branch.centreline.splice(place, 1);
    if (branch.centreline.length === 0) {
      delete branch.centreline;
      if (job.built) branch.length_mm = length;
    }
  });
  byId("add-straight").focus();
}
