// Step 3: what you measured.

import { byId, el, fill, svg, write } from "./dom.js";
import { field, forget, offer } from "./fields.js";
import { quietAt } from "./headline.js";
import { hasData, heardLength, isWhole, readAfter } from "./job.js";
import { numbers } from "./numbers.js";
import { inOwnUnits } from "./own_units.js";
import { answers } from "./questions.js";
import { showSkin, skinFigure } from "./skin_chart.js";
import * as store from "./store.js";
import { onTape, plain, say, unitOf } from "./units.js";

const PATCH = "matt black paint";
const RUN_FOR = { label: "Engine had run, from cold", kind: "minutes", hint: "not said" };
const SURE = 200; // odds from which nothing is asked, or told more closely
let surfaces = [["", "the branch's own skin"], [PATCH, PATCH]];

const learned = numbers("What it learned", { summary: "What it learned" });
const levelsTable = numbers("Quiet rpm, before and after measuring");

export function build() {
  byId("before-after-numbers").append(levelsTable.node);
  byId("skin-chart").append(skinFigure);
  byId("parameters").append(learned.node);
  byId("add-reading").addEventListener("click", addReading);
  byId("add-heard").addEventListener("click", () => addHeard({}));
  byId("add-moved").addEventListener("click", () => {
    const rpm = store.current().heard.at(-1)?.quiet_rpm ?? store.current().target_rpm;
    addHeard({ centreline_length_mm: null, quiet_rpm: rpm ?? null, moved: true });
  });
  byId("readings-minutes").append(
    field({ ...RUN_FOR, path: "readings_min" }),
    field({ path: "while_read.air_speed_m_s", label: "Air speed when read", kind: "speed", hint: "not said", help: "Across the branch as you read it: 0.5 m/s if the car stood still." }),
  );
  rows();
}

/** Names from GET /v1/reference. */
export function name(reference) {
  surfaces = [surfaces[0], ...reference.surfaces.map(({ name: own }) => [own, own])];
  store.current().readings.forEach((_, place) => offer(`readings.${place}.surface`, surfaces));
}

function addReading() {
  store.change("adding a reading", (job) => {
    const last = job.readings.at(-1);
    const like = last && { thermometer: last.thermometer, surface: last.surface, emissivity_set: last.emissivity_set };
    job.readings.push({
      position_mm: null,
      displayed_degC: null,
      thermometer: "infrared",
      surface: PATCH,
      emissivity_set: 0.95,
      ...like,
      after_cuts: job.trims.length,
    });
  });
  byId("readings").querySelector("li:last-child input")?.focus();
}

function addHeard(more) {
  store.change("adding what you heard", (job) => {
    job.heard.push({ quiet_rpm: null, uncertainty_rpm: null, ...more, after_cuts: job.trims.length });
  });
  byId("heard").querySelector(`li:last-child ${more.moved ? "[data-path$=centreline_length_mm]" : "input"}`)?.focus();
}

/** Build both lists anew. */
export function rows() {
  const job = store.current();
  forget("readings.");
  forget("heard.");
  fill(byId("readings"), ...job.readings.map(readingRow));
  fill(byId("heard"), ...job.heard.map(heardRow));
  byId("readings-help").hidden = job.readings.length > 0;
  byId("readings-minutes").hidden = job.readings.length === 0;
}

function readingRow(reading, place) {
  const path = `readings.${place}`;
  const compact = true;
  const choices = [
    ["infrared", "infrared"],
    ["contact", "contact"],
  ];
  const after = (_, value) => row.setAttribute("data-thermometer", value);
  const infrared = [
    field({ path: `${path}.surface`, label: "Looked at", kind: "choice", compact, choices: surfaces }),
    field({ path: `${path}.emissivity_set`, label: "Emissivity set", kind: "number", hint: "0.95", compact }),
  ];
  for (const part of infrared) part.classList.add("infrared");
  const row = el(
    "li",
    { class: "record", "aria-label": `Reading ${place + 1}`, "data-thermometer": reading.thermometer },
    el("span", { class: "number", "aria-hidden": "true", text: `${place + 1}` }),
    field({ path: `${path}.position_mm`, label: "From mouth", kind: "length", compact }),
    field({ path: `${path}.displayed_degC`, label: "Shown", kind: "temperature", compact }),
    remove(`Remove reading ${place + 1}`, "readings", place, "add-reading"),
    el(
      "details",
      { class: "how" },
      el("summary", { "data-how": place }),
      el(
        "div",
        { class: "fields" },
        field({ path: `${path}.thermometer`, label: "Thermometer", kind: "choice", compact, choices, after }),
        ...infrared,
      ),
    ),
    el("p", { class: "note", "data-residual": place }),
  );
  return row;
}

