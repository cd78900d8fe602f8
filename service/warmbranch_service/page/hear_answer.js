// What was heard in the recordings: in words, as loudness against engine speed, as pictures.

import { chart } from "./chart.js";
import { byId, el, fill, write } from "./dom.js";
import { nameOf } from "./fields.js";
import * as store from "./store.js";
import { waterfall } from "./waterfall.js";
import { named } from "./words.js";

const loudness = chart("Loudness against engine speed");
const change = chart("What the branch changed");
const FIRST = new Set(["rival_speed", "little_heard", "clipped", "moved_recorder", "after_only", "drone_at_edge", "drone_has_a_rival"]);
let pictures = [];
let built = false;

const pair = ([low, high]) => `${low.toFixed(0)} and ${high.toFixed(0)} rpm`;

// The model's own number beside it: far apart, one of the two is wrong.
function modelWords({ predicted_Hz: hertz, resonance_Hz: tone, quiet_rpm: rpm }) {
  return hertz ? ` The model alone says ${((hertz / tone.median) * rpm.median).toFixed(0)} rpm.` : "";
}

/** In a sentence or two. */
export function heardSummary({ outcome, drone, notch }) {
  if (outcome === "engine not heard") {
    return "No engine is heard for sure between those speeds. Check them and the number of cylinders, and record nearer to the exhaust, without speaking.";
  }
  const parts = [];
  if (drone) parts.push(`It is loudest at ${drone.rpm.toFixed(0)} rpm, 90 % between ${pair(drone.interval_90)}${drone.at_edge ? "; that is the end of the recording, and it may be louder beyond" : ""}.`);
  if (outcome === "notch heard" && notch?.quiet_rpm) {
    parts.push(`The branch bites at ${notch.quiet_rpm.median.toFixed(0)} rpm, 90 % between ${pair(notch.quiet_rpm.interval_90)}, a tone of ${notch.resonance_Hz.median.toFixed(1)} Hz.${modelWords(notch)}`);
  } else if (outcome === "no notch heard") {
    parts.push("No quiet place of a branch is heard: it may lie outside of the speeds recorded, or be lost in noise.");
  }
  return parts.join(" ") || "The engine is heard, too little of it for a curve.";
}

/** Show it all; flat: [{side, one}] as they were sent. */
export function showHeard({ answer, flat, useDrone, useQuiet, again }) {
  if (!built) byId("hear-charts").append(loudness.figure, change.figure);
  built = true;
  write(byId("hear-words"), heardSummary(answer));
  const { drone, notch, heard } = answer;
  fill(
    byId("hear-use"),
    drone ? el("button", { type: "button", class: "strong", id: "use-drone", text: `Quieten ${drone.rpm.toFixed(0)} rpm`, onclick: useDrone }) : null,
    heard.length ? el("button", { type: "button", class: "strong", id: "use-quiet", text: `Heard: quietest at ${heard[0].quiet_rpm.toFixed(0)} rpm`, onclick: useQuiet }) : null,
  );
  showLoudness(answer, drone, notch);
  showChange(answer);
  showPictures(answer, flat, again);
  showNotes(answer);
}

function showLoudness({ loudness: curves }, drone, notch) {
  loudness.figure.hidden = curves.every((curve) => curve.rpm.length < 2);
  if (loudness.figure.hidden) return;
  const style = { before: "line hot", after: "line cool" };
  const marks = drone ? [{ name: "loudest", style: "line cutline", x: drone.rpm }] : [];
  const spans = notch?.quiet_rpm ? [{ name: "where the branch bites, 90 %", from: notch.quiet_rpm.interval_90[0], to: notch.quiet_rpm.interval_90[1] }] : [];
  loudness.draw({
    title: "Loudness against engine speed",
    words: `A-weighted, of the engine's orders together; the zero is the recording's own, so levels compare within it and with the other one.${curves.length > 1 ? "" : " One side only."}`,
    x: { title: "rpm", say: (v) => `${v.toFixed(0)} rpm` },
    y: { title: "dB(A)", say: (v) => `${v.toFixed(1)} dB(A)` },
    lines: curves.map(({ side, rpm, level_dBA: level }) => ({ name: side, style: style[side], x: rpm, y: level })),
    marks,
    spans,
    table: { headings: ["side", "rpm", "dB", "dB(A)"], rows: curves.flatMap((curve) => curve.rpm.map((rpm, k) => [curve.side, rpm.toFixed(0), curve.level_dB[k].toFixed(1), curve.level_dBA[k].toFixed(1)])) },
    file: "loudness",
  });
}

function showChange({ change: found }) {
  change.figure.hidden = !found || found.rpm.length < 2;
  if (change.figure.hidden) return;
  const [least, most] = [found.change_dBA.indexOf(Math.min(...found.change_dBA)), found.change_dBA.indexOf(Math.max(...found.change_dBA))];
  const dB = (k) => Math.abs(found.change_dBA[k]).toFixed(1);
  change.draw({
    title: "What the branch changed",
    words:
      `At ${found.rpm[least].toFixed(0)} rpm it is ${dB(least)} dB ${found.change_dBA[least] < 0 ? "quieter" : "louder"} than before` +
      (found.change_dBA[most] > 0.5 ? `, at ${found.rpm[most].toFixed(0)} rpm ${dB(most)} dB louder.` : ", and nowhere much louder."),
    x: { title: "rpm", say: (v) => `${v.toFixed(0)} rpm` },
    y: { title: "after less before, dB(A)", least: 0, say: (v) => `${v.toFixed(1)} dB` },
    lines: [{ name: "after less before", style: "line ink", x: found.rpm, y: found.change_dBA }],
    table: { headings: ["rpm", "dB", "dB(A)"], rows: found.rpm.map((rpm, k) => [rpm.toFixed(0), found.change_dB[k].toFixed(1), found.change_dBA[k].toFixed(1)]) },
    file: "change",
  });
}

