// Step 4: what to cut.

import { ask, Refused } from "./api.js";
import { chanceOf, chancesOf } from "./chances.js";
import { chart } from "./chart.js";
import { announce, byId, el, fill, write } from "./dom.js";
import { field, forget } from "./fields.js";
import { cutNow, doubt, nextStep } from "./headline.js";
import { builtLength, calibrated, caseNow, cutCase, cutOff, isMeasured, pieceLength, targetOf } from "./job.js";
import { numbers } from "./numbers.js";
import { inOwnUnits } from "./own_units.js";
import { answers } from "./questions.js";
import * as store from "./store.js";
import { converted, fieldText, leastOnTape, millimetres, onTape, plain, say, typed, unitOf } from "./units.js";

const MOST_RISK = 5; // percent that a job may end too short
const LEAST_SHIFT = 3; // rpm between ear and tone that is worth saying
const PAUSE = 60; // ms between moves of the slider and the question
const trimChart = chart("What each cut would do");
const pieceList = numbers("The pieces", { open: true });
let timer = 0;
let asked = null;

export function build() {
  byId("trim-chart").append(trimChart.figure);
  byId("cut-list").append(pieceList.node);
  entry();
  byId("slider").addEventListener("input", slide);
  byId("record-cut").addEventListener("click", record);
}

function entry() {
  forget("draft_cut_mm");
  const draft = {
    path: "draft_cut_mm",
    label: "Cut to try, or made",
    kind: "length",
    help: "Taken off at the cap, on top of all cuts recorded.",
  };
  fill(byId("cut-field"), field(draft));
}

const known = () => (answers.fit?.trim ? chancesOf(answers.fit) : []);

const draftCut = () => {
  const cut = millimetres(store.current().draft_cut_mm);
  return Number.isFinite(cut) && cut >= 0 ? cut : 0;
};

function slide() {
  const shown = converted("length", Number(byId("slider").value));
  const text = shown.toFixed(unitOf("length") === "in" ? 3 : 1);
  store.change("the cut to try", (job) => {
    job.draft_cut_mm = typed("length", text);
  }, "draft_cut_mm");
}

function record() {
  const cut = store.current().draft_cut_mm;
  if (!(draftCut() > 0)) {
    announce("Type how much was cut first.");
    return;
  }
  store.change("recording a cut", (job) => {
    job.trims.push({ cut_mm: cut, at: new Date().toISOString() });
    job.draft_cut_mm = null;
  });
  announce("Recorded. Warm it up and listen again, then add what you hear in step 3.");
}

function takeBack() {
  store.change("taking back a cut", (job) => {
    const last = job.trims.pop();
    // What was measured after that cut was measured all the same, on the build before it.
    for (const list of [job.readings, job.heard]) {
      for (const one of list) one.after_cuts = Math.min(one.after_cuts, job.trims.length);
    }
    job.draft_cut_mm = last.cut_mm;
  });
  announce("The last cut is taken back.");
}

export function show() {
  const { built } = store.current();
  byId("standing").hidden = !built;
  write(byId("bench-summary"), built ? "What to take off, and the pieces" : "The pieces and their marks");
  showAdvice();
  showRecords();
  showSlider();
  showChart();
  showPieces();
}

function showAdvice() {
  const job = store.current();
  let words = adviceNow();
  if (targetOf(job) === null) words = "Say in step 1 at which engine speed it drones.";
  else if (!isMeasured(job)) words = "Nothing was read or heard yet, so nothing is advised. Move the cap here to see what the model says of any length.";
  else if (words === "" && answers.errors.length) words = "No advice for these entries yet.";
  write(byId("cut-words"), words);
}

/** What to do next in plain words, for the step and for the sheet; "" without advice. */
export function adviceNow() {
  const { fit } = answers;
  if (!isMeasured(store.current()) || !fit) return "";
  if (doubt() !== null) return `Settle first: ${doubt().sentence} ${doubt().what_to_read} Nothing is advised before that.`;
  return fit.trim ? adviceWords(fit) : "";
}

// What to do next, and how much it will be in the end, in the tape's own marks.
function adviceWords({ trim, cutSince, time_untold: untold }) {
  const held = untold?.held_back_mm;
  const kept = held >= leastOnTape() ? ` About ${onTape(held)} are kept back until you say in step 3 how long the engine ran.` : "";
  const whole = trim.final_cut_mm - cutSince;
  const [low, high] = trim.final_cut_90_mm.map((cut) => cut - cutSince);
  const tape = (length) => onTape(length, Math.round);
  const range =
    low >= 0
      ? `90 % between ${tape(low)} and ${tape(high)}`
      : `90 % between ${tape(-low)} missing and ${high < 0 ? `${tape(-high)} missing` : `${tape(high)} to come off`}`;
  const rpm = trim.target_rpm === null ? `${trim.target_Hz.toFixed(1)}\u00a0Hz` : `${trim.target_rpm.toFixed(0)} rpm`;
  const cut = cutNow();
  if (cut > 0) {
    const chance = chanceOf(cut, chancesOf({ trim, cutSince }));
    return (
      `Cut ${onTape(cut)} now: the chance of ending too short for ${rpm} is then ${chance?.text ?? "small"}. ` +
      `Then warm it up, listen, and write in step 3 what you hear: the next cut is advised from that. In all, about ${tape(whole)} will come off, ${range}.${kept}`
    );
  }
  if (whole < 0) {
    return `For ${rpm} it is more likely too short than too long already: about ${tape(-whole)} is missing, ${range}. Leave it, and measure again.`;
  }
  const left = `About ${tape(whole)} is still to come off for ${rpm}, ${range}, and any cut now would run more than 1.5 % of ending too short.`;
  return nextStep() === "listen"
    ? `Listen before the next cut. ${left} Warm it up and write in step 3 at which engine speed it is quietest.${kept}`
    : `Leave it as it is. ${left} More readings, or listening again, may narrow that.${kept}`;
}

