"""Named edges: corners and their numbers, anchors, and the outline as a chain of spans.

A *span* is the stretch of the seam outline between two neighbouring breaks; breaks are corners, ends of named edges
and ends of the fold edge. Finishes and alterations work span by span.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from nesting.model.errors import OrderError
from nesting.model.piece import Edge, Line, Piece, Point, Ring
from nesting.model.tolerances import JOIN_GAP_MM
from nesting.pieces.contour import Contour, as_points, cleaned
from nesting.pieces.grain import on_fold_line
from nesting.pieces.wishes import Anchor, EdgeSpec

__all__ = [
    "Anchors",
    "Span",
    "anchor_near",
    "anchor_point",
    "anchors_of",
    "between_corners",
    "chain",
    "drawn_ring",
    "edges_along",
    "fold_run",
    "named_places",
    "notch_names",
    "numbered_corners",
    "ring_of",
]

#: "3 + 40 %": a share of the way from a corner to the next.
_BETWEEN = re.compile(r"(\d+)\s*\+\s*(\d+(?:[.,]\d+)?)\s*%")

#: mm. Ends of named edges that lie this near to a corner are meant to be at the corner.
SNAP_MM = 2 * JOIN_GAP_MM


@dataclass(frozen=True)
class Span:
    """``line``: the seam line from break to break; ``cut``: the cut line that goes with it as drawn (the same line
    where only one outline is drawn). ``names``: the edges that run over it."""

    line: Line
    cut: Line
    names: tuple[str, ...] = ()
    fold: bool = False


def drawn_ring(piece: Piece) -> Ring:
    """The outline on which corners are counted and edges are named: the seam outline if there is one."""
    return piece.seam if piece.seam is not None else piece.outline


def _corner_places(contour: Contour) -> list[float]:
    """Places of the corners, from the one nearest the lower left of the drawing anticlockwise; without corners the
    point nearest the lower left."""
    x0, y0 = contour.points.min(axis=0)

    def distance(i: int) -> tuple[float, float, float]:
        x, y = contour.ring[i]
        return (round(math.hypot(x - x0, y - y0), 6), x, y)

    corners = list(contour.corners)
    if not corners:
        corners = [min(range(len(contour.ring)), key=distance)]
    first = corners.index(min(corners, key=distance))
    return [float(contour.starts[i]) for i in corners[first:] + corners[:first]]


@dataclass(frozen=True)
class Anchors:
    """The numbered corners and the named notches of a drawing, by which an order points at places; ``ring`` is the
    outline that they are on, for places between corners.

    Numbers go on after the corners: first with the ``bends`` (sharper than BEND_DEG), then with all ``others`` that
    were drawn, each anticlockwise from corner 1. So a corner keeps its number whatever else is numbered.
    """

    corners: tuple[Point, ...]
    notches: tuple[tuple[str, Point], ...]
    ring: Ring = ()
    bends: tuple[Point, ...] = ()
    others: tuple[Point, ...] = ()

    @property
    def numbered(self) -> tuple[Point, ...]:
        """All places that have a number; the first is number 1."""
        return (*self.corners, *self.bends, *self.others)


def numbered_corners(piece: Piece) -> tuple[Point, ...]:
    """Corners in the order of their numbers: the first is number 1. The piece is in the drawing frame."""
    contour = Contour(drawn_ring(piece))
    return tuple(contour.at(s) for s in _corner_places(contour))


def notch_names(piece: Piece) -> tuple[str, ...]:
    """A name for every notch: its own, or n1, n2, … counted anticlockwise from corner 1."""
    contour = Contour(drawn_ring(piece))
    start = _corner_places(contour)[0]

    def walked(k: int) -> float:
        return (contour.locate(piece.notches[k].at)[0] - start) % contour.perimeter

    names = [n.name or "" for n in piece.notches]
    taken = {n for n in names if n}
    for number, k in enumerate(sorted(range(len(names)), key=walked), 1):
        if not names[k]:
            name = f"n{number}"
            while name in taken:
                name += "'"
            names[k] = name
            taken.add(name)
    return tuple(names)


def anchors_of(piece: Piece) -> Anchors:
    """The anchors of a piece in the drawing frame (rings anticlockwise)."""
    names = notch_names(piece)
    marks = tuple((name, n.at) for name, n in zip(names, piece.notches, strict=True))
    contour = Contour(cleaned(drawn_ring(piece)))
    corners = numbered_corners(piece)
    start = contour.locate(corners[0])[0]

    def from_first(indices: Sequence[int]) -> tuple[Point, ...]:
        ordered = sorted(indices, key=lambda i: (float(contour.starts[i]) - start) % contour.perimeter)
        return tuple(p for p in (contour.ring[i] for i in ordered) if p not in corners)

    return Anchors(corners, marks, drawn_ring(piece), from_first(contour.bends), from_first(contour.vertices))


def between_corners(anchor: Anchor) -> tuple[int, float] | None:
    """Corner and share of an anchor such as "3 + 40 %": so far along the outline, anticlockwise, from corner 3 to the
    next one (0.4). None for any other anchor."""
    found = _BETWEEN.fullmatch(anchor.strip()) if isinstance(anchor, str) else None
    return (int(found[1]), float(found[2].replace(",", ".")) / 100.0) if found else None


def anchor_near(piece: Piece, point: Point, reach: float) -> tuple[Anchor, Point]:
    """The anchor for a place that somebody points at, and where it lies on the outline as drawn.

    A corner within ``reach`` mm is taken by its number. Else the sharpest bend within ``reach``, however slight, or,
    where the outline runs smoothly there, the place itself, both as a share of the way between two corners.
    """
    contour = Contour(cleaned(drawn_ring(piece)))
    corners = _corner_places(contour)
    place, _ = contour.locate(point)
    nearest = min(range(len(corners)), key=lambda k: math.dist(contour.at(corners[k]), point))
    if math.dist(contour.at(corners[nearest]), point) <= reach:
        return nearest + 1, contour.at(corners[nearest])
    turns = [abs(float(turn)) for turn in contour.turns]
    near = [i for i, p in enumerate(contour.ring) if math.dist(p, point) <= reach]
    # flattened curves turn a little at every point: a bend is what turns much more than the points beside it
    bends = [i for i in near if turns[i] > 3.0 * max(turns[i - 1], turns[(i + 1) % len(turns)], 0.2)]
    if bends:
        place = float(contour.starts[max(bends, key=lambda i: turns[i])])
    n = len(corners)
    k = next(k for k in range(n) if contour.within(place, corners[k], corners[(k + 1) % n], slack=0.0) or n == 1)
    whole = contour.span(corners[k], corners[(k + 1) % n]) or contour.perimeter
    share = round(100.0 * contour.span(corners[k], place) / whole, 4)
    return f"{k + 1} + {share:g} %", contour.at(place)


def anchor_point(anchor: Anchor, anchors: Anchors, key: str, *, file: str | None, piece: str) -> Point:
    """Where an anchor is in the drawing. Raises OrderError if there is no such corner or notch, or several."""
    number = int(anchor) if isinstance(anchor, str) and anchor.strip().isdigit() else anchor
    count = len(anchors.corners)
    part = between_corners(anchor)
    if part is not None and 1 <= part[0] <= count and part[1] <= 1.0:
        contour = Contour(cleaned(anchors.ring))
        start = contour.locate(anchors.corners[part[0] - 1])[0]
        whole = contour.span(start, contour.locate(anchors.corners[part[0] % count])[0]) or contour.perimeter
        return contour.at((start + part[1] * whole) % contour.perimeter)
    if part is not None:
        number = part[0]
    if isinstance(number, int):
        if 1 <= number <= len(anchors.numbered):
            return anchors.numbered[number - 1]
        more = ""
        distance = f' (a distance has its unit, as in at = "{number} cm")' if key.startswith("alter") else ""
        if anchors.bends or anchors.others:
            more = f", then bends to {len(anchors.numbered)}"
        raise OrderError(
            f"there is no corner {number}: the drawing has corners 1 to {count}{more}; see the labelled picture of "
            f"nesting check --picture (--corners all numbers every bend){distance}",
            file=file,
            piece=piece,
            key=key,
            code="corner.unknown",
        )
    matches = [p for name, p in anchors.notches if name == number]
    if len(matches) == 1:
        return matches[0]
    if matches:
        raise OrderError(
            f"{len(matches)} notches are called '{number}': give them different names, or use corner numbers",
            file=file,
            piece=piece,
            key=key,
            code="notch.name-twice",
        )
    names = [name for name, _ in anchors.notches]
    near = difflib.get_close_matches(str(number), names, 1)
    raise OrderError(
        f"there is no notch '{number}'{f'; did you mean {near[0]!r}?' if near else ''} (notches here: "
        f"{', '.join(names) or 'none'}; corners 1 to {count})",
        file=file,
        piece=piece,
        key=key,
        code="notch.unknown",
    )


def fold_run(ring: Ring, fold: tuple[Point, Point]) -> tuple[Point, Point] | None:
    """Ends of the side of the ring that lies on the line of the fold edge, in the ring's direction."""
    best: tuple[float, Point, Point] | None = None
    for p, q in zip(ring, ring[1:] + ring[:1], strict=True):
        if abs(on_fold_line(p, fold)) < 1e-5 and abs(on_fold_line(q, fold)) < 1e-5:
            d = math.dist(p, q)
            if best is None or d > best[0]:
                best = (d, p, q)
    return (best[1], best[2]) if best else None


