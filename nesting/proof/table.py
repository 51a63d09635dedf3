"""The cloth on the table, recomputed: which plies a spread has, where each may be covered, and where it lies on the
cloth when that is opened out again.

The opened-out cloth is seen with its right side up: x from the cut end, y from a selvage at 0 to the washed width. Each
ply is a part of one *sheet* (stacked plies are sheets of their own) and has a motion from the table to that sheet; it
mirrors where the ply lies face down, as one then sees its other side.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry

from nesting.model.lay import PlyRegion, Section
from nesting.model.order import Cloth, Remnant, SpreadName
from nesting.proof.motion import IDENTITY, Motion

__all__ = ["Fold", "Ply", "SpreadError", "Table", "cloth_facts", "table_of"]

#: mm. Slack of stated depths against their limits.
SLACK = 1e-6
#: mm. Longer than any lay.
FAR = 1e7


class SpreadError(Exception):
    """The stated spread cannot be made with this cloth; the message says why."""


@dataclass(frozen=True)
class Fold:
    """The line y = ``at`` (``along`` "x") or x = ``at`` (``along`` "y") joins two plies."""

    along: str
    at: float
    plies: frozenset[int]


@dataclass(frozen=True, eq=False)
class Ply:
    """``cover``: where pieces may lie; ``whole``: all of the ply, selvages included; both on the table, mm."""

    number: int
    face: str
    reversed: bool
    cover: BaseGeometry
    whole: Polygon
    sheet: int
    to_cloth: Motion


@dataclass(frozen=True, eq=False)
class Table:
    """``layers``: full widths of cloth on one another; ``round_trip``: y after which the opened-out cloth begins
    again (a tube), 0 where it does not."""

    kind: SpreadName
    width: float
    length: float
    plies: tuple[Ply, ...]
    folds: tuple[Fold, ...] = ()
    layers: int = 1
    round_trip: float = 0.0

    def ply(self, number: int) -> Ply:
        """The ply of that number. KeyError if there is none."""
        for ply in self.plies:
            if ply.number == number:
                return ply
        raise KeyError(number)

    def buy_factor(self) -> tuple[int, int]:
        """(a, b): length of washed cloth needed = a · lay length + b · 2 · end allowance."""
        if self.kind == "crosswise fold":
            return 2, 1
        if self.kind in ("stacked face up", "stacked face to face"):
            return self.layers, self.layers
        return 1, 1


@dataclass(frozen=True)
class ClothFacts:
    """Washed width, selvage and shrinkage of a cloth or leftover; ``outline`` for a leftover, with its flaws."""

    width: float
    selvage: float
    shrink_along: float
    end_allowance: float
    length: float | None
    outline: BaseGeometry | None = None
    rectangular: bool = True


def cloth_facts(cloth: Cloth, remnant: Remnant | None) -> ClothFacts:
    """The facts the plies follow from. A leftover is washed already, has no selvage and needs no end allowance."""
    if remnant is None:
        return ClothFacts(
            width=cloth.width * (1.0 - cloth.shrink_across),
            selvage=0.0 if cloth.tubular else cloth.selvage,
            shrink_along=cloth.shrink_along,
            end_allowance=cloth.end_allowance,
            length=cloth.length,
        )
    outline: BaseGeometry = Polygon(remnant.outline)
    for flaw in remnant.flaws:
        outline = outline.difference(Polygon(flaw))
    x0, y0, x1, y1 = Polygon(remnant.outline).bounds
    return ClothFacts(
        width=y1 - y0,
        selvage=0.0,
        shrink_along=0.0,
        end_allowance=0.0,
        length=x1 - x0,
        outline=outline,
        rectangular=abs(outline.area - (x1 - x0) * (y1 - y0)) < 1e-6 * outline.area,
    )


def table_of(cloth: Cloth, remnant: Remnant | None, section: Section, *, turned: bool = False) -> Table:
    """The plies of a section from the cloth, the kind of spread and the stated flap depths or number of plies.

    ``turned``: the whole of it lies the other way up, as a cloth does that faces another one under it. Raises
    SpreadError where the cloth cannot lie like that.
    """
    table = _right_side_up(cloth, remnant, section)
    return _turned_over(table, cloth_facts(cloth, remnant).width) if turned else table


def _turned_over(table: Table, width: float) -> Table:
    """The same plies of a cloth that was turned over before it was spread: what was seen of it from above is now its
    other side, so that its right side shows it mirrored."""
    other_side = Motion(1, 0, 0, -1, 0, table.round_trip or width)
    plies = tuple(
        replace(ply, face="up" if ply.face == "down" else "down", to_cloth=other_side.after(ply.to_cloth))
        for ply in table.plies
    )
    return replace(table, plies=plies)


# long: one case for each spread
def _right_side_up(cloth: Cloth, remnant: Remnant | None, section: Section) -> Table:
    """The table of a spread whose lowest ply lies right side up."""
    facts = cloth_facts(cloth, remnant)
    kind, stated = section.spread.kind, section.spread
    width, margin, length = facts.width, facts.selvage, section.lay_length
    _refuse(kind, cloth, facts)

    def ply(
        number: int,
        low: float,
        high: float,
        to_cloth: Motion,
        *,
        edges: tuple[float, float] = (0.0, 0.0),
        sheet: int = 0,
        reverse: bool = False,
    ) -> Ply:
        cover: BaseGeometry = box(0.0, low + edges[0], length, max(high - edges[1], low + edges[0]))
        if remnant is not None and facts.outline is not None and kind == "open":
            cover = facts.outline
        end = length if kind == "crosswise fold" else FAR
        face = "down" if to_cloth.mirrors else "up"
        return Ply(number, face, reverse, cover, box(-FAR, low, end, high), sheet, to_cloth)

    if kind == "open":
        return Table(kind, width, length, (ply(0, 0.0, width, IDENTITY, edges=(margin, margin)),))
    if kind in ("lengthwise fold", "partial fold"):
        depth = width / 2 if kind == "lengthwise fold" else _depths(stated.depths, 1, width, margin)[0]
        return Table(
            kind,
            width - depth,
            length,
            (
                ply(0, 0.0, width - depth, Motion(1, 0, 0, 1, 0, depth), edges=(0.0, margin)),
                ply(1, 0.0, depth, Motion(1, 0, 0, -1, 0, depth), edges=(0.0, margin)),
            ),
            (Fold("x", 0.0, frozenset((0, 1))),),
        )
    if kind == "double fold":
        first, second = _depths(stated.depths, 2, width, margin)
        table = width - first - second
        return Table(
            kind,
            table,
            length,
            (
                ply(0, 0.0, table, Motion(1, 0, 0, 1, 0, first)),
                ply(1, 0.0, first, Motion(1, 0, 0, -1, 0, first), edges=(0.0, margin)),
                ply(2, table - second, table, Motion(1, 0, 0, -1, 0, first + 2 * table), edges=(margin, 0.0)),
            ),
            (Fold("x", 0.0, frozenset((0, 1))), Fold("x", table, frozenset((0, 2)))),
        )
    if kind == "crosswise fold":
        edges = (margin, margin)
        return Table(
            kind,
            width,
            length,
            (
                ply(0, 0.0, width, IDENTITY, edges=edges),
                ply(1, 0.0, width, Motion(-1, 0, 0, 1, 2 * length, 0), edges=edges, reverse=True),
            ),
            (Fold("y", length, frozenset((0, 1))),),
            layers=2,
        )
    if kind == "tubular":
        return Table(
            kind,
            width,
            length,
            (ply(0, 0.0, width, Motion(1, 0, 0, 1, 0, width)), ply(1, 0.0, width, Motion(1, 0, 0, -1, 0, width))),
            (Fold("x", 0.0, frozenset((0, 1))), Fold("x", width, frozenset((0, 1)))),
            layers=2,
            round_trip=2 * width,
        )
    if kind in ("stacked face up", "stacked face to face"):
        count = len(stated.plies)
        _check_stack(kind, stated.plies, cloth)
        plies = []
        for i in range(count):
            down = kind == "stacked face to face" and i % 2 == 1
            # A ply that was cut off and turned keeps its lengthwise direction; one that was folded back does not.
            folded_back = down and stated.plies[i].reversed
            motion = IDENTITY
            if down:
                motion = Motion(-1, 0, 0, 1, length, 0) if folded_back else Motion(1, 0, 0, -1, 0, width)
            plies.append(ply(i, 0.0, width, motion, edges=(margin, margin), sheet=i, reverse=folded_back))
        return Table(kind, width, length, tuple(plies), layers=count)
    raise SpreadError(f"there is no spread called '{kind}'")


def _refuse(kind: SpreadName, cloth: Cloth, facts: ClothFacts) -> None:
    if facts.outline is not None:
        if kind not in ("open", "lengthwise fold", "partial fold", "double fold", "crosswise fold"):
            raise SpreadError(f"a leftover cannot lie '{kind}'")
        if kind != "open" and not facts.rectangular:
            raise SpreadError("only a rectangular leftover without flaws can be folded")
    if cloth.max_plies == 1 and kind != "open":
        raise SpreadError(f"'{kind}' lays plies on one another, but the cloth allows 1 at most")
    if facts.outline is None and cloth.tubular != (kind == "tubular"):
        raise SpreadError("a tubular knit lies as a tube" if cloth.tubular else "this cloth is not a tube")
    if kind == "crosswise fold" and cloth.nap != "none":
        raise SpreadError("a crosswise fold turns the upper ply end to end, so its nap would run the other way")


def _depths(depths: tuple[float, ...], count: int, width: float, margin: float) -> tuple[float, ...]:
    if len(depths) != count:
        raise SpreadError(f"{count} flap depth(s) expected, found {len(depths)}")
    if min(depths) <= margin or sum(depths) > width / 2 + SLACK:
        found = " and ".join(f"{depth:g} mm" for depth in depths)
        raise SpreadError(f"flaps must be deeper than the selvage and take half the width at most: found {found}")
    return depths


def _check_stack(kind: SpreadName, plies: tuple[PlyRegion, ...], cloth: Cloth) -> None:
    count = len(plies)
    if count < 2:
        raise SpreadError("a stack has at least two plies")
    if cloth.max_plies is not None and count > cloth.max_plies:
        raise SpreadError(f"{count} plies are stacked, but the cloth allows {cloth.max_plies} at most")
    if kind == "stacked face up":
        if count != cloth.plies:
            raise SpreadError(f"{count} plies are stacked, the order asks for {cloth.plies}")
        return
    if count % 2 or count not in (cloth.plies, 2 * cloth.plies):
        raise SpreadError(f"face to face needs pairs of plies: {count} are stacked, the order asks for {cloth.plies}")
    if cloth.nap != "none" and not cloth.may_turn_plies:
        raise SpreadError("face to face with nap: every second ply would have to be cut off and turned")
    if cloth.nap != "none" and any(ply.reversed for ply in plies):
        raise SpreadError("face to face with nap: a ply that is folded back has its nap the other way")
