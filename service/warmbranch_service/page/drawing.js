// The branch drawn to scale, coloured by the gas's temperature. Drawn flat: twists are left out,
// save that half a turn bends to the other side.

import { svg } from "./dom.js";
import { pieceLength } from "./job.js";
import { millimetres, niceStep, onTape } from "./units.js";

const STEP = 8; // mm between points
// What steel turns to with heat, from cool to hot; style.css has the same for the ramp below.
const COLOURS = [[71, 115, 159], [125, 91, 140], [158, 74, 96], [190, 94, 50], [218, 179, 79]];
const MARGIN = { left: 58, right: 44, above: 22, below: 34 }; // pixels, for labels and the scale
const UPRIGHT = 45; // degrees of rise from which on a branch stands or hangs
const APART = 62; // pixels between labels of readings

/** Points [x, y, along, tube before] of the centre-line in mm, leaving the mouth upward. */
export function outline(branch) {
  const pieces = branch.centreline ?? [{ straight_mm: branch.length_mm }];
  const own = millimetres(branch.outside_diameter_mm);
  const points = [[0, 0, 0, millimetres(pieces[0]?.outside_diameter_mm ?? own)]];
  let [x, y, along, heading, side] = [0, 0, 0, Math.PI / 2, 1];
  for (const piece of pieces) {
    const length = pieceLength(piece);
    if (!(length > 0)) continue;
    const bend = !("straight_mm" in piece);
    if (bend && Math.cos(((piece.twist_deg ?? 0) * Math.PI) / 180) < 0) side = -side;
    const parts = Math.max(1, Math.ceil(length / STEP));
    const turn = bend ? (-side * length) / millimetres(piece.bend_radius_mm) : 0;
    for (let k = 0; k < parts; k += 1) {
      const middle = heading + turn / parts / 2;
      x += (Math.cos(middle) * length) / parts;
      y += (Math.sin(middle) * length) / parts;
      heading += turn / parts;
      along += length / parts;
      points.push([x, y, along, millimetres(piece.outside_diameter_mm ?? own)]);
    }
  }
  return points;
}

/** Colour of a share between the coolest (0) and the hottest (1). */
function colour(share) {
  const place = Math.max(0, Math.min(1, share)) * (COLOURS.length - 1);
  const k = Math.min(Math.floor(place), COLOURS.length - 2);
  const mixed = COLOURS[k].map((low, i) => Math.round(low + (place - k) * (COLOURS[k + 1][i] - low)));
  return `rgb(${mixed.join(" ")})`;
}

/**
 * The drawing.
 *
 * given: case; profile: of the answer, or null; readings: [{position, text, suspect}];
 * cut: mm from the mouth where to cut, or null; space: pixels there are, so that text keeps its size;
 * dimensions: whether the pieces carry their lengths.
 */
