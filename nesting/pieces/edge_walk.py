"""Walking one edge: its length on the seam line, its notches, whether it ends at the fold, and what it meets.

Lengths are taken on the seam line (on the cut line where no seam line is known).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from nesting.model.findings import Finding
from nesting.model.piece import Edge, Notch, Piece, Point
from nesting.model.tolerances import SEAM_MM
from nesting.pieces.contour import Contour, cleaned
from nesting.pieces.finishes import on_ray
from nesting.pieces.grain import on_fold_line

__all__ = [
    "END_MM",
    "Mark",
    "WalkedEdge",
    "edge_names",
    "notched_at",
    "seam_to_cut",
    "walk_edge",
    "with_centre_notches",
    "with_fold_notches",
]

#: mm. A notch this near to the end of an edge marks the end, not a place along it.
END_MM = 1.0
_FOLD_MM = 0.05


@dataclass(frozen=True)
class Mark:
    """A notch along an edge: ``along`` mm from the start of the edge, ``at`` on the seam line (the piece's frame).
    ``called``: what people call it, its own name or its number in the labelled picture."""

    along: float
    at: Point
    name: str | None = None
    called: str | None = None


@dataclass(frozen=True)
class WalkedEdge:
    """An edge measured on the seam line.

    ``length`` mm as drawn; ``folds``: whether its start and its end lie on the fold. ``marks`` are the notches between
    its ends, ``centre`` the notch at its middle (for a half: at the fold), None if there is none. ``meets``: the named
    edges that join it at its start and at its end. ``ends``: notches that mark an end of it;
    ``tips``: its start and its end on the seam line.
    """

    name: str
    length: float
    folds: tuple[bool, bool]
    marks: tuple[Mark, ...]
    centre: Mark | None
    middle: Point
    closed: bool = False
    meets: tuple[frozenset[str], frozenset[str]] = (frozenset(), frozenset())
    ends: tuple[Mark, ...] = ()
    tips: tuple[Point, Point] = ((0.0, 0.0), (0.0, 0.0))

    @property
    def half(self) -> bool:
        """Whether the edge ends at the fold, so that what is sewn is twice as long."""
        return any(self.folds)

    @property
    def whole_length(self) -> float:
        """Length opened out, mm."""
        return self.length * (2.0 if self.half else 1.0)


def edge_names(piece: Piece) -> tuple[str, ...]:
    """Names of the piece's edges, each once."""
    return tuple(dict.fromkeys(edge.name for edge in piece.edges))


def _edge(piece: Piece, name: str) -> Edge:
    found = [edge for edge in piece.edges if edge.name == name]
    if not found:
        raise KeyError(name)
    return found[0]


def walk_edge(piece: Piece, name: str, called: Sequence[str] = ()) -> WalkedEdge:
    """Measure one edge of a piece. ``called``: what people call its notches, in their order. KeyError if there is no
    such edge; the first one where several bear the name."""
    edge = _edge(piece, name)
    contour = Contour(cleaned(piece.seam if piece.seam is not None else piece.outline))
    a, b = contour.locate(edge.start)[0], contour.locate(edge.end)[0]
    length = contour.span(a, b)
    closed = length >= contour.perimeter - 1e-6
    fold = piece.fold
    folds = (
        fold is not None and abs(on_fold_line(edge.start, fold)) < _FOLD_MM,
        fold is not None and abs(on_fold_line(edge.end, fold)) < _FOLD_MM,
    )
    half_way = contour.at((a + length / 2) % contour.perimeter)
    if fold is not None and all(folds) and abs(on_fold_line(half_way, fold)) < _FOLD_MM:
        folds = (False, False)  # the fold edge itself
    marks: list[Mark] = []
    ends: list[Mark] = []
    centre: Mark | None = None
    middle_place = 0.0 if folds[0] else length if folds[1] else length / 2
    for number, notch in enumerate(piece.notches):
        s, gap = contour.locate(notch.at)
        along = (s - a) % contour.perimeter
        if along > length + END_MM:
            along -= contour.perimeter
        if not -END_MM <= along <= length + END_MM or gap > 100.0:
            continue
        word = called[number] if number < len(called) else notch.name
        mark = Mark(min(max(along, 0.0), length), contour.at(s), notch.name, word)
        if abs(along - middle_place) <= max(END_MM, SEAM_MM) and (centre is None):
            centre = mark
        if closed or END_MM < along < length - END_MM:
            marks.append(mark)
        else:
            ends.append(mark)
    marks.sort(key=lambda m: m.along)
    middle = contour.at((a + middle_place) % contour.perimeter)
    meets = (_meeting(piece, edge.start, edge), _meeting(piece, edge.end, edge))
    tips = (contour.at(a), contour.at(b))
    return WalkedEdge(name, length, folds, tuple(marks), centre, middle, closed, meets, tuple(ends), tips)


def _meeting(piece: Piece, end: Point, edge: Edge) -> frozenset[str]:
    return frozenset(
        other.name
        for other in piece.edges
        if other.name != edge.name
        and not other.name.replace("-", "").isdigit()
        and min(math.dist(end, other.start), math.dist(end, other.end)) < END_MM
    )


def with_centre_notches(piece: Piece, edges: Sequence[str]) -> tuple[Piece, tuple[Finding, ...]]:
    """The piece with a notch at the middle of each named edge (at the fold for an edge that ends there), where there is
    none yet. KeyError if there is no such edge."""
    findings = []
    for name in edges:
        walked = walk_edge(piece, name)
        if walked.centre is not None:
            continue
        if walked.half:
            # on the fold: the notch lies on the fold line, at the end of the fold edge, and points along it
            assert piece.fold is not None
            end = min(piece.fold, key=lambda p: math.dist(p, walked.middle))
            other = piece.fold[0] if end == piece.fold[1] else piece.fold[1]
            direction = math.degrees(math.atan2(other[1] - end[1], other[0] - end[0]))
            notch = Notch(end, direction % 360.0, name=f"centre {name}")
            piece = replace(piece, notches=(*piece.notches, notch))
        else:
            piece = notched_at(piece, walked.middle, f"centre {name}")
        told = f"a centre notch was added to edge '{name}', as the order asks"
        findings.append(Finding("note", told, piece.file, piece.label, code="notch.added"))
    return piece, tuple(findings)


def with_fold_notches(piece: Piece, edges: Sequence[str]) -> tuple[Piece, tuple[Finding, ...]]:
    """As ``with_centre_notches`` for those of the named edges that end at the fold."""
    return with_centre_notches(piece, [name for name in edges if walk_edge(piece, name).half])


def notched_at(piece: Piece, foot: Point, name: str) -> Piece:
    """The piece with a notch more, on the cut edge beside the place ``foot`` of its seam line."""
    seam = Contour(cleaned(piece.seam if piece.seam is not None else piece.outline))
    cut = Contour(cleaned(piece.outline))
    s = seam.locate(foot)[0]
    n = seam.outward(s)
    found = on_ray(seam.at(s), n, seam_to_cut(piece, foot), cut)
    at = found if found is not None else cut.at(cut.locate(foot)[0])
    direction = math.degrees(math.atan2(-n[1], -n[0]))
    return replace(piece, notches=(*piece.notches, Notch(at, direction % 360.0, name=name)))


def seam_to_cut(piece: Piece, p: Point) -> float:
    """How far the cut outline lies outside the seam outline near p, mm; negative where it lies inside."""
    if piece.seam is None:
        return 0.0
    seam = Contour(cleaned(piece.seam))
    cut = Contour(cleaned(piece.outline))
    s = seam.locate(p)[0]
    n, foot = seam.outward(s), seam.at(s)
    q = cut.at(cut.locate(foot)[0])
    side = (q[0] - foot[0]) * n[0] + (q[1] - foot[1]) * n[1]
    return math.copysign(math.dist(q, foot), side) if side else 0.0
