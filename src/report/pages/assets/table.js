// The table of field seasons: sorting by a column, finding by any words.
"use strict";
(() => {
  const table = document.getElementById("table");
  if (!table) return;
  const body = table.tBodies[0];
  const heads = [...table.tHead.rows[0].cells];
  const rows = [...body.rows];
  const order = new Intl.Collator(undefined, { numeric: true, sensitivity: "base" });
  const keys = rows.map((row) => [...row.cells].map((cell) => cell.dataset.value ?? ""));
  const texts = rows.map((row) => row.textContent.toLowerCase());
  const found = document.getElementById("found");

  heads.forEach((head, column) => {
    const button = head.querySelector("button");
    if (!button) return;
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      heads.forEach((h) => h.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      const numbers = head.dataset.sort === "number";
      const sign = down ? -1 : 1;
      const sorted = rows.map((_, i) => i).sort((a, b) => {
        const [x, y] = [keys[a][column], keys[b][column]];
        return sign * (numbers ? x - y : order.compare(x, y)) || a - b;
      });
      body.append(...sorted.map((i) => rows[i]));
    });
  });

  document.getElementById("search").addEventListener("input", (event) => {
    const words = event.target.value.toLowerCase().split(/\s+/).filter(Boolean);
    let n = 0;
    rows.forEach((row, i) => {
      const fits = words.every((word) => texts[i].includes(word));
      row.hidden = !fits;
      n += fits;
    });
    found.textContent = `${n} of ${rows.length}`;
  });
})();
