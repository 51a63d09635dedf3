"""Proven bounds: never above a layout that exists, and as high as arithmetic allows where that is known."""

import json
import math
import os
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon, affinity, box
from shapely.ops import split, unary_union

from nesting.packing.bounds.bounds import lower_bound
from nesting.packing.bounds.bounds_functions import SLACK, identity, rounded_counts, rounding, standard, threshold
from nesting.packing.bounds.bounds_shapes import (
    box_range,
    chain_of,
    edges_of,
    eroded,
    profile_of,
    rectangles_in,
    ring_area,
    rotated,
)
from nesting.packing.problem import Axis, Item, NeverFits, Place, Pose, Problem, Region

#: The published instances, if they are at hand (see the benchmark script for where they come from).
DATA = Path(os.environ.get("NESTING_INSTANCES", Path(__file__).parents[4] / "shared" / "open-data"))
EXAMPLES = int(os.environ.get("NESTING_EXAMPLES", "0"))
#: Side lengths of the perfect squared square of lowest order, 112 x 112 of 21 squares: Duijvestijn (1978),
#: J. Combinatorial Theory B 25, 240-243.
ORDER_21 = (50, 35, 37, 27, 8, 2, 17, 11, 6, 24, 15, 29, 9, 7, 18, 16, 42, 4, 25, 19, 33)


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


def ring_of(shape):
    """A shape's outer ring, anticlockwise."""
    ring = np.array(shape.exterior.coords)[:-1]
    return np.ascontiguousarray(ring if shape.exterior.is_ccw else ring[::-1])


def mirrored(ring):
    """A ring turned over about the x axis."""
    return np.ascontiguousarray((ring * [1, -1])[::-1])


def alike(count, *poses, name="piece"):
    """That many items that are alike."""
    return tuple(Item(name, poses, kind=0) for _ in range(count))


# -- layouts that exist ---------------------------------------------------------------------------------------------


def blob(rng, size):
    """A star-shaped, often concave polygon."""
    n = int(rng.integers(3, 9))
    turns = np.sort(rng.uniform(0, 2 * math.pi, n))
    radii = size * rng.uniform(0.25, 1.0, n)
    shape = Polygon(np.column_stack([radii * np.cos(turns) * rng.uniform(0.4, 1.6), radii * np.sin(turns)])).buffer(0)
    if shape.geom_type != "Polygon" or shape.area < 0.05 * size**2 or len(shape.interiors):
        return Polygon(rectangle(*rng.uniform(0.3, 1.5, 2) * size))
    return shape


