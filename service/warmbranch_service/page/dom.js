// Small helpers for building elements; text is always set as text, never as markup.

const SAID_MS = 9000; // nothing is said here only
let said = 0;
const SVG = "http://www.w3.org/2000/svg";

/** Make an element: el("p", {class: "help", text: "…"}, child, …). */
export function el(name, attributes = {}, ...children) {
  return dress(document.createElement(name), attributes, children);
}

/** The same for SVG. */
export function svg(name, attributes = {}, ...children) {
  return dress(document.createElementNS(SVG, name), attributes, children);
}

function dress(node, attributes, children) {
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key === "text") node.textContent = value;
    else if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else node.setAttribute(key, value === true ? "" : value);
  }
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
}

export const byId = (id) => document.getElementById(id);

/** Replace what an element holds. */
export function fill(node, ...children) {
  node.replaceChildren(...children.filter((child) => child !== null && child !== undefined));
}

/** Set text only when it differs, so that a live region speaks once. */
export function write(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/** A table from headings and rows of text. */
export function table(caption, headings, rows, attributes = {}) {
  return el(
    "table",
    attributes,
    el("caption", { text: caption }),
    el("thead", {}, el("tr", {}, ...headings.map((text) => el("th", { scope: "col", text })))),
    el("tbody", {}, ...rows.map((row) => el("tr", {}, ...row.map(cell)))),
  );
}

function cell(content, place) {
  const name = place === 0 ? "th" : "td";
  const attributes = place === 0 ? { scope: "row" } : {};
  if (content instanceof Node) return el(name, attributes, content);
  return el(name, { ...attributes, text: content });
}

/** Hand a text to the browser's download. */
export function download(name, text, type) {
  const address = URL.createObjectURL(new Blob([text], { type }));
  const link = el("a", { href: address, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 1000);
}

/** Say something once, for eyes and for screen readers. */
export function announce(text) {
  const line = byId("said");
  line.textContent = "";
  clearTimeout(said);
  requestAnimationFrame(() => {
    line.textContent = text;
  });
  said = setTimeout(hush, SAID_MS);
}

/** Take back what was said last: it was of another job. */
export function hush() {
  byId("said").textContent = "";
}