def named_places(
    piece: Piece, specs: Sequence[EdgeSpec], contour: Contour, anchors: Anchors, *, file: str | None
) -> list[tuple[str, float, float]]:
    """Edges as (name, start place, end place): those of the order, then those of the file, then all stretches from
    corner to corner that have no name of their own, called "1-2", "2-3", … and "fold".

    Raises OrderError where an anchor is not found or a name is given twice in the order.
    """
    corners = [contour.locate(p)[0] for p in anchors.corners]
    fixed = list(corners)
    fold = fold_run(contour.ring, piece.fold) if piece.fold is not None else None
    fold_places = (contour.locate(fold[0])[0], contour.locate(fold[1])[0]) if fold else None
    if fold_places:
        fixed += fold_places

    def snapped(s: float) -> float:
        near = min(fixed, key=lambda f: _apart(f, s, contour.perimeter))
        return near if _apart(near, s, contour.perimeter) <= SNAP_MM else s

    found: list[tuple[str, float, float]] = []
    for spec in specs:
        key = f"edge '{spec.name}'"
        if any(spec.name == name for name, _, _ in found):
            raise OrderError(
                "this edge is named twice: use two names", file=file, piece=piece.label, key=key, code="edge.name-twice"
            )
        ends = [anchor_point(x, anchors, key, file=file, piece=piece.label) for x in (spec.start, spec.end)]
        a, b = (snapped(contour.locate(p)[0]) for p in ends)
        found.append((spec.name, a, b))
    in_order = {spec.name for spec in specs}
    for edge in piece.edges:
        if edge.name in in_order:
            continue
        a, b = snapped(contour.locate(edge.start)[0]), snapped(contour.locate(edge.end)[0])
        found.append((edge.name, a, b))
    if len(corners) == 1:
        pairs = [("1-1", corners[0], corners[0])]
    else:
        n = len(corners)
        pairs = [(f"{i + 1}-{(i + 1) % n + 1}", corners[i], corners[(i + 1) % n]) for i in range(n)]
    if fold_places and not any(_same_stretch(fold_places, (a, b), contour.perimeter) for _, a, b in found):
        pairs = [p for p in pairs if not _same_stretch(fold_places, p[1:], contour.perimeter)]
        found.append(("fold", *fold_places))
    for pair in pairs:
        if not any(_same_stretch(pair[1:], (a, b), contour.perimeter) for _, a, b in found):
            found.append(pair)
    return found