class Layout:
    """A random layout without overlap, slid to the left as far as it goes, and the problem that it solves."""

    def __init__(self, rng, plies, folded, gap, tilt, flaws, axes, groups, fixed):
        self.width = float(rng.uniform(5, 20))
        self.gap = float(rng.uniform(0.1, 0.6)) if gap else 0.0
        self.laid = [[] for _ in range(plies)]
        self.holes = [[] for _ in range(plies)]
        self.items, self.length = [], 0.0
        states = {}
        if flaws:
            for ply in range(plies):
                flaw = affinity.translate(blob(rng, self.width / 3), rng.uniform(1, 12), rng.uniform(0, self.width))
                self.holes[ply] = [flaw]
        for n in range(int(rng.integers(1, 8))):
            body = affinity.rotate(blob(rng, float(rng.uniform(1, 0.6 * self.width))), float(rng.uniform(0, 360)))
            if (body.bounds[3] - body.bounds[1]) > 0.9 * self.width:
                continue
            on_fold = folded and rng.random() < 0.6
            below = 0.0
            if on_fold:  # cut flat along the fold; half the gap on all sides but that one
                body = affinity.translate(body, 0, -(body.bounds[1] + body.bounds[3]) / 2)
                body = max_part(body.intersection(box(-99, 0, 99, 99)))
                ring = body.buffer(self.gap / 2, join_style="mitre").intersection(box(-99, 0, 99, 99))
                on = tuple(range(plies))
            else:
                ring = body.buffer(self.gap / 2, join_style="mitre")
                below = self.gap / 2 if folded else 0.0
                on = (int(rng.integers(plies)),) if rng.random() < 0.7 else tuple(range(plies))
            if ring.geom_type != "Polygon" or len(ring.interiors):
                continue
            where = self.place(rng, body, ring, on, below, on_fold)
            if where is None:
                continue
            self.remember(rng, n, body, ring, on, below, on_fold, where, tilt, axes, groups, fixed, states)

    def place(self, rng, body, ring, on, below, on_fold):
        """A free place for a body, slid to the left; None if none turned up."""
        (x0, y0, _, y1), span = body.bounds, self.width
        for _ in range(12):
            y = 0.0 if on_fold else rng.uniform(below - y0, span - y1)
            x = -x0 + rng.uniform(0, 15)
            if self.meets(body, ring, on, x, y):
                continue
            step = 4.0
            while step > 1e-4:  # slide to the left until something is in the way
                if x - step >= -x0 and not self.meets(body, ring, on, x - step, y):
                    x -= step
                else:
                    step /= 2
            return x, y
        return None

    def meets(self, body, ring, on, x, y):
        """Whether a body would lie on a flaw or its ring on another."""
        ring, body = affinity.translate(ring, x, y), affinity.translate(body, x, y)
        return any(
            any(ring.intersection(other).area > 0 for other in self.laid[ply])
            or any(body.intersection(hole).area > 0 for hole in self.holes[ply])
            for ply in on
        )

    def remember(self, rng, n, body, ring, on, below, on_fold, where, tilt, axes, groups, fixed, states):
        """Note a placed item, with this and other poses, limits and states that allow it where it lies."""
        x, y = where
        for ply in on:
            self.laid[ply].append(affinity.translate(ring, x, y))
        self.length = max(self.length, body.bounds[2] + x)
        reference = rng.uniform(-2, 2, 2) if not on_fold else np.array([rng.uniform(-2, 2), 0.0])
        body_ring, ring_ring = ring_of(body) - reference, ring_of(ring) - reference
        x, y = x + reference[0], y + reference[1]
        turn, free = 0.0, 0.0
        if tilt and not on_fold and rng.random() < 0.6:
            free = float(rng.choice([1.0, 5.0, 30.0]))
            turn = float(rng.uniform(-free, free))
            body_ring, ring_ring = rotated(body_ring, -turn), rotated(ring_ring, -turn)
        y_axis = Axis(0.0) if on_fold else None
        x_axis = None
        if axes and turn == 0.0 and rng.random() < 0.5:
            period = float(rng.choice([0.0, 1.5, 4.0]))
            x_axis = Axis(x - period * int(rng.integers(-3, 4)), period)
        if axes and y_axis is None and turn == 0.0 and rng.random() < 0.4:
            y_axis = Axis(y + 2.0 * int(rng.integers(-3, 4)), 2.0)
        group, state = None, None
        if groups and rng.random() < 0.7:
            group = int(rng.integers(2))
            state = states.setdefault(group, int(rng.integers(2)))
        poses = [Pose(ring_ring, on, body_ring, x_axis, y_axis, below, 0.0, free, state)]
        if rng.random() < 0.7 and not on_fold:
            other = None if state is None else 1 - state
            poses.append(
                Pose(rotated(ring_ring, 180.0), on, rotated(body_ring, 180.0), None, None, below, 0.0, free, other)
            )
            if len(self.laid) > 1:
                poses.append(Pose(mirrored(ring_ring), (0,), mirrored(body_ring), None, None, below, 0.0, free, state))
        if self.gap == 0.0:
            poses = [Pose(p.ring, p.plies, None, p.x, p.y, p.low, p.high, p.tilt, p.state, p.tag) for p in poses]
        held = Place(len(self.items), 0, float(x), float(y), turn) if fixed and rng.random() < 0.3 else None
        self.items.append(Item(f"piece {n}", tuple(poses), None, group, held))

    def problem(self):
        """The problem that the layout solves."""
        holes = [tuple(ring_of(hole) for hole in own) for own in self.holes]
        return Problem(tuple(Region(rectangle(1, self.width), own) for own in holes), tuple(self.items))


