/** Lengths as they are printed. */

import assert from "node:assert/strict";
import { test } from "node:test";

import { asLeast, asLength } from "../../../nesting/page/static/draw/words.js";

test("a least length is never printed as more than it is", () => {
  assert.equal(asLength(2745.8), "2.746 m");
  assert.equal(asLeast(2745.8), "2.745 m");
  assert.equal(asLeast(2745.0), "2.745 m");
  assert.equal(asLeast(999.7), "99.9 cm");
  assert.equal(asLeast(87.6), "8.7 cm");
});
