"""Random outlines, random alterations: what must move moves by exactly that, what is held stays, marks follow."""

from __future__ import annotations

import itertools
import math

import pytest
import shapely
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from nesting.model.errors import OrderError, PatternError
from nesting.model.piece import Notch, Piece, Point, Ring
from nesting.pieces.contour import Contour, length_of
from nesting.pieces.edges import numbered_corners
from nesting.pieces.prepare import prepare
from nesting.pieces.seams import walk_edge
from nesting.pieces.shift import _forward
from nesting.pieces.wishes import Alteration, AlterationKind, Preparation
from tests.pieces.outlines import EXAMPLES, blunt, drawn, outlines

RANDOM = settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))


def _edges(ring: Ring) -> list[tuple[str, tuple[Point, ...]]]:
    """The stretches from corner to corner with their names, as the drawing shows them."""
    corners = numbered_corners(drawn(ring))
    contour = Contour(ring)
    places = [contour.locate(c)[0] for c in corners]
    n = len(corners)
    return [(f"{i + 1}-{(i + 1) % n + 1}", contour.stretch(places[i], places[(i + 1) % n])) for i in range(n)]


def _altered(piece: Piece, change: Alteration) -> Piece | None:
    """The ready piece; None where the alteration is refused with its key or the place, or is said to leave a step."""
    try:
        ready, findings = prepare(piece, Preparation(grain=0.0, alterations=(change,)))
        return None if any("so there is a step" in f.message for f in findings) else ready
    except (OrderError, PatternError) as error:
        assert "alter 1" in str(error) or "mm of the drawing" in str(error), error
        return None


def _turns(line: tuple[Point, ...]) -> list[float]:
    """Turns in degrees at the points between the ends of a stretch."""
    return [
        math.degrees(
            math.remainder(math.atan2(r[1] - q[1], r[0] - q[0]) - math.atan2(q[1] - p[1], q[0] - p[0]), math.tau)
        )
        for p, q, r in zip(line, line[1:], line[2:], strict=False)
    ]


def _bent(line: tuple[Point, ...]) -> bool:
    """Whether the stretch has bends that no flattened curve has."""
    return any(abs(turn) > 3.0 for turn in _turns(line))


def _notched(ring: Ring, shares: list[float]) -> tuple[Notch, ...]:
    """Notches on the outline at these shares of its length, pointing inward."""
    contour = Contour(ring)
    notches = []
    for k, share in enumerate(shares):
        s = share * contour.perimeter
        nx, ny = contour.outward(s)
        notches.append(Notch(contour.at(s), math.degrees(math.atan2(-ny, -nx)) % 360.0, name=f"m{k}"))
    return tuple(notches)


@RANDOM
@given(
    ring=outlines(),
    share=st.integers(5, 95),
    by=st.integers(2, 60),
    kind=st.sampled_from(["lengthen", "shorten", "take strip"]),
    marks=st.lists(st.integers(1, 99), max_size=4),
)
def test_an_outline_opened_or_closed_along_the_grain_changes_by_exactly_that(
    ring: Ring, share: int, by: int, kind: AlterationKind, marks: list[int]
) -> None:
    """Its length along the grain changes by exactly ``by``; edges off the line keep their length; straight edges stay
    straight between their moved ends (so the area is that of the moved corners); notches stay on the outline, each at
    its distance from its own end of the piece. Or it is refused with the reason."""
    base = Polygon(ring)
    assume(base.is_valid)
    x0, _, x1, _ = base.bounds
    u0 = (x1 - x0) * share / 100
    d = float(by if kind == "lengthen" else -by)
    top = u0 + max(0.0, -d)
    change = Alteration(kind, float(by), at=u0, at_is_distance=True)
    whole = drawn(ring, notches=_notched(ring, [m / 100 for m in marks]))
    piece = _altered(whole, change)
    if piece is None:
        return
    cut = Polygon(piece.outline)
    assert cut.is_valid
    low = cut.bounds[0]
    assert cut.bounds[2] - low == pytest.approx(x1 - x0 + d, abs=1e-6)
    stretches = _edges(ring)
    ends = {e.name: (e.start, e.end) for e in piece.edges}
    for (name, _), (after, _) in itertools.pairwise((*stretches, stretches[0])):
        assert math.dist(ends[name][1], ends[after][0]) < 1e-6, (name, after)
    for name, line in stretches:
        us = [x - x0 for x, _ in line]
        if max(us) <= u0 or min(us) >= top:
            assert walk_edge(piece, name).length == pytest.approx(length_of(line), abs=1e-6)
    if len(numbered_corners(drawn(ring))) == len(ring):
        moved = Polygon([(x + d if x - x0 >= top else x, y) for x, y in ring])
        assert cut.area == pytest.approx(moved.area, abs=1e-3)
    contour = Contour(piece.outline)
    for was, now in zip(whole.notches, piece.notches, strict=True):
        u = was.at[0] - x0
        want = u if u <= u0 else u + d if u >= top else u0
        assert contour.locate(now.at)[1] < 1e-6
        assert now.at[0] - low == pytest.approx(want, abs=1e-3), (was, now)


