// The bench page: wires the steps to the job and to the service.

import { get, tryNow, useKey, watch } from "./api.js";
import { announce, byId, download, hush, write } from "./dom.js";
import { field, onlyBeingTyped, refresh, showErrors } from "./fields.js";
import * as finished from "./finished.js";
import { showHeadline } from "./headline.js";
import { fileText, isMeasured, jobFromFile } from "./job.js";
import * as jobs from "./jobs.js";
import * as more from "./more.js";
import { answers, askAll, forgetAnswers } from "./questions.js";
import * as sheet from "./sheet.js";
import * as stepAnswer from "./step_answer.js";
import * as stepBranch from "./step_branch.js";
import * as stepCut from "./step_cut.js";
import * as stepHear from "./step_hear.js";
import * as stepMeasured from "./step_measured.js";
import * as store from "./store.js";
import { chosen, unitsOf } from "./units.js";

const PAUSE = 200; // ms without a keystroke before the service is asked
const OLD_AFTER = 1500; // ms without an answer before what is shown counts as old
const KEY_KEY = "warmbranch.key"; // kept until the tab is closed
const NARROW = 640; // pixels: below, the steps begin folded
const FOLDED = new Set(["more-questions", "hear", "finished"]); // on a wide screen, too
let timer = 0;
let oldTimer = 0;
let asking = new AbortController();
let lost = false;
let behind = false; // an answer to the last change is still to come

async function start() {
  Object.assign(chosen, unitsOf(navigator.language), store.rememberedUnits() ?? {});
  watch({ connection: showConnection, busy: showBusy, key: showKey });
  useKey(keyFromAddress() ?? kept(KEY_KEY));
  addEventListener("hashchange", () => useKey(keyFromAddress() ?? kept(KEY_KEY)));
  await jobs.begin();
  run(); // the question is on its way while the page is built
  byId("job-name").append(field({ path: "name", label: "Name of this job", kind: "text", compact: true }));
  for (const step of [stepBranch, stepAnswer, more, stepMeasured, stepHear, stepCut, jobs, finished]) step.build();
  tools();
  folds();
  store.onChange(changed);
  store.onOtherTab((text) => store.replace(jobFromFile(text), "what another tab changed"));
  for (const kind of ["length", "temperature"]) byId(`units-${kind}`).value = chosen[kind];
  showUndo();
  showAll();
  document.documentElement.dataset.ready = "true";
}

// `serve --phone` puts the key behind the # of the address, which a browser sends to nobody. It is
// kept until the tab is closed and does not stay where it can be read or shared.
function keyFromAddress() {
  const found = /^#key=(.+)$/.exec(location.hash);
  if (!found) return null;
  const key = decoded(found[1]);
  history.replaceState(history.state, "", location.pathname + location.search);
  keep(key);
  return key;
}

function decoded(text) {
  try {
    return decodeURIComponent(text);
  } catch {
    return text; // typed by hand
  }
}

function takeKey(key) {
  keep(key);
  useKey(key);
}

function keep(key) {
  try {
    sessionStorage.setItem(KEY_KEY, key);
  } catch {
    // This browser keeps nothing: the key then holds until the page is left.
  }
}

function kept(name) {
  try {
    return sessionStorage.getItem(name);
  } catch {
    return null;
  }
}

// The lists of metals and surfaces come after the first answer.
let named = false;
async function names() {
  if (named) return;
  named = true;
  const reference = await get("v1/reference");
  stepBranch.name(reference);
  stepMeasured.name(reference);
}

function changed(kind) {
  if (kind === "list") return;
  if (kind === "opened") {
    forgetAnswers();
    hush();
  }
  if (kind !== "typed") rebuild();
  showUndo();
  jobs.showKept();
  behind = true;
  clearTimeout(oldTimer);
  oldTimer = setTimeout(showOld, OLD_AFTER);
  showAll();
  recompute(kind === "typed" ? PAUSE : 0);
}

function rebuild() {
  stepBranch.rebuild();
  stepMeasured.rows();
  refresh(true);
}

function recompute(pause) {
  clearTimeout(timer);
  asking.abort();
  document.documentElement.dataset.settled = "false";
  timer = setTimeout(run, pause);
}