/** How a reading was taken, in a few words. */
function how({ thermometer, surface, emissivity_set: set }) {
  if (thermometer === "contact") return "by contact";
  return `infrared on ${surface ?? "the branch's own skin"}, set to ${set ?? 0.95}`;
}

function heardRow(heard, place) {
  const path = `heard.${place}`;
  const length = heardLength(store.current(), heard);
  const compact = true;
  return el(
    "li",
    { class: "record", "aria-label": `Heard ${place + 1}` },
    el("span", { class: "number", "aria-hidden": "true", text: `${place + 1}` }),
    field({ path: `${path}.quiet_rpm`, label: "Quietest at", kind: "rpm", compact }),
    field({ path: `${path}.uncertainty_rpm`, label: "Give or take", kind: "rpm", hint: "1 %", compact }),
    remove(`Remove heard ${place + 1}`, "heard", place, "add-heard"),
    heard.moved
      ? el("div", { class: "note" }, field({ path: `${path}.centreline_length_mm`, label: "With the cap at, from the main pipe’s inner wall", kind: "length", compact }))
      : el("p", { class: "note", text: `With the branch ${onTape(length, Math.round)} long.` }),
    el("div", { class: "note" }, field({ ...RUN_FOR, path: `${path}.run_min`, compact })),
    el("p", { class: "note", "data-heard": place }),
  );
}

function remove(label, list, place, focus) {
  return el("button", {
    type: "button",
    class: "faint",
    title: "Remove",
    "aria-label": label,
    text: "×",
    onclick: () => {
      store.change(label.toLowerCase(), (job) => job[list].splice(place, 1));
      byId(focus).focus();
    },
  });
}

/** Show what the fit makes of it. */
export function show() {
  const { fit } = answers;
  const job = store.current();
  const measured = hasData(job);
  for (const summary of document.querySelectorAll("[data-how]")) {
    write(summary, how(job.readings[Number(summary.dataset.how)] ?? {}));
  }
  byId("measured").hidden = !job.built;
  byId("not-yet-3").hidden = job.built;
  byId("fit").hidden = !fit;
  if (!fit) return;
  showRivals(fit);
  write(byId("time-untold"), measured ? untoldWords(fit.time_untold) : "");
  write(byId("read-standing"), measured ? stateWords(fit) : "");
  write(byId("fit-outcome"), measured ? OUTCOMES[fit.outcome] ?? fit.outcome : "Nothing measured yet.");
  write(byId("fit-words"), fitWords(fit, measured));
  write(byId("next-reading"), nextWords(fit));
  showNotes(fit, job);
  showBeforeAfter(fit, measured);
  showSkin();
  learned.show({
    caption: "What the model was unsure of: 90 % ranges",
    headings: ["what", "before", "after", "learned"],
    rows: fit.parameters.map((p) => [
      NAMES[p.name] ?? p.name.replaceAll("_", " "),
      pair(p, p.prior_90),
      measured ? pair(p, p.interval_90) : "",
      measured ? `${Math.round(p.learned_share * 100)} %` : "",
    ]),
    file: "learned",
  });
  fill(byId("untold"), ...(measured ? fit.untold : []).map((text) => el("li", { text })));
}

// Slips that would explain the readings better, as the service weighs them.
function showRivals(fit) {
  const items = (fit.rivals ?? []).map(({ sentence, odds, quiet_rpm: rpm, what_to_read: next }) => {
    const weighed = odds >= 2 ? `That is ${odds >= 1000 ? "more than 1000" : odds.toFixed(0)} times likelier than all as written.` : "";
    const then = rpm == null ? "" : `If so, it is quiet at ${rpm.toFixed(0)} rpm.`;
    return el("li", { text: [sentence, weighed, then, next].filter(Boolean).join(" ") });
  });
  fill(byId("rivals"), ...items);
}

function untoldWords(untold) {
  if (!untold) return "";
  const { question, early_s: early, tone_low_percent: low } = untold;
  return `${question} ${early / 60} minutes after a cold start it sounds ${low.toFixed(1)} % too low.`;
}