export function drawing(given, profile, readings, cut, words, space = { width: 700, height: 380 }, dimensions = false) {
  const points = outline(given.branch);
  const tube = Math.max(...points.map((point) => point[3]));
  const pipe = millimetres(given.main_pipe.outside_diameter_mm);
  const length = points.at(-1)[2];
  if (!(length > 0 && tube > 0 && pipe > 0)) return svg("svg", { role: "img", "aria-label": words });
  // A branch that stands or hangs is drawn so; one that lies and is long is turned to lie across.
  const rise = Number(given.branch.rise_deg ?? 0);
  const upright = Math.abs(rise) >= UPRIGHT;
  const tall = !upright && spread(points, 1) > spread(points, 0) * 1.2;
  const down = upright && rise < 0 ? -1 : 1;
  const turned = points.map(([x, y, s, d]) => (tall ? [y, x, s, d] : [x, -y * down, s, d]));
  const edge = Math.max(tube, pipe) * 0.9;
  const wide = 0.5 * Math.max(pipe * 2.2, spread(turned, tall ? 1 : 0) * 0.2);
  const beside = down < 0 ? [[-wide, -pipe], [wide, 0]] : [[-wide, 0], [wide, pipe]];
  const box = bounds([...turned, ...(tall ? [[-pipe, -wide], [0, wide]] : beside)], edge);
  const scale = Math.max(
    box.width / (space.width - MARGIN.left - MARGIN.right),
    box.height / (space.height - MARGIN.above - MARGIN.below),
  ); // mm a pixel
  box.x -= MARGIN.left * scale;
  box.width += (MARGIN.left + MARGIN.right) * scale;
  box.y -= MARGIN.above * scale;
  box.height += MARGIN.above * scale;
  const parts = [
    ...mainPipe(tall, down < 0, pipe, box, scale),
    ...runs(turned).map((run) => svg("path", { class: "tube-edge", d: way(run), "stroke-width": run.at(-1)[3] })),
    ...gasParts(turned, profile),
    svg("path", { class: "cap", d: bar(turned, length, points.at(-1)[3] * 0.56), "stroke-width": 3 * scale }),
  ];
  if (cut !== null && cut > 0 && cut < length) {
    parts.push(svg("path", { class: "cut", d: bar(turned, cut, tube * 0.95), "stroke-width": 2.5 * scale }));
    if (dimensions) parts.push(sawLabel(turned, cut, length, tube, scale));
  }
  if (dimensions) parts.push(...dimensionParts(given.branch, turned, tube, scale));
  const there = readings.filter(({ position }) => position >= 0 && position <= length);
  parts.push(...readingParts(there, turned, tube, scale));
  const [cx, cy, dx, dy] = place(turned, length);
  const beyond = (10 * scale) / (Math.hypot(dx, dy) || 1);
  parts.push(label(cx + dx * beyond, cy + dy * beyond + 5 * scale, anchor(dx, dy), "cap", scale));
  parts.push(label(tall ? 8 * scale : tube * 0.5 + 8 * scale, tall ? tube * 0.5 + 16 * scale : -6 * scale, "start", "mouth", scale));
  const step = niceStep(length / 5);
  const [left, bottom] = [box.x + 8 * scale, box.y + box.height + 16 * scale];
  parts.push(svg("path", { class: "scale", d: `M${left} ${bottom}v${6 * scale}h${step}v${-6 * scale}`, "stroke-width": 1.5 * scale }));
  parts.push(label(left + step + 8 * scale, bottom + 6 * scale, "start", onTape(step, Math.round), scale));
  const viewBox = `${box.x} ${box.y} ${box.width} ${box.height + MARGIN.below * scale}`;
  return svg("svg", { viewBox, role: "img", "aria-label": words, class: "branch-drawing" }, ...parts);
}

// Stretches of one tube each.
function runs(points) {
  const found = [[points[0]]];
  points.slice(1).forEach((point, k) => {
    if (k > 0 && point[3] !== points[k][3]) found.push([points[k]]);
    found.at(-1).push(point);
  });
  return found;
}

function gasParts(points, profile) {
  const [hot, cool] = profile ? [Math.max(...profile.gas_degC), Math.min(...profile.gas_degC)] : [1, 0];
  return points.slice(1).map((point, k) => {
    const middle = (point[2] + points[k][2]) / 2;
    const share = profile ? (valueAt(profile, middle) - cool) / (hot - cool || 1) : null;
    return svg("path", {
      class: share === null ? "gas unknown" : "gas",
      stroke: share === null ? null : colour(share),
      // One piece further, so that no seam shows; the next piece covers it.
      d: way(points.slice(k, points[k + 2]?.[3] === point[3] ? k + 3 : k + 2)),
      "stroke-width": point[3] * 0.84,
    });
  });
}

// Beside each piece its length on the centre-line; of a bend, angle and radius.
function dimensionParts(branch, points, tube, scale) {
  const pieces = branch.centreline ?? [{ straight_mm: branch.length_mm }];
  let from = 0;
  return pieces.map((piece) => {
    const length = pieceLength(piece);
    const [x, y, dx, dy] = place(points, from + length / 2);
    from += length;
    const size = Math.hypot(dx, dy) || 1;
    const straight = "straight_mm" in piece;
    const side = straight ? -1 : 1; // so that a bend's words keep clear of its neighbours'
    const [nx, ny] = [(-dy / size) * side, (dx / size) * side];
    const far = tube * 0.5 + 9 * scale;
    const text = straight
      ? onTape(length, Math.round)
      : `${Number(Number(piece.bend_deg).toFixed(1))}°, radius ${onTape(millimetres(piece.bend_radius_mm), Math.round)}`;
    return label(x + nx * far, y + ny * far + (Math.abs(ny) < 0.5 ? 5 * scale : ny > 0 ? 10 * scale : 0), anchor(nx, ny), text, scale);
  });
}

