"""Outlines are found whatever loose lines touch them."""

import math
import os
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon

from nesting.files.drawn.loops import find_loops

EXAMPLES = int(os.environ.get("NESTING_EXAMPLES", "150"))
SQUARE = [(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)]
SIDES = [(SQUARE[i], SQUARE[(i + 1) % 4]) for i in range(4)]
#: Loose lines that real patterns have, by what they do to the outline.
LOOSE = {
    "grainline free inside": ((50.0, 20.0), (50.0, 80.0)),
    "grainline from corner to corner": ((0.0, 0.0), (100.0, 100.0)),
    "grainline from edge to edge": ((50.0, 0.0), (50.0, 100.0)),
    "line from a corner into the piece": ((100.0, 0.0), (60.0, 40.0)),
    "line from a corner out of the piece": ((100.0, 100.0), (140.0, 130.0)),
    "line that stops on an edge": ((20.0, 30.0), (0.0, 30.0)),
    "line across and beyond both edges": ((-20.0, 60.0), (120.0, 60.0)),
    "other diagonal": ((100.0, 0.0), (0.0, 100.0)),
    "line outside": ((200.0, 0.0), (200.0, 50.0)),
}


def areas(lines: list[tuple[tuple[float, float], ...]], gap: float = 0.5) -> list[float]:
    """Areas of the outlines found, smallest first."""
    return sorted(Polygon(loop.ring).area for loop in find_loops(lines, gap).loops)


@pytest.mark.parametrize("name", LOOSE)
def test_square_and_one_loose_line(name: str) -> None:
    """A square of four lines plus any one loose line is that square."""
    found = find_loops([*SIDES, LOOSE[name]], 0.5)
    assert [Polygon(loop.ring).area for loop in found.loops] == [10_000.0]
    assert found.loose == (4,)


@pytest.mark.parametrize("count", [2, 3, 4, 5, len(LOOSE)])
def test_square_and_many_loose_lines(count: int) -> None:
    """The same with every set of neighbours in the list of loose lines, in any order of the lines."""
    names = list(LOOSE)
    for start in range(len(names)):
        extra = [LOOSE[names[(start + k) % len(names)]] for k in range(count)]
        lines = [*SIDES, *extra]
        random.Random(start).shuffle(lines)
        found = find_loops(lines, 0.5)
        assert [Polygon(loop.ring).area for loop in found.loops] == [10_000.0], (start, count)
        assert len(found.loose) == count


def test_outline_runs_anticlockwise_and_names_its_lines() -> None:
    """The ring is anticlockwise and says of which lines it is made, in order around."""
    found = find_loops([SIDES[2], SIDES[0], SIDES[3][::-1], SIDES[1]], 0.5)
    (loop,) = found.loops
    assert Polygon(loop.ring).exterior.is_ccw
    assert set(loop.lines) == {0, 1, 2, 3}
    order = list(loop.lines)
    start = order.index(1)
    assert order[start:] + order[:start] == [1, 3, 0, 2]


def test_gap_is_closed_and_reported() -> None:
    """A gap up to the tolerance is closed by the straight line between the ends; a wider one is not."""
    lines = [((0.0, 0.3), (0.0, 100.0)), *SIDES[:3]]
    (loop,) = find_loops(lines, 0.5).loops
    assert [join.gap for join in loop.joins] == [pytest.approx(0.3)]
    assert Polygon(loop.ring).area == pytest.approx(10_000.0, abs=1e-9)
    wide = find_loops([((0.0, 0.6), (0.0, 100.0)), *SIDES[:3]], 0.5)
    assert wide.loops == ()
    assert wide.loose_ends[0].gap == pytest.approx(0.6)


def test_third_end_beside_a_gap() -> None:
    """A grainline that ends beside a gap, nearer to one end than the other end is, does not keep it open."""
    lines = [((0.0, 0.3), (0.0, 100.0)), *SIDES[:3], ((0.1, 0.2), (50.0, 50.0))]
    (loop,) = find_loops(lines, 0.5).loops
    assert set(loop.lines) == {0, 1, 2, 3}
    assert Polygon(loop.ring).is_valid
    assert Polygon(loop.ring).area == pytest.approx(10_000.0, abs=0.1)


