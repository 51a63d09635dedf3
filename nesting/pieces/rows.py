"""A side of a seam laid out along a line: one edge, or several in a row, from the end at which the sides begin.

A side may lie in several ways: its edges run with their outlines or against them, the row is read from either end, and
an edge that ends at the fold, or that a left and a right piece have, lies there twice where it goes against a whole
edge. Which way is meant is seen from the fold, from the edges that meet at the ends and joins, and from the notches.

    base row     front (from its fold) | back             as against another half
    opened out   back | front . front | back              mirrored where the row begins
    in place     front . front | back . back              each half opened where it lies
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from nesting.model.piece import Point
from nesting.pieces.edge_walk import Mark, WalkedEdge

__all__ = ["Laid", "Member", "Placed", "Run", "layouts", "lengths_of"]

#: Rows of more edges are tried only with all edges running the same way.
_MANY = 8

_Path = tuple[tuple[int, bool], ...]


@dataclass(frozen=True)
class Member:
    """An edge of a side: its ``number`` in the seam, its ``title`` ("front.waist"), and whether its piece is cut as a
    left and a right one. ``again``: the side names it more than once, so each mention is one cloth piece."""

    number: int
    title: str
    walked: WalkedEdge
    paired: bool
    again: bool = False

    @property
    def doubles(self) -> bool:
        """Whether it is sewn twice where the seam is opened out."""
        return (self.walked.half or self.paired) and not self.again


@dataclass(frozen=True)
class Run:
    """An edge where it lies in its side: from ``begin`` to ``end`` mm, against its outline if ``backwards``."""

    edge: int
    begin: float
    end: float
    backwards: bool


@dataclass(frozen=True)
class Placed:
    """A notch, or a join of two edges, ``along`` the side, mm; ``edge``: whose it is (of a join, the one before);
    ``own``: mm from the start of its edge."""

    along: float
    edge: int
    at: Point
    name: str | None = None
    called: str | None = None
    join: bool = False
    own: float = 0.0


@dataclass(frozen=True)
class Laid:
    """A side laid out: its edges one after the other, what is marked on it, and what it meets at either end."""

    length: float
    runs: tuple[Run, ...]
    marks: tuple[Placed, ...]
    joins: tuple[Placed, ...]
    #: every place with a name by which ease may be placed: notches, the ends of edges by what they meet, the fold
    named: tuple[Placed, ...]
    meets: tuple[frozenset[str], frozenset[str]]
    at_fold: tuple[bool, bool]
    #: whether it is mirrored about its middle
    mirrored: bool

    @property
    def all_marks(self) -> tuple[Placed, ...]:
        """Notches and joins along the side."""
        return tuple(sorted((*self.marks, *self.joins), key=lambda m: m.along))

    def place_on(self, along: float) -> tuple[int, float]:
        """Edge and mm from its start for a place along the side."""
        run = next((r for r in self.runs if along <= r.end + 1e-9), self.runs[-1])
        inside = min(max(along - run.begin, 0.0), run.end - run.begin)
        return run.edge, run.end - run.begin - inside if run.backwards else inside


def lengths_of(members: Sequence[Member], opened: bool) -> tuple[float, ...]:
    """How much of the side each edge makes up, mm."""
    return tuple(m.walked.length * (2.0 if opened and m.doubles else 1.0) for m in members)


def layouts(members: Sequence[Member], opened: bool, *, first: bool) -> list[Laid]:
    """The ways in which a side may lie, likeliest first. The ``first`` side of a seam begins where it is written."""
    paths: dict[_Path, None] = {}
    for path in _paths(members, opened):
        ways = (path,) if first else (_reversed(path), path)
        for way in ways:
            paths[way] = None
    by_number = {m.number: m for m in members}
    laid = [_laid(by_number, path) for path in paths]
    most = max(_met(by_number, path) for path in paths)
    return [one for one, path in zip(laid, paths, strict=True) if _met(by_number, path) == most]


def _reversed(path: _Path) -> _Path:
    return tuple((number, not back) for number, back in reversed(path))


def _paths(members: Sequence[Member], opened: bool) -> Iterator[_Path]:
    if not opened:
        yield from _rows(members)
        return
    doubled = [m for m in members if m.doubles]
    in_place = not any(m.paired and not m.walked.half for m in doubled)
    if in_place:
        for path in _rows(members, fold_at_ends=False):
            yield _in_place(members, path)
        if len(members) == 1 or len(doubled) < len(members):
            return
    # left and right lie on both sides of what is in the middle: the first of the row, or the last
    for path in _rows(members):
        middle = next(m for m in members if m.number == path[0][0])
        mirror = _reversed(path)
        yield (*(mirror if middle.doubles else mirror[:-1]), *path)
        last = next(m for m in members if m.number == path[-1][0])
        yield (*path, *(mirror if last.doubles else mirror[1:]))


def _rows(members: Sequence[Member], *, fold_at_ends: bool = True) -> Iterator[_Path]:
    """The row with every edge running either way; halves have their fold at an end of the row, if they can."""
    n = len(members)
    choices: list[tuple[bool, ...]] = []
    for k, member in enumerate(members):
        from_fold = not member.walked.folds[0]
        if not member.walked.half or (0 < k < n - 1) or not fold_at_ends:
            choices.append((False, True) if n > 1 or fold_at_ends is False else (False,))
        else:
            choices.append((from_fold,) if k == 0 else (not from_fold,))
    if n > _MANY:
        choices = [c[:1] if len(c) > 1 else c for c in choices]
    for flags in itertools.product(*choices):
        yield tuple((m.number, back) for m, back in zip(members, flags, strict=True))


def _in_place(members: Sequence[Member], path: _Path) -> _Path:
    out: list[tuple[int, bool]] = []
    for (number, back), member in zip(path, members, strict=True):
        if member.doubles and member.walked.half:
            to_fold = member.walked.folds[0]
            out += [(number, to_fold), (number, not to_fold)]
        else:
            out.append((number, back))
    return tuple(out)


def _ends(walked: WalkedEdge, back: bool) -> tuple[frozenset[str], frozenset[str]]:
    return (walked.meets[1], walked.meets[0]) if back else walked.meets


def _folds(walked: WalkedEdge, back: bool) -> tuple[bool, bool]:
    return (walked.folds[1], walked.folds[0]) if back else walked.folds


def _met(members: dict[int, Member], path: _Path) -> int:
    """How many joins of the row are where both edges meet edges of one name."""
    return sum(
        bool(_ends(members[a].walked, x)[1] & _ends(members[b].walked, y)[0])
        for (a, x), (b, y) in itertools.pairwise(path)
        if a != b
    )


def _laid(members: dict[int, Member], path: _Path) -> Laid:
    runs: list[Run] = []
    marks: list[Placed] = []
    joins: list[Placed] = []
    named: list[Placed] = []
    begin = 0.0
    for k, (number, back) in enumerate(path):
        walked = members[number].walked

        def put(mark: Mark, b: float = begin, w: WalkedEdge = walked, r: bool = back, n: int = number) -> Placed:
            along = b + (w.length - mark.along if r else mark.along)
            return Placed(along, n, mark.at, mark.name, mark.called, own=mark.along)

        marks += [put(mark) for mark in walked.marks]
        named += [put(mark) for mark in (*walked.marks, *walked.ends)]
        end = begin + walked.length
        for at_end, names, fold in zip((False, True), _ends(walked, back), _folds(walked, back), strict=True):
            point = walked.tips[at_end != back]
            along = end if at_end else begin
            named += [Placed(along, number, point, None, name) for name in sorted(names)]
            if fold:
                named.append(Placed(along, number, point, None, "fold"))
        if k > 0:
            before, was = path[k - 1]
            if before == number and _folds(walked, back)[0]:
                if walked.centre is not None:
                    marks.append(replace(put(walked.centre), along=begin))
            else:
                tip = members[before].walked.tips[0 if was else 1]
                joins.append(Placed(begin, before, tip, _join(members, before, number), join=True))
        runs.append(Run(number, begin, end, back))
        begin = end
    first, last = path[0], path[-1]
    head, tail = members[first[0]].walked, members[last[0]].walked
    mirrored = len(path) > 1 and path == _reversed(path)
    meets = (_ends(head, first[1])[0], _ends(tail, last[1])[1])
    at_fold = (_folds(head, first[1])[0], _folds(tail, last[1])[1])
    marks.sort(key=lambda m: m.along)
    return Laid(begin, tuple(runs), tuple(marks), tuple(joins), tuple(named), meets, at_fold, mirrored)


def _join(members: dict[int, Member], a: int, b: int) -> str:
    if a == b:
        return f"join of left and right {members[a].title}"
    return f"join of {members[min(a, b)].title} and {members[max(a, b)].title}"
