// What is wrong, in the page's own words and units: "engine: cylinders", "0.02 to 0.2 in".

import { inOwnUnits } from "./own_units.js";
import { converted, unitOf } from "./units.js";

const EXAMPLES = {
  length: () => (unitOf("length") === "in" ? "2.5, 1 7/8, 3' 4\", 48.3 mm or 16 ga" : "48.3, 48,3, 2 1/2 in or 16 ga"),
  temperature: () => (unitOf("temperature") === "°F" ? "590, or 310 C" : "310, or 590 F"),
  speed: () => "60 mph, 90 km/h or 4 m/s",
  road: () => "60 mph or 100 km/h",
};

/**
 * One refusal of the service as the page says it.
 *
 * kind: of the field, or undefined; nameOf: from a path to what the page calls it, or null.
 */
export function inOwnWords({ code, text, unit, value, detail, remedy }, kind, nameOf) {
  if (code === "missing" || (code === "not_a_number" && value === null)) return "This is needed.";
  if (["not_a_number", "no_quantity", "wrong_unit"].includes(code) && kind !== undefined) {
    const example = EXAMPLES[kind]?.() ?? "2350";
    return `“${value}” is not understood here. Type a number such as ${example}.`;
  }
  if (code === "out_of_range" && kind !== undefined) {
    const span = spanOf(remedy, kind);
    const slip = /Did you mean "([^"]+)"/.exec(remedy ?? "");
    if (span) return `That is out of range: ${span}.${slip ? ` Did you mean ${slip[1].replace(" ", "\u00a0")}? Then type it so.` : ""}`;
  }
  return inOwnUnits(named(text ?? `${detail} ${remedy}`, nameOf, unit));
}

// "Give a number from 0.5 to 5 mm, or …" in the unit that is shown.
function spanOf(remedy, kind) {
  const found = /(?:from|above) (-?[\d.e+]+) (to|and at most) (-?[\d.e+]+)/.exec(remedy ?? "");
  if (!found) return null;
  const shown = (number) => Number(converted(kind, Number(number)).toPrecision(3));
  const unit = unitOf(kind);
  return `between ${shown(found[1])} and ${shown(found[3])}${unit ? `\u00a0${unit}` : ""}`;
}

/** Paths of the API, such as case.engine.cylinders or engine_load, as the page calls them. */
export function named(text, nameOf) {
  return text
    .replace(/\b(?:case\.)?(?:[a-z_]+(?:\[\d+\])?\.)+[A-Za-z_0-9]+\b/g, (path) => {
      const whole = path.replace(/\[(\d+)\]/g, ".$1");
      return nameOf(whole) ?? nameOf(`case.${whole}`) ?? spaced(whole.split(".").at(-1));
    })
    .replace(/\b[a-z]+(?:_[A-Za-z0-9]+)+\b/g, (name) => nameOf(name) ?? spaced(name));
}

const UNITS_AT_END = /_(?:mm|degC|Hz|rpm|m_s|kPa|Pa|kg_h|deg|percent|dB|K|s|L|W_mK|W_m2K)$/;
const spaced = (name) => name.replace(UNITS_AT_END, "").replaceAll("_", " ");
