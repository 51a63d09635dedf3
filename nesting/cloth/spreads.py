"""Spreads: which plies lie where, which way they face, and where the folds are.

y runs from one selvage (or one fold edge) at y = 0. Regions leave out the selvage margin wherever a selvage lies on
the table; a fold edge loses nothing. Widths are those of the washed cloth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import get_args

from nesting.model.findings import Reason
from nesting.model.lay import FoldLine, PlyRegion, Spread
from nesting.model.order import Cloth, Remnant, SpreadName
from nesting.model.piece import Ring

__all__ = ["ALL_SPREADS", "Refusal", "cloth_of_remnant", "make_spread", "sides_words", "sound_spreads"]

ALL_SPREADS: tuple[SpreadName, ...] = get_args(SpreadName)


@dataclass(frozen=True)
class Refusal:
    """A spread that may not be used, and why."""

    kind: SpreadName
    reason: Reason


def cloth_of_remnant(cloth: Cloth, remnant: Remnant) -> Cloth:
    """The cloth as that leftover: its own width and length, no selvage, washed already."""
    ys = [p[1] for p in remnant.outline]
    xs = [p[0] for p in remnant.outline]
    return replace(
        cloth,
        width=max(ys) - min(ys),
        length=max(xs) - min(xs),
        selvage=0.0,
        shrink_along=0.0,
        shrink_across=0.0,
        end_allowance=0.0,
        plies=1,
        tubular=False,
    )


def sound_spreads(
    cloth: Cloth, remnant: Remnant | None = None, asked: SpreadName | None = None
) -> tuple[tuple[SpreadName, ...], tuple[Refusal, ...]]:
    """The spreads that may be tried on this cloth, and those refused with the reason.

    Without a list in the order and without ``asked``: every sound one. A tubular knit lies as a tube only, and
    ``plies`` above 1 asks for stacked cloth.
    """
    if asked is not None:
        candidates: tuple[SpreadName, ...] = (asked,)
    elif cloth.spreads is not None:
        candidates = cloth.spreads
    elif cloth.tubular:
        candidates = ("tubular",)
    elif cloth.plies > 1:
        candidates = ("stacked face up", "stacked face to face")
    else:
        candidates = ("open", "lengthwise fold", "partial fold", "double fold", "crosswise fold", "sections")
    sound: list[SpreadName] = []
    refused: list[Refusal] = []
    for kind in candidates:
        reason = _why_not(kind, cloth, remnant)
        if reason is None:
            sound.append(kind)
        else:
            refused.append(Refusal(kind, reason))
    return tuple(sound), tuple(refused)


def _why_not(kind: SpreadName, cloth: Cloth, remnant: Remnant | None) -> Reason | None:
    stacked = kind in ("stacked face up", "stacked face to face")
    if remnant is not None:
        if stacked or kind in ("tubular", "sections"):
            return Reason("a leftover lies open or folded, not stacked or in sections", code="spread.leftover")
        if kind != "open" and not remnant.rectangular:
            return Reason("only a rectangular leftover without flaws can be folded", code="spread.leftover-fold")
    if cloth.tubular and kind != "tubular":
        why = "the cloth is a tube: it lies flat as knitted, with a fold at either side"
        return Reason(why, code="spread.tube")
    if not cloth.tubular and kind == "tubular":
        return Reason("the cloth is not a tube (tubular = true would say so)", code="spread.no-tube")
    if stacked and cloth.plies < 2:
        why = "stacking needs plies = 2 or more in the order"
        return Reason(why, code="spread.one-ply", figures={"plies": cloth.plies})
    if stacked and cloth.max_plies is not None and cloth.plies > cloth.max_plies:
        why = f"{cloth.plies} plies asked for, but max_plies is {cloth.max_plies}"
        return Reason(why, code="spread.max-plies", figures={"plies": cloth.plies, "max_plies": cloth.max_plies})
    if kind != "open" and cloth.max_plies == 1:
        what = "sections have folds" if kind == "sections" else "two plies lie on one another"
        return Reason(f"{what}, and max_plies is 1", code="spread.max-plies", figures={"plies": 2, "max_plies": 1})
    if kind == "crosswise fold" and cloth.nap != "none":
        why = "on a crosswise fold the nap of the upper ply would run the other way"
        return Reason(why, code="spread.nap", figures={"nap": cloth.nap})
    if kind == "stacked face to face":
        if cloth.plies % 2:
            why = f"face to face needs an even number of plies, the order has {cloth.plies}"
            return Reason(why, code="spread.odd-plies", figures={"plies": cloth.plies})
        if cloth.nap != "none" and not cloth.may_turn_plies:
            why = (
                "with nap every second ply would have to be cut off and turned; "
                "may_turn_plies = true in the order allows it"
            )
            return Reason(why, code="spread.turned-plies", figures={"nap": cloth.nap})
    return None


def _box(length: float, low: float, high: float) -> Ring:
    return ((0.0, low), (length, low), (length, high), (0.0, high))


def make_spread(
    kind: SpreadName,
    cloth: Cloth,
    length: float,
    depths: tuple[float, ...] = (),
    remnant: Remnant | None = None,
    *,
    turned: bool = False,
) -> Spread:
    """The spread of ``kind`` on this cloth for a lay of ``length`` mm.

    ``depths``: one flap depth for a partial fold, two for a double fold (mm). A leftover that lies open keeps its own
    outline and flaws. ``turned``: the lowest ply lies right side down, and so every ply the other way up (a fold then
    has the wrong sides together). ValueError for depths that the cloth does not have.
    """
    spread = _right_side_up(kind, cloth, length, depths, remnant)
    if not turned:
        return spread
    plies = (replace(ply, face="down" if ply.face == "up" else "up") for ply in spread.plies)
    return replace(spread, plies=tuple(plies))


def sides_words(spread: Spread) -> str:
    """Which sides of the cloth lie up or together, as "right side up" or "folded right sides together"."""
    turned = spread.plies[0].face == "down"
    if spread.kind == "open":
        return f"right side {'down' if turned else 'up'}"
    if spread.kind == "tubular":
        return f"right side {'outside' if turned else 'inside'}"
    if spread.kind == "stacked face up":
        return f"all right side {'down' if turned else 'up'}"
    together = f"{'wrong' if turned else 'right'} sides together"
    if spread.kind == "stacked face to face":
        return f"{together} in pairs (the lowest right side {'down' if turned else 'up'})"
    return f"folded {together}"


def _right_side_up(
    kind: SpreadName, cloth: Cloth, length: float, depths: tuple[float, ...], remnant: Remnant | None
) -> Spread:
    width, margin = cloth.width_washed, cloth.selvage
    plies: tuple[PlyRegion, ...]
    if kind == "open":
        if remnant is not None:
            region = PlyRegion(0, "up", remnant.outline, remnant.flaws)
        else:
            region = PlyRegion(0, "up", _box(length, margin, width - margin))
        return Spread(kind, width, length, (region,))
    if kind == "lengthwise fold":
        half = width / 2
        region0 = _box(length, 0.0, half - margin)
        plies = (PlyRegion(0, "up", region0), PlyRegion(1, "down", region0))
        return Spread(kind, half, length, plies, (FoldLine("x", 0.0, (0, 1)),))
    if kind == "partial fold":
        (depth,) = depths
        if not margin < depth <= width / 2:
            raise ValueError(f"a flap of {depth} mm is not possible on {width} mm of cloth")
        table = width - depth
        plies = (
            PlyRegion(0, "up", _box(length, 0.0, table - margin)),
            PlyRegion(1, "down", _box(length, 0.0, depth - margin)),
        )
        return Spread(kind, table, length, plies, (FoldLine("x", 0.0, (0, 1)),), depths)
    if kind == "double fold":
        first, second = depths
        if min(depths) <= margin or first + second > width / 2 + 1e-9:
            raise ValueError(f"flaps of {first} and {second} mm are not possible on {width} mm of cloth")
        table = width - first - second
        plies = (
            PlyRegion(0, "up", _box(length, 0.0, table)),
            PlyRegion(1, "down", _box(length, 0.0, first - margin)),
            PlyRegion(2, "down", _box(length, table - second + margin, table)),
        )
        folds = (FoldLine("x", 0.0, (0, 1)), FoldLine("x", table, (0, 2)))
        return Spread(kind, table, length, plies, folds, depths)
    if kind == "crosswise fold":
        region1 = _box(length, margin, width - margin)
        plies = (PlyRegion(0, "up", region1), PlyRegion(1, "down", region1, reversed=True))
        return Spread(kind, width, length, plies, (FoldLine("y", length, (0, 1)),), layers=2)
    if kind in ("stacked face up", "stacked face to face"):
        region2 = _box(length, margin, width - margin)
        both = kind == "stacked face to face"
        plies = tuple(PlyRegion(i, "down" if both and i % 2 else "up", region2) for i in range(cloth.plies))
        return Spread(kind, width, length, plies, layers=cloth.plies)
    if kind == "tubular":
        region3 = _box(length, 0.0, width)
        plies = (PlyRegion(0, "up", region3), PlyRegion(1, "down", region3))
        folds = (FoldLine("x", 0.0, (0, 1)), FoldLine("x", width, (0, 1)))
        return Spread(kind, width, length, plies, folds, layers=2)
    raise ValueError(f"'{kind}' is not one spread")
