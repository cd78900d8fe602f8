// What a job is, and how it becomes requests. A job holds the branch as built, or as it is to be
// built; cuts are records beside it, so that one can be taken back, and readings know after how many
// cuts they were taken.

import { millimetres } from "./units.js";

export const FORM = 1;
export const USUAL_WALL = 1.5; // mm: taken, and said, where no wall is given
const ANY_LENGTH = 1000; // mm: of a straight branch whose length is sought
const WARM_MIN = 45; // from then on the service counts it as warm
const OF_THE_PAGE = new Set(["after_cuts", "moved", "run_min"]);
const INFRARED = new Set([
  "surface",
  "emissivity_set",
  "emissivity",
  "reflected_degC",
  "takes_off_reflection",
]);

const EMPTY = {
  warmbranch_job: FORM,
  name: "",
  built: false,
  invented: [],
  target_rpm: null,
  drone_half_width_rpm: 100,
  readings: [],
  heard: [],
  trims: [],
};

/** A job of one's own, empty. */
export const blankJob = () => ({
  ...structuredClone(EMPTY),
  case: { branch: {}, main_pipe: { engine_load: "cruise" }, engine: {} },
});

/** A job from an example, whose values are invented, or from a request to the service. */
export function jobOf(request, invented = false) {
  const job = {
    ...structuredClone(EMPTY),
    case: structuredClone(request.case),
    target_rpm: request.target_rpm ?? request.target?.quiet_rpm ?? null,
    readings: (request.readings ?? []).map((reading) => ({ ...reading, after_cuts: 0 })),
    heard: (request.heard ?? []).map((heard) => ({ ...heard, run_min: minutesOf(heard.time_s ?? request.time_s), after_cuts: 0 })),
  };
  job.readings_min = minutesOf(request.time_s);
  for (const name of ["place", "space_mm", "two_branches", "while_read"]) {
    if (request[name] != null) job[name] = structuredClone(request[name]);
  }
  job.built = hasData(job);
  if (invented) {
    job.invented = [...leaves({ case: job.case, place: job.place, space_mm: job.space_mm }), "target_rpm"];
  }
  return job;
}

// Whose own entry in one of these makes a job theirs.
const BEGUN = ["target_rpm", "case.engine.cylinders", "case.main_pipe.outside_diameter_mm", "case.branch.outside_diameter_mm"];

/** What is still the example's in a job that somebody has begun to type over; while it is the example, nothing. */
export function leftOver(job) {
  const invented = job.invented ?? [];
  return BEGUN.every((path) => invented.includes(path)) ? [] : invented;
}

const minutesOf = (time) => (time > 0 ? time / 60 : null);

function leaves(value, path = "") {
  if (value === null || typeof value !== "object") return value === undefined ? [] : [path];
  return Object.entries(value).flatMap(([key, inner]) => leaves(inner, path ? `${path}.${key}` : key));
}

