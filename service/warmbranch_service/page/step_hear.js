// "Hear it": recordings before and after, what is heard in them, and how it flows into the job.

import { Refused, send } from "./api.js";
import { announce, byId, el, fill, write } from "./dom.js";
import { choiceOf, field, nameOf } from "./fields.js";
import { heardSummary, showHeard } from "./hear_answer.js";
import { caseNow, lacking } from "./job.js";
import { decoded, mayRecord, record, Unheard, wavOf, without } from "./recording.js";
import * as store from "./store.js";
import { inOwnWords } from "./words.js";

const SIDES = ["before", "after"];
const MOST = 4; // recordings of one side
const RANGE = [
  { path: "hear.lowest_rpm", label: "Lowest engine speed in it", kind: "rpm", hint: "1200", help: "Roughly, as the rev counter or your ear says." },
  { path: "hear.highest_rpm", label: "Highest", kind: "rpm", hint: "4500", help: "Roughly. Without both, another order may pass for the engine’s." },
];
const PILOT = { path: "hear.pilot_tone_Hz", label: "Pilot tone", kind: "hertz", hint: "none", help: "A steady 3000 Hz tone of a second phone beside the first takes off what automatic gain does." };

let recordings = { before: [], after: [] };
let answer = null;
let ofJob = null;
let recording = null;
let place = null;

export function build() {
  fill(byId("hear-fields"), el("div", { class: "fields" }, ...RANGE.map(field)));
  fill(byId("hear-pilot"), el("div", { class: "fields" }, field(PILOT)));
  place = choiceOf({
    name: "same-place",
    label: "Did the phone lie in one place both times?",
    choices: [["yes", "yes, not touched"], ["no", "no"], ["", "not sure"]],
    chosen: () => ({ true: "yes", false: "no" })[store.at("hear.same_place")] ?? "",
    choose: (value) => store.change("where the phone lay", (job) => store.put(job, "hear.same_place", value === "" ? null : value === "yes")),
  });
  fill(byId("hear-place"), place.node);
  for (const side of SIDES) {
    byId(`hear-${side}-choose`).addEventListener("click", () => byId(`hear-${side}-file`).click());
    byId(`hear-${side}-file`).addEventListener("change", (event) => takeFiles(side, event.target));
    byId(`hear-${side}-capture`).addEventListener("change", (event) => takeFiles(side, event.target));
    byId(`hear-${side}-record`).addEventListener("click", () => press(side));
  }
  byId("hear-listen").addEventListener("click", listen);
  byId("hear-from-step-1").addEventListener("click", () => {
    byId("hear").open = true;
    byId("hear").scrollIntoView();
  });
  list();
}

async function takeFiles(side, input) {
  const files = [...input.files];
  input.value = "";
  for (const file of files) await take(side, file, file.name);
}

async function take(side, file, name) {
  say("Reading the recording …");
  try {
    if (recordings[side].length >= MOST) throw new Unheard(`${MOST} recordings of one side are the most. Remove one first.`);
    recordings[side].push({ ...(await decoded(file, name)), anchors: [], left: [] });
    answer = null;
    say("");
  } catch (error) {
    if (!(error instanceof Unheard)) throw error;
    say(error.message);
  }
  list();
  show();
}

// Where the page came over a secure way it records itself; elsewhere the phone's recorder does.
async function press(side) {
  if (!mayRecord()) {
    byId(`hear-${side}-capture`).click();
    return;
  }
  if (recording) {
    recording.stop();
    return;
  }
  try {
    recording = await record();
  } catch (error) {
    if (!(error instanceof Unheard)) throw error;
    say(error.message);
    return;
  }
  const began = performance.now();
  const button = byId(`hear-${side}-record`);
  const tick = setInterval(() => write(button, `Stop (${((performance.now() - began) / 1000).toFixed(0)} s)`), 500);
  write(button, "Stop");
  const sound = await recording.done;
  clearInterval(tick);
  write(button, "Record");
  recording = null;
  await take(side, sound, `recorded ${new Date().toLocaleTimeString()}`);
}

function list() {
  for (const side of SIDES) {
    fill(
      byId(`hear-${side}-list`),
      ...recordings[side].map((one, k) =>
        el("li", {}, `${one.name}, ${one.seconds.toFixed(0)} s `, el("button", { type: "button", class: "small", "aria-label": `Remove ${one.name}`, text: "Remove", onclick: () => removeOne(side, k) })),
      ),
    );
  }
  const any = SIDES.some((side) => recordings[side].length > 0);
  byId("hear-listen").disabled = !any;
  byId("hear-both").hidden = !SIDES.every((side) => recordings[side].length > 0);
}

