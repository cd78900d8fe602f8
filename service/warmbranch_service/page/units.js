// Millimetres or inches, °C or °F. A value is kept as it was typed: a number in the unit of the
// field's name, or a string with its own unit, which the service reads. Only what is shown is
// converted here, so changing the units changes no value.

import { lengthOf, numberOf } from "./typed_lengths.js";

const INCH = 25.4;
export const chosen = { length: "mm", temperature: "degC" };

/** Units that a browser of this language starts with: inches and °F in the United States. */
export function unitsOf(language) {
  return /^en-US\b/i.test(language ?? "") ? { length: "in", temperature: "degF" } : { length: "mm", temperature: "degC" };
}

// kind of field → unit shown, and how many decimals are worth showing
const SHOWN = {
  length: () => (chosen.length === "in" ? ["in", 3] : ["mm", 1]),
  temperature: () => (chosen.temperature === "degF" ? ["°F", 1] : ["°C", 1]),
  difference: () => (chosen.temperature === "degF" ? ["°F", 1] : ["°C", 1]),
  rpm: () => ["rpm", 0],
  hertz: () => ["Hz", 1],
  speed: () => [chosen.length === "in" ? "mph" : "m/s", 2],
  road: () => [chosen.length === "in" ? "mph" : "km/h", 1],
  flow: () => ["kg/h", 1],
  pressure: () => ["kPa", 2],
  percent: () => ["%", 0],
  angle: () => ["°", 1],
  minutes: () => ["min", 0],
  volume: () => ["L", 2],
  conductivity: () => ["W/mK", 3],
  number: () => ["", 3],
};
// Speeds are kept in m/s, or as a string with the unit that was shown when they were typed.
const PER_M_S = { "m/s": 1, "km/h": 3.6, mph: 1 / 0.44704 };

export const unitOf = (kind) => SHOWN[kind]()[0];

/** A length in mm from what a job holds, or NaN. */
export function millimetres(value) {
  return typeof value === "number" ? value : lengthOf(value ?? "");
}

/** A temperature in °C from what a job holds, or NaN. */
export function celsius(value) {
  if (typeof value === "number") return value;
  const found = /^\s*([+-]?[\d.]+)\s*(?:deg|°)?\s*([CFK])\s*$/.exec(value ?? "");
  if (!found) return NaN;
  const number = Number(found[1]);
  return { C: number, F: (number - 32) / 1.8, K: number - 273.15 }[found[2]];
}

function metresPerSecond(value) {
  if (typeof value === "number") return value;
  const found = /^\s*([\d.]+)\s*(m\/s|km\/h|mph)\s*$/.exec(value ?? "");
  return found ? Number(found[1]) / PER_M_S[found[2]] : NaN;
}

const round = (value, decimals) => Number(value.toFixed(decimals));

/** A number in the contract's unit, in the unit that is shown. */
export function converted(kind, value) {
  if (kind === "length" && chosen.length === "in") return value / INCH;
  if (kind === "temperature" && chosen.temperature === "degF") return value * 1.8 + 32;
  if (kind === "difference" && chosen.temperature === "degF") return value * 1.8;
  if (kind === "speed" || kind === "road") return value * PER_M_S[unitOf(kind)];
  return value;
}

/** What stands in a field for what the job holds. */
export function fieldText(kind, value) {
  if (value === null || value === undefined) return "";
  const read = { length: millimetres, temperature: celsius, speed: metresPerSecond, road: metresPerSecond }[kind];
  if (!read) return `${value}`;
  const unit = unitOf(kind);
  if (typeof value === "string") {
    const own = { "°F": "F", "°C": "C" }[unit] ?? unit;
    if (value.endsWith(` ${own}`) && /^-?[\d.]+ /.test(value)) return value.slice(0, -own.length - 1);
  }
  if (typeof value === "number" && ["mm", "°C", "m/s"].includes(unit)) return `${value}`;
  const number = read(value);
  return Number.isFinite(number) ? `${round(converted(kind, number), SHOWN[kind]()[1])}` : `${value}`;
}

