// Charts as SVG, with words and a table that say the same. A chart is drawn for the width it has.
// Written here: 5 kB packed, where the lightest library that was looked at has 22 kB and paints a
// canvas, which no screen reader reads and paper shows as pixels.

import { el, fill, svg } from "./dom.js";
import { numbers } from "./numbers.js";

const HEIGHT = 260;
const ROOM = { left: 46, right: 14, top: 28, bottom: 40 };
let count = 0;

/**
 * A place for a chart: an element, and draw(data) to show one.
 *
 * data: {title, words, x: {title, say?}, y: {title}, lines: [{name, style, x, y}],
 *  bands: [{name, style, x, low, high}], points: [{name, style, x, y, spread?}],
 *  (x.whole: it counts things), spans: [{name, from, to}], marks: [{name, style, x}], table: {headings, rows}, file}
 */
export function chart(title) {
  count += 1;
  const id = `c${count}`;
  const board = el("div", { class: "board" });
  const legend = el("ul", { class: "legend" });
  const words = el("p", { class: "words", id: `${id}-words`, text: "Waiting for an answer." });
  const behind = numbers(title);
  const readout = el("p", { class: "readout", "aria-hidden": "true" });
  const heading = el("h4", { text: title });
  const figure = el(
    "figure",
    { class: "chart" },
    el("figcaption", {}, heading, words),
    board,
    readout,
    legend,
    behind.node,
  );
  let shown = null;
  let width = 0;

  const paint = () => {
    if (shown === null || width < 50) return;
    fill(board, picture(shown, width, id, readout));
  };
  new ResizeObserver((entries) => {
    const wide = Math.round(entries[0].contentRect.width);
    if (wide === width) return;
    width = wide;
    paint();
  }).observe(board);
  const draw = (data) => {
    shown = data;
    words.textContent = data.words;
    fill(legend, ...[...new Map(legendOf(data)).values()]);
    paint();
    behind.show({ ...data.table, file: data.file });
  };
  return { figure, draw };
}

function legendOf(data) {
  const swatch = (style) =>
    svg("svg", { class: "swatch", viewBox: "0 0 24 12", "aria-hidden": "true" }, sample(style));
  const named = [...(data.bands ?? []), ...data.lines, ...(data.points ?? []), ...(data.marks ?? [])];
  return [...named, ...(data.spans ?? []).map((span) => ({ ...span, style: "span" }))]
    .filter((one) => one.name)
    .map((one) => [one.name, el("li", {}, swatch(one.style), one.name)]);
}

function sample(style) {
  if (style.startsWith("band") || style === "span") {
    return svg("rect", { class: style, x: 0, y: 1, width: 24, height: 10 });
  }
  if (style.startsWith("point")) return svg("circle", { class: style, cx: 12, cy: 6, r: 4.5 });
  return svg("path", { class: style, d: "M0 6H24" });
}

function picture(data, width, id, readout) {
  const height = HEIGHT;
  const xs = extent([
    ...data.lines.flatMap((l) => l.x),
    ...(data.points ?? []).map((p) => p.x),
    ...(data.marks ?? []).map((m) => m.x),
    ...(data.bands ?? []).flatMap((b) => b.x),
  ]);
  const ys = extent([
    ...data.lines.flatMap((l) => l.y),
    ...(data.points ?? []).flatMap((p) => [p.y - (p.spread ?? 0), p.y + (p.spread ?? 0)]),
    ...(data.bands ?? []).flatMap((b) => [...b.low, ...b.high]),
    ...(data.y.least === undefined ? [] : [data.y.least]),
  ]);
  const ticks = { x: ticksOf(xs, width < 420 ? 4 : 7), y: ticksOf(ys, 5) };
  if (data.x.whole) ticks.x = ticks.x.filter(Number.isInteger);
  // Upright, the axis begins and ends with a tick.
  const step = ticks.y.length > 1 ? ticks.y[1] - ticks.y[0] : 0;
  if (ys[1] > ticks.y.at(-1) + step * 1e-6) ticks.y.push(ticks.y.at(-1) + step);
  if (ys[0] < ticks.y[0] - step * 1e-6) ticks.y.unshift(ticks.y[0] - step);
  const low = Math.min(ys[0], ticks.y[0]);
  const high = Math.max(ys[1], ticks.y.at(-1));
  const span = { x: xs[1] - xs[0] || 1, y: high - low || 1 };
  const across = (x) => ROOM.left + ((x - xs[0]) / span.x) * (width - ROOM.left - ROOM.right);
  const up = (y) => height - ROOM.bottom - ((y - low) / span.y) * (height - ROOM.top - ROOM.bottom);
  const parts = [
    ...axes(data, ticks, across, up, width, height),
    ...(data.spans ?? []).map((one) => spanPart(one, xs, across, height)),
    ...(data.bands ?? []).map((band) => svg("path", { class: band.style, d: area(band, across, up) })),
    ...(data.marks ?? []).map((mark) =>
      svg("path", { class: mark.style, d: `M${f(across(mark.x))} ${ROOM.top}V${height - ROOM.bottom}` }),
    ),
    ...data.lines.map((line) => svg("path", { class: line.style, d: trace(line, across, up) })),
    ...(data.points ?? []).flatMap((point) => pointParts(point, across, up)),
  ];
  const hair = svg("path", { class: "hair" });
  const drawing = svg(
    "svg",
    {
      viewBox: `0 0 ${width} ${height}`,
      width,
      height,
      role: "img",
      "aria-label": data.title,
      "aria-describedby": `${id}-words`,
    },
    ...parts,
    hair,
  );
  drawing.addEventListener("pointermove", (event) => {
    const left = drawing.getBoundingClientRect().left;
    const share = (event.clientX - left - ROOM.left) / (width - ROOM.left - ROOM.right);
    if (share < 0 || share > 1) return;
    const x = xs[0] + share * span.x;
    hair.setAttribute("d", `M${f(across(x))} ${ROOM.top}V${height - ROOM.bottom}`);
    readout.textContent = readOut(data, x);
  });
  drawing.addEventListener("pointerleave", () => {
    hair.removeAttribute("d");
    readout.textContent = "";
  });
  return drawing;
}

