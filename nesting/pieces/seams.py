"""Walking seams: do edges that are sewn together agree in length, and do their notches meet?

A side is an edge, or several in a row. An edge that ends at the fold is half of what is sewn: against other halves it
is walked from the fold, against a whole edge it is opened out first, and so is what is cut as a left and a right piece.
Sides are walked from the ends from which their notches meet best, as right sides together one of them runs backwards.
Where a side is to be eased or stretched in, that is spread evenly along it, or between two notches.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from nesting.model.errors import OrderError
from nesting.model.findings import Figure, Finding
from nesting.model.piece import Piece, Point
from nesting.model.tolerances import SEAM_MM
from nesting.pieces.contour import Contour, cleaned
from nesting.pieces.easing import Easing, between_on
from nesting.pieces.edge_walk import (
    Mark,
    WalkedEdge,
    edge_names,
    notched_at,
    seam_to_cut,
    walk_edge,
    with_centre_notches,
    with_fold_notches,
)
from nesting.pieces.rows import Laid, Member, Placed, layouts, lengths_of

__all__ = [
    "PARTNER_MM",
    "Mark",
    "NotchGap",
    "SeamTold",
    "Unmarked",
    "WalkedEdge",
    "WalkedSeam",
    "edge_names",
    "notched_at",
    "seam_to_cut",
    "walk_edge",
    "walk_seam",
    "with_centre_notches",
    "with_fold_notches",
    "with_join_notches",
]

#: mm. Notches farther apart than this are not meant to meet; each then lacks a partner.
PARTNER_MM = 25.0


def _in_mm(mm: float) -> str:
    return f"{mm:.1f} mm"


@dataclass(frozen=True)
class NotchGap:
    """A notch of the first side and its partner on the edge ``edge`` (number in the seam): ``along`` mm from the common
    end on the first side, ``difference`` mm (partner's place minus own, after ease), ``at`` both places, each in its
    own piece's frame. ``first``: the edge of the first notch. ``joins``: what either is if it is no notch but where
    two edges of a row join."""

    edge: int
    along: float
    difference: float
    at: tuple[Point, Point]
    first: int = 0
    joins: tuple[str | None, str | None] = (None, None)


@dataclass(frozen=True)
class SeamTold:
    """One thing that does not agree along a seam, as data: lengths mm."""

    code: Literal["seam.mismatch", "seam.notch-apart", "seam.notch-alone", "seam.join-unmarked"]
    message: str
    figures: Mapping[str, Figure]

    @property
    def forbids(self) -> bool:
        """Whether the seam cannot be sewn before it is mended."""
        return self.code not in ("seam.notch-alone", "seam.join-unmarked")


@dataclass(frozen=True)
class Unmarked:
    """A place, ``along`` mm of the side, where the other side has a ``join`` and this one has no notch."""

    side: int
    along: float
    join: str


@dataclass(frozen=True)
class WalkedSeam:
    """What walking a seam found. ``edges``: all of them, ``counts`` how many each side has. ``lengths`` of the sides as
    compared (halves all halves, or all opened), ``parts`` of the edges, ``difference`` the largest departure from what
    the first side asks for, mm. ``lone``: (edge number, mark) of notches without a partner. ``no_centre``: edges
    without a centre notch where one is wanted. ``wanted``: the lengths that the first side asks for, ease included;
    ``eased_between``: the stretches of the first side within which it is eased, where that is said. ``unmarked``: joins
    of a row where the other side has no notch."""

    edges: tuple[str, ...]
    lengths: tuple[float, ...]
    difference: float
    tolerance: float
    lengths_agree: bool
    notches: tuple[NotchGap, ...]
    lone: tuple[tuple[int, Mark], ...]
    no_centre: tuple[str, ...]
    wanted: tuple[float, ...]
    eased: bool = False
    #: whether each edge runs backwards from the common end (a half from its fold)
    backwards: tuple[bool, ...] = ()
    counts: tuple[int, ...] = ()
    parts: tuple[float, ...] = ()
    eased_between: tuple[tuple[float, float], ...] = ()
    unmarked: tuple[Unmarked, ...] = ()
    laid: tuple[Laid, ...] = ()
    #: what lies at the start of each edge, from which ``Mark.along`` counts: a named edge, the fold, or None
    begins: tuple[str | None, ...] = ()

    @property
    def sides(self) -> tuple[tuple[int, ...], ...]:
        """The edge numbers of each side."""
        counts = self.counts or (1,) * len(self.edges)
        starts = [sum(counts[:k]) for k in range(len(counts))]
        return tuple(tuple(range(start, start + n)) for start, n in zip(starts, counts, strict=True))

    @property
    def titles(self) -> tuple[str, ...]:
        """What people call each side: "front.waist + back.waist"."""
        return tuple(" + ".join(self.edges[k] for k in side) for side in self.sides)

    @property
    def notches_agree(self) -> bool:
        """Whether all notches that have a partner meet it."""
        return all(abs(n.difference) <= self.tolerance for n in self.notches)

    @property
    def agrees(self) -> bool:
        """Whether the seam can be sewn as drawn."""
        return self.lengths_agree and self.notches_agree

    def messages(self, say: Callable[[float], str] = _in_mm) -> tuple[str, ...]:
        """What does not agree, in words; ``say`` puts mm into the reader's units."""
        return tuple(one.message for one in self.told(say))

    def told(self, say: Callable[[float], str] = _in_mm) -> tuple[SeamTold, ...]:
        """What does not agree, each with its code and figures."""
        told: list[SeamTold] = []
        first = self.titles[0]
        for name, length, want in zip(self.titles, self.lengths, self.wanted, strict=True):
            if abs(length - want) > self.tolerance:
                longer = "longer" if length > want else "shorter"
                figures: dict[str, Figure] = {"edge": name, "to": first, "length": length, "wanted": want}
                words = f"{name} is {say(abs(length - want))} {longer} than {first} ({say(length)} against {say(want)})"
                if self.eased:
                    words = (
                        f"{name} is {say(abs(length - want))} too {'long' if length > want else 'short'}: it is "
                        f"{say(length)}, and {first} ({say(self.lengths[0])}) with the ease or ratio wants {say(want)}"
                    )
                told.append(SeamTold("seam.mismatch", words, figures))
        for gap in self.notches:
            if abs(gap.difference) > self.tolerance:
                other = self.edges[gap.edge]
                begun, partner = (f"the {join}" if join else None for join in gap.joins)
                words = (
                    f"{begun or 'the notch'} {say(gap.along)} along {first}{self._from_side()} misses "
                    f"{partner or f'its partner on {other}'} by {say(abs(gap.difference))}"
                )
                figures = {"edge": other, "to": first, "along": gap.along, "difference": gap.difference}
                told.append(SeamTold("seam.notch-apart", words, figures))
        for k, mark in self.lone:
            words = f"the notch {say(mark.along)} along {self.edges[k]}{_counted(self.begins[k])} has no partner"
            told.append(SeamTold("seam.notch-alone", words, {"edge": self.edges[k], "along": mark.along}))
        for one in self.unmarked:
            words = (
                f"{self.titles[one.side]} has no notch for the {one.join}, {say(one.along)} along it"
                f"{self._from_side(one.side)}; to have it "
                "added, write add_join_notches = true in this [[seam]]"
            )
            told.append(SeamTold("seam.join-unmarked", words, {"edge": self.titles[one.side], "along": one.along}))
        return tuple(told)

    def _from_side(self, side: int = 0) -> str:
        """From where places along a side count: the end from which all sides are walked."""
        return _counted(_met(self.laid[side].meets[0], self.laid[side].at_fold[0]))


def _met(edges: Collection[str], fold: bool) -> str | None:
    """What lies at an end of an edge: the fold, or the edges that join it there."""
    return "the fold" if fold else " and ".join(sorted(edges)) or None


def _counted(begin: str | None) -> str:
    return f" (from {begin})" if begin else ""


def _pairs(a: Sequence[float], b: Sequence[float], far: float) -> tuple[float, list[tuple[int, int]]]:
    """Pair two sorted rows of places in order, cheapest first (dynamic programme); a place left alone costs ``far``."""
    n, m = len(a), len(b)
    cost = [[(i + j) * far if i == 0 or j == 0 else math.inf for j in range(m + 1)] for i in range(n + 1)]
    for i in range(1, n + 1):
        for j in range(1, m + 1):
            gap = abs(a[i - 1] - b[j - 1])
            cost[i][j] = min(
                cost[i - 1][j] + far,
                cost[i][j - 1] + far,
                cost[i - 1][j - 1] + (gap if gap <= far else math.inf),
            )
    pairs = []
    i, j = n, m
    while i > 0 and j > 0:
        gap = abs(a[i - 1] - b[j - 1])
        if gap <= far and math.isclose(cost[i][j], cost[i - 1][j - 1] + gap, abs_tol=1e-12):
            pairs.append((i - 1, j - 1))
            i, j = i - 1, j - 1
        elif math.isclose(cost[i][j], cost[i - 1][j] + far, abs_tol=1e-12):
            i -= 1
        else:
            j -= 1
    return cost[n][m], pairs[::-1]


@dataclass(frozen=True)
class _Walked:
    """A side walked against the first one, in the way in which their notches meet best."""

    cost: float
    laid: Laid
    easing: Easing
    brought: tuple[tuple[float, Placed], ...]
    met: tuple[tuple[int, int], ...]


def walk_seam(
    edges: Sequence[tuple[Piece, str]],
    names: Sequence[str],
    *,
    ease: float = 0.0,
    ratio: float = 1.0,
    tolerance: float | None = None,
    pairs: Sequence[bool] | None = None,
    counts: Sequence[int] | None = None,
    between: tuple[str, str] | None = None,
    called: Sequence[Sequence[str]] | None = None,
) -> WalkedSeam:
    """Walk the sides of a seam against the first of them.

    ``edges``: (piece in its grain frame, edge name), two or more; ``names`` what people call them; ``counts``: how many
    of them make up each side, in a row (default: one each). Every other side is to be ``ratio`` times as long as the
    first, plus ``ease`` mm, all along it or ``between`` two notches (or the edges that meet an end or a join there).
    ``pairs`` tells which pieces are cut as a left and a right one: each of those goes against one half of a piece on
    the fold. ``called``: what people call the notches of each edge's piece. ``tolerance`` mm, default SEAM_MM; errors
    of pieces traced from pictures are added to it. KeyError if an edge is not there, OrderError if ease cannot be
    placed so.
    """
    # An edge that was traced from a picture may be longer or shorter by its error at either end.
    doubt = 2.0 * sum(piece.error for piece, _ in edges)
    allowed = (SEAM_MM if tolerance is None else tolerance) + doubt
    words = called if called is not None else [()] * len(edges)
    walked = [walk_edge(piece, name, word) for (piece, name), word in zip(edges, words, strict=True)]
    paired = list(pairs) if pairs is not None else [False] * len(walked)
    sizes = list(counts) if counts is not None else [1] * len(walked)
    sides: list[list[Member]] = []
    for size in sizes:
        begin = sum(len(side) for side in sides)
        mine = list(names[begin : begin + size])
        sides.append(
            [Member(k, name, walked[k], paired[k], mine.count(name) > 1) for k, name in enumerate(mine, begin)]
        )
    halves = any(w.half for w in walked)
    opened = _opened(sides, ratio, ease)
    ease_here = ease / 2 if halves and not opened else ease
    parts = tuple(part for side in sides for part in lengths_of(side, opened))
    lengths = [math.fsum(lengths_of(side, opened)) for side in sides]
    best: tuple[float, Laid, list[_Walked]] | None = None
    for laid in layouts(sides[0], opened, first=True):
        others = [_best(laid, side, opened, ratio, ease_here, between, names, length)
                  for side, length in zip(sides[1:], lengths[1:], strict=True)]  # fmt: skip
        cost = math.fsum(one.cost for one in others)
        if best is None or cost < best[0] - 1e-6:
            best = (cost, laid, others)
    assert best is not None
    _, laid, others = best
    wants = [lengths[0], *(one.easing.total for one in others)]
    differences = [length - want for length, want in zip(lengths, wants, strict=True)]
    gaps, lone, unmarked = _compared(laid, others, sizes)
    rows = any(size > 1 for size in sizes)
    return WalkedSeam(
        tuple(names),
        tuple(lengths),
        max(differences, key=abs),
        allowed,
        all(abs(d) <= allowed for d in differences),
        gaps,
        lone,
        _no_centre(sides, [laid, *(one.laid for one in others)], names, halves),
        tuple(wants),
        ratio != 1.0 or ease != 0.0,
        _backwards([laid, *(one.laid for one in others)], len(walked)),
        tuple(sizes),
        parts,
        tuple(between_on(laid, [(one.laid, ratio) for one in others], names, between)) if between and ease else (),
        unmarked if rows else (),
        (laid, *(one.laid for one in others)),
        tuple(_met(w.meets[0], w.folds[0]) for w in walked),
    )


def _opened(sides: Sequence[Sequence[Member]], ratio: float, ease: float) -> bool:
    """Whether halves and pairs are counted twice: a half against a whole edge that is cut once is; a pair against one
    that is cut once goes round both sides of it, or along one, whichever its length says."""
    every = [m for side in sides for m in side]
    if any(m.walked.half for m in every):
        return not all(m.doubles for m in every)
    some = any(m.doubles for m in every) and not all(m.doubles for m in every)
    return some and _nearer_opened(sides, ratio, ease)


def _nearer_opened(sides: Sequence[Sequence[Member]], ratio: float, ease: float) -> bool:
    def off(opened: bool) -> float:
        lengths = [math.fsum(lengths_of(side, opened)) for side in sides]
        return max(abs(length - ratio * lengths[0] - ease) for length in lengths[1:])

    return off(True) < off(False)


def _best(
    first: Laid,
    side: Sequence[Member],
    opened: bool,
    ratio: float,
    ease: float,
    between: tuple[str, str] | None,
    names: Sequence[str],
    length: float,
) -> _Walked:
    """The side in the way in which its notches meet those of the first side best."""
    found: _Walked | None = None
    for laid in _likely(first, layouts(side, opened, first=False), len(side) == 1):
        intervals = between_on(first, [(laid, ratio)], names, between) if between and ease else []
        easing = Easing(first.length, ratio, ease, intervals)
        if not easing.sound:
            raise OrderError(
                f"{-ease:g} mm are to be eased in within {math.fsum(b - a for a, b in intervals):.1f} mm: there is not "
                "as much; ask for less, or for notches farther apart",
                key="seam.ease_between",
                code="seam.ease-between",
            )
        difference = length - easing.total
        for shift in (0.0, -difference) if abs(difference) > 1e-9 else (0.0,):
            brought = tuple((easing.back(mark.along + shift), mark) for mark in laid.all_marks)
            cost, met = _pairs([m.along for m in first.all_marks], [place for place, _ in brought], PARTNER_MM)
            if found is None or cost < found.cost - 1e-6:
                found = _Walked(cost, laid, easing, brought, tuple(met))
    assert found is not None
    return found


def _likely(first: Laid, ways: Sequence[Laid], single: bool) -> list[Laid]:
    """The ways that the fold, or the edges that both sides join, allow: a side seam runs from waist to leg on both."""
    folds = [sum(a and b for a, b in zip(first.at_fold, way.at_fold, strict=True)) for way in ways]
    ways = [way for way, met in zip(ways, folds, strict=True) if met == max(folds)]
    if any(first.at_fold) and max(folds) > 0:
        return ways
    same = [bool(first.meets[0] & way.meets[0]) or bool(first.meets[1] & way.meets[1]) for way in ways]
    crossed = [bool(first.meets[0] & way.meets[1]) or bool(first.meets[1] & way.meets[0]) for way in ways]
    sure = [way for way, s, c in zip(ways, same, crossed, strict=True) if s and not c]
    return sure if sure and not first.mirrored and not (single and any(way.mirrored for way in ways)) else list(ways)


def _compared(
    first: Laid, others: Sequence[_Walked], sizes: Sequence[int]
) -> tuple[tuple[NotchGap, ...], tuple[tuple[int, Mark], ...], tuple[Unmarked, ...]]:
    gaps: list[NotchGap] = []
    lone: list[tuple[int, Mark]] = []
    unmarked: list[Unmarked] = []
    ours = first.all_marks
    met_first: set[int] = set()
    for k, other in enumerate(others, 1):
        for i, j in other.met:
            place, mark = other.brought[j]
            # the partner's place as walked, less the place that the first side asks for
            gap = other.easing.to(place) - other.easing.to(ours[i].along)
            joins = tuple(m.name if m.join else None for m in (ours[i], mark))
            gaps.append(
                NotchGap(
                    mark.edge, ours[i].along, gap, (ours[i].at, mark.at), ours[i].edge, (joins[0], joins[1])
                )
            )
        met_first |= {i for i, _ in other.met}
        mine = {j for _, j in other.met}
        for j, (place, mark) in enumerate(other.brought):
            if j not in mine and mark.join:
                unmarked.append(Unmarked(0, place, mark.name or "join"))
            elif j not in mine:
                lone.append((mark.edge, _as_mark(mark)))
        if any(m.join for m in ours):
            partners = {i for i, _ in other.met}
            unmarked += [
                Unmarked(k, other.easing.to(m.along), m.name or "join")
                for i, m in enumerate(ours)
                if m.join and i not in partners
            ]
    lone += [(m.edge, _as_mark(m)) for i, m in enumerate(ours) if i not in met_first and not m.join]
    # a notch of an edge that lies there twice is one notch
    return tuple(gaps), tuple(dict.fromkeys(lone)), tuple(unmarked)


def _as_mark(placed: Placed) -> Mark:
    return Mark(placed.own, placed.at, placed.name, placed.called)


def _no_centre(
    sides: Sequence[Sequence[Member]], laid: Sequence[Laid], names: Sequence[str], halves: bool
) -> tuple[str, ...]:
    """The edges without a notch at their middle where the seam's middle is theirs: halves, and edges alone on a side
    of a seam of three layers or against a half."""
    rows = any(len(side) > 1 for side in sides)
    wanted = len(sides) > 2 or halves
    centred = not rows or any(one.mirrored for one in laid)
    found = []
    for side in sides:
        for m in side:
            w = m.walked
            if w.half:
                lacks = w.centre is None
            else:
                lacks = len(side) == 1 and centred and w.centre is None and not w.closed and not m.paired
            if wanted and lacks:
                found.append(names[m.number])
    return tuple(dict.fromkeys(found))


def _backwards(laid: Sequence[Laid], count: int) -> tuple[bool, ...]:
    """Whether each edge runs backwards; of one that lies there twice, where it lies last."""
    found = [False] * count
    for side in laid:
        for run in side.runs:
            found[run.edge] = run.backwards
    return tuple(found)


def with_join_notches(
    edges: Sequence[tuple[Piece, str]], walked: WalkedSeam
) -> tuple[dict[int, Piece], tuple[Finding, ...]]:
    """The pieces, by edge number, with a notch more wherever the other side of the seam has a join and they have none,
    and a note for each."""
    changed: dict[int, Piece] = {}
    told: dict[Finding, None] = {}
    for one in walked.unmarked:
        number, along = walked.laid[one.side].place_on(one.along)
        piece, name = edges[number]
        piece = changed.get(number, piece)
        edge = walk_edge(piece, name)
        if any(abs(mark.along - along) < 0.5 for mark in (*edge.marks, *edge.ends)):
            continue  # the other side of a half has put it there already
        taken = {notch.name for notch in piece.notches}
        word = next(w for w in (one.join, *(f"{one.join} {n}" for n in range(2, 99))) if w not in taken)
        changed[number] = notched_at(piece, _on_seam_line(piece, name, along), word)
        note = f"a notch was added to edge '{name}' for the {one.join}, as the order asks"
        told[Finding("note", note, piece.file, piece.label, code="notch.added")] = None
    return changed, tuple(told)


def _on_seam_line(piece: Piece, name: str, along: float) -> Point:
    edge = next(e for e in piece.edges if e.name == name)
    contour = Contour(cleaned(piece.seam if piece.seam is not None else piece.outline))
    return contour.at((contour.locate(edge.start)[0] + along) % contour.perimeter)
