"""Left and right of a garment in one turn: the default where quarter turns are allowed, elsewhere as the order says."""

from __future__ import annotations

from dataclasses import replace

import pytest

import nesting
from nesting.model.lay import Lay, placed
from nesting.model.order import Cloth, CutPiece, Garment, Order
from nesting.model.piece import Piece
from nesting.proof import prove

RING = ((-150.0, -60.0), (150.0, -60.0), (120.0, 40.0), (-150.0, 90.0))


def order(*, cut: int = 2, turn=None, tilt: float = 0.0, count: int = 3, **cloth) -> Order:
    """A leg cut left and right, on a knit that stretches alike both ways unless told otherwise."""
    leg = CutPiece(
        Piece("leg", RING, grainline=((-100.0, 0.0), (100.0, 0.0))), None, cut=cut, mirrored=True, turn=turn, tilt=tilt
    )
    knit = Cloth("main", 700.0, **{"stretch_across": 0.6, "stretch_along": 0.6, "gap": 2.0, **cloth})
    return Order("shorts", "cm", None, "", (leg,), (knit,), (Garment("shorts", None, count, ("leg",)),))


def turns_on_cloth(lay: Lay) -> dict[int, set[float]]:
    """For each copy the turns of its pieces as the cloth lies opened out, worked out from the grainlines."""
    found: dict[int, set[float]] = {}
    for section in lay.sections:
        for p in section.placements:
            for k, ply in enumerate(sorted(p.plies)):
                face = section.spread.plies[ply]
                turn = p.turn if face.face == "up" else (180.0 - p.turn if face.reversed else -p.turn)
                copies = p.copies or (p.copy,)
                found.setdefault(copies[k % len(copies)], set()).add(round(turn % 360.0, 3) % 360.0)
    return found


@pytest.mark.parametrize("spread", ["open", "lengthwise fold", "partial fold", "double fold", "crosswise fold"])
def test_left_and_right_share_a_turn_on_every_spread(spread) -> None:
    """Where quarter turns are allowed this is the default; the proof, by its own route, agrees."""
    asked = order()
    assert asked.cloths[0].pairs_same_way
    (lay,) = nesting.lay(asked, rounds=6, workers=1, spread=spread)
    assert lay.sections[0].spread.kind == spread
    assert all(len(turns) == 1 for turns in turns_on_cloth(lay).values())
    assert prove(lay, asked).ok


def test_a_crosswise_fold_cuts_pairs_one_by_one() -> None:
    """The second ply lies end for end, so that one outline through both would give one piece up and one down."""
    (lay,) = nesting.lay(order(), rounds=4, workers=1, spread="crosswise fold")
    assert all(len(p.plies) == 1 for p in lay.placements)
    (free,) = nesting.lay(order(pairs="free"), rounds=4, workers=1, spread="crosswise fold")
    assert any(len(p.plies) == 2 for p in free.placements)


def test_the_default_is_free_where_there_are_no_quarter_turns() -> None:
    """Stretch not measured, unequal, or a nap: nothing is asked unless the order asks."""
    for cloth in ({"stretch_across": None}, {"stretch_along": 0.2}, {"nap": "by garment"}):
        assert not order(**cloth).cloths[0].pairs_same_way
    assert order(stretch_across=None, pairs="same way").cloths[0].pairs_same_way
    assert not order(pairs="free").cloths[0].pairs_same_way


def test_the_proof_refuses_a_pair_that_points_two_ways() -> None:
    """One of the pair turned half round, in place of its box: refused with same way, accepted with free."""
    asked = order(count=1)
    (lay,) = nesting.lay(asked, rounds=4, workers=1, spread="open")
    first, second = lay.placements
    apart = 1000.0
    ring = asked.pieces[0].piece

    def at(p, turn, x):
        drawn = placed(ring, x, 300.0, turn, p.flipped)
        return replace(
            p, x=x, y=300.0, turn=turn, laid=replace(p.laid, outline=drawn.outline, grainline=drawn.grainline)
        )

    def with_turns(a, b):
        section = replace(lay.sections[0], placements=(at(first, a, 200.0), at(second, b, 200.0 + apart)))
        return replace(lay, sections=(section,))

    def kinds(turned: Lay, by: Order) -> set[str]:
        return {f.kind for f in prove(turned, by).failures} & {"turn"}

    assert kinds(with_turns(0.0, 0.0), asked) == set()
    for a, b in ((0.0, 180.0), (0.0, 90.0), (90.0, 270.0)):
        assert kinds(with_turns(a, b), asked) == {"turn"}
        assert kinds(with_turns(a, b), order(count=1, pairs="free")) == set()


def test_tilt_quarter_turns_and_pairs_together() -> None:
    """Each piece may tilt within its tolerance from the turn that the pair shares."""
    asked = order(tilt=2.0, count=4)
    (lay,) = nesting.lay(asked, rounds=8, workers=1, spread="open")
    assert prove(lay, asked).ok
    for turns in turns_on_cloth(lay).values():
        assert max(min(abs(a - b), 360.0 - abs(a - b)) for a in turns for b in turns) <= 4.0 + 1e-6


def test_bias_pieces_mirror_each_other() -> None:
    """A pair on the bias is left to lie at 45 and 315 degrees."""
    asked = order(turn="bias", pairs="same way")
    (lay,) = nesting.lay(asked, rounds=4, workers=1, spread="lengthwise fold")
    assert any(len(p.plies) == 2 for p in lay.placements)
    assert prove(lay, asked).ok


def test_the_lay_says_what_pairs_cost_and_what_one_way_would() -> None:
    """Said where pairs share a turn, and not where they are free; both about."""
    (lay,) = nesting.lay(order(), rounds=4, workers=1, spread="open")
    pairs = [note for note in lay.notes if "share one turn" in note]
    one_way = [note for note in lay.notes if "one way (nap" in note]
    assert len(pairs) == len(one_way) == 1 and "about" in pairs[0] and "about" in one_way[0]
    (free,) = nesting.lay(order(pairs="free"), rounds=4, workers=1, spread="open")
    assert not any("share one turn" in note for note in free.notes)


def test_what_pairs_cost_is_what_a_pair_by_itself_shows() -> None:
    """One pair of 600 × 300 triangles on 300 of width: turned half round against each other they take one rectangle and
    a bit; in one turn nearly two."""
    ring = ((-300.0, -150.0), (300.0, -150.0), (300.0, 150.0))
    leg = CutPiece(Piece("leg", ring, grainline=((-100.0, 0.0), (100.0, 0.0))), None, cut=2, mirrored=True)
    knit = Cloth("main", 320.0, stretch_across=0.6, stretch_along=0.6, pairs="same way")
    asked = Order("leg", "mm", None, "", (leg,), (knit,), (Garment("g", None, 1, ("leg",)),))
    (together,) = nesting.lay(asked, rounds=30, workers=1, spread="open")
    free = replace(asked, cloths=(replace(knit, pairs="free"),))
    (apart,) = nesting.lay(free, rounds=30, workers=1, spread="open")
    (note,) = [note for note in together.notes if "share one turn" in note]
    said = float(note.split("about ")[1].split(" cm")[0]) * 10.0
    assert said <= together.lay_length - apart.lay_length + 5.0
