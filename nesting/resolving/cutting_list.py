"""The cutting list: an order with everything settled that more than one room would otherwise ask it for.

Which piece a garment cuts in its size and from which cloth, in which hands, what is cut together with it and how the
two agree, where its seams match the repeat, and what each opening takes. Made once by ``resolve``; what is made of it
for a part of the order keeps all of that. Lengths are mm.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Literal

from nesting.model.order import Cloth, CutPiece, Faces, Opening, Remnant, Together, Trim
from nesting.model.piece import Point
from nesting.pieces.agreement import Agreement

__all__ = ["Agreed", "CuttingList", "GarmentEntry", "Hand", "MatchPoint", "MatchedSeam", "Pair", "PieceEntry", "Round"]

Hand = Literal["right", "left"]


@dataclass(frozen=True)
class Agreed:
    """A rule of the order that cuts two pieces together, in one size, whether or not a garment cuts that; ``fits``: how
    the follower lies on the leader, and whether they agree."""

    size: str | None
    rule: Together
    leader: CutPiece
    follower: CutPiece
    fits: Agreement


@dataclass(frozen=True)
class Pair:
    """A piece of a garment and another that is cut through at its place. ``number``: of its rule in the order.

    ``cloths``: the leader's and the follower's. ``fits``: how the follower lies on the leader. ``handless``: whether
    right and left of the follower make no difference on its cloth.
    """

    number: int
    garment: str
    size: str | None
    leader: CutPiece
    follower: CutPiece
    cloths: tuple[str, str]
    faces: Faces
    tolerance: float | None
    fits: Agreement
    handless: bool

    @property
    def same_cloth(self) -> bool:
        """Whether both are cut from one cloth, on different plies of it."""
        return self.cloths[0] == self.cloths[1]


@dataclass(frozen=True)
class PieceEntry:
    """One piece of one garment, with the cloth that it is cut from.

    ``hands``: the hand of each that one garment needs, ``hands_apart`` where all are cut by themselves. ``leads``: what
    is cut together with it; ``follows``: what it is cut together with.
    """

    cut: CutPiece
    cloth: str
    hands: tuple[Hand | None, ...]
    hands_apart: tuple[Hand | None, ...]
    leads: tuple[Pair, ...] = ()
    follows: Pair | None = None

    @property
    def leads_here(self) -> Pair | None:
        """What is cut together with it from the same cloth."""
        return next((pair for pair in self.leads if pair.same_cloth), None)

    @property
    def follows_here(self) -> bool:
        """Whether it is cut through at the place of a leader on the same cloth."""
        return self.follows is not None and self.follows.same_cloth


@dataclass(frozen=True)
class Round:
    """What goes round the openings of one garment: ``number`` of them, each ``length`` mm of edge.

    ``takes``: mm of trim for each without its joins, None where nothing is sewn to it; ``measured``: it is cut to the
    wearer's measure. ``gives``: the least stretch round the body of the cloths along it, None where one is not stated.
    ``sits``, ``passes``: of the body, mm, None where not stated. ``band``: mm round of a band that is sewn on all along
    it, finished, None without one; ``band_gives``: the stretch of that band's cloth round the body, None if not stated.
    ``stretches``: (edge, how often it is there, whether it is of a piece that is cut several times alike) of each edge;
    ``said``: the order says how many openings they make.
    """

    number: int
    length: float
    takes: float | None
    measured: bool
    gives: float | None
    sits: float | None
    passes: float | None
    band: float | None = None
    band_gives: float | None = None
    stretches: tuple[tuple[str, int, bool], ...] = ()
    said: bool = False


@dataclass(frozen=True)
class GarmentEntry:
    """``count`` garments of one size and what each is cut from. ``trims`` and ``openings``: what goes round it, one for
    each of the list's, None where this garment has no such opening. ``most``: as many as there is cloth for (``count``
    is then the least that makes sense), in that ``ratio`` to the others that have one."""

    name: str
    size: str | None
    count: int
    pieces: tuple[PieceEntry, ...]
    value: float = 1.0
    same_cloth: bool = False
    trims: tuple[Round | None, ...] = ()
    openings: tuple[Round | None, ...] = ()
    most: bool = False
    ratio: int | None = None

    @property
    def label(self) -> str:
        """Name and size for people."""
        return f"{self.name} {self.size}" if self.size else self.name

    def on(self, cloth: str) -> tuple[CutPiece, ...]:
        """The pieces that it cuts from ``cloth``."""
        return tuple(entry.cut for entry in self.pieces if entry.cloth == cloth)


@dataclass(frozen=True)
class MatchPoint:
    """``point`` (grain frame, mm, at the seam line) must lie at the phase called ``phase`` within the repeat."""

    cut: CutPiece
    point: Point
    phase: str

    @property
    def piece(self) -> str:
        """The piece's name."""
        return self.cut.name


@dataclass(frozen=True)
class MatchedSeam:
    """A seam at which stripes are to meet, for pieces of one size: its edges, and the match point of each; none of them
    where the edge ``bare`` has no notch to match at."""

    edges: tuple[str, ...]
    size: str | None
    points: tuple[MatchPoint, ...]
    bare: str | None = None


