// The work sheet: one page for the bench, in black and white.

import { byId, el, fill, table } from "./dom.js";
import { drawing } from "./drawing.js";
import { builtLength, caseNow, cutOff } from "./job.js";
import { answers } from "./questions.js";
import { headline } from "./step_answer.js";
import { cutHeadings, cutRows, pieceHeadings, pieceRows } from "./step_cut.js";
import * as store from "./store.js";
import { celsius, millimetres, plain, say, unitOf } from "./units.js";

const MOST_PIECES = 9;
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
  const size = (part) =>
    `${say("length", millimetres(part.outside_diameter_mm), 1)} × ${say("length", millimetres(part.wall_thickness_mm), unitOf("length") === "in" ? 3 : 1)}`;
  const facts = [
    ["Branch", `${size(branch)}, ${text(branch.material) || "stainless 304"}, ${say("length", length)} along the centre-line`],
    ["Main pipe", `${size(pipe)}, gas ${say("temperature", celsius(pipe.gas_temperature_degC))}`],
    ["Quiet now", head ? `${head.value} ${head.unit}${head.band ? `, ${head.band}` : ""}` : "–"],
    ["Wanted", job.target_rpm == null ? "–" : `${job.target_rpm} rpm`],
  ];
  const pieces = pieceRows();
  const shown = pieces.slice(0, MOST_PIECES);
  const cuts = cutRows();
  fill(
    byId("sheet-body"),
    el("dl", { class: "facts" }, ...facts.flatMap(([name, value]) => [el("dt", { text: name }), el("dd", { text: value })])),
    el("div", { class: "sheet-drawing" }, drawing(caseNow(job), null, [], null, "The branch to scale", { width: 680, height: 130 })),
    shown.length
      ? table(`Pieces, built ${say("length", answers.length.build_length_mm)} long; marks from the main pipe's inner wall`, pieceHeadings(), shown)
      : null,
    pieces.length > shown.length ? el("p", { text: `and ${pieces.length - shown.length} more: see the page.` }) : null,
    cuts.length ? table("Trim steps from the branch as it is now", [...cutHeadings(), "heard"], cuts.map((row) => [...row, ""])) : null,
    blanks(),
    el("ul", { class: "sheet-cautions" }, ...CAUTIONS.map((caution) => el("li", { text: caution }))),
  );
  fill(byId("sheet-title"), job.name ? `Work sheet: ${job.name}` : "Work sheet");
  byId("sheet-date").textContent = `Warmbranch, ${new Date().toLocaleDateString()}`;
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
