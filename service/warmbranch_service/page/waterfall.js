// A recording as a picture, time across and pitch upward, with the engine's speed drawn over it.
// Tap where the engine's line is to say so; drag along it to leave a stretch out. By keyboard a cross
// does both: arrows move it, Enter says that the engine is there, Space begins and ends a stretch.

import { el, fill, svg, write } from "./dom.js";
import { RATE } from "./recording.js";

const DECIMATE = 4; // the lowest kilohertz is enough
const SIZE = 1024; // half a second
const RANGE_DB = 45;
const HEIGHT = 220;
const LEAST_DRAG = 0.4; // s
const STEP = { time: 0.2, rpm: 25 }; // of the cross, five times as far with Shift
const LOUD = [[20, 22, 25], [60, 45, 95], [168, 67, 26], [217, 180, 74], [252, 246, 220]];

/**
 * A place for one: {node, show(data)}.
 *
 * data: {samples, seconds, track: {time_s, rpm} or null, order, others (orders), highest (rpm), anchors,
 * left}.
 * told: {tapped(time_s, rpm), dragged(from_s, to_s)}.
 */
export function waterfall(label, told) {
  const canvas = el("canvas", { role: "img", "aria-label": label });
  const over = el("div", { class: "over", "aria-hidden": "true" });
  const said = el("p", { class: "help cross-told", "aria-live": "polite" });
  const plate = el("div", { class: "waterfall", tabindex: "0", role: "application", "aria-label": `${label}. Arrows move a cross, Enter says that the engine is there, Space begins and ends a stretch to leave out` }, canvas, over);
  const node = el("div", {}, plate, said);
  let shown = null;
  let cross = null; // {time, rpm, from}: from is where a stretch was begun
  let begun = null;
  const at = (event) => {
    const box = plate.getBoundingClientRect();
    return { time: ((event.clientX - box.left) / box.width) * shown.seconds, rpm: (1 - (event.clientY - box.top) / box.height) * shown.top };
  };
  const redraw = () => fill(over, ...drawn({ ...shown, cross }));
  const move = ([time, rpm], far) => {
    const times = far ? 5 : 1;
    cross.time = Math.max(0, Math.min(shown.seconds, cross.time + time * times * STEP.time));
    cross.rpm = Math.max(0, Math.min(shown.top, cross.rpm + rpm * times * STEP.rpm));
  };
  const stretch = () => {
    const [from, to] = [cross.from, cross.time].sort((a, b) => a - b);
    cross.from = cross.from === null ? cross.time : null;
    if (cross.from === null && to - from >= STEP.time) told.dragged(from, to);
  };
  plate.addEventListener("keydown", (event) => {
    const arrow = ARROWS[event.key];
    if (!shown || event.ctrlKey || event.altKey || event.metaKey || !(arrow || event.key in KEYS)) return;
    event.preventDefault();
    cross ??= { ...middleOf(shown), from: null };
    if (arrow) move(arrow, event.shiftKey);
    else if (event.key === "Enter") told.tapped(cross.time, cross.rpm);
    else if (event.key === " ") stretch();
    else cross.from = null;
    redraw();
    write(said, `${cross.time.toFixed(1)} s, ${cross.rpm.toFixed(0)} rpm${cross.from === null ? "" : `; a stretch from ${cross.from.toFixed(1)} s`}`);
  });
  plate.addEventListener("pointerdown", (event) => (begun = shown && at(event)));
  plate.addEventListener("pointerup", (event) => {
    if (!begun || !shown) return;
    const end = at(event);
    const [from, to] = [begun.time, end.time].sort((a, b) => a - b);
    if (to - from > LEAST_DRAG) told.dragged(from, to);
    else told.tapped(end.time, end.rpm);
    begun = null;
  });
  const show = (data) => {
    const top = data.highest * 1.15;
    if (shown?.samples !== data.samples || shown.top !== top || shown.order !== data.order) paint(canvas, data, (top / 60) * data.order);
    shown = { ...data, top };
    redraw();
  };
  return { node, show };
}

const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
const KEYS = { Enter: "here", " ": "stretch", Escape: "none" };

// Where the cross begins: on the line that is drawn, half way through it.
function middleOf({ seconds, top, track }) {
  const sure = track ? track.time_s.map((time, k) => ({ time, rpm: track.rpm[k] })).filter(({ rpm }) => rpm !== null) : [];
  return sure[sure.length >> 1] ?? { time: seconds / 2, rpm: top / 2 };
}