// In which state the readings were taken, as the service weighs it.
function stateWords({ read_standing: stood, read_idling: idled }) {
  const said = [];
  if (stood && stood.odds >= 1 / SURE) {
    const times = Math.max(stood.odds, 1 / stood.odds);
    const likelier = stood.odds > 1 ? "standing still" : "in the wind";
    const weighed = times < 1.5 ? "The readings do not tell." : `By what was read, ${likelier} is ${times > SURE ? `more than ${SURE}` : times.toFixed(0)} times likelier.`;
    said.push(`${stood.question} ${weighed} Say so at “Air speed when read”.`);
  }
  if (idled) said.push(`${idled.question} Idling has a chance of ${Math.round(idled.chance * 100)} %; read again where it drones.`);
  return said.join(" ");
}

const OUTCOMES = {
  fitted: "It fits what was read and heard.",
  "contradicts prior": "It fits only with values that are hard to believe: look for a slip.",
  "prior-dominated": "What was measured adds little so far.",
  "contradictory readings": "The readings contradict each other: look at those marked.",
  "at a bound": "It fits only at the edge of what is believable: measure again.",
  "not converged": "No fit was found: look for a slip in the readings.",
};

const NAMES = {
  gas_temperature: "main gas temperature",
  air_temperature: "air near the branch",
  mouth_exchange: "exchange at the mouth by the flow",
  tone_exchange: "exchange at the mouth by the tone",
  mass_flow: "gas flow",
  buoyancy: "buoyant counterflow",
  stirred_film: "inner film, by the stirring",
  stirring: "stirring two bores in",
  reach: "reach of the stirring, in bores",
  stanton: "film of heat inside",
  outer_film_factor: "film of heat outside, factor",
  emissivity: "the skin's emissivity",
  mouth_factor: "mouth correction, factor",
  pulsation: "mixing by pulsation",
};

function pair(parameter, [low, high]) {
  const text = (value) =>
    parameter.unit === "degC" ? plain("temperature", value) : `${Number(value.toPrecision(2))}`;
  const unit = parameter.unit === "degC" ? `\u00a0${unitOf("temperature")}` : "";
  return `${text(low)} to ${text(high)}${unit}`;
}

// Of the build as it stands there is one number on the page; after a cut, the fit tells of another.
function fittedLevels(fit) {
  const own = fit.cutSince === 0 ? quietAt()?.answer.prediction?.quiet_rpm : null;
  return own ?? fit.prediction.quiet_rpm;
}

const rpmOf = (levels) => levels.interval_90.map((x) => x.toFixed(0)).join(" and ");

function fitWords(fit, measured) {
  const after = fittedLevels(fit);
  const before = fit.prediction.before_fit.quiet_rpm;
  if (!after || !before) return inOwnUnits(fit.summary);
  if (!measured) {
    return `From the sizes alone: 90 % between ${rpmOf(before)} rpm. Each reading narrows that.`;
  }
  return (
    `The build you measured cancels best at ${after.median.toFixed(0)} rpm, 90 % between ` +
    `${rpmOf(after)}. Before, it was 90 % between ${rpmOf(before)}.`
  );
}

function nextWords(fit) {
  const next = fit.next_reading;
  const share = (value) => `${Math.round(value * 100)} %`;
  const place = `a reading ${say("length", next.best_position.position_mm)} from the mouth would take away ${share(next.best_position.variance_removed_share)}`;
  return next.listen
    ? `Best next: listen for the quiet rpm. It would take away ${share(next.listening_share)} of the doubt; ${place}.`
    : `Best next: ${place} of the doubt; listening, ${share(next.listening_share)}.`;
}

function showNotes(fit, job) {
  const latest = readAfter(job);
  for (const note of document.querySelectorAll("[data-residual]")) {
    const place = Number(note.dataset.residual);
    const residual = fit.residuals[fit.places.indexOf(place)];
    const reading = job.readings[place];
    const whole = isWhole(reading);
    const older = whole && reading.after_cuts !== latest;
    let text = "";
    if (!whole) text = "Counts as soon as it has a place and a temperature.";
    else if (older) text = "Taken before a later cut; later readings are used instead.";
    else if (residual) {
      const unit = unitOf("difference");
      const off = plain("difference", Math.abs(residual.residual_K));
      const side = residual.residual_K < 0 ? "below" : "above";
      text = `Fitted: ${say("temperature", residual.expected_degC)}, this is ${off} ${unit} ${side}.`;
      if (residual.suspect) text = `Suspect. ${text} ${inOwnUnits(residual.reasons.map((r) => r.message).join(" "))}`;
    }
    write(note, text);
    note.classList.toggle("suspect", whole && !older && Boolean(residual?.suspect));
  }
  for (const note of document.querySelectorAll("[data-heard]")) {
    const heard = fit.heard[fit.heardPlaces.indexOf(Number(note.dataset.heard))];
    const expected = heard?.expected_rpm == null ? "" : `Fitted: ${heard.expected_rpm.toFixed(0)} rpm. `;
    write(note, heard ? expected + inOwnUnits(heard.reasons.map((r) => r.message).join(" ")) : "");
    note.classList.toggle("suspect", Boolean(heard?.suspect));
  }
}

