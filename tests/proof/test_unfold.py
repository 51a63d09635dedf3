"""Unfold and refold: what is cut from folded cloth is the pattern piece, right or left as it should be.

Here the cloth is really cut. The opened-out cloth is drawn as a polygon with the cut lines on it, each ply's cut lines
put there by shapely's own affinity functions, and shapely takes the drawing apart into its faces (polygonize). The
faces that come out are compared with the pattern pieces, by trying which turn and which hand fits, and with what the
proof says comes off.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LinearRing, LineString, Polygon, box
from shapely.affinity import rotate, scale, translate
from shapely.ops import polygonize

from nesting.model.lay import PlyRegion, Section, Spread
from nesting.model.order import Cloth
from nesting.model.piece import Piece, Ring
from nesting.proof.motion import lying
from nesting.proof.pattern import opened, plain
from nesting.proof.table import table_of
from nesting.proof.unfold import cut_through

EXAMPLES = int(os.environ.get("NESTING_EXAMPLES", "25"))

WIDTH = 1000.0
LENGTH = 900.0

#: share and mm: cloth pieces equal their patterns within these
AREA, HAUSDORFF = 1e-4, 0.05

Move = Callable[[Any], Any]


@dataclass(frozen=True)
class Setting:
    """One spread, said again in plain terms. ``opens``: each ply's move onto its sheet, and the face that is up on the
    table. ``folds``: (along, at, plies). ``ends`` closes in where a piece may lie on the table."""

    kind: str
    depths: tuple[float, ...]
    opens: tuple[tuple[str, Move], ...]
    folds: tuple[tuple[str, float, tuple[int, int]], ...]
    rooms: tuple[tuple[float, float, float, float], ...]
    stacked: int = 1


def up(dx: float = 0.0, dy: float = 0.0) -> tuple[str, Move]:
    """A ply that is seen as it lies."""
    return "up", lambda g: translate(g, dx, dy)


def over_y(at: float, dy: float = 0.0) -> tuple[str, Move]:
    """A ply turned over about the line y = at."""
    return "down", lambda g: translate(scale(g, 1.0, -1.0, origin=(0.0, at)), 0.0, dy)


def over_x(at: float) -> tuple[str, Move]:
    """A ply turned over about the line x = at."""
    return "down", lambda g: scale(g, -1.0, 1.0, origin=(at, 0.0))


def setting(kind: str, f1: float, f2: float) -> Setting:
    """The spread on cloth 1 m wide: with the selvage at y = 0 of the opened-out cloth."""
    whole = (0.0, 0.0, LENGTH, WIDTH)
    if kind == "open":
        return Setting(kind, (), (up(),), (), (whole,))
    if kind == "lengthwise fold":
        half = (0.0, 0.0, LENGTH, 500.0)
        return Setting(kind, (), (up(0, 500), over_y(0, 500)), (("x", 0.0, (0, 1)),), (half, half))
    if kind == "partial fold":
        rooms = ((0.0, 0.0, LENGTH, WIDTH - f1), (0.0, 0.0, LENGTH, f1))
        return Setting(kind, (f1,), (up(0, f1), over_y(0, f1)), (("x", 0.0, (0, 1)),), rooms)
    if kind == "double fold":
        t = WIDTH - f1 - f2
        rooms = ((0.0, 0.0, LENGTH, t), (0.0, 0.0, LENGTH, f1), (0.0, t - f2, LENGTH, t))
        opens = (up(0, f1), over_y(0, f1), over_y(t, f1))
        return Setting(kind, (f1, f2), opens, (("x", 0.0, (0, 1)), ("x", t, (0, 2))), rooms)
    if kind == "crosswise fold":
        return Setting(kind, (), (up(), over_x(LENGTH)), (("y", LENGTH, (0, 1)),), (whole, whole))
    if kind == "tubular":
        folds = (("x", 0.0, (0, 1)), ("x", WIDTH, (0, 1)))
        return Setting(kind, (), (up(0, WIDTH), over_y(0, WIDTH)), folds, (whole, whole))
    if kind == "stacked face up":
        return Setting(kind, (), (up(),) * 3, (), (whole,) * 3, 3)
    flat, turned = up(), over_y(WIDTH / 2)
    return Setting(kind, (), (flat, turned, flat, turned), (), (whole,) * 4, 4)


KINDS = [
    "open",
    "lengthwise fold",
    "partial fold",
    "double fold",
    "crosswise fold",
    "tubular",
    "stacked face up",
    "stacked face to face",
]


def table_for(s: Setting, cloth: Cloth) -> Any:
    """The proof's own table for that spread."""
    plies = tuple(PlyRegion(i, "up", ()) for i in range(len(s.opens)))
    return table_of(cloth, None, Section(Spread(s.kind, 0.0, LENGTH, plies, (), s.depths), LENGTH, ()))  # type: ignore[arg-type]


