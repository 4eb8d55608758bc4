import assert from "node:assert/strict";
import { test } from "node:test";

import { clamped, nearest, pinched, toMetres, zoomed } from "../../zones/work/static/work/plan.js";

const whole = { x: 0, y: 0, w: 1000, h: 500 };
const near = (a, b) => assert.ok(Math.abs(a - b) < 1e-9, `${a} is not ${b}`);

test("a view stays inside the picture and keeps its shape", () => {
  assert.deepEqual(clamped({ x: -50, y: 480, w: 500, h: 250 }, whole), { x: 0, y: 250, w: 500, h: 250 });
  assert.deepEqual(clamped({ x: 10, y: 10, w: 5000, h: 2500 }, whole), whole);
  near(clamped({ x: 0, y: 0, w: 1, h: 1 }, whole).w, 1000 / 16);
});

test("zooming keeps the point under the pointer where it is", () => {
  const at = { x: 600, y: 200 };
  const view = zoomed(whole, at, 2, whole);
  near((at.x - view.x) / view.w, 0.6);
  near((at.y - view.y) / view.h, 0.4);
  assert.deepEqual(zoomed(view, at, 1 / 100, whole), whole);
});

test("two fingers keep the points that they hold", () => {
  const held = [{ x: 400, y: 250 }, { x: 600, y: 250 }];
  // The fingers went twice as far apart, and a little down.
  const now = [{ x: 300, y: 270 }, { x: 700, y: 270 }];
  const view = pinched(whole, held, now, whole);
  near(view.w, 500);
  for (const i of [0, 1]) {
    near((held[i].x - view.x) / view.w, (now[i].x - whole.x) / whole.w);
    near((held[i].y - view.y) / view.h, (now[i].y - whole.y) / whole.h);
  }
});

test("metres count to the east and north of the origin", () => {
  const place = toMetres({ metres: 0.5, originX: 100, originY: 400 }, { x: 110, y: 380 });
  assert.deepEqual(place, { x: 5, y: 10 });
});

test("the nearest mark is meant", () => {
  assert.equal(nearest([{ x: 0, y: 0, id: 1 }, { x: 9, y: 0, id: 2 }], { x: 6, y: 1 }).id, 2);
  assert.equal(nearest([], { x: 0, y: 0 }), null);
});
