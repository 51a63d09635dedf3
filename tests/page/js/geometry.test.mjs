// Run by node's own test runner (see test_browser_geometry.py); the modules know no browser.
import assert from "node:assert/strict";
import { test } from "node:test";

const at = new URL("../../../nesting/page/static/", import.meta.url);
const { homography, isConvex, reversed, seen } = await import(new URL("geometry/homography.js", at));
const { bodyOf, depth, hollowWall, meets, solidWall } = await import(new URL("geometry/meeting.js", at));
const { placed, unplaced } = await import(new URL("geometry/pose.js", at));
const { areaOf, holds, lengthOf, nearestAlong, partOf, pointAlong, thinnedRing } = await import(new URL("geometry/rings.js", at));
const { pulled, slide } = await import(new URL("geometry/slide.js", at));
const { nearestRepeat, nearestTurn, snapped } = await import(new URL("geometry/snap.js", at));
const { View } = await import(new URL("geometry/view.js", at));
const { Hand } = await import(new URL("handlers/drag-piece.js", at));

// Park and Miller, "Random number generators: good ones are hard to find", CACM 31 (1988): the same draws on every machine
function draws(seed) {
  let state = seed;
  return () => (state = (state * 48271) % 2147483647) / 2147483647;
}

const square = (x, y, w, h = w) => [[x, y], [x + w, y], [x + w, y + h], [x, y + h]];
const disc = (x, y, r, n = 72) => Array.from({ length: n }, (_, i) => [x + r * Math.cos((2 * Math.PI * i) / n), y + r * Math.sin((2 * Math.PI * i) / n)]);

/** A star-shaped outline with dents, like a garment piece. */
function lump(next, x, y, r) {
  const n = 9 + Math.floor(next() * 12);
  return Array.from({ length: n }, (_, i) => {
    const far = r * (0.45 + 0.55 * next());
    return [x + far * Math.cos((2 * Math.PI * i) / n), y + far * Math.sin((2 * Math.PI * i) / n)];
  });
}