def max_part(shape):
    """The largest part of a shape."""
    return max(getattr(shape, "geoms", [shape]), key=lambda part: part.area)


@examples(35)
@given(
    seed=st.integers(0, 2**32 - 1),
    plies=st.integers(1, 2),
    folded=st.booleans(),
    gap=st.booleans(),
    tilt=st.booleans(),
    flaws=st.booleans(),
    axes=st.booleans(),
    groups=st.booleans(),
    fixed=st.booleans(),
)
def test_no_bound_exceeds_a_layout_that_exists(seed, plies, folded, gap, tilt, flaws, axes, groups, fixed):
    """Whatever the mix of plies, folds, gaps, tilts, flaws, lattices, states and fixed items."""
    layout = Layout(np.random.default_rng(seed), plies, folded, gap, tilt, flaws, axes, groups, fixed)
    bound = lower_bound(layout.problem(), seconds=0.2)
    assert bound.length <= layout.length * (1 + 1e-9) + 1e-9, bound.reason


def jigsaw(rng, width, length, cuts, curved):
    """A rectangle of cloth cut to pieces."""
    parts = [box(0, 0, length, width)]
    for _ in range(cuts):
        part = parts.pop(int(rng.integers(len(parts))))
        x0, y0, x1, y1 = part.bounds
        middle = np.array([rng.uniform(x0, x1), rng.uniform(y0, y1)])
        across = rng.choice([True, False])
        line = [(middle[0], y0 - 1), (middle[0] + curved * rng.uniform(-2, 2), middle[1]), (middle[0], y1 + 1)]
        if not across:
            line = [(x0 - 1, middle[1]), (middle[0], middle[1] + curved * rng.uniform(-2, 2)), (x1 + 1, middle[1])]
        parts += [piece for piece in split(part, LineString(line)).geoms if piece.area > 1e-9]
    return parts


@examples(25)
@given(
    seed=st.integers(0, 2**32 - 1),
    cuts=st.integers(0, 7),
    curved=st.booleans(),
    turns=st.booleans(),
    tilt=st.booleans(),
)
def test_jigsaws_are_as_long_as_the_cloth_they_were_cut_from(seed, cuts, curved, turns, tilt):
    """Nothing is wasted, so the bound by area is the length itself and any excess shows."""
    rng = np.random.default_rng(seed)
    width, length = rng.uniform(3, 30, 2)
    items = []
    for n, part in enumerate(jigsaw(rng, width, length, cuts, curved)):
        ring = ring_of(part) - rng.uniform(-5, 5, 2)
        poses = [Pose(ring, tilt=2.0 if tilt else 0.0)]
        if turns:
            poses.append(Pose(rotated(ring, 180.0)))
            poses.append(Pose(rotated(ring, 90.0)))
        items.append(Item(f"{n}", tuple(poses)))
    bound = lower_bound(Problem((cloth(width),), tuple(items)), seconds=0.2)
    assert bound.length == pytest.approx(length, rel=1e-9)


@examples(10)
@given(seed=st.integers(0, 2**32 - 1), cuts=st.integers(1, 5))
def test_jigsaws_on_two_plies_and_a_fold(seed, cuts):
    """Pieces of two jigsaws, one a ply, each free to change plies; those at the fold may lie on it through both."""
    rng = np.random.default_rng(seed)
    width, length = rng.uniform(3, 30, 2)
    items = []
    below = jigsaw(rng, width, length, cuts, False)
    through = [part for part in below if part.bounds[1] < 1e-9]
    for part in through:
        items.append(Item("on the fold", (Pose(ring_of(part), (0, 1), y=Axis(0.0)),)))
    for part in below:
        if part not in through:
            items += [Item("single", tuple(Pose(ring_of(part), (ply,)) for ply in (0, 1)))] * 2
    bound = lower_bound(Problem((cloth(width), cloth(width)), tuple(items)), seconds=0.2)
    assert bound.length == pytest.approx(length, rel=1e-9)


