// The bench page: wires the steps to the job and to the service.

import { get, tryNow, useKey, watch } from "./api.js";
import { announce, byId, download, write } from "./dom.js";
import { field, refresh, showErrors } from "./fields.js";
import { fileText, jobFromFile, jobOf } from "./job.js";
import { answers, askAll } from "./questions.js";
import * as sheet from "./sheet.js";
import * as stepAnswer from "./step_answer.js";
import * as stepBranch from "./step_branch.js";
import * as stepCut from "./step_cut.js";
import * as stepMeasured from "./step_measured.js";
import * as store from "./store.js";
import { chosen } from "./units.js";

const PAUSE = 200; // ms without a keystroke before the service is asked
let timer = 0;
let asking = new AbortController();

async function start() {
  Object.assign(chosen, store.rememberedUnits() ?? {});
  watch({ connection: showConnection, busy: showBusy, key: showKey });
  useKey(sessionStorage.getItem(KEY_KEY));
  const kept = keptJob();
  store.begin(kept ?? jobOf(await get("page/van.json")));
  write(byId("origin"), kept ? "Your last job, kept in this browser." : INVENTED);
  byId("job-name").append(field({ path: "name", label: "Name of this job", kind: "text", compact: true }));
  for (const step of [stepBranch, stepAnswer, stepMeasured, stepCut]) step.build();
  tools();
  store.onChange(changed);
  store.onOtherTab((text) => store.open(jobFromFile(text), "what another tab changed"));
  showUnits();
  showUndo();
  recompute(0);
  document.documentElement.dataset.ready = "true";
  const reference = await get("v1/reference");
  stepBranch.name(reference);
  stepMeasured.name(reference);
}

function keptJob() {
  const text = store.remembered();
  if (text === null) return null;
  try {
    return jobFromFile(text);
  } catch {
    return null; // of an older form of the page
  }
}

const KEY_KEY = "warmbranch.key"; // kept until the tab is closed
const INVENTED = "This camper van is invented, to show how it goes. Type over it.";

function changed(kind) {
  if (kind !== "typed") rebuild();
  showUndo();
  showKept();
  showAll();
  recompute(kind === "typed" ? PAUSE : 0);
}

function rebuild() {
  stepBranch.pieces();
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
  asking = new AbortController();
  const { signal } = asking;
  try {
    await askAll(store.current(), signal, () => signal.aborted || show());
    document.documentElement.dataset.settled = "true";
  } catch (error) {
    if (!signal.aborted) throw error;
  }
}

// Answers come in bursts: draw once a frame.
let drawn = 0;
function show() {
  cancelAnimationFrame(drawn);
  drawn = requestAnimationFrame(showAll);
}

function showAll() {
  showErrors(answers.errors);
  const count = answers.errors.length;
  document.body.classList.toggle("stale", count > 0);
  write(byId("error-count"), count ? `${count === 1 ? "One entry" : `${count} entries`} cannot be used; see beside the fields. The pictures show the last that could.` : "");
  stepAnswer.show();
  stepMeasured.show();
  stepCut.show();
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
  byId("open").addEventListener("click", () => byId("file").click());
  byId("file").addEventListener("change", openFile);
  byId("example").addEventListener("click", async () => {
    store.open(jobOf(await get("page/van.json")), "starting from the example");
    write(byId("origin"), INVENTED);
  });
  byId("print").addEventListener("click", () => {
    sheet.write();
    window.print();
  });
  addEventListener("beforeprint", sheet.write);
  byId("key-form").addEventListener("submit", (event) => {
    event.preventDefault();
    const key = byId("key").value.trim();
    sessionStorage.setItem(KEY_KEY, key);
    useKey(key);
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

function showUnits() {
  for (const kind of ["length", "temperature"]) byId(`units-${kind}`).value = chosen[kind];
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

function showKept() {
  if (!store.isKept()) write(byId("origin"), "This browser keeps nothing: save your job as a file before you leave.");
}

async function openFile() {
  const input = byId("file");
  const [file] = input.files;
  input.value = "";
  if (!file) return;
  try {
    store.open(jobFromFile(await file.text()), `opening ${file.name}`);
    write(byId("origin"), `Opened from ${file.name}.`);
    announce(`Opened ${file.name}.`);
  } catch (error) {
    announce(error.message);
  }
}

const fileName = (name) => (name ?? "").replace(/[^\p{L}\p{N}._-]+/gu, "-").replace(/^[-.]+|-+$/g, "") || "warmbranch-job";

function showConnection({ lost, busy, seconds }) {
  byId("connection").hidden = !lost;
  if (!lost) {
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