def cloth_for(s: Setting) -> Cloth:
    """Cloth without selvage or shrinkage, so that only the folds matter."""
    return Cloth("main", WIDTH, plies=s.stacked, tubular=s.kind == "tubular")


def cut_apart(s: Setting, ply_lines: dict[int, LineString]) -> dict[int, list[Polygon]]:
    """Cut the opened-out cloth along each ply's lines; the faces of each sheet."""
    faces: dict[int, list[Polygon]] = {}
    for sheet in range(s.stacked):
        plies = [i for i in range(len(s.opens)) if s.stacked == 1 or i == sheet]
        if s.kind == "tubular":
            # The tube is slit along its second fold, and laid out twice so that pieces on that fold come out whole.
            sheet_edge = box(-10.0, -10.0, LENGTH + 10.0, 3 * WIDTH + 10.0)
        elif s.kind == "crosswise fold":
            sheet_edge = box(-10.0, 0.0, 2 * LENGTH + 10.0, WIDTH)
        else:
            sheet_edge = box(-10.0, 0.0, LENGTH + 10.0, WIDTH)
        lines = [sheet_edge.exterior]
        for i in plies:
            if i in ply_lines:
                lines.append(s.opens[i][1](ply_lines[i]))
                if s.kind == "tubular" and i == 1:
                    lines.append(translate(lines[-1], 0.0, 2 * WIDTH))
        faces[sheet] = list(polygonize(shapely.union_all(lines, grid_size=1e-9)))
    return faces


def fits(face: Polygon, pattern: Polygon, turns: tuple[float, ...]) -> set[str]:
    """The hands in which the pattern, turned by one of these, lies exactly on the face."""
    found = set()
    for hand in ("right", "left"):
        shape = pattern if hand == "right" else scale(pattern, 1.0, -1.0, origin=(0.0, 0.0))
        for turn in turns:
            turned = rotate(shape, turn, origin=(0.0, 0.0))
            there = translate(turned, face.centroid.x - turned.centroid.x, face.centroid.y - turned.centroid.y)
            alike = abs(there.area - face.area) <= AREA * there.area
            if alike and there.exterior.hausdorff_distance(face.exterior) <= HAUSDORFF:
                found.add(hand)
    return found


@st.composite
def one_sided(draw: st.DrawFn) -> Ring:
    """A star-shaped outline that is not its own mirror image: some corner is far longer than the others."""
    count = draw(st.integers(5, 12))
    radii = [draw(st.floats(30.0, 60.0)) for _ in range(count)]
    radii[1] = 110.0 + draw(st.floats(0.0, 20.0))
    radii[2] = 30.0
    radii[0] = 75.0
    return tuple(
        (r * math.cos(2 * math.pi * i / count), r * math.sin(2 * math.pi * i / count)) for i, r in enumerate(radii)
    )


@st.composite
def half(draw: st.DrawFn) -> Ring:
    """Half an outline above a fold edge on y = 0, from (0, 0) to (width, 0); the first two corners are the edge."""
    steps = [draw(st.floats(10.0, 40.0)) for _ in range(draw(st.integers(3, 7)))]
    xs = np.cumsum(steps)
    heights = [draw(st.floats(15.0, 90.0)) for _ in xs]
    top = [(float(x) - steps[0] / 2, h) for x, h in zip(xs, heights, strict=True)]
    return ((0.0, 0.0), (float(xs[-1]), 0.0), *reversed(top))


