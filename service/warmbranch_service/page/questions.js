// What is asked of the service when the job changes, and in which order: the headline first.

import { ask, Refused } from "./api.js";
import {
  calibrated, caseNow, cutCase, fitRequest, hasData, isMeasured, lacking, lengthened, targetKind, targetOf,
} from "./job.js";
import { millimetres, niceStep } from "./units.js";

const CURVE_POINTS = 481; // fine enough for the peak
const CUTS = 8;
export const WARMING_S = 120;

/** The answers as they come in, by name; `errors` are those of the job's fields. */
export const answers = { errors: [], lacking: [] };

/** Another job is open: nothing that was answered is of it. */
export function forgetAnswers() {
  for (const name of Object.keys(answers)) delete answers[name];
  Object.assign(answers, { errors: [], lacking: [] });
}

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
  const question = async (name, route, body, toPath = asIs) => {
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
  const lacks = lacking(job);
  if (lacks.length > 0) {
    forgetAnswers();
    answers.lacking = lacks;
    show("errors");
    return;
  }
  answers.lacking = [];
  if (answers.wasBuilt !== job.built) forgetAnswers();
  answers.wasBuilt = job.built;
  await (job.built ? standing : toBuild)(job, question, keep);
}

// Not built: the length, then what a branch of the right length does.
async function toBuild(job, question, keep) {
  const given = caseNow(job);
  const target = targetOf(job);
  const length = await question("length", "length", { case: given, target, diameters: false }, lengthPath);
  if (length === null) return; // the last answers stay, and are shown as such
  keep("length", length);
  const design = lengthened(given, length.centreline_length_mm);
  const middle = length.target.quiet_rpm ?? length.operating_points[0]?.quiet_rpm ?? null;
  const attenuation = rangeOf(middle, length.target.frequency_Hz, middle);
  const now = await question("steady", "steady", { case: design, attenuation });
  if (now === null) return;
  keep("now", now);
  keep("warm", now);
  await followed(job, design, question, keep);
  await more(job, given, question, keep);
}

// Built: what it does, what the measurements say, and what each cut would do.
async function standing(job, question, keep) {
  const given = caseNow(job);
  const first = await question("steady", "steady", { case: given });
  if (first === null) return;
  keep("now", first);
  const target = targetOf(job);
  const aimed = targetKind(job) === "road" && target !== null
    ? await question("length", "length", { case: given, target, diameters: false }, lengthPath)
    : null;
  const fit = fitRequest(job, aimed?.target ?? null);
  const fitted = await question("fit", "fit", fit.request, fitPath(fit));
  if (fitted === null) return;
  keep("fit", { ...fitted, ...fit });
  const known = calibrated(given, fitted.calibration);
  const quiet = first.resonance.quiet_rpm;
  const attenuation = rangeOf(quiet, first.resonance.frequency_Hz[0] ?? first.estimates.transit_time_Hz, job.target_rpm);
  keep("warm", await question("warm", "steady", { case: known, attenuation }));
  await sawing(given, known, target, question, keep);
  await followed(job, isMeasured(job) ? known : given, question, keep);
  await more(job, hasData(job) ? known : given, question, keep);
  await believed(job, fit, fitted, question, keep);
}

// What was believed of the build that was measured before and since: a fit of nothing is the prior.
async function believed(job, { request, cutSince }, fitted, question, keep) {
  if (!hasData(job)) {
    keep("prior", null);
    return;
  }
  const nothing = await question("prior", "fit", { case: request.case });
  if (nothing === null) return;
  keep("prior", await question("prior", "steady", { case: calibrated(request.case, nothing.calibration) }));
  const known = calibrated(request.case, fitted.calibration);
  keep("posterior", cutSince === 0 ? answers.warm : await question("posterior", "steady", { case: known }));
}

async function followed(job, given, question, keep) {
  const rpm = targetKind(job) === "rpm" && given.engine && typeof job.target_rpm === "number" ? { driven_rpm: job.target_rpm } : {};
  keep("warmup", await question("warmup", "warmup", { case: given, ...rpm }));
}

// Where on the pipe, room, two branches: only what was asked for.
async function more(job, given, question, keep) {
  const target = targetOf(job);
  const parts = {};
  if (job.place?.pipe_length_mm != null) parts.place = job.place;
  const room = [0, 1, 2].map((side) => job.space_mm?.[side] ?? null);
  if (room.every((side) => side !== null)) parts.space_mm = room;
  if (job.two_branches?.arrangement) parts.two_branches = job.two_branches;
  if (target === null || (Object.keys(parts).length === 0 && !job.ask_tubes)) {
    keep("more", null);
    return;
  }
  const body = { case: given, target, diameters: job.ask_tubes === true, ...parts };
  keep("more", await question("more", "length", body, lengthPath));
}

const asIs = (pointer) => pointer.slice(1).replaceAll("/", ".");

const TARGET_FIELDS = { quiet_rpm: "target_rpm", frequency_Hz: "target_Hz", loudness: "loudness" };

function lengthPath(pointer) {
  const [first, name] = pointer.slice(1).split("/");
  if (first !== "target") return asIs(pointer);
  return name === undefined ? "target" : TARGET_FIELDS[name] ?? `road.${name}`;
}

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
  return problem.errors.map((error) => ({
    ...error,
    path: toPath(error.pointer),
    text: `${error.detail} ${error.remedy}`,
  }));
}

const distinct = (errors) => [...new Map(errors.map((e) => [`${e.path} ${e.text}`, e])).values()];

// One range for all curves, wide enough for the drone.
function rangeOf(quiet, hertz, wanted) {
  if (quiet === null) {
    return { frequency_from_Hz: hertz * 0.7, frequency_to_Hz: hertz * 1.3, points: CURVE_POINTS };
  }
  const target = typeof wanted === "number" && wanted > 50 ? wanted : quiet;
  const [low, high] = [Math.min(quiet, target), Math.max(quiet, target)];
  const tidy = (rpm) => Math.min(30000, Math.max(50, Math.round(rpm / 10) * 10));
  return { rpm_from: tidy(low * 0.8), rpm_to: tidy(high * 1.2), points: CURVE_POINTS };
}

/** The right length and the table of cuts: what step 4 needs of a branch that stands. */
async function sawing(given, known, target, question, keep) {
  if (target === null || given.engine === undefined || target.loudness) {
    keep("length", null);
    keep("cuts", null);
    return;
  }
  const request = { case: known, target, diameters: false };
  const length = await question("length", "length", request, lengthPath);
  keep("length", length);
  if (length === null) {
    keep("cuts", null);
    return;
  }
  const now = answers.now.centreline_length_mm;
  const most = mostToCut(given, now, answers.fit);
  const step = niceStep(most / CUTS);
  const cuts = [];
  for (let cut = 0; cut <= most + step / 2; cut += step) {
    const found = await question("cut", "steady", { case: cutCase(known, cut) });
    if (found?.prediction?.quiet_rpm) cuts.push({ cut, length: now - cut, ...found.prediction.quiet_rpm });
  }
  keep("cuts", { rows: cuts, most, step });
}

function mostToCut(given, length, fit) {
  const tube = given.branch;
  const bore = millimetres(tube.outside_diameter_mm) - 2 * millimetres(tube.wall_thickness_mm);
  const last = fit.trim ? fit.trim.final_cut_90_mm[1] - fit.cutSince : 0;
  const wanted = Math.max(1.1 * last, 0.08 * length, 40);
  return Math.max(1, Math.min(wanted, length - 3.1 * bore));
}
