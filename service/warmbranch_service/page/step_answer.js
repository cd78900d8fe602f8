// Step 2: what it will do.

import { chart } from "./chart.js";
import { byId, el, fill, write } from "./dom.js";
import { drawing } from "./drawing.js";
import { aimedRpm, builtLength, caseNow, lengthened, USUAL_WALL } from "./job.js";
import { inOwnUnits } from "./own_units.js";
import { answers, WARMING_S } from "./questions.js";
import { shownReadings } from "./shown_readings.js";
import * as store from "./store.js";
import { converted, millimetres, onTape, plain, say, tapeLength, unitOf } from "./units.js";

const FIRST_CAUTIONS = 4; // the rest folds away
// What the page tells in words of its own, where it can be mended.
const TOLD_ELSEWHERE = new Set(["time_untold", "read_in_the_wind", "read_at_idle", "does_not_fit", "near_pressure_node"]);
const toldElsewhere = (code) => code.startsWith("safety_") || code.startsWith("perhaps_") || TOLD_ELSEWHERE.has(code);

const charts = {
  profile: chart("Temperature along the branch"),
  loss: chart("What it takes out of the noise"),
  warmup: chart("From cold to warm"),
};

export function build() {
  byId("answer-charts").append(...Object.values(charts).map((one) => one.figure));
  new ResizeObserver(showDrawing).observe(byId("drawing").parentElement);
}

export function show() {
  showDrawing();
  write(byId("of-which-length"), lengthWords());
  showProfile();
  showLoss();
  showWarmup();
  showCautions();
}

/** The case as it is drawn: as it stands, or as it is to be built; null before there is one. */
export function drawnCase(job) {
  if (job.built) return builtLength(job) > 0 ? caseNow(job) : null;
  return answers.length ? lengthened(caseNow(job), tapeLength(answers.length.build_length_mm, Math.ceil)) : null;
}

function showDrawing() {
  const job = store.current();
  const given = answers.lacking.length > 0 ? null : drawnCase(job);
  if (given === null) {
    fill(byId("drawing"));
    write(byId("drawing-words"), "Drawn as soon as there is an answer.");
    return;
  }
  const profile = answers.warm?.profile ?? answers.now?.profile ?? null;
  const spots = job.built
    ? shownReadings().map(({ position, temperature, suspect }) => ({
        position,
        suspect,
        text: say("temperature", temperature),
      }))
    : [];
  const cut = millimetres(job.draft_cut_mm);
  const length = builtLength({ ...job, case: given });
  const at = job.built && cut > 0 ? length - cut : null;
  const words =
    `The branch to scale, ${job.built ? "" : "as it is to be built, "}${onTape(length, job.built ? Math.round : Math.ceil)} along its centre-line` +
    (profile
      ? `, coloured by its gas: ${say("temperature", profile.gas_degC[0])} at the mouth, ` +
        `${say("temperature", profile.gas_degC.at(-1))} at the cap.`
      : ".");
  const space = { width: byId("drawing").clientWidth || 700, height: 384 };
  fill(byId("drawing"), drawing(given, profile, spots, at, words, space));
  write(byId("drawing-words"), words);
  if (profile) {
    write(byId("ramp-cool"), say("temperature", Math.min(...profile.gas_degC)));
    write(byId("ramp-hot"), say("temperature", Math.max(...profile.gas_degC)));
  }
}

// The drawing is of the branch as it is to be built, the curves are of the right length.
function lengthWords() {
  const { length } = answers;
  if (store.current().built || !length || answers.lacking.length > 0) return "";
  const [first] = length.trim_steps;
  const quiet = first?.quiet_rpm ?? first?.frequency_Hz;
  const unit = first?.quiet_rpm == null ? "Hz" : "rpm";
  const begins = quiet == null ? "" : ` Built ${onTape(length.build_length_mm, Math.ceil)} long, it is first quiet at about ${quiet.toFixed(0)}\u00a0${unit}, and higher with each cut.`;
  return `What follows is of the right length, ${onTape(length.centreline_length_mm, Math.round)}, once it is trimmed to that.${begins}`;
}

