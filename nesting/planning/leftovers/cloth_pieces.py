"""The cloth pieces of garments one by one, so that a leftover can be laid with any of them.

Glossary
    *class*: cloth pieces that are the same (piece, size, cloth, hand). *Unit*: one cloth piece of one copy of a
    garment. Copies are numbered here within their entry of the order; ``copy_numbers`` says what their labels say.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, Protocol

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay, PieceHeld, Placement
from nesting.model.order import CutPiece, Remnant
from nesting.model.units import format_exceeding
from nesting.planning.layout.demand import Need, Stack, needs_of, stacks_of
from nesting.planning.layout.laying import area_of
from nesting.planning.layout.yardage import buy_length, garment_shares, utilisation
from nesting.resolving.cutting_list import CuttingList, GarmentEntry

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
    "lay_with_only",
    "renumbered",
    "stacks_of_units",
    "unbound",
    "units_of",
]


#: (garment by its place in the order, copy) -> the number on its label
Numbers = Mapping[tuple[int, int], int]

_HANDS: dict[str, Literal["right", "left"] | None] = {"right": "right", "left": "left", "": None}

#: Seconds that a search on a leftover gets at first; each further effort doubles them.
FIRST_SECONDS = 0.5


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
    ``same_cloth``: the pieces of one garment that share a cloth come from the same remnant. ``ratio``: it is made in
    that ratio to the others that have one, None: by itself."""

    label: str
    count: int
    value: float
    same_cloth: bool
    needs: tuple[tuple[PieceClass, int], ...]
    ratio: int | None = None


@dataclass(frozen=True)
class Unit:
    """One cloth piece of one copy of a garment (by its number in the order). ``slot`` tells equal ones apart."""

    kind: PieceClass
    garment: int
    name: str
    copy: int
    slot: int


class Fits(Protocol):
    """Whether all of some units, of one cloth, lie on one remnant."""

    @property
    def efforts(self) -> int:
        """How many grades of effort there are; each is tried before the next, larger one."""

    def refuses(self, listed: CuttingList, units: Sequence[Unit], remnant: Remnant) -> str | None:
        """Why they can be proved not to lie there all together; None where there is no such proof."""

    def lay(self, listed: CuttingList, units: Sequence[Unit], remnant: Remnant, effort: int) -> Lay | None:
        """The lay, or None where no room was found with that effort."""


def classes_of(listed: CuttingList, garment: GarmentEntry) -> tuple[PieceClass, ...]:
    """Every cloth piece of one such garment."""
    single = replace(listed, garments=(replace(garment, count=1),))
    found: list[PieceClass] = []
    for cloth in listed.cloths:
        for need in needs_of(stacks_of(single, cloth, apart=True)):
            found.append(PieceClass(cloth.name, need.cut.name, need.cut.size or "", need.hand or ""))
    return tuple(found)


def _cut(listed: CuttingList, kind: PieceClass) -> CutPiece:
    return listed.cut(kind.piece, kind.size or None)


def class_area(listed: CuttingList, kind: PieceClass) -> float:
    """Area of one such cloth piece, mm²."""
    return area_of(_cut(listed, kind))


def stacks_of_units(listed: CuttingList, units: Sequence[Unit]) -> tuple[Stack, ...]:
    """What a leftover has to give to hold these units, each cut by itself; see ``demand.stacks_of``."""
    numbers = _numbers_here(listed, units)
    rows: dict[tuple[int, str], list[Need]] = {}
    for u in sorted(units, key=lambda u: (u.garment, u.copy, u.kind, u.slot)):
        need = Need(
            _cut(listed, u.kind),
            u.name,
            listed.garments[u.garment].size,
            numbers[u.garment, u.copy],
            _HANDS[u.kind.hand],
        )
        rows.setdefault((u.garment, u.kind.piece), []).append(need)
    return tuple(Stack(tuple(needs)) for needs in rows.values())