function showPictures(answer, flat, again) {
  if (pictures.length !== flat.length || pictures.some(({ one }, k) => one !== flat[k].one)) {
    pictures = flat.map(({ side, one }) => ({ one, ...picture(side, one, again) }));
    fill(byId("hear-pictures"), ...pictures.map(({ node }) => node));
  }
  const highest = Number(store.at("hear.highest_rpm")) || 6000;
  pictures.forEach(({ one, refresh }, k) => refresh(answer.recordings[k], answer.engine_order, highest, one));
}

// One recording with its correction: taps and drags are kept with it and asked again.
function picture(side, one, again) {
  const falls = waterfall(`The recording ${side} as a picture: time across, pitch upward, the engine's speed as a line`, {
    tapped: (time, rpm) => {
      one.anchors = [...one.anchors, { time_s: round(time, 2), rpm: round(rpm, 0) }];
      widen([rpm]);
      again();
    },
    dragged: (from, to) => {
      one.left = [...one.left, { from, to }];
      again();
    },
  });
  const words = el("p", { class: "words" });
  const button = (text, act) => el("button", { type: "button", class: "small", text, onclick: () => (act(), again()) });
  const scale = (factor) => () => {
    const sure = told.track.time_s.map((time_s, k) => ({ time_s, rpm: told.track.rpm[k] })).filter(({ rpm }) => rpm !== null);
    const every = Math.max(1, Math.floor(sure.length / 5));
    one.anchors = sure.filter((_, k) => k % every === 0).slice(0, 5).map(({ time_s, rpm }) => ({ time_s: round(time_s, 2), rpm: round(rpm * factor, 0) }));
    widen(one.anchors.map(({ rpm }) => rpm));
  };
  const back = button("As first heard", () => ([one.anchors, one.left] = [[], []]));
  const row = el("p", { class: "row" }, button("It is half of that", scale(0.5)), button("It is double", scale(2)), back);
  let told = null;
  const node = el(
    "figure",
    { class: "chart" },
    el("figcaption", {}, el("h4", { text: `${side}: ${one.name}` }), words),
    falls.node,
    el("p", { class: "help", text: "The bright line is the engine's main order, the faint ones others that are heard. Is the bright one not where the engine is? Tap where it is. Drag along it to leave a stretch out, such as a gear change or somebody speaking. By keyboard: arrows move a cross, Enter says that the engine is there, Space begins and ends a stretch." }),
    row,
  );
  const refresh = (recording, order, highest) => {
    told = recording;
    back.hidden = one.anchors.length + one.left.length === 0;
    write(words, pictureWords(recording, one));
    falls.show({ samples: one.samples, seconds: one.seconds, track: recording.track, order, others: loudest(recording.orders, order), highest, anchors: one.anchors, left: one.left });
  };
  return { node, refresh };
}

// Orders that are drawn beside the engine's main one: where they lie on lines of the picture, the
// speed is right; where every other one lies on none, it is half or double.
const MOST_OTHERS = 5;
function loudest(orders, main) {
  const middle = ({ level_dB: levels }) => [...levels].sort((a, b) => a - b)[levels.length >> 1];
  return orders
    .filter(({ order }) => order !== main)
    .sort((a, b) => middle(b) - middle(a))
    .slice(0, MOST_OTHERS)
    .map(({ order }) => order);
}

function pictureWords({ track, sure_share: sure, rivals }, { left }) {
  const known = track.rpm.filter((rpm) => rpm !== null);
  if (known.length === 0) return "The engine's speed is not sure anywhere in it.";
  const rival = rivals[0];
  const doubt = rival && rival.log10_odds < 8 ? ` ${rival.ratio === 0.5 ? "Half" : rival.ratio === 2 ? "Double" : `${rival.ratio} times`} that speed explains it nearly as well.` : "";
  const gone = left.length ? ` ${left.length === 1 ? "One stretch is" : `${left.length} stretches are`} left out.` : "";
  return `Engine speed from ${Math.min(...known).toFixed(0)} to ${Math.max(...known).toFixed(0)} rpm, sure in ${(sure * 100).toFixed(0)} % of the time.${doubt}${gone}`;
}

// A speed that was corrected lies within what is said of the recording.
function widen(speeds) {
  const { lowest_rpm: low, highest_rpm: high } = store.current().hear;
  const [least, most] = [Math.min(...speeds) * 0.95, Math.max(...speeds) * 1.05];
  if (least >= Number(low) && most <= Number(high)) return;
  store.change("the speeds in a recording", (job) => {
    job.hear.lowest_rpm = round(Math.min(Number(low), Math.max(50, least)), 0);
    job.hear.highest_rpm = round(Math.max(Number(high), Math.min(30000, most)), 0);
  });
}

const round = (value, places) => Number(value.toFixed(places));

function showNotes({ cautions, assumptions, cabin_resonances_Hz: cabin }) {
  const item = (text) => el("li", { text: named(text, (path) => nameOf(`hear.${path}`)) });
  const first = cautions.filter(({ code }) => FIRST.has(code));
  const rest = cautions.filter(({ code }) => !FIRST.has(code));
  fill(byId("hear-notes"), ...first.map(({ message }) => item(message)));
  const own = cabin.length ? [`Loud with and without the branch, so the cabin's own: ${cabin.map((hertz) => `${hertz.toFixed(0)} Hz`).join(", ")}.`] : [];
  fill(byId("hear-more-notes"), ...[...own, ...rest.map(({ message }) => message), ...assumptions].map(item));
}
