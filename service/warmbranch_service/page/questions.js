// What is asked of the service when the job changes, and in which order: the quickest first.

import { ask, Refused } from "./api.js";
import { calibrated, caseNow, cutCase, fitRequest, hasData } from "./job.js";
import { celsius, millimetres, niceStep } from "./units.js";

const CURVE_POINTS = 121;
const CHANCES = [0.5, 2, 5, 10, 20, 35, 50]; // percent
const CUTS = 8;
export const WARMING_S = 120;
// Where to ask for the warming curve, over its own quiet rpm: close together where it is sharp.
const AROUND = [0.72, 0.8, 0.87, 0.92, 0.95, 0.97, 0.985, 0.993, 1, 1.007, 1.015, 1.03, 1.06, 1.11, 1.18, 1.28];

/** The answers as they come in, by name; `errors` are those of the job's fields. */
export const answers = { errors: [] };

/**
 * Ask all that a job wants to know.
 *
 * show(name) is called as each answer arrives; signal ends it when the job changes again.
 */
export async function askAll(job, signal, show) {
  const errors = new Map();
  const keep = (name, value) => {
    answers[name] = value;
    show(name);
  };
  const question = async (name, route, body, toPath) => {
    try {
      const answer = await ask(route, body, signal);
      errors.delete(name);
      return answer;
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      errors.set(name, pathsOf(error.problem, toPath));
      return null;
    } finally {
      if (!signal.aborted) {
        answers.errors = distinct([...errors.values()].flat());
        show("errors");
      }
    }
  };

  const given = caseNow(job);
  const first = await question("steady", "steady", { case: given }, asIs);
  if (first === null) return; // the last answers stay, and are shown as such
  keep("now", first);

  const fit = fitRequest(job);
  const fitted = await question("fit", "fit", fit.request, fitPath(fit));
  if (fitted === null) return;
  keep("fit", { ...fitted, ...fit });
  const known = calibrated(given, fitted.calibration);
  const attenuation = rangeOf(first, job);
  const warm = await question("warm", "steady", { case: known, attenuation }, asIs);
  keep("warm", warm);
  const coldCase = structuredClone(given);
  coldCase.main_pipe.gas_temperature_degC = airOf(given);
  delete coldCase.main_pipe.skin_temperature_degC;
  keep("cold", await question("cold", "steady", { case: coldCase, attenuation }, asIs));
  const measured = hasData(job);
  const warmup = await question("warmup", "warmup", { case: given }, asIs);
  keep("warmup", warmup);
  await sawing(job, given, known, question, keep);
  if (measured) keep("warmup", await question("warmup", "warmup", { case: known }, asIs));
  await warming(known, answers.warmup, question, keep);
}

const asIs = (pointer) => pointer.slice(1).replaceAll("/", ".");

function fitPath({ places, heardPlaces }) {
  return (pointer) => {
    const [list, place, ...rest] = pointer.slice(1).split("/");
    if (list === "readings") return [list, places[place], ...rest].join(".");
    if (list === "heard") return [list, heardPlaces[place], ...rest].join(".");
    return asIs(pointer);
  };
}

function pathsOf(problem, toPath) {
  if (!problem.errors?.length) return [{ path: "", text: `${problem.title} ${problem.detail}` }];
  return problem.errors.map(({ pointer, detail, remedy }) => ({
    path: toPath(pointer),
    text: `${detail} ${remedy}`,
  }));
}

const distinct = (errors) => [...new Map(errors.map((e) => [`${e.path} ${e.text}`, e])).values()];

const airOf = (given) => {
  const found = celsius(given.surroundings?.air_temperature_degC ?? 20);
  return Number.isFinite(found) ? found : 20;
};