function removeOne(side, k) {
  recordings[side].splice(k, 1);
  answer = null;
  list();
  show();
  byId(`hear-${side}-choose`).focus();
}

const say = (text) => write(byId("hear-said"), text);

/** What is asked, or a sentence on what it lacks. */
function asked() {
  const job = store.current();
  const given = job.hear ?? {};
  if (job.case.engine?.cylinders == null) return "Say in step 1 how many cylinders fire into this pipe: their orders are listened for.";
  if (given.lowest_rpm == null || given.highest_rpm == null) return "Say which engine speeds are in the recording, lowest and highest, roughly.";
  const body = { lowest_rpm: given.lowest_rpm, highest_rpm: given.highest_rpm };
  if (given.pilot_tone_Hz != null) body.pilot_tone_Hz = given.pilot_tone_Hz;
  if (SIDES.every((side) => recordings[side].length > 0) && given.same_place != null) body.same_place = given.same_place;
  const anchors = SIDES.flatMap((side) => recordings[side].flatMap((one) => one.anchors.map((anchor) => ({ ...anchor, recording: side }))));
  if (anchors.length) body.rpm_at = anchors;
  // The case for comparison alone: what is heard goes into the fit, where the model's own opinion
  // counts already and must not count twice.
  if (job.built && recordings.after.length && lacking(job).length === 0) Object.assign(body, { case: caseNow(job), prior: "none" });
  else body.engine = job.case.engine;
  return body;
}

async function listen() {
  const body = asked();
  if (typeof body === "string") {
    say(body);
    return;
  }
  const form = new FormData();
  form.append("request", new Blob([JSON.stringify(body)], { type: "application/json" }));
  for (const side of SIDES) {
    recordings[side].forEach((one, k) => form.append(side, wavOf(without(one.samples, one.left)), `${side}-${k + 1}.wav`));
  }
  byId("hear-listen").disabled = true;
  say("Listening …");
  try {
    answer = await send("listen", form);
    ofJob = store.openId();
    say("");
    announce(heardSummary(answer));
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    answer = null;
    say(refusalWords(error.problem));
  }
  byId("hear-listen").disabled = false;
  show();
}

function refusalWords(problem) {
  if (!problem.errors?.length) return `${problem.title} ${problem.detail}`;
  const paths = { lowest_rpm: "hear.lowest_rpm", highest_rpm: "hear.highest_rpm", pilot_tone_Hz: "hear.pilot_tone_Hz" };
  return problem.errors
    .map((error) => inOwnWords({ ...error, text: `${error.detail} ${error.remedy}` }, undefined, (path) => nameOf(paths[path] ?? path)))
    .join(" ");
}

/** Show the section; another job has recordings of its own. */
export function show() {
  if (ofJob !== null && ofJob !== store.openId()) {
    recordings = { before: [], after: [] };
    [answer, ofJob] = [null, null];
    list();
  }
  place.show();
  byId("hear-answer").hidden = answer === null;
  if (answer === null) return;
  const flat = SIDES.flatMap((side) => recordings[side].map((one) => ({ side, one })));
  showHeard({ answer, flat, useDrone, useQuiet, again: listen });
}

function useDrone() {
  store.change("taking the drone from a recording", (job) => {
    job.target_kind = "rpm";
    job.target_rpm = Math.round(answer.drone.rpm);
    job.loudness = answer.loudness_target.map(({ rpm, level_dB }) => `${rpm} ${level_dB}`).join("\n");
    job.invented = (job.invented ?? []).filter((path) => path !== "target_rpm");
  });
  announce(`${answer.drone.rpm.toFixed(0)} rpm is now what is to fall quiet, and its loudness curve stands beside it in step 1.`);
}

function useQuiet() {
  store.change("taking the quiet rpm from a recording", (job) => {
    job.built = true;
    for (const { quiet_rpm, uncertainty_rpm } of answer.heard) job.heard.push({ quiet_rpm, uncertainty_rpm, after_cuts: job.trims.length });
  });
  byId("measured").open = true;
  announce("Written down in step 3 as heard.");
}
