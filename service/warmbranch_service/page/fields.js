// Fields: what each is called, its unit, its one line of help, and what is wrong with it below.

import { el, fill, write } from "./dom.js";
import * as store from "./store.js";
import { fieldText, typed, unitOf } from "./units.js";
import { inOwnWords } from "./words.js";

const fields = new Map(); // path → {kind, input, error, unit}
let count = 0;
let lastErrors = [];

/**
 * Build one field.
 *
 * path: place in the job; kind: see units.js, or "text", "lines", or "choice" with `choices` as
 * [value, label] pairs; help: one line; hint: shown while it is empty, or what gives it in the units
 * that are shown; after(job, value): what else changes with it.
 */
export function field({ path, label, kind, help, hint, choices, compact, after }) {
  count += 1;
  const id = `f${count}`;
  const describedBy = [help ? `${id}-help` : null, `${id}-mark`, `${id}-error`].filter(Boolean).join(" ");
  const attributes = { id, "aria-describedby": describedBy, "data-path": path };
  let input;
  if (kind === "choice") {
    input = el("select", attributes, ...choices.map(([value, text]) => el("option", { value, text })));
  } else if (kind === "lines") {
    input = el("textarea", { ...attributes, rows: 5, spellcheck: "false" });
  } else {
    const own = { type: "text", inputmode: keyboard(kind), autocomplete: "off", spellcheck: "false", enterkeyhint: "next" };
    input = el("input", { ...attributes, ...own });
    input.addEventListener("keydown", (event) => event.key === "Enter" && toNext(input));
  }
  const unit = el("span", { class: "unit" });
  const mark = el("span", { class: "invented", id: `${id}-mark`, hidden: true, text: "example" });
  const error = el("p", { class: "error", id: `${id}-error` });
  const entry = { path, kind, input, error, unit, label, mark, after, help, hint };
  fields.set(path, entry);
  input.addEventListener(kind === "choice" ? "change" : "input", () => take(entry));
  input.addEventListener("blur", () => {
    store.pause();
    show(entry);
    showErrors(lastErrors);
  });
  show(entry);
  return el(
    "div",
    { class: compact ? "field compact" : "field" },
    el("label", { for: id }, label, mark, unit),
    input,
    help ? el("p", { class: "help", id: `${id}-help`, text: help }) : null,
    error,
  );
}

/**
 * A question with a few answers of which one holds.
 *
 * choices: [[value, label]]; chosen(): the value that holds; choose(value): when one is picked.
 */
export function choiceOf({ name, label, choices, chosen, choose }) {
  const inputs = choices.map(([value]) => {
    const input = el("input", { type: "radio", name, value });
    input.addEventListener("change", () => choose(value));
    return input;
  });
  const node = el(
    "div",
    { class: "choice", role: "radiogroup", "aria-label": label },
    ...choices.map(([, text], k) => el("label", {}, inputs[k], el("span", { text }))),
  );
  const refreshed = () => {
    const held = chosen();
    inputs.forEach((input, k) => (input.checked = choices[k][0] === held));
  };
  refreshed();
  return { node, show: refreshed };
}

// Enter goes on to the next field, as the key of a phone says.
function toNext(input) {
  const all = [...document.querySelectorAll("input[data-path], select[data-path], textarea")].filter((one) => one.checkVisibility({ contentVisibilityAuto: true, visibilityProperty: true }));
  all[all.indexOf(input) + 1]?.focus();
}

// A minus sign, a fraction or a unit must be within reach of a phone's keyboard.
function keyboard(kind) {
  if (["rpm", "number", "percent", "hertz", "minutes"].includes(kind)) return "decimal";
  return kind === "length" && unitOf("length") === "mm" ? "decimal" : "text";
}

function take(entry) {
  const text = entry.input.value;
  const isText = ["choice", "text", "lines"].includes(entry.kind);
  const value = isText ? text : typed(entry.kind, text);
  const act = (job) => {
    store.put(job, entry.path, value === "" ? null : value);
    touch(job, entry.path);
    entry.after?.(job, value);
  };
  store.change(entry.label.toLowerCase(), act, entry.path);
  showMark(entry);
}