/** What the job holds for what was typed. Text that is no number is kept, and refused there. */
export function typed(kind, text) {
  const bare = text.trim().replace(/^[−–]/, "-");
  if (bare === "") return null;
  const inches = chosen.length === "in";
  if (kind === "length") {
    const number = numberOf(bare, inches);
    if (number !== null) return inches ? `${number} in` : number;
    const found = lengthOf(bare);
    if (!Number.isFinite(found)) return bare;
    return inches ? `${round(found / INCH, 5)} in` : round(found, 4);
  }
  const number = numberOf(bare, false);
  if (kind === "temperature") {
    if (number !== null) return chosen.temperature === "degF" ? `${number} F` : number;
    const own = /^(.*?)\s*(?:°|deg(?:rees)?)?\s*([CcFfKk])$/.exec(bare);
    const degrees = own && numberOf(own[1], false);
    return degrees === null ? bare : `${degrees} ${own[2].toUpperCase()}`;
  }
  if (kind === "speed" || kind === "road") {
    const unit = unitOf(kind);
    if (number !== null) return unit === "m/s" ? number : `${number} ${unit}`;
    return bare.replace(/\s*(kph|kmh|km\/h)$/i, " km/h").replace(/\s*(mph)$/i, " mph");
  }
  return number ?? bare;
}

/** For people: "1233 mm", "48.55 in", "310 °C". */
export function say(kind, value, decimals) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const unit = unitOf(kind);
  const tight = unit === "" || unit === "°" ? unit : `\u00a0${unit}`;
  return plain(kind, value, decimals) + tight;
}

/** The same without its unit. */
export function plain(kind, value, decimals) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const usual = { length: unitOf("length") === "in" ? 2 : 0, temperature: 0, difference: 1 };
  const places = decimals ?? usual[kind] ?? SHOWN[kind]()[1];
  return converted(kind, value).toFixed(places).replace(/^-/, "−").replace(/^−(0\.?0*)$/, "$1");
}

/** The smallest length that a tape shows, in mm. */
export const leastOnTape = () => (chosen.length === "in" ? INCH / 16 : 1);

/**
 * A length as a tape shows it: "22 mm", "1 3/16 in".
 *
 * rounded: Math.floor for what comes off, for a cut cannot be undone; Math.ceil for what is built;
 * Math.round for a mark.
 */
export function onTape(value, rounded = Math.floor) {
  if (!Number.isFinite(value)) return "–";
  const count = marks(value, rounded);
  if (chosen.length !== "in") return `${count}\u00a0mm`;
  const whole = Math.floor(count / 16);
  let [over, under] = [count % 16, 16];
  while (over > 0 && over % 2 === 0) [over, under] = [over / 2, under / 2];
  const parts = [whole > 0 || over === 0 ? `${whole}` : "", over > 0 ? `${over}/${under}` : ""];
  return `${parts.filter(Boolean).join("\u00a0")}\u00a0in`;
}

/** What onTape shows of a length, in mm. */
export function tapeLength(value, rounded) {
  return marks(value, rounded) * leastOnTape();
}

// How many of a tape's marks, millimetres or sixteenths, a length is.
const marks = (value, rounded) => rounded(round(value / leastOnTape(), 6));

/** The step of 1, 2 or 5 (or a fraction of an inch) in mm, nearest above a wanted one. */
export function niceStep(wanted) {
  if (chosen.length === "in") {
    const steps = [1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 4, 8, 12, 24];
    return (steps.find((step) => step * INCH >= wanted) ?? 24) * INCH;
  }
  const ten = 10 ** Math.floor(Math.log10(wanted));
  return ten * [1, 2, 5, 10].find((step) => step * ten >= wanted * 0.999);
}