function paint(canvas, { samples, seconds }, highest) {
  const low = decimated(samples);
  const rate = RATE / DECIMATE;
  const columns = Math.max(2, Math.min(480, Math.round(seconds * 12)));
  const rows = Math.max(8, Math.min(SIZE / 2, Math.ceil((highest / rate) * SIZE)));
  const levels = Array.from({ length: columns }, (_, k) => spectrum(low, Math.round((k / (columns - 1)) * (low.length - SIZE)), rows));
  // A background that falls with pitch would hide the lines: each row is told against its own median.
  const floor = Array.from({ length: rows }, (_, row) => middle(levels.map((column) => column[row])));
  canvas.width = columns;
  canvas.height = rows;
  const pen = canvas.getContext("2d");
  const image = pen.createImageData(columns, rows);
  for (let x = 0; x < columns; x += 1) {
    for (let row = 0; row < rows; row += 1) {
      const share = Math.max(0, Math.min(1, (levels[x][row] - floor[row] + 8) / RANGE_DB));
      image.data.set([...colour(share), 255], 4 * ((rows - 1 - row) * columns + x));
    }
  }
  pen.putImageData(image, 0, 0);
}

function colour(share) {
  const place = share * (LOUD.length - 1);
  const k = Math.min(LOUD.length - 2, Math.floor(place));
  return LOUD[k].map((from, part) => from + (place - k) * (LOUD[k + 1][part] - from));
}

const middle = (values) => [...values].sort((a, b) => a - b)[values.length >> 1];

// Means of a few samples: what folds down from above is far weaker than what is drawn.
function decimated(samples) {
  const low = new Float32Array(Math.floor(samples.length / DECIMATE));
  for (let k = 0; k < low.length; k += 1) {
    for (let j = 0; j < DECIMATE; j += 1) low[k] += samples[k * DECIMATE + j] / DECIMATE;
  }
  return low;
}

function spectrum(low, from, rows) {
  const [re, im] = [new Float64Array(SIZE), new Float64Array(SIZE)];
  for (let k = 0; k < SIZE; k += 1) re[k] = (low[from + k] ?? 0) * Math.sin((Math.PI * (k + 0.5)) / SIZE) ** 2;
  transform(re, im);
  return Array.from({ length: rows }, (_, row) => 10 * Math.log10(re[row] ** 2 + im[row] ** 2 + 1e-9));
}

// The fast Fourier transform of Cooley and Tukey (1965), in place; the length is a power of two.
function transform(re, im) {
  const count = re.length;
  for (let i = 1, j = 0; i < count; i += 1) {
    let bit = count >> 1;
    for (; j & bit; bit >>= 1) j ^= bit;
    j ^= bit;
    if (i < j) [re[i], re[j], im[i], im[j]] = [re[j], re[i], im[j], im[i]];
  }
  for (let size = 2; size <= count; size *= 2) {
    for (let k = 0; k < size / 2; k += 1) {
      const [c, s] = [Math.cos((-2 * Math.PI * k) / size), Math.sin((-2 * Math.PI * k) / size)];
      for (let start = k; start < count; start += size) {
        const other = start + size / 2;
        const [a, b] = [re[other] * c - im[other] * s, re[other] * s + im[other] * c];
        [re[other], im[other], re[start], im[start]] = [re[start] - a, im[start] - b, re[start] + a, im[start] + b];
      }
    }
  }
}

function drawn({ seconds, top, track, order, others, anchors, left, cross }) {
  const [wide, high] = [1000, HEIGHT];
  const x = (time) => (time / seconds) * wide;
  const y = (rpm) => high * (1 - rpm / top);
  const parts = left.map(({ from, to }) => svg("rect", { class: "left-out", x: x(from), y: 0, width: x(to) - x(from), height: high }));
  if (track) {
    const line = (share) => {
      let pen = "M";
      return track.time_s
        .map((time, k) => {
          if (track.rpm[k] === null) {
            pen = "M";
            return "";
          }
          const part = `${pen}${x(time).toFixed(1)} ${y(track.rpm[k] * share).toFixed(1)}`;
          pen = "L";
          return part;
        })
        .join("");
    };
    parts.push(...others.map((other) => svg("path", { class: "other-order", d: line(other / order) })));
    parts.push(svg("path", { class: "track-edge", d: line(1) }), svg("path", { class: "track", d: line(1) }));
  }
  parts.push(...anchors.map((one) => svg("path", { class: "anchor", d: `M${x(one.time_s) - 14} ${y(one.rpm)}h28M${x(one.time_s)} ${y(one.rpm) - 14}v28` })));
  if (cross) {
    parts.push(svg("path", { class: "cross", d: `M0 ${y(cross.rpm)}H${wide}M${x(cross.time)} 0V${high}` }));
    if (cross.from !== null) parts.push(svg("path", { class: "cross begun", d: `M${x(cross.from)} 0V${high}` }));
  }
  return [svg("svg", { viewBox: `0 0 ${wide} ${high}`, preserveAspectRatio: "none", width: "100%", height: "100%" }, ...parts)];
}
