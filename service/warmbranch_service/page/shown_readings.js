// The readings that the charts show, beside what the fit makes of them.

import { readAfter } from "./job.js";
import { answers } from "./questions.js";
import * as store from "./store.js";
import { celsius, millimetres } from "./units.js";

/** Readings of the build that the fit describes, with what is suspect. */
export function shownReadings() {
  const job = store.current();
  const latest = readAfter(job);
  const residuals = answers.fit?.residuals ?? [];
  const places = answers.fit?.places ?? [];
  return job.readings.flatMap((reading, place) => {
    const position = millimetres(reading.position_mm);
    const temperature = celsius(reading.displayed_degC);
    if (reading.after_cuts !== latest || !Number.isFinite(position + temperature)) return [];
    const residual = residuals[places.indexOf(place)];
    return [{ position, temperature, residual, suspect: residual?.suspect ?? false, place }];
  });
}
