// Rows of tables that are made in the page: each cell with its head for narrow screens; numbers to the right.
export function row(cells, heads, { verdict = "", numbers = [] } = {}) {
  const tr = document.createElement("tr");
  for (const [n, cell] of cells.entries()) {
    const td = document.createElement("td");
    td.dataset.label = heads[n];
    if (numbers.includes(heads[n])) td.className = "num";
    if (verdict && n === cells.length - 1) { const disc = document.createElement("span"); disc.className = `disc ${verdict}`; td.className = "verdict"; td.append(disc); }
    td.append(cell);
    tr.append(td);
  }
  return tr;
}
export function button(text) { const made = document.createElement("button"); made.type = "button"; made.className = "quiet"; made.textContent = text; return made; }
