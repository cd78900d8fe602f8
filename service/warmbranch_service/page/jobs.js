// The list of jobs: starting, opening and removing them. Nothing replaces a job without a question.

import { get } from "./api.js";
import { question } from "./ask.js";
import { announce, byId, el, fill, write } from "./dom.js";
import { blankJob, hasData, jobFromFile, jobLike, jobOf } from "./job.js";
import { answers } from "./questions.js";
import * as store from "./store.js";
import { VAN } from "./van.js";

const EXAMPLES = { van: "an invented camper van", generator: "an invented standby generator" };

/** Begin with the job that this browser kept, else with the example. */
export async function begin() {
  const known = store.remembered();
  const kept = known === null ? null : read(store.textOf(known));
  if (kept) {
    store.begin(kept, known);
    say("Your last job, kept in this browser.");
    return;
  }
  store.begin(await example("van"));
  say("");
}

function read(text) {
  try {
    return jobFromFile(text);
  } catch {
    return null; // of an older form of the page
  }
}

async function example(name) {
  const body = name === "van" ? structuredClone(VAN) : await get(`page/${name}.json`);
  const job = jobOf(body, true);
  job.name = `Example: ${name}`;
  return job;
}

const say = (text) => write(byId("origin"), text);

export function build() {
  byId("own").addEventListener("click", () => {
    store.open(blankJob());
    say("A job of your own, kept in this browser.");
    byId("step-1").scrollIntoView();
    document.querySelector("[data-path='target_rpm']")?.focus();
  });
  for (const [id, name] of [["example", "van"], ["example-generator", "generator"]]) {
    byId(id).addEventListener("click", () => {
      question(`Open ${EXAMPLES[name]} as a job of its own? The job that is open here stays in the list.`, "Open the example", async () => {
        store.open(await example(name));
        say("");
      });
    });
  }
  byId("like").addEventListener("click", () => {
    const job = store.current();
    const learned = hasData(job) && answers.fit ? answers.fit.calibration : null;
    store.open(jobLike(job, learned));
    say(learned ? "A job like the last, with what was learned on it." : "A job like the last.");
  });
  byId("remove").addEventListener("click", () => {
    question(`Remove “${nameOf(store.current().name)}” from this browser for good?`, "Remove it", removeOpen);
  });
  byId("open").addEventListener("click", () => byId("file").click());
  byId("file").addEventListener("change", openFile);
  byId("jobs").addEventListener("change", (event) => openKept(event.target.value));
  store.onChange(list);
  list();
}

const nameOf = (name) => name || "without a name";

function list() {
  const found = store.jobs();
  fill(byId("jobs"), ...found.map(({ id, name }) => el("option", { value: id, text: nameOf(name) })));
  byId("jobs").value = store.openId();
  const learned = store.current().case.closures?.calibration;
  byId("learned-before").hidden = !learned;
  const taught = learned?.shop ? "what my finished jobs taught" : "what was learned on another branch";
  write(byId("learned-before"), learned ? `This job starts from ${taught}.` : "");
}

function openKept(id) {
  const job = read(store.textOf(id));
  if (!job) {
    announce("That job cannot be read any more.");
    return;
  }
  store.open(job, id);
  say("Kept in this browser.");
}

async function removeOpen() {
  const gone = store.openId();
  const next = store.jobs().find((one) => one.id !== gone);
  if (next) openKept(next.id);
  else store.open(await example("van"));
  store.forget(gone);
}

async function openFile() {
  const input = byId("file");
  const [file] = input.files;
  input.value = "";
  if (!file) return;
  try {
    store.open(jobFromFile(await file.text()));
    say(`Opened from ${file.name}.`);
    announce(`Opened ${file.name}.`);
  } catch (error) {
    announce(error.message);
  }
}

/** Say so where the browser keeps nothing. */
export function showKept() {
  if (!store.isKept()) say("This browser keeps nothing: save your job as a file before you leave.");
}
