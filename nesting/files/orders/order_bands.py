"""Bands and ribs that are joined in the round: rectangles worked out from the opening that they serve."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from nesting.files.orders.order_pieces import Asked, Drawn, band_of, ready_piece
from nesting.files.orders.order_schema import Block
from nesting.files.orders.order_values import listing
from nesting.model.errors import OrderError
from nesting.model.findings import Finding
from nesting.model.order import CutPiece, Garment, Opening, Order, Trim
from nesting.model.units import format_length
from nesting.pieces.wishes import Finish
from nesting.resolving.openings import round_of

__all__ = ["BAND_RATIO", "bands_for", "with_bands"]

PieceKey = tuple[str, str | None]

#: length of a rib to the opening that it is stretched to, where the order does not say: common practice (85 %)
BAND_RATIO = 0.85
#: mm. The length round of a band that is not worked out yet.
_UNKNOWN_MM = 1000.0


def bands_for(blocks: Sequence[Block], drawn: Iterable[PieceKey]) -> dict[PieceKey, Drawn]:
    """A band of every size that its opening's pieces come in, its length round still to be worked out.

    OrderError for a band without a height, one that is a rectangle too, or an opening of no known piece.
    """
    keys = list(drawn)
    found: dict[PieceKey, Drawn] = {}
    for block in blocks:
        if block["round"] is None:
            for key in ("ratio", "height", "join"):
                if key in block.given:
                    block.at(key).refuse(
                        "this key belongs to a band: name the edges that it goes round, as in "
                        'round = ["front.waist", "back.waist"]',
                        code="piece.band",
                    )
            continue
        if block["rectangle"] is not None:
            block.at("rectangle").refuse(
                "a band that goes round an opening takes its length from that: leave out rectangle, or round",
                code="piece.band",
            )
        if block["height"] is None:
            block.at("height").refuse(
                'this key is missing: how high the band is cut, along its grain, as in height = "8 cm"',
                code="piece.band",
            )
        names = {text.rpartition(".")[0] for text in block["round"]}
        sizes = [size for name, size in keys if name in names]
        if not sizes:
            known = listing(sorted({name for name, _ in keys}))
            block.at("round").refuse(
                f"found {listing(sorted(block['round']))}; piece and edge with a dot between were expected, of the "
                f"pieces {known}",
                code="piece.unknown",
            )
        for size in dict.fromkeys(sizes):
            if block["size"] in (None, size):
                found[block["name"], size] = Drawn(
                    band_of(block["name"], size, block["height"], _UNKNOWN_MM), band=True
                )
    return found


def _openings_along(order: Order, edges: Sequence[str]) -> int | None:
    """How many openings the order says that these edges are: with an opening or a trim along just them. None where it
    does not."""
    along: tuple[Opening | Trim, ...] = (*order.openings, *order.trims)
    stated = (what.openings for what in along if set(what.edges) == set(edges))
    return next((number for number in stated if number), None)


def with_bands(
    order: Order,
    drawn: Mapping[PieceKey, Drawn],
    asked: Mapping[PieceKey, Asked],
    finishes: Mapping[str, Finish],
) -> tuple[tuple[CutPiece, ...], tuple[Finding, ...]]:
    """The pieces with every band as long as its opening asks: ratio times the opening's length and a join at each end,
    across the grain so that its stretch goes round the body; one for each opening. What was worked out is told.

    OrderError for an edge that a piece does not have.
    """
    pieces: list[CutPiece] = []
    told: list[Finding] = []
    for cut in order.pieces:
        wish = asked.get(cut.piece.key)
        edges = None if wish is None else wish["round"]
        if wish is None or edges is None:
            pieces.append(cut)
            continue
        names = tuple(dict.fromkeys(text.rpartition(".")[0] for text in edges))
        try:
            asks = Opening(cut.name, edges, openings=_openings_along(order, edges))
            around = round_of(order, asks, Garment("", cut.size, 1, names))
        except KeyError:
            around = None
        except OrderError as error:
            raise OrderError(
                error.message, file=order.path, piece=error.piece, key=wish.at("round").key, code=error.code
            ) from None
        if around is None:
            pieces.append(cut)
            continue
        ratio, join = wish["ratio"] if wish["ratio"] is not None else BAND_RATIO, wish["join"]
        length = ratio * around.length + 2.0 * join
        one = replace(drawn[cut.piece.key], piece=band_of(cut.name, cut.size, wish["height"], length))
        ready, found = ready_piece(one, wish, cut.cloth, finishes)
        ready = replace(ready, goes_round=tuple(edges), round_ratio=ratio)
        pieces.append(ready if wish["cut"] is not None else replace(ready, cut=around.number, mirrored=False))
        told += found

        def say(mm: float) -> str:
            return format_length(mm, imperial=order.imperial, step="1/16 in" if order.imperial else "mm")

        practice = "" if wish["ratio"] is not None else ", common practice"
        told.append(
            Finding(
                "note",
                f"cut {say(length)} round: {ratio:g} × the opening of {say(around.length)}{practice}, and {say(join)} "
                "for the join at each end",
                str(order.path) if order.path is not None else None,
                cut.piece.label,
                code="band.length",
                figures={"length": length, "opening": around.length, "ratio": ratio, "join": join},
            )
        )
    return tuple(pieces), tuple(told)