function axes(data, ticks, across, up, width, height) {
  const grid = ticks.y.map((y) => `M${ROOM.left} ${f(up(y))}H${width - ROOM.right}`).join("");
  const places = Math.max(0, ...ticks.x.map(decimals));
  const text = (x, y, anchor, content) =>
    svg("text", { class: "tick", x: f(x), y: f(y), "text-anchor": anchor, text: content });
  return [
    svg("path", { class: "grid", d: grid }),
    svg("path", { class: "axis", d: `M${ROOM.left} ${height - ROOM.bottom}H${width - ROOM.right}` }),
    ...ticks.y.map((y) => text(ROOM.left - 6, up(y) + 4, "end", tickText(y, 0))),
    ...ticks.x.map((x) => text(Math.min(across(x), width - halfOf(tickText(x, places))), height - ROOM.bottom + 16, "middle", tickText(x, places))),
    text(0, 13, "start", data.y.title),
    text(width - ROOM.right, height - 6, "end", data.x.title),
  ];
}

const halfOf = (words) => words.length * 3.6; // pixels of a tick's half width, at most

const tickText = (value, places) =>
  value.toFixed(Math.max(places, decimals(value))).replace("-", "−");
const decimals = (value) => (String(Number(value.toFixed(6))).split(".")[1] ?? "").length;
const f = (value) => Number(value.toFixed(1));

function spanPart(one, xs, across, height) {
  const left = across(Math.max(one.from, xs[0]));
  const right = across(Math.min(one.to, xs[1]));
  return svg("rect", {
    class: "span",
    x: f(left),
    y: ROOM.top,
    width: f(Math.max(right - left, 0)),
    height: height - ROOM.top - ROOM.bottom,
  });
}

function pointParts(point, across, up) {
  const [x, y] = [f(across(point.x)), f(up(point.y))];
  const parts = [svg("circle", { class: point.style, cx: x, cy: y, r: 5 })];
  if (point.spread) {
    const [top, bottom] = [f(up(point.y + point.spread)), f(up(point.y - point.spread))];
    const d = `M${x} ${top}V${bottom}M${x - 4} ${top}h8M${x - 4} ${bottom}h8`;
    parts.unshift(svg("path", { class: "whisker", d }));
  }
  return parts;
}

function trace(line, across, up) {
  let pen = "M";
  return line.x
    .map((x, k) => {
      if (line.y[k] === null) {
        pen = "M";
        return "";
      }
      const part = `${pen}${f(across(x))} ${f(up(line.y[k]))}`;
      pen = "L";
      return part;
    })
    .join("");
}

function area(band, across, up) {
  const there = band.x.map((x, k) => `${f(across(x))} ${f(up(band.high[k]))}`);
  const back = band.x.map((x, k) => `${f(across(x))} ${f(up(band.low[k]))}`).reverse();
  return `M${[...there, ...back].join("L")}Z`;
}

function extent(values) {
  const known = values.filter((value) => Number.isFinite(value));
  return known.length ? [Math.min(...known), Math.max(...known)] : [0, 1];
}

function ticksOf([low, high], wanted) {
  const rough = (high - low) / wanted || 1;
  const ten = 10 ** Math.floor(Math.log10(rough));
  const step = ten * [1, 2, 5, 10].find((s) => s * ten >= rough * 0.999);
  const found = [];
  for (let k = Math.ceil(low / step - 1e-9); k <= high / step + 1e-9; k += 1) found.push(k * step);
  return found.length ? found : [low];
}

function readOut(data, x) {
  const values = data.lines
    .map((line) => [line.name, between(line, x)])
    .filter(([name, y]) => name && y !== null)
    .map(([name, y]) => `${name} ${data.y.say(y)}`);
  return `${data.x.say(x)}: ${values.join(", ")}`;
}

function between(line, x) {
  const k = line.x.findIndex((other) => other >= x);
  if (k < 0 || (k === 0 && x < line.x[0])) return null;
  const [a, b] = [Math.max(k - 1, 0), k];
  if (line.y[a] === null || line.y[b] === null) return null;
  const share = line.x[b] === line.x[a] ? 0 : (x - line.x[a]) / (line.x[b] - line.x[a]);
  return line.y[a] + share * (line.y[b] - line.y[a]);
}
