"""Walking seams: do edges that are sewn together agree in length, and do their notches meet?

Lengths are taken on the seam line (on the cut line where no seam line is known). An edge that ends at the fold is half
of what is sewn: against other halves it is walked from the fold, against a whole edge it is opened out first. Both
edges are walked from the end from which their notches meet best, as right sides together one of them runs backwards.
Where the second edge is to be eased or stretched in, that is spread evenly along it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from nesting.model.findings import Figure, Finding
from nesting.model.piece import Edge, Notch, Piece, Point
from nesting.model.tolerances import SEAM_MM
from nesting.pieces.contour import Contour, cleaned
from nesting.pieces.finishes import on_ray
from nesting.pieces.grain import on_fold_line

__all__ = [
    "Mark",
    "NotchGap",
    "SeamTold",
    "WalkedEdge",
    "WalkedSeam",
    "edge_names",
    "walk_edge",
    "walk_seam",
    "with_centre_notches",
]

#: mm. A notch this near to the end of an edge marks the end, not a place along it.
END_MM = 1.0
#: mm. Notches farther apart than this are not meant to meet; each then lacks a partner.
PARTNER_MM = 25.0
_FOLD_MM = 0.05

_Brought = tuple[float, "Mark"]


def _in_mm(mm: float) -> str:
    return f"{mm:.1f} mm"


@dataclass(frozen=True)
class Mark:
    """A notch along an edge: ``along`` mm from the start of the edge, ``at`` on the seam line (the piece's frame)."""

    along: float
    at: Point
    name: str | None = None


@dataclass(frozen=True)
class WalkedEdge:
    """An edge measured on the seam line.

    ``length`` mm as drawn; ``folds``: whether its start and its end lie on the fold. ``marks`` are the notches between
    its ends, ``centre`` the notch at its middle (for a half: at the fold), None if there is none. ``meets``: the named
    edges that join it at its start and at its end.
    """

    name: str
    length: float
    folds: tuple[bool, bool]
    marks: tuple[Mark, ...]
    centre: Mark | None
    middle: Point
    closed: bool = False
    meets: tuple[frozenset[str], frozenset[str]] = (frozenset(), frozenset())

    @property
    def half(self) -> bool:
        """Whether the edge ends at the fold, so that what is sewn is twice as long."""
        return any(self.folds)

    @property
    def whole_length(self) -> float:
        """Length opened out, mm."""
        return self.length * (2.0 if self.half else 1.0)


@dataclass(frozen=True)
class NotchGap:
    """A notch of the first edge and its partner on the edge ``edge`` (number in the seam): ``along`` mm from the common
    end on the first edge, ``difference`` mm (partner's place minus own, after ease), ``at`` both places, each in its
    own piece's frame."""

    edge: int
    along: float
    difference: float
    at: tuple[Point, Point]


@dataclass(frozen=True)
class SeamTold:
    """One thing that does not agree along a seam, as data: lengths mm."""

    code: Literal["seam.mismatch", "seam.notch-apart", "seam.notch-alone"]
    message: str
    figures: Mapping[str, Figure]

    @property
    def forbids(self) -> bool:
        """Whether the seam cannot be sewn before it is mended."""
        return self.code != "seam.notch-alone"


@dataclass(frozen=True)
class WalkedSeam:
    """What walking a seam found. ``lengths`` as compared (halves all halves, or all opened), ``difference`` the largest
    departure from what the first edge asks for, mm. ``lone``: (edge number, mark) of notches without a partner.
    ``no_centre``: edges without a centre notch where one is wanted. ``wanted``: the lengths that the first edge asks
    for, ease included."""

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
        first = self.edges[0]
        for name, length, want in zip(self.edges, self.lengths, self.wanted, strict=True):
            if abs(length - want) > self.tolerance:
                longer = "longer" if length > want else "shorter"
                than = f"{first} with its ease asks for" if self.eased else first
                figures: dict[str, Figure] = {"edge": name, "to": first, "length": length, "wanted": want}
                words = f"{name} is {say(abs(length - want))} {longer} than {than} ({say(length)} against {say(want)})"
                told.append(SeamTold("seam.mismatch", words, figures))
        for gap in self.notches:
            if abs(gap.difference) > self.tolerance:
                other = self.edges[gap.edge]
                words = (
                    f"the notch {say(gap.along)} along {first} misses its partner on {other} by "
                    f"{say(abs(gap.difference))}"
                )
                figures = {"edge": other, "to": first, "along": gap.along, "difference": gap.difference}
                told.append(SeamTold("seam.notch-apart", words, figures))
        for k, mark in self.lone:
            words = f"the notch {say(mark.along)} along {self.edges[k]} has no partner"
            told.append(SeamTold("seam.notch-alone", words, {"edge": self.edges[k], "along": mark.along}))
        return tuple(told)


def edge_names(piece: Piece) -> tuple[str, ...]:
    """Names of the piece's edges, each once."""
    return tuple(dict.fromkeys(edge.name for edge in piece.edges))


def _edge(piece: Piece, name: str) -> Edge:
    found = [edge for edge in piece.edges if edge.name == name]
    if not found:
        raise KeyError(name)
    return found[0]


def walk_edge(piece: Piece, name: str) -> WalkedEdge:
    """Measure one edge of a piece. KeyError if there is no such edge; the first one where several bear the name."""
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
    marks = []
    centre: Mark | None = None
    middle_place = 0.0 if folds[0] else length if folds[1] else length / 2
    for notch in piece.notches:
        s, gap = contour.locate(notch.at)
        along = (s - a) % contour.perimeter
        if along > length + END_MM:
            along -= contour.perimeter
        if not -END_MM <= along <= length + END_MM or gap > 100.0:
            continue
        mark = Mark(min(max(along, 0.0), length), contour.at(s), notch.name)
        if abs(along - middle_place) <= max(END_MM, SEAM_MM) and (centre is None):
            centre = mark
        if closed or END_MM < along < length - END_MM:
            marks.append(mark)
    marks.sort(key=lambda m: m.along)
    middle = contour.at((a + middle_place) % contour.perimeter)
    meets = (_meeting(piece, edge.start, edge), _meeting(piece, edge.end, edge))
    return WalkedEdge(name, length, folds, tuple(marks), centre, middle, closed, meets)


def _meeting(piece: Piece, end: Point, edge: Edge) -> frozenset[str]:
    return frozenset(
        other.name
        for other in piece.edges
        if other.name != edge.name
        and not other.name.replace("-", "").isdigit()
        and min(math.dist(end, other.start), math.dist(end, other.end)) < END_MM
    )


def _ways(first: WalkedEdge, other: WalkedEdge, opened: bool) -> list[bool]:
    """Whether the other edge runs backwards from the common end: known from the fold or from the edges that both join
    (a side seam runs from waist to leg on both pieces), otherwise both ways are tried, backwards first."""
    if first.half and other.half and not opened:
        return [False]  # both are walked from the fold
    forwards = bool(first.meets[0] & other.meets[0]) or bool(first.meets[1] & other.meets[1])
    backwards = bool(first.meets[0] & other.meets[1]) or bool(first.meets[1] & other.meets[0])
    if forwards != backwards and not first.half and not other.half:
        return [backwards]
    return [True, False]


def _opened_marks(edge: WalkedEdge, opened: bool) -> list[Mark]:
    """Marks from the end that lies on the fold, or of the edge opened out, fold in the middle."""
    if not edge.half:
        return list(edge.marks)
    from_fold = [replace(m, along=m.along if edge.folds[0] else edge.length - m.along) for m in edge.marks]
    if not opened:
        return sorted(from_fold, key=lambda m: m.along)
    half = edge.length
    both = [replace(m, along=half - m.along) for m in from_fold] + [replace(m, along=half + m.along) for m in from_fold]
    if edge.centre is not None:
        both.append(replace(edge.centre, along=half))
    return sorted(both, key=lambda m: m.along)


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


def _brought(marks: Sequence[Mark], length: float, *, backwards: bool, scale: float, shift: float) -> list[_Brought]:
    """Marks of another edge as places on the first edge, sorted."""
    out = [(((length - m.along) if backwards else m.along) / scale + shift, m) for m in marks]
    return sorted(out, key=lambda pair: pair[0])


def walk_seam(
    edges: Sequence[tuple[Piece, str]],
    names: Sequence[str],
    *,
    ease: float = 0.0,
    ratio: float = 1.0,
    tolerance: float | None = None,
    pairs: Sequence[bool] | None = None,
) -> WalkedSeam:
    """Walk the edges of a seam against the first of them.

    ``edges``: (piece in its grain frame, edge name), two or more; ``names`` what people call them. Every other edge is
    to be ``ratio`` times as long as the first, plus ``ease`` mm. ``pairs`` tells which pieces are cut as a left and a
    right one: each of those goes against one half of a piece on the fold. ``tolerance`` mm, default SEAM_MM;
    errors of pieces traced from pictures are added to it. KeyError if an edge is not there.
    """
    # An edge that was traced from a picture may be longer or shorter by its error at either end.
    doubt = 2.0 * sum(piece.error for piece, _ in edges)
    allowed = (SEAM_MM if tolerance is None else tolerance) + doubt
    walked = [walk_edge(piece, name) for piece, name in edges]
    halves = [w.half for w in walked]
    paired = list(pairs) if pairs is not None else [False] * len(walked)
    # a half against a whole edge that is cut once is opened out; ease is given for the whole seam
    opened = any(halves) and not all(h or p for h, p in zip(halves, paired, strict=True))
    ease_here = ease / 2 if any(halves) and not opened else ease
    doubled = [2.0 if opened and (h or p) else 1.0 for h, p in zip(halves, paired, strict=True)]
    lengths = [w.length * f for w, f in zip(walked, doubled, strict=True)]
    marks = [_opened_marks(w, opened) for w in walked]
    wants = [lengths[0]]
    differences = [0.0]
    gaps: list[NotchGap] = []
    lone: list[tuple[int, Mark]] = []
    first = marks[0]
    paired_first: set[int] = set()
    runs = [walked[0].half and not walked[0].folds[0]]
    for k in range(1, len(walked)):
        want = ratio * lengths[0] + ease_here
        difference = lengths[k] - want
        differences.append(difference)
        wants.append(want)
        scale = want / lengths[0]
        best: tuple[float, list[_Brought], list[tuple[int, int]], bool] | None = None
        for backwards in _ways(walked[0], walked[k], opened):
            for shift in (0.0, -difference / scale) if abs(difference) > 1e-9 else (0.0,):
                other = _brought(marks[k], lengths[k], backwards=backwards, scale=scale, shift=shift)
                cost, met = _pairs([m.along for m in first], [place for place, _ in other], PARTNER_MM)
                if best is None or cost < best[0] - 1e-6:
                    best = (cost, other, met, backwards)
        assert best is not None
        _, other, met, turned = best
        runs.append(not walked[k].folds[0] if walked[k].half and not opened else turned)
        for i, j in met:
            place, mark = other[j]
            gap = (place - first[i].along) * scale
            gaps.append(NotchGap(k, first[i].along, gap, (first[i].at, mark.at)))
        paired_first |= {i for i, _ in met}
        taken = {j for _, j in met}
        lone += [(k, mark) for j, (_, mark) in enumerate(other) if j not in taken]
    lone += [(0, m) for i, m in enumerate(first) if i not in paired_first]
    wanted = len(walked) > 2 or any(halves)
    no_centre = tuple(
        names[k]
        for k, w in enumerate(walked)
        if wanted and w.centre is None and not w.closed and not (paired[k] and not w.half)
    )
    worst = max(differences, key=abs)
    return WalkedSeam(
        tuple(names),
        tuple(lengths),
        worst,
        allowed,
        all(abs(d) <= allowed for d in differences),
        tuple(gaps),
        tuple(lone),
        no_centre,
        tuple(wants),
        ratio != 1.0 or ease != 0.0,
        tuple(runs),
    )


def with_centre_notches(piece: Piece, edges: Sequence[str]) -> tuple[Piece, tuple[Finding, ...]]:
    """The piece with a notch at the middle of each named edge (at the fold for an edge that ends there), where there is
    none yet. KeyError if there is no such edge."""
    findings = []
    for name in edges:
        walked = walk_edge(piece, name)
        if walked.centre is not None:
            continue
        seam = Contour(cleaned(piece.seam if piece.seam is not None else piece.outline))
        cut = Contour(cleaned(piece.outline))
        s = seam.locate(walked.middle)[0]
        if walked.half:
            # on the fold: the notch lies on the fold line, at the end of the fold edge, and points along it
            assert piece.fold is not None
            end = min(piece.fold, key=lambda p: math.dist(p, walked.middle))
            other = piece.fold[0] if end == piece.fold[1] else piece.fold[1]
            direction = math.degrees(math.atan2(other[1] - end[1], other[0] - end[0]))
            at = end
        else:
            n = seam.outward(s)
            found = on_ray(seam.at(s), n, seam_to_cut(piece, walked.middle), cut)
            at = found if found is not None else cut.at(cut.locate(walked.middle)[0])
            direction = math.degrees(math.atan2(-n[1], -n[0]))
        piece = replace(piece, notches=(*piece.notches, Notch(at, direction % 360.0, name=f"centre {name}")))
        told = f"a centre notch was added to edge '{name}', as the order asks"
        findings.append(Finding("note", told, piece.file, piece.label, code="notch.added"))
    return piece, tuple(findings)


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
