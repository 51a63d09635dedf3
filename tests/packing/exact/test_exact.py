"""The exact placement on a grid: right in itself, above every bound, and a judge of the search."""

import itertools
import math
import os

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from shapely import Polygon, affinity, box
from shapely.ops import unary_union

from nesting.packing.bounds.bounds import lower_bound
from nesting.packing.bounds.bounds_shapes import ring_area, rotated
from nesting.packing.problem import Axis, Item, Place, Pose, Problem, Region
from tests.packing.exact.exact import place_exactly
from tests.packing.exact.exact_tables import collisions, trapezoids

#: seconds, for what ends by its proof: nothing waits for them but a failure
LONG = 300.0
EXAMPLES = int(os.environ.get("NESTING_EXAMPLES", "0"))
L_SHAPE = np.array([[0.0, 0], [2, 0], [2, 1], [1, 1], [1, 2], [0, 2]])
TRIANGLE = np.array([[0.0, 0], [6, 0], [0, 9]])
TRIANGLE_TURNED = np.array([[6.0, 9], [0, 9], [6, 0]])


def examples(few: int) -> settings:
    """A few examples by default, NESTING_EXAMPLES of them when asked for."""
    return settings(
        max_examples=EXAMPLES or few, deadline=None, derandomize=not EXAMPLES, suppress_health_check=list(HealthCheck)
    )


def rectangle(width, height):
    """A rectangle from the origin."""
    return np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=float)


def cloth(width, *holes):
    """One ply of open-ended cloth."""
    return Region(rectangle(1, width), tuple(np.array(hole, dtype=float) for hole in holes))


def alike(count, *poses):
    """That many items that are alike."""
    return tuple(Item("piece", poses, kind=0) for _ in range(count))


def quarter_turns(ring):
    """A ring turned by 0, 90, 180 and 270 degrees, with whole coordinates."""
    return tuple(Pose(np.round(rotated(ring, t), 9)) for t in (0.0, 90.0, 180.0, 270.0))


def blob(rng, size, whole):
    """A star-shaped, often concave polygon, its corners on whole coordinates if asked for."""
    while True:
        n = int(rng.integers(3, 8))
        turns, radii = np.sort(rng.uniform(0, 2 * math.pi, n)), size * rng.uniform(0.3, 1.0, n)
        points = np.column_stack([radii * np.cos(turns), radii * np.sin(turns)])
        shape = Polygon(np.round(points) if whole else points)
        if shape.is_valid and shape.area > 0.2 * size:
            ring = np.array(shape.exterior.coords)[:-1]
            return np.ascontiguousarray(ring if shape.exterior.is_ccw else ring[::-1])


def check(problem, result):
    """All rules of the packing problem, worked out anew with another library."""
    laid = [[] for _ in problem.plies]
    states, length = {}, 0.0
    assert [place.item for place in result.places] == list(range(len(problem.items)))
    for place, item in zip(result.places, problem.items, strict=True):
        pose = item.poses[place.pose]
        ring, body = rotated(pose.ring, place.tilt), rotated(pose.ring if pose.body is None else pose.body, place.tilt)
        at = np.array([place.x, place.y])
        shape = Polygon(body + at)
        length = max(length, shape.bounds[2])
        if item.fixed is not None:
            assert place == item.fixed
        if item.group is not None and pose.state is not None:
            assert states.setdefault(item.group, pose.state) == pose.state
        for axis, value in ((pose.x, place.x), (pose.y, place.y)):
            if axis is not None and item.fixed is None:
                off = (value - axis.offset) / axis.period if axis.period else value - axis.offset
                assert off == pytest.approx(round(off) if axis.period else 0.0, abs=1e-9)
        for ply in pose.plies:
            region = problem.plies[ply]
            x0, y0 = region.outline.min(axis=0)
            x1, y1 = region.outline.max(axis=0)
            if item.fixed is None:
                end = 1e6 if problem.length is None and len(region.outline) == 4 else x1
                assert box(x0, y0 + pose.low, end, y1 - pose.high).buffer(1e-6).covers(shape)
                if len(region.outline) != 4:
                    assert Polygon(region.outline).buffer(1e-6).covers(shape)
                assert all(shape.intersection(Polygon(hole)).area < 1e-5 for hole in region.holes)
            assert all(Polygon(ring + at).intersection(other).area < 1e-5 for other in laid[ply])
            laid[ply].append(Polygon(ring + at))
    assert result.length == pytest.approx(length)
    assert result.bound.length <= result.length + 1e-9