def piece_of(outline: Ring, *, folded: bool, across: bool = False) -> Piece:
    """A piece, off its own grainline by some millimetres; ``across``: the fold edge lies across the grain."""
    turned = [(-y, x) if across else (x, y) for x, y in outline]
    ring = tuple((x - 13.0, y - 21.0) for x, y in turned)
    return Piece("piece", ring, grainline=((-10, 0), (10, 0)), fold=(ring[0], ring[1]) if folded else None)


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=EXAMPLES, deadline=None)
@given(
    outline=one_sided(),
    turn=st.sampled_from([0.0, 180.0]) | st.floats(0.0, 360.0),
    flipped=st.booleans(),
    data=st.data(),
)
def test_pieces_cut_through_any_plies(
    kind: str, outline: Ring, turn: float, flipped: bool, data: st.DataObject
) -> None:
    """Off the folds, every ply gives the pattern piece by itself: right on a face-up ply, left on a face-down one, the
    other way round where the placement is flipped."""
    s = setting(kind, data.draw(st.floats(250.0, 280.0)), data.draw(st.floats(190.0, 220.0)) + 30.0)
    if kind == "double fold":
        s = setting(kind, 255.0, 245.0)
    plies = tuple(sorted(data.draw(st.sets(st.sampled_from(range(len(s.opens))), min_size=1))))
    if kind == "double fold" and {1, 2} <= set(plies):
        plies = plies[:-1]  # the flaps lie over different parts of the lower ply
    x0, y0, x1, y1 = _common([s.rooms[p] for p in plies])
    piece = piece_of(outline, folded=False)
    motion = lying(0.0, 0.0, turn, flipped)
    a0, b0, a1, b1 = motion.shape(plain(piece).polygon).bounds
    x = data.draw(st.floats(x0 - a0, x1 - a1))
    if y1 - b1 < y0 - b0:
        return  # a flap too narrow for this piece
    y = data.draw(st.floats(y0 - b0, y1 - b1))
    placed = lying(x, y, turn, flipped)
    on_table = placed.shape(plain(piece).polygon)
    came = cut_through(table_for(s, cloth_for(s)), on_table, plies, placed)
    faces = cut_apart(s, {p: LinearRing(on_table.exterior) for p in plies})
    assert len(came) == len(plies)
    for p in plies:
        face_up, opens = s.opens[p]
        sheet = p if s.stacked > 1 else 0
        spot = opens(on_table).representative_point()
        (face,) = [f for f in faces[sheet] if f.contains(spot)]
        expected = "right" if (face_up == "up") != flipped else "left"
        turns = (turn, -turn, 180.0 - turn, 180.0 + turn)
        assert fits(face, plain(piece).polygon, turns) == {expected}
        (said,) = [c for c in came if c.plies == (p,)]
        assert said.hand == expected
        assert said.polygon.symmetric_difference(face).area <= AREA * face.area


def _common(rooms: list[tuple[float, float, float, float]]) -> tuple[float, float, float, float]:
    return (
        max(r[0] for r in rooms),
        max(r[1] for r in rooms),
        min(r[2] for r in rooms),
        min(r[3] for r in rooms),
    )