// On the side of the tube where its lengths are not.
function sawLabel(points, cut, length, tube, scale) {
  const [x, y, dx, dy] = place(points, cut);
  const size = Math.hypot(dx, dy) || 1;
  const [nx, ny] = [-dy / size, dx / size];
  const far = tube * 0.95 + 6 * scale;
  return label(x + nx * far, y + ny * far + (Math.abs(ny) < 0.5 ? 5 * scale : ny > 0 ? 12 * scale : 0), anchor(nx, ny), `saw: ${onTape(length - cut)} off`, scale);
}

// Spots on the tube, each with what was read beside it where there is room.
function readingParts(readings, points, tube, scale) {
  const labels = [];
  const parts = [];
  for (const reading of readings) {
    const [x, y, dx, dy] = place(points, reading.position);
    const size = Math.hypot(dx, dy) || 1;
    const [nx, ny] = [dy / size, -dx / size]; // to the left of who walks to the cap
    const far = tube * 0.5 + 8 * scale;
    const [tx, ty] = [x + nx * far, y + ny * far + (Math.abs(ny) < 0.5 ? 5 * scale : 0)];
    const kind = reading.suspect ? "spot suspect" : "spot";
    parts.push(svg("circle", { class: kind, cx: x, cy: y, r: 6 * scale, "stroke-width": 2 * scale }));
    if (labels.some(([ox, oy]) => Math.abs(ox - tx) < APART * scale && Math.abs(oy - ty) < 16 * scale)) continue;
    labels.push([tx, ty]);
    parts.push(label(tx, ty, anchor(nx, ny), reading.text, scale));
  }
  return parts;
}

const anchor = (dx, dy) => (Math.abs(dx) < Math.abs(dy) ? "middle" : dx < 0 ? "end" : "start");

function mainPipe(tall, hangs, pipe, box, scale) {
  const rect = tall
    ? { x: -pipe, y: box.y, width: pipe, height: box.height }
    : { x: box.x, y: hangs ? -pipe : 0, width: box.width, height: pipe };
  const parts = [svg("rect", { class: "main-pipe", ...rect })];
  const roomy = pipe > 17 * scale;
  if (roomy && !tall) {
    parts.push(label(box.x + box.width - 8 * scale, (hangs ? -pipe / 2 : pipe / 2) + 5 * scale, "end", "main pipe", scale));
  }
  return parts;
}

function label(x, y, anchor, text, scale) {
  return svg("text", { class: "mark", x, y, "text-anchor": anchor, "font-size": 15 * scale, text });
}

const spread = (points, axis) => {
  const values = points.map((point) => point[axis]);
  return Math.max(...values) - Math.min(...values);
};

function bounds(points, edge) {
  const xs = points.map((p) => p[0]);
  const ys = points.map((p) => p[1]);
  const [x, y] = [Math.min(...xs) - edge * 0.4, Math.min(...ys) - edge];
  return { x, y, width: Math.max(...xs) + edge * 0.7 - x, height: Math.max(...ys) + edge * 0.8 - y };
}

const way = (points) => `M${points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L")}`;

function place(points, along) {
  const found = points.findIndex((point) => point[2] >= along);
  const k = found < 0 ? points.length - 1 : Math.max(1, found);
  const [a, b] = [points[k - 1], points[k]];
  const share = (along - a[2]) / (b[2] - a[2]);
  return [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1]), b[0] - a[0], b[1] - a[1]];
}

// A short line across the tube.
function bar(points, along, half) {
  const [x, y, dx, dy] = place(points, along);
  const size = Math.hypot(dx, dy) || 1;
  const [nx, ny] = [(-dy / size) * half, (dx / size) * half];
  return `M${x - nx} ${y - ny}L${x + nx} ${y + ny}`;
}

function valueAt(profile, along) {
  const k = profile.position_mm.findIndex((x) => x >= along);
  return profile.gas_degC[k < 0 ? profile.gas_degC.length - 1 : k];
}