def known_answers():
    """What it shows: (problem, step, least length on that grid), worked out by hand or published."""
    bar = [Pose(rectangle(5, 10), (ply,)) for ply in (0, 1)]
    fold = tuple(Item("f", (Pose(rectangle(w, 4), (0, 1), y=Axis(0.0)),)) for w in (5, 6, 7))
    single = Item("single", tuple(Pose(rectangle(18, 6), (ply,)) for ply in (0, 1)))
    deep, long = rectangle(2, 6), rectangle(6, 2)
    one_way, other_way = (Pose(deep, state=0), Pose(long, state=1)), (Pose(long, state=0), Pose(deep, state=1))
    gap = Pose(rectangle(11, 11) - 0.5, body=rectangle(10, 10))
    held = Item("held", (Pose(rectangle(3, 2)),), fixed=Place(0, 0, 1.0, 1.0))
    triangle = Region(np.array([[0.0, 0], [20, 0], [0, 10]]))
    # 32 x 33, the smallest rectangle cut into squares that all differ: Moron (1925), Przeglad mat.-fiz. 3, 152-153
    moron = tuple(Item(f"{side}", (Pose(rectangle(side, side)),)) for side in (1, 4, 7, 8, 9, 10, 14, 15, 18))
    one = (cloth(10.0),)
    return {
        "columns of two squares": (Problem(one, alike(5, Pose(rectangle(4, 4)))), 1.0, 12.0),
        "turned to be shorter": (Problem(one, alike(3, Pose(rectangle(7, 6)), Pose(rectangle(6, 7)))), 1.0, 18.0),
        "triangles interlock": (Problem(one, alike(2, Pose(TRIANGLE), Pose(TRIANGLE_TURNED))), 0.5, 6.0),
        "four triangles": (Problem(one, alike(4, Pose(TRIANGLE), Pose(TRIANGLE_TURNED))), 0.5, 12.0),
        "four L in 3 x 4": (Problem((cloth(3.0),), alike(4, *quarter_turns(L_SHAPE))), 1.0, 4.0),
        "two L in 2 x 3": (Problem((cloth(2.0),), alike(2, *quarter_turns(L_SHAPE))), 1.0, 3.0),
        "L without turns": (Problem((cloth(2.0),), alike(2, Pose(L_SHAPE))), 1.0, 4.0),
        "three on two plies": (Problem(one * 2, alike(3, *bar)), 1.0, 10.0),
        "on the fold": (Problem(one * 2, fold), 1.0, 18.0),
        "singles beside the fold": (Problem(one * 2, (*fold, single, single)), 1.0, 18.0),
        "a flaw between": (
            Problem((cloth(4.0, [[3, 0], [5, 0], [5, 4], [3, 4]]),), alike(3, Pose(rectangle(2, 4)))),
            1.0,
            9.0,
        ),
        "one state for both": (
            Problem((cloth(12.0),), (Item("a", one_way, group=0), Item("b", other_way, group=0))),
            1.0,
            6.0,
        ),
        "half the gap": (Problem((cloth(21.0),), alike(4, gap)), 0.5, 21.0),
        "every fourth line from 1": (Problem(one, alike(2, Pose(rectangle(3, 10), x=Axis(1.0, 4.0)))), 1.0, 8.0),
        "a period off the grid": (Problem(one, alike(3, Pose(rectangle(3, 10), x=Axis(0.0, 3.3)))), 1.0, 9.6),
        "round what is fixed": (Problem((cloth(4.0),), (held, *alike(2, Pose(rectangle(4, 1))))), 1.0, 4.0),
        "margins at the edges": (Problem((cloth(9.0),), alike(2, Pose(rectangle(5, 4), low=1.0, high=1.0))), 1.0, 10.0),
        "a triangle of cloth": (Problem((triangle,), alike(8, Pose(rectangle(2, 2)))), 1.0, 4.0),
        "nine squares make 32 x 33": (Problem((cloth(32.0),), moron), 1.0, 33.0),
    }


