"""From a searched lay over the printed sheet back to a lay that the proof accepts: laying by hand, end to end."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from nesting.cloth.spreads import make_spread
from nesting.files.orders.order import load_order
from nesting.model.lay import Lay, Placement, mirrored_over_fold, placed
from nesting.model.order import Order, SpreadName
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.solve import lay_cloth
from nesting.planning.layout.yardage import buy_length, garment_shares, utilisation
from nesting.proof import prove
from nesting.report.sheet.byruler import Rebuilt, rebuild
from nesting.report.sheet.sheet import sheet
from nesting.resolving.resolve import resolve

DEMO = Path(__file__).parents[3] / "fixtures" / "demo"


def _order(gap: float, selvage: float) -> Order:
    order = load_order(DEMO / "briefs-six.toml")
    return replace(order, cloths=(replace(order.cloth_named("main"), gap=gap, selvage=selvage),))


def _by_ruler(lay: Lay, order: Order, rebuilt: tuple[Rebuilt, ...], inwards: float) -> Lay:
    """The lay with every piece where the ruler put it, its figures worked out anew.

    All is moved ``inwards`` from the cut end, so that no piece lies before x = 0 by rounding.
    """
    cloth = order.cloth_named(lay.cloth)
    (section,) = lay.sections
    moved: dict[int, Placement] = {}
    for r in rebuilt:
        p = section.placements[r.row.index]
        piece = order.cut_piece(r.row.piece, r.row.size).piece
        half = mirrored_over_fold(piece) if r.row.opened else piece
        q = placed(half, r.x + inwards, r.y, r.turn, r.row.flipped)
        assert q.grainline is not None
        moved[r.row.index] = replace(p, x=r.x + inwards, y=r.y, turn=r.turn, laid=q)  # fmt: skip
    placements = tuple(moved[i] for i in sorted(moved))
    length = max(x for p in placements for x, _ in p.outline)
    spread = make_spread(section.spread.kind, cloth, length, section.spread.depths)
    sections = (replace(section, spread=spread, lay_length=length, placements=placements),)
    buy = buy_length(section.spread.kind, cloth, length)
    counts = {(g.name, g.size): g.count for g in order.garments}
    return replace(
        lay,
        usable_width=cloth.usable_width,
        sections=sections,
        lay_length=length,
        buy_length=buy,
        lower_bound=min(lay.lower_bound, length),
        utilisation=utilisation(sections, cloth.width_washed),
        garments=garment_shares(placements, counts, buy),
        gap=cloth.gap,
        selvage=cloth.selvage,
    )


@pytest.mark.parametrize("spread", ["open", "lengthwise fold", "partial fold"])
def test_proof_accepts_what_the_ruler_rebuilds(spread: SpreadName) -> None:
    """Gap 4 mm, twice the rounding of two neighbours and more: rebuilt from the sheet, no piece is off by more than
    1 mm and the lay is proved with the gap, and the selvage margin, less by what the ruler may be off."""
    order = _order(gap=4.0, selvage=10.0)
    lay = lay_cloth(resolve(order), "main", SearchOptions(seconds=None, rounds=1), spread=spread)
    assert prove(lay, order).ok
    pieces = {(c.name, c.size): c.piece for c in order.pieces}
    rebuilt = rebuild(sheet(lay), pieces)
    for r in rebuilt:
        p = lay.placements[r.row.index]
        assert math.hypot(r.x - p.x, r.y - p.y) <= 1.0 and math.isclose(r.turn, p.turn % 360.0, abs_tol=0.01)
    looser = _order(gap=2.0, selvage=9.0)
    verdict = prove(_by_ruler(lay, looser, rebuilt, inwards=1.0), looser)
    assert [str(f) for f in verdict.failures] == []
