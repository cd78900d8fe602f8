// The work sheet: one page for the bench, in black and white.

import { byId, el, fill, table } from "./dom.js";
import { drawing } from "./drawing.js";
import { builtLength, caseNow, cutOff } from "./job.js";
import { answers } from "./questions.js";
import { headline } from "./step_answer.js";
import { cutHeadings, cutNow, cutRows, pieceHeadings, pieceRows, piecesCaption, stands } from "./step_cut.js";
import * as store from "./store.js";
import { celsius, millimetres, onTape, plain, say, unitOf } from "./units.js";

const MOST_PIECES = 9;
const MOST_STEPS = 9;
const CAUTIONS = [
  "Hot pipes burn long after a stop; an infrared thermometer may read far low on shiny metal.",
  "Carbon monoxide kills unnoticed: outdoors or with extraction, gas-tight joints, an alarm near.",
  "Never under a vehicle on a jack alone: rated stands on firm ground.",
  "Welding and hot work by who is qualified; keep clear of fuel, brake lines, wiring, underseal.",
  "Cut less than you think, warm it up for ten minutes, listen, cut again. A cut cannot be undone.",
  "Local codes and licensed practice go before this sheet.",
];

/** Write the sheet from what is known now. */
export function write() {
  const job = store.current();
  const head = headline();
  const length = builtLength(job) - cutOff(job);
  const branch = job.case.branch;
  const pipe = job.case.main_pipe;
  const fine = unitOf("length") === "in" ? 3 : 1;
  const size = (part) => `${plain("length", millimetres(part.outside_diameter_mm), fine)} × ${say("length", millimetres(part.wall_thickness_mm), fine)}`;
  const facts = [
    ["Branch", `${size(branch)}, ${text(branch.material) || "stainless 304"}, ${say("length", length)} along the centre-line`],
    ["Main pipe", `${size(pipe)}, gas ${say("temperature", celsius(pipe.gas_temperature_degC))}`],
    ["Quiet now", head ? `${head.value} ${head.unit}${head.band ? `, ${head.band}` : ""}` : "–"],
    ["Wanted", job.target_rpm == null ? "–" : `${job.target_rpm} rpm${adviceWords()}`],
  ];
  const pieces = pieceRows();
  const shown = pieces.slice(0, MOST_PIECES);
  fill(
    byId("sheet-body"),
    el("dl", { class: "facts" }, ...facts.flatMap(([name, value]) => [el("dt", { text: name }), el("dd", { text: value })])),
    el("div", { class: "sheet-drawing" }, drawing(caseNow(job), null, [], null, "The branch to scale", { width: 680, height: 200 })),
    shown.length
      ? table(piecesCaption(), pieceHeadings(), shown)
      : null,
    pieces.length > shown.length ? el("p", { text: `and ${pieces.length - shown.length} more: see the page.` }) : null,
    trimTable(),
    blanks(),
    el("ul", { class: "sheet-cautions" }, ...CAUTIONS.map((caution) => el("li", { text: caution }))),
  );
  fill(byId("sheet-title"), job.name ? `Work sheet: ${job.name}` : "Work sheet");
  byId("sheet-date").textContent = `Warmbranch, ${new Date().toLocaleDateString()}`;
}

// Of the branch as it stands, with the chance of going too far; of one to be built, the service's.
function trimTable() {
  if (stands()) {
    const rows = cutRows().map((row) => [...row, ""]);
    return rows.length ? table("Trim steps from the branch as it stands", [...cutHeadings(), "heard"], rows) : null;
  }
  const steps = answers.length?.trim_steps ?? [];
  const unit = unitOf("length");
  const shown = steps.filter((_, k) => k % Math.ceil(steps.length / MOST_STEPS) === 0);
  const mark = (value) => plain("length", value, unit === "in" ? 2 : 1);
  const rows = shown.map((step) => [mark(step.cut_mm), mark(step.length_mm), step.quiet_rpm?.toFixed(0) ?? "", ""]);
  if (!rows.length) return null;
  return table(`Trim steps from ${say("length", answers.length.build_length_mm)}: stop when you hear it right`, [`cut, ${unit}`, `left, ${unit}`, "quiet rpm", "heard"], rows);
}

function adviceWords() {
  const cut = cutNow();
  return stands() && cut > 0 ? `: cut ${onTape(cut)} now, at most` : "";
}

const text = (value) => (typeof value === "string" ? value : "");

// Places to read at, evenly along the branch, with room to write.
function blanks() {
  const length = answers.now?.centreline_length_mm ?? NaN;
  const places = [0.08, 0.16, 0.28, 0.45, 0.7].map((share) => plain("length", share * length));
  const empty = ["", "", "", "", ""];
  return table(
    "To write down, warm: the skin on patches of matt black paint, and what you hear",
    [`from mouth, ${unitOf("length")}`, ...places, "quiet rpm"],
    [
      [`shown, ${unitOf("temperature")}`, ...empty, ""],
      ["again", ...empty, ""],
    ],
    { class: "blank" },
  );
}