function showProfile() {
  const answer = answers.warm ?? answers.now;
  if (!answer) return;
  const spread = answer.prediction?.profile ?? null;
  const { position_mm, gas_degC, skin_degC, wall_degC } = answer.profile;
  const shownX = position_mm.map((x) => converted("length", x));
  const shownY = (values) => values.map((value) => converted("temperature", value));
  const wrapped = answer.profile.wall_degC.some((wall, k) => Math.abs(wall - skin_degC[k]) > 0.5);
  const lines = [
    { name: "gas", style: "line hot", x: shownX, y: shownY(gas_degC) },
    { name: "skin", style: "line cool dashed", x: shownX, y: shownY(skin_degC) },
  ];
  if (wrapped) lines.push({ name: "wall under the wrap", style: "line ink dotted", x: shownX, y: shownY(wall_degC) });
  const read = shownReadings();
  const points = read.map(({ position, temperature, residual, suspect }) => ({
    name: suspect ? "suspect reading" : "reading",
    style: suspect ? "point suspect" : "point",
    x: converted("length", position),
    y: converted("temperature", temperature),
    spread: residual ? converted("difference", 2 * residual.uncertainty_K) : 0,
  }));
  const words =
    `From ${say("temperature", gas_degC[0])} at the mouth the gas cools to ` +
    `${say("temperature", gas_degC[Math.floor(gas_degC.length / 2)])} by ` +
    `${say("length", position_mm[Math.floor(position_mm.length / 2)])} and ` +
    `${say("temperature", gas_degC.at(-1))} at the cap; the skin from ` +
    `${say("temperature", skin_degC[0])} to ${say("temperature", skin_degC.at(-1))}.` +
    condensing(answer) +
    (spread ? ` Bands hold 50 and 90 % of what is believed.` : "") +
    (points.length ? ` Bars on readings hold 19 of 20.` : "");
  const [along, degrees] = [unitOf("length"), unitOf("temperature")];
  charts.profile.draw({
    title: "Temperature along the branch",
    words,
    x: { title: `${along} from the mouth`, say: (x) => `${x.toFixed(along === "in" ? 1 : 0)} ${along}` },
    y: { title: degrees, say: (y) => `${y.toFixed(0)} ${degrees}` },
    lines,
    bands: bandsOf(spread),
    points,
    table: profileTable(answer.profile, spread, along, degrees),
    file: "temperatures",
  });
}

function condensing({ condensate }) {
  if (!condensate) return "";
  const filling = condensate.fills_mm_h;
  const fills = filling === null ? "" : `, and fill ${say("length", filling)} of tube in that time unless it drains`;
  return ` Water condenses from ${say("length", Math.round(condensate.from_position_mm))} on, some ${condensate.rate_g_h} g in an hour of driving${fills}.`;
}

function bandsOf(spread) {
  if (spread === null) return [];
  const x = spread.position_mm.map((at) => converted("length", at));
  return ["gas", "skin"].flatMap((part) =>
    [[90, "wide"], [50, "narrow"]].map(([share, kind]) => {
      const pairs = spread[`${part}_interval_${share}_degC`];
      const side = (end) => pairs.map((pair) => converted("temperature", pair[end]));
      return { name: `${part}, ${share} %`, style: `band ${kind} of-${part}`, x, low: side(0), high: side(1) };
    }),
  );
}

