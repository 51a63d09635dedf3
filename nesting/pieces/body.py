"""A piece while it is being made ready: its spans, and the marks that travel with them, in the drawing frame."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from shapely import LineString
from shapely import Point as Dot

from nesting.model.errors import PatternError
from nesting.model.piece import Line, Notch, Piece, Point, Ring
from nesting.pieces.contour import Contour, along, cleaned, intersection, length_of, unit
from nesting.pieces.edges import Anchors, Span, chain, drawn_ring, edges_along, fold_run, named_places, ring_of
from nesting.pieces.offset import SMOOTH_DEG, right_of
from nesting.pieces.wishes import EdgeSpec

__all__ = ["Body", "body_of"]

#: A drawn mitre longer than this many allowances is not looked for.
_LONGEST_TIP = 12.0
#: mm. A corner of the cut outline is that of a hollow corner if it is as far from both edges as this allows.
_HOLLOW_MM = 0.3


@dataclass(frozen=True)
class Body:
    """``piece`` holds what does not depend on the outline (inside lines, drills, cutouts, grainline, texts).

    ``anchors`` are those of the drawing; ``moved_corners`` tells where alterations have put its corners.
    ``finished``: the cut outline after the finishes, which the spans' cut lines then no longer tell.
    ``seam_known``: the span's lines are the seam outline; otherwise they are the one outline that is drawn.
    """

    piece: Piece
    spans: tuple[Span, ...]
    notches: tuple[Notch, ...]
    seam_known: bool
    anchors: Anchors
    moved_corners: dict[Point, Point] = field(default_factory=dict)
    finished: Ring | None = None

    @property
    def label(self) -> str:
        """Name and size."""
        return self.piece.label

    @property
    def file(self) -> str | None:
        """The pattern file."""
        return self.piece.file

    @property
    def seam_ring(self) -> Ring:
        """The seam outline (or the one outline that is drawn)."""
        return ring_of([span.line for span in self.spans])

    @property
    def cut_ring(self) -> Ring:
        """The cut outline."""
        if self.finished is not None:
            return self.finished
        return ring_of([span.cut for span in self.spans])

    def place(self, p: Point) -> str:
        """Where a point is, for people: coordinates of the drawing, the nearest edge and the nearest notch."""
        words = f"at ({p[0]:.1f}, {p[1]:.1f}) mm of the drawing"

        def gap(line: Line) -> float:
            return min(_distance(p, a, b) for a, b in itertools.pairwise(line))

        nearest = min(self.spans, key=lambda span: gap(span.line))
        if nearest.names:
            named = [n for n in nearest.names if not n.replace("-", "").isdigit()]
            words += f", on edge '{(named or list(nearest.names))[0]}'"
        if self.notches:
            k = min(range(len(self.notches)), key=lambda i: math.dist(self.notches[i].at, p))
            words += f", nearest notch '{self.anchors.notches[k][0]}'"
        return words

    def as_piece(self) -> Piece:
        """The piece with the outline, seam outline, fold edge, edges and notches of this body."""
        outline = self.cut_ring
        fold = None
        if self.piece.fold is not None:
            fold = fold_run(outline, self.piece.fold)
            if fold is None:
                raise PatternError(
                    "the fold edge was lost on the way: draw it as one straight side",
                    file=self.file,
                    piece=self.label,
                    code="fold.lost",
                )
        return replace(
            self.piece,
            outline=outline,
            seam=self.seam_ring if self.seam_known else None,
            fold=fold,
            edges=edges_along(self.spans),
            notches=self.notches,
        )


def _distance(p: Point, a: Point, b: Point) -> float:
    dx, dy = b[0] - a[0], b[1] - a[1]
    length2 = dx * dx + dy * dy
    t = 0.0 if length2 == 0 else max(0.0, min(1.0, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length2))
    return math.dist(p, (a[0] + t * dx, a[1] + t * dy))


def body_of(
    piece: Piece, specs: Sequence[EdgeSpec], anchors: Anchors, *, file: str | None, follow_cut: bool = True
) -> Body:
    """The piece (drawing frame, fold edge straight) as spans with its edges named.

    ``follow_cut``: each span gets its part of the drawn cut outline; needed before the cut outline is changed. Raises
    OrderError where an edge of the order is not found, PatternError where the drawn cut outline does not go along with
    the drawn seam outline.
    """
    contour = Contour(cleaned(drawn_ring(piece)))
    places = named_places(piece, specs, contour, anchors, file=file)
    contour_ready = contour.with_points([s for _, a, b in places for s in (a, b)])
    spans = chain(piece, contour_ready, places)
    if piece.seam is not None and follow_cut:
        spans = _with_drawn_cut(piece, spans, file=file)
    return Body(piece, spans, piece.notches, piece.seam is not None, anchors)


def _hollow(corners: Sequence[Point], one: Line, two: Line, corner: Point, cut: Contour) -> Point | None:
    """The corner of the cut outline that lies as far from the two lines of a hollow corner as the outline does beside
    their middles: between curves it may lie far from where their ends, drawn on straight, would put it."""
    paths = LineString(one), LineString(two)
    gaps = [cut.locate(along(line, length_of(line) / 2)[0])[1] for line in (one, two)]
    fit = [
        c
        for c in corners
        if all(abs(path.distance(Dot(c)) - gap) <= _HOLLOW_MM for path, gap in zip(paths, gaps, strict=True))
    ]
    return min(fit, key=lambda c: math.dist(c, corner), default=None)


def _with_drawn_cut(piece: Piece, spans: tuple[Span, ...], *, file: str | None) -> tuple[Span, ...]:
    """Each span with the part of the drawn cut outline that belongs to it."""
    cut = Contour(cleaned(piece.outline))
    # where both sides of a hollow corner have been cut back the outline may turn by less than at the corner itself
    corners = [p for p, turn in zip(cut.ring, cut.turns, strict=True) if abs(float(turn)) >= SMOOTH_DEG]
    fold = fold_run(cut.ring, piece.fold) if piece.fold is not None else None

    def beside(span: Span, *, end: bool) -> float:
        """Signed distance of the cut outline from the span near one of its ends."""
        total = length_of(span.line)
        reach = min(10.0, total / 4)
        p, u = along(span.line, total - reach if end else reach)
        place, gap = cut.locate(p)
        q, n = cut.at(place), right_of(u)
        return gap if (q[0] - p[0]) * n[0] + (q[1] - p[1]) * n[1] >= 0 else -gap

    places: list[float] = []
    for i, two in enumerate(spans):
        one = spans[i - 1]
        corner = two.line[0]
        if fold is not None and two.fold:
            places.append(cut.locate(fold[0])[0])
            continue
        if fold is not None and one.fold:
            places.append(cut.locate(fold[1])[0])
            continue
        da, db = beside(one, end=True), beside(two, end=False)
        a, b = unit(one.line[-2], one.line[-1]), unit(two.line[0], two.line[1])
        na, nb = right_of(a), right_of(b)
        hit = intersection(
            (corner[0] + da * na[0], corner[1] + da * na[1]), a, (corner[0] + db * nb[0], corner[1] + db * nb[1]), b
        )
        reach = max(abs(da), abs(db))
        # where the lines beside both edges meet; where they hardly do, beside the corner itself
        wanted: list[Point] = []
        if hit is not None and abs(hit[0]) <= _LONGEST_TIP * reach + 1:
            wanted.append((corner[0] + da * na[0] + hit[0] * a[0], corner[1] + da * na[1] + hit[0] * a[1]))
        if hit is None or abs(hit[0]) > 4 * reach + 1:
            d = (da + db) / 2
            wanted.append((corner[0] + d * nb[0], corner[1] + d * nb[1]))
        sharp = abs(a[0] * b[1] - a[1] * b[0]) > 0.35
        place = wanted[-1]
        for want in wanted if sharp and corners else ():
            near = min(corners, key=lambda c: math.dist(c, want))
            if math.dist(near, want) <= 0.5 * reach + 1.0:
                place = near
                break
        else:
            if sharp and a[0] * b[1] - a[1] * b[0] < 0.0:
                place = _hollow(corners, one.line, two.line, corner, cut) or place
        places.append(cut.locate(place)[0])
    n = len(spans)
    walked = math.fsum(cut.span(places[i], places[(i + 1) % n]) for i in range(n))
    if abs(walked - cut.perimeter) > 1e-3:
        raise PatternError(
            "the seam outline and the cut outline do not run side by side, so they cannot be followed edge by edge: "
            "draw both round the same piece in the same order",
            file=file,
            piece=piece.label,
            code="seam-line.not-beside",
        )
    cut = cut.with_points(places)
    return tuple(replace(span, cut=cut.stretch(places[i], places[(i + 1) % n])) for i, span in enumerate(spans))
