// The jobs: kept in the browser at every change, with undo. Each job has a place of its own, so
// that tabs that work on different jobs do not overwrite each other. Nothing here asks the service.

const JOBS_KEY = "warmbranch.jobs"; // {id: {name, at}}
const JOB_KEY = "warmbranch.job."; // and the id
const OPEN_KEY = "warmbranch.open"; // of this tab
const UNITS_KEY = "warmbranch.units";
const SHOP_KEY = "warmbranch.shop"; // what finished jobs taught
const MOST_STEPS = 100; // of undo

let job = null;
let id = null;
let past = [];
let lastPath = null;
let kept = true;
const listeners = [];

export const current = () => job;
export const isKept = () => kept;
export const openId = () => id;

/** Be told of every change, with its kind: "typed", "record", "undo" or "opened". */
export function onChange(listener) {
  listeners.push(listener);
}

/** Begin with a job, kept as `known` or as a new one, without telling anybody. */
export function begin(first, known = null) {
  job = first;
  id = known ?? freshId();
  keep();
}

const freshId = () => `${Date.now().toString(36)}${Math.random().toString(36).slice(2, 6)}`;

function read(storage, key) {
  try {
    return storage.getItem(key);
  } catch {
    return null;
  }
}

function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

/** What the browser keeps: [{id, name, at}], the latest first. */
export function jobs() {
  const found = parsed(read(localStorage, JOBS_KEY)) ?? {};
  return Object.entries(found)
    .map(([one, { name, at }]) => ({ id: one, name, at }))
    .sort((a, b) => b.at - a.at);
}

/** The text of a kept job, or null. */
export const textOf = (one) => read(localStorage, JOB_KEY + one);

/** The job that this tab had open, else the latest of all: its id, or null. */
export function remembered() {
  const own = read(sessionStorage, OPEN_KEY);
  if (own !== null && textOf(own) !== null) return own;
  return jobs().find((one) => textOf(one.id) !== null)?.id ?? null;
}

/** Be told of the text of this job when another tab of this browser has changed it. */
export function onOtherTab(listener) {
  addEventListener("storage", (event) => {
    if (event.key === JOB_KEY + id && event.newValue !== null) listener(event.newValue);
    else if (event.key === JOBS_KEY) tell("list");
  });
}

/** What finished jobs taught, as /v1/learn gave it, or null. */
export const shop = () => parsed(read(localStorage, SHOP_KEY));

/** Keep it, or forget it with null; whether this browser keeps anything. */
export function keepShop(calibration) {
  try {
    if (calibration === null) localStorage.removeItem(SHOP_KEY);
    else localStorage.setItem(SHOP_KEY, JSON.stringify(calibration));
    return true;
  } catch {
    return false;
  }
}

export const rememberedUnits = () => parsed(read(localStorage, UNITS_KEY));

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

/** Another tab changed this very job: show it. */
export function replace(other, what) {
  remember(what);
  show(other);
}

/** Open another job beside this one, which stays kept: a kept one by its id, or a new one. */
export function open(other, known = null) {
  id = known ?? freshId();
  past = [];
  show(other);
}

function show(other) {
  lastPath = null;
  job = other;
  keep();
  tell("opened");
}

/** Forget a kept job. */
export function forget(one) {
  localStorage.removeItem(JOB_KEY + one);
  list((found) => delete found[one]);
  tell("list");
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

function list(act) {
  const found = parsed(read(localStorage, JOBS_KEY)) ?? {};
  act(found);
  localStorage.setItem(JOBS_KEY, JSON.stringify(found));
}

function keep() {
  try {
    localStorage.setItem(JOB_KEY + id, JSON.stringify(job));
    list((found) => {
      found[id] = { name: job.name ?? "", at: Date.now() };
    });
    sessionStorage.setItem(OPEN_KEY, id);
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
    if (parts.length > 1 && Object.keys(here).length === 0 && !KEPT_EMPTY.has(parts.join("."))) put(root, parts.join("."), null);
  }
}

const KEPT_EMPTY = new Set(["case.branch", "case.main_pipe", "case.engine"]);
