// The work sheet: one page for the bench and one with the cope's template, in black and white.

import { template } from "./cope.js";
import { byId, el, fill, table } from "./dom.js";
import { drawing } from "./drawing.js";
import { cutNow, headline } from "./headline.js";
import { aimedRpm, givenCase, isMeasured, targetKind } from "./job.js";
import { ownPlaceSentence } from "./place_words.js";
import { answers } from "./questions.js";
import { drawnCase } from "./step_answer.js";
import { adviceNow, cutHeadings, cutRows, pieceHeadings, pieceRows, piecesCaption, stands } from "./step_cut.js";
import * as store from "./store.js";
import { celsius, millimetres, onTape, plain, say, tapeLength, unitOf } from "./units.js";

const MOST_PIECES = 9;
const MOST_STEPS = 9;
const CAUTIONS = [
  "Hot pipes burn long after a stop; an infrared thermometer may read far low on shiny metal.",
  "Carbon monoxide kills unnoticed: outdoors or with extraction, gas-tight joints, an alarm near.",
  "Never under a vehicle on a jack alone: rated stands on firm ground.",
  "Welding and hot work by who is qualified; keep clear of fuel, brake lines, wiring, underseal.",
  "Take off less than you think, warm it up for twenty minutes, listen, go on. Nothing can be put back.",
  "Local codes and licensed practice go before this sheet.",
];

/** Write the sheet from what is known now. */
export function write() {
  const job = store.current();
  const head = headline();
  const fine = unitOf("length") === "in" ? 3 : 1;
  const given = givenCase(job);
  const size = (part) => `${plain("length", millimetres(part.outside_diameter_mm), fine)} × ${say("length", millimetres(part.wall_thickness_mm), fine)}`;
  const invented = job.invented?.length;
  const facts = [
    [capital(head.name), `${head.value}${head.long ? ` ${head.long}` : ""}${head.beside ? `, ${head.beside}` : ""}`],
    ["The drone", droneWords(job)],
    ["Branch", `${size(given.branch)}, ${text(given.branch.material) || "stainless 304"}`],
    ["Main pipe", `${size(given.main_pipe)}, ${gasWords(given.main_pipe)}`],
  ];
  const advice = adviceNow();
  if (advice) facts.push(["What next", advice]);
  const where = ownPlaceSentence();
  if (where) facts.push(["Where on the pipe", where]);
  const pieces = pieceRows();
  const shown = pieces.slice(0, MOST_PIECES);
  const drawn = answers.lacking.length > 0 ? null : drawnCase(job);
  const cut = cutNow();
  fill(
    byId("sheet-body"),
    invented ? el("p", { class: "sheet-invented", text: `${invented} values on this sheet are still the invented example’s.` }) : null,
    document.body.classList.contains("stale") ? el("p", { class: "sheet-invented", text: "Not up to date: of before the last change." }) : null,
    el("dl", { class: "facts" }, ...facts.flatMap(([name, value]) => [el("dt", { text: name }), el("dd", { text: value })])),
    drawn
      ? el("div", { class: "sheet-drawing" }, drawing(drawn, null, [], cut > 0 ? lengthOf(drawn) - cut : null, "The branch to scale", { width: 680, height: 190 }, true))
      : null,
    shown.length ? table(piecesCaption(), pieceHeadings(), shown) : null,
    pieces.length > shown.length ? el("p", { text: `and ${pieces.length - shown.length} more: see the page.` }) : null,
    trimTable(job),
    blanks(),
    el("ul", { class: "sheet-cautions" }, ...CAUTIONS.map((caution) => el("li", { text: caution }))),
  );
  fill(byId("sheet-template"), answers.lacking.length > 0 ? null : template(given));
  fill(byId("sheet-title"), job.name ? `Work sheet: ${job.name}` : "Work sheet");
  byId("sheet-date").textContent = `Warmbranch, ${new Date().toLocaleDateString(undefined, { day: "numeric", month: "short", year: "numeric" })}`;
}

const capital = (word) => word[0].toUpperCase() + word.slice(1);
const text = (value) => (typeof value === "string" ? value : "");
const lengthOf = (given) =>
  (given.branch.centreline ?? [{ straight_mm: given.branch.length_mm }]).reduce(
    (sum, piece) => sum + ("straight_mm" in piece ? millimetres(piece.straight_mm) : (piece.bend_deg * Math.PI * millimetres(piece.bend_radius_mm)) / 180),
    0,
  );

function droneWords(job) {
  const rpm = aimedRpm(job, answers.length?.target);
  const hertz = answers.length?.target.frequency_Hz ?? (targetKind(job) === "hertz" ? job.target_Hz : null);
  return [typeof rpm === "number" ? `${rpm.toFixed(0)} rpm` : "", typeof hertz === "number" ? `${hertz.toFixed(1)} Hz` : ""].filter(Boolean).join(", ") || "–";
}

function gasWords(pipe) {
  const told = answers.now?.main_pipe;
  if (told?.gas_temperature_90_degC) {
    const [low, high] = told.gas_temperature_90_degC;
    return `gas taken at ${say("temperature", told.gas_temperature_degC)}, 90 % ${plain("temperature", low)} to ${say("temperature", high)}`;
  }
  return `gas ${say("temperature", celsius(pipe.gas_temperature_degC))}`;
}

// Of the branch as it stands, once something was measured, with the chance of going too far; of one
// to be built, the service's.
function trimTable(job) {
  if (stands()) {
    const rows = isMeasured(job) ? cutRows(true).map((row) => [...row, ""]) : [];
    return rows.length ? table("Trim steps from the branch as it stands", [...cutHeadings(true), "heard"], rows) : null;
  }
  const steps = answers.length?.trim_steps ?? [];
  const shown = steps.filter((_, k) => k % Math.ceil(steps.length / MOST_STEPS) === 0);
  // As a tape shows it: what is off and what is left make what was built.
  const whole = answers.length && tapeLength(answers.length.build_length_mm, Math.ceil);
  const off = (step) => tapeLength(step.cut_mm, Math.round);
  const rows = shown.map((step) => [onTape(off(step), Math.round), onTape(whole - off(step), Math.round), step.quiet_rpm?.toFixed(0) ?? step.frequency_Hz.toFixed(1), ""]);
  if (!rows.length) return null;
  const unit = steps[0].quiet_rpm === null ? "quiet Hz" : "quiet rpm";
  return table("Trimming: stop when you hear it right", ["off", "left", unit, "heard"], rows);
}

// Places to read at, evenly along the branch, with room to write.
function blanks() {
  const length = answers.now?.centreline_length_mm ?? NaN;
  const places = [0.08, 0.16, 0.28, 0.45, 0.7].map((share) => onTape(share * length, Math.round));
  const empty = ["", "", "", "", ""];
  return table(
    "To write down, warm: the skin on patches of matt black paint, and what you hear",
    ["from mouth", ...places, "quiet rpm"],
    [
      [`shown, ${unitOf("temperature")}`, ...empty, ""],
      ["again", ...empty, ""],
    ],
    { class: "blank" },
  );
}
