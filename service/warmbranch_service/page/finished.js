// My finished jobs: what several jobs say of the next branch, and how much surer each makes it.
// What was learned stays in this browser, and in a file; no readings are kept in it.

import { ask, Refused } from "./api.js";
import { chart } from "./chart.js";
import { byId, download, el, fill, table, write } from "./dom.js";
import { calibrated, caseNow, fitRequest, hasData, jobFromFile, lengthened } from "./job.js";
import { answers } from "./questions.js";
import * as store from "./store.js";

const MOST_SHOWN = 8; // numbers of jobs between none and all, in the picture
const MOST_FILES = 30; // of one question
const narrowing = chart("With each finished job");
let learned = null; // the last answer of /v1/learn
let drawn = "";

export function build() {
  byId("finished-choose").addEventListener("click", () => byId("finished-files").click());
  byId("finished-files").addEventListener("change", openFiles);
  byId("finished-this").addEventListener("click", addThis);
  byId("finished-save").addEventListener("click", save);
  byId("finished-forget").addEventListener("click", forget);
  byId("finished-use").addEventListener("click", () => use(!stands()));
  byId("finished").addEventListener("toggle", () => {
    show();
    follow();
  });
}

const say = (text) => write(byId("finished-said"), text);
const stands = () => Boolean(store.current().case.closures?.calibration?.shop);
const kept = () => store.shop()?.shop.jobs ?? [];

/** Show what is kept, and whether the open job stands on it. */
export function show() {
  const job = store.current();
  const some = kept().length > 0;
  byId("finished-learned").hidden = !some;
  byId("finished-save").disabled = !some;
  byId("finished-forget").disabled = !some;
  byId("finished-this").disabled = !job.built || !hasData(job);
  write(byId("finished-use"), stands() ? "Let the open job stand by itself" : "Let the open job start from them");
  write(byId("finished-count"), some ? `${kept().length} kept` : "none yet");
}

async function openFiles() {
  const input = byId("finished-files");
  const files = [...input.files];
  const texts = await Promise.all(files.map((file) => file.text()));
  input.value = "";
  const jobs = [];
  for (const [place, text] of texts.entries()) {
    const { name } = files[place];
    const shop = shopIn(text);
    if (shop) {
      if (files.length > 1) {
        say(`${name} holds what was learned before: open it by itself.`);
        return;
      }
      await tell(() => learn([], [], shop));
      return;
    }
    try {
      jobs.push(finished(jobFromFile(text), name));
    } catch (error) {
      say(`${name}: ${error.message}`);
      return;
    }
  }
  if (jobs.length > 0) await tell(() => learn(jobs, files.map((file) => file.name), store.shop()));
}

function shopIn(text) {
  try {
    const found = JSON.parse(text);
    const shop = found?.calibration ?? found;
    return shop?.shop ? shop : null;
  } catch {
    return null;
  }
}

// What is learned from a job: what its fit takes, without what was wanted of it.
function finished(job, file) {
  const { request } = fitRequest(job);
  const { target_rpm: _rpm, target_Hz: _Hz, ...rest } = request;
  return { ...rest, name: (job.name || file.replace(/\.json$/i, "")).trim().slice(0, 80) };
}

async function addThis() {
  const job = store.current();
  await tell(() => learn([finished(job, "this job")], ["This job"], store.shop()));
}

// Whatever is refused is said, by the file that it is of; what was learned before stays.
async function tell(act, names = []) {
  byId("finished-choose").disabled = true;
  try {
    await act();
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    const [first] = error.problem.errors ?? [];
    const place = Number(/^\/jobs\/(\d+)/.exec(first?.pointer ?? "")?.[1]);
    const file = (error.names ?? names)[place];
    say(`${file ? `${file}: ` : ""}${first ? `${first.detail} ${first.remedy}` : error.problem.detail}`);
  } finally {
    byId("finished-choose").disabled = false;
  }
}

async function learn(jobs, names, earlier) {
  say("");
  if (jobs.length > MOST_FILES) {
    say(`These are ${jobs.length} files. Choose at most ${MOST_FILES} at a time; each time adds to what is kept.`);
    return;
  }
  const body = { jobs, earlier, learned_at: today() };
  try {
    learned = await ask("learn", body);
  } catch (error) {
    throw Object.assign(error, { names });
  }
  const inUse = stands();
  if (!store.keepShop(learned.calibration)) say("This browser keeps nothing: save what was learned as a file.");
  if (inUse) use(true);
  show();
  await follow();
}

const today = () => {
  const now = new Date();
  const two = (number) => String(number).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
};

function save() {
  download("shop.json", `${JSON.stringify(store.shop(), null, 1)}\n`, "application/json");
}

function forget() {
  store.keepShop(null);
  learned = null;
  drawn = "";
  use(false);
  show();
  say("Forgotten here. Files that were saved stay as they are.");
}