# -- known answers --------------------------------------------------------------------------------------------------


def test_the_perfect_squared_square_of_order_21_gives_its_side():
    """Squares of whole sides cover a square: area alone says 112, and nothing may say more."""
    items = tuple(Item(f"{side}", (Pose(rectangle(side, side)),)) for side in ORDER_21)
    assert lower_bound(Problem((cloth(112.0),), items), seconds=0.5).length == 112.0


def known_answers():
    """(what it shows, width, plies, items, least length), each worked out by hand."""
    tri, tri_turned = np.array([[0.0, 0], [6, 0], [0, 9]]), np.array([[6.0, 9], [0, 9], [6, 0]])
    half = np.array([[0.0, 0], [8, 0], [8, 2], [3, 6], [0, 6]])
    half_turned = np.ascontiguousarray((half * [-1, 1] + [8, 0])[::-1])
    bar = [Pose(rectangle(5, 10), (ply,)) for ply in (0, 1)]
    at_fold = tuple(Item("f", (Pose(rectangle(w, 4), (0, 1), y=Axis(0)),)) for w in (5, 6, 7))
    folds = [(Pose(rectangle(w, 4), y=Axis(0)), Pose(mirrored(rectangle(w, 4)), y=Axis(10))) for w in (5, 6, 7, 4, 3)]
    held = (Item("f", (Pose(rectangle(3, 2)),), fixed=Place(0, 0, 40.0, 3.0)),)
    deep, long = rectangle(2, 6), rectangle(6, 2)
    states = ((Pose(deep, state=0), Pose(long, state=1)), (Pose(long, state=0), Pose(deep, state=1)))
    return {
        "too deep to lie beside each other": (10, 1, alike(3, Pose(rectangle(7, 6))), 21),
        "shorter when turned": (10, 1, alike(3, Pose(rectangle(7, 6)), Pose(rectangle(6, 7))), 18),
        "two beside each other, so three columns": (10, 1, alike(5, Pose(rectangle(4, 4))), 12),
        "two triangles make a rectangle": (10, 1, alike(2, Pose(tri), Pose(tri_turned)), 6),
        "four triangles make two": (10, 1, alike(4, Pose(tri), Pose(tri_turned)), 12),
        "three singles on two plies": (10, 2, alike(3, *bar), 10),
        "on the fold, one behind the other": (10, 2, at_fold, 18),
        "halves that are wide at the fold": (
            10,
            2,
            alike(3, Pose(half, (0, 1), y=Axis(0)), Pose(half_turned, (0, 1), y=Axis(0))),
            24,
        ),
        "two folds: 25 shared as 13 and 12": (10, 1, tuple(Item("f", poses) for poses in folds), 13),
        "only on every fourth line, from 1": (10, 1, alike(2, Pose(rectangle(3, 10), x=Axis(1.0, 4.0))), 8),
        "a piece that is fixed": (10, 1, held, 43),
        "one state for all, so one of them lies long": (12, 1, tuple(Item("g", p, group=0) for p in states), 6),
    }


@pytest.mark.parametrize("case", known_answers())
def test_small_jobs_with_known_answers(case):
    """The bound is the least length itself."""
    width, plies, items, length = known_answers()[case]
    bound = lower_bound(Problem((cloth(float(width)),) * plies, items), seconds=1.0)
    assert bound.length == pytest.approx(length, rel=1e-4)
    assert bound.length <= length * (1 + 1e-9)


def test_a_flaw_across_the_cloth_parts_the_pieces():
    """Columns of 2 before and behind a flaw from 3 to 5: one fits before it (1 is lost), two come after it."""
    problem = Problem((cloth(4.0, [[3, 0], [5, 0], [5, 4], [3, 4]]),), alike(3, Pose(rectangle(2, 4))))
    assert lower_bound(problem).length == pytest.approx(9.0, rel=1e-6)


