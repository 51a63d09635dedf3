/** Lengths as they are printed. */

import assert from "node:assert/strict";
import { test } from "node:test";

import { asEnough, asLeast, asLength, asTape, example, inMm, tellIn } from "../../../nesting/page/static/draw/words.js";

test("a least length is never printed as more than it is", () => {
  assert.equal(asLength(2745.8), "2.746 m");
  assert.equal(asLeast(2745.8), "2.745 m");
  assert.equal(asLeast(2745.0), "2.745 m");
  assert.equal(asLeast(999.7), "99.9 cm");
  assert.equal(asLeast(87.6), "8.7 cm");
});

/** @param {() => void} told what is said of an order in inches */
function imperially(told) {
  tellIn("in");
  try {
    told();
  } finally {
    tellIn("cm");
  }
}

test("an order in inches is told in inches and eighths of a yard", () => {
  imperially(() => {
    // worked by hand: 1 3/8 yd = 1257.3 mm, 14 1/16 in = 357.1875 mm, 24 in = 2/3 yd = 609.6 mm, 1/16 in = 1.5875 mm
    assert.equal(asLength(1257.3), "1 3/8 yd");
    assert.equal(asLength(357.1875), "14 1/16 in");
    assert.equal(asLength(609.6), "24 in");
    assert.equal(asLength(0.9), "0.035 in");
    assert.equal(asLength(-254), "-10 in");
    assert.equal(asLength(0), "0 in");
    assert.equal(asTape(914.4), "36 in");
    assert.equal(example("1 cm", "3/8 in"), "3/8 in");
    // 10 1/32 in = 254.79375 mm lies half way: at least 10, enough is 10 1/16
    assert.equal(asLeast(254.79), "10 in");
    assert.equal(asEnough(254.79), "10 1/16 in");
  });
  assert.equal(asLength(1257.3), "1.257 m");
  assert.equal(example("1 cm", "3/8 in"), "1 cm");
});

test("what is printed of a length to buy is enough", () => {
  assert.equal(asEnough(1500.4), "1.501 m");
  assert.equal(asEnough(1500), "1.5 m");
});

test("a length is read as people type it", () => {
  assert.equal(inMm("14,5 cm"), 145);
  assert.equal(inMm("2"), 20);
  assert.equal(inMm("-3 mm"), -3);
  assert.equal(inMm("5 3/4 in"), 5.75 * 25.4);
  assert.equal(inMm('3/8"'), 0.375 * 25.4);
  for (const no of ["", "two", "1/0 in", "5 3 cm", "1..2", "5 cm 3"]) assert.equal(inMm(no), null, no);
  imperially(() => {
    assert.equal(inMm("5 3/4"), 5.75 * 25.4);
    assert.equal(inMm("12 cm"), 120);
    for (const mm of [25.4, 609.6, 14.0625 * 25.4]) assert.ok(Math.abs((inMm(asTape(mm)) ?? 0) - mm) < 1e-9);
  });
});