/** What stands at these paths is no longer the example's. */
export function touch(job, ...paths) {
  job.invented = (job.invented ?? []).filter((one) => !paths.some((path) => one === path || one.startsWith(`${path}.`)));
}

function showMark(entry) {
  entry.mark.hidden = !(store.current().invented ?? []).includes(entry.path);
}

function show(entry) {
  const value = store.at(entry.path);
  const isText = ["choice", "text", "lines"].includes(entry.kind);
  const text = isText ? choiceText(entry, value) : fieldText(entry.kind, value);
  if (entry.input.value !== text) entry.input.value = text;
  showMark(entry);
  if (entry.hint) entry.input.placeholder = typeof entry.hint === "function" ? entry.hint() : entry.hint;
  if (isText) return;
  write(entry.unit, unitOf(entry.kind));
  entry.input.inputMode = keyboard(entry.kind);
}

// What a file holds may be something that the list does not offer: offer it then.
function choiceText(entry, value) {
  const text = value === null || value === undefined ? "" : String(value);
  if (entry.kind !== "choice" || typeof value === "object") return text;
  if (![...entry.input.options].some((option) => option.value === text)) {
    entry.input.append(el("option", { value: text, text: text || "–" }));
  }
  return text;
}

/** Offer other choices in a list. */
export function offer(path, choices) {
  const entry = fields.get(path);
  if (!entry) return;
  fill(entry.input, ...choices.map(([value, text]) => el("option", { value, text })));
  show(entry);
}

/** Forget the fields below a path, before a list is built anew. */
export function forget(prefix) {
  for (const path of fields.keys()) if (path.startsWith(prefix)) fields.delete(path);
}

/** What the page calls a path: "engine: cylinders". */
export function nameOf(path) {
  const label = fields.get(path)?.label.toLowerCase();
  const part = { branch: "branch", main_pipe: "main pipe", engine: "engine", surroundings: "air" }[path.split(".")[1]];
  if (!label) return null;
  return part && path.startsWith("case.") ? `${part}: ${label}` : label;
}

/** Show what the job holds, but never under the hands of who is typing. */
export function refresh(everything = false) {
  for (const entry of fields.values()) {
    if (everything || entry.input !== document.activeElement) show(entry);
  }
}

/**
 * Put what is wrong beside the fields, in the page's own words, once a field has been left.
 *
 * errors: [{path, text, code, unit, remedy, value}], the path in the job. What has no field of its
 * own goes to the nearest part of the page that names its beginning in data-errors.
 */
export function showErrors(errors) {
  lastErrors = errors;
  const texts = new Map();
  const strays = new Map();
  for (const error of errors) {
    const text = inOwnWords(error, fields.get(error.path)?.kind, nameOf);
    if (fields.has(error.path)) texts.set(error.path, text);
    else {
      const place = strayPlace(error.path);
      strays.set(place, [...(strays.get(place) ?? []), text]);
    }
  }
  for (const entry of fields.values()) {
    const waits = entry.input === document.activeElement && entry.error.textContent === "";
    const text = waits ? "" : texts.get(entry.path) ?? "";
    write(entry.error, text);
    if (text) entry.input.setAttribute("aria-invalid", "true");
    else entry.input.removeAttribute("aria-invalid");
    if (text) for (let box = entry.input.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
  }
  for (const place of document.querySelectorAll("[data-errors]")) {
    write(place, (strays.get(place) ?? []).join(" "));
  }
}

/** Whether what is wrong is only in the field that is being typed in. */
export const onlyBeingTyped = (errors) =>
  errors.every(({ path }) => fields.get(path)?.input === document.activeElement);

function strayPlace(path) {
  const places = [...document.querySelectorAll("[data-errors]")];
  const fitting = places.filter((place) => path.startsWith(place.dataset.errors));
  fitting.sort((a, b) => b.dataset.errors.length - a.dataset.errors.length);
  return fitting[0];
}
