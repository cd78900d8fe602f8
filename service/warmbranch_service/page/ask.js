// A question on the page, not in a window of the browser's: it can be read, reached and tested.

import { byId, write } from "./dom.js";

/** Ask; `done` when `yes` is pressed, `otherwise` when `no` is. */
export function question(words, yes, done, no = "Keep what is here", otherwise = () => {}) {
  write(byId("ask-words"), words);
  for (const [id, text, act] of [["ask-yes", yes, done], ["ask-no", no, otherwise]]) {
    write(byId(id), text);
    byId(id).onclick = () => {
      byId("ask").hidden = true;
      byId("ask-yes").onclick = byId("ask-no").onclick = null;
      act();
    };
  }
  byId("ask").hidden = false;
  byId("ask-yes").focus();
}