def test_loop_hanging_on_the_outline_by_a_line() -> None:
    """A closed line inside that is tied to the outline by one line is a loop of its own."""
    pocket = [tuple((40 + x / 5, 40 + y / 5) for x, y in side) for side in SIDES]
    found = find_loops([*SIDES, *pocket, ((0.0, 0.0), (40.0, 40.0))], 0.5)
    assert sorted(Polygon(loop.ring).area for loop in found.loops) == [400.0, 10_000.0]
    assert found.loose == (8,)


def test_ends_that_cross_are_trimmed_at_the_crossing() -> None:
    """Lines that pass each other by less than the tolerance meet where they cross, and no bow tie is left."""
    lines = [((0.0, -0.3), (0.0, 100.0)), ((-0.2, 0.0), (100.0, 0.0)), *SIDES[1:3]]
    (loop,) = find_loops(lines, 0.5).loops
    assert Polygon(loop.ring).is_valid
    assert Polygon(loop.ring).area == pytest.approx(10_000.0, abs=1e-9)


def test_overshoot_is_trimmed() -> None:
    """An outline of four lines that all run past their corners is found by cutting them where they cross."""
    lines = [((-5.0, 0.0), (105.0, 0.0)), ((100.0, -8.0), (100.0, 103.0)), ((110.0, 100.0), (-3.0, 100.0))]
    lines.append(((0.0, 120.0), (0.0, -7.0)))
    found = find_loops(lines, 0.5)
    assert [Polygon(loop.ring).area for loop in found.loops] == [pytest.approx(10_000.0)]
    assert set(found.trimmed) == {0, 1, 2, 3}
    assert find_loops(lines, 0.5, overshoot=False).loops == ()


def test_tangent_lines_at_a_node() -> None:
    """A quarter arc and its tangent leave a node in the same direction; the outside is still found."""
    arc = tuple((100 * math.sin(a), 100 - 100 * math.cos(a)) for a in (math.pi / 2 * k / 50 for k in range(51)))
    lines = [arc, ((100.0, 100.0), (100.0, 0.0)), ((100.0, 0.0), (0.0, 0.0)), ((0.0, 0.0), (0.0, 100.0))]
    lines.append(((0.0, 100.0), (100.0, 100.0)))
    (loop,) = find_loops(lines, 0.5).loops
    assert Polygon(loop.ring).area == pytest.approx(10_000.0)
    assert loop.branching


def test_doubled_lines_and_doubled_outline() -> None:
    """A line, or a whole outline, drawn twice counts once and is named."""
    found = find_loops([*SIDES, SIDES[1][::-1]], 0.5)
    assert [Polygon(loop.ring).area for loop in found.loops] == [10_000.0]
    assert found.doubled == (4,)
    assert find_loops([*SIDES, *SIDES], 0.5).doubled == (4, 5, 6, 7)


def test_two_outlines_that_touch_in_a_corner() -> None:
    """Two squares that share one corner are two outlines."""
    other = [tuple((x + 100, y + 100) for x, y in side) for side in SIDES]
    assert areas([*SIDES, *other]) == [10_000.0, 10_000.0]


def test_two_outlines_joined_by_a_line() -> None:
    """A line from one square to another belongs to neither."""
    other = [tuple((x + 300, y) for x, y in side) for side in SIDES]
    found = find_loops([*SIDES, *other, ((100.0, 0.0), (300.0, 0.0))], 0.5)
    assert [Polygon(loop.ring).area for loop in found.loops] == [10_000.0, 10_000.0]
    assert found.loose == (8,)