function showRecords() {
  const job = store.current();
  const last = job.trims.length - 1;
  const built = builtLength(job);
  const items = job.trims.map((trim, place) => {
    const length = onTape(built - cutOff(job, place + 1), Math.round);
    const when = trim.at ? new Date(trim.at).toLocaleString() : "";
    const button = el("button", { type: "button", class: "small", text: "Take back", onclick: takeBack });
    return el(
      "li",
      {},
      `${fieldText("length", trim.cut_mm)}\u00a0${unitOf("length")} off, ${length} left. ${when} `,
      place === last ? button : null,
    );
  });
  fill(byId("records"), ...items);
  byId("no-records").hidden = items.length > 0;
}

function showSlider() {
  const slider = byId("slider");
  const { cuts } = answers;
  byId("trim").hidden = !cuts?.rows.length;
  if (!cuts?.rows.length || !answers.now) return;
  const cut = draftCut();
  slider.max = Math.max(cuts.most, cut).toFixed(1);
  slider.step = unitOf("length") === "in" ? 25.4 / 16 : 1;
  if (Math.abs(Number(slider.value) - cut) > 0.51) slider.value = cut;
  const length = answers.now.centreline_length_mm - cut;
  const chance = chanceOf(cut, known());
  write(byId("slider-cut"), `${onTape(cut, Math.round)} off, ${onTape(length, Math.round)} left`);
  write(byId("slider-chance"), chance ? `chance of having gone too far: ${chance.text}` : "");
  byId("slider-chance").className = !chance || chance.value <= MOST_RISK ? "fine" : chance.value < 50 ? "risky" : "bad";
  clearTimeout(timer);
  if (!store.current().built || answers.errors.length > 0) return; // what is refused is told beside its field
  timer = setTimeout(() => askSlider(cut, chance), PAUSE);
}

async function askSlider(cut, chance) {
  asked?.abort();
  asked = new AbortController();
  const { fit } = answers;
  if (!fit) return;
  const given = calibrated(cutCase(caseNow(store.current()), cut), fit.calibration);
  try {
    const answer = await ask("steady", { case: given }, asked.signal);
    const levels = answer.prediction?.quiet_rpm;
    const text = levels
      ? `${levels.median.toFixed(0)} rpm, 90 % between ${levels.interval_90.map((x) => x.toFixed(0)).join(" and ")}`
      : inOwnUnits(answer.summary);
    write(byId("slider-rpm"), text);
    byId("slider").setAttribute("aria-valuetext", `${say("length", cut)} off: ${text}; ${chance?.text ?? ""}`);
  } catch (error) {
    if (error instanceof Refused) write(byId("slider-rpm"), "No answer for that cut.");
    else if (error.name !== "AbortError") throw error;
  }
}

/** The table of cuts, for the chart in numbers, for the work sheet in a tape's marks. */
export function cutRows(marks = false) {
  const shown = (value, places) => (marks ? mark(value) : plain("length", value, unitOf("length") === "in" ? places : 0));
  return (answers.cuts?.rows ?? []).map((row) => [
    shown(row.cut, 3),
    shown(row.length, 2),
    row.median.toFixed(0),
    `${row.interval_90.map((x) => x.toFixed(0)).join(" to ")}`,
    chanceOf(row.cut, known())?.text ?? "",
  ]);
}

export const cutHeadings = (marks = false) => [
  marks ? "cut" : `cut, ${unitOf("length")}`,
  marks ? "left" : `left, ${unitOf("length")}`,
  "quiet rpm",
  "90 %",
  "too far",
];

