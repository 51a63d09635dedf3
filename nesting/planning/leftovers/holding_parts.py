"""Parts of garments as small orders of their own, so that a leftover can be laid with any of them.

In a part order every cloth piece is an own piece that is cut once, named "piece#n"; a left one is the pattern piece
mirrored. ``restored`` puts the names, copies and hands back into the lay.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Literal, Protocol

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay, PieceHeld, Placement
from nesting.model.order import CutPiece, Garment, Order, Remnant
from nesting.model.piece import Point, mapped
from nesting.planning.layout.demand import needs_of, stacks_of
from nesting.planning.layout.laying import area_of, laying

if TYPE_CHECKING:
    from nesting.planning.layout.options import SearchOptions

__all__ = [
    "Fits",
    "FitsBySearch",
    "Kind",
    "Numbers",
    "PieceClass",
    "Unit",
    "class_area",
    "classes_of",
    "copy_numbers",
    "part_order",
    "restored",
    "unbound",
    "units_of",
]


#: (garment by its place in the order, copy) -> the number on its label
Numbers = Mapping[tuple[int, int], int]

_HANDS: dict[str, Literal["right", "left"] | None] = {"right": "right", "left": "left", "": None}


@dataclass(frozen=True, order=True)
class PieceClass:
    """Cloth pieces that are all the same. ``hand`` "right", "left", or "" where it makes no difference."""

    cloth: str
    piece: str
    size: str
    hand: str

    @property
    def label(self) -> str:
        """For people."""
        return " ".join(part for part in (self.piece, self.size, self.hand) if part)


@dataclass(frozen=True)
class Kind:
    """One garment of the order: at most ``count`` of them, each worth ``value`` and needing so many of each class;
    ``same_cloth``: the pieces of one garment that share a cloth come from the same remnant."""

    label: str
    count: int
    value: float
    same_cloth: bool
    needs: tuple[tuple[PieceClass, int], ...]


@dataclass(frozen=True)
class Unit:
    """One cloth piece of one copy of a garment (by its number in the order). ``slot`` tells equal ones apart."""

    kind: PieceClass
    garment: int
    name: str
    copy: int
    slot: int

    @property
    def alias(self) -> str:
        """Its name in the part order."""
        return f"{self.kind.piece}#{self.kind.hand or 'any'}{self.slot}"


class Fits(Protocol):
    """Whether all of a part order lies on one remnant."""

    def refuses(self, part: Order, cloth: str, remnant: Remnant) -> str | None:
        """Why the pieces can be proved not to lie there all together; None where there is no such proof."""

    def lay(self, part: Order, cloth: str, remnant: Remnant) -> Lay | None:
        """The lay, or None where no room was found in time."""


def classes_of(order: Order, garment: Garment) -> tuple[PieceClass, ...]:
    """Every cloth piece of one such garment."""
    single = replace(order, garments=(replace(garment, count=1),))
    found: list[PieceClass] = []
    for cloth in order.cloths:
        for need in needs_of(stacks_of(single, cloth, apart=True)):
            found.append(PieceClass(cloth.name, need.cut.name, need.cut.size or "", need.hand or ""))
    return tuple(found)


def _cut(order: Order, kind: PieceClass) -> CutPiece:
    return order.cut_piece(kind.piece, kind.size or None)


def class_area(order: Order, kind: PieceClass) -> float:
    """Area of one such cloth piece, mm²."""
    return area_of(_cut(order, kind))


@lru_cache(maxsize=512)
def _alone(cut: CutPiece, left: bool, alias: str, cloth: str) -> CutPiece:
    def flip(p: Point) -> Point:
        return (p[0], -p[1])

    piece = mapped(cut.piece, flip, mirrored=True) if left else cut.piece
    motif = cut.motif
    if motif is not None and left:
        motif = replace(motif, point=flip(motif.point))
    return replace(cut, piece=replace(piece, name=alias), cut=1, mirrored=False, cloth=cloth, motif=motif)


def part_order(order: Order, units: Sequence[Unit]) -> Order:
    """An order for these cloth pieces alone, nothing cut together, no trims; one garment entry for each copy."""
    pieces: dict[tuple[str, str], CutPiece] = {}
    garments: list[Garment] = []
    for index, copy in _copies(units):
        own = [u for u in units if (u.garment, u.copy) == (index, copy)]
        for u in own:
            pieces[u.alias, u.kind.size] = _alone(_cut(order, u.kind), u.kind.hand == "left", u.alias, u.kind.cloth)
        garments.append(Garment(own[0].name, order.garments[index].size, 1, tuple(u.alias for u in own)))
    return replace(order, pieces=tuple(pieces.values()), garments=tuple(garments), together=(), seams=(), trims=())


def unbound(order: Order, units: Sequence[Unit]) -> tuple[str, ...]:
    """What the order asks of these cloth pieces that ``part_order`` leaves out: each is cut by itself."""
    here = {u.kind.piece for u in units}
    found = [
        f"{t.follower} is cut by itself here, not together with {t.leader}: lay one on the other before they are sewn"
        for t in order.together
        if {t.leader, t.follower} & here
    ]
    for seam in order.seams:
        if seam.match and any(edge.partition(".")[0] in here for edge in seam.edges):
            found.append(f"stripes are not matched at the seam of {' and '.join(seam.edges)}: see where they meet")
    return tuple(found)


def _copies(units: Sequence[Unit]) -> list[tuple[int, int]]:
    return sorted({(u.garment, u.copy) for u in units})


def units_of(
    order: Order, kinds: Sequence[Kind], loads: Mapping[str, Mapping[int, Mapping[PieceClass, int]]]
) -> dict[str, list[Unit]]:
    """Which piece of which copy is cut from which remnant.

    The pieces of a copy are kept together where the numbers allow: remnants are emptied one after the other, and
    with ``same_cloth`` each remnant holds whole copies.
    """
    units: dict[str, list[Unit]] = {name: [] for name in loads}
    for i, kind in enumerate(kinds):
        for c, n in kind.needs:
            copy, slot = 1, 0
            for name, of_kind in loads.items():
                for _ in range(of_kind.get(i, {}).get(c, 0)):
                    units[name].append(Unit(c, i, order.garments[i].name, copy, slot))
                    slot += 1
                    if slot == n:
                        copy, slot = copy + 1, 0
    return units


def copy_numbers(order: Order, whole: Iterable[tuple[int, int]], broken: Iterable[tuple[int, int]]) -> Numbers:
    """The number on each garment's label, by its place in the order and its copy: counted from 1 for each name and size
    in the order in which they are cut, whole ones first."""
    numbers: dict[tuple[int, int], int] = {}
    given: Counter[tuple[str, str | None]] = Counter()
    for index, copy in (*sorted(whole), *sorted(broken)):
        garment = order.garments[index]
        given[garment.name, garment.size] += 1
        numbers[index, copy] = given[garment.name, garment.size]
    return numbers


def restored(lay: Lay, units: Sequence[Unit], order: Order, numbers: Numbers | None = None) -> Lay:
    """The lay of a part order with the order's own piece names, copies and hands, and with what it holds of each
    garment. ``numbers``: what the copies are called, where it is not their own number."""
    numbering: dict[tuple[str, str | None], list[tuple[int, int]]] = {}
    for index, copy in _copies(units):
        garment = order.garments[index]
        numbering.setdefault((garment.name, garment.size), []).append((index, copy))

    def called(index: int, copy: int) -> int:
        return copy if numbers is None else numbers[index, copy]

    def back(p: Placement) -> Placement:
        index, copy = numbering[p.garment, p.size][p.copy - 1]
        unit = next(u for u in units if (u.garment, u.copy, u.alias) == (index, copy, p.piece))
        flipped = p.flipped != (unit.kind.hand == "left")
        changed = replace(p, piece=unit.kind.piece, copy=called(index, copy), flipped=flipped)
        return replace(changed, copies=(changed.copy,)) if p.copies else changed

    held = Counter(
        (u.name, order.garments[u.garment].size, called(u.garment, u.copy), u.kind.piece, u.kind.hand) for u in units
    )

    aliases = {(u.alias, u.kind.size) for u in units}

    def said(text: str) -> str:
        return _readable(text, aliases)

    return replace(
        lay,
        sections=tuple(replace(s, placements=tuple(back(p) for p in s.placements)) for s in lay.sections),
        bound_reason=said(lay.bound_reason),
        notes=tuple(said(note) for note in lay.notes),
        tried=tuple(replace(t, refused=said(t.refused) if t.refused else t.refused) for t in lay.tried),
        holds=tuple(
            PieceHeld(name, size, copy, piece, _HANDS[hand], count)
            for (name, size, copy, piece, hand), count in held.items()
        ),
    )


class FitsBySearch:
    """Room on a remnant by the program's own bounds and search; ``options`` hold the time or rounds for one remnant."""

    def __init__(self, options: SearchOptions) -> None:
        self._lay = laying(options)

    def refuses(self, part: Order, cloth: str, remnant: Remnant) -> str | None:
        """A piece that does not lie there even alone, or a lower bound above the remnant's length."""
        from nesting.cloth.spreads import cloth_of_remnant
        from nesting.packing.bounds.bounds import lower_bound
        from nesting.packing.problem import NeverFits
        from nesting.planning.layout.assemble import assemble

        if _wants_a_fold(part, remnant):
            return None
        aliases = {(cut.name, cut.size or "") for cut in part.pieces}
        stuff = cloth_of_remnant(part.cloth_named(cloth), remnant)
        try:
            problem = assemble(part, stuff, stacks_of(part, stuff), "open", remnant=remnant).problem
            bound = lower_bound(problem, seconds=0.2)
        except NeverFits as never:
            return _readable(never.reason, aliases)
        except CannotLayError as error:
            return _readable(error.message, aliases)
        if problem.length is not None and bound.length > problem.length + 1e-6:
            there, least = problem.length / 10.0, bound.length / 10.0
            return _readable(f"they take at least {least:.1f} cm of its {there:.1f} cm: {bound.reason}", aliases)
        return None

    def lay(self, part: Order, cloth: str, remnant: Remnant) -> Lay | None:
        """Open, or in any spread where a half piece may only be cut on a fold."""
        try:
            return self._lay(part, cloth, spread=None if _wants_a_fold(part, remnant) else "open", remnant=remnant)
        except CannotLayError:
            return None


def _wants_a_fold(part: Order, remnant: Remnant) -> bool:
    return remnant.rectangular and any(p.on_fold and not p.unfold for p in part.pieces)


def _readable(text: str, aliases: Iterable[tuple[str, str]]) -> str:
    """The text with every part-order piece, given as (alias, size), said by its own name: "back#left0 M 1", the first
    copy, as "back M left"."""
    for alias, size in sorted(aliases, key=lambda pair: (-len(pair[0]), pair)):
        name, _, rest = alias.rpartition("#")
        hand = "" if rest.startswith("any") else rest.rstrip("0123456789")
        label = f"{alias} {size}" if size else alias
        plain = " ".join(part for part in (name, size, hand) if part).replace("\\", r"\\")
        text = re.sub(rf"{re.escape(label)}(?: \d+)?(?!\w|\.\d)", plain, text)
        text = text.replace(alias, f"{name} {hand}" if hand else name)
    return text
