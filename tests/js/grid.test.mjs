import assert from "node:assert/strict";
import { test } from "node:test";

import { block, neighbour, over } from "../../zones/work/static/work/grid.js";

// A grid of three rows and three columns; a step that can't be marked leaves a hole in the middle.
const cells = [[1, 1], [1, 2], [1, 3], [2, 1], [2, 3], [3, 1], [3, 2], [3, 3]].map(([row, column]) => ({ row, column }));
const at = (row, column) => cells.find((c) => c.row === row && c.column === column);

test("a block holds its corners whichever comes first, and nothing that has no box", () => {
  assert.deepEqual(block(cells, at(1, 2), at(2, 3)), [at(1, 2), at(1, 3), at(2, 3)]);
  assert.deepEqual(block(cells, at(2, 3), at(1, 2)), [at(1, 2), at(1, 3), at(2, 3)]);
  assert.deepEqual(block(cells, at(3, 1), at(3, 1)), [at(3, 1)]);
});

test("arrow keys go to the next box, over holes, and stop at the edge", () => {
  assert.equal(neighbour(cells, at(2, 1), "ArrowRight"), at(2, 3));
  assert.equal(neighbour(cells, at(1, 2), "ArrowDown"), at(3, 2));
  assert.equal(neighbour(cells, at(3, 2), "ArrowUp"), at(1, 2));
  assert.equal(neighbour(cells, at(1, 3), "ArrowLeft"), at(1, 2));
  assert.equal(neighbour(cells, at(1, 3), "ArrowRight"), null);
});

test("Home and End go to the ends of the row; other keys go nowhere", () => {
  assert.equal(neighbour(cells, at(1, 2), "Home"), at(1, 1));
  assert.equal(neighbour(cells, at(1, 1), "End"), at(1, 3));
  assert.equal(neighbour(cells, at(1, 1), "Home"), null);
  assert.equal(neighbour(cells, at(1, 1), "x"), null);
});

test("a box over several cells is ticked when all are, and half when some are", () => {
  assert.deepEqual(over([true, true]), { checked: true, indeterminate: false });
  assert.deepEqual(over([true, false]), { checked: false, indeterminate: true });
  assert.deepEqual(over([false]), { checked: false, indeterminate: false });
  assert.deepEqual(over([]), { checked: false, indeterminate: false });
});