def test_chain_of_tiny_segments_does_not_collapse() -> None:
    """A circle of 4,000 segments of 0.008 mm, shorter than what counts as touching, keeps its area."""
    n, r = 4000, 5.0
    p = [(r * math.cos(2 * math.pi * k / n), r * math.sin(2 * math.pi * k / n)) for k in range(n)]
    lines = [(p[k], p[(k + 1) % n]) for k in range(n)]
    (loop,) = find_loops(lines, 0.5).loops
    assert Polygon(loop.ring).area == pytest.approx(math.pi * r * r, rel=5e-3)


def test_one_line_that_closes_on_itself() -> None:
    """A single line whose ends meet, or nearly meet, is an outline."""
    assert areas([(*SQUARE, (0.0, 0.0))]) == [10_000.0]
    assert areas([(*SQUARE, (0.0, 0.4))]) == [pytest.approx(10_000.0, abs=1.0)]
    assert areas([(*SQUARE, (0.0, 40.0))]) == []


def test_nothing_closes() -> None:
    """Lines that enclose nothing give nothing and are all left over."""
    found = find_loops([SIDES[0], SIDES[1], ((0.0, 50.0), (30.0, 50.0))], 0.5)
    assert found.loops == ()
    assert found.loose == (0, 1, 2)
    assert find_loops([], 0.5).loops == ()


@st.composite
def cut_outlines(draw: st.DrawFn) -> tuple[list[tuple[tuple[float, float], ...]], Polygon, int]:
    """A star-shaped outline cut into lines, in any order and direction, with loose lines added."""
    n = draw(st.integers(5, 40))
    seed = draw(st.integers(0, 2**32 - 1))
    rng = random.Random(seed)
    radii = [rng.uniform(60, 200) for _ in range(n)]
    ring = [(radii[k] * math.cos(2 * math.pi * k / n), radii[k] * math.sin(2 * math.pi * k / n)) for k in range(n)]
    pieces = draw(st.integers(1, min(n, 9)))
    stops = sorted(rng.sample(range(n), pieces))
    lines: list[tuple[tuple[float, float], ...]] = []
    for i, start in enumerate(stops):
        end = stops[(i + 1) % pieces] + (n if i == pieces - 1 else 0)
        run = tuple(ring[k % n] for k in range(start, end + 1))
        lines.append(run[::-1] if rng.random() < 0.5 else run)
    shape = Polygon(ring)
    nodes = [ring[k] for k in stops]
    loose = draw(st.integers(0, 6))
    added = 0
    for _ in range(loose):
        kind = rng.choice(["chord", "branch", "free", "tee", "out"])
        a = rng.choice(nodes)
        if kind == "chord":
            b = rng.choice(nodes)
            line = (a, b)
            if a == b or not shape.covers(LineString(line)):
                continue
        elif kind == "branch":
            line = (a, (a[0] * 0.4 + rng.uniform(-5, 5), a[1] * 0.4 + rng.uniform(-5, 5)))
        elif kind == "free":
            line = ((rng.uniform(-20, 20), rng.uniform(-20, 20)), (rng.uniform(-20, 20), rng.uniform(-20, 20)))
        elif kind == "tee":
            k = rng.randrange(n)
            p, q = ring[k], ring[(k + 1) % n]
            line = (((p[0] + q[0]) / 2, (p[1] + q[1]) / 2), (rng.uniform(-5, 5), rng.uniform(-5, 5)))
        else:
            line = (a, (a[0] * 1.5, a[1] * 1.5))
        lines.append(line)
        added += 1
    rng.shuffle(lines)
    return lines, shape, added


@settings(max_examples=EXAMPLES, deadline=None)
@given(cut_outlines())
def test_random_outlines_with_loose_lines(case: tuple[list[tuple[tuple[float, float], ...]], Polygon, int]) -> None:
    """Any outline cut into any lines, with up to six loose lines of any kind, is found exactly."""
    lines, shape, added = case
    found = find_loops(lines, 0.5)
    assert len(found.loops) == 1
    ring = Polygon(found.loops[0].ring)
    assert ring.is_valid
    assert ring.symmetric_difference(shape).area < 1e-6 * shape.area
    assert len(found.loose) + len(found.doubled) == added