@RANDOM
@given(ring=outlines(), which=st.integers(0, 8), by=st.integers(2, 40), take=st.booleans())
def test_a_bump_between_held_ends_has_the_area_of_its_curve(ring: Ring, which: int, by: int, take: bool) -> None:
    """Both ends held: the other edges stay; the area changes by ∫ f ds + ½ ∫ f² dθ, the area between a line and its
    offset f along the normal; f = ±by·(1 - cos 2πs/L)/2, whose mean is ±by/2."""
    base = Polygon(ring)
    assume(base.is_valid and blunt(ring))
    edges = _edges(ring)
    n = len(edges)
    assume(n >= 2)
    k = which % n
    name, line = edges[k]
    assume(by <= length_of(line) / 2)
    change = Alteration("take" if take else "add", float(by), edge=name, hold=(k + 1, (k + 1) % n + 1))
    piece = _altered(drawn(ring), change)
    if piece is None:
        return
    cut = Polygon(piece.outline)
    assert cut.is_valid
    for other, was in edges:
        if other != name:
            assert walk_edge(piece, other).length == pytest.approx(length_of(was), abs=1e-6)
    total = length_of(line)
    d = -by if take else by
    want = d * total / 2
    turns = [0.0, *(math.radians(t) for t in _turns(line)), 0.0]
    walked = 0.0
    for k, (p, q) in enumerate(itertools.pairwise(line)):
        side = math.dist(p, q)
        middle = _mean_square(walked / total, (walked + side) / total)
        # the direction turns evenly along each side, by half of the turn at either end
        want += d * d / 2 * middle * (math.tan(turns[k] / 2) + math.tan(turns[k + 1] / 2))
        walked += side
    assert cut.area - base.area == pytest.approx(want, abs=0.001 * by * total + 0.5)


def _mean_square(a: float, b: float) -> float:
    """Mean of ((1 - cos 2πs)/2)² from s = a to b: the integral is 3s/8 - sin(2πs)/(4π) + sin(4πs)/(32π)."""

    def integral(s: float) -> float:
        return 3 * s / 8 - math.sin(math.tau * s) / (4 * math.pi) + math.sin(2 * math.tau * s) / (32 * math.pi)

    return (integral(b) - integral(a)) / (b - a)


@RANDOM
@given(ring=outlines(), which=st.integers(0, 8), by=st.integers(2, 30), take=st.booleans(), end=st.booleans())
def test_an_edge_held_at_one_end_fades_to_it_and_moves_by_all_of_it_at_the_other(
    ring: Ring, which: int, by: int, take: bool, end: bool
) -> None:
    """The held corner and the neighbour beyond it stay; every point of the edge lies as far from the
    old edge as the raised cosine says, and the other neighbour runs along its old line."""
    base = Polygon(ring)
    assume(base.is_valid and blunt(ring))
    edges = _edges(ring)
    n = len(edges)
    assume(n >= 3)
    k = which % n
    name, line = edges[k]
    assume(by <= length_of(line) / 5)  # so that the free neighbour, produced, meets its nearer half
    held = (k + 1) % n + 1 if end else k + 1
    piece = _altered(drawn(ring), Alteration("take" if take else "add", float(by), edge=name, hold=(held,)))
    if piece is None:
        return
    assert Polygon(piece.outline).is_valid
    shift = _shift(ring)
    beyond, was = edges[(k + 1) % n if end else k - 1]
    assert walk_edge(piece, beyond).length == pytest.approx(length_of(was), abs=1e-6)
    corner = line[-1] if end else line[0]
    contour = Contour(piece.outline)
    assert contour.locate((corner[0] - shift[0], corner[1] - shift[1]))[1] < 2e-6
    # a quarter of the way from the held end the edge has moved by (1 - cos 45°)/2 of it, measured square to the edge
    total = length_of(line)
    old = Contour(ring)
    begin = old.locate(line[0])[0]
    if _bent(line):
        return  # at a drawn bend the normal jumps
    straight = len(line) == 2
    for share in (0.25, 0.5):
        s = begin + total * (1 - share if end else share)
        (x, y), (nx, ny) = old.at(s), old.outward(s)
        f = by * (1 - math.cos(math.pi * share)) / 2 * (-1 if take else 1)
        gap = contour.locate((x + f * nx - shift[0], y + f * ny - shift[1]))[1]
        assert gap < (1e-2 if straight else 0.02 + 0.01 * by), (share, gap)


