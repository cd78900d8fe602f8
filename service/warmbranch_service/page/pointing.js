// Where to point the thermometer: a dab of matt black paint on the main pipe, beside the mouth.

import { el, svg } from "./dom.js";

const WORDS =
  "The main pipe with the branch standing on it. Paint a dab of matt black on the main pipe, about one " +
  "pipe’s width before the branch, on the side that you can see. Hold the thermometer square to it and " +
  "close, so that its spot is smaller than the dab.";

/** The picture with its caption. */
export function whereToPoint() {
  const text = (x, y, said, anchor = "start") => svg("text", { class: "mark", x, y, "text-anchor": anchor, "font-size": 13, text: said });
  const picture = svg(
    "svg",
    { viewBox: "0 0 340 170", role: "img", "aria-label": WORDS, class: "pointing" },
    svg("rect", { class: "main-pipe", x: 6, y: 88, width: 328, height: 42 }),
    svg("path", { class: "tube-line", d: "M224 88V14h40V88" }),
    svg("path", { class: "arrow", d: "M20 109h38m-9 -6l9 6l-9 6" }),
    svg("ellipse", { class: "dab", cx: 150, cy: 109, rx: 15, ry: 12 }),
    svg("path", { class: "beam", d: "M62 30L146 101M74 24L157 100" }),
    svg("path", { class: "gun", d: "M34 14l34 4l-3 16l-14 -1l-5 20h-13l4 -24l-7 -3Z" }),
    text(272, 50, "branch"),
    text(20, 148, "gas flows this way"),
    text(8, 163, "a dab of matt black, one width before it"),
    text(84, 20, "square to it, and close"),
    
  );
  return el("div", {}, picture, el("figcaption", { class: "help", text: "Where to point: on the main pipe, beside the branch; never into the tailpipe." }));
}
