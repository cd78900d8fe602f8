// The chance of ending too short after a cut: from the very numbers that the advice is made of, so
// that the page says one thing. Nothing here asks the service.

const logit = (share) => Math.log(share / (1 - share));
const share = (score) => 1 / (1 + Math.exp(-score));

/**
 * What the advice of a fit says of cuts: [{cut, chance}], cuts rising; cut in mm off the branch as
 * it stands, chance from 0 to 1.
 */
export function chancesOf({ trim, cutSince }) {
  const [low, high] = trim.final_cut_90_mm;
  const told = [
    [trim.cut_now_mm, trim.chance_too_short],
    [low, 0.05],
    [trim.final_cut_mm, 0.5],
    [high, 0.95],
  ];
  const sorted = told
    .filter(([, chance]) => chance > 0 && chance < 1)
    .map(([cut, chance]) => ({ cut: cut - cutSince, chance }))
    .sort((a, b) => a.cut - b.cut);
  // Two that coincide, or that cross by rounding, are one.
  return sorted.filter((one, k) => k === 0 || (one.cut > sorted[k - 1].cut && one.chance > sorted[k - 1].chance));
}

/** The chance after so much off, {text, value in percent}; null where too little is known. */
export function chanceOf(cut, chances) {
  if (chances.length < 2) return null;
  const [first, last] = [chances[0], chances.at(-1)];
  const percent = (value) => (value < 0.1 ? Number((value * 100).toFixed(1)) : Math.round(value * 100));
  if (cut < first.cut) return { text: `under ${percent(first.chance)} %`, value: first.chance * 100 };
  if (cut > last.cut) return { text: `over ${percent(last.chance)} %`, value: last.chance * 100 };
  const k = Math.max(1, chances.findIndex((one) => one.cut >= cut));
  const [a, b] = [chances[k - 1], chances[k]];
  const way = (cut - a.cut) / (b.cut - a.cut);
  const found = share(logit(a.chance) + way * (logit(b.chance) - logit(a.chance)));
  return { text: `about ${percent(found)} %`, value: found * 100 };
}