def _shift(ring: Ring) -> Point:
    """What the grain frame takes off the drawing's coordinates (grain 0: no turn)."""
    piece, _ = prepare(drawn(ring), Preparation(grain=0.0))
    a, b = (
        shapely.get_coordinates(Polygon(ring).centroid)[0],
        shapely.get_coordinates(Polygon(piece.outline).centroid)[0],
    )
    return (float(a[0] - b[0]), float(a[1] - b[1]))


@RANDOM
@given(ring=outlines(), which=st.integers(0, 8), by=st.integers(2, 30), take=st.booleans())
def test_a_straight_edge_moved_as_a_whole_makes_or_takes_a_trapezium(
    ring: Ring, which: int, by: int, take: bool
) -> None:
    """Edge and neighbours straight: the new edge is parallel to the old, and area changes by ±by·(L + L')/2."""
    base = Polygon(ring)
    assume(base.is_valid)
    edges = _edges(ring)
    n = len(edges)
    assume(n >= 3)
    k = which % n
    name, line = edges[k]
    assume(all(len(edges[(k + j) % n][1]) == 2 for j in (-1, 0, 1)))
    piece = _altered(drawn(ring), Alteration("take" if take else "add", float(by), edge=name))
    if piece is None:
        return
    cut = Polygon(piece.outline)
    length = walk_edge(piece, name).length
    if len(piece.outline) > len(ring):
        return  # a mitre beyond its limit was squared
    want = (-by if take else by) * (length_of(line) + length) / 2
    assert cut.area - base.area == pytest.approx(want, abs=1e-3)
    for other, was in edges:
        if other not in (name, edges[k - 1][0], edges[(k + 1) % n][0]):
            assert walk_edge(piece, other).length == pytest.approx(length_of(was), abs=1e-6)


@RANDOM
@given(
    ring=outlines(),
    allowance=st.sampled_from([6.0, 10.0]),
    which=st.integers(0, 8),
    by=st.integers(2, 20),
    kind=st.sampled_from(["lengthen", "shorten", "take strip", "add", "take"]),
    hold=st.integers(0, 3),
    share=st.integers(10, 90),
)
def test_the_allowance_follows_every_alteration(
    ring: Ring, allowance: float, which: int, by: int, kind: AlterationKind, hold: int, share: int
) -> None:
    """Seam and cut outline drawn side by side: afterwards the cut outline is the new seam outline's mitred buffer."""
    base = Polygon(ring)
    assume(base.is_valid and blunt(ring))
    wide = base.buffer(allowance, join_style="mitre", mitre_limit=8.0)
    assume(isinstance(wide, Polygon) and not wide.interiors)
    edges = _edges(ring)
    n = len(edges)
    assume(n >= 3)
    cut_ring = tuple((float(x), float(y)) for x, y in shapely.get_coordinates(wide.exterior)[:-1][::-1])
    k = which % n
    if kind in ("add", "take"):
        assume(by <= length_of(edges[k][1]) / 5)
        held = tuple(c for bit, c in ((1, k + 1), (2, (k + 1) % n + 1)) if hold & bit)
        change = Alteration(kind, float(by), edge=edges[k][0], hold=held)
    else:
        x0, _, x1, _ = base.bounds
        change = Alteration(kind, float(by), at=(x1 - x0) * share / 100, at_is_distance=True)
    piece = _altered(Piece("p", cut_ring, seam=ring), change)
    if piece is None:
        return
    assert piece.seam is not None
    seam, cut = Polygon(piece.seam), Polygon(piece.outline)
    assert seam.is_valid and cut.is_valid
    if not blunt(piece.seam):
        return  # so sharp by now that the mitre's limit decides
    want = seam.buffer(allowance, join_style="mitre", mitre_limit=10.0)
    assert shapely.symmetric_difference(want, cut, grid_size=1e-5).area < 0.05 * want.length