@pytest.mark.parametrize("kind", ["lengthwise fold", "partial fold", "double fold", "crosswise fold", "tubular"])
@settings(max_examples=EXAMPLES, deadline=None)
@given(outline=half(), backwards=st.booleans(), data=st.data())
def test_halves_on_a_fold(kind: str, outline: Ring, backwards: bool, data: st.DataObject) -> None:
    """With its fold edge on a fold of the cloth, a half comes off as one piece: the pattern opened out."""
    s = setting(kind, data.draw(st.floats(200.0, 280.0)), data.draw(st.floats(200.0, 220.0)))
    along, at, plies = data.draw(st.sampled_from(s.folds))
    piece = piece_of(outline, folded=True, across=along == "y")
    turn = 180.0 if backwards else 0.0
    # the side of the fold on which the cloth lies: up from a fold at 0, down from one at the far edge
    inward = 1.0 if at == 0.0 else -1.0
    lies = lying(0.0, 0.0, turn, False).points(plain(piece).outline)
    axis = 1 if along == "x" else 0
    deep = float((lies[2:, axis] - lies[0, axis]).mean())
    flipped = deep * inward < 0.0
    if along == "y" and flipped:
        return  # flipping mirrors over the grain, which leaves this half on the wrong side
    lies = lying(0.0, 0.0, turn, flipped).points(plain(piece).outline)
    free = data.draw(st.floats(250.0, 500.0))
    off = at - float(lies[0, axis])
    placed = lying(free, off, turn, flipped) if along == "x" else lying(off, free, turn, flipped)
    on_table = placed.shape(plain(piece).polygon)
    edge = placed.points(plain(piece).fold)
    came = cut_through(table_for(s, cloth_for(s)), on_table, plies, placed, uncut=edge)

    corners = placed.points(plain(piece).outline)
    # from one end of the fold edge round to the other: all that is cut
    line = LineString(np.vstack([corners[1:], corners[:1]]))
    (faces,) = cut_apart(s, dict.fromkeys(plies, line)).values()
    spot = s.opens[plies[0]][1](on_table).representative_point()
    (face,) = [f for f in faces if f.contains(spot)]
    pattern = opened(piece).polygon
    assert face.area == pytest.approx(2 * plain(piece).polygon.area, rel=AREA)
    assert fits(face, pattern, (0.0, 180.0))
    (said,) = came
    assert said.plies == plies
    apart = [face, translate(face, 0.0, 2 * WIDTH), translate(face, 0.0, -2 * WIDTH)]
    assert min(said.polygon.symmetric_difference(f).area for f in apart) <= AREA * face.area
    assert (
        said.polygon.exterior.hausdorff_distance(Polygon(said.to_cloth.points(opened(piece).outline)).exterior)
        <= HAUSDORFF
    )


def test_half_beside_its_fold() -> None:
    """A millimetre off the fold, the half gives two halves, left and right, by hand and by the proof."""
    s = setting("lengthwise fold", 0.0, 0.0)
    piece = piece_of(((0.0, 0.0), (100.0, 0.0), (80.0, 60.0), (10.0, 40.0)), folded=True)
    placed = lying(200.0, 22.0, 0.0, False)
    on_table = placed.shape(plain(piece).polygon)
    came = cut_through(table_for(s, cloth_for(s)), on_table, (0, 1), placed, uncut=placed.points(plain(piece).fold))
    assert sorted((c.plies, c.hand) for c in came) == [((0,), "right"), ((1,), "left")]
    # by the shoelace formula (0 + 100 · 60 + (80 · 40 − 10 · 60) + 0) / 2 = 4300 mm²
    assert [round(c.polygon.area, 6) for c in came] == [4300.0, 4300.0]


def test_half_a_hundredth_off_its_fold() -> None:
    """Within the tolerance of a fold edge it is one piece still, to 0.05 mm and 0.01 %."""
    s = setting("lengthwise fold", 0.0, 0.0)
    piece = piece_of(((0.0, 0.0), (300.0, 0.0), (280.0, 160.0), (10.0, 140.0)), folded=True)
    for off in (-0.009, 0.009):
        placed = lying(200.0, 21.0 + off, 0.0, False)
        on_table = placed.shape(plain(piece).polygon)
        edge = placed.points(plain(piece).fold)
        (one,) = cut_through(table_for(s, cloth_for(s)), on_table, (0, 1), placed, uncut=edge)
        expected = Polygon(one.to_cloth.points(opened(piece).outline))
        assert one.polygon.exterior.hausdorff_distance(expected.exterior) <= HAUSDORFF
        assert one.polygon.area == pytest.approx(expected.area, rel=1.5e-4)


def test_refold() -> None:
    """Opened-out cloth folded again brings every piece back under its outline on the table."""
    for kind in KINDS:
        s = setting(kind, 260.0, 220.0)
        table = table_for(s, cloth_for(s))
        for ply in table.plies:
            there = ply.to_cloth.points([(10.0, 20.0), (400.0, 190.0)])
            assert ply.to_cloth.back().points(there) == pytest.approx(np.array([(10.0, 20.0), (400.0, 190.0)]))
            assert ply.face == s.opens[ply.number][0]
            spot = s.opens[ply.number][1](shapely.Point(10.0, 20.0))
            assert ply.to_cloth.points((10.0, 20.0)) == pytest.approx((spot.x, spot.y))