function showChart() {
  const { cuts } = answers;
  if (!cuts?.rows.length) return;
  const job = store.current();
  const x = cuts.rows.map((row) => converted("length", row.cut));
  const side = (name, end) => cuts.rows.map((row) => row[name][end]);
  const unit = unitOf("length");
  const shift = earShift(cuts.rows);
  const target = answers.fit?.trim?.target_rpm ?? null;
  const ends = [x[0], x.at(-1)];
  const lines = [{ name: "quiet rpm", style: "line ink", x, y: cuts.rows.map((row) => row.median) }];
  if (target !== null) lines.push({ name: shift ? "wanted, by ear" : "wanted", style: "line target", x: ends, y: [target + shift, target + shift] });
  const draft = draftCut();
  const [first, last] = [cuts.rows[0], cuts.rows.at(-1)];
  trimChart.draw({
    title: "What each cut would do",
    words:
      `With ${onTape(last.cut, Math.round)} off it would be quiet at ${last.median.toFixed(0)} rpm: ${((last.median - first.median) / converted("length", last.cut || 1)).toFixed(unit === "in" ? 0 : 1)} rpm ` +
      `for each ${unit === "in" ? "inch" : "mm"}.` +
      (shift ? ` By ear it is quietest about ${Math.abs(shift).toFixed(0)} rpm ${shift > 0 ? "below" : "above"} the branch's own tone, as you heard it; the advice and the dashed line count that in.` : ""),
    x: { title: `${unit} off at the cap`, say: (v) => `${v.toFixed(unit === "in" ? 2 : 0)} ${unit}` },
    y: { title: "quiet rpm", say: (v) => `${v.toFixed(0)} rpm` },
    lines,
    bands: [
      { name: "90 % band", style: "band wide", x, low: side("interval_90", 0), high: side("interval_90", 1) },
      { name: "50 % band", style: "band narrow", x, low: side("interval_50", 0), high: side("interval_50", 1) },
    ],
    marks: draft > 0 && draft <= last.cut ? [{ name: "the cut to try", style: "line cutline", x: converted("length", draft) }] : [],
    table: { headings: cutHeadings(), rows: cutRows() },
    file: "cuts",
  });
}

// The advice is for the speed at which the same ear will find it quietest; the curve is the branch's
// own tone. What lies between them is what the curve says at the final cut.
function earShift(rows) {
  const { fit } = answers;
  if (!fit?.trim || fit.trim.target_rpm === null || !fit.heard.some((one) => !one.suspect)) return 0;
  const cut = fit.trim.final_cut_mm - fit.cutSince;
  const k = rows.findIndex((row) => row.cut >= cut);
  if (k < 1) return 0;
  const [a, b] = [rows[k - 1], rows[k]];
  const own = a.median + ((cut - a.cut) / (b.cut - a.cut)) * (b.median - a.median);
  const shift = own - fit.trim.target_rpm;
  return Math.abs(shift) < LEAST_SHIFT ? 0 : shift;
}

/** The pieces with their marks, as rows of text: to be built, or as they stand with the next cut. */
export function pieceRows() {
  return stands() ? standingRows() : (answers.length?.cut_list ?? []).map(toBuild);
}

/** Whether the branch exists. */
export const stands = () => store.current().built;

// Marks as a tape shows them: sixteenths or millimetres.
const mark = (value) => onTape(value, Math.round);
const bendWords = (degrees, radius) => `${degrees}° on a radius of ${onTape(radius, Math.round)}`;

function toBuild(piece) {
  let what = piece.piece === 1 ? "cope to the main pipe" : "";
  if (piece.takes_the_length) what = piece.piece === 1 ? "cope to the main pipe; ends at the cap, is trimmed" : "ends at the cap, is trimmed";
  if (piece.kind === "bend") what = bendWords(piece.bend_deg, piece.bend_radius_mm);
  // The end is that of the headline, which a tape shows no shorter than it is to be.
  const end = piece.takes_the_length ? (value) => onTape(value, Math.ceil) : mark;
  return [`${piece.piece} ${piece.kind}`, mark(piece.from_mm), end(piece.to_mm), end(piece.tube_mm), what];
}

function standingRows() {
  if (!(builtLength(store.current()) > 0)) return [];
  const { branch } = caseNow(store.current());
  const pieces = branch.centreline ?? [{ straight_mm: branch.length_mm }];
  const cut = cutNow();
  let to = 0;
  return pieces.map((piece, place) => {
    const from = to;
    to += pieceLength(piece);
    const bend = !("straight_mm" in piece);
    const what = bend ? bendWords(piece.bend_deg, millimetres(piece.bend_radius_mm)) : "";
    const last = place === pieces.length - 1;
    const saw = last && cut > 0 ? `saw mark at ${mark(to - cut)}, ${onTape(cut)} off` : "";
    return [`${place + 1} ${bend ? "bend" : "straight"}`, mark(from), mark(to), mark(to - from), [what, saw].filter(Boolean).join("; ")];
  });
}

/** Of a piece to be made, the tube to cut, its cope with it; of one that stands, how long it is. */
export const pieceHeadings = () => ["piece", "from", "to, mark", stands() ? "length" : "tube to cut", "what to do"];

/** What the table of pieces is of. */
export function piecesCaption() {
  if (stands()) {
    const side = cutNow() > 0 ? "; saw on the cap's side of the mark" : "";
    return `Pieces as they stand, marks along the centre-line from the main pipe's inner wall${side}`;
  }
  return `Pieces for a branch of ${onTape(answers.length.build_length_mm, Math.ceil)}, marks along the centre-line from the main pipe's inner wall`;
}

function showPieces() {
  const rows = pieceRows();
  byId("pieces-to-cut").hidden = rows.length === 0;
  if (!rows.length) return;
  pieceList.show({ caption: piecesCaption(), headings: pieceHeadings(), rows, file: "pieces" });
}