def test_half_the_gap_counts_between_pieces_and_not_at_the_edges():
    """Four squares of 10 with a gap of 1 on cloth 21 wide: 2 x 2 with 21 of length; on cloth 20.9 wide, 43."""
    pose = Pose(rectangle(11, 11) - 0.5, body=rectangle(10, 10))
    assert lower_bound(Problem((cloth(21.0),), alike(4, pose))).length == pytest.approx(21.0, rel=1e-4)
    assert lower_bound(Problem((cloth(20.9),), alike(4, pose))).length == pytest.approx(43.0, rel=1e-4)


def test_a_margin_at_the_edge_narrows_the_cloth():
    """Bars 5 long and 4 deep, kept 1 from either edge of cloth 9 wide, cannot lie two deep."""
    free, kept = Pose(rectangle(5, 4)), Pose(rectangle(5, 4), low=1.0, high=1.0)
    assert lower_bound(Problem((cloth(9.0),), alike(2, free))).length == pytest.approx(5.0)
    assert lower_bound(Problem((cloth(9.0),), alike(2, kept))).length == pytest.approx(10.0, rel=1e-5)
    tight = Pose(rectangle(5, 7), low=1.0, high=1.0)
    assert lower_bound(Problem((cloth(9.0),), alike(1, tight))).length == pytest.approx(5.0)
    with pytest.raises(NeverFits):
        lower_bound(Problem((cloth(8.9),), alike(1, tight)))


def test_free_tilt_shortens_what_is_long_and_thin():
    """A bar 10 x 1 tilted by up to 30 degrees is least long at 30: 10 cos 30 + sin 30."""
    problem = Problem((cloth(20.0),), alike(1, Pose(rectangle(10, 1), tilt=30.0)))
    least = 10 * math.cos(math.radians(30)) + math.sin(math.radians(30))
    bound = lower_bound(problem, seconds=0.3).length
    assert 0.97 * least < bound <= least + 1e-9


def test_cloth_as_drawn():
    """A triangle of cloth: what its sloping edge leaves is a flaw, and too many pieces are refused in words."""
    triangle = Region(np.array([[0.0, 0], [20, 0], [0, 10]]))
    enough = lower_bound(Problem((triangle,), alike(10, Pose(rectangle(2, 2)))), seconds=0.3)
    # 40 of 100 by area; and columns of 4, 4 and 3, as the cloth is 9, 8 and 7 deep at their right ends, lie on 6
    assert 20 * (1 - math.sqrt(1 - 40 / 100)) - 1e-3 <= enough.length <= 6.0
    bound = lower_bound(Problem((triangle,), alike(26, Pose(rectangle(2, 2)))), seconds=0.3)
    assert bound.length > 20 and "nothing fits" in bound.reason


def test_a_fixed_length_that_is_too_short_is_said_so():
    """Three bars that take 30 do not go on 25, by area alone."""
    bound = lower_bound(Problem((Region(rectangle(25, 4)),), alike(3, Pose(rectangle(10, 4))), length=25.0))
    assert bound.length == pytest.approx(30.0) and "more than there is" in bound.reason
    fits = lower_bound(Problem((Region(rectangle(30, 4)),), alike(3, Pose(rectangle(10, 4))), length=30.0))
    assert fits.length == pytest.approx(30.0) and "nothing fits" not in fits.reason


def test_nothing_to_place():
    """No items, no length."""
    assert lower_bound(Problem((cloth(4.0),), ())).length == 0.0


def test_what_is_larger_than_the_cloth_is_refused_by_name():
    """A piece deeper than the cloth in every pose has no bound."""
    item = Item("gusset", (Pose(rectangle(3, 5)), Pose(rectangle(6, 4.5))))
    with pytest.raises(NeverFits, match="gusset"):
        lower_bound(Problem((cloth(4.0),), (item,)))
    assert lower_bound(Problem((cloth(4.5),), (item,))).length == pytest.approx(6.0)


def test_groups_without_a_common_state_fit_nowhere():
    """Two items of one group, one only in state 0, the other only in state 1."""
    items = tuple(Item(f"{s}", (Pose(rectangle(1, 1), state=s),), group=3) for s in (0, 1))
    assert lower_bound(Problem((cloth(4.0),), items)).length == math.inf


