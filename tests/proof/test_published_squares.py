"""The published dissections, rebuilt as lays of square bands without any waste: the proof accepts them as they are."""

from __future__ import annotations

from dataclasses import replace

import pytest

from nesting.cloth.spreads import make_spread
from nesting.model.lay import Lay, Placement, Section, placed
from nesting.model.order import Cloth, CutPiece, Garment, Order
from nesting.model.piece import Piece
from nesting.planning.layout.yardage import buy_length, garment_shares, utilisation
from nesting.proof import prove
from tests.published_squares import MORON, MORON_SIZE, SQUARED_SQUARE, SQUARED_SQUARE_SIDE, laid_out

CASES = {
    "Duijvestijn 1978": (SQUARED_SQUARE, SQUARED_SQUARE_SIDE, SQUARED_SQUARE_SIDE),
    "Moroń 1925": (MORON, *MORON_SIZE),
}


def square(side: int) -> Piece:
    """A square band, its middle at the origin."""
    h = side / 2
    return Piece(f"square {side}", ((-h, -h), (h, -h), (h, h), (-h, h)), grainline=((-h / 2, 0.0), (h / 2, 0.0)))


def order_and_lay(name: str) -> tuple[Order, Lay]:
    """The squares as pieces, the cloth as wide as the rectangle; the code's left to right runs across the cloth."""
    code, width, length = CASES[name]
    squares = laid_out(code, width)
    pieces = {side: square(side) for side, _, _ in squares}
    cloth = Cloth("main", float(width), increment=1.0, end_allowance=0.0)
    order = Order(
        title=name,
        units="mm",
        path=None,
        sha256="",
        pieces=tuple(CutPiece(piece, None, band=True) for piece in pieces.values()),
        cloths=(cloth,),
        garments=(Garment("dissection", None, 1, tuple(piece.name for piece in pieces.values())),),
    )
    placements = []
    for side, across, along in squares:
        x, y = along + side / 2, across + side / 2
        lies = placed(pieces[side], x, y, 0.0, False)
        assert lies.grainline is not None
        placements.append(
            Placement(
                piece=lies.name,
                garment="dissection",
                size=None,
                copy=1,
                x=x,
                y=y,
                turn=0.0,
                flipped=False,
                plies=(0,),
                on_fold=False,
                opened=False,
                gives=1,
                laid=lies,
            )
        )
    section = Section(make_spread("open", cloth, float(length)), float(length), tuple(placements))
    area = sum(side * side for side, _, _ in squares)
    buy = buy_length("open", cloth, float(length))
    lay = Lay(
        title=name,
        cloth="main",
        width=float(width),
        width_washed=float(width),
        usable_width=float(width),
        sections=(section,),
        lay_length=float(length),
        buy_length=buy,
        lower_bound=area / width,
        bound_reason="area",
        utilisation=utilisation((section,), float(width)),
        garments=garment_shares(placements, {("dissection", None): 1}, buy),
    )
    return order, lay


def test_codes() -> None:
    """The codes as published: all squares differ, their areas add up, their groups fit into each other."""
    for code, width, length in CASES.values():
        sides = [side for group in code for side in group]
        assert len(set(sides)) == len(sides)
        assert sum(side * side for side in sides) == width * length
        assert max(y + side for side, _, y in laid_out(code, width)) == length
    assert sum(len(group) for group in SQUARED_SQUARE) == 21
    assert sum(len(group) for group in MORON) == 9
    with pytest.raises(ValueError, match="does not fill"):
        laid_out(((50, 35, 28),), 112)


@pytest.mark.parametrize("name,bound", [("Duijvestijn 1978", 112.0), ("Moroń 1925", 32.0)])
def test_published_layout_is_accepted(name: str, bound: float) -> None:
    """Not a square millimetre is left over, nothing overlaps, and the area bound is the lay length itself."""
    order, lay = order_and_lay(name)
    verdict = prove(lay, order)
    assert verdict.failures == ()
    assert verdict.utilisation == pytest.approx(1.0, abs=1e-12)
    assert lay.lower_bound == bound == verdict.lay_length
    assert verdict.buy_length == bound


@pytest.mark.parametrize("name", sorted(CASES))
def test_any_gap_is_too_much(name: str) -> None:
    """With a gap of 0.1 mm every inner edge fails."""
    order, lay = order_and_lay(name)
    found = prove(lay, order, gap=0.1).failures
    assert {f.kind for f in found} == {"gap"}
    assert len(found) >= len(lay.placements)


@pytest.mark.parametrize("name", sorted(CASES))
@pytest.mark.parametrize("shift", [0.002, 0.01, 1.0])
def test_no_room_to_move(name: str, shift: float) -> None:
    """There is no play at all: any square moved by two thousandths of a millimetre overlaps or leaves the cloth."""
    order, lay = order_and_lay(name)
    section = lay.sections[0]
    for i, p in enumerate(section.placements):
        for dx, dy in ((shift, 0.0), (-shift, 0.0), (0.0, shift), (0.0, -shift)):
            there = tuple((x + dx, y + dy) for x, y in p.outline)
            line = tuple((x + dx, y + dy) for x, y in p.grainline)
            q = replace(p, x=p.x + dx, y=p.y + dy, laid=replace(p.laid, outline=there, grainline=line))  # type: ignore[arg-type]
            others = (*section.placements[:i], q, *section.placements[i + 1 :])
            moved = replace(lay, sections=(replace(section, placements=others),))
            assert {f.kind for f in prove(moved, order).failures} & {"overlap", "cloth"}, (p.piece, dx, dy)
