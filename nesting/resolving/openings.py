"""What each opening of a garment takes: how long its edge is, how often it is there, and what goes round it.

An edge is measured on the seam outline where the piece has one, for that is where a trim is sewn, else on the cut
outline. A half on the fold is opened: an edge that ends on the fold runs on into its mirror image, any other edge is
there twice. What runs round together is one *opening*: a leg opening is there twice in a garment, a waist once.
"""

from __future__ import annotations

import math

from nesting.model.errors import OrderError
from nesting.model.order import CutPiece, Garment, Opening, Order, Trim
from nesting.model.piece import Edge, Piece, Point, Ring
from nesting.resolving.cutting_list import Round

__all__ = ["arc_length", "edge_length", "round_of"]

#: mm. An end this near to the fold line lies on it; ends of neighbouring edges this near meet.
_TOUCH_MM = 0.1


def arc_length(ring: Ring, start: Point, end: Point) -> float:
    """The length from ``start`` along the ring in its own sense (anticlockwise) to ``end``, mm.

    Both are taken to the nearest place on the ring. Equal ends give the whole way round.
    """
    at = [0.0]
    for (x0, y0), (x1, y1) in zip(ring, (*ring[1:], ring[0]), strict=True):
        at.append(at[-1] + math.hypot(x1 - x0, y1 - y0))
    total = at[-1]

    def place(p: Point) -> float:
        nearest, where = math.inf, 0.0
        for i, (x0, y0) in enumerate(ring):
            x1, y1 = ring[(i + 1) % len(ring)]
            dx, dy = x1 - x0, y1 - y0
            square = dx * dx + dy * dy
            t = 0.0 if square == 0.0 else max(0.0, min(1.0, ((p[0] - x0) * dx + (p[1] - y0) * dy) / square))
            gap = math.hypot(x0 + t * dx - p[0], y0 + t * dy - p[1])
            if gap < nearest - 1e-12:
                nearest, where = gap, at[i] + t * math.sqrt(square)
        return where

    length = (place(end) - place(start)) % total
    return total if length < 1e-9 else length


def edge_length(piece: Piece, edge: Edge) -> float:
    """The length of a named edge as drawn, mm: on the seam outline if there is one, else on the cut outline."""
    return arc_length(piece.seam if piece.seam is not None else piece.outline, edge.start, edge.end)


def _ends_on_fold(piece: Piece, edge: Edge) -> int:
    """How many of the edge's ends lie on the fold line: 0, 1 or 2."""
    if piece.fold is None:
        return 0
    (ax, ay), (bx, by) = piece.fold
    length = math.hypot(bx - ax, by - ay)

    def off(p: Point) -> float:
        return abs((p[0] - ax) * (by - ay) - (p[1] - ay) * (bx - ax)) / length

    return sum(off(p) <= _TOUCH_MM for p in (edge.start, edge.end))


def _stretches(cut: CutPiece, edge: Edge) -> tuple[int, float]:
    """In how many separate stretches the edge is there in one garment, and the length of each, mm."""
    length = edge_length(cut.piece, edge)
    if not cut.on_fold:
        return cut.cut, length
    if _ends_on_fold(cut.piece, edge):
        return cut.cut, 2.0 * length
    return 2 * cut.cut, length


def _named(order: Order, what: Trim | Opening, garment: Garment, text: str) -> tuple[CutPiece, Edge] | None:
    """The piece and edge of "piece.edge" in this garment; None where the garment has no such piece."""
    name, _, edge_name = text.rpartition(".")
    if name not in garment.pieces:
        if isinstance(what, Trim) and all(cut.name != name for cut in order.pieces):
            raise OrderError(
                f"'{what.name}' goes along '{text}', but there is no piece '{name}': check its name",
                file=order.path,
                key="trim.edges",
                code="trim.no-piece",
            )
        return None
    cut = order.cut_piece(name, garment.size)
    for edge in cut.piece.edges:
        if edge.name == edge_name:
            return cut, edge
    known = ", ".join(e.name for e in cut.piece.edges) or "none"
    raise OrderError(
        f"'{what.name}' goes along edge '{edge_name}', but the piece's named edges are: {known}; name the edge in "
        "the pattern or with [[edge]]",
        file=order.path,
        piece=cut.piece.label,
        key="trim.edges",
        code="edge.unknown",
    )