@pytest.mark.parametrize("case", known_answers())
def test_known_answers(case):
    """The least length, proven so, in a layout that obeys every rule."""
    problem, step, length = known_answers()[case]
    result = place_exactly(problem, step=step, seconds=LONG)
    assert result is not None and result.stopped_by == "bound"
    check(problem, result)
    assert result.length == pytest.approx(length, abs=1e-9)
    assert result.bound.length == result.length
    assert lower_bound(problem, seconds=0.3).length <= length * (1 + 1e-9)


def test_what_does_not_fit_gives_none():
    """Too deep for the cloth, too much for a fixed length, states that exclude each other."""
    assert place_exactly(Problem((cloth(4.0),), alike(1, Pose(rectangle(2, 5)))), step=1.0, seconds=LONG) is None
    short = Problem((Region(rectangle(25, 4)),), alike(3, Pose(rectangle(10, 4))), length=25.0)
    assert place_exactly(short, step=1.0, seconds=LONG) is None
    long_enough = Problem((Region(rectangle(30, 4)),), alike(3, Pose(rectangle(10, 4))), length=30.0)
    assert place_exactly(long_enough, step=1.0, seconds=LONG).length == pytest.approx(30.0)
    items = tuple(Item(f"{s}", (Pose(rectangle(1, 1), state=s),), group=3) for s in (0, 1))
    assert place_exactly(Problem((cloth(4.0),), items), step=1.0, seconds=LONG) is None


def test_nothing_to_place():
    """No items, no length, nothing to prove."""
    assert place_exactly(Problem((cloth(4.0),), ()), step=1.0, seconds=1.0).length == 0.0


@pytest.mark.parametrize(("step", "seconds"), [(0.0, 1.0), (-1.0, 1.0), (1.0, 0.0), (math.nan, 1.0)])
def test_senseless_arguments_are_refused(step, seconds):
    """Steps and seconds are positive."""
    with pytest.raises(ValueError, match="positive"):
        place_exactly(Problem((cloth(4.0),), alike(1, Pose(L_SHAPE))), step=step, seconds=seconds)


def hard():
    """Eight concave pieces of different shapes on a fine grid: more than a moment's work."""
    rng = np.random.default_rng(5)
    items = []
    for n in range(8):
        ring = blob(rng, 6.0, False)
        items.append(Item(f"{n}", (Pose(ring), Pose(rotated(ring, 180.0)))))
    return Problem((cloth(20.0),), tuple(items))


def test_the_time_is_kept_and_the_best_so_far_is_right():
    """When time runs out there is a layout without fault and a bound below it."""
    result = None
    for seconds in (1.0, 4.0, 16.0, 64.0):  # the more a machine has to do, the longer it takes to find any
        result = place_exactly(hard(), step=0.5, seconds=seconds)
        if result is not None:
            break
    assert result is not None and result.stopped_by == "seconds"
    assert result.bound.length < result.length
    check(hard(), result)


def test_the_same_answer_twice():
    """One worker, one seed."""
    problem, step, _ = known_answers()["four triangles"]
    first, second = (place_exactly(problem, step=step, seconds=LONG) for _ in range(2))
    assert first.places == second.places and first.length == second.length


# -- against brute force and another library ------------------------------------------------------------------------


def brute_force(width, rings, most):
    """The least length of whole-number placements, by trying all of them with shapely."""
    options = []
    for poses in rings:
        own = []
        for ring in poses:
            (x0, y0), (x1, y1) = ring.min(axis=0), ring.max(axis=0)
            for x, y in itertools.product(np.arange(-x0, most - x1 + 1), np.arange(-y0, width - y1 + 1)):
                own.append((x1 + x, Polygon(ring + np.array([x, y]))))
        options.append(sorted(own, key=lambda o: o[0]))
    best = math.inf

    def descend(n, laid, length):
        nonlocal best
        if n == len(options):
            best = length
            return
        for end, shape in options[n]:
            if max(end, length) >= best:
                break
            if all(shape.intersection(other).area < 1e-9 for other in laid):
                descend(n + 1, [*laid, shape], max(end, length))

    descend(0, [], 0.0)
    return best