def _apart(a: float, b: float, perimeter: float) -> float:
    d = abs(a - b) % perimeter
    return min(d, perimeter - d)


def _same_stretch(a: tuple[float, float], b: tuple[float, float], perimeter: float) -> bool:
    return _apart(a[0], b[0], perimeter) < 1e-6 and _apart(a[1], b[1], perimeter) < 1e-6


def chain(piece: Piece, contour: Contour, places: Sequence[tuple[str, float, float]]) -> tuple[Span, ...]:
    """The ring cut into spans at all breaks. ``cut`` of each span is its own line until somebody knows better."""
    fold = fold_run(contour.ring, piece.fold) if piece.fold is not None else None
    ends = [s for _, a, b in places for s in (a, b)] + [float(contour.starts[i]) for i in contour.corners]
    if fold:
        ends += [contour.locate(p)[0] for p in fold]
    breaks: list[float] = []
    for s in sorted(ends):
        if not breaks or s - breaks[-1] > 1e-6:
            breaks.append(s)
    if len(breaks) > 1 and contour.perimeter - breaks[-1] + breaks[0] <= 1e-6:
        breaks.pop()
    if len(breaks) == 1:
        # one break would leave a line that meets itself: cut it once more, in the middle of the side opposite
        i, _ = contour.index_at(breaks[0] + contour.perimeter / 2)
        breaks.append((float(contour.starts[i]) + float(contour.sides[i]) / 2) % contour.perimeter)
        breaks.sort()
    lead = _corner_places(contour)[0]
    first = min(range(len(breaks)), key=lambda k: _apart(breaks[k], lead, contour.perimeter))
    breaks = breaks[first:] + breaks[:first]
    spans = []
    for a, b in zip(breaks, breaks[1:] + breaks[:1], strict=True):
        middle = (a + contour.span(a, b) / 2) % contour.perimeter
        names = tuple(name for name, s, e in places if contour.within(middle, s, e, slack=0.0))
        on_fold = fold is not None and all(abs(on_fold_line(contour.at(s), fold)) < 1e-5 for s in (a, middle, b))
        line = contour.stretch(a, b)
        spans.append(Span(line, line, names, on_fold))
    return tuple(spans)


def ring_of(lines: Sequence[Line]) -> Ring:
    """The ring that lines laid end to end make."""
    points: list[Point] = []
    for line in lines:
        for p in line:
            if not points or math.dist(points[-1], p) > 1e-7:
                points.append(p)
    while len(points) > 1 and math.dist(points[0], points[-1]) <= 1e-7:
        points.pop()
    return as_points(points)


def edges_along(spans: Sequence[Span]) -> tuple[Edge, ...]:
    """The named edges with their ends on the seam line, in the order of the spans."""
    n = len(spans)
    edges: list[Edge] = []
    for name in dict.fromkeys(name for span in spans for name in span.names):
        here = [name in span.names for span in spans]
        if all(here):
            # it runs all round; it begins at corner 1, which is where the chain has been cut for it
            edges.append(Edge(name, spans[0].line[0], spans[0].line[0]))
            continue
        for i in range(n):
            if here[i] and not here[i - 1]:
                j = i
                while here[(j + 1) % n]:
                    j += 1
                edges.append(Edge(name, spans[i].line[0], spans[j % n].line[-1]))
    return tuple(edges)