@pytest.mark.parametrize(
    ("items", "words"),
    [
        (known_answers()["on the fold, one behind the other"], "on the fold, one behind the other: f"),
        (known_answers()["two triangles make a rectangle"], "piece alone is that long"),
        (known_answers()["two beside each other, so three columns"], "side by side"),
        ((10, 1, alike(3, Pose(np.array([[0.0, 0], [6, 0], [0, 9]]))), 0), "cannot lie beside each other: piece (×3)"),
        ((10, 1, alike(30, Pose(rectangle(1, 1))), 0), "area: laid without any waste"),
    ],
)
def test_the_reason_says_why(items, words):
    """Each kind of bound gives its own reason."""
    width, plies, pieces, _ = items
    assert words in lower_bound(Problem((cloth(float(width)),) * plies, pieces)).reason


@pytest.mark.parametrize("name", ["dighe1", "dighe2", "shapes0", "shirts"])
def test_published_instances_are_never_beaten_by_their_bound(name):
    """Published layouts exist: area <= bound <= published length (values and sources in the files)."""
    file = DATA / f"{name}.json"
    if not file.exists():
        pytest.skip("the published instances are not here")
    data = json.loads(file.read_text())
    items, area = [], 0.0
    for number, piece in enumerate(data["items"]):
        shape = Polygon(piece["outline"])
        poses = tuple(Pose(rotated(ring_of(shape), turn)) for turn in piece["rotations"])
        items += [Item(f"{number}", poses, kind=number)] * piece["quantity"]
        area += shape.area * piece["quantity"]
    bound = lower_bound(Problem((cloth(float(data["width"])),), tuple(items)), seconds=0.5).length
    published = area / data["width"] / (data["published_density_percent"] / 100)
    assert area / data["width"] <= bound * (1 + 1e-12)
    assert bound <= published * (1 + 1e-9)


# -- the parts ------------------------------------------------------------------------------------------------------


@examples(100)
@given(
    which=st.sampled_from(
        [
            identity(),
            *map(rounding, range(1, 13)),
            *(f(Fraction(n, 96)) for n in range(1, 49) for f in (threshold, rounded_counts)),
        ]
    ),
    shares=st.lists(st.integers(1, 60), min_size=1, max_size=20),
)
def test_dual_feasible_functions_keep_their_promise(which, shares):
    """Shares that add up to 1 cost no more than 1, among them the halves, thirds ... where the functions jump."""
    whole = sum(shares)
    assert float(which.at(np.array([(s / whole) * SLACK for s in shares])).sum()) <= 1 + 1e-9
    assert (np.diff(which.at(np.linspace(0, 1, 500))) >= -1e-12).all()


def test_dual_feasible_functions_by_hand():
    """Values from the definitions: u^2 (1/3 rounding), the threshold 1/4, counts of 3/10."""
    assert rounding(2).at(np.array([0.3, 0.34, 0.7, 1.0])) == pytest.approx([0, 0.5, 1, 1])
    assert threshold(Fraction(1, 4)).at(np.array([0.2, 0.5, 0.75, 0.76])) == pytest.approx([0, 0.5, 0.75, 1])
    assert rounded_counts(Fraction(3, 10)).at(np.array([0.29, 0.31, 0.5, 0.69, 0.71])) == pytest.approx(
        [0, 1 / 3, 0.5, 2 / 3, 1]
    )


@examples(40)
@given(seed=st.integers(0, 2**32 - 1), dual=st.sampled_from(standard(16)))
def test_integrals_of_chords_agree_with_fine_sums(seed, dual):
    """∫ f(chord / width), exact, against cross-sections taken by another library at many places."""
    shape = blob(np.random.default_rng(seed), 5.0)
    x0, y0, x1, y1 = shape.bounds
    width = (y1 - y0) * 1.37
    at = np.linspace(x0, x1, 2001)
    middle = (at[:-1] + at[1:]) / 2
    chords = [shape.intersection(box(m - 1e-7, y0 - 1, m + 1e-7, y1 + 1)).area / 2e-7 for m in middle]
    expected = float(dual.at(np.array(chords) / width).mean()) * (x1 - x0)
    assert dual.over(profile_of(edges_of(shape)), width) == pytest.approx(expected, abs=0.01 * (x1 - x0))


