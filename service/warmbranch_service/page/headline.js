// The one number that a job is about, everywhere the same: on the plate, in the bar, on the sheet.

import { byId, write } from "./dom.js";
import { nameOf } from "./fields.js";
import { aimedRpm, isMeasured, leftOver, targetKind } from "./job.js";
import { inOwnUnits } from "./own_units.js";
import { ownPlaceSentence } from "./place_words.js";
import { answers } from "./questions.js";
import * as store from "./store.js";
import { leastOnTape, onTape, say, tapeLength } from "./units.js";
import { named } from "./words.js";

const job = () => store.current();

/** What the fit advises to take off now, in mm, as a tape shows it; 0 without advice, or where it shows nothing. */
export function cutNow() {
  const { fit } = answers;
  if (!isMeasured(store.current()) || !fit?.trim || doubt() !== null) return 0;
  const advised = fit.trim.cut_now_mm - fit.cutSince;
  return advised >= leastOnTape() ? tapeLength(advised, Math.floor) : 0;
}

/** What the advice asks for, as the service's next_step; a cut since then wants to be heard first. */
export function nextStep() {
  const job = store.current();
  if (cutNow() > 0) return "cut, then listen";
  const { fit } = answers;
  const listened = job.heard.some((heard) => heard.quiet_rpm != null && heard.after_cuts === job.trims.length);
  if (fit.cutSince > 0 && !listened && fit.trim.final_cut_mm > fit.cutSince) return "listen";
  return fit.trim.next_step === "listen" ? "listen" : "leave it";
}

/** The slip that explains the readings better than they do as written, or null. */
export const doubt = () => (answers.fit?.rivals ?? []).find((rival) => rival.odds >= 1) ?? null;

/** The quiet rpm that all parts of the page tell: {rpm, band, answer}; rpm null without one. */
export function quietAt() {
  const { now, warm, fit } = answers;
  if (!now) return null;
  const measured = isMeasured(store.current()) && fit && warm;
  const answer = measured ? warm : now;
  const levels = answer.prediction?.quiet_rpm ?? null;
  const rpm = measured && levels ? levels.median : answer.resonance.quiet_rpm;
  const band = levels ? `90 % between ${levels.interval_90.map((x) => x.toFixed(0)).join(" and ")} rpm` : "";
  return { rpm, band, answer };
}

/** {name, value, beside, words}: of what is to be built, or of what stands. */
export function headline() {
  const job = store.current();
  if (answers.lacking.length > 0) {
    const names = answers.lacking.map((path) => nameOf(path) ?? LACKING[path] ?? path);
    return { name: job.built ? "quiet at" : "build it", value: "–", beside: "", words: `Still needed: ${names.join("; ")}.` };
  }
  return job.built ? ofStanding(job) : ofBuild(job);
}

const LACKING = {
  road: "engine: road speed, gear ratio, final drive and tyre",
  loudness: "engine: three lines of engine speed and level",
  "case.branch.length_mm": "branch: length",
};

const NOTHING = { value: "–", beside: "", words: "No answer for these entries yet." };

function ofBuild(job) {
  const { length } = answers;
  const name = "build it";
  if (!length) return { name, ...NOTHING, words: answers.errors.length ? NOTHING.words : "" };
  const [low, high] = length.right_length_90_mm;
  const tone = toneWords(job, length.target);
  return {
    name,
    value: onTape(length.build_length_mm, Math.ceil),
    long: "long",
    beside: `right length ${onTape(length.centreline_length_mm, Math.round)}`,
    short: `right: ${onTape(length.centreline_length_mm, Math.round)}`,
    words:
      `The right length lies between ${onTape(low, Math.round)} and ${onTape(high, Math.round)} with 90 %, so it is ` +
      `built long and taken down by ear: nothing can be put back on. ${tone}` +
      `One gas temperature all along would say ${onTape(length.one_temperature_length_mm, Math.round)}.`,
  };
}

function toneWords(job, target) {
  if (target.frequency_Hz === null) return "It is aimed at the loudness that you gave. ";
  const hertz = `${target.frequency_Hz.toFixed(1)}\u00a0Hz`;
  if (target.quiet_rpm === null || targetKind(job) === "hertz") return `The tone is ${hertz}. `;
  return `The drone at ${target.quiet_rpm.toFixed(0)} rpm is a tone of ${hertz}. `;
}

