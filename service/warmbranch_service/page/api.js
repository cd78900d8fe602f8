// The one door to the service. A failed connection loses nothing: the question is asked again,
// ever more slowly, until it is answered or no longer of interest.

const FIRST_DELAY = 500; // ms
const LONGEST_DELAY = 8000;
const PATIENCE = 60000; // for one answer
const FOR_FILES = 300000; // for one that takes recordings over a slow link
const SLOW = 300; // from here on progress is shown
const KEPT = 60; // answers
const WITHOUT_KEY = 3600000; // a new key wakes it up
const BUSY = new Set([429, 503]);
const GATEWAY = new Set([502, 504]); // of a proxy whose service is away

const answers = new Map();
const watchers = { connection: () => {}, busy: () => {}, key: () => {} };
let wakeUp = () => {};
let key = null;
let asking = 0;
let waiting = 0;
let isBusy = false;

/** What the service refused: its problem details (RFC 9457). */
export class Refused extends Error {
  constructor(problem) {
    super(problem.detail);
    this.problem = problem;
  }
}

/**
 * Be told of the connection ({lost, busy, seconds}), of work that takes long (true or false) and
 * of a service that wants a key (true or false).
 */
export function watch(told) {
  Object.assign(watchers, told);
}

/** Send this API key from now on. */
export function useKey(given) {
  key = given;
  tryNow();
}

/** Ask again now whatever waits. */
export function tryNow() {
  wakeUp();
}

/** POST one question; the same question is not asked twice. */
export async function ask(route, body, signal) {
  const text = JSON.stringify(body);
  const key = `${route} ${text}`;
  if (answers.has(key)) return answers.get(key);
  const answer = await exchange(`v1/${route}`, { method: "POST", body: text, headers: JSON_TYPE }, signal);
  answers.set(key, answer);
  if (answers.size > KEPT) answers.delete(answers.keys().next().value);
  return answer;
}

/** POST a form with files; the answer of each is its own. */
export const send = (route, form, signal) => exchange(`v1/${route}`, { method: "POST", body: form, patience: FOR_FILES }, signal);

const JSON_TYPE = { "content-type": "application/json" };

/** GET something. */
export const get = (address, signal) => exchange(address, {}, signal);

async function exchange(address, { patience = PATIENCE, ...options }, signal) {
  let delay = FIRST_DELAY;
  for (;;) {
    signal?.throwIfAborted();
    const done = begin();
    let [busy, keyless] = [false, false];
    try {
      const headers = { ...options.headers, ...(key ? { "x-api-key": key } : {}) };
      const response = await fetch(address, { ...options, headers, signal: limited(signal, patience) });
      busy = BUSY.has(response.status);
      keyless = response.status === 401;
      delay = Math.max(delay, 1000 * Number(response.headers.get("retry-after") ?? 0)) || delay;
      if (!busy && !keyless && !GATEWAY.has(response.status)) {
        const answer = await response.json();
        watchers.connection({ lost: false });
        watchers.key(false);
        if (response.ok) return answer;
        throw new Refused(answer);
      }
    } catch (error) {
      if (error instanceof Refused) throw error;
      signal?.throwIfAborted();
    } finally {
      done();
    }
    if (keyless) {
      watchers.key(true);
      await pause(WITHOUT_KEY, signal);
    } else {
      watchers.connection({ lost: true, busy, seconds: delay / 1000 });
      await pause(delay, signal);
    }
    delay = Math.min(delay * 2, LONGEST_DELAY);
  }
}

function limited(signal, patience) {
  const limit = AbortSignal.timeout(patience);
  return signal ? AbortSignal.any([signal, limit]) : limit;
}

function pause(delay, signal) {
  return new Promise((resolve) => {
    const earlier = wakeUp;
    const end = () => {
      clearTimeout(timer);
      signal?.removeEventListener("abort", end);
      resolve();
    };
    const timer = setTimeout(end, delay);
    wakeUp = () => {
      earlier();
      wakeUp = () => {};
      end();
    };
    signal?.addEventListener("abort", end);
  });
}

function begin() {
  asking += 1;
  if (waiting === 0) waiting = setTimeout(() => show(true), SLOW);
  return () => {
    asking -= 1;
    if (asking > 0) return;
    // A moment of grace: between two questions of one chain the bar does not blink.
    setTimeout(() => {
      if (asking > 0) return;
      clearTimeout(waiting);
      waiting = 0;
      show(false);
    }, 40);
  };
}

function show(busy) {
  if (busy === isBusy) return;
  isBusy = busy;
  watchers.busy(busy);
}

addEventListener("online", () => tryNow());