/** Another job like this one: the same tube, pipe and what was learned, nothing measured yet. */
export function jobLike(job, calibration) {
  const like = { ...structuredClone(job), built: false, readings: [], readings_min: null, while_read: null, heard: [], trims: [], draft_cut_mm: null };
  like.name = job.name ? `like ${job.name}` : "";
  if (calibration) like.case.closures = { ...like.case.closures, calibration };
  return like;
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
  const built = found.built ?? (found.trims?.length > 0 || (found.readings ?? []).some(isWhole) || found.heard?.length > 0);
  const job = { ...structuredClone(EMPTY), ...found, built };
  for (const list of ["readings", "heard", "trims"]) {
    if (!Array.isArray(job[list])) throw new Error(`This job's ${list} is not a list.`);
  }
  return job;
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

/** The case of the job with what the page takes for what is left empty. */
export function givenCase(job) {
  const given = structuredClone(job.case);
  for (const part of [given.branch, given.main_pipe]) part.wall_thickness_mm ??= USUAL_WALL;
  const branch = given.branch;
  if (!job.built && branch.length_mm == null && !Array.isArray(branch.centreline)) branch.length_mm = ANY_LENGTH;
  if ((job.built || targetKind(job) === "hertz") && given.engine?.cylinders == null) delete given.engine;
  return given;
}

/** The case as it is on the car: as built, less all cuts. */
export const caseNow = (job) => cutCase(givenCase(job), cutOff(job));

/** The case with a centre-line of so many mm; the end at the cap takes the difference. */
export function lengthened(given, length) {
  const branch = given.branch;
  if (!Array.isArray(branch.centreline)) {
    return { ...given, branch: { ...branch, length_mm: length } };
  }
  const more = length - branch.centreline.reduce((sum, piece) => sum + pieceLength(piece), 0);
  if (more < 0) return cutCase(given, -more);
  const found = structuredClone(given);
  const last = found.branch.centreline.at(-1);
  if (last && "straight_mm" in last) last.straight_mm = tidy(millimetres(last.straight_mm) + more);
  else found.branch.centreline.push({ straight_mm: tidy(more) });
  return found;
}

/** How the drone is told: "rpm", "hertz", "road" or "loudness". */
export const targetKind = (job) => job.target_kind ?? "rpm";

/** The target as /v1/length takes it; null while it lacks something. */
export function targetOf(job) {
  const kind = targetKind(job);
  if (kind === "rpm") return job.target_rpm == null ? null : { quiet_rpm: job.target_rpm };
  if (kind === "hertz") return job.target_Hz == null ? null : { frequency_Hz: job.target_Hz };
  if (kind === "road") return roadTarget(job.road ?? {});
  const points = loudnessPoints(job.loudness);
  return points.length < 3 ? null : { loudness: points };
}

function roadTarget(road) {
  const names = ["road_speed_m_s", "gear_ratio", "final_drive_ratio"];
  if (names.some((name) => road[name] == null) || !(road.tyre || road.rolling_circumference_mm)) return null;
  return Object.fromEntries(Object.entries(road).filter(([, value]) => value != null));
}

/** Points of a loudness curve from lines such as "2350 78", engine speed rising. */
export function loudnessPoints(text) {
  return (text ?? "")
    .split(/\n/)
    .map((line) => line.trim().split(/[\s;:]+/).map((word) => Number(word.replace(",", "."))))
    .filter(([rpm, level]) => Number.isFinite(rpm) && Number.isFinite(level))
    .map(([rpm, level_dB]) => ({ rpm, level_dB }))
    .sort((a, b) => a.rpm - b.rpm);
}

/** What a first answer still lacks, as paths. */
export function lacking(job) {
  const { branch, main_pipe: pipe, engine } = job.case;
  const found = [];
  const kind = targetKind(job);
  if (targetOf(job) === null && !job.built) found.push({ rpm: "target_rpm", hertz: "target_Hz", road: "road", loudness: "loudness" }[kind]);
  if (!job.built && kind !== "hertz" && engine?.cylinders == null) found.push("case.engine.cylinders");
  if (pipe.outside_diameter_mm == null) found.push("case.main_pipe.outside_diameter_mm");
  if (branch.outside_diameter_mm == null) found.push("case.branch.outside_diameter_mm");
  if (pipe.gas_temperature_degC == null && pipe.engine_load == null && pipe.skin_reading?.displayed_degC == null) {
    found.push(pipe.skin_reading ? "case.main_pipe.skin_reading.displayed_degC" : "case.main_pipe.gas_temperature_degC");
  }
  if (job.built && branch.length_mm == null && !Array.isArray(branch.centreline)) found.push("case.branch.length_mm");
  return found;
}

/** Whether the branch exists and something was read, heard or taken off: then cuts are advised. */
export const isMeasured = (job) => job.built && (hasData(job) || job.trims.length > 0);

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
export function fitRequest(job, target = null) {
  const records = readAfter(job) < 0 ? job.trims.length : readAfter(job);
  const places = job.readings.flatMap((reading, place) =>
    reading.after_cuts === records && isWhole(reading) ? [place] : [],
  );
  const heardPlaces = job.heard.flatMap((heard, place) => (isHeard(heard) ? [place] : []));
  const request = {
    case: cutCase(givenCase(job), cutOff(job, records)),
    readings: places.map((place) => readingOf(job.readings[place])),
    heard: heardPlaces.map((place) => heardOf(job, job.heard[place])),
  };
  withTimes(request, job, heardPlaces);
  // How it was read while it warmed, the warm-up has.
  const warming = [request, ...request.readings].some((one) => one.time_s < WARM_MIN * 60);
  if (places.length > 0 && !warming && job.while_read?.air_speed_m_s != null) request.while_read = job.while_read;
  const rpm = aimedRpm(job, target);
  if (rpm !== null) request.target_rpm = rpm;
  else if (targetKind(job) === "hertz" && job.target_Hz != null) request.target_Hz = job.target_Hz;
  return { request, cutSince: cutOff(job) - cutOff(job, records), places, heardPlaces };
}

// Untold ones go with the earliest.
function withTimes(request, job, heardPlaces) {
  const all = [
    ...request.readings.filter((one) => one.time_s == null).map((one) => [one, job.readings_min ?? null]),
    ...request.heard.map((one, k) => [one, job.heard[heardPlaces[k]].run_min ?? null]),
  ];
  const told = all.filter(([, minutes]) => minutes !== null);
  const least = Math.min(...told.map(([, minutes]) => minutes));
  const [whole, warm] = [told.length === all.length, least >= WARM_MIN];
  if (told.length === 0 || (warm && !whole)) return;
  if (!warm) for (const [one, minutes] of told) one.time_s = minutes * 60 || minutes;
  if (warm || (!whole && least >= 0)) request.time_s = least * 60;
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

/** The engine speed aimed at: as typed, or as /v1/length worked it out (its `target`). */
export function aimedRpm(job, target = null) {
  if (job.case.engine?.cylinders == null) return null;
  if (targetKind(job) === "rpm") return job.target_rpm ?? null;
  return target?.quiet_rpm ?? null;
}

/** Length of the branch when a tone was heard: with the cap moved to a place of its own, that. */
export function heardLength(job, heard) {
  const own = millimetres(heard.centreline_length_mm);
  return own > 0 ? own : builtLength(job) - cutOff(job, heard.after_cuts);
}

function heardOf(job, heard) {
  const length = heardLength(job, heard);
  const found = { quiet_rpm: heard.quiet_rpm, centreline_length_mm: tidy(length) };
  if (heard.uncertainty_rpm != null) found.uncertainty_rpm = heard.uncertainty_rpm;
  return found;
}

/** Whether a tone heard says all that it must. */
const isHeard = (heard) => heard.quiet_rpm != null && !(heard.moved && heard.centreline_length_mm == null);

/** Whether anything was measured. */
export function hasData(job) {
  return job.heard.some(isHeard) || job.readings.some(isWhole);
}
