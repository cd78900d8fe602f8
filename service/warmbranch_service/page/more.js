// What can be asked besides: where on the pipe, room for it, two branches, other tubes.

import { chart } from "./chart.js";
import { byId, el, fill, table, write } from "./dom.js";
import { field, touch } from "./fields.js";
import { inOwnUnits } from "./own_units.js";
import { placeSentence } from "./place_words.js";
import { answers } from "./questions.js";
import * as store from "./store.js";
import { converted, onTape, plain, say, unitOf } from "./units.js";

const placeChart = chart("Where on the pipe it works");

const PLACE = [
  { path: "place.pipe_length_mm", label: "Pipe up to its open end", kind: "length", help: "From the open end back to the silencer or the engine." },
  { path: "place.position_mm", label: "The branch, from the open end", kind: "length", hint: "where it is best", help: "Where you want to put it." },
  { path: "place.free_from_mm", label: "Free from", kind: "length", hint: "0", help: "Stretch in which it may stand, from the open end." },
  { path: "place.free_to_mm", label: "Free to", kind: "length", hint: "all of it", help: "End of that stretch." },
];
const SPACE = [
  { path: "space_mm.0", label: "Along the main pipe", kind: "length", help: "Room there is." },
  { path: "space_mm.1", label: "Away from it", kind: "length", help: "Square to the pipe, level." },
  { path: "space_mm.2", label: "Upward", kind: "length", help: "Height of the room." },
];
const TWO = [
  {
    path: "two_branches.arrangement",
    label: "Two in place of one",
    kind: "choice",
    choices: [["", "no, one"], ["same pipe", "both on this pipe"], ["one on each of two pipes", "one on each of two pipes"]],
    help: "Two cover a wider range of engine speeds.",
  },
  { path: "two_branches.spacing_mm", label: "Between their mouths", kind: "length", hint: () => say("length", 300), help: "Along the pipe." },
];

export function build() {
  const grid = (fields) => el("div", { class: "fields" }, ...fields.map(field));
  fill(byId("place-fields"), grid(PLACE));
  fill(byId("space-fields"), grid(SPACE));
  fill(byId("two-fields"), grid(TWO));
  byId("place-chart").append(placeChart.figure);
  byId("ask-tubes").addEventListener("click", () => {
    store.change("comparing tubes", (job) => (job.ask_tubes = true));
  });
}

export function show() {
  const { more } = answers;
  showPlace(more?.place ?? null);
  showSpace(more);
  write(byId("two-words"), twoWords(more?.two_branches));
  const tubes = more?.diameters ?? [];
  fill(byId("tubes"), tubes.length ? tubeTable(tubes) : null);
}

function showPlace(place) {
  placeChart.figure.hidden = !place;
  if (!place) {
    write(byId("place-words"), "How much is heard depends on where on the pipe it stands: near a quiet spot of the standing wave a branch does nothing.");
    return;
  }
  const near = place.near_node ? " That is near a quiet spot of the standing wave, where a branch does nothing." : "";
  write(byId("place-words"), placeSentence() + near);
  const unit = unitOf("length");
  const x = place.position_mm.map((at) => converted("length", at));
  const marks = [];
  if (place.here) marks.push({ name: "here", style: "line ink dashed", x: converted("length", place.here.position_mm) });
  if (place.better[0]) marks.push({ name: "best", style: "line target", x: converted("length", place.better[0].place.position_mm) });
  placeChart.draw({
    title: "Where on the pipe it works",
    words: "Level taken off the drone at the open end, by where the branch stands; below zero it gets louder.",
    x: { title: `${unit} from the open end`, say: (v) => `${v.toFixed(unit === "in" ? 1 : 0)} ${unit}` },
    y: { title: "insertion loss, dB", say: (v) => `${v.toFixed(1)} dB` },
    lines: [{ name: "over the drone", style: "line hot", x, y: place.band_insertion_loss_dB }],
    marks,
    table: {
      headings: [`from the open end, ${unit}`, "dB"],
      rows: place.position_mm.map((at, k) => [plain("length", at, 1), place.band_insertion_loss_dB[k].toFixed(2)]),
    },
    file: "place",
  });
}

function showSpace(more) {
  const asked = more && more.outline.fits !== null;
  write(
    byId("space-words"),
    !asked
      ? ""
      : more.outline.fits
        ? "It fits as it is bent."
        : more.folds.length
          ? "It does not fit as it is bent. It would, folded like this:"
          : "It does not fit, and no folding that was tried does.",
  );
  // A branch that stands has its shape and its tube: to take others would tell of one that is not there.
  const { built } = store.current();
  const items = (asked ? more.folds : []).map((fold) =>
    el(
      "li",
      {},
      `${inOwnUnits(fold.description)} ${built ? "A new one" : "Built"} ${onTape(fold.build_length_mm, Math.ceil)} long. `,
      built ? null : el("button", { type: "button", class: "small", text: "Take this shape", onclick: () => take(fold) }),
    ),
  );
  fill(byId("folds"), ...items);
}

function take(fold) {
  store.change("taking another shape", (job) => {
    delete job.case.branch.length_mm;
    job.case.branch.centreline = structuredClone(fold.centreline);
    touch(job, "case.branch.centreline");
  });
}

function twoWords(pair) {
  if (!pair) return "";
  const [a, b] = pair.staggered.length_mm;
  return (
    `${inOwnUnits(pair.advice)} Over the range, one branch holds back at least ${pair.one_branch_least_loss_dB.toFixed(0)} dB, two of one length ` +
    `${pair.same_length.least_loss_dB.toFixed(0)}, and of ${onTape(a, Math.round)} and ${onTape(b, Math.round)} ${pair.staggered.least_loss_dB.toFixed(0)}.`
  );
}

function tubeTable(tubes) {
  const { built } = store.current();
  const rows = tubes.map((tube) => [
    tube.name,
    tube.centreline_length_mm === null ? "–" : onTape(tube.centreline_length_mm, Math.round),
    tube.peak_90_dB === null ? "–" : `${tube.peak_90_dB.map((v) => v.toFixed(0)).join(" to ")} dB`,
    `${tube.tube_mass_kg.toFixed(1)} kg`,
    built || tube.name.startsWith("as given") ? "" : el("button", { type: "button", class: "small", text: "Take", onclick: () => takeTube(tube) }),
  ]);
  return el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Stock tubes" }, table("Right lengths of stock tubes", ["tube", "right length", "holds back at its best", "mass", "choose"], rows));
}

function takeTube(tube) {
  store.change("taking another tube", (job) => {
    job.case.branch.outside_diameter_mm = tube.outside_diameter_mm;
    touch(job, "case.branch.outside_diameter_mm");
  });
}