// Bars of 50 and 90 % before and after, beside what one temperature promises and what was heard.
function showBeforeAfter(fit, measured) {
  const before = fit.prediction.before_fit.quiet_rpm;
  const after = measured ? fittedLevels(fit) : fit.prediction.quiet_rpm;
  byId("before-after").hidden = !before || !after;
  if (!before || !after) return;
  const rows = [{ name: "before", levels: before, style: "prior" }];
  if (measured) rows.push({ name: "fitted", levels: after, style: "fitted" });
  for (const heard of fit.heard) {
    if (heard.quiet_rpm !== null) rows.push({ name: "heard", at: heard.quiet_rpm });
  }
  const one = fit.difference?.one_temperature_rpm;
  if (one) rows.push({ name: "one gas temperature", at: one });
  const values = rows.flatMap((row) => (row.levels ? row.levels.interval_90 : [row.at]));
  const target = fit.trim?.target_rpm ?? null;
  if (target !== null) values.push(target);
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const across = (rpm) => 12 + ((rpm - low) / (high - low || 1)) * 336;
  const foot = rows.length * 44 + 6;
  const parts = rows.flatMap((row, k) => intervalRow(row, 34 + k * 44, across));
  if (target !== null) {
    parts.unshift(svg("path", { class: "line target", d: `M${across(target)} 4V${foot}` }));
    const anchor = across(target) > 300 ? "end" : across(target) < 60 ? "start" : "middle";
    parts.push(svg("text", { class: "tick", x: across(target), y: foot + 15, "text-anchor": anchor, text: "wanted" }));
  }
  const words = rows
    .map((row) => `${row.name}: ${row.levels ? `90 % between ${rpmOf(row.levels)}` : row.at.toFixed(0)} rpm`)
    .join("; ");
  const size = { viewBox: `0 0 360 ${foot + 22}`, role: "img", class: "intervals" };
  fill(byId("before-after-picture"), svg("svg", { ...size, "aria-label": words }, ...parts));
  write(byId("before-after-words"), `${words}. Thick bars hold half, thin ones nine tenths.`);
  const levels = (row) => [row.levels.median, ...row.levels.interval_50, ...row.levels.interval_90];
  levelsTable.show({
    headings: ["rpm", "median", "25 %", "75 %", "5 %", "95 %"],
    rows: rows.map((row) => [row.name, ...(row.levels ? levels(row) : [row.at]).map((rpm) => rpm.toFixed(0))].concat(Array(row.levels ? 0 : 4).fill(""))),
    file: "before-and-after",
  });
}

function intervalRow(row, y, across) {
  const middle = across(row.levels ? row.levels.median : row.at);
  const anchor = middle > 180 ? "end" : "start";
  const said = row.name === "before" ? row.name : `${row.name} ${(row.levels ? row.levels.median : row.at).toFixed(0)}`;
  const name = svg("text", {
    class: "mark",
    x: middle > 180 ? Math.min(middle + 30, 350) : Math.max(middle - 30, 10),
    y: y - 14,
    "text-anchor": anchor,
    text: said,
  });
  if (!row.levels) {
    return [svg("path", { class: "diamond", d: `M${middle - 7} ${y}l7 -7l7 7l-7 7Z` }), name];
  }
  const [a, b] = row.levels.interval_90.map(across);
  const [c, d] = row.levels.interval_50.map(across);
  return [
    svg("path", { class: `interval ${row.style} thin`, d: `M${a} ${y}H${b}` }),
    svg("path", { class: `interval ${row.style} thick`, d: `M${c} ${y}H${d}` }),
    svg("path", { class: "median", d: `M${middle} ${y - 9}V${y + 9}` }),
    name,
  ];
}