def _joined_to_own_mirror(order: Order, name: str, cut: CutPiece, edge: Edge) -> bool:
    """Whether the piece is sewn to its own mirrored copy where this edge ends, so that left and right run on.

    That is so where the order says it (a seam of an edge with itself), and it is taken to be so where at one end the
    neighbouring edge is sewn to another piece and at the other end to nothing: that must be the centre seam.
    """
    sewn_to: dict[str, set[str]] = {}
    for seam in order.seams:
        for text in seam.edges:
            others = {t for side in seam.sides if text not in side for t in side} or {text}
            sewn_to.setdefault(text, set()).update(others)
    ends: list[str] = []
    for end in (edge.start, edge.end):
        for other in cut.piece.edges:
            if other.name == edge.name or not any(math.dist(end, p) <= _TOUCH_MM for p in (other.start, other.end)):
                continue
            own = f"{name}.{other.name}"
            if own in sewn_to.get(own, ()):
                return True
            ends.append("sewn" if own in sewn_to else "free")
    return sorted(ends) == ["free", "sewn"]


def round_of(order: Order, what: Trim | Opening, garment: Garment) -> Round | None:
    """The openings of one garment along the edges of a trim, or of an opening without one; None if it has none.

    All pieces' stretches together are divided among as many openings as every edge has its share in (the greatest
    common divisor of their numbers): two legs, one waist. A centre seam that joins a mirrored piece to its other
    half at the end of the edge makes two of them one. What says ``openings`` is taken at its word. OrderError for an
    edge that its piece does not have.
    """
    together, weighted, number, joined = 0.0, 0.0, 0, False
    gives: list[float | None] = []
    stretches: list[tuple[str, int, bool]] = []
    stretch = {cloth.name: cloth.stretch_across for cloth in order.cloths}
    for text in what.edges:
        named = _named(order, what, garment, text)
        if named is None:
            continue
        cut, edge = named
        gives.append(stretch.get(order.cloth_of(garment, cut)))
        many, length = _stretches(cut, edge)
        together += many * length
        weighted += many * length * (what.ratio_at(text) if isinstance(what, Trim) else 1.0)
        number = math.gcd(number, many)
        stretches.append((text, many, cut.cut > 1 and not cut.mirrored))
        if cut.mirrored and not cut.on_fold:
            joined = joined or _joined_to_own_mirror(order, text.rpartition(".")[0], cut, edge)
    if number == 0:
        return None
    if joined and number % 2 == 0:
        number //= 2
    number = what.openings or number
    takes, measured = _takes(order, what, garment, weighted / number)
    ratio, band_gives = _band_round(order, what, garment)
    return Round(
        number,
        together / number,
        takes,
        measured,
        None if None in gives else min(g for g in gives if g is not None),
        _of_body(order, garment, what.sits),
        _of_body(order, garment, what.passes),
        None if ratio is None else ratio * together / number,
        band_gives,
        tuple(stretches),
        what.openings is not None,
    )


def _band_round(order: Order, what: Trim | Opening, garment: Garment) -> tuple[float | None, float | None]:
    """Of a band of the garment that goes round all edges along which this runs: its length to theirs, and the stretch
    across the grain of its cloth, as it lies round the body. None, None where there is no such band."""
    here = {text for text in what.edges if text.rpartition(".")[0] in garment.pieces}
    for name in garment.pieces:
        band = order.cut_piece(name, garment.size)
        if band.goes_round and here <= set(band.goes_round):
            stretch = {cloth.name: cloth.stretch_across for cloth in order.cloths}
            return band.round_ratio, stretch.get(order.cloth_of(garment, band))
    return None, None


def _takes(order: Order, what: Trim | Opening, garment: Garment, by_edge: float) -> tuple[float | None, bool]:
    """Trim for one opening without its joins, mm, and whether it is cut to a measure: the wearer's times the factor
    where the trim says so and the wearer states it, else edge lengths times their ratios."""
    if not isinstance(what, Trim):
        return None, False
    body = None if what.measure is None else _of_body(order, garment, what.measure)
    return (by_edge, False) if body is None else (body * what.factor, True)


def _of_body(order: Order, garment: Garment, what: str | float | None) -> float | None:
    """A measure by its name, or as it is stated, mm; None where there is neither."""
    if what is None or isinstance(what, float | int):
        return what
    wearer = order.wearer_of(garment)
    return None if wearer is None else wearer.measure(what)
