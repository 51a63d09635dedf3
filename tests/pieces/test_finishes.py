"""Cut outlines against closed forms: circles, ellipses, rectangles, trapezia, Steiner's formula for convex shapes."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from shapely.geometry import Polygon

from nesting.model.errors import OrderError, PatternError
from nesting.model.piece import Notch, Piece, Ring
from nesting.pieces.edges import numbered_corners
from nesting.pieces.prepare import prepare
from nesting.pieces.wishes import Finish, Preparation
from tests.pieces.outlines import all_round, circle, drawn, ellipse

RECTANGLE: Ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 200.0), (0.0, 200.0))
TRAPEZIUM: Ring = ((0.0, 0.0), (100.0, 0.0), (130.0, 200.0), (-30.0, 200.0))


def area(piece: Piece) -> float:
    """Area of the cut outline, mm²."""
    return float(Polygon(piece.outline).area)


def box(piece: Piece) -> tuple[float, float]:
    """Size along and across the grain, mm."""
    x0, y0, x1, y1 = Polygon(piece.outline).bounds
    return (x1 - x0, y1 - y0)


def finishes(**offsets: float) -> tuple[tuple[str, Finish], ...]:
    """Finishes by edge, "e12" for the edge 1-2."""
    return tuple((f"{k[1]}-{k[2]}", Finish("custom", d)) for k, d in offsets.items())


@pytest.mark.parametrize("d", [20.0, 6.0, -6.0, -19.05, -49.0])
def test_a_circle_becomes_a_circle(d: float) -> None:
    """Every point of the cut outline lies at r + d from the middle, to 0.05 mm (closed form)."""
    piece, _ = prepare(drawn(circle(50.0)), all_round(d))
    cx, cy = Polygon(piece.outline).centroid.coords[0]
    assert max(abs(math.hypot(x - cx, y - cy) - (50.0 + d)) for x, y in piece.outline) < 0.05


def test_a_wide_allowance_round_a_small_circle_is_rounded_not_cut_across() -> None:
    """Radius 4 in 60 sides, 50 mm added: area π·54² to 0.02 %, no side farther than 0.05 mm inside the circle."""
    piece, _ = prepare(drawn(circle(4.0, 60)), all_round(50.0))
    assert area(piece) == pytest.approx(math.pi * 54.0**2, rel=5e-4)
    c = Polygon(piece.outline).centroid
    assert Polygon(piece.outline).exterior.distance(c) > 54.0 - 0.05


@pytest.mark.parametrize("d", [20.0, 6.35])
def test_steiner_for_an_ellipse(d: float) -> None:
    """Area A + P·d + π·d² (Steiner's formula for convex shapes), P by Ramanujan's second approximation (1914)."""
    a, b = 120.0, 70.0
    h = ((a - b) / (a + b)) ** 2
    perimeter = math.pi * (a + b) * (1 + 3 * h / (10 + math.sqrt(4 - 3 * h)))
    piece, _ = prepare(drawn(ellipse(a, b, 2880)), all_round(d))
    want = math.pi * a * b + perimeter * d + math.pi * d * d
    assert area(piece) == pytest.approx(want, rel=2e-5)


@pytest.mark.parametrize("ring", [RECTANGLE, TRAPEZIUM, ((0.0, 0.0), (90.0, -20.0), (160.0, 60.0), (70.0, 150.0))])
@pytest.mark.parametrize("d", [10.0, -7.0])
def test_steiner_with_mitres(ring: Ring, d: float) -> None:
    """Area A + P·d + d²·Σ tan(τ/2) over the turns τ of the corners of a convex polygon."""
    n = len(ring)
    perimeter = sum(math.dist(ring[i], ring[(i + 1) % n]) for i in range(n))
    tangents = 0.0
    for i in range(n):
        (ax, ay), (bx, by), (cx, cy) = ring[i - 1], ring[i], ring[(i + 1) % n]
        turn = math.atan2(cy - by, cx - bx) - math.atan2(by - ay, bx - ax)
        tangents += math.tan(((turn + math.pi) % math.tau - math.pi) / 2)
    piece, _ = prepare(drawn(ring), all_round(d))
    assert area(piece) == pytest.approx(Polygon(ring).area + perimeter * d + d * d * tangents, abs=1e-6)


def test_each_edge_of_a_rectangle_moves_by_its_own_offset() -> None:
    """Hem 20 below, seam 6 right, lace -19.05 above, raw left: (100 + 6) × (200 + 20 - 19.05)."""
    how = Preparation(grain=90.0, finishes=finishes(e12=20.0, e23=6.0, e34=-19.05, e41=0.0))
    piece, _ = prepare(drawn(RECTANGLE), how)
    assert box(piece) == pytest.approx((200.95, 106.0))
    assert area(piece) == pytest.approx(200.95 * 106.0)


def test_a_mitre_beyond_its_limit_is_squared() -> None:
    """A 20 degree point, limit 2: the cut lies 2 offsets from the corner, square to the bisector."""
    a = math.radians(10.0)
    ring = ((0.0, 0.0), (200.0 * math.cos(a), -200.0 * math.sin(a)), (200.0 * math.cos(a), 200.0 * math.sin(a)))
    piece, _ = prepare(drawn(ring), all_round(10.0, mitre_limit=2.0))
    assert piece.seam is not None
    tip = min(x for x, _ in piece.seam)
    ends = [p for p in piece.outline if abs(p[0] - (tip - 20.0)) < 1e-6]
    assert len(ends) == 2
    # the squared end is as wide as the cut lines are apart there: 2·(10 - 20·sin 10°)/cos 10°
    assert abs(ends[0][1] - ends[1][1]) == pytest.approx(2 * (10 - 20 * math.sin(a)) / math.cos(a))


def test_a_mirrored_hem_lies_flush_when_it_is_turned_back() -> None:
    """The part beyond the finished edge, mirrored back over it, covers the piece's own shape there exactly."""
    how = Preparation(grain=90.0, finishes=(("1-2", Finish("fold back", 20.0, "mirror")), ("*", Finish("seam", 10.0))))
    piece, _ = prepare(drawn(TRAPEZIUM), how)
    assert piece.seam is not None
    edge = min(x for x, _ in piece.seam)  # grain 90: the hem is the low end along the grain
    whole = Polygon(piece.outline)
    x0, y0, _, y1 = whole.bounds
    turned = whole.intersection(Polygon([(x0 - 1, y0 - 1), (edge, y0 - 1), (edge, y1 + 1), (x0 - 1, y1 + 1)]))
    back = Polygon([(2 * edge - x, y) for x, y in turned.exterior.coords])
    under = whole.intersection(Polygon([(edge, y0 - 1), (edge + 20, y0 - 1), (edge + 20, y1 + 1), (edge, y1 + 1)]))
    assert back.symmetric_difference(under).area < 1e-6
    mitred, _ = prepare(drawn(TRAPEZIUM), replace(how, finishes=(("1-2", Finish("fold back", 20.0)), how.finishes[1])))
    # mitred instead, the sides run straight on, and the hem would be too narrow to lie flush
    assert area(piece) - area(mitred) == pytest.approx(2 * 20.0 * 20.0 * 30.0 / 200.0, rel=1e-6)


@pytest.mark.parametrize("radius", [60.0, 100.0])
def test_at_a_hollow_corner_nothing_is_turned_back(radius: float) -> None:
    """There an edge that is turned back meets its neighbour, which bulges out and comes back below its line, as with
    any other finish: no seam allowance is lost."""
    bulge = [(150.0, 165.0)]
    for k in range(100):  # an arc to the left, from 26° to the right of the edge before it
        a = math.radians(167.0 + k)
        x, y = bulge[-1]
        bulge.append((x + radius * math.pi / 180 * math.cos(a), y + radius * math.pi / 180 * math.sin(a)))
    ring = ((bulge[-1][0], 0.0), (300.0, 0.0), (300.0, 200.0), *bulge)
    corners = numbered_corners(drawn(ring))
    names = [f"{i}-{i % len(corners) + 1}" for i in range(1, len(corners) + 1)]
    outlines = []
    for kind in ("mirror", "mitre"):
        finishes = tuple((name, Finish("custom", 20.0)) for name in names if name != "3-4")
        edge = ("3-4", Finish("fold back", 6.0, kind))  # type: ignore[arg-type]
        piece, _ = prepare(drawn(ring), Preparation(grain=0.0, finishes=(edge, *finishes)))
        assert piece.seam is not None
        assert Polygon(piece.outline).buffer(1e-6).covers(Polygon(piece.seam))
        outlines.append(Polygon(piece.outline))
    # at the outer corner 3 they do differ
    assert 1.0 < outlines[0].symmetric_difference(outlines[1]).area < 6.0 * 20.0


def test_a_fold_edge_stays_and_its_neighbours_meet_it_produced() -> None:
    """A half with oblique neighbours: the whole, opened out, has mitred corners on the fold line."""
    ring = ((0.0, 20.0), (100.0, 0.0), (100.0, 200.0), (0.0, 190.0))
    how = Preparation(grain=0.0, fold="left", finishes=tuple((f"{i}-{i + 1}", Finish("seam", 10.0)) for i in (1, 2, 3)))
    piece, _ = prepare(drawn(ring), how)
    assert piece.fold is not None and piece.seam is not None
    fold_x = piece.fold[0][0]
    assert all(x >= fold_x - 1e-12 for x, _ in piece.outline)
    assert {p for p in piece.outline if p[0] == fold_x} == set(piece.fold)
    low = min(p[1] for p in piece.fold) - min(y for x, y in piece.seam if x == fold_x)
    assert low == pytest.approx(-10.0 * math.hypot(100.0, 20.0) / 100.0)


def test_from_a_cut_outline_with_known_allowance_to_another_finish() -> None:
    """Drawn with 10 mm everywhere; the hem becomes 30: 20 mm longer along the grain, the sides as drawn."""
    how = Preparation(grain=90.0, allowance=(("*", 10.0),), finishes=(("1-2", Finish("fold back", 30.0)),))
    piece, findings = prepare(drawn(RECTANGLE), how)
    assert box(piece) == pytest.approx((220.0, 100.0))
    assert piece.seam is not None
    assert Polygon(piece.seam).area == pytest.approx(80.0 * 180.0)
    assert findings == ()


def test_a_seam_outline_inside_a_circle() -> None:
    """Cut outline of radius 60 that includes 10: the seam outline is the circle of radius 50."""
    piece, _ = prepare(drawn(circle(60.0)), Preparation(grain=0.0, allowance=(("*", 10.0),)))
    assert piece.seam is not None
    assert Polygon(piece.seam).area == pytest.approx(math.pi * 50.0**2, rel=1e-4)
    assert piece.outline == prepare(drawn(circle(60.0)), Preparation(grain=0.0))[0].outline


def test_edges_without_a_finish_stay_as_drawn() -> None:
    """Seam and cut outline drawn, 10 all round but 15 on the left: only the hem moves."""
    seam = ((10.0, 10.0), (90.0, 10.0), (90.0, 190.0), (10.0, 190.0))
    cut = ((-5.0, 0.0), (100.0, 0.0), (100.0, 200.0), (-5.0, 200.0))
    piece, _ = prepare(
        Piece("p", cut, seam=seam), Preparation(grain=90.0, finishes=(("1-2", Finish("fold back", 25.0)),))
    )
    assert box(piece) == pytest.approx((215.0, 105.0))


def test_a_lining_is_trimmed_short_of_the_fold_back_edge() -> None:
    """Trimmed 12 mm short at the hem: that much shorter along the grain."""
    piece, _ = prepare(drawn(RECTANGLE), Preparation(grain=90.0, trim_short=(("1-2", 12.0),)))
    assert box(piece) == pytest.approx((188.0, 100.0))


def test_notches_move_with_their_edge_along_its_normal_and_other_marks_stay() -> None:
    """A notch 40 along the lower edge lies on the new cut edge below its place; the direction is kept."""
    piece, _ = prepare(
        Piece("p", RECTANGLE, notches=(Notch((40.0, 0.0), 90.0), Notch((100.0, 50.0), 180.0))),
        Preparation(grain=0.0, finishes=finishes(e12=20.0)),
    )
    assert piece.seam is not None
    left, low = min(x for x, _ in piece.seam), min(y for _, y in piece.seam)
    assert piece.notches[0].at == pytest.approx((left + 40.0, low - 20.0))
    assert piece.notches[0].direction == pytest.approx(90.0)
    assert piece.notches[1].at == pytest.approx((left + 100.0, low + 50.0))


def test_a_neck_that_closes_is_an_error_that_names_the_place() -> None:
    """Two squares joined by a neck 20 wide: 11 mm off either side leaves nothing of it."""
    ring = (
        (0.0, 0.0), (100.0, 0.0), (100.0, 90.0), (60.0, 90.0), (60.0, 110.0), (100.0, 110.0),
        (100.0, 200.0), (0.0, 200.0), (0.0, 110.0), (40.0, 110.0), (40.0, 90.0), (0.0, 90.0),
    )  # fmt: skip
    prepare(drawn(ring), all_round(-9.0))
    with pytest.raises(PatternError, match=r"breaks apart at \([\d.]+, 100\.0\) mm of the drawing"):
        prepare(drawn(ring), all_round(-11.0))
    with pytest.raises(PatternError, match=r"mm of the drawing, on edge"):
        prepare(drawn(ring), all_round(11.0))  # the slots beside the neck fill up


def test_allowances_that_close_a_gap_are_an_error() -> None:
    """A ring of 200 with a mouth of 8 mm: 6 mm from both sides would close it and leave a hole."""
    ring = (
        (0.0, 0.0), (200.0, 0.0), (200.0, 96.0), (150.0, 96.0), (150.0, 50.0), (50.0, 50.0),
        (50.0, 150.0), (150.0, 150.0), (150.0, 104.0), (200.0, 104.0), (200.0, 200.0), (0.0, 200.0),
    )  # fmt: skip
    prepare(drawn(ring), all_round(3.0))
    with pytest.raises(PatternError, match="both sides of a slot run into each other at"):
        prepare(drawn(ring), all_round(6.0))


def test_a_piece_that_vanishes_is_an_error() -> None:
    """A circle of radius 50 that loses 51."""
    with pytest.raises(PatternError, match="nothing is left of the piece"):
        prepare(drawn(circle(50.0)), all_round(-51.0))


@pytest.mark.parametrize(
    ("how", "key", "words"),
    [
        (Preparation(grain=0.0, finishes=(("hemm", Finish("raw", 0.0)),)), "finish", "1-2, 2-3, 3-4, 4-1"),
        (Preparation(grain=0.0, allowance=(("hemm", 1.0),)), "allowance", "no edge 'hemm'"),
        (Preparation(grain=0.0, fold="left", finishes=(("fold", Finish("seam", 6.0)),)), "finish 'fold'", "the fold"),
        (
            Preparation(grain=0.0, finishes=(("1-2", Finish("raw", 0.0)),), trim_short=(("1-2", 3.0),)),
            "finish '1-2'",
            "trimmed short as well",
        ),
    ],
)
def test_what_the_order_asks_wrongly_is_said_with_its_key(how: Preparation, key: str, words: str) -> None:
    """Unknown edges, a finish on the fold, two orders for one edge."""
    with pytest.raises(OrderError, match=words) as caught:
        prepare(drawn(RECTANGLE), how)
    assert caught.value.key == key
    assert caught.value.piece == "p"


def test_a_seam_outline_alone_is_laid_with_a_warning() -> None:
    """Cut line and seam line are one: the allowance was forgotten, or the edges are raw."""
    _, findings = prepare(Piece("p", RECTANGLE, seam=RECTANGLE), Preparation(grain=0.0))
    assert [f.kind for f in findings] == ["warning"]
    piece, findings = prepare(Piece("p", RECTANGLE, seam=RECTANGLE), all_round(10.0))
    assert findings == ()
    assert area(piece) == pytest.approx(120.0 * 220.0)


def test_a_single_outline_with_finishes_and_no_allowance_is_told() -> None:
    """It is taken as the seam outline, and said so."""
    _, findings = prepare(drawn(RECTANGLE), all_round(6.0))
    assert [f.kind for f in findings] == ["ambiguous"]
    assert prepare(drawn(RECTANGLE), Preparation(grain=0.0))[1] == ()
