import assert from "node:assert/strict";
import { test } from "node:test";

import { between, nextControl, typedSince } from "../../projectsite/ui/static/ui/app.js";

test("a range holds both ends whichever comes first", () => {
  const boxes = ["a", "b", "c", "d"];
  assert.deepEqual(between(boxes, "b", "d"), ["b", "c", "d"]);
  assert.deepEqual(between(boxes, "d", "b"), ["b", "c", "d"]);
  assert.deepEqual(between(boxes, "x", "b"), []);
});

test("Enter goes to the next control that takes typing, and nowhere from the last", () => {
  const field = (type, rest = {}) => ({ type, disabled: false, readOnly: false, ...rest });
  const [token, first, locked, second, send] = [field("hidden"), field("text"), field("text", { readOnly: true }), field("text"), field("submit")];
  const controls = [token, first, locked, second, send];
  assert.equal(nextControl(controls, first), second);
  assert.equal(nextControl(controls, second), null);
  assert.equal(nextControl(controls, send), null);
});

test("what was typed while a save was under way is told apart from what was sent", () => {
  const sent = new Map([["observed", "70"], ["reference", ""]]);
  const now = [{ id: "observed", value: "70" }, { id: "reference", value: "70.4" }, { id: "other", value: "x" }];
  assert.deepEqual(typedSince(sent, now), [["reference", "70.4"]]);
});
