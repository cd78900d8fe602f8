// The numbers behind a picture: a table that folds out, to copy or to download.

import { announce, download, el, fill, table } from "./dom.js";

/**
 * A place for a table, and show(data) to fill it.
 *
 * data: {headings, rows, file}. It folds away unless `open`.
 */
export function numbers(title, { open = false, summary = "Numbers" } = {}) {
  const rows = el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": `${title}, as a table` });
  const copy = el("button", { type: "button", class: "small", text: "Copy table" });
  const save = el("button", { type: "button", class: "small", text: "Download CSV" });
  const buttons = el("p", { class: "row" }, copy, save);
  const node = open
    ? el("div", { class: "numbers" }, rows, buttons)
    : el("details", { class: "numbers" }, el("summary", { text: summary }), buttons, rows);
  let shown = null;
  const fillTable = () => {
    if (shown !== null && (open || node.open)) fill(rows, table(shown.caption ?? title, shown.headings, shown.rows));
  };
  node.addEventListener("toggle", fillTable);
  copy.addEventListener("click", async () => {
    const copied = await copyText(csv(shown, "\t"));
    announce(copied ? "Copied." : "The browser did not let it be copied; download it instead.");
  });
  save.addEventListener("click", () => download(`${shown.file}.csv`, csv(shown, ","), "text/csv"));
  return {
    node,
    show: (data) => {
      shown = data;
      fillTable();
    },
  };
}

async function copyText(text) {
  try {
    await navigator.clipboard.writeText(text);
    return true;
  } catch {
    return false;
  }
}

/** A table as text, for a spreadsheet. */
export function csv({ headings, rows }, separator) {
  const quote = (value) => {
    const text = String(value ?? "").replaceAll("−", "-");
    return /[",\n\t]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
  };
  return [headings, ...rows].map((row) => row.map(quote).join(separator)).join("\r\n") + "\r\n";
}
