// The skin along the branch as it was believed before anything was read, and as it is believed since.

import { chart } from "./chart.js";
import { hasData } from "./job.js";
import { answers } from "./questions.js";
import { shownReadings } from "./shown_readings.js";
import * as store from "./store.js";
import { converted, plain, say, unitOf } from "./units.js";

const skinChart = chart("The skin, before and after measuring");

export const skinFigure = skinChart.figure;

/** Draw it, where there are readings and both answers. */
export function showSkin() {
  const { prior, posterior } = answers;
  const before = prior?.prediction?.profile;
  const after = posterior?.prediction?.profile;
  const read = shownReadings();
  const shown = Boolean(before && after && hasData(store.current()) && read.length > 0);
  skinFigure.hidden = !shown;
  if (!shown) return;
  const [along, degrees] = [unitOf("length"), unitOf("temperature")];
  const side = (from, end) => from.skin_interval_90_degC.map((pair) => converted("temperature", pair[end]));
  // Each answer has places of its own along the branch.
  const band = (name, style, from) => ({ name, style, x: from.position_mm.map((place) => converted("length", place)), low: side(from, 0), high: side(from, 1) });
  const width = ({ skin_interval_90_degC: pairs }, k) => pairs[k][1] - pairs[k][0];
  const widest = before.position_mm.reduce((most, _, k) => (width(before, k) > width(before, most) ? k : most), 0);
  const nearest = after.position_mm.reduce((best, place, k) => (off(place) < off(after.position_mm[best]) ? k : best), 0);
  function off(place) {
    return Math.abs(place - before.position_mm[widest]);
  }
  const spread = (from, k) => `${plain("difference", width(from, k), 0)} ${unitOf("difference")}`;
  const points = read.map(({ position, temperature, residual, suspect }) => ({
    name: suspect ? "suspect reading" : "reading",
    style: suspect ? "point suspect" : "point",
    x: converted("length", position),
    y: converted("temperature", temperature),
    spread: residual ? converted("difference", 2 * residual.uncertainty_K) : 0,
  }));
  const { position_mm: at, skin_degC: skin } = posterior.profile;
  skinChart.draw({
    title: "The skin, before and after measuring",
    words:
      `Bands hold 90 %. At ${say("length", before.position_mm[widest])} from the mouth, where least was known, ` +
      `the band was ${spread(before, widest)} wide before and is ${spread(after, nearest)} since. ` +
      "A reading shows less than the skin where the surface mirrors.",
    x: { title: `${along} from the mouth`, say: (v) => `${v.toFixed(along === "in" ? 1 : 0)} ${along}` },
    y: { title: degrees, say: (v) => `${v.toFixed(0)} ${degrees}` },
    lines: [{ name: "fitted", style: "line hot", x: at.map((v) => converted("length", v)), y: skin.map((v) => converted("temperature", v)) }],
    bands: [
      band("before", "band of-prior", before),
      band("after", "band of-fit", after),
    ],
    points,
    table: {
      headings: ["when", `from the mouth, ${along}`, `5 %, ${degrees}`, `95 %, ${degrees}`],
      rows: [["before", before], ["after", after]].flatMap(([name, from]) =>
        from.position_mm.map((place, k) => [name, plain("length", place, 2), ...from.skin_interval_90_degC[k].map((value) => plain("temperature", value, 1))]),
      ),
    },
    file: "skin-before-and-after",
  });
}
