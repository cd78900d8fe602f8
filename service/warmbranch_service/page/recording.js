// Recordings: decoded by the browser, which knows all forms that phones write, and reduced to what
// an engine needs, some kilohertz of one channel. Nothing here asks the service.

export const RATE = 8000; // Hz: the lowest that the service hears well
const REDUCED = 3; // times: what browsers decode to first, for their own way down to RATE folds
const TAPS = 129;
const CUT = 3450; // Hz: half way down; 40 dB and more from RATE / 2 on
const LEAST_S = 3;
const MOST_S = 600;
const MOST_BYTES = 400e6;
const HEADER = 44; // bytes of a WAV file before its samples

/** What is wrong with a recording, in words that can be shown. */
export class Unheard extends Error {}

/**
 * A file's samples: {name, samples, seconds}; mono at RATE.
 *
 * Throws Unheard where the browser cannot read it.
 */
export async function decoded(file, name = file.name) {
  if (file.size > MOST_BYTES) throw new Unheard(`${name} is larger than a ten minutes' recording. Cut it shorter.`);
  const Offline = window.OfflineAudioContext ?? window.webkitOfflineAudioContext;
  if (!Offline) throw new Unheard("This browser does not decode recordings. Try a newer one.");
  let sound;
  try {
    // To decode, no secure page is needed; what comes out has the context's rate.
    sound = await new Offline(1, 1, REDUCED * RATE).decodeAudioData(await file.arrayBuffer());
  } catch {
    throw new Unheard(`${name} cannot be read as a recording. Save it as M4A, MP3 or WAV, and choose that.`);
  }
  if (sound.duration < LEAST_S) throw new Unheard(`${name} lasts ${sound.duration.toFixed(1)} s. A slow pull takes ten seconds or more.`);
  if (sound.duration > MOST_S) throw new Unheard(`${name} lasts ${(sound.duration / 60).toFixed(0)} minutes. Cut out the pull; ten minutes are the most.`);
  return { name, samples: reduced(mixed(sound)), seconds: sound.duration };
}

// A low pass, a sinc under a Blackman window, and every third sample of it.
function reduced(samples) {
  const half = (TAPS - 1) / 2;
  const wave = (2 * CUT) / (REDUCED * RATE);
  const taps = Float64Array.from({ length: TAPS }, (_, k) => {
    const turn = (2 * Math.PI * k) / (TAPS - 1);
    const sinc = k === half ? wave : Math.sin(Math.PI * wave * (k - half)) / (Math.PI * (k - half));
    return sinc * (0.42 - 0.5 * Math.cos(turn) + 0.08 * Math.cos(2 * turn));
  });
  const low = new Float32Array(Math.floor(samples.length / REDUCED));
  for (let k = 0; k < low.length; k += 1) {
    const first = k * REDUCED - half;
    let sum = 0;
    for (let j = Math.max(0, -first); j < TAPS && first + j < samples.length; j += 1) sum += taps[j] * samples[first + j];
    low[k] = sum;
  }
  return low;
}

function mixed(sound) {
  const first = sound.getChannelData(0);
  if (sound.numberOfChannels === 1) return first.slice();
  const all = new Float32Array(first.length);
  for (let channel = 0; channel < sound.numberOfChannels; channel += 1) {
    const one = sound.getChannelData(channel);
    for (let k = 0; k < all.length; k += 1) all[k] += one[k] / sound.numberOfChannels;
  }
  return all;
}

/** The samples with stretches [{from, to}] of seconds silenced. */
export function without(samples, stretches) {
  const kept = samples.slice();
  for (const { from, to } of stretches) kept.fill(0, Math.round(from * RATE), Math.round(to * RATE));
  return kept;
}

/** A WAV file of 16 bits. */
export function wavOf(samples) {
  const view = new DataView(new ArrayBuffer(HEADER + 2 * samples.length));
  const word = (at, text) => [...text].forEach((sign, k) => view.setUint8(at + k, sign.charCodeAt(0)));
  word(0, "RIFF");
  view.setUint32(4, view.byteLength - 8, true);
  word(8, "WAVEfmt ");
  view.setUint32(16, 16, true); // bytes of the form
  view.setUint16(20, 1, true); // plain numbers
  view.setUint16(22, 1, true); // one channel
  view.setUint32(24, RATE, true);
  view.setUint32(28, 2 * RATE, true);
  view.setUint16(32, 2, true);
  view.setUint16(34, 16, true);
  word(36, "data");
  view.setUint32(40, 2 * samples.length, true);
  samples.forEach((sample, k) => view.setInt16(HEADER + 2 * k, Math.max(-1, Math.min(1, sample)) * 32767, true));
  return new Blob([view], { type: "audio/wav" });
}

/** Whether this page may use the microphone itself: only where it came over a secure way. */
export const mayRecord = () => window.isSecureContext && Boolean(navigator.mediaDevices?.getUserMedia) && "MediaRecorder" in window;

/**
 * Record from the microphone until stop() is called: {stop, done}; done gives a Blob.
 *
 * What phones do for voices (gain, noise, echo) is asked to be off: it would change the levels.
 */
export async function record() {
  const plain = { autoGainControl: false, noiseSuppression: false, echoCancellation: false };
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({ audio: plain });
  } catch (error) {
    throw new Unheard(
      error.name === "NotAllowedError"
        ? "The browser was not allowed to use the microphone. Record with the phone's own recorder, and choose that file."
        : "No microphone was found. Record with the phone's own recorder, and choose that file.",
    );
  }
  const recorder = new MediaRecorder(stream);
  const pieces = [];
  recorder.addEventListener("dataavailable", (event) => pieces.push(event.data));
  const done = new Promise((resolve) => {
    recorder.addEventListener("stop", () => {
      for (const track of stream.getTracks()) track.stop();
      resolve(new Blob(pieces, { type: recorder.mimeType }));
    });
  });
  recorder.start();
  return { stop: () => recorder.stop(), done };
}
