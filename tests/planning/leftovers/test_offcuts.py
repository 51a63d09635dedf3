"""Leftovers of a lay: free regions by closed forms, folds opened, largest rectangles."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from shapely.geometry import Point, Polygon, box

from nesting.model.lay import FoldLine, Patch, PatchPlace, Placement, PlyRegion, Section, Spread
from nesting.model.order import Cloth
from nesting.model.piece import Piece
from nesting.planning.leftovers.offcuts import as_remnants, largest_rectangle, offcuts
from nesting.planning.leftovers.stash import Stash, add, read_stash, write_stash
from nesting.report.drawing.drawing import lay_scene
from nesting.report.drawing.leftover_areas import free_rectangles
from nesting.report.drawing.scene import Shape
from tests.planning.area_lays import lay_of, order_of


def placement(x0, y0, x1, y1, plies=(0,)):
    """A rectangle as it lies."""
    ring = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    return Placement("p", "g", None, 1, 0.0, 0.0, 0.0, False, plies, False, False, 1, Piece("p", ring))


def region(length, low, high):
    """A ply's region."""
    return ((0.0, low), (length, low), (length, high), (0.0, high))


def lay_with(*placements, plies=None, folds=(), length=1000.0, width=800.0, kind="open"):
    """A lay of one section on cloth of that size."""
    plies = plies or (PlyRegion(0, "up", region(length, 0.0, width)),)
    lay = lay_of(order_of([], []), Cloth("main", width), length)
    spread = Spread(kind, width, length, plies, folds)
    return replace(lay, sections=(Section(spread, length, placements),))


def test_what_is_beside_a_piece_is_left():
    """1000 × 800 less a piece of 1000 × 500 leaves 1000 × 300."""
    (left,) = offcuts(lay_with(placement(0, 0, 1000, 500)))
    assert left.area == pytest.approx(300_000.0, rel=1e-6)
    assert left.rectangle_size == pytest.approx((1000.0, 300.0), abs=0.1)
    assert left.at == pytest.approx((0.0, 500.0), abs=1e-3)
    assert left.ply == 0


def test_slivers_and_small_pieces_are_thrown_away():
    """A strip of 70 mm and a corner of 190 × 200 mm are too small, with the default limits of 80 mm and 400 cm²."""
    assert offcuts(lay_with(placement(0, 70, 1000, 800))) == ()
    assert offcuts(lay_with(placement(0, 0, 1000, 600), placement(0, 600, 810, 800))) == ()
    (kept,) = offcuts(lay_with(placement(0, 0, 1000, 600), placement(0, 600, 810, 800)), least_area=37_990.0)
    assert kept.rectangle_size == pytest.approx((190.0, 200.0), abs=0.1)


def test_a_patch_is_cut_off_whole():
    """A follower of 300 × 200 in a patch of 500 × 300: what lies round it in the patch is no leftover, in the stash nor
    on the drawing. 1000 × 800 less the patch leaves 650,000 mm², in it 1000 × 500."""
    lay = lay_with(placement(100, 50, 400, 250))
    on = PatchPlace("main", 0, (0,), 0.0, 0.0, 500.0, 300.0, 0.0, "up")
    patch = Patch(1, 300.0, 500.0, 50.0, 250.0, 150.0, 90.0, (1,), on)
    lay = replace(lay, patches=(patch,))
    assert patch.outline == ((0.0, 0.0), (500.0, 0.0), (500.0, 300.0), (0.0, 300.0))
    (left,) = offcuts(lay)
    assert left.area == pytest.approx(650_000.0, rel=1e-6)
    assert left.rectangle_size == pytest.approx((1000.0, 500.0), abs=0.1)
    free = free_rectangles(lay.sections[0], (patch.outline,))
    wide, narrow = ((o.x0, o.y0, o.x1, o.y1) for o in free)  # up to two cells of 10 mm smaller
    assert wide == pytest.approx((0.0, 300.0, 1000.0, 800.0), abs=20.0)
    assert narrow == pytest.approx((500.0, 0.0, 1000.0, 300.0), abs=20.0)
    drawn = [item.lines[0] for item in lay_scene(lay).items if isinstance(item, Shape) and item.role == "offcut"]
    boxes = [Polygon(line) for line in drawn if len(line) == 5]
    assert len(boxes) == 2 and all(one.intersection(Polygon(patch.outline)).area < 1.0 for one in boxes)


def test_a_leftover_across_the_fold_is_one_piece():
    """Folded lengthwise, 300 mm free at the fold on both plies open out to one piece of 600 mm."""
    plies = tuple(PlyRegion(i, face, region(1000.0, 0.0, 400.0)) for i, face in ((0, "up"), (1, "down")))
    lay = lay_with(placement(0, 300, 1000, 400, (0, 1)), plies=plies, folds=(FoldLine("x", 0.0, (0, 1)),))
    (left,) = offcuts(lay)
    assert left.area == pytest.approx(600_000.0, rel=1e-6)
    assert left.rectangle_size == pytest.approx((1000.0, 600.0), abs=0.1)
    assert left.at[1] == pytest.approx(-300.0, abs=1e-3)


def test_a_single_on_one_ply_leaves_the_other_free():
    """A piece on the top ply alone: what lies under it is still whole."""
    plies = tuple(PlyRegion(i, face, region(1000.0, 0.0, 400.0)) for i, face in ((0, "up"), (1, "down")))
    lay = lay_with(placement(0, 0, 1000, 400, (1,)), plies=plies, folds=(FoldLine("x", 0.0, (0, 1)),))
    (left,) = offcuts(lay)
    assert left.rectangle_size == pytest.approx((1000.0, 400.0), abs=0.1)