def test_taking_at_a_bend_that_a_curve_runs_into_leaves_no_jag() -> None:
    """Drawn after one that the examples found: a curve of short sides, then a straight side 24 degrees on, with one end
    held. The sides of the curve that are shorter than the bend's mitre vanish: no side runs back, and the cut outline
    stays the mitred buffer of the new seam outline."""
    arc = [(21.6 - 0.89128 * k + 0.000513 * k * k, 38.3334 + 0.2004 * k - 0.005776 * k * k) for k in range(49)]
    ring = ((40.0, 0.0), *arc, (-50.9888, 1.0681), (-20.0, -34.641), (20.0, -34.641))
    edges = _edges(ring)
    (name, k) = next((name, k) for k, (name, line) in enumerate(edges) if len(line) > 40 and length_of(line) > 80.0)
    wide = Polygon(ring).buffer(6.0, join_style="mitre", mitre_limit=8.0)
    cut_ring = tuple((float(x), float(y)) for x, y in shapely.get_coordinates(wide.exterior)[:-1][::-1])
    change = Alteration("take", 8.0, edge=name, hold=((k + 1) % len(edges) + 1,))
    piece = _altered(Piece("p", cut_ring, seam=ring), change)
    assert piece is not None and piece.seam is not None
    assert float(abs(Contour(piece.seam).turns).max()) < 100.0
    want = Polygon(piece.seam).buffer(6.0, join_style="mitre", mitre_limit=10.0)
    assert shapely.symmetric_difference(want, Polygon(piece.outline), grid_size=1e-5).area < 0.5


def test_a_deep_hollow_between_curves_is_split_at_its_own_corner() -> None:
    """As the examples found it: two curves meet in a hollow of 40 degrees, so that the allowances meet 22 mm below its
    corner, elsewhere than the curves' ends drawn on straight would. After adding 3 mm at one of them the cut outline is
    the new seam outline's mitred buffer."""
    left = [
        (-8.90084 - 3.230388 * k - 0.021839 * k * k, -38.99712 - 4.314331 * k + 0.053483 * k * k)
        for k in range(48, -1, -1)
    ]
    right = [
        (-8.90084 + 0.167482 * k + 0.048713 * k * k, -38.99712 - 5.400423 * k + 0.031321 * k * k)
        for k in range(1, 49)
    ]
    ring = ((40.0, 0.0), (24.94, 31.27), (-8.9, 38.997), *left, *right)
    base = Polygon(ring)
    assert base.is_valid and base.exterior.is_ccw
    edges = _edges(ring)
    wide = base.buffer(10.0, join_style="mitre", mitre_limit=8.0)
    cut_ring = tuple((float(x), float(y)) for x, y in shapely.get_coordinates(wide.exterior)[:-1][::-1])
    for name, line in edges:
        if len(line) > 40:
            piece = _altered(Piece("p", cut_ring, seam=ring), Alteration("add", 3.0, edge=name))
            assert piece is not None and piece.seam is not None
            want = Polygon(piece.seam).buffer(10.0, join_style="mitre", mitre_limit=10.0)
            assert shapely.symmetric_difference(want, Polygon(piece.outline), grid_size=1e-5).area < 5.0


def test_moved_points_that_fall_together_have_no_corner() -> None:
    """A side that runs back beside one that has no length left stays as it is; beside two that meet it goes."""
    line = ((0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (3.0, 0.0))
    together = [(0.0, 0.0), (1.0, 0.0), (0.5, 0.0), (0.5, 0.0)]
    assert _forward(line, together) == tuple(together)
    # worked by hand: y = x and y = 2 - x meet in (1, 1)
    assert _forward(line, [(0.0, 0.0), (1.5, 1.5), (0.5, 1.5), (2.0, 0.0)])[1] == pytest.approx((1.0, 1.0))