@examples(40)
@given(seed=st.integers(0, 2**32 - 1))
def test_bands_and_rectangles_lie_inside_their_shape(seed):
    """Every band of a chain lies in the shape, neighbours overlap, and a rectangle of each size fits somewhere."""
    shape = blob(np.random.default_rng(seed), 5.0)
    edges, height = edges_of(shape), 0.11
    chain = chain_of(edges, height)
    if chain is not None:
        for k, (low, high) in enumerate(zip(chain.low, chain.high, strict=True)):
            bottom = (chain.first + k) * height
            assert shape.buffer(1e-9).covers(box(low, bottom, high, bottom + height))
        assert (np.minimum(chain.high[1:], chain.high[:-1]) > np.maximum(chain.low[1:], chain.low[:-1])).all()
    for wide, deep in rectangles_in(edges):
        assert wide * deep <= shape.area * (1 + 1e-9)
        assert wide <= shape.bounds[2] - shape.bounds[0] + 1e-9


def test_chains_and_rectangles_find_what_is_there():
    """Of a rectangle, all of it; of a U, an arm with what joins it."""
    edges = edges_of(box(0, 0, 6, 3))
    chain = chain_of(edges, 0.5)
    assert len(chain.low) == 6 and (chain.low == 0).all() and (chain.high == 6).all()
    assert [6.0, 3.0] in rectangles_in(edges).tolist()
    u = edges_of(unary_union([box(0, 0, 6, 1), box(0, 0, 1, 4), box(4, 0, 6, 3)]))
    chain = chain_of(u, 0.5)
    assert chain.low.tolist() == [0, 0, 4, 4, 4, 4] and chain.high.tolist() == [6] * 6


@examples(60)
@given(seed=st.integers(0, 2**32 - 1), middle=st.floats(-180, 180), half=st.floats(0, 90))
def test_reaches_hold_for_every_tilt(seed, middle, half):
    """However the ring is turned within its range it reaches at least as far as said, and just as far somewhere."""
    ring = ring_of(blob(np.random.default_rng(seed), 3.0))
    ring = ring - (ring.min(axis=0) + ring.max(axis=0)) / 2
    left, down, right, up = box_range(ring, middle, half)
    boxes = np.array(
        [
            np.hstack([r.min(axis=0), r.max(axis=0)])
            for r in (rotated(ring, t) for t in np.linspace(middle - half, middle + half, 721))
        ]
    )
    assert (boxes[:, :2] <= np.array([left, down]) + 1e-9).all() and (
        boxes[:, 2:] >= np.array([right, up]) - 1e-9
    ).all()
    assert boxes[:, 0].max() == pytest.approx(left, abs=0.05) and boxes[:, 3].min() == pytest.approx(up, abs=0.05)


def test_eroded_shapes_stay_inside_when_moved():
    """A shape eroded by a depth lies inside the shape from wherever it is moved by that depth."""
    shape = Polygon([(0, 0), (10, 0), (10, 6), (6, 6), (5, 3), (4, 6), (0, 6)])
    inner = eroded(shape, 0.7)
    assert inner.area > 0.5 * shape.area
    for turn in np.linspace(0, 2 * math.pi, 60):
        moved = affinity.translate(inner, 0.7 * math.cos(turn), 0.7 * math.sin(turn))
        assert shape.buffer(1e-9).covers(moved)


def test_the_same_bound_twice():
    """Work is counted, not timed: an order laid again gives the same figures."""
    rng = np.random.default_rng(4)
    items = tuple(Item(f"{n}", (Pose(rectangle(*rng.uniform(2, 9, 2))),)) for n in range(9))
    first, second = (lower_bound(Problem((cloth(14.0),), items), seconds=0.3) for _ in range(2))
    area_alone = sum(ring_area(item.poses[0].ring) for item in items) / 14.0 * (1 - 1e-6)
    assert first == second and first.length >= area_alone
