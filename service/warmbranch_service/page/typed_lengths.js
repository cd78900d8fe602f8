// Lengths as people write them: 3' 4", 1 7/8 in, 48,3 mm, 16 ga. All become mm.

const PER = { mm: 1, cm: 10, m: 1000, in: 25.4, inch: 25.4, inches: 25.4, '"': 25.4, ft: 304.8, feet: 304.8, foot: 304.8, "'": 304.8 };

// Tube walls by gauge, in inches: Birmingham wire gauge (BWG), as tube is sold by. From memory.
const GAUGE = { 8: 0.165, 9: 0.148, 10: 0.134, 11: 0.12, 12: 0.109, 13: 0.095, 14: 0.083, 15: 0.072, 16: 0.065, 17: 0.058, 18: 0.049, 19: 0.042, 20: 0.035, 21: 0.032, 22: 0.028 };

/** A bare number, with a decimal point or comma; with `fractions`, 1 7/8 too. Else null. */
export function numberOf(text, fractions) {
  const bare = text.trim();
  if (/^[+-]?(\d+\.?\d*|\.\d+)$/.test(bare)) return Number(bare);
  // A decimal comma; but 1,234 may be a thousand, so that is left for the service to refuse.
  if (/^[+-]?\d+,\d+$/.test(bare) && !/^[+-]?[1-9]\d*,\d{3}$/.test(bare)) return Number(bare.replace(",", "."));
  return fractions ? fraction(bare) : null;
}

function fraction(text) {
  const found = /^(?:(\d+)[ \u00a0-]+)?(\d+)\s*\/\s*(\d+)$/.exec(text); // 1 7/8
  if (!found || Number(found[3]) === 0) return null;
  return Number((Number(found[1] ?? 0) + Number(found[2]) / Number(found[3])).toFixed(5));
}

/** A length with its unit in mm, or NaN. */
export function lengthOf(text) {
  const bare = text
    .trim()
    .toLowerCase()
    .replace(/[’′]/g, "'")
    .replace(/[“”″]|''/g, '"');
  const gauge = /^(\d+)\s*(?:ga|gauge|bwg)\.?$/.exec(bare);
  if (gauge) return GAUGE[gauge[1]] ? GAUGE[gauge[1]] * 25.4 : NaN;
  const both = /^(.+?)\s*(?:'|ft|feet|foot)\s*(.+?)\s*(?:"|inches|inch|in)?\.?$/.exec(bare); // 3' 4"
  if (both) {
    const [feet, inches] = [numberOf(both[1], false), numberOf(both[2], true)];
    if (feet !== null && inches !== null) return feet * 304.8 + inches * 25.4;
  }
  const one = /^(.+?)\s*(mm|cm|m|inches|inch|in|"|feet|foot|ft|')\.?$/.exec(bare);
  const number = one && numberOf(one[1], true);
  return number === null || number === undefined ? NaN : number * PER[one[2]];
}