function profileTable({ position_mm, gas_degC, skin_degC }, spread, along, degrees) {
  const parts = { gas: gas_degC, skin: skin_degC };
  const headings = [`from the mouth, ${along}`, `gas, ${degrees}`, `skin, ${degrees}`];
  if (spread) headings.push("gas, 5 %", "gas, 95 %", "skin, 5 %", "skin, 95 %");
  const text = (value) => plain("temperature", value, 1);
  const every = position_mm.flatMap((at, k) => (k % 4 === 0 ? [k] : []));
  const rows = every.map((k, row) => [
    plain("length", position_mm[k], 2),
    ...Object.values(parts).map((values) => text(values[k])),
    ...(spread ? Object.keys(parts).flatMap((part) => spread[`${part}_interval_90_degC`][row].map(text)) : []),
  ]);
  return { headings, rows };
}

function showLoss() {
  const { warm, warmup } = answers;
  if (!warm?.attenuation) return;
  const loss = warm.attenuation;
  const byRpm = loss.rpm !== null;
  const x = loss.rpm ?? loss.frequency_Hz;
  const unit = byRpm ? "rpm" : "Hz";
  const lines = [{ name: "warm", style: "line hot", x, y: loss.transmission_loss_dB }];
  const job = store.current();
  const target = byRpm ? aimedRpm(job, answers.length?.target) : null;
  const half = typeof job.drone_half_width_rpm === "number" ? job.drone_half_width_rpm : 100;
  const spans = typeof target !== "number" ? [] : [{ name: "where it drones", from: target - half, to: target + half }];
  const cold = byRpm ? warmup?.cold_quiet_rpm : warmup?.cold_resonance_Hz;
  const inside = typeof cold === "number" && cold > x[0] && cold < x.at(-1);
  charts.loss.draw({
    title: "What it takes out of the noise",
    words: `${bestWords(loss.deepest)}${lossWords(x, loss.transmission_loss_dB, target, half, unit)}`,
    x: { title: unit, say: (v) => `${v.toFixed(0)} ${unit}` },
    y: { title: "transmission loss, dB", least: 0, say: (v) => `${v.toFixed(1)} dB` },
    lines,
    spans,
    marks: inside ? [{ name: "quiet here when cold", style: "line cool dotted", x: cold }] : [],
    table: {
      headings: [unit, "dB"],
      rows: x.map((at, k) => [at.toFixed(1), loss.transmission_loss_dB[k]?.toFixed(2) ?? ""]),
    },
    file: "transmission-loss",
  });
}

function bestWords(best) {
  if (!best?.interval_90_dB) return "";
  const [low, high] = best.interval_90_dB.map((v) => v.toFixed(0));
  return `At its best it holds back ${best.transmission_loss_dB.toFixed(0)} dB, 90 % between ${low} and ${high}. `;
}

function lossWords(x, losses, target, half, unit) {
  const place = answers.more?.place?.here;
  const where = place
    ? ` Where you want to put it, it takes ${place.band_insertion_loss_dB.toFixed(0)} dB of the drone.`
    : " How much of that is heard depends on where on the pipe it stands: see below.";
  if (typeof target !== "number") return `Sound that it holds back between two long pipes, by ${unit}.${where}`;
  const within = losses.filter((_, k) => Math.abs(x[k] - target) <= half && losses[k] !== null);
  if (!within.length) return `The drone lies outside of what is drawn.${where}`;
  return `Where it drones it holds back ${Math.min(...within).toFixed(0)} to ${Math.max(...within).toFixed(0)} dB.${where}`;
}