/** Distance of two rings by brute force: every corner of either from every edge of the other; 0 where they overlap. */
function apart(a, b) {
  if (a.some((p) => holds(b, p)) || b.some((p) => holds(a, p))) return 0;
  let least = Infinity;
  for (const [ring, other] of [[a, b], [b, a]]) for (const p of ring) least = Math.min(least, nearestAlong(p, other, true).away);
  for (let i = 0; i < a.length; i++) for (let j = 0; j < b.length; j++) if (cross(a[i], a[(i + 1) % a.length], b[j], b[(j + 1) % b.length])) return 0;
  return least;
}
const side = (a, b, c) => (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
const cross = (a, b, c, d) => side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0;
const moved = (ring, dx, dy) => ring.map(([x, y]) => [x + dx, y + dy]);

test("a placement flips first, then turns, then moves", () => {
  // by hand: (2, 1) flipped (2, -1), turned by 90 degrees (1, 2), moved by (10, 20)
  assert.deepEqual(placed([[2, 1]], { x: 10, y: 20, turn: 90, flipped: true }), [[11, 22]]);
  const next = draws(3);
  for (let k = 0; k < 50; k++) {
    const pose = { x: next() * 900, y: next() * 900, turn: next() * 360, flipped: next() < 0.5 };
    const ring = lump(next, 0, 0, 100);
    const back = unplaced(placed(ring, pose), pose);
    for (let i = 0; i < ring.length; i++) assert.ok(Math.hypot(back[i][0] - ring[i][0], back[i][1] - ring[i][1]) < 1e-9);
    assert.ok(Math.abs(Math.abs(areaOf(placed(ring, pose))) - Math.abs(areaOf(ring))) < 1e-6);
  }
});

test("outlines: area, length, places along, parts", () => {
  assert.equal(areaOf(square(0, 0, 10)), 100);
  assert.equal(areaOf([...square(0, 0, 10)].reverse()), -100);
  assert.equal(lengthOf([[0, 0], [3, 4], [3, 10]]), 11);
  assert.deepEqual(pointAlong([[0, 0], [3, 4], [3, 10]], 8), [3, 7]);
  assert.deepEqual(partOf(square(0, 0, 1), 2, 0), [[1, 1], [0, 1], [0, 0]]);
});

test("thinning drops nothing farther away than it may", () => {
  const ring = disc(0, 0, 100, 3000);
  const thin = thinnedRing(ring, 0.05);
  assert.ok(thin.length < 150, `${thin.length} points`);
  for (const p of ring) assert.ok(nearestAlong(p, thin, true).away <= 0.0501);
});

test("meeting agrees with distances worked out one by one", () => {
  const next = draws(11);
  let met = 0;
  for (let k = 0; k < 400; k++) {
    const a = lump(next, 0, 0, 60);
    const b = lump(next, 40 + next() * 110, next() * 60 - 30, 60);
    const gap = next() < 0.5 ? 0 : 3;
    const far = apart(a, b);
    const verdict = meets(bodyOf(a, 0), 0, 0, solidWall(b, gap, "b"), 0.1);
    if (far > gap + 0.1) assert.equal(verdict, false, `free at ${far}, gap ${gap}, draw ${k}`);
    if (far === 0 && depth(bodyOf(a, 0), 0, 0, solidWall(b, gap, "b")) > 1) assert.equal(verdict, true, `overlap not seen, draw ${k}`);
    if (gap > 0 && far > 0 && far < gap - 0.3) assert.equal(verdict, true, `too near at ${far}, draw ${k}`);
    met += verdict;
  }
  assert.ok(met > 60 && met < 340, `the draws try both: ${met}`);
});

test("one piece inside another meets it, and beyond the cloth's edge too", () => {
  assert.equal(meets(bodyOf(square(40, 40, 10)), 0, 0, solidWall(square(0, 0, 100), 0, "big")), true);
  assert.equal(meets(bodyOf(square(0, 0, 100)), 0, 0, solidWall(square(40, 40, 10), 0, "small")), true);
  const rim = hollowWall(square(0, 0, 200, 100), "cloth");
  assert.equal(meets(bodyOf(square(40, 40, 10)), 0, 0, rim), false);
  assert.equal(meets(bodyOf(square(40, 40, 10)), 0, 60, rim), true);
  assert.equal(meets(bodyOf(square(40, 40, 10)), 500, 0, rim), true);
  // an L-shaped leftover: inside its box, but not on it
  const el = hollowWall([[0, 0], [100, 0], [100, 30], [30, 30], [30, 100], [0, 100]], "cloth");
  assert.equal(meets(bodyOf(square(60, 60, 20)), 0, 0, el), true);
  assert.equal(meets(bodyOf(square(5, 60, 20)), 0, 0, el), false);
});

test("depth: a square pushed 7 mm into a larger one", () => {
  const wall = solidWall(square(0, 0, 100), 0, "wall");
  assert.ok(Math.abs(depth(bodyOf(square(-20, 30, 20)), 7, 0, wall) - 7) < 1e-9);
});

test("a push straight at a wall ends at the gap", () => {
  const went = slide(bodyOf(square(0, 0, 10)), [solidWall(square(50, -50, 100, 200), 3, "w")], 0, 0, 80, 0);
  assert.ok(Math.abs(went.x - 37) < 0.05 && Math.abs(went.y) < 1e-6, JSON.stringify(went));
  assert.deepEqual(went.touched, ["w"]);
});

test("a push aslant slides along the wall", () => {
  const went = slide(bodyOf(square(0, 0, 10)), [solidWall(square(50, -500, 100, 1000), 3, "w")], 0, 0, 80, 60);
  assert.ok(Math.abs(went.x - 37) < 0.05 && Math.abs(went.y - 60) < 0.1, JSON.stringify(went));
});

test("along a slope the push goes on along it", () => {
  // a wall at 45 degrees: pushed by (100, 0), half of it is left along the slope
  const wall = solidWall([[40, -60], [240, 140], [240, -60]], 0, "slope");
  const went = slide(bodyOf(square(0, 0, 10)), [wall], 0, 0, 150, 0);
  assert.ok(went.y > 20 && went.x > 60, JSON.stringify(went));
  assert.ok(Math.abs(went.x + 10 - 40 - (went.y + 60)) < 0.1, "its lower right corner lies on the slope");
});

test("into a corner it stops", () => {
  const rim = hollowWall(square(0, 0, 100), "cloth");
  const went = slide(bodyOf(square(0, 0, 10)), [rim], 30, 30, 300, 200);
  assert.ok(Math.abs(went.x - 90) < 0.1 && Math.abs(went.y - 90) < 0.1, JSON.stringify(went));
});

test("it comes away from what it touches", () => {
  const wall = solidWall(square(13, -50, 100, 200), 3, "w");
  const away = slide(bodyOf(square(0, 0, 10)), [wall], 0, 0, -40, 0);
  assert.ok(Math.abs(away.x + 40) < 1e-6);
  const along = slide(bodyOf(square(0, 0, 10)), [wall], 0, 0, 0, 40);
  assert.ok(Math.abs(along.y - 40) < 1e-6);
});

test("round the outside of a disc the gap is round, too", () => {
  const went = slide(bodyOf(disc(0, 0, 10)), [solidWall(disc(60, 1, 20), 5, "d")], 0, 0, 45, -12);
  const far = Math.hypot(went.x - 60, went.y - 1);
  assert.ok(far > 34.9 && far < 37, `${far} of 35`);
  assert.ok(went.y < -12.5, "it slid off to the lower side");
});

test("no push ends in a wall, whatever is pushed where", () => {
  const next = draws(29);
  let slid = 0;
  for (let k = 0; k < 150; k++) {
    const walls = Array.from({ length: 6 }, (_, i) => lump(next, 120 + (i % 3) * 110, 60 + Math.floor(i / 3) * 120, 55));
    const solid = walls.map((w, i) => solidWall(w, 2, `w${i}`));
    const rim = hollowWall(square(0, 0, 460, 260), "cloth");
    const ring = lump(next, 0, 0, 30);
    const body = bodyOf(ring, 0);
    let x = 32;
    let y = 32 + next() * 180;
    if ([...solid, rim].some((w) => meets(body, x, y, w, 0))) continue;
    for (let step = 0; step < 12; step++) {
      const went = pulled(body, [...solid, rim], x, y, x + next() * 80 - 20, y + next() * 80 - 40);
      ({ x, y } = went);
      slid += went.touched.length > 0;
      const here = moved(ring, x, y);
      for (const w of walls) assert.ok(apart(here, w) > 2 - 0.25, `draw ${k} step ${step}: ${apart(here, w)}`);
      for (const [px, py] of here) assert.ok(px > -0.2 && py > -0.2 && px < 460.2 && py < 260.2);
    }
  }
  assert.ok(slid > 100, `contacts were tried: ${slid}`);
});

test("snapping takes the nearest place within reach, a repeat goes on for ever", () => {
  assert.deepEqual(snapped(9.2, [{ at: 0, why: "cut end" }, { at: 10, why: "fold" }], 2), { at: 10, why: "fold" });
  assert.deepEqual(snapped(5, [{ at: 0, why: "cut end" }], 2), { at: 5, why: null });
  assert.equal(nearestRepeat(103, 40, 7, "stripe").at, 87);
  assert.equal(nearestTurn(350, [0, 90, 180]), 0);
  assert.equal(nearestTurn(200, [0, 90, 180]), 180);
});

test("view: there and back, and what is zoomed about stays", () => {
  const view = View.fitted({ left: 0, right: 1000, low: 0, high: 500 }, 800, 600);
  const p = view.toCloth(view.toScreen([123, 456]));
  assert.ok(Math.hypot(p[0] - 123, p[1] - 456) < 1e-9);
  const about = [200, 300];
  const near = view.zoomed(3, about);
  assert.ok(Math.hypot(near.toCloth(about)[0] - view.toCloth(about)[0], near.toCloth(about)[1] - view.toCloth(about)[1]) < 1e-9);
  assert.ok(view.toScreen([0, 0])[1] > view.toScreen([0, 10])[1], "y grows upwards");
});

// --- the projector: a camera looks at a screen that hangs askew, corners are set by hand to half a pixel

/** Pin-hole projection of the table (mm) to projector pixels: turned about three axes, moved, divided by depth. */
function camera(yaw, pitch, roll, height, focal) {
  const [cy, sy, cp, sp, cr, sr] = [Math.cos(yaw), Math.sin(yaw), Math.cos(pitch), Math.sin(pitch), Math.cos(roll), Math.sin(roll)];
  const r = [
    [cy * cr + sy * sp * sr, -cy * sr + sy * sp * cr, sy * cp],
    [cp * sr, cp * cr, -sp],
    [-sy * cr + cy * sp * sr, sy * sr + cy * sp * cr, cy * cp],
  ];
  return ([x, y]) => {
    const q = [x - 500, -(y - 350), 0];
    const [a, b, c] = r.map((row) => row[0] * q[0] + row[1] * q[1] + row[2] * q[2]);
    return [960 + (focal * a) / (c + height), 540 + (focal * b) / (c + height)];
  };
}

test("four corners give back the camera exactly", () => {
  const see = camera(0.3, -0.25, 0.1, 1800, 2000);
  const table = [[0, 0], [1000, 0], [1000, 700], [0, 700]];
  const h = homography(table, table.map(see));
  for (let x = -200; x <= 1200; x += 100) for (let y = -100; y <= 800; y += 100) {
    const [u, v] = seen(h, [x, y]);
    const [s, t] = see([x, y]);
    assert.ok(Math.hypot(u - s, v - t) < 1e-6);
    const back = seen(reversed(h), [u, v]);
    assert.ok(Math.hypot(back[0] - x, back[1] - y) < 1e-6);
  }
});

test("corners set to half a pixel: every point of the rectangle lands within one projector pixel", () => {
  const next = draws(7);
  let worst = 0;
  for (let k = 0; k < 200; k++) {
    const see = camera((next() - 0.5) * 0.7, (next() - 0.5) * 0.7, (next() - 0.5) * 0.4, 1700 + next() * 900, 1700 + next() * 500);
    const table = [[0, 0], [1000, 0], [1000, 700], [0, 700]];
    const set = table.map(see).map(([u, v]) => [u + next() - 0.5, v + next() - 0.5]);
    const h = homography(table, set);
    for (let x = 0; x <= 1000; x += 50) for (let y = 0; y <= 700; y += 50) {
      const [u, v] = seen(h, [x, y]);
      const [s, t] = see([x, y]);
      worst = Math.max(worst, Math.hypot(u - s, v - t));
    }
  }
  assert.ok(worst <= 1, `${worst} pixels`);
  assert.ok(worst > 0.3, "the corners were set with errors");
});

test("corners that cross or lie in a line are refused", () => {
  assert.equal(isConvex([[0, 0], [10, 0], [0, 10], [10, 10]]), false);
  assert.equal(isConvex([[0, 0], [5, 0], [10, 0], [0, 10]]), false);
  assert.throws(() => homography(square(0, 0, 1), [[0, 0], [5, 0], [10, 0], [0, 10]]), RangeError);
});

// --- a piece in the hand, among 200

function layOf(count) {
  const next = draws(5);
  const shapes = {};
  const pieces = [];
  for (let i = 0; i < count; i++) {
    const key = `s${i % 12}`;
    shapes[key] ??= { outline: lump(next, 0, 0, 95).flatMap((p, j, all) => Array.from({ length: 8 }, (_, k) => [p[0] + ((all[(j + 1) % all.length][0] - p[0]) * k) / 8, p[1] + ((all[(j + 1) % all.length][1] - p[1]) * k) / 8 + 0.3 * Math.sin(k)])) };
    pieces.push({ id: `p${i}`, shape: key, x: 110 + Math.floor(i / 7) * 205, y: 105 + (i % 7) * 205, turn: 0, flipped: false, plies: [0], on_fold: false, fixed_x: null, fixed_y: null, snap_x: null, snap_y: null });
  }
  const length = 120 + Math.ceil(count / 7) * 205;
  const part = { start: 0, length, table_width: 1450, spread: "open", folds: [], plies: [{ ply: 0, face: "up", region: square(0, 0, length, 1450), flaws: [] }], pieces };
  return { lay: { gap: 3, shapes, sections: [part], remnant: null }, part };
}

test("among 200 pieces a step of a drag takes a few milliseconds, most of them less", () => {
  const { lay, part } = layOf(200);
  const hand = new Hand(lay, part, part.pieces[100]);
  const next = draws(17);
  const start = { ...hand.pose };
  const times = [];
  for (let i = 0; i < 300; i++) {
    const before = process.cpuUsage();
    hand.pull(start.x + (next() - 0.5) * 500, start.y + (next() - 0.5) * 500, { slides: true, reach: 2 });
    const used = process.cpuUsage(before);
    times.push((used.user + used.system) / 1000);
  }
  times.sort((a, b) => a - b);
  // a frame has 16.7 ms; drawing takes its share
  assert.ok(times[Math.floor(times.length * 0.95)] < 8, `95 % of the steps within ${times[Math.floor(times.length * 0.95)]} ms of processor time`);
});

test("on a fold a piece only slides along it; stripes hold it to their places", () => {
  const { lay, part } = layOf(14);
  const piece = part.pieces[0];
  piece.fixed_y = piece.y;
  piece.on_fold = true;
  assert.equal(new Hand(lay, part, piece).pull(piece.x + 4, piece.y + 60, { slides: true, reach: 0 }).pose.y, piece.y);
  const other = part.pieces[13];
  other.snap_x = { every: 40, offset: 35 };
  const held = new Hand(lay, part, other).pull(other.x + 400, other.y, { slides: false, reach: 0 });
  assert.ok(Math.abs(((held.pose.x - 35) % 40)) < 1e-9, `${held.pose.x}`);
});

test("what overlaps is named, and about how deep", () => {
  const { lay, part } = layOf(14);
  const [a, b] = part.pieces;
  const hand = new Hand(lay, part, a);
  const held = hand.pull(b.x, b.y - 40, { slides: false, reach: 0 });
  assert.ok(held.meets.includes(b.id));
  assert.ok(held.deep > 20);
  const out = hand.pull(a.x, -300, { slides: false, reach: 0 });
  assert.ok(out.meets.includes("cloth"));
});

test("a piece that is not on a fold keeps half the gap from it", () => {
  const { lay, part } = layOf(7);
  part.folds = [{ along: "x", at: 0, plies: [0] }];
  const piece = part.pieces[0];
  const low = Math.min(...lay.shapes[piece.shape].outline.map((p) => p[1]));
  const went = new Hand(lay, part, piece).pull(piece.x, -500, { slides: true, reach: 0 });
  assert.ok(Math.abs(went.pose.y + low - 1.5) < 0.2, `${went.pose.y + low} from the fold`);
});
