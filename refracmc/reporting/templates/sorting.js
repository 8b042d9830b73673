"use strict";
// Sorts a table by the column whose head is pressed and shows the rows that hold a text. Without it the table reads on.
for (const table of document.querySelectorAll("table.sortable")) {
  const body = table.tBodies[0], rows = [...body.rows];
  const heads = [...table.tHead.rows[0].cells];
  const missing = (key) => key === "";
  const order = (a, b) => (isNaN(a) || isNaN(b) ? a.localeCompare(b) : a - b);

  const sort = (column, falling) => {
    const keyed = rows.map((row) => [row.cells[column].dataset.key, row]);
    keyed.sort(([a], [b]) =>
      missing(a) || missing(b) ? missing(a) - missing(b) : falling ? order(b, a) : order(a, b));
    body.append(...keyed.map(([, row]) => row));
    heads.forEach((head, k) =>
      head.setAttribute("aria-sort", k !== column ? "none" : falling ? "descending" : "ascending"));
  };
  heads.forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = head.textContent;
    button.addEventListener("click", () => {
      const number = rows.some((row) => row.cells[column].dataset.key !== "" && !isNaN(row.cells[column].dataset.key));
      const now = head.getAttribute("aria-sort");
      sort(column, now === "ascending" || (now !== "descending" && number));
    });
    head.replaceChildren(button);
  });

  const line = document.createElement("p"), label = document.createElement("label");
  const field = document.createElement("input"), count = document.createElement("span");
  line.className = "filter";
  field.type = "search";
  count.setAttribute("aria-live", "polite");
  label.append("Show rows that hold", field);
  line.append(label, count);
  table.parentElement.before(line);
  const show = () => {
    const words = field.value.toLowerCase().split(/\s+/);
    for (const row of rows) {
      row.hidden = !words.every((word) => row.textContent.toLowerCase().includes(word));
    }
    const shown = rows.filter((row) => !row.hidden).length;
    count.textContent = `${shown} of ${rows.length} shown; the last rows are of all, whatever is shown`;
  };
  field.addEventListener("input", show);
  show();
}
