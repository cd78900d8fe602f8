// Fields: what each is called, its unit, its one line of help, and the service's own error below.

import { el, fill, write } from "./dom.js";
import * as store from "./store.js";
import { fieldText, typed, unitOf } from "./units.js";

const fields = new Map(); // path → {kind, input, error, unit}
let count = 0;

/**
 * Build one field.
 *
 * path: place in the job; kind: see units.js, or "text", or "choice" with `choices` as
 * [value, label] pairs; help: one line; hint: shown while it is empty.
 */
export function field({ path, label, kind, help, hint, choices, compact, after }) {
  count += 1;
  const id = `f${count}`;
  const describedBy = help ? `${id}-help ${id}-error` : `${id}-error`;
  const attributes = { id, "aria-describedby": describedBy, "data-path": path };
  const input =
    kind === "choice"
      ? el("select", attributes, ...choices.map(([value, text]) => el("option", { value, text })))
      : el("input", {
          ...attributes,
          type: "text",
          inputmode: keyboard(kind),
          autocomplete: "off",
          spellcheck: "false",
          placeholder: hint,
        });
  const unit = el("span", { class: "unit" });
  const error = el("p", { class: "error", id: `${id}-error` });
  const entry = { path, kind, input, error, unit, label, after };
  fields.set(path, entry);
  input.addEventListener(kind === "choice" ? "change" : "input", () => take(entry));
  input.addEventListener("blur", () => {
    store.pause();
    show(entry);
  });
  show(entry);
  return el(
    "div",
    { class: compact ? "field compact" : "field" },
    el("label", { for: id }, label, unit),
    input,
    help ? el("p", { class: "help", id: `${id}-help`, text: help }) : null,
    error,
  );
}

// A minus sign, a fraction or a unit must be within reach of a phone's keyboard.
function keyboard(kind) {
  if (kind === "rpm" || kind === "number" || kind === "percent") return "decimal";
  return kind === "length" && unitOf("length") === "mm" ? "decimal" : "text";
}

function take(entry) {
  const text = entry.input.value;
  const value = entry.kind === "choice" || entry.kind === "text" ? text : typed(entry.kind, text);
  const act = (job) => {
    store.put(job, entry.path, value === "" ? null : value);
    entry.after?.(job, value);
  };
  store.change(entry.label.toLowerCase(), act, entry.path);
}

function show(entry) {
  const value = store.at(entry.path);
  const text =
    entry.kind === "choice" || entry.kind === "text"
      ? choiceText(entry, value)
      : fieldText(entry.kind, value);
  if (entry.input.value !== text) entry.input.value = text;
  if (entry.kind === "choice") return;
  write(entry.unit, entry.kind === "text" ? "" : unitOf(entry.kind));
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

/** Show what the job holds, but never under the hands of who is typing. */
export function refresh(everything = false) {
  for (const entry of fields.values()) {
    if (everything || entry.input !== document.activeElement) show(entry);
  }
}

/**
 * Put the service's errors beside their fields.
 *
 * errors: [{path, text}], the path in the job. What has no field of its own goes to the nearest
 * part of the page that names its beginning in data-errors; all of them are counted at the top.
 */
export function showErrors(errors) {
  const texts = new Map();
  const strays = new Map();
  for (const { path, text } of errors) {
    if (fields.has(path)) texts.set(path, text);
    else {
      const place = strayPlace(path);
      strays.set(place, [...(strays.get(place) ?? []), text]);
    }
  }
  for (const entry of fields.values()) {
    const text = texts.get(entry.path) ?? "";
    write(entry.error, text);
    if (text) entry.input.setAttribute("aria-invalid", "true");
    else entry.input.removeAttribute("aria-invalid");
  }
  for (const place of document.querySelectorAll("[data-errors]")) {
    write(place, (strays.get(place) ?? []).join(" "));
  }
}

function strayPlace(path) {
  const places = [...document.querySelectorAll("[data-errors]")];
  const fitting = places.filter((place) => path.startsWith(place.dataset.errors));
  fitting.sort((a, b) => b.dataset.errors.length - a.dataset.errors.length);
  return fitting[0];
}
