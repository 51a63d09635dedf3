"""Trims by closed forms: circles, straight edges, folds opened, pairs, centre seams, rounding."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nesting.model.errors import OrderError
from nesting.model.order import Garment, Seam, Trim
from nesting.model.piece import Edge
from nesting.planning.buying.trims import trim_needs
from nesting.resolving.openings import arc_length
from nesting.resolving.resolve import resolve
from tests.planning.area_lays import order_of, rectangle, shape

SQUARE = ((0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (0.0, 50.0))


def trim(edges, ratio=1.0, stated=True, **how):
    """A trim along these edges."""
    return Trim("opening", "elastic", tuple(edges), ratio, stated, **how)


def circle(radius, points=3600):
    """A circle as a ring; its perimeter differs from 2πr by less than a millionth."""
    return tuple(
        (radius * math.cos(i / points * math.tau), radius * math.sin(i / points * math.tau)) for i in range(points)
    )


def test_a_stretch_of_a_ring_is_measured_in_its_own_sense():
    """Anticlockwise from start to end; the other way round is the rest; equal ends give all of it."""
    assert arc_length(SQUARE, (50.0, 0.0), (100.0, 50.0)) == pytest.approx(100.0)
    assert arc_length(SQUARE, (100.0, 50.0), (50.0, 0.0)) == pytest.approx(200.0)
    assert arc_length(SQUARE, (0.0, 0.0), (0.0, 0.0)) == pytest.approx(300.0)


def test_an_arc_is_its_radius_times_its_angle():
    """A third of a circle of radius 120 mm: 2πr/3 (closed form)."""
    start, end = (120.0, 0.0), (120.0 * math.cos(math.tau / 3), 120.0 * math.sin(math.tau / 3))
    assert arc_length(circle(120.0), start, end) == pytest.approx(120.0 * math.tau / 3, rel=1e-6)


@given(st.floats(0.0, 300.0), st.floats(0.0, 300.0))
def test_both_ways_round_make_the_whole(a, b):
    """Start to end and end to start add up to the perimeter."""

    def at(s):
        s %= 300.0
        for (x0, y0), (x1, y1) in zip(SQUARE, (*SQUARE[1:], SQUARE[0]), strict=True):
            side = math.dist((x0, y0), (x1, y1))
            if s <= side:
                return (x0 + (x1 - x0) * s / side, y0 + (y1 - y0) * s / side)
            s -= side
        return SQUARE[0]

    there, back = arc_length(SQUARE, at(a), at(b)), arc_length(SQUARE, at(b), at(a))
    if abs((a - b) % 300.0) > 1e-6 and abs((b - a) % 300.0) > 1e-6:
        assert there + back == pytest.approx(300.0, abs=1e-6)
        assert there == pytest.approx((b - a) % 300.0, abs=1e-5)


HALF = ((0.0, 0.0), (200.0, 0.0), (200.0, 150.0), (0.0, 150.0))
#: The fold runs along y = 0; the waist is the side x = 200 (it ends on the fold), the leg the side y = 150.
FOLD = ((0.0, 0.0), (200.0, 0.0))
EDGES = (Edge("waist", (200.0, 0.0), (200.0, 150.0)), Edge("leg", (200.0, 150.0), (0.0, 150.0)))


def test_a_fold_is_opened():
    """The waist ends on the fold: one stretch of 2 · 150. The leg does not: two openings of 200 each."""
    half = shape("front", HALF, edges=EDGES, fold=FOLD)
    order = order_of(
        [half], [Garment("briefs", None, 3, ("front",))], trims=(trim(["front.waist"]), trim(["front.leg"]))
    )
    waist, leg = trim_needs(resolve(order))
    assert (waist.openings[0].openings, waist.openings[0].edge_length) == (1, 300.0)
    assert (leg.openings[0].openings, leg.openings[0].edge_length) == (2, 200.0)
    assert waist.total == pytest.approx(3 * 300.0) and leg.total == pytest.approx(3 * 2 * 200.0)


def test_front_and_back_share_their_openings():
    """Front and back on the fold: a leg opening takes a leg of each; the waist all round is one."""
    pieces = [shape(name, HALF, edges=EDGES, fold=FOLD) for name in ("front", "back")]
    order = order_of(
        pieces,
        [Garment("briefs", None, 1, ("front", "back"))],
        trims=(trim(["front.waist", "back.waist"]), trim(["front.leg", "back.leg"])),
    )
    waist, leg = trim_needs(resolve(order))
    assert (waist.openings[0].openings, waist.openings[0].edge_length) == (1, 600.0)
    assert (leg.openings[0].openings, leg.openings[0].edge_length) == (2, 400.0)


def test_the_seam_outline_is_measured_where_there_is_one():
    """A cut outline 10 mm outside a circle of radius 60: the trim goes round the seam, 2π · 60."""
    ring = circle(60.0)
    edge = Edge("leg", ring[0], ring[0])
    piece = shape("panel", circle(70.0), edges=(edge,), seam=ring)
    order = order_of([piece], [Garment("g", None, 1, ("panel",))], trims=(trim(["panel.leg"]),))
    assert trim_needs(resolve(order))[0].total == pytest.approx(math.tau * 60.0, rel=1e-6)


def test_ratio_joins_and_rounding():
    """Worked by hand: 2 legs of 400 mm at 0.85 with a join of 10 mm are 350 each; 3 garments 2,100; by 250 mm 2,250."""
    half = shape("front", HALF, edges=(Edge("leg", (200.0, 150.0), (0.0, 150.0)),), fold=FOLD)
    both = trim(["front.leg", "back.leg"], 0.85, False, join=10.0, increment=250.0, price=2.0)
    back = shape("back", HALF, edges=half.piece.edges, fold=FOLD)
    order = order_of([half, back], [Garment("briefs", None, 3, ("front", "back"))], trims=(both,))
    (need,) = trim_needs(resolve(order))
    assert need.openings[0].trim_length == pytest.approx(350.0)
    assert need.total == pytest.approx(2100.0)
    assert need.length == 2250.0
    assert need.cost == pytest.approx(4.50)
    assert need.practice
    document = need.as_dict()
    assert (document["kind"], document["opening"], document["length"]) == ("elastic", "opening", 2250.0)
    assert document["ratio_is_practice"] is True


PANEL = ((0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0))
PANEL_EDGES = (
    Edge("side", (0.0, 0.0), (300.0, 0.0)),
    Edge("waist", (300.0, 0.0), (300.0, 200.0)),
    Edge("centre", (300.0, 200.0), (100.0, 200.0)),
    Edge("inseam", (100.0, 200.0), (0.0, 200.0)),
    Edge("hem", (0.0, 200.0), (0.0, 0.0)),
)


def shorts(*seams, **how):
    """Front and back as mirrored pairs, sewn at side and inseam."""
    pieces = [shape(name, PANEL, edges=PANEL_EDGES, cut=2, mirrored=True) for name in ("front", "back")]
    trims = tuple(trim([f"front.{e}", f"back.{e}"], join=10.0, **how) for e in ("waist", "hem"))
    known = (Seam(("front.side", "back.side")), Seam(("front.inseam", "back.inseam")), *seams)
    return order_of(pieces, [Garment("shorts", None, 1, ("front", "back"))], trims=trims, seams=known)


CENTRES = tuple(Seam((f"{name}.centre", f"{name}.centre")) for name in ("front", "back"))


@pytest.mark.parametrize("said", [(), CENTRES])
def test_a_centre_seam_makes_one_waist_of_two_halves(said):
    """Said in the order, or seen from an edge that is sewn to nothing else: one waist of 800 mm, two hems of 400 mm."""
    waist, hem = trim_needs(resolve(shorts(*said)))
    assert (waist.openings[0].openings, waist.openings[0].edge_length) == (1, 800.0)
    assert (hem.openings[0].openings, hem.openings[0].edge_length) == (2, 400.0)
    assert waist.total == pytest.approx(810.0) and hem.total == pytest.approx(820.0)


def test_the_order_may_say_how_many_openings_there_are():
    """Stated openings are taken as they are."""
    waist, hem = trim_needs(resolve(shorts(openings=2)))
    assert waist.openings[0].openings == hem.openings[0].openings == 2


def test_garments_without_the_piece_take_none():
    """Two sizes; a garment that has no such piece is left out of the sum."""
    pieces = [shape("front", SQUARE, size=s, edges=(Edge("top", (0.0, 0.0), (100.0, 0.0)),)) for s in ("S", "M")] + [
        rectangle("bag", 10.0, 10.0)
    ]
    garments = [Garment("g", "S", 1, ("front",)), Garment("g", "M", 2, ("front",)), Garment("bag", None, 5, ("bag",))]
    (need,) = trim_needs(resolve(order_of(pieces, garments, trims=(trim(["front.top"]),))))
    assert [(o.size, o.count) for o in need.openings] == [("S", 1), ("M", 2)]
    assert need.total == pytest.approx(300.0)


def test_unknown_edges_and_pieces_are_named():
    """The message lists the edges there are, or says that there is no such piece, before anything is searched for."""
    piece = shape("front", SQUARE, edges=(Edge("top", (0.0, 0.0), (100.0, 0.0)),))
    garments = [Garment("g", None, 1, ("front",))]
    with pytest.raises(OrderError, match=r"edge 'tpo', but the piece's named edges are: top"):
        trim_needs(resolve(order_of([piece], garments, trims=(trim(["front.tpo"]),))))
    with pytest.raises(OrderError, match=r"along 'frnt\.top', but there is no piece 'frnt'"):
        resolve(order_of([piece], garments, trims=(trim(["frnt.top"]),)))


@given(
    st.floats(1.0, 3000.0),
    st.sampled_from([0.0, 1.0, 10.0, 100.0, 250.0, 914.4 / 8, 914.4 / 4, 25.4]),
    st.integers(1, 40),
    st.floats(0.3, 1.2),
)
def test_trim_is_never_rounded_down(length, increment, count, ratio):
    """What is bought is at least what is needed and less than one increment more; metres and eighths of a yard."""
    piece = shape("p", ((0.0, 0.0), (length, 0.0), (length, 5.0)), edges=(Edge("e", (0.0, 0.0), (length, 0.0)),))
    order = order_of([piece], [Garment("g", None, count, ("p",))], trims=(trim(["p.e"], ratio, increment=increment),))
    (need,) = trim_needs(resolve(order))
    assert need.total == pytest.approx(count * ratio * length, rel=1e-9)
    assert need.total <= need.length < need.total + (increment or 1e-9)
