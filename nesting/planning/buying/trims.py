"""Trims: elastic, binding and lace per opening, from the pattern's own edges.

An edge is measured on the seam outline where the piece has one, for that is where a trim is sewn, else on the cut
outline. A half on the fold is opened: an edge that ends on the fold runs on into its mirror image, any other edge is
there twice. What runs round together is one *opening*: a leg opening is there twice in a garment, a waist once.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from nesting.model.errors import OrderError
from nesting.model.order import CutPiece, Garment, Order, Trim
from nesting.model.order import Opening as BodyOpening
from nesting.model.piece import Edge, Piece, Point, Ring
from nesting.model.units import round_up
from nesting.planning.layout.laying import garment_label

__all__ = [
    "Opening",
    "Round",
    "TrimNeed",
    "arc_length",
    "edge_length",
    "openings_of",
    "round_of",
    "trim_length",
    "trim_needs",
]

#: mm. An end this near to the fold line lies on it; ends of neighbouring edges this near meet.
_TOUCH_MM = 0.1


@dataclass(frozen=True)
class Opening:
    """The openings of one garment and size that one trim goes round: ``each`` garment has ``openings`` of them, each
    ``edge_length`` mm round; ``count`` garments. ``trim_length`` mm of trim for one opening, joins included."""

    garment: str
    size: str | None
    count: int
    openings: int
    edge_length: float
    trim_length: float

    @property
    def total(self) -> float:
        """All the trim for these garments, mm."""
        return self.count * self.openings * self.trim_length


@dataclass(frozen=True)
class TrimNeed:
    """One trim of the batch. ``ratio`` trim per edge length; ``practice``: the ratio was not stated in the order and
    is common practice, not a published standard. ``length`` mm to buy, rounded up. ``cost`` None without a price."""

    kind: str
    opening: str
    ratio: float
    practice: bool
    join: float
    openings: tuple[Opening, ...]
    total: float
    length: float
    cost: float | None
    #: how it is reckoned where not by one ratio: "0.9 × waist", "brief front.leg 1, brief back.leg 0.75"
    way: str | None = None

    def as_dict(self) -> dict[str, Any]:
        """The trim as the JSON document shows it (mm). ``length`` is what to buy for the batch."""
        return {
            "kind": self.kind,
            "opening": self.opening,
            "length": self.length,
            "total": self.total,
            "ratio": self.ratio,
            "ratio_is_practice": self.practice,
            "way": self.way,
            "join": self.join,
            "cost": self.cost,
            "openings": [
                {
                    "garment": o.garment,
                    "size": o.size,
                    "count": o.count,
                    "openings": o.openings,
                    "edge_length": o.edge_length,
                    "trim_length": o.trim_length,
                }
                for o in self.openings
            ],
        }


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


def _named(order: Order, trim: Trim | BodyOpening, garment: Garment, text: str) -> tuple[CutPiece, Edge] | None:
    """The piece and edge of "piece.edge" in this garment; None where the garment has no such piece."""
    name, _, edge_name = text.rpartition(".")
    if name not in garment.pieces:
        return None
    cut = order.cut_piece(name, garment.size)
    for edge in cut.piece.edges:
        if edge.name == edge_name:
            return cut, edge
    known = ", ".join(e.name for e in cut.piece.edges) or "none"
    raise OrderError(
        f"'{trim.name}' goes along edge '{edge_name}', but the piece's named edges are: {known}; name the edge in "
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


@dataclass(frozen=True)
class Round:
    """What goes round the openings of one garment: ``number`` of them, each ``length`` mm of edge; ``weighted`` is the
    length of each with every edge times its weight; ``cuts``: the pieces it runs along."""

    number: int
    length: float
    weighted: float
    cuts: tuple[CutPiece, ...]


def round_of(
    order: Order,
    what: Trim | BodyOpening,
    garment: Garment,
    weight: Callable[[str], float] = lambda _: 1.0,
) -> Round | None:
    """The openings of one garment along these edges; None if it has none.

    All pieces' stretches together are divided among as many openings as every edge has its share in (the greatest
    common divisor of their numbers): two legs, one waist. A centre seam that joins a mirrored piece to its other
    half at the end of the edge makes two of them one. What says ``openings`` is taken at its word.
    """
    together, weighted, number, joined = 0.0, 0.0, 0, False
    cuts: list[CutPiece] = []
    for text in what.edges:
        named = _named(order, what, garment, text)
        if named is None:
            continue
        cut, edge = named
        cuts.append(cut)
        many, length = _stretches(cut, edge)
        together += many * length
        weighted += many * length * weight(text)
        number = math.gcd(number, many)
        if cut.mirrored and not cut.on_fold:
            joined = joined or _joined_to_own_mirror(order, text.rpartition(".")[0], cut, edge)
    if number == 0:
        return None
    if joined and number % 2 == 0:
        number //= 2
    number = what.openings or number
    return Round(number, together / number, weighted / number, tuple(cuts))


def openings_of(order: Order, trim: Trim, garment: Garment) -> tuple[int, float] | None:
    """How many openings one garment has for this trim, and how long the edge of each is, mm; None if it has none."""
    found = round_of(order, trim, garment)
    return None if found is None else (found.number, found.length)


def trim_length(order: Order, trim: Trim, garment: Garment, found: Round) -> float:
    """Trim for one opening without its joins, mm: the wearer's measure times the factor where the trim is cut to a
    measure and the wearer states it, else edge lengths times their ratios."""
    wearer = order.wearer_of(garment)
    body = wearer.measure(trim.measure) if wearer is not None and trim.measure is not None else None
    return found.weighted if body is None else body * trim.factor


def trim_needs(order: Order) -> tuple[TrimNeed, ...]:
    """What each trim of the order takes for the batch.

    trim for an opening = ratio · edge length + join; the batch's total is rounded up to the trim's increment.
    Raises OrderError for an edge that no garment has.
    """
    needs: list[TrimNeed] = []
    for trim in order.trims:
        openings: list[Opening] = []
        for garment in order.garments:
            found = round_of(order, trim, garment, trim.ratio_at)
            if found is None or garment.count == 0:
                continue
            each = trim_length(order, trim, garment, found) + trim.join
            openings.append(
                Opening(garment.name, garment.size, garment.count, found.number, found.length, each)
            )
        if not openings:
            raise OrderError(
                f"trim '{trim.name}' goes along {_list(trim.edges)}, but no garment ordered ({_labels(order)}) has "
                "such a piece: check the piece's name",
                file=order.path,
                key="trim.edges",
                code="trim.no-piece",
            )
        by_measure = trim.measure is not None and all(
            (w := order.wearer_of(g)) is not None and w.measure(trim.measure) is not None
            for g in order.garments
            if g.count and round_of(order, trim, g) is not None
        )
        total = math.fsum(o.total for o in openings)
        length = round_up(total, trim.increment)
        cost = None if trim.price is None else round(length * trim.price / _price_unit(order), 2)
        needs.append(
            TrimNeed(
                trim.kind,
                trim.name,
                trim.ratio,
                not trim.ratio_stated and not by_measure and not all(e in dict(trim.ratios) for e in trim.edges),
                trim.join,
                tuple(openings),
                total,
                length,
                cost,
                _way(trim, by_measure),
            )
        )
    return tuple(needs)


def _way(trim: Trim, by_measure: bool) -> str | None:
    if trim.measure is not None:
        body = f"{trim.factor:g} × {trim.measure} of the wearer"
        return body if by_measure else f"{body}; without one {trim.ratio:g} × edge"
    if trim.ratios:
        return ", ".join(f"{trim.ratio_at(edge):g} × {edge}" for edge in trim.edges)
    return None


def _price_unit(order: Order) -> float:
    # As for cloth: per metre, or per yard where inches or yards are read.
    return 914.4 if order.imperial else 1000.0


def _list(texts: Iterable[str]) -> str:
    return ", ".join(f"'{t}'" for t in texts) or "no edge"


def _labels(order: Order) -> str:
    return ", ".join(garment_label(g) for g in order.garments)