// One range for all curves, wide enough for the drone and for the cold branch.
function rangeOf(first, job) {
  const quiet = first.resonance.quiet_rpm;
  if (quiet === null) {
    const middle = first.resonance.frequency_Hz[0] ?? first.estimates.transit_time_Hz;
    return { frequency_from_Hz: middle * 0.7, frequency_to_Hz: middle * 1.3, points: CURVE_POINTS };
  }
  const target = typeof job.target_rpm === "number" && job.target_rpm > 50 ? job.target_rpm : quiet;
  const [low, high] = [Math.min(quiet, target), Math.max(quiet, target)];
  const tidy = (rpm) => Math.min(30000, Math.max(50, Math.round(rpm / 10) * 10));
  return { rpm_from: tidy(low * 0.75), rpm_to: tidy(high * 1.25), points: CURVE_POINTS };
}

/** Lengths, chances and the table of cuts: what step 4 needs. */
async function sawing(job, given, known, question, keep) {
  if (job.target_rpm == null || given.engine === undefined) {
    keep("length", null);
    keep("cuts", null);
    return;
  }
  const target = { quiet_rpm: job.target_rpm };
  const toPath = (pointer) => (pointer.startsWith("/target") ? "target_rpm" : asIs(pointer));
  const request = { case: known, target, diameters: false };
  const length = await question("length", "length", request, toPath);
  keep("length", length);
  if (length === null) {
    keep("cuts", null);
    return;
  }
  const bare = { weld_allowance_mm: 0, cap_allowance_mm: 0 };
  const now = answers.now.centreline_length_mm;
  const chances = [];
  for (const percent of CHANCES) {
    const build = { ...bare, chance_too_short_percent: percent };
    const found = await question("chance", "length", { ...request, build }, toPath);
    if (found) chances.push({ cut: now - found.build_length_mm, percent });
  }
  const most = mostToCut(given, now, chances);
  const step = niceStep(most / CUTS);
  const cuts = [];
  for (let cut = 0; cut <= most + step / 2; cut += step) {
    const found = await question("cut", "steady", { case: cutCase(known, cut) }, asIs);
    if (found?.prediction?.quiet_rpm) cuts.push({ cut, length: now - cut, ...found.prediction.quiet_rpm });
  }
  keep("cuts", { rows: cuts, chances, most, step });
}

function mostToCut(given, length, chances) {
  const tube = given.branch;
  const bore = millimetres(tube.outside_diameter_mm) - 2 * millimetres(tube.wall_thickness_mm);
  const middle = chances.at(-1)?.cut ?? 0;
  const wanted = Math.max(1.4 * middle, 0.08 * length, 40);
  return Math.max(1, Math.min(wanted, length - 3.1 * bore));
}

/** The chance, in percent, of having cut too far; null beyond what was asked: [low, high]. */
export function chanceOf(cut, chances) {
  if (chances.length < 2) return null;
  const first = chances[0];
  const last = chances.at(-1);
  if (cut <= first.cut) return { text: `under ${first.percent} %`, value: first.percent };
  if (cut > last.cut) return { text: `over ${last.percent} %`, value: last.percent };
  const k = chances.findIndex((one) => one.cut >= cut);
  const [a, b] = [chances[k - 1], chances[k]];
  const value = a.percent + ((cut - a.cut) / (b.cut - a.cut || 1)) * (b.percent - a.percent);
  return { text: `about ${value < 10 ? value.toFixed(1) : value.toFixed(0)} %`, value };
}

/** Transmission loss some minutes after a cold start, one engine speed at a time. */
async function warming(known, warmup, question, keep) {
  const rpms = warmup?.series.quiet_rpm;
  const k = warmup?.series.time_s.findIndex((time) => time >= WARMING_S) ?? -1;
  if (!rpms || k < 0 || rpms[k] === null) {
    keep("warming", null);
    return;
  }
  const points = [];
  for (const around of AROUND) {
    const rpm = Math.min(30000, Math.max(50, Math.round(rpms[k] * around)));
    const body = {
      case: known,
      intervals: false,
      driven_rpm: rpm,
      duration_min: WARMING_S / 60,
      output_times_s: [WARMING_S],
    };
    const found = await question("warming", "warmup", body, asIs);
    if (found) points.push({ rpm, loss: found.series.transmission_loss_dB[0] });
  }
  keep("warming", { rpm: points.map((p) => p.rpm), loss: points.map((p) => p.loss) });
}
