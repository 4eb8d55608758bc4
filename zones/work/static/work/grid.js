// Ticking in the grid of units and steps: rows, columns, blocks, arrow keys. The page works without this file.

/** Cells of a block that has two cells as its corners; cells are {row, column}. */
export function block(cells, from, to) {
  const [top, bottom] = [from.row, to.row].sort((a, b) => a - b);
  const [left, right] = [from.column, to.column].sort((a, b) => a - b);
  return cells.filter((c) => c.row >= top && c.row <= bottom && c.column >= left && c.column <= right);
}

/** The cell that a key leads to: the next one in that direction, or null at the edge. */
export function neighbour(cells, from, key) {
  const ahead = {
    ArrowRight: (c) => c.row === from.row && c.column > from.column,
    ArrowLeft: (c) => c.row === from.row && c.column < from.column,
    ArrowDown: (c) => c.column === from.column && c.row > from.row,
    ArrowUp: (c) => c.column === from.column && c.row < from.row,
    Home: (c) => c.row === from.row && c.column < from.column,
    End: (c) => c.row === from.row && c.column > from.column,
  }[key];
  if (!ahead) return null;
  const distance = (c) => Math.abs(c.row - from.row) + Math.abs(c.column - from.column);
  const farthest = key === "Home" || key === "End";
  return cells.filter(ahead).reduce((best, c) => (best === null || (distance(c) < distance(best)) !== farthest ? c : best), null);
}

/** How a box over several cells stands: all ticked, some, none. A box over no cell is off. */
export function over(ticks) {
  const count = ticks.filter(Boolean).length;
  return { checked: count > 0 && count === ticks.length, indeterminate: count > 0 && count < ticks.length };
}

const board = () => document.querySelector("table.board");
const boxes = () => [...board().querySelectorAll('tbody input[name="cell"]')];
const placed = (box) => {
  const cell = box.closest("td, th");
  return { box, row: cell.parentElement.rowIndex, column: cell.cellIndex };
};
let last = null;

function count() {
  const cells = boxes().map(placed);
  for (const all of board().querySelectorAll('input[name="row"], input[name="column"]')) {
    const at = placed(all);
    const mine = cells.filter((c) => (all.name === "row" ? c.row === at.row : c.column === at.column));
    Object.assign(all, over(mine.map((c) => c.box.checked)));
    all.disabled = mine.length === 0;
  }
  const bar = document.querySelector(".marking");
  const chosen = cells.filter((c) => c.box.checked).length;
  if (!bar) return;
  bar.hidden = chosen === 0 && !bar.querySelector(".error");
  bar.querySelector("[data-chosen]").textContent = `${chosen} chosen`;
}

function onChange(event) {
  const box = event.target;
  if (!box.closest?.("table.board")) return;
  if (box.name === "row" || box.name === "column") {
    const at = placed(box);
    for (const c of boxes().map(placed)) if (box.name === "row" ? c.row === at.row : c.column === at.column) c.box.checked = box.checked;
  }
  count();
}

function onClick(event) {
  const box = event.target.closest?.('table.board input[name="cell"]');
  if (!box) return;
  if (event.shiftKey && last?.isConnected) {
    for (const c of block(boxes().map(placed), placed(last), placed(box))) c.box.checked = box.checked;
    count();
  }
  last = box;
}

function onKey(event) {
  if (event.key === "Enter" && event.target.matches?.('.marking input[name="note"]')) {
    // A reason belongs to two buttons; the key must not press the first of the form.
    event.preventDefault();
    event.target.form.querySelector('button[value="held"]').focus();
    return;
  }
  const box = event.target.closest?.('table.board tbody input[name="cell"], table.board tbody input[name="row"]');
  if (!box || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "Enter") {
    // Ticks as the space bar does: in a form this key would press its first button.
    event.preventDefault();
    box.click();
    return;
  }
  const all = [...board().querySelectorAll("tbody input")].map(placed);
  const next = neighbour(all, placed(box), event.key);
  if (!next) return;
  event.preventDefault();
  next.box.focus();
  next.box.closest("td, th").scrollIntoView({ block: "nearest", inline: "nearest" });
}

// Thousands of ticks go as one field: a server takes only so many.
function onFormData(event) {
  if (!event.target.matches?.("form.marks")) return;
  const cells = event.formData.getAll("cell");
  for (const name of ["cell", "row", "column"]) event.formData.delete(name);
  event.formData.set("cell", cells.join(","));
}

if (typeof document !== "undefined") {
  document.addEventListener("change", onChange);
  document.addEventListener("click", onClick);
  document.addEventListener("keydown", onKey);
  document.addEventListener("formdata", onFormData, true);
  document.addEventListener("htmx:afterSettle", () => { if (board()) count(); });
  window.addEventListener("pageshow", () => { if (board()) count(); });
}
