// Millimetres or inches, °C or °F. A value is kept as it was typed: a number in the unit of the
// field's name, or a string with its own unit, which the service reads. Only what is shown is
// converted here, so changing the units changes no value.

const MM_PER = { mm: 1, cm: 10, m: 1000, in: 25.4, inch: 25.4, inches: 25.4, '"': 25.4, ft: 304.8 };

export const chosen = { length: "mm", temperature: "degC" };

// kind of field → unit shown, and how many decimals are worth showing
const SHOWN = {
  length: () => (chosen.length === "in" ? ["in", 3] : ["mm", 1]),
  temperature: () => (chosen.temperature === "degF" ? ["°F", 1] : ["°C", 1]),
  difference: () => (chosen.temperature === "degF" ? ["°F", 1] : ["K", 1]),
  rpm: () => ["rpm", 0],
  speed: () => ["m/s", 2],
  flow: () => ["kg/h", 1],
  pressure: () => ["kPa", 2],
  percent: () => ["%", 0],
  angle: () => ["°", 1],
  volume: () => ["L", 2],
  conductivity: () => ["W/mK", 3],
  number: () => ["", 3],
};

export const unitOf = (kind) => SHOWN[kind]()[0];

/** A length in mm from what a job holds, or NaN. */
export function millimetres(value) {
  if (typeof value === "number") return value;
  const found = /^\s*([+-]?[\d.]+)\s*([a-z"]+)\s*$/.exec(value ?? "");
  return found && MM_PER[found[2]] ? Number(found[1]) * MM_PER[found[2]] : NaN;
}

/** A temperature in °C from what a job holds, or NaN. */
export function celsius(value) {
  if (typeof value === "number") return value;
  const found = /^\s*([+-]?[\d.]+)\s*(?:deg|°)?\s*([CFK])\s*$/.exec(value ?? "");
  if (!found) return NaN;
  const number = Number(found[1]);
  return { C: number, F: (number - 32) / 1.8, K: number - 273.15 }[found[2]];
}

const round = (value, decimals) => Number(value.toFixed(decimals));

/** A number in the contract's unit, in the unit that is shown. */
export function converted(kind, value) {
  if (kind === "length" && chosen.length === "in") return value / MM_PER.in;
  if (kind === "temperature" && chosen.temperature === "degF") return value * 1.8 + 32;
  if (kind === "difference" && chosen.temperature === "degF") return value * 1.8;
  return value;
}

/** The contract's number for one in the unit that is shown. */
export function contract(kind, shown) {
  if (kind === "length" && chosen.length === "in") return shown * MM_PER.in;
  if (kind === "temperature" && chosen.temperature === "degF") return (shown - 32) / 1.8;
  return shown;
}

/** What stands in a field for what the job holds. */
export function fieldText(kind, value) {
  if (value === null || value === undefined) return "";
  if (kind === "length" || kind === "temperature") {
    const [unit, decimals] = SHOWN[kind]();
    if (typeof value === "string" && !asTyped(kind, value)) {
      const number = kind === "length" ? millimetres(value) : celsius(value);
      return Number.isFinite(number) ? `${round(converted(kind, number), decimals)}` : value;
    }
    if (typeof value === "string") return value.replace(/\s*(in|°?F)$/, "");
    if (unit === "mm" || unit === "°C") return `${value}`;
    return `${round(converted(kind, value), decimals)}`;
  }
  return `${value}`;
}

// Whether the string is in the unit shown, so that it stands in the field as it was typed.
function asTyped(kind, value) {
  if (kind === "length") return chosen.length === "in" && /^[\d.]+ in$/.test(value);
  return chosen.temperature === "degF" && /^-?[\d.]+ F$/.test(value);
}

/** What the job holds for what was typed. Text that is no number is kept, and refused there. */
export function typed(kind, text) {
  const bare = text.trim();
  if (bare === "") return null;
  const number = plainNumber(kind, bare);
  if (number === null) return bare;
  if (kind === "length" && chosen.length === "in") return `${number} in`;
  if (kind === "temperature" && chosen.temperature === "degF") return `${number} F`;
  return number;
}

function plainNumber(kind, text) {
  const bare = text.replace(/^[−–]/, "-");
  if (/^[+-]?(\d+\.?\d*|\.\d+)$/.test(bare)) return Number(bare);
  // A decimal comma; but 1,234 may be a thousand, so that is left for the service to refuse.
  if (/^[+-]?\d+,\d+$/.test(bare) && !/,\d{3}$/.test(bare)) return Number(bare.replace(",", "."));
  const inches = /^(?:(\d+)[ -])?(\d+)\/(\d+)$/.exec(bare); // 1 7/8
  if (inches && kind === "length" && chosen.length === "in" && Number(inches[3]) > 0) {
    return round(Number(inches[1] ?? 0) + Number(inches[2]) / Number(inches[3]), 5);
  }
  return null;
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

/** A length as a tape shows it, rounded down, for a cut cannot be undone: "22 mm", "1 3/16 in". */
export function onTape(value) {
  if (unitOf("length") !== "in") return `${Math.floor(value)}\u00a0mm`;
  const sixteenths = Math.floor((value / MM_PER.in) * 16);
  const whole = Math.floor(sixteenths / 16);
  let [over, under] = [sixteenths % 16, 16];
  while (over > 0 && over % 2 === 0) [over, under] = [over / 2, under / 2];
  const parts = [whole > 0 || over === 0 ? `${whole}` : "", over > 0 ? `${over}/${under}` : ""];
  return `${parts.filter(Boolean).join("\u00a0")}\u00a0in`;
}

/** The step of 1, 2 or 5 (or a fraction of an inch) in mm, nearest above a wanted one. */
export function niceStep(wanted) {
  if (chosen.length === "in") {
    const steps = [1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 4];
    return (steps.find((step) => step * MM_PER.in >= wanted) ?? 4) * MM_PER.in;
  }
  const ten = 10 ** Math.floor(Math.log10(wanted));
  return ten * [1, 2, 5, 10].find((step) => step * ten >= wanted * 0.999);
}