def unbound(listed: CuttingList, units: Sequence[Unit]) -> tuple[str, ...]:
    """What the order asks of these cloth pieces that a leftover does not keep to: each is cut by itself."""
    here = {u.kind.piece for u in units}
    found = [
        f"{follower} is cut by itself here, not together with {leader}: lay one on the other before they are sewn"
        for leader, follower in ((pair.leader.name, pair.follower.name) for pair in listed.pairs)
        if {leader, follower} & here
    ]
    for seam in listed.matched:
        if any(edge.partition(".")[0] in here for edge in seam.edges):
            found.append(f"stripes are not matched at the seam of {' and '.join(seam.edges)}: see where they meet")
    return tuple(dict.fromkeys(found))


def units_of(
    listed: CuttingList, kinds: Sequence[Kind], loads: Mapping[str, Mapping[int, Mapping[PieceClass, int]]]
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
                    units[name].append(Unit(c, i, listed.garments[i].name, copy, slot))
                    slot += 1
                    if slot == n:
                        copy, slot = copy + 1, 0
    return units


def copy_numbers(listed: CuttingList, copies: Iterable[tuple[int, int]]) -> Numbers:
    """The number on each garment's label, by its place in the order and its copy: counted from 1 for each name and size
    in the order in which they are cut."""
    numbers: dict[tuple[int, int], int] = {}
    given: Counter[tuple[str, str | None]] = Counter()
    for index, copy in sorted(set(copies)):
        garment = listed.garments[index]
        given[garment.name, garment.size] += 1
        numbers[index, copy] = given[garment.name, garment.size]
    return numbers


def _numbers_here(listed: CuttingList, units: Sequence[Unit]) -> Numbers:
    """The numbers that the copies have in a lay of these units as it comes from the search."""
    return copy_numbers(listed, {(u.garment, u.copy) for u in units})


def renumbered(lay: Lay, units: Sequence[Unit], listed: CuttingList, numbers: Numbers) -> Lay:
    """The lay of these units with the copies called by ``numbers``, and with what it holds of each garment."""
    own = {
        (listed.garments[index].name, listed.garments[index].size, here): numbers[index, copy]
        for (index, copy), here in _numbers_here(listed, units).items()
    }

    def called(p: Placement) -> Placement:
        def number(copy: int) -> int:
            return own[p.garment, p.size, copy]

        return replace(p, copy=number(p.copy), copies=tuple(number(c) for c in p.copies))

    held = Counter(
        (u.name, listed.garments[u.garment].size, numbers[u.garment, u.copy], u.kind.piece, u.kind.hand) for u in units
    )
    return replace(
        lay,
        sections=tuple(replace(s, placements=tuple(called(p) for p in s.placements)) for s in lay.sections),
        holds=tuple(
            PieceHeld(name, size, copy, piece, _HANDS[hand], count)
            for (name, size, copy, piece, hand), count in held.items()
        ),
    )


def lay_with_only(
    lay: Lay, units: Sequence[Unit], kept: Sequence[Unit], listed: CuttingList, remnant: Remnant
) -> Lay | None:
    """The lay of ``units`` with the placements of ``kept`` alone: what lies, lies with less, too.

    ``kept`` holds whole copies. None where a placement gives pieces of several copies, so that it cannot be dropped.
    """
    from nesting.cloth.spreads import cloth_of_remnant

    here = _numbers_here(listed, units)
    left = {
        (listed.garments[g].name, listed.garments[g].size, here[g, c]): copy_numbers(
            listed, {(u.garment, u.copy) for u in kept}
        )[g, c]
        for g, c in {(u.garment, u.copy) for u in kept}
    }
    sections = []
    for section in lay.sections:
        mine = []
        for p in section.placements:
            numbers = {(p.garment, p.size, copy) in left for copy in (p.copies or (p.copy,))}
            if numbers == {True, False}:
                return None
            if numbers == {True}:
                copies = tuple(left[p.garment, p.size, copy] for copy in p.copies)
                mine.append(replace(p, copy=left[p.garment, p.size, p.copy], copies=copies))
        sections.append(replace(section, placements=tuple(mine)))
    cloth = cloth_of_remnant(listed.cloth_named(lay.cloth), remnant)
    length = max((x for s in sections for p in s.placements for x, _ in p.outline), default=0.0)
    if len(sections) != 1 or sections[0].spread.kind != "open" or not sections[0].placements:
        return None
    section = replace(sections[0], lay_length=length, spread=replace(sections[0].spread, length=length))
    buy = buy_length("open", cloth, length)
    counts = Counter(
        (g.name, g.size) for g, _ in ((listed.garments[i], c) for i, c in {(u.garment, u.copy) for u in kept})
    )
    return replace(
        lay,
        sections=(section,),
        lay_length=length,
        buy_length=buy,
        lower_bound=0.0,
        bound_reason="",
        utilisation=utilisation((section,), cloth.width_washed),
        garments=garment_shares(section.placements, dict(counts), buy),
    )


class FitsBySearch:
    """Room on a remnant by the program's own bounds and search; ``options`` hold the most time or rounds for one.

    The first effort is half a second, or one round, and each further one twice that, as long as the options allow it:
    with more rounds everything is tried that is tried with fewer, in the same sequence.
    """

    def __init__(self, options: SearchOptions) -> None:
        self._options = options

    @property
    def efforts(self) -> int:
        """How many doublings the options allow, and the first."""
        if self._options.rounds is not None:
            return 1 + int(math.log2(self._options.rounds))
        assert self._options.seconds is not None
        return 1 + max(0, math.ceil(math.log2(self._options.seconds / FIRST_SECONDS) - 1e-9))

    def _with(self, effort: int) -> SearchOptions:
        if self._options.rounds is not None:
            return replace(self._options, rounds=2**effort)
        return replace(self._options, seconds=min(self._options.seconds or math.inf, FIRST_SECONDS * 2**effort))

    def refuses(self, listed: CuttingList, units: Sequence[Unit], remnant: Remnant) -> str | None:
        """A piece that does not lie there even alone, or a lower bound above the remnant's length."""
        from nesting.cloth.spreads import cloth_of_remnant
        from nesting.packing.bounds.bounds import lower_bound
        from nesting.packing.problem import NeverFits
        from nesting.planning.layout.assemble import assemble
        from nesting.planning.layout.wording import why_not_there

        stacks = stacks_of_units(listed, units)
        if _wants_a_fold(stacks, remnant):
            return None
        stuff = cloth_of_remnant(listed.cloth_named(units[0].kind.cloth), remnant)
        apart = listed.one_by_one()
        try:
            assembly = assemble(apart, stuff, stacks, "open", remnant=remnant)
        except CannotLayError as error:
            return error.message
        problem = assembly.problem
        try:
            bound = lower_bound(problem, seconds=0.2)
        except NeverFits as never:
            return why_not_there(apart, assembly, never)
        if problem.length is not None and bound.length > problem.length + 1e-6:
            least, there = format_exceeding(bound.length, problem.length, imperial=listed.imperial)
            return f"they take at least {least} of its {there}: {bound.reason}"
        return None

    def lay(self, listed: CuttingList, units: Sequence[Unit], remnant: Remnant, effort: int) -> Lay | None:
        """Open, or in any spread where a half piece may only be cut on a fold."""
        from nesting.planning.layout.one_cloth import lay_cloth

        stacks = stacks_of_units(listed, units)
        spread: Literal["open"] | None = None if _wants_a_fold(stacks, remnant) else "open"
        cloth = units[0].kind.cloth
        try:
            options = self._with(effort)
            return lay_cloth(listed.one_by_one(), cloth, options, stacks=stacks, spread=spread, remnant=remnant)
        except CannotLayError:
            return None


def _wants_a_fold(stacks: Iterable[Stack], remnant: Remnant) -> bool:
    return remnant.rectangular and any(s.cut.on_fold and not s.cut.unfold for s in stacks)