@examples(12)
@given(seed=st.integers(0, 2**32 - 1), turns=st.booleans())
def test_as_short_as_by_trying_everything(seed, turns):
    """Two or three small polygons of whole coordinates, every placement of each tried."""
    rng = np.random.default_rng(seed)
    width = int(rng.integers(4, 7))
    rings = []
    while len(rings) < int(rng.integers(2, 4)):
        ring = blob(rng, 2.6, True)
        if np.ptp(ring[:, 1]) <= width:
            rings.append([ring, -ring] if turns else [ring])
    problem = Problem((cloth(float(width)),), tuple(Item("p", tuple(map(Pose, own))) for own in rings))
    result = place_exactly(problem, step=1.0, seconds=LONG)
    expected = brute_force(width, rings, sum(int(np.ptp(own[0][:, 0])) for own in rings))
    assert result.stopped_by == "bound"
    assert result.length == pytest.approx(expected)


@examples(40)
@given(seed=st.integers(0, 2**32 - 1), whole=st.booleans())
def test_collision_tables_agree_with_shapely(seed, whole):
    """Every difference of grid place in and around the table, save those that only just touch."""
    rng = np.random.default_rng(seed)
    one, two = blob(rng, 4.0, whole), blob(rng, 4.0, whole)
    offset, step = ((0.0, 0.0), 1.0) if whole else (tuple(rng.uniform(-3, 3, 2)), float(rng.uniform(0.4, 1.5)))
    window = collisions(trapezoids(one), trapezoids(two), offset, step)
    first = Polygon(one)
    for p in range(-1, window.hit.shape[0] + 1):
        for q in range(-1, window.hit.shape[1] + 1):
            at = np.array(offset) + np.array([window.dx + p, window.dy + q]) * step
            common = first.intersection(Polygon(two + at)).area
            inside = 0 <= p < window.hit.shape[0] and 0 <= q < window.hit.shape[1]
            hit = bool(window.hit[p, q]) if inside else False
            if common > 1e-5:
                assert hit
            elif common < 1e-12:
                assert not hit


@examples(60)
@given(seed=st.integers(0, 2**32 - 1), whole=st.booleans())
def test_trapezoids_cover_their_ring(seed, whole):
    """Their areas add up to the ring's, and so does their union's."""
    ring = blob(np.random.default_rng(seed), 5.0, whole)
    parts = trapezoids(ring)
    assert sum(ring_area(part) for part in parts) == pytest.approx(ring_area(ring))
    together = unary_union([Polygon(part).buffer(0) for part in parts])
    assert together.symmetric_difference(Polygon(ring)).area < 1e-6 * ring_area(ring)


@examples(12)
@given(seed=st.integers(0, 2**32 - 1), plies=st.integers(1, 2), flaw=st.booleans(), deep=st.booleans())
def test_no_bound_exceeds_the_grids_best(seed, plies, flaw, deep):
    """Layouts that are as short as a grid allows leave a wrong bound little room to hide."""
    rng = np.random.default_rng(seed)
    width = float(rng.uniform(6, 10))
    items = []
    for n in range(int(rng.integers(1, 4))):
        ring = blob(rng, (0.62 if deep else 0.4) * width, False)
        if np.ptp(ring[:, 1]) > width:
            continue
        ply = tuple(range(plies)) if rng.random() < 0.5 else (0,)
        poses = [Pose(ring, ply), Pose(rotated(ring, 180.0), ply)]
        if plies == 2 and ply == (0,):
            poses.append(Pose(ring, (1,)))
        items.append(Item(f"{n}", tuple(poses)))
    holes = [affinity.translate(box(0, 0, 1.5, width * 0.6), rng.uniform(0, 6), rng.uniform(0, width))] if flaw else []
    region = cloth(width, *(np.array(hole.exterior.coords)[:-1] for hole in holes))
    problem = Problem((region,) * plies, tuple(items))
    result = place_exactly(problem, step=width / 20, seconds=1.5)
    assume(result is not None)  # the time was too short on this machine
    if items:
        check(problem, result)
        assert lower_bound(problem, seconds=0.2).length <= result.length * (1 + 1e-9)


# -- the judge of the search ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("case", ["four triangles", "four L in 3 x 4", "singles beside the fold", "three on two plies"])
def test_the_search_finds_what_is_best(case):
    """The grid confirms the search, or beats it: here its best is the best there is, so the search must find it."""
    search = pytest.importorskip("nesting.packing.search.search")
    from nesting.packing.problem import Stop

    problem, _, length = known_answers()[case]
    result = search.solve(problem, Stop(rounds=5000, length=length * (1 + 1e-6)), seed=1)
    assert result.length == pytest.approx(length, rel=1e-4)
    assert result.length >= length * (1 - 1e-6)
