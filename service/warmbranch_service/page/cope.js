// The cope as a template to scale: wrap it round the tube, mark along the line, grind to it.

import { el, svg } from "./dom.js";
import { millimetres, say, unitOf } from "./units.js";

const WIDEST = 184; // mm that a page of A4 or Letter holds
const POINTS = 181;
const EDGE = 12; // mm of paper below the deepest part of the line

/**
 * Depth of the cope in mm, all round a tube square on a main pipe: y(θ) = R − √(R² − r² sin²θ),
 * with the outside radii r and R; θ from the plane of the main pipe's axis. Null where the tube is
 * wider than the main pipe.
 */
export function copeDepth(tube, pipe, angle) {
  const across = (tube / 2) * Math.sin(angle);
  return tube > pipe ? null : pipe / 2 - Math.sqrt((pipe / 2) ** 2 - across ** 2);
}

/** The page with template and rulers; null where there is none. */
export function template(given) {
  const tube = millimetres(given.branch.outside_diameter_mm);
  const pipe = millimetres(given.main_pipe.outside_diameter_mm);
  if (!(tube > 0 && pipe >= tube)) return null;
  const round = Math.PI * tube;
  const half = round > WIDEST;
  const width = half ? round / 2 : round;
  if (width > WIDEST) return el("p", { text: "This tube is too thick for a template on one sheet." });
  const deepest = copeDepth(tube, pipe, Math.PI / 2);
  const height = deepest + 2 * EDGE;
  const line = Array.from({ length: POINTS }, (_, k) => {
    const along = (k / (POINTS - 1)) * width;
    // Down is towards the main pipe: the tube is longest over the main pipe's sides, a quarter turn
    // from its axis.
    return `${along.toFixed(2)} ${(EDGE + copeDepth(tube, pipe, (2 * along) / tube)).toFixed(2)}`;
  });
  const quarters = Array.from({ length: half ? 3 : 5 }, (_, k) => (k * width) / (half ? 2 : 4));
  const picture = svg(
    "svg",
    { class: "template", viewBox: `-1 -1 ${width + 2} ${height + 2}`, width: `${width + 2}mm`, height: `${height + 2}mm`, "data-depth": deepest.toFixed(3) },
    svg("path", { class: "template-edge", d: `M0 0H${width}V${height}H0Z` }),
    ...quarters.map((x, k) => svg("path", { class: "template-quarter", d: `M${x} 0V${height}` , "data-quarter": k })),
    svg("path", { class: "template-line", d: `M${line.join("L")}` }),
    svg("text", { x: width / 2 + 1.5, y: 4, "font-size": 3, text: "towards the cap" }),
    ...quarters.slice(0, -1).map((x, k) =>
      svg("text", { x: x + 1.5, y: height - 2, "font-size": 3, text: k % 2 ? "over its side" : "along the main pipe" }),
    ),
  );
  return el(
    "section",
    { class: "template-page" },
    el("h2", { text: "Cope template, true to scale" }),
    el("p", {
      text:
        `Print at 100 %, measure both rulers, cut out along the frame and wrap it round the ${say("length", tube, unitOf("length") === "in" ? 3 : 1)} tube ` +
        `with its upper edge towards the cap. Take off what lies below the thick line${half ? "; this is half of the way round: mark it, turn the paper over, mark the other half" : ""}.`,
    }),
    picture,
    ruler(100, 10, "100 mm", 1),
    ruler(4, 0.5, "4 in", 25.4),
  );
}

function ruler(length, step, name, per) {
  const whole = length * per;
  const ticks = Array.from({ length: Math.round(length / step) + 1 }, (_, k) => `M${(k * step * per).toFixed(2)} 8V${k % 2 ? 5 : 2}`);
  return svg(
    "svg",
    { class: "ruler", viewBox: `-1 0 ${whole + 2} 14`, width: `${whole + 2}mm`, height: "14mm" },
    svg("path", { class: "template-edge", d: `M0 8H${whole}${ticks.join("")}` }),
    svg("text", { x: 0, y: 12.5, "font-size": 3.4, text: `this line is ${name} long` }),
  );
}
