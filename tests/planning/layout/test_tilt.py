"""A grain tolerance on every spread: pieces lie tilted where that is shorter, never on a fold, and all that travels
with them is tilted with them."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from shapely import LinearRing, Polygon
from shapely.affinity import rotate, scale, translate

from nesting.model.lay import Lay, Placement
from nesting.model.order import CutPiece, Order
from nesting.model.piece import Notch
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.solve import lay_cloth
from nesting.proof import prove
from nesting.resolving.resolve import resolve
from tests.planning.builders import half, order_of, rect

TILT = 1.5


def askew(name: str, along: float, across: float, **how: Any) -> CutPiece:
    """A rectangle drawn ``TILT`` off its grain: tilted back by that it is shorter, ``along`` and no more."""
    cut = rect(name, along, across, tilt=TILT, **how)
    c, s = math.cos(math.radians(TILT)), math.sin(math.radians(TILT))
    outline = tuple((c * x - s * y, s * x + c * y) for x, y in cut.piece.outline)
    return replace(cut, piece=replace(cut.piece, outline=outline, notches=(Notch(outline[0], 45.0 + TILT),)))


def mixed(**cloth: Any) -> Order:
    """A pair and a single drawn askew, and a half on the fold that has a grain tolerance, too."""
    brief = half("brief", 280, 150, tilt=TILT)
    return order_of(askew("leg", 400, 240, cut=2, mirrored=True), askew("tab", 380, 200), brief, count=2, **cloth)


def tilted(p: Placement) -> float:
    """Degrees off the nearest half turn."""
    return (p.turn + 90.0) % 180.0 - 90.0


def drawn(lay: Lay, order: Order) -> None:
    """Outline and notch of every piece are where shapely's own motions put them."""
    for p in lay.placements:
        piece = order.cut_piece(p.piece, p.size).piece
        if p.opened or p.on_fold:
            continue
        shape: Any = scale(Polygon(piece.outline), 1.0, -1.0 if p.flipped else 1.0, origin=(0, 0))
        shape = translate(rotate(shape, p.turn, origin=(0, 0)), p.x, p.y)
        assert LinearRing(p.outline).hausdorff_distance(shape.exterior) < 1e-6
        assert math.dist(p.notches[0].at, shape.exterior.coords[0]) < 1e-6
        away = -1.0 if p.flipped else 1.0
        assert (p.notches[0].direction - p.turn - away * (45.0 + TILT)) % 360.0 == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("kind", "cloth"),
    [
        ("open", {}),
        ("lengthwise fold", {}),
        ("partial fold", {}),
        ("double fold", {}),
        ("crosswise fold", {}),
        ("stacked face up", {"plies": 2}),
        ("stacked face to face", {"plies": 2}),
        ("tubular", {"tubular": True, "width": 500.0}),
        ("sections", {}),
    ],
)
def test_tilted_within_the_tolerance(kind: Any, cloth: dict[str, Any]) -> None:
    """Proved, tilted where it helps, no more than allowed, and not at all on a fold of the cloth."""
    order = mixed(**{"width": 1000.0, **cloth})
    lay = lay_cloth(resolve(order), "main", SearchOptions(seconds=None, rounds=6, seed=0, workers=1), spread=kind)
    verdict = prove(lay, order)
    assert verdict.ok, [str(f) for f in verdict.failures]
    off = [tilted(p) for p in lay.placements if p.piece != "brief"]
    assert max(map(abs, off)) == pytest.approx(TILT)
    assert all(tilted(p) == 0.0 for p in lay.placements if p.on_fold)
    drawn(lay, order)


def test_without_the_tolerance_nothing_is_tilted() -> None:
    """The same pieces with no grain tolerance lie straight, and take more cloth."""
    order = mixed()
    strict = replace(order, pieces=tuple(replace(cut, tilt=0.0) for cut in order.pieces))
    options = SearchOptions(seconds=None, rounds=6, seed=0, workers=1)
    straight = lay_cloth(resolve(strict), "main", options, spread="lengthwise fold")
    assert all(tilted(p) == 0.0 for p in straight.placements)
    loose = lay_cloth(resolve(order), "main", options, spread="lengthwise fold")
    assert loose.lay_length < straight.lay_length
    assert {f.kind for f in prove(loose, strict).failures} == {"turn"}


@pytest.mark.parametrize("gap", [0.0, 3.0])
@pytest.mark.parametrize("kind", ["lengthwise fold", "crosswise fold"])
def test_one_pair_is_tilted_to_its_least_length(kind: Any, gap: float) -> None:
    """Drawn askew, a leg is 406 mm long as it is and 400 tilted; half a gap before a crosswise fold is left free."""
    order = order_of(askew("leg", 400, 240, cut=2, mirrored=True), gap=gap)
    lay = lay_cloth(resolve(order), "main", SearchOptions(seconds=None, rounds=6, seed=0, workers=1), spread=kind)
    assert prove(lay, order).ok
    assert lay.lay_length == pytest.approx(400.0 + (gap / 2 if kind == "crosswise fold" else 0.0), abs=0.2)