function ofStanding(job) {
  const found = quietAt();
  if (!found) return { name: "quiet at", ...NOTHING, words: answers.errors.length ? NOTHING.words : "" };
  const { rpm, band, answer } = found;
  const hertz = answer.resonance.frequency_Hz[0];
  if (hertz === null) return { name: "quiet at", value: "–", beside: "", words: inOwnUnits(answer.summary) };
  const quiet = rpm === null ? `${hertz.toFixed(1)}\u00a0Hz` : `${rpm.toFixed(0)}\u00a0rpm`;
  const words = standingWords(job, found, hertz);
  if (isMeasured(job) && doubt() !== null) {
    return { name: "before the saw", value: "A slip?", beside: `quiet at ${quiet} if not`, words: `${doubt().sentence} Nothing is advised before that is settled: step 3.` };
  }
  if (isMeasured(job) && answers.fit?.trim) {
    const cut = cutNow();
    const value = cut > 0 ? onTape(cut) : nextStep() === "listen" ? "Listen first" : "Do not cut";
    return { name: cut > 0 ? "cut now" : "the saw", value, beside: `quiet at ${quiet}${band ? `, ${band}` : ""}`, words };
  }
  return { name: "quiet at", value: quiet, beside: isMeasured(job) ? band : `by the model alone${band ? `, ${band}` : ""}`, words };
}

// What would make the interval narrower, most of all.
function narrowingWords() {
  const [first] = answers.now?.prediction?.narrowed_by ?? [];
  return first ? ` What would narrow it most (by ${first.share_percent.toFixed(0)} % of what is unsure): ${inOwnUnits(named(first.remedy, nameOf))}` : "";
}

function standingWords(job, { rpm, answer }, hertz) {
  const gas = answer.profile.gas_degC;
  const tone = rpm === null ? hertz : (rpm * answer.resonance.engine_order) / 60;
  const parts = [
    `A tone of ${tone.toFixed(1)}\u00a0Hz, ${onTape(answer.centreline_length_mm, Math.round)} long; its gas is at ` +
      `${say("temperature", gas[0])} at the mouth and ${say("temperature", gas.at(-1))} at the cap.`,
  ];
  const target = aimedRpm(job, answers.length?.target);
  if (typeof target === "number" && rpm !== null) {
    const off = rpm - target;
    parts.push(
      Math.abs(off) < 5
        ? `That is right on the drone at ${target.toFixed(0)} rpm.`
        : `The drone at ${target.toFixed(0)} rpm is ${Math.abs(off).toFixed(0)} rpm ${off < 0 ? "above" : "below"} that.`,
    );
  }
  if (!isMeasured(job)) parts.push(`Read its skin or listen before anything is taken off: step 3.${narrowingWords()}`);
  return parts.join(" ");
}

// What the example left in a job of one's own counts for what the headline says.
function leftWords() {
  const all = leftOver(job());
  if (!all.length) return job().invented?.length ? "An invented example." : "";
  const left = all.filter((path) => path === "target_rpm" || path.startsWith("case."));
  if (left.length > 1) return `${left.length} entries are still the example’s.`;
  return left.length ? "One entry is still the example’s." : "";
}

/** Write it on the plate and in the bar; old: it is not of what stands in the fields now. */
export function showHeadline(old) {
  const head = headline();
  const shownOld = old && head.value !== "–";
  write(byId("head-name"), head.name);
  write(byId("head-value"), head.value);
  write(byId("head-long"), head.long ?? "");
  write(byId("head-beside"), head.beside);
  write(byId("head-words"), [leftWords(), head.words].filter(Boolean).join(" "));
  write(byId("head-place"), job().built ? "" : ownPlaceSentence());
  byId("head-stale").hidden = !shownOld;
  write(byId("bar-name"), shownOld ? `not up to date: ${head.name}` : head.name);
  write(byId("bar-value"), head.value);
  write(byId("bar-beside"), (head.short ?? head.beside).split(",")[0]);
  document.body.classList.toggle("stale", shownOld);
}