@dataclass(frozen=True)
class CuttingList:
    """What to cut from what; see above. ``path`` is the order's file, ``sha256`` of its text.

    ``matched``: the seams at which stripes meet, for every size that is cut. ``agreed``: what is cut together, in every
    size that is drawn, as the order has it: it stays as it is in a list made for a part of the order.
    """

    title: str
    imperial: bool
    path: Path | None
    sha256: str
    cloths: tuple[Cloth, ...]
    garments: tuple[GarmentEntry, ...]
    remnants: tuple[Remnant, ...] = ()
    trims: tuple[Trim, ...] = ()
    openings: tuple[Opening, ...] = ()
    matched: tuple[MatchedSeam, ...] = ()
    agreed: tuple[Agreed, ...] = ()
    do_not_cut: tuple[str, ...] = ()

    def cloth_named(self, name: str) -> Cloth:
        """The cloth of that name. KeyError if there is none."""
        for cloth in self.cloths:
            if cloth.name == name:
                return cloth
        raise KeyError(name)

    @cached_property
    def _cuts(self) -> dict[tuple[str, str | None], CutPiece]:
        cuts: dict[tuple[str, str | None], CutPiece] = {}
        for garment in self.garments:
            for entry in garment.pieces:
                cuts.setdefault((entry.cut.name, garment.size), entry.cut)
        for cut in [*cuts.values()]:
            cuts.setdefault((cut.name, cut.size), cut)
        return cuts

    def cut(self, name: str, size: str | None) -> CutPiece:
        """The piece that garments of this size cut, or the piece of that size. KeyError if nobody cuts it."""
        return self._cuts[name, size]

    @cached_property
    def cloths_used(self) -> tuple[str, ...]:
        """The names of the cloths from which some garment cuts something, in the order's sequence."""
        used = {entry.cloth for garment in self.garments if garment.count for entry in garment.pieces}
        return tuple(cloth.name for cloth in self.cloths if cloth.name in used)

    @property
    def open_ended(self) -> bool:
        """Whether some garment is asked for as often as there is cloth for it."""
        return any(garment.most for garment in self.garments)

    def settled(self, counts: Sequence[int]) -> CuttingList:
        """The list with these counts, one for each of ``garments``, and none open any more."""
        part = self.with_counts(counts)
        return replace(part, garments=tuple(replace(g, most=False, ratio=None) for g in part.garments))

    @cached_property
    def counts(self) -> dict[tuple[str, str | None], int]:
        """How many of each garment and size are asked for."""
        counts: dict[tuple[str, str | None], int] = {}
        for garment in self.garments:
            counts[garment.name, garment.size] = counts.get((garment.name, garment.size), 0) + garment.count
        return counts

    @cached_property
    def pairs(self) -> tuple[Pair, ...]:
        """All that is cut together in the garments that are asked for, in the sequence of the order's rules."""
        found = [pair for g in self.garments if g.count for entry in g.pieces for pair in entry.leads]
        return tuple(sorted(found, key=lambda pair: pair.number))

    def leading(self) -> dict[str, str]:
        """Second cloth -> the cloth of its leaders, for each that has followers of another cloth's leaders."""
        found: dict[str, str] = {}
        for pair in self.pairs:
            if not pair.same_cloth:
                found.setdefault(pair.cloths[1], pair.cloths[0])
        return found

    def led_by(self, cloth: str) -> str | None:
        """The other cloth with whose pieces those of ``cloth`` are cut together; None where there is none such."""
        return self.leading().get(cloth)

    def only_followers(self, cloth: str) -> bool:
        """Whether all that is cut from this cloth is cut together with a leader of another cloth."""
        here = (entry for garment in self.garments for entry in garment.pieces if entry.cloth == cloth)
        return all(entry.follows is not None and not entry.follows.same_cloth for entry in here)

    def with_cloths(self, cloths: Iterable[Cloth]) -> CuttingList:
        """The list with these cloths in place of those of the same names: of other widths, lengths or spreads, for the
        hands and what matches are those of the order's."""
        new = {cloth.name: cloth for cloth in cloths}
        return replace(self, cloths=tuple(new.get(cloth.name, cloth) for cloth in self.cloths))

    def with_counts(self, counts: Sequence[int]) -> CuttingList:
        """The list with these counts, one for each of ``garments``; garments with none are left out."""
        kept = tuple(replace(g, count=n) for g, n in zip(self.garments, counts, strict=True) if n > 0)
        return replace(self, garments=kept)

    def on_cloth(self, cloth: str) -> CuttingList:
        """The list with only the garments that use ``cloth``."""
        return self.with_counts([g.count if g.on(cloth) else 0 for g in self.garments])

    def cut_from(self, cloth: str) -> CuttingList:
        """What is cut from ``cloth`` alone, garment by garment."""
        part = self.on_cloth(cloth)
        own = tuple(replace(g, pieces=tuple(e for e in g.pieces if e.cloth == cloth)) for g in part.garments)
        return replace(part, garments=own)

    def one_by_one(self) -> CuttingList:
        """The list without what ties pieces to one another: nothing is cut together, no seam matches."""
        alone = tuple(
            replace(g, pieces=tuple(replace(e, leads=(), follows=None) for e in g.pieces)) for g in self.garments
        )
        return replace(self, garments=alone, matched=())

    def changed(self, change: Callable[[CutPiece], CutPiece]) -> CuttingList:
        """The list with every piece changed in how it lies; its outline, counts and hands stay."""
        known: dict[int, CutPiece] = {}

        def new(cut: CutPiece) -> CutPiece:
            # what was one piece stays one, however many garments cut it: the search tells pieces apart by that
            return known.setdefault(id(cut), change(cut))

        def pair(p: Pair) -> Pair:
            return replace(p, leader=new(p.leader), follower=new(p.follower))

        def piece(e: PieceEntry) -> PieceEntry:
            follows = None if e.follows is None else pair(e.follows)
            return replace(e, cut=new(e.cut), leads=tuple(map(pair, e.leads)), follows=follows)

        def seam(s: MatchedSeam) -> MatchedSeam:
            return replace(s, points=tuple(replace(p, cut=new(p.cut)) for p in s.points))

        return replace(
            self,
            garments=tuple(replace(g, pieces=tuple(map(piece, g.pieces))) for g in self.garments),
            matched=tuple(map(seam, self.matched)),
        )
