"""The cutting list: what the order says of each piece, worked out once, and what is made of it for a part."""

from __future__ import annotations

from dataclasses import replace

import pytest

from nesting.model.order import Cloth, CutPiece, Garment, Motif, Opening, Order, Seam, Together, Trim, Wearer
from nesting.model.piece import Edge, Notch
from nesting.planning.layout.options import SearchOptions
from nesting.resolving import resolve as resolving
from nesting.resolving.resolve import resolve
from nesting.session.events import LayWork
from nesting.session.working import do

from ..planning.builders import flag, rect


def lined(**more: object) -> Order:
    """Two sizes that share one pocket; the triangle's lining is cut through with it from a second cloth."""
    sized = [replace(cut, piece=replace(cut.piece, size=size)) for size in "SM" for cut in (flag("front", 300, 200),)]
    pieces = (
        *sized,
        flag("lining", 300, 200, cloth="lining"),
        rect("pocket", 80, 60, cut=2, mirrored=True),
    )
    garments = (
        Garment("top", "S", 2, ("front", "lining", "pocket")),
        Garment("top", "M", 1, ("front", "lining", "pocket")),
        Garment("bag", None, 0, ("pocket",)),
    )
    cloths = (Cloth("main", 1000.0), Cloth("lining", 1000.0))
    together = (Together("front", "lining", "to the leader"),)
    return Order("case", "mm", None, "", pieces, cloths, garments, together=together, **more)  # type: ignore[arg-type]


def test_pieces_cloths_and_hands() -> None:
    """A rectangle has no hand; a triangle is right, the lining that faces it left; sizes find their own piece."""
    small, medium, bag = resolve(lined()).garments
    assert [(e.cut.name, e.cut.size, e.cloth) for e in small.pieces] == [
        ("front", "S", "main"),
        ("lining", None, "lining"),
        ("pocket", None, "main"),
    ]
    assert [e.hands for e in small.pieces] == [("right",), ("left",), (None, None)]
    assert medium.pieces[0].cut.size == "M" and medium.pieces[2].cut is small.pieces[2].cut
    assert (bag.count, bag.label, medium.label) == (0, "bag", "top M")


def test_what_is_cut_together_knows_how_it_lies() -> None:
    """One pair for each garment that is asked for, in step with its two entries; the bag and its pocket have none."""
    listed = resolve(lined())
    assert [(p.size, p.leader.size, p.cloths, p.fits.agrees, p.handless) for p in listed.pairs] == [
        ("S", "S", ("main", "lining"), True, False),
        ("M", "M", ("main", "lining"), True, False),
    ]
    assert listed.leading() == {"lining": "main"}
    assert listed.only_followers("lining") and not listed.only_followers("main")
    alone = listed.one_by_one()
    assert alone.pairs == () and alone.garments[0].pieces[1].hands == ("left",)


def test_a_symmetric_leader_takes_a_hand_from_its_follower() -> None:
    """A square leads a triangle: it matters which way it lies, unless all is cut apart."""
    order = lined()
    square = rect("front", 300, 200)
    listed = resolve(replace(order, pieces=(square, *order.pieces[2:])))
    front = listed.garments[0].pieces[0]
    assert (front.hands, front.hands_apart) == (("right",), (None,))


def test_parts_of_the_list_keep_what_is_resolved() -> None:
    """Other counts, one cloth, other widths: the same pieces, pairs and hands, found without asking again."""
    listed = resolve(lined())
    part = listed.with_counts([0, 3, 1])
    assert part.counts == {("top", "M"): 3, ("bag", None): 1}
    assert [p.size for p in part.pairs] == ["M"]
    assert [g.label for g in listed.on_cloth("lining").garments] == ["top S", "top M"]
    assert [e.cut.name for e in listed.cut_from("main").garments[0].pieces] == ["front", "pocket"]
    wide = listed.with_cloths([replace(listed.cloth_named("main"), width=1500.0)])
    assert (wide.cloth_named("main").width, wide.cloth_named("lining").width) == (1500.0, 1000.0)
    assert wide.garments is listed.garments


def test_a_changed_piece_stays_one_piece() -> None:
    """Both sizes cut the one pocket, also after every piece is changed: the search tells pieces apart by that."""
    turned = resolve(lined()).changed(lambda cut: replace(cut, turn="one way"))
    small, medium = turned.garments[:2]
    assert small.pieces[2].cut is medium.pieces[2].cut and small.pieces[2].cut.turn == "one way"
    assert small.pieces[0].leads[0].leader is small.pieces[0].cut


