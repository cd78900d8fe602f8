// What a job is, and how it becomes requests. A job holds the branch as built; cuts are records
// beside it, so that one can be taken back, and readings know after how many cuts they were taken.

import { millimetres } from "./units.js";

export const FORM = 1;
const OF_THE_PAGE = new Set(["after_cuts"]);
const INFRARED = new Set([
  "surface",
  "emissivity_set",
  "emissivity",
  "reflected_degC",
  "takes_off_reflection",
]);

/** A job from an example or a request to the service. */
export function jobOf(request) {
  return {
    warmbranch_job: FORM,
    name: "",
    case: structuredClone(request.case),
    target_rpm: request.target_rpm ?? request.target?.quiet_rpm ?? null,
    drone_half_width_rpm: 100,
    readings: (request.readings ?? []).map((reading) => ({ ...reading, after_cuts: 0 })),
    heard: (request.heard ?? []).map((heard) => ({ ...heard, after_cuts: 0 })),
    trims: [],
  };
}

/** A job from the text of a file. Throws an Error that can be shown. */
export function jobFromFile(text) {
  let found;
  try {
    found = JSON.parse(text);
  } catch {
    throw new Error("This file is not JSON. Open a job that this page saved, or a request.");
  }
  if (typeof found?.case?.branch !== "object" || typeof found.case.main_pipe !== "object") {
    throw new Error(
      "This file holds no case with a branch and a main pipe. Open a job that this page saved, " +
        "or a request to the service.",
    );
  }
  if (found.warmbranch_job === undefined) return jobOf(found);
  if (found.warmbranch_job !== FORM) {
    throw new Error(`This job is of form ${found.warmbranch_job}; this page reads form ${FORM}.`);
  }
  for (const list of ["readings", "heard", "trims"]) {
    if (!Array.isArray(found[list])) throw new Error(`This job's ${list} is not a list.`);
  }
  return found;
}

export const fileText = (job) => `${JSON.stringify(job, null, 2)}\n`;

/** Length of the centre-line in mm as built; NaN while it cannot be read. */
export function builtLength(job) {
  const branch = job.case.branch;
  if (!Array.isArray(branch.centreline)) return millimetres(branch.length_mm);
  return branch.centreline.reduce((sum, piece) => sum + pieceLength(piece), 0);
}

export function pieceLength(piece) {
  if ("straight_mm" in piece) return millimetres(piece.straight_mm);
  return (Number(piece.bend_deg) * Math.PI * millimetres(piece.bend_radius_mm)) / 180;
}

/** What the first so many records of cutting took off, in mm; all of them when left out. */
export function cutOff(job, records = job.trims.length) {
  return job.trims.slice(0, records).reduce((sum, trim) => sum + millimetres(trim.cut_mm), 0);
}

/** The case after taking so many mm off at the cap. */
export function cutCase(given, cut) {
  const found = structuredClone(given);
  const branch = found.branch;
  if (!(cut > 0)) return found;
  if (!Array.isArray(branch.centreline)) {
    branch.length_mm = tidy(millimetres(branch.length_mm) - cut);
    return found;
  }
  let left = cut;
  while (left > 0 && branch.centreline.length > 0) {
    const last = branch.centreline.at(-1);
    const length = pieceLength(last);
    if (length <= left) {
      branch.centreline.pop();
    } else if ("straight_mm" in last) {
      last.straight_mm = tidy(length - left);
    } else {
      last.bend_deg = tidy(Number(last.bend_deg) * (1 - left / length));
    }
    left -= length;
  }
  return found;
}

const tidy = (value) => Number(value.toFixed(4));

/** The case as it is on the car: as built, less all cuts. */
export const caseNow = (job) => cutCase(job.case, cutOff(job));

/** The case with what a fit learned. */
export function calibrated(given, calibration) {
  return { ...given, closures: { ...given.closures, calibration } };
}

/** Number of cuts after which the readings were taken that a fit can use: the latest. */
export function readAfter(job) {
  return job.readings.filter(isWhole).reduce((most, reading) => Math.max(most, reading.after_cuts), -1);
}

/**
 * The request to /v1/fit, how much was cut since the build that it describes, and the places in
 * the job of the readings that it takes.
 */
export function fitRequest(job) {
  const records = readAfter(job) < 0 ? job.trims.length : readAfter(job);
  const places = job.readings.flatMap((reading, place) =>
    reading.after_cuts === records && isWhole(reading) ? [place] : [],
  );
  const heardPlaces = job.heard.flatMap((heard, place) => (heard.quiet_rpm == null ? [] : [place]));
  const request = {
    case: cutCase(job.case, cutOff(job, records)),
    readings: places.map((place) => readingOf(job.readings[place])),
    heard: heardPlaces.map((place) => heardOf(job, job.heard[place])),
  };
  if (job.target_rpm != null) request.target_rpm = job.target_rpm;
  return { request, cutSince: cutOff(job) - cutOff(job, records), places, heardPlaces };
}

/** Whether a reading has what a fit needs; one that is still being typed has not. */
export const isWhole = (reading) => reading.position_mm != null && reading.displayed_degC != null;

function readingOf(reading) {
  const contact = reading.thermometer === "contact";
  return Object.fromEntries(
    Object.entries(reading).filter(
      ([name, value]) =>
        value !== null && !OF_THE_PAGE.has(name) && !(contact && INFRARED.has(name)),
    ),
  );
}

function heardOf(job, heard) {
  const length = builtLength(job) - cutOff(job, heard.after_cuts);
  const found = { quiet_rpm: heard.quiet_rpm, centreline_length_mm: tidy(length) };
  if (heard.uncertainty_rpm != null) found.uncertainty_rpm = heard.uncertainty_rpm;
  return found;
}

/** Whether anything was measured. */
export function hasData(job) {
  return job.heard.some((h) => h.quiet_rpm != null) || job.readings.some(isWhole);
}