def test_a_crosswise_fold_opens_along_the_length():
    """Fold at x = 1000: 400 mm free before it on both plies are 800 mm along the grain."""
    plies = (PlyRegion(0, "up", region(1000.0, 0.0, 800.0)), PlyRegion(1, "down", region(1000.0, 0.0, 800.0), (), True))
    lay = lay_with(placement(0, 0, 600, 800, (0, 1)), plies=plies, folds=(FoldLine("y", 1000.0, (0, 1)),))
    (left,) = offcuts(lay)
    assert left.rectangle_size == pytest.approx((800.0, 800.0), abs=0.1)


def test_a_tube_is_cut_open_at_its_second_edge():
    """Two folds join the same two plies: the free tube opens to twice its flat width, not more."""
    plies = tuple(PlyRegion(i, face, region(1000.0, 0.0, 400.0)) for i, face in ((0, "up"), (1, "down")))
    folds = (FoldLine("x", 0.0, (0, 1)), FoldLine("x", 400.0, (0, 1)))
    (left,) = offcuts(lay_with(plies=plies, folds=folds))
    assert left.area == pytest.approx(800_000.0, rel=1e-6)


def test_stacked_plies_leave_one_each():
    """Two plies that do not hang together give two leftovers."""
    plies = tuple(PlyRegion(i, "up", region(1000.0, 0.0, 800.0)) for i in (0, 1))
    left = offcuts(lay_with(placement(0, 0, 1000, 500, (0, 1)), plies=plies))
    assert [o.ply for o in left] == [0, 1]


@pytest.mark.parametrize(
    ("face", "turned_end", "corner"),
    [
        ("up", False, (1000.0, 800.0)),
        ("down", False, (1000.0, 0.0)),  # turned over about its length: left and right change places
        ("down", True, (0.0, 800.0)),  # turned over end for end
        ("up", True, (0.0, 0.0)),  # turned round on the table
    ],
)
def test_a_leftover_is_kept_right_side_up_and_the_way_it_was_wound(face, turned_end, corner):
    """A piece takes the far right corner as seen on the table; by hand, where it is missing from the cloth itself."""
    ply = PlyRegion(0, face, region(1000.0, 0.0, 800.0), (), turned_end)
    (left,) = offcuts(lay_with(placement(700, 500, 1000, 800), plies=(ply,)))
    missing = box(0, 0, 1000, 800).difference(Polygon(left.outline).buffer(1e-6))
    assert missing.area == pytest.approx(90_000.0, rel=1e-4)
    assert missing.distance(Point(corner)) < 1e-3
    x0, y0, x1, y1 = left.rectangle
    assert Polygon(left.outline).buffer(1e-3).covers(box(x0, y0, x1, y1))


def test_cloth_beyond_the_lay_counts_when_it_is_there():
    """Rounding up left 200 mm past the end of a full lay: 200 × 800."""
    lay = lay_with(placement(0, 0, 1000, 800))
    assert offcuts(lay) == ()
    (left,) = offcuts(lay, beyond=200.0)
    assert left.rectangle_size == pytest.approx((200.0, 800.0), abs=0.1)


def test_a_hole_and_a_flaw_are_kept_out():
    """A piece from the middle leaves a hole; as a remnant it is a flaw, and the stash keeps it."""
    flaw = ((900.0, 700.0), (950.0, 700.0), (950.0, 750.0), (900.0, 750.0))
    plies = (PlyRegion(0, "up", region(1000.0, 0.0, 800.0), (flaw,)),)
    (left,) = offcuts(lay_with(placement(400, 300, 600, 500), plies=plies))
    assert left.area <= 800_000.0 - 40_000.0 - 2_500.0 + 1.0
    (remnant,) = as_remnants((left,), cloth="main", prefix="chorus")
    assert remnant.name == "chorus-1" and len(remnant.flaws) >= 1
    assert all(Polygon(f).exterior.is_ccw for f in (remnant.outline, *remnant.flaws))
    (plain,) = as_remnants((left,), cloth="main", prefix="chorus", rectangles=True)
    assert plain.rectangular


def test_leftovers_go_into_the_stash_and_come_back(tmp_path):
    """Lay to offcut to stash to remnant, equal to a thousandth of a millimetre."""
    found = offcuts(lay_with(placement(0, 0, 1000, 500)))
    write_stash(tmp_path / "s.toml", add(Stash(), as_remnants(found, cloth="main", prefix="c")))
    (again,) = read_stash(tmp_path / "s.toml").remnants
    assert Polygon(again.outline).area == pytest.approx(found[0].area, rel=1e-5)


@pytest.mark.parametrize(
    ("shape", "area"),
    [
        (box(0, 0, 300, 200), 60_000.0),
        # An L of two bars: the larger bar. 1000 × 200 against 300 × 500.
        (Polygon([(0, 0), (1000, 0), (1000, 200), (300, 200), (300, 500), (0, 500)]), 200_000.0),
        # A right triangle with legs a, b: half of it, a/2 × b/2.
        (Polygon([(0, 0), (600, 0), (0, 400)]), 600 * 400 / 4),
        # A circle of radius r: the square of side r√2, area 2 r².
        (
            Polygon([(300 * math.cos(t / 360 * math.tau), 300 * math.sin(t / 360 * math.tau)) for t in range(360)]),
            2 * 300**2,
        ),
        # A frame: beside the hole.
        (box(0, 0, 900, 600).difference(box(300, 200, 850, 590)), 300 * 600.0),
    ],
)
def test_the_largest_rectangle_is_found(shape, area):
    """Closed forms to 2 %, and never outside."""
    x0, y0, x1, y1 = largest_rectangle(shape)
    assert (x1 - x0) * (y1 - y0) == pytest.approx(area, rel=0.02)
    assert shape.buffer(1e-6).covers(box(x0, y0, x1, y1))