async function run() {
  document.documentElement.dataset.settled = "false";
  asking = new AbortController();
  const { signal } = asking;
  const arrived = (name) => {
    if (signal.aborted) return;
    if (name === "length" || name === "fit" || name === "cuts" || (name === "now" && !isMeasured(store.current()))) behind = false;
    show();
  };
  try {
    await askAll(store.current(), signal, arrived);
    behind = false;
    show();
    await names();
    await finished.follow(signal);
    document.documentElement.dataset.settled = "true";
  } catch (error) {
    if (!signal.aborted) throw error;
  }
}

// Answers come in bursts: draw once a frame, the one number first and all else with the next.
let drawn = 0;
function show() {
  cancelAnimationFrame(drawn);
  drawn = requestAnimationFrame(() => {
    showOld();
    drawn = requestAnimationFrame(showAll);
  });
}

function showAll() {
  const { errors } = answers;
  showErrors(errors);
  const count = onlyBeingTyped(errors) ? 0 : errors.length;
  write(byId("error-count"), count ? `${count === 1 ? "One entry" : `${count} entries`} cannot be used; see beside the fields. What is shown is of before.` : "");
  stepBranch.show();
  stepAnswer.show();
  more.show();
  stepMeasured.show();
  stepHear.show();
  stepCut.show();
  finished.show();
  showOld();
}

function showOld() {
  showHeadline(answers.errors.length > 0 || (lost && behind) || (behind && performance.now() - lastKey > OLD_AFTER));
}

let lastKey = 0;
addEventListener("input", () => (lastKey = performance.now()), true);

// On a phone the steps begin folded, so that the page is short; elsewhere they are open.
function folds() {
  const all = [...document.querySelectorAll("details.fold")];
  const wide = innerWidth >= NARROW;
  for (const fold of all) fold.open = wide && !FOLDED.has(fold.id);
  byId("tools").open = wide;
  for (const link of document.querySelectorAll(".rail a")) {
    link.addEventListener("click", () => {
      const fold = document.querySelector(`${link.getAttribute("href")} details.fold`);
      if (fold) fold.open = true;
    });
  }
}

function tools() {
  for (const kind of ["length", "temperature"]) {
    byId(`units-${kind}`).addEventListener("change", (event) => turn(kind, event.target.value));
  }
  byId("undo").addEventListener("click", undo);
  byId("save").addEventListener("click", () => {
    const name = `${fileName(store.current().name)}.json`;
    download(name, fileText(store.current()), "application/json");
    announce(`Saved as ${name}.`);
  });
  byId("print").addEventListener("click", () => {
    sheet.write();
    window.print();
  });
  addEventListener("beforeprint", sheet.write);
  byId("key-form").addEventListener("submit", (event) => {
    event.preventDefault();
    takeKey(byId("key").value.trim());
  });
  byId("try-now").addEventListener("click", tryNow);
  addEventListener("keydown", (event) => {
    const typing = event.target instanceof HTMLInputElement && event.target.type === "text";
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z" && !event.shiftKey && !typing) {
      event.preventDefault();
      undo();
    }
  });
}

function turn(kind, unit) {
  chosen[kind] = unit;
  store.keepUnits(chosen);
  rebuild();
  showAll();
}

function undo() {
  const what = store.undo();
  announce(what ? `Undone: ${what}.` : "There is nothing to undo.");
}

function showUndo() {
  const what = store.undoable();
  byId("undo").disabled = what === null;
  byId("undo").title = what === null ? "" : `Undo ${what}`;
}

const fileName = (name) => (name ?? "").replace(/[^\p{L}\p{N}._-]+/gu, "-").replace(/^[-.]+|-+$/g, "") || "warmbranch-job";

function showConnection({ lost: now, busy, seconds }) {
  const turned = lost !== now;
  lost = now;
  byId("connection").hidden = !now;
  if (turned) showOld();
  if (!now) {
    write(byId("connection-words"), "");
    return;
  }
  const soon = seconds < 1.5 ? "in a second" : `in ${Math.round(seconds)} seconds`;
  write(byId("connection-words"), `The service ${busy ? "is busy" : "does not answer"}. All you typed is kept here. Trying again ${soon}.`);
}

function showKey(wanted) {
  byId("key-form").hidden = !wanted;
}

function showBusy(busy) {
  byId("progress").hidden = !busy;
  write(byId("progress-words"), busy ? "Working it out …" : "");
}

start();
