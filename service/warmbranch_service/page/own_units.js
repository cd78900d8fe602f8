// Sentences of the service, which speak of mm, °C, K and m/s, in the units that are shown.

import { chosen } from "./units.js";

const NUMBER = "[-−+]?\\d+(?:\\.\\d+)?";
const QUANTITY = new RegExp(`(${NUMBER})((?:\\s?(?:to|and|×|,)\\s?${NUMBER})*) (mm|°C|K|m/s)(?![\\w²³/])( more\\b)?`, "g");
const INCH = 25.4;

/** The sentence with its lengths, temperatures and speeds in the units chosen. */
export function inOwnUnits(sentence) {
  return sentence.replace(QUANTITY, (all, first, others, unit, more = "") => {
    const turn = turned(unit, more !== "");
    if (turn === null) return all;
    const [change, name] = turn;
    const rest = others.replace(new RegExp(NUMBER, "g"), change);
    return `${change(first)}${rest} ${name}${more}`;
  });
}

// "60 °C more" is a difference, whose zero is that of no thermometer.
function turned(unit, isMore) {
  if (unit === "mm") return chosen.length === "in" ? [scaled(1 / INCH, 3), "in"] : null;
  if (unit === "m/s") return chosen.length === "in" ? [scaled(1 / 0.44704, 2), "mph"] : null;
  // A difference in kelvin is told in the degrees that the thermometer shows.
  if (chosen.temperature !== "degF") return unit === "K" ? [(text) => text, "°C"] : null;
  if (unit === "K" || isMore) return [scaled(1.8, 2), "°F"];
  return [(text) => (number(text) * 1.8 + 32).toFixed(0), "°F"];
}

const number = (text) => Number(text.replace("−", "-"));
const scaled = (factor, digits) => (text) => {
  const value = number(text) * factor;
  const sign = text.startsWith("+") ? "+" : "";
  const places = Math.abs(value) < 1 ? 2 : digits;
  return sign + (value === 0 ? "0" : `${Number(value.toPrecision(places))}`);
};
