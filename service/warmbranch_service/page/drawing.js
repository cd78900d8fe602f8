// The branch drawn to scale, coloured by the gas's temperature. Drawn flat: twists are left out,
// save that half a turn bends to the other side.

import { svg } from "./dom.js";
import { pieceLength } from "./job.js";
import { millimetres, niceStep, say } from "./units.js";

const STEP = 8; // mm between points
const COLOURS = 12; // classes t0 … t11 of the style sheet
const COLD = 0; // °C
const HOT = 600;

/** Points [x, y, along] of the centre-line in mm, leaving the mouth upward. */
export function outline(branch) {
  const pieces = branch.centreline ?? [{ straight_mm: branch.length_mm }];
  const points = [[0, 0, 0]];
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
      points.push([x, y, along]);
    }
  }
  return points;
}

/** Class of the style sheet for a gas temperature. */
export function colour(temperature) {
  const share = (temperature - COLD) / (HOT - COLD);
  return `t${Math.max(0, Math.min(COLOURS - 1, Math.floor(share * COLOURS)))}`;
}

/**
 * The drawing.
 *
 * given: case; profile: of the answer, or null; readings: [{position, text, suspect}];
 * cut: mm from the mouth where to cut, or null; space: pixels there are, so that text keeps its size.
 */
export function drawing(given, profile, readings, cut, words, space = { width: 700, height: 380 }) {
  const points = outline(given.branch);
  const tube = millimetres(given.branch.outside_diameter_mm);
  const pipe = millimetres(given.main_pipe.outside_diameter_mm);
  const length = points.at(-1)[2];
  if (!(length > 0 && tube > 0 && pipe > 0)) return svg("svg", { role: "img", "aria-label": words });
  // Upright branches are turned to lie, which suits both phones and desks.
  const tall = spread(points, 1) > spread(points, 0) * 1.2;
  const turned = points.map(([x, y, s]) => (tall ? [y, x, s] : [x, -y, s]));
  const edge = Math.max(tube, pipe) * 0.9;
  const wide = 0.5 * Math.max(pipe * 2.2, spread(turned, tall ? 1 : 0) * 0.2);
  const box = bounds([...turned, ...(tall ? [[-pipe, -wide], [0, wide]] : [[-wide, 0], [wide, pipe]])], edge);
  const scale = Math.max(box.width / space.width, box.height / (space.height - 34)); // mm a pixel
  const parts = [mainPipe(tall, pipe, box, wide)];
  const at = (s) => place(turned, s);
  parts.push(svg("path", { class: "tube-edge", d: way(turned), "stroke-width": tube }));
  for (let k = 1; k < turned.length; k += 1) {
    const middle = (turned[k][2] + turned[k - 1][2]) / 2;
    const gas = profile ? valueAt(profile, middle) : null;
    parts.push(
      svg("path", {
        class: `gas ${gas === null ? "unknown" : colour(gas)}`,
        // One piece further, so that no seam shows; the next piece covers it.
        d: way(turned.slice(k - 1, k + 2)),
        "stroke-width": tube * 0.84,
      }),
    );
  }
  parts.push(svg("path", { class: "cap", d: bar(turned, length, tube * 0.56), "stroke-width": 3 * scale }));
  if (cut !== null && cut > 0 && cut < length) {
    parts.push(svg("path", { class: "cut", d: bar(turned, cut, tube * 0.95), "stroke-width": 2.5 * scale }));
  }
  for (const reading of readings) {
    if (!(reading.position >= 0 && reading.position <= length)) continue;
    const [x, y] = at(reading.position);
    const kind = reading.suspect ? "spot suspect" : "spot";
    parts.push(svg("circle", { class: kind, cx: x, cy: y, r: 6 * scale, "stroke-width": 2 * scale }));
    parts.push(label(x, y - tube * 0.5 - 6 * scale, "middle", reading.text, scale));
  }
  const [cx, cy] = at(length);
  parts.push(label(cx, cy + tube * 0.5 + 16 * scale, "end", "cap", scale));
  parts.push(label(tall ? 8 * scale : tube * 0.5 + 8 * scale, tall ? tube * 0.5 + 16 * scale : -6 * scale, "start", "mouth", scale));
  const step = niceStep(length / 5);
  const [left, bottom] = [box.x + 8 * scale, box.y + box.height + 16 * scale];
  parts.push(svg("path", { class: "scale", d: `M${left} ${bottom}v${6 * scale}h${step}v${-6 * scale}`, "stroke-width": 1.5 * scale }));
  parts.push(label(left + step + 8 * scale, bottom + 6 * scale, "start", say("length", step), scale));
  const viewBox = `${box.x} ${box.y} ${box.width} ${box.height + 34 * scale}`;
  return svg("svg", { viewBox, role: "img", "aria-label": words, class: "branch-drawing" }, ...parts);
}

function mainPipe(tall, pipe, box, wide) {
  const far = Math.max(wide, pipe * 1.1);
  return tall
    ? svg("rect", { class: "main-pipe", x: -pipe, y: box.y, width: pipe, height: box.height })
    : svg("rect", { class: "main-pipe", x: Math.min(box.x, -far), y: 0, width: Math.max(box.width, 2 * far), height: pipe });
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
  const k = Math.max(1, points.findIndex((point) => point[2] >= along));
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