function use(wanted) {
  if (!wanted && !stands()) return;
  store.change(wanted ? "standing on finished jobs" : "standing on no other job", (open) => {
    store.put(open, "case.closures.calibration", wanted ? store.shop() : null);
  });
}

/** After the job's own answers: how much surer each finished job makes this one. */
export async function follow(signal) {
  const shop = store.shop();
  if (!byId("finished").open || !shop) return;
  try {
    await compare(shop, signal);
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    say(error.message);
  }
}

async function compare(shop, signal) {
  learned ??= await ask("learn", { jobs: [], earlier: shop, learned_at: shop.shop.learned_at }, signal);
  list();
  const given = ofTheOpenJob();
  if (given === null) return;
  const key = JSON.stringify([given, shop]);
  if (key === drawn) return;
  const rows = [];
  for (const count of counts(shop.shop.jobs.length)) {
    const known = count === 0 ? given : calibrated(given, await after(count, shop, signal));
    const { prediction, cautions } = await ask("steady", { case: known }, signal);
    const levels = prediction?.quiet_rpm ?? prediction?.resonance_Hz;
    if (!levels) return;
    rows.push({ count, ...levels, unlike: cautions.find((one) => one.code === "outside_the_shop") });
  }
  drawn = key;
  picture(rows, given.engine ? "rpm" : "Hz");
}

// The case of the open job, as it stands or as it is to be built, standing on no other.
function ofTheOpenJob() {
  const job = store.current();
  const length = answers.length?.centreline_length_mm;
  if (answers.errors.length > 0 || answers.lacking.length > 0) return null;
  if (!job.built && !length) return null;
  const found = structuredClone(job.built ? caseNow(job) : lengthened(caseNow(job), length));
  delete found.closures?.calibration;
  return found;
}

async function after(count, shop, signal) {
  if (count === shop.shop.jobs.length) return shop;
  const first = { ...shop, shop: { ...shop.shop, jobs: shop.shop.jobs.slice(0, count) } };
  const found = await ask("learn", { jobs: [], earlier: first, learned_at: shop.shop.learned_at }, signal);
  return found.calibration;
}

const counts = (all) =>
  [...new Set(Array.from({ length: MOST_SHOWN + 1 }, (_, k) => Math.round((k * all) / MOST_SHOWN)))];

function list() {
  write(byId("finished-words"), learned.summary);
  const rows = learned.jobs.map((job) => {
    const held = job.held_out;
    const levels = held?.from_others_rpm ?? held?.from_others_Hz;
    const unit = held?.from_others_rpm ? "rpm" : "Hz";
    const heard = unit === "rpm" ? held?.heard_rpm : held?.heard_Hz;
    const [low, high] = levels?.interval_90 ?? [];
    return [
      job.name,
      held ? `${heard.toFixed(0)} ${unit}` : "–",
      held ? `${low.toFixed(0)} to ${high.toFixed(0)}` : "–",
      job.apart ? "stands apart" : held && !held.within_90 ? "outside" : held ? "within" : "not heard",
    ];
  });
  fill(byId("finished-jobs"), table("Each job, by what all others say of it", ["Job", "Heard", "Others, 90 %", "So"], rows));
  const notes = learned.cautions.map((one) => el("li", { text: one.message }));
  fill(byId("finished-notes"), ...notes);
}

function picture(rows, unit) {
  const [first, last] = [rows[0], rows.at(-1)];
  const wide = ({ interval_90: [low, high] }) => high - low;
  const x = rows.map((row) => row.count);
  const side = (name, k) => rows.map((row) => row[name][k]);
  const told = ({ interval_90: [low, high] }) => `${low.toFixed(0)} to ${high.toFixed(0)} ${unit}`;
  const jobs = last.count === 1 ? "one job" : `${last.count} jobs`;
  fill(byId("finished-chart"), narrowing.figure);
  narrowing.draw({
    title: "With each finished job",
    words:
      `This branch is quiet at ${told(first)} with 90 %, by no other job; by ${jobs} at ${told(last)}, ` +
      `${(wide(last) / wide(first)).toFixed(2)} times as wide.${last.unlike ? ` ${last.unlike.message}` : ""}`,
    x: { title: "finished jobs", whole: true, say: (v) => `${v.toFixed(0)} jobs` },
    y: { title: `quiet ${unit}`, say: (v) => `${v.toFixed(0)} ${unit}` },
    lines: [{ name: `quiet ${unit}`, style: "line ink", x, y: rows.map((row) => row.median) }],
    bands: [
      { name: "90 % band", style: "band wide", x, low: side("interval_90", 0), high: side("interval_90", 1) },
      { name: "50 % band", style: "band narrow", x, low: side("interval_50", 0), high: side("interval_50", 1) },
    ],
    table: {
      headings: ["Jobs", `quiet ${unit}`, "5 %", "95 %"],
      rows: rows.map((row) => [`${row.count}`, row.median.toFixed(0), ...row.interval_90.map((v) => v.toFixed(0))]),
    },
    file: "finished-jobs",
  });
}