def test_each_pair_is_looked_into_once_in_a_whole_lay(monkeypatch: pytest.MonkeyPatch) -> None:
    """Planning receives the list: two sizes are two pairs, and no more is asked while both cloths are laid."""
    asked = []
    real = resolving.agreement
    monkeypatch.setattr(resolving, "agreement", lambda *pair: asked.append(pair) or real(*pair))
    monkeypatch.setattr(Order, "cut_piece", _counted(Order.cut_piece, counted := []))
    order = lined()
    listed = resolve(order)
    before = len(counted)
    from nesting.planning.layout.solve import lay_order

    lays = lay_order(listed, SearchOptions(seconds=None, rounds=1, workers=1))
    assert len(lays) == 2 and len(asked) == 2 and len(counted) == before
    # the proof does go back to the order
    do(order, listed, SearchOptions(seconds=None, rounds=1, workers=1), LayWork(), lambda _: None)
    assert len(counted) > before and len(asked) == 2


def _counted(real, calls):
    def wrapped(*args):
        calls.append(args)
        return real(*args)

    return wrapped


def edged(name: str) -> CutPiece:
    """A rectangle of 300 by 200 mm whose long side below is called ``side``, with a notch in its middle."""
    cut = rect(name, 300, 200)
    piece = replace(
        cut.piece, edges=(Edge("side", (-150.0, -100.0), (150.0, -100.0)),), notches=(Notch((0.0, -100.0), 90.0),)
    )
    return replace(cut, piece=piece)


def test_seams_that_match_know_their_points_or_the_edge_without_a_notch() -> None:
    """The notch of each edge; where one has none, that edge by name and no points, for who needs them to refuse."""
    pieces = (edged("front"), edged("back"))
    order = Order(
        "case",
        "mm",
        None,
        "",
        pieces,
        (Cloth("main", 1000.0),),
        (Garment("g", None, 1, ("front", "back")),),
        seams=(Seam(("front.side", "back.side"), match=True), Seam(("front.side", "back.side"))),
    )
    (seam,) = resolve(order).matched
    assert [(p.piece, p.point, p.phase) for p in seam.points] == [
        ("front", (0.0, -100.0), "seam 1"),
        ("back", (0.0, -100.0), "seam 1"),
    ]
    bare = replace(pieces[1], piece=replace(pieces[1].piece, notches=()))
    (seam,) = resolve(replace(order, pieces=(pieces[0], bare))).matched
    assert (seam.points, seam.bare) == ((), "back.side")
    (moved,) = resolve(order).changed(lambda cut: replace(cut, motif=Motif((0.0, 0.0)))).matched
    assert all(p.cut.motif is not None for p in moved.points)


def test_what_an_opening_takes() -> None:
    """Two stretches of 300 mm round one opening; by the edge half of it, by the wearer 0.9 of her waist."""
    trims = (
        Trim("waist", "elastic", ("front.side", "back.side"), 0.5, True, measure="waist", factor=0.9, openings=1),
    )
    order = Order(
        "case",
        "mm",
        None,
        "",
        (edged("front"), edged("back")),
        (Cloth("main", 1000.0, stretch_across=0.4),),
        (Garment("g", "Ada", 1, ("front", "back"), wearer="Ada"), Garment("g", None, 1, ("front", "back"))),
        trims=trims,
        wearers=(Wearer("Ada", (("waist", 700.0), ("hip", 900.0))),),
        openings=(Opening("top", ("front.side",), sits="waist", passes="hip"), Opening("none", ("sleeve.side",))),
    )
    ada, anyone = resolve(order).garments
    assert ada.trims[0] is not None and anyone.trims[0] is not None
    assert (ada.trims[0].number, ada.trims[0].length, ada.trims[0].takes) == (1, 600.0, 630.0)
    assert (anyone.trims[0].takes, anyone.trims[0].measured, ada.trims[0].measured) == (300.0, False, True)
    top, none = ada.openings
    assert top is not None and none is None
    assert (top.length, top.takes, top.gives, top.sits, top.passes) == (300.0, None, 0.4, 700.0, 900.0)
