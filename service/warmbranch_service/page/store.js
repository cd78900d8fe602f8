// The job: kept in the browser at every change, with undo. Nothing here asks the service.

const JOB_KEY = "warmbranch.job";
const UNITS_KEY = "warmbranch.units";
const MOST_STEPS = 100; // of undo

let job = null;
let past = [];
let lastPath = null;
let kept = true;
const listeners = [];

export const current = () => job;
export const isKept = () => kept;

/** Be told of every change, with its kind: "typed", "record", "undo" or "opened". */
export function onChange(listener) {
  listeners.push(listener);
}

/** Begin with a job, without telling anybody. */
export function begin(first) {
  job = first;
  keep();
}

/** The text of the job that the browser kept, or null. */
export function remembered() {
  try {
    return localStorage.getItem(JOB_KEY);
  } catch {
    return null;
  }
}

/** Be told of the text of a job that another tab of this browser has changed. */
export function onOtherTab(listener) {
  addEventListener("storage", (event) => {
    if (event.key === JOB_KEY && event.newValue !== null) listener(event.newValue);
  });
}

export function rememberedUnits() {
  try {
    return JSON.parse(localStorage.getItem(UNITS_KEY));
  } catch {
    return null;
  }
}

export function keepUnits(units) {
  try {
    localStorage.setItem(UNITS_KEY, JSON.stringify(units));
  } catch {
    kept = false;
  }
}

/** Change the job by `act`; keystrokes in one field are undone together. */
export function change(what, act, path = null) {
  if (path === null || path !== lastPath) remember(what);
  lastPath = path;
  act(job);
  keep();
  tell(path === null ? "record" : "typed");
}

/** Put another job in the place of this one. */
export function open(other, what) {
  remember(what);
  lastPath = null;
  job = other;
  keep();
  tell("opened");
}

/** Name of what undo would take back, or null. */
export const undoable = () => past.at(-1)?.what ?? null;

export function undo() {
  const step = past.pop();
  if (!step) return null;
  lastPath = null;
  job = JSON.parse(step.before);
  keep();
  tell("undo");
  return step.what;
}

/** A field has been left: what is typed next is a new step. */
export function pause() {
  lastPath = null;
}

function remember(what) {
  past.push({ what, before: JSON.stringify(job) });
  past = past.slice(-MOST_STEPS);
}

function keep() {
  try {
    localStorage.setItem(JOB_KEY, JSON.stringify(job));
    kept = true;
  } catch {
    kept = false;
  }
}

function tell(kind) {
  for (const listener of listeners) listener(kind);
}

/** What stands at a path such as "case.branch.length_mm". */
export function at(path, root = job) {
  return path.split(".").reduce((here, part) => here?.[part], root);
}

/**
 * Put a value at a path; null takes it out, and what is left empty by that with it.
 *
 * In a list of things a null stays, so that each thing remains what it is.
 */
export function put(root, path, value) {
  const parts = path.split(".");
  const last = parts.pop();
  const listed = parts.some((part) => /^\d+$/.test(part));
  let here = root;
  for (const part of parts) {
    if (typeof here[part] !== "object" || here[part] === null) {
      if (value === null) return;
      here[part] = {};
    }
    here = here[part];
  }
  if (value !== null) here[last] = value;
  else if (listed || Array.isArray(here)) here[last] = null;
  else {
    delete here[last];
    if (parts.length > 1 && Object.keys(here).length === 0) put(root, parts.join("."), null);
  }
}
