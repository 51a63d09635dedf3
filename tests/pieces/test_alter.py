"""Alterations: what must grow grows by exactly that much, what is held stays, marks follow."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from shapely.geometry import Polygon

from nesting.model.errors import OrderError
from nesting.model.piece import Drill, Notch, Piece, Ring
from nesting.pieces.contour import Contour
from nesting.pieces.prepare import prepare
from nesting.pieces.seams import walk_edge
from nesting.pieces.wishes import Alteration, AlterationKind, EdgeSpec, Preparation
from tests.pieces.outlines import ellipse

RECTANGLE: Ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 200.0), (0.0, 200.0))
TRAPEZIUM: Ring = ((0.0, 0.0), (100.0, 0.0), (130.0, 200.0), (-30.0, 200.0))


def alter(ring: Ring, kind: AlterationKind, by: float, *, grain: float = 90.0, **rest: object) -> Piece:
    """The ready piece after one alteration; its grain runs up the page unless told otherwise."""
    marks = {k: rest.pop(k) for k in ("notches", "drills") if k in rest}
    piece = Piece("p", ring, **marks)  # type: ignore[arg-type]
    return prepare(piece, Preparation(grain=grain, alterations=(Alteration(kind, by, **rest),)))[0]  # type: ignore[arg-type]


def along(piece: Piece) -> float:
    """Length along the grain, mm."""
    return max(x for x, _ in piece.outline) - min(x for x, _ in piece.outline)


def test_a_trapezium_opened_is_the_longer_trapezium() -> None:
    """Sides trued from end to end stay straight: area (100 + 160)/2 · 220."""
    piece = alter(TRAPEZIUM, "lengthen", 20.0, at=50.0, at_is_distance=True)
    assert len(piece.outline) == 4
    assert Polygon(piece.outline).area == pytest.approx(130.0 * 220.0)


@pytest.mark.parametrize("at", [40.0, 100.0, 150.0])
def test_a_curve_opened_by_d_grows_by_exactly_d_along_the_grain(at: float) -> None:
    """An ellipse (a = 120 along the grain, b = 70) opened by 30: each half edge is stretched evenly, so that its
    height grows by exactly 30, its width not at all, and its area by the ratio of the heights."""
    piece = alter(ellipse(70.0, 120.0), "lengthen", 30.0, at=at, at_is_distance=True)
    assert along(piece) == pytest.approx(270.0, abs=1e-9)
    assert max(y for _, y in piece.outline) - min(y for _, y in piece.outline) == pytest.approx(140.0, abs=1e-9)
    assert Polygon(piece.outline).area == pytest.approx(math.pi * 120.0 * 70.0 * 270.0 / 240.0, rel=1e-4)


def test_shortening_undoes_lengthening() -> None:
    """The same curve opened and closed again at the same place is the old one."""
    ring = ellipse(70.0, 120.0)
    both = Preparation(
        grain=90.0,
        alterations=(
            Alteration("lengthen", 30.0, at=90.0, at_is_distance=True),
            Alteration("shorten", 30.0, at=95.0, at_is_distance=True),
        ),
    )
    piece, _ = prepare(Piece("p", ring), both)
    plain, _ = prepare(Piece("p", ring), Preparation(grain=90.0))
    assert Polygon(piece.outline).hausdorff_distance(Polygon(plain.outline)) < 1e-3


def test_marks_keep_their_distance_from_their_own_end() -> None:
    """Opened by 20 at 100: a notch at 60 stays 60 from the lower end, one at 150 stays 50 from the upper."""
    piece = alter(
        TRAPEZIUM, "lengthen", 20.0, at=100.0, at_is_distance=True,
        notches=(Notch((109.0, 60.0), 180.0), Notch((122.5, 150.0), 180.0)), drills=(Drill((50.0, 120.0)),),
    )  # fmt: skip
    low, high = min(x for x, _ in piece.outline), max(x for x, _ in piece.outline)
    assert piece.notches[0].at[0] - low == pytest.approx(60.0, abs=1e-6)
    assert high - piece.notches[1].at[0] == pytest.approx(50.0, abs=1e-6)
    contour = Contour(piece.outline)
    assert max(contour.locate(n.at)[1] for n in piece.notches) < 1e-9
    assert piece.drills[0].at[0] - low == pytest.approx(140.0)


def test_an_edge_that_is_not_trued_keeps_its_jog() -> None:
    """Only 2-3 is trued: the other side is opened by a straight piece along the grain."""
    piece = alter(TRAPEZIUM, "lengthen", 20.0, at=50.0, at_is_distance=True, true_edges=("2-3",))
    assert len(piece.outline) == 6
    assert along(piece) == pytest.approx(220.0)


def test_adding_at_an_edge_moves_all_of_it_and_its_neighbours_meet_it() -> None:
    """10 mm added to the side of a rectangle: 110 × 200."""
    piece = alter(RECTANGLE, "add", 10.0, edge="2-3")
    assert Polygon(piece.outline).area == pytest.approx(110.0 * 200.0)
    assert len(piece.outline) == 4


def test_taking_with_a_held_end_fades_along_a_raised_cosine() -> None:
    """Half the length times what is taken goes (mean of (1 - cos)/2 is 1/2); the held corner keeps its tangent."""
    piece = alter(RECTANGLE, "take", 10.0, edge="2-3", hold=(2,))
    assert Polygon(piece.outline).area == pytest.approx(100.0 * 200.0 - 10.0 * 200.0 / 2, abs=0.5)
    edge = walk_edge(piece, "2-3")
    contour = Contour(piece.outline)
    start = next(e.start for e in piece.edges if e.name == "2-3")
    tx, ty = contour.direction(contour.locate(start)[0])
    assert math.degrees(math.atan2(ty, tx)) == pytest.approx(0.0, abs=0.1)
    # length of the curve y = 10·(1 - cos(π·t/200))/2 by Simpson's rule
    n = 2000
    h = 200.0 / n
    f = [math.hypot(1.0, 10.0 * math.pi / 400.0 * math.sin(math.pi * k / n)) for k in range(n + 1)]
    want = h / 3 * (f[0] + f[n] + 4 * sum(f[1:n:2]) + 2 * sum(f[2:n:2]))
    assert edge.length == pytest.approx(want, abs=1e-3)


def test_both_ends_held_leave_both_neighbours_alone() -> None:
    """A bump of 12 mm in the middle; area grows by 12·200/2; both corners stay."""
    piece = alter(RECTANGLE, "add", 12.0, edge="2-3", hold=(2, 3))
    assert Polygon(piece.outline).area == pytest.approx(100.0 * 200.0 + 12.0 * 200.0 / 2, abs=0.5)
    assert walk_edge(piece, "1-2").length == pytest.approx(100.0)
    assert walk_edge(piece, "3-4").length == pytest.approx(100.0)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (Alteration("lengthen", 10.0, at=250.0, at_is_distance=True), "is not on the piece, which measures 200.0 mm"),
        (Alteration("lengthen", 10.0), "says no place"),
        (Alteration("lengthen", 10.0, at="n9"), "there is no notch 'n9'"),
        (Alteration("lengthen", 10.0, at=7), "there is no corner 7: the drawing has corners 1 to 4"),
        (Alteration("add", 10.0, edge="side"), "there is no edge 'side'"),
        (Alteration("add", 10.0, edge="2-3", hold=(1,)), "is not an end of the edge"),
        (Alteration("add", -1.0, edge="2-3"), "a length above 0 was expected"),
        (Alteration("shorten", 190.0, at=50.0, at_is_distance=True), "with its strip is not on the piece"),
        (Alteration("lengthen", 9.0, at=210.0, at_is_distance=True, start="head"), "210 mm from the head of the grain"),
        (Alteration("lengthen", 9.0, at=210.0, at_is_distance=True, start="3-4"), "the middle of 3-4 is not on"),
    ],
)
def test_what_cannot_be_altered_is_refused_with_its_reason(change: Alteration, words: str) -> None:
    """Places off the piece, unknown anchors and edges, senseless lengths."""
    with pytest.raises(OrderError, match=words.replace("(", r"\(")) as caught:
        prepare(Piece("p", RECTANGLE), Preparation(grain=90.0, alterations=(change,)))
    assert caught.value.key == f"alter 1 ({change.kind})"


def test_a_held_end_that_would_be_cut_off_is_refused() -> None:
    """A tip so thin that the edge, moved in, leaves the piece before it reaches the held point."""
    upper = ((200.0 - s, 0.001 * s**2 + 0.00005 * s**3) for s in range(1, 201))
    ring = ((0.0, 0.0), (200.0, 0.0), *upper)
    change = Alteration("take", 30.0, edge="1-2", hold=(2,))
    with pytest.raises(OrderError, match=r"the held end at \(200\.0, 0\.0\) mm .* would be cut off"):
        prepare(Piece("p", ring), Preparation(grain=90.0, alterations=(change,)))


def test_a_step_is_told() -> None:
    """Part of a straight side moved without holding its end: the rest of the side cannot meet it."""
    side = EdgeSpec("upper side", "half way", 3)
    piece = Piece("p", RECTANGLE, notches=(Notch((100.0, 120.0), 180.0, name="half way"),))
    change = Alteration("add", 10.0, edge="upper side")
    ready, findings = prepare(piece, Preparation(grain=90.0, edges=(side,), alterations=(change,)))
    assert Polygon(ready.outline).area == pytest.approx(100.0 * 200.0 + 10.0 * 80.0)
    told = [f.message for f in findings if f.kind == "warning"]
    assert len(told) == 1 and "so there is a step: hold that end" in told[0] and "(100.0, 120.0)" in told[0]
    _, fine = prepare(piece, Preparation(grain=90.0, edges=(side,), alterations=(replace(change, hold=("half way",)),)))
    assert not [f for f in fine if f.kind == "warning"]


def test_a_strip_that_holds_a_corner_is_refused() -> None:
    """The corner would be lost."""
    ring = ((0.0, 0.0), (100.0, 0.0), (140.0, 100.0), (100.0, 200.0), (0.0, 200.0))
    with pytest.raises(OrderError, match=r"holds a corner or a turn of the outline at \(140\.0, 100\.0\)"):
        prepare(
            Piece("p", ring),
            Preparation(grain=90.0, alterations=(Alteration("take strip", 30.0, at=90.0, at_is_distance=True),)),
        )


def test_each_alteration_is_told_with_the_change_in_area() -> None:
    """A note in cm²: 200 becomes 220."""
    _, findings = prepare(
        Piece("p", RECTANGLE),
        Preparation(grain=90.0, alterations=(Alteration("lengthen", 20.0, at=50.0, at_is_distance=True),)),
    )
    assert [(f.kind, f.code) for f in findings] == [("note", "alter.from"), ("note", "alter.area")]
    assert "from 200.0 to 220.0 cm² (+20.0 cm²)" in findings[1].message


def test_an_altered_piece_keeps_its_allowance() -> None:
    """Seam and cut outline drawn 10 apart: after lengthening and adding they still are, everywhere."""
    seam = ((0.0, 0.0), (100.0, 0.0), (130.0, 200.0), (-30.0, 200.0))
    cut = tuple(Polygon(seam).buffer(10.0, join_style="mitre").exterior.coords)[:-1][::-1]
    for change in (
        Alteration("lengthen", 25.0, at=80.0, at_is_distance=True),
        Alteration("add", 12.0, edge="2-3"),
        Alteration("take", 12.0, edge="2-3", hold=(2,)),
        Alteration("take strip", 25.0, at=80.0, at_is_distance=True),
    ):
        piece, _ = prepare(Piece("p", cut, seam=seam), Preparation(grain=90.0, alterations=(change,)))
        assert piece.seam is not None
        want = Polygon(piece.seam).buffer(10.0, join_style="mitre", mitre_limit=10.0)
        assert want.symmetric_difference(Polygon(piece.outline)).area < 0.05 * want.length, change


def test_a_sharp_corners_allowance_follows_when_its_edge_is_moved() -> None:
    """A tip of 22.6°, drawn with its mitre of 51 mm: the moved edge and its neighbour meet in a mitre again."""
    seam = ((0.0, 0.0), (300.0, -60.0), (300.0, 60.0))
    cut = tuple((x, y) for x, y in Polygon(seam).buffer(10.0, join_style="mitre", mitre_limit=8.0).exterior.coords)
    change = Alteration("add", 12.0, edge="1-2")
    piece, _ = prepare(Piece("p", cut[:-1][::-1], seam=seam), Preparation(grain=90.0, alterations=(change,)))
    assert piece.seam is not None
    want = Polygon(piece.seam).buffer(10.0, join_style="mitre", mitre_limit=8.0)
    assert want.symmetric_difference(Polygon(piece.outline)).area < 1.0


def test_an_even_allowance_reaches_into_a_hollow_corner_that_opens() -> None:
    """Two bowed edges meet in a hollow wedge of 30 degrees, where their cut lines meet 38 mm out. One is taken in by 6:
    the other's cut line goes on beside its own seam line, to where they meet now (a buffer of the new seam outline)."""
    spokes = (252, -0.11), (72, 0.18), (115, 0.07), (41, 0.1), (59, 0.25), (265, 0.26), (40, -0.07), (276, 0.01)
    corners = [
        (r * math.cos(math.tau * (k + j) / 8), r * math.sin(math.tau * (k + j) / 8)) for k, (r, j) in enumerate(spokes)
    ]
    bows = (-0.08, 0.0, 0.08, 0.0, 0.0, 0.15, 0.15, 0.08)
    ring: list[tuple[float, float]] = []
    for (ax, ay), (bx, by), bow in zip(corners, corners[1:] + corners[:1], bows, strict=True):
        ring.append((ax, ay))
        for k in range(1, 48) if bow else ():
            t = k / 48
            out = 4 * bow * t * (1 - t)
            ring.append((ax + t * (bx - ax) + out * (by - ay), ay + t * (by - ay) - out * (bx - ax)))
    wide = Polygon(ring).buffer(10.0, join_style="mitre", mitre_limit=8.0)
    cut = tuple((float(x), float(y)) for x, y in list(wide.exterior.coords)[:-1])
    piece, _ = prepare(
        Piece("p", cut, seam=tuple(ring)),
        Preparation(grain=0.0, alterations=(Alteration("take", 6.0, edge="1-2", hold=(1,)),)),
    )
    assert piece.seam is not None
    want = Polygon(piece.seam).buffer(10.0, join_style="mitre", mitre_limit=10.0)
    assert want.symmetric_difference(Polygon(piece.outline)).area < 2.0
