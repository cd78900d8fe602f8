// Where on the pipe it should stand, in one sentence: for the headline, the step and the sheet.

import { leftOver } from "./job.js";
import { answers } from "./questions.js";
import * as store from "./store.js";
import { onTape } from "./units.js";

/** The same for the headline and the sheet: of one's own pipe, not of what the example left. */
export const ownPlaceSentence = () => (leftOver(store.current()).some((path) => path.startsWith("place.")) ? "" : placeSentence());

/** In one sentence where it should stand; "" where nobody asked. */
export function placeSentence() {
  const place = answers.more?.place;
  if (!place) return "";
  const best = place.better[0];
  const here = place.here;
  const said = (one) => `${onTape(one.position_mm, Math.round)} from the open end, ${one.band_insertion_loss_dB.toFixed(0)} dB off the drone`;
  if (here && best && best.place.band_insertion_loss_dB > here.band_insertion_loss_dB + 1) {
    return `Best ${said(best.place)}; where you want it, ${onTape(here.position_mm, Math.round)} from there, ${here.band_insertion_loss_dB.toFixed(0)} dB.`;
  }
  if (here) return `Where you want it, ${said(here)}: nowhere on the free stretch is much better.`;
  return best ? `Best ${said(best.place)}.` : "";
}