function showWarmup() {
  const { warmup } = answers;
  if (!warmup) return;
  const { time_s, quiet_rpm, resonance_Hz } = warmup.series;
  const byRpm = quiet_rpm !== null;
  const unit = byRpm ? "rpm" : "Hz";
  const y = quiet_rpm ?? resonance_Hz;
  const minutes = time_s.map((time) => time / 60);
  const bands = [];
  if (warmup.bands && byRpm) {
    const x = warmup.bands.time_s.map((time) => time / 60);
    for (const [share, style] of [[90, "band wide"], [50, "band narrow"]]) {
      const pairs = warmup.bands[`quiet_rpm_interval_${share}`];
      bands.push({ name: `${share} % band`, style, x, low: pairs.map((p) => p[0]), high: pairs.map((p) => p[1]) });
    }
  }
  const settled = warmup.settled.within_1_percent_s;
  const cold = warmup.cold_quiet_rpm ?? warmup.cold_resonance_Hz;
  const words =
    cold === null
      ? warmup.summary
      : `Cold it is quiet at ${cold.toFixed(0)} ${unit}. ` +
        (settled === null
          ? "It is not yet within 1 % of warm after twenty minutes."
          : `After ${(settled / 60).toFixed(1)} minutes it stays within 1 % of warm: listen after that.`) +
        warmingWords(warmup);
  charts.warmup.draw({
    title: "From cold to warm",
    words,
    x: { title: "minutes from the start", say: (v) => `${v.toFixed(1)} min` },
    y: { title: `quiet ${unit}`, say: (v) => `${v.toFixed(0)} ${unit}` },
    lines: [{ name: `quiet ${unit}`, style: "line ink", x: minutes, y }],
    bands,
    table: warmupTable(unit, warmup.series, y, byRpm ? warmup.bands : null),
    file: "warm-up",
  });
}

// What it holds back while it is still warming, at the speed that was asked for.
function warmingWords({ series }) {
  const job = store.current();
  const target = aimedRpm(job);
  const losses = series.transmission_loss_dB;
  const k = series.time_s.findIndex((time) => time >= WARMING_S);
  if (typeof target !== "number" || !losses || k < 0 || losses[k] == null || losses.at(-1) == null) return "";
  return ` At ${target} rpm it holds back ${losses[k].toFixed(0)} dB two minutes after a cold start, ${losses.at(-1).toFixed(0)} dB at the end.`;
}

// Bands are told at some of the times.
function warmupTable(unit, { time_s, mouth_gas_degC }, y, bands) {
  const headings = ["minutes", `quiet ${unit}`, `gas at the mouth, ${unitOf("temperature")}`];
  if (bands) headings.push("5 %", "95 %");
  const rows = time_s.map((time, k) => {
    const row = [(time / 60).toFixed(1), y[k]?.toFixed(1) ?? "", plain("temperature", mouth_gas_degC[k], 1)];
    if (!bands) return row;
    const pair = bands.quiet_rpm_interval_90[bands.time_s.indexOf(time)];
    return [...row, ...(pair ? pair.map((rpm) => rpm.toFixed(1)) : ["", ""])];
  });
  return { headings, rows };
}

function showCautions() {
  const found = new Map();
  // Each once, by the answer that the charts show.
  for (const answer of [answers.warm ?? answers.now, answers.fit, answers.length, answers.more]) {
    for (const { code, message } of answer?.cautions ?? []) if (!found.has(code)) found.set(code, message);
  }
  const item = ([, message]) => el("li", { text: inOwnUnits(message) });
  const all = [...found];
  const known = all.filter(([code]) => !toldElsewhere(code));
  fill(byId("cautions"), ...known.slice(0, FIRST_CAUTIONS).map(item));
  fill(byId("cautions-more"), ...known.slice(FIRST_CAUTIONS).map(item));
  byId("more-cautions").hidden = known.length <= FIRST_CAUTIONS;
  const safety = all.filter(([code]) => code.startsWith("safety_"));
  if (safety.length) fill(byId("safety-more"), ...safety.map(item));
  const taken = [...(answers.now?.assumptions ?? [])];
  const { branch, main_pipe: pipe } = store.current().case;
  if (branch.wall_thickness_mm == null) taken.push(`The branch's wall is ${say("length", USUAL_WALL, unitOf("length") === "in" ? 3 : 1)}.`);
  if (pipe.wall_thickness_mm == null) taken.push(`The main pipe's wall is ${say("length", USUAL_WALL, unitOf("length") === "in" ? 3 : 1)}.`);
  fill(byId("assumptions"), ...taken.map((text) => el("li", { text: inOwnUnits(text) })));
}
