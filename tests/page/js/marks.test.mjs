/** Marks on an axis, worked out by hand. */

import assert from "node:assert/strict";
import { test } from "node:test";

import { marks } from "../../../nesting/page/static/geometry/marks.js";

test("marks are round and reach the largest value", () => {
  assert.deepEqual(marks(2000, 4), [0, 500, 1000, 1500, 2000]);
  assert.deepEqual(marks(1700, 4), [0, 500, 1000, 1500, 2000]);
  assert.deepEqual(marks(230, 4), [0, 100, 200, 300]);
  assert.deepEqual(marks(7, 12), [0, 1, 2, 3, 4, 5, 6, 7]);
  assert.deepEqual(marks(0, 4), [0]);
});
