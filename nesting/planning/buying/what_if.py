"""What would save: changes of the order tried one by one, each with what it saves and what it asks of who cuts.

Nothing is tried that nap, stretch or a piece's own rule forbids: each variant is laid by the same rules as the order.
What each saves is about, as far as a search of the same time tells.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.model.order import Cloth, CutPiece
from nesting.model.units import format_length, format_width, to_cents
from nesting.planning.buying.steps import OnStep
from nesting.planning.layout.laying import LayOne
from nesting.planning.layout.second_cloth import worth_of
from nesting.resolving.cutting_list import CuttingList, PieceEntry

__all__ = ["Choice", "Saving", "Told", "choices", "what_if"]

#: degrees of grain tolerance that are tried (common practice: small pieces of knits)
TILT = 2.0
#: mm of seam allowance at each side of a join in a band (1 cm: Pattern Cutting, 2011), and where inches are read
#: (3/8 in: from memory)
JOIN_MM, JOIN_IN_INCHES = 10.0, 0.375 * 25.4
#: mm that a band or a facing is high at most, and how many times as long as high it is at least (common practice)
BAND_HIGH_MM, BAND_LONG = 150.0, 4.0
#: mm. Widths that shops sell, and where inches are read (35/36, 44/45, 52/54, 58/60 in: fabric conversion chart)
WIDTHS = (900.0, 1150.0, 1400.0, 1500.0)
WIDTHS_IN_INCHES = tuple(inches * 25.4 for inches in (36.0, 45.0, 54.0, 60.0))


@dataclass(frozen=True)
class Choice:
    """One change: in words, what it asks in handling, and the list with it. ``looser``: every lay of the list as it is
    stays possible, so that it cannot cost more; ``added``: the garment of which there is one more, which cannot
    save."""

    what: str
    handling: str
    listed: CuttingList
    looser: bool = False
    added: str | None = None


@dataclass(frozen=True)
class Told:
    """What was said of one cloth: the length to buy, mm, and what the next garment adds to it, None where unknown."""

    buy_length: float
    next_garment: str
    one_more: float | None


@dataclass(frozen=True)
class Saving:
    """What a change saves, below 0 where it takes more: ``lengths`` mm to buy by cloth, ``money`` of all cloths (None
    where a price is missing). ``refused``: why it cannot be laid, with no figures then."""

    what: str
    handling: str
    lengths: tuple[tuple[str, float], ...] = ()
    money: float | None = None
    refused: str | None = None

    @property
    def length(self) -> float:
        """What is saved of all cloths together, mm."""
        return sum(saved for _, saved in self.lengths)

    def as_dict(self) -> dict[str, Any]:
        """As the JSON document shows it (mm)."""
        return {
            "what": self.what,
            "handling": self.handling,
            "lengths": dict(self.lengths),
            "money": self.money,
            "refused": self.refused,
        }


def choices(listed: CuttingList) -> tuple[Choice, ...]:
    """The changes that are worth a try in this order."""
    found: list[Choice] = []

    def straight(cut: CutPiece) -> bool:
        return cut.tilt < TILT and cut.turn not in ("any", "bias")

    cuts = [entry.cut for garment in listed.garments if garment.count for entry in garment.pieces]
    if any(straight(cut) for cut in cuts):
        tilted = listed.changed(lambda cut: replace(cut, tilt=TILT) if straight(cut) else cut)
        words = f"a grain tolerance of {TILT:g}° for every piece"
        found.append(Choice(words, "pieces lie a little off the grain", tilted, looser=True))
    if any(cut.on_fold and not cut.unfold for cut in cuts):
        opened = listed.changed(lambda cut: replace(cut, unfold=True))
        words = "halves opened out (unfold = true)"
        found.append(Choice(words, "each half is traced twice, one ply", opened, looser=True))
    for cloth in listed.cloths:
        if cloth.name not in listed.cloths_used:
            continue
        here = [e.cut for g in listed.garments if g.count for e in g.pieces if e.cloth == cloth.name]
        if cloth.pairs_same_way and any(cut.mirrored and cut.cut > 1 for cut in here):
            free = listed.with_cloths([replace(cloth, pairs="free")])
            words = f'left and right of {cloth.name} each in its own turn (pairs = "free")'
            found.append(Choice(words, "left and right may shade and stretch differently", free, looser=True))
        if cloth.nap == "one way":
            by_garment = listed.with_cloths([replace(cloth, nap="by garment")])
            words = f'each garment of {cloth.name} up or down (nap = "by garment")'
            found.append(Choice(words, "garments shade differently, none within itself", by_garment, looser=True))
        found += _widths(listed, cloth)
    found += _joins(listed)
    for number, garment in enumerate(listed.garments):
        if garment.count < 1:
            continue
        counts = [g.count for g in listed.garments]
        fewer, more = ([n + d * (k == number) for k, n in enumerate(counts)] for d in (-1, 1))
        if sum(fewer) > 0:
            less = listed.with_counts(fewer)
            found.append(Choice(f"one {garment.label} less", "one garment less", less, looser=True))
        more_words = f"one {garment.label} more"
        found.append(Choice(more_words, "one garment more", listed.with_counts(more), added=garment.label))
    return tuple(found)


def _widths(listed: CuttingList, cloth: Cloth) -> list[Choice]:
    return [
        Choice(
            f"{cloth.name} {format_width(width, imperial=listed.imperial)} wide, at the same price by length",
            "another cloth",
            listed.with_cloths([replace(cloth, width=width)]),
        )
        for width in (WIDTHS_IN_INCHES if listed.imperial else WIDTHS)
        if abs(width - cloth.width) > 1.0 and not cloth.tubular
    ]


def _joins(listed: CuttingList) -> list[Choice]:
    """Bands and facings that are rectangles cut in two, with a seam allowance at the join."""
    tied = {name for pair in listed.pairs for name in (pair.leader.name, pair.follower.name)}
    matched = {point.piece for seam in listed.matched for point in seam.points}
    names = dict.fromkeys(
        e.cut.name
        for g in listed.garments
        if g.count
        for e in g.pieces
        if _may_be_joined(e.cut) and e.cut.name not in tied | matched
    )
    join = JOIN_IN_INCHES if listed.imperial else JOIN_MM
    say = format_length(join, imperial=listed.imperial, step="1/16 in" if listed.imperial else "mm")
    return [
        Choice(
            f"a join in '{name}'",
            f"a seam more in each, {say} allowed on both sides of it",
            replace(
                listed,
                garments=tuple(
                    replace(
                        g,
                        pieces=tuple(
                            _joined(e, join, listed.cloth_named(e.cloth)) if e.cut.name == name else e for e in g.pieces
                        ),
                    )
                    for g in listed.garments
                ),
            ),
        )
        for name in names
    ]


def _may_be_joined(cut: CutPiece) -> bool:
    """Whether it is a band or a facing: sewn all along an opening, or a rectangle of a band's measures. A panel that is
    a rectangle is none, nor is what a motif is placed on; a band on the fold has its join there."""
    if not cut.band or len(cut.piece.outline) != 4 or cut.on_fold or cut.motif is not None:
        return False
    xs, ys = [x for x, _ in cut.piece.outline], [y for _, y in cut.piece.outline]
    high, long = sorted((max(xs) - min(xs), max(ys) - min(ys)))
    return bool(cut.goes_round) or (high <= BAND_HIGH_MM and long >= BAND_LONG * high)


def _joined(entry: PieceEntry, join: float, cloth: Cloth) -> PieceEntry:
    """The band in two halves of its longer side, each with the allowance of the join (mm). Halves of one band stretch
    alike: where the cloth lets pieces take quarter turns, both lie along it."""
    cut = entry.cut
    if cloth.turns_quarter and cut.turn in (None, "quarter turns"):
        reached = cut.needs_stretch is None or (cloth.stretch_across or 0.0) >= cut.needs_stretch
        cut = replace(cut, turn="either way" if reached else cut.turn)
    xs, ys = [x for x, _ in cut.piece.outline], [y for _, y in cut.piece.outline]
    x0, x1, y0, y1 = min(xs), max(xs), min(ys), max(ys)
    if x1 - x0 >= y1 - y0:
        x0, x1 = -(x1 - x0) / 4 - join / 2, (x1 - x0) / 4 + join / 2
    else:
        y0, y1 = -(y1 - y0) / 4 - join / 2, (y1 - y0) / 4 + join / 2
    ring = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    middle = (y0 + y1) / 2
    grain = ((x0 + (x1 - x0) / 10, middle), (x1 - (x1 - x0) / 10, middle))
    piece = replace(cut.piece, outline=ring, seam=None, grainline=grain, notches=(), drills=(), inside=(), edges=())
    return replace(
        entry,
        cut=replace(cut, piece=piece, cut=2 * cut.cut),
        hands=entry.hands * 2,
        hands_apart=entry.hands_apart * 2,
    )


def what_if(
    listed: CuttingList,
    lay: LayOne,
    over: Callable[[CuttingList, tuple[Lay, ...]], tuple[Lay, ...]],
    *,
    tried: Sequence[Choice] | None = None,
    told: Mapping[str, Told] | None = None,
    on_step: OnStep | None = None,
    on_saving: Callable[[tuple[Saving, ...]], None] | None = None,
) -> tuple[Saving, ...]:
    """What each of the changes (``tried`` None: those of ``choices``) saves against the order as it is, the most first;
    what saves nothing and what cannot be laid come last. Where the order itself cannot be laid, those that can are told
    without figures. ``told``: what was said already of each cloth, and is said again where the question is the
    same."""
    said = told or {}

    def laid(part: CuttingList, start: dict[str, Lay]) -> tuple[Lay, ...]:
        own = tuple(lay(part, cloth, start=start.get(cloth)) for cloth in part.cloths_used)
        return over(part, own)

    if on_step is not None:
        on_step("", "the order as it is", float(len(listed.cloths_used)))
    try:
        base = laid(listed, {})
    except CannotLayError:
        base = ()
    bought = {one.cloth: said[one.cloth].buy_length if one.cloth in said else one.buy_length for one in base}
    priced = all(listed.cloth_named(name).price is not None for name in bought)
    found: list[Saving] = []
    for choice in choices(listed) if tried is None else tried:
        if on_step is not None:
            on_step("", choice.what, float(len(choice.listed.cloths_used)))
        try:
            there = laid(choice.listed, {one.cloth: one for one in base if one.leaders_on is None})
        except CannotLayError as why:
            found.append(Saving(choice.what, choice.handling, refused=str(why)))
            continue
        if not base:
            found.append(Saving(choice.what, choice.handling))
            continue
        new = {one.cloth: one.buy_length for one in there}
        if choice.added is not None:
            for name, one in said.items():
                if name in bought and one.next_garment == choice.added and one.one_more is not None:
                    new[name] = bought[name] + one.one_more
        lengths = tuple((name, length - new.get(name, 0.0)) for name, length in bought.items())
        money = worth_of(listed, bought.items()) - worth_of(choice.listed, new.items())
        if (choice.looser and money <= 1e-9) or (choice.added is not None and money >= -1e-9):
            # a lay of more garments, or by stricter rules, serves for the other list, too
            money, lengths = 0.0, tuple((name, 0.0) for name, _ in lengths)
        found.append(Saving(choice.what, choice.handling, lengths, to_cents(money) if priced else None))
        if on_saving is not None:
            on_saving(_ranked(found))
    return _ranked(found)


def _ranked(found: Sequence[Saving]) -> tuple[Saving, ...]:
    def worth_of(s: Saving) -> float:
        return s.money if s.money is not None else s.length

    return tuple(sorted(found, key=lambda s: (s.refused is not None, -worth_of(s))))
