"""What an order says about pieces together: edges, seams, alterations, and pieces cut through at one place."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from nesting.files.orders.order_pieces import refuse_unknown_piece
from nesting.files.orders.order_schema import Block
from nesting.files.orders.order_values import Place, anchor, listing, nearest
from nesting.model.errors import UnitsError
from nesting.model.findings import Finding
from nesting.model.order import CutPiece, Seam, Together
from nesting.model.units import parse_length
from nesting.pieces.seams import with_join_notches
from nesting.pieces.sewn import sewn_in_sizes
from nesting.pieces.wishes import Alteration, Anchor, EdgeSpec

__all__ = [
    "PieceKey",
    "alterations",
    "centre_notches",
    "edge_specs",
    "edges_of",
    "read_seam",
    "read_together",
    "split_edge",
    "with_seam_notches",
]

PieceKey = tuple[str, str | None]


def _keys_named(block: Block, key: str, name: str, keys: Sequence[PieceKey]) -> list[PieceKey]:
    """The pieces that a block with an optional size means. Raises OrderError if there are none."""
    size: str | None = block.values.get("size")
    found = [k for k in keys if k[0] == name and (size is None or k[1] == size)]
    if not found:
        refuse_unknown_piece(block.at(key), name, size, keys)
    return found


def edge_specs(blocks: Iterable[Block], keys: Sequence[PieceKey]) -> dict[PieceKey, list[EdgeSpec]]:
    """The ``[[edge]]`` blocks, by piece. Raises OrderError for an unknown piece or an edge given twice."""
    specs: dict[PieceKey, list[EdgeSpec]] = {}
    # Blocks for one size come last and stand in place of the general edge of the same name.
    ordered = sorted(blocks, key=lambda b: b["size"] is not None)
    given: set[tuple[str, str | None, str]] = set()
    for block in ordered:
        one = (block["piece"], block["size"], block["name"])
        if one in given:
            block.at("name").refuse(
                f"the edge '{block['name']}' of '{block['piece']}' is given twice: take one away", code="edge.twice"
            )
        given.add(one)
        if block["from"] == block["to"]:
            block.at("to").refuse(
                f"found {block['to']!r} for both ends; two different anchors were expected", code="edge.ends-same"
            )
        for key in _keys_named(block, "piece", block["piece"], keys):
            kept = [spec for spec in specs.get(key, []) if spec.name != block["name"]]
            specs[key] = [*kept, EdgeSpec(block["name"], block["from"], block["to"])]
    return specs


def alterations(blocks: Iterable[Block], keys: Sequence[PieceKey]) -> dict[PieceKey, list[Alteration]]:
    """The ``[[alter]]`` blocks, by piece, in the order they are written."""
    asked: dict[PieceKey, list[Alteration]] = {}
    for block in blocks:
        if (block["piece"] is None) == (block["pieces"] is None):
            block.place.refuse(
                'either piece = "front" or pieces = ["front", "back"] was expected, and not both', code="alter.pieces"
            )
        alteration = _alteration(block)
        names = block["pieces"] or (block["piece"],)
        for name in names:
            for key in _keys_named(block, "pieces" if block["pieces"] else "piece", name, keys):
                asked.setdefault(key, []).append(alteration)
    return asked


_NEEDS = {
    "lengthen": ("at",), "shorten": ("at",), "take strip": ("at",), "add": ("edge",), "take": ("edge",),
}  # fmt: skip
_TAKES = {
    "lengthen": {"true_edges", "from"}, "shorten": {"true_edges", "from"}, "take strip": {"true_edges", "from"},
    "add": {"hold"}, "take": {"hold"},
}  # fmt: skip


def _alteration(block: Block) -> Alteration:
    kind = block["kind"]
    for key in _NEEDS[kind]:
        if block[key] is None:
            what = "where the line across the grain is" if key == "at" else "which edge is moved"
            block.at(key).refuse(f"this key is missing: {what}; '{kind}' needs it", code="alter.key-missing")
    for key in ("at", "edge", "hold", "true_edges", "from"):
        if key in block.given and key not in (*_NEEDS[kind], *_TAKES[kind]):
            block.at(key).refuse(f"'{kind}' takes no such key: take it away", code="alter.key-not-used")
    at, is_distance = (None, False) if block["at"] is None else _where(block["at"], block.at("at"))
    if block["from"] is not None and not is_distance:
        block.at("from").refuse(
            "at is a place already: from belongs to a distance, as in at = \"5 cm\"", code="alter.key-not-used"
        )
    return Alteration(
        kind=kind,
        by=block["by"],
        at=at,
        at_is_distance=is_distance,
        edge=block["edge"],
        hold=_hold(block["hold"], block.at("hold")),
        true_edges=block["true_edges"],
        start=block["from"],
    )


def _where(raw: Any, place: Place) -> tuple[float | Anchor, bool]:
    """A distance along the grain (a text with a unit), a corner number or a notch name."""
    if isinstance(raw, str):
        try:
            return parse_length(raw, None), True
        except UnitsError:
            both = re.fullmatch(r"(\d.*?),?\s+from\s+(?:the\s+)?(\S.*)", raw.strip())
            if both:
                place.refuse(
                    f"found '{raw}'; a distance alone was expected: write `at = \"{both[1]}\"`, and "
                    f"`from = \"{both[2]}\"` on the line after it",
                    code="alter.place",
                )
            # Not a length with a unit. What looks like a number is not taken for a notch's name.
            if not raw.strip().replace(".", "").replace(",", "").isdigit():
                return anchor(raw, place), False
    if isinstance(raw, int) and not isinstance(raw, bool):
        return anchor(raw, place), False
    length = f': write `at = "{raw} {place.units or "cm"}"` for a distance' if isinstance(raw, str | float) else ""
    place.refuse(
        f'found {raw!r}; a distance with its unit ("12 cm", from the lowest end along the grain), the number '
        f"of a corner (3) or the name of a notch was expected{length}",
        code="alter.place",
    )


def _hold(raw: Any, place: Place) -> tuple[Anchor, ...]:
    if raw == ():
        return ()
    values = raw if isinstance(raw, list) else [raw]
    if not 1 <= len(values) <= 2:
        place.refuse(
            f"found {len(values)} anchors; one or two were expected (the ends of the edge that stay)", code="alter.hold"
        )
    return tuple(anchor(value, place) for value in values)


def split_edge(text: str, place: Place, names: Iterable[str]) -> tuple[str, str]:
    """Piece and edge of "piece.edge". Raises OrderError if it is not so written or there is no such piece."""
    names = list(names)
    piece, dot, edge = text.rpartition(".")
    piece, edge = piece.strip(), edge.strip()
    if not dot or not piece or not edge:
        place.refuse(
            f"found '{text}'; piece and edge with a dot between were expected, as in \"front.side\"", code="edge.value"
        )
    if piece not in names:
        near = nearest(piece, names)
        hint = f"did you mean '{near}.{edge}'? " if near else ""
        place.refuse(
            f"found '{text}', but there is no piece '{piece}'; {hint}there are {listing(sorted(set(names)))}",
            code="piece.unknown",
        )
    return piece, edge


def edges_of(
    block: Block, pieces: Sequence[CutPiece], texts: Sequence[str] | None = None
) -> tuple[str, ...]:
    """The block's edges as "piece.edge" (or these ``texts``), each there in at least one size. Raises OrderError for
    one that is not."""
    place = block.at("edges")
    edges: list[str] = []
    for text in block["edges"] if texts is None else texts:
        piece, edge = split_edge(text, place, [p.name for p in pieces])
        there = dict.fromkeys(e.name for p in pieces if p.name == piece for e in p.piece.edges)
        if edge not in there:
            near = nearest(edge, there)
            hint = f"did you mean '{piece}.{near}'? " if near else ""
            place.refuse(
                f"found '{text}', but '{piece}' has no edge '{edge}'; {hint}there are {listing(there)}: name it in "
                "the drawing, or with an [[edge]] block",
                code="edge.unknown",
            )
        edges.append(f"{piece}.{edge}")
    return tuple(edges)


def read_seam(block: Block, pieces: Sequence[CutPiece]) -> Seam:
    """A ``[[seam]]`` block. Raises OrderError where an edge is not there, or its keys do not go together."""
    sides: tuple[tuple[str, ...], ...] = block["edges"]
    rows = any(len(side) > 1 for side in sides)
    if block["ease_between"] is not None and block["ease"] == 0.0:
        block.at("ease_between").refuse(
            'there is no ease to be placed: write how much, as in ease = "8 mm"', code="seam.ease-between"
        )
    if block["ease_between"] is not None and block["ease_between"][0] == block["ease_between"][1]:
        block.at("ease_between").refuse(
            f"found '{block['ease_between'][0]}' twice; two different places were expected", code="seam.ease-between"
        )
    if rows and block["match"]:
        block.at("match").refuse(
            "stripes are matched edge by edge, and here are several in a row: write a [[seam]] with match = true for "
            "each pair of edges whose stripes are to meet",
            code="seam.match-row",
        )
    if block["add_join_notches"] and not rows:
        block.at("add_join_notches").refuse(
            "no side of this seam has several edges in a row, so none join: take the key away, or write a row as in "
            '["front.waist", "back.waist"]',
            code="seam.no-row",
        )
    return Seam(
        edges=edges_of(block, pieces, [edge for side in sides for edge in side]),
        ease=block["ease"],
        ratio=block["ratio"],
        tolerance=block["tolerance"],
        match=block["match"],
        counts=tuple(len(side) for side in sides) if rows else (),
        ease_between=block["ease_between"],
        centre_answered="add_centre_notches" in block.given,
        joins_answered="add_join_notches" in block.given,
    )


def with_seam_notches(
    pieces: Sequence[CutPiece], blocks: Sequence[Block], seams: Sequence[Seam], file: str | None
) -> tuple[tuple[CutPiece, ...], tuple[Finding, ...]]:
    """The pieces with the notches that ``add_join_notches`` asks for, where edges in a row join on the other side."""
    now = list(pieces)
    told: list[Finding] = []
    for block, seam in zip(blocks, seams, strict=True):
        if not block["add_join_notches"]:
            continue
        for sewn in sewn_in_sizes(seam, now, file=file):
            edges = [(cut.piece, edge.rpartition(".")[2]) for cut, edge in zip(sewn.pieces, seam.edges, strict=True)]
            changed, notes = with_join_notches(edges, sewn.walked)
            told += notes
            for number, piece in changed.items():
                k = now.index(sewn.pieces[number])
                now[k] = replace(now[k], piece=piece)
    return tuple(now), tuple(dict.fromkeys(told))


def centre_notches(
    seams: Iterable[Block], keys: Sequence[PieceKey], *, in_rows: bool = False
) -> dict[PieceKey, list[str]]:
    """The edges to be notched at the middle because their seam asks for it, by piece: those alone on their side, or
    those ``in_rows``."""
    wanted: dict[PieceKey, list[str]] = {}
    for block in seams:
        if not block["add_centre_notches"]:
            continue
        for text in [edge for side in block["edges"] if (len(side) > 1) == in_rows for edge in side]:
            piece, edge = split_edge(text, block.at("edges"), [k[0] for k in keys])
            for key in keys:
                if key[0] == piece and edge not in wanted.get(key, []):
                    wanted.setdefault(key, []).append(edge)
    return wanted


def read_together(
    blocks: Sequence[Block], keys: Sequence[PieceKey], cuts: Mapping[PieceKey, int]
) -> tuple[Together, ...]:
    """The ``[[together]]`` blocks. ``cuts``: cloth pieces per garment of each piece.

    Raises OrderError where a piece is unknown, follows itself, two leaders or a follower, or is cut more often.
    """
    leader_of: dict[str, str] = {}
    for block in blocks:
        leader, follower = block["leader"], block["follower"]
        for key in ("leader", "follower"):
            if block[key] not in [k[0] for k in keys]:
                refuse_unknown_piece(block.at(key), block[key], None, keys)
        if leader == follower:
            block.at("follower").refuse(
                f"found '{follower}' for both; two different pieces were expected", code="together.same-piece"
            )
        if follower in leader_of:
            block.at("follower").refuse(
                f"'{follower}' already follows '{leader_of[follower]}'; one leader was expected: take one block away",
                code="together.two-leaders",
            )
        leader_of[follower] = leader
    for block in blocks:
        if block["leader"] in leader_of:
            block.at("leader").refuse(
                f"'{block['leader']}' is itself a follower of '{leader_of[block['leader']]}': name that one as "
                "leader of both",
                code="together.chain",
            )
        for name, size in keys:
            if name != block["follower"]:
                continue
            led = next((k for k in keys if k[0] == block["leader"] and (k[1] == size or k[1] is None)), None)
            if led is not None and cuts.get((name, size), 0) > cuts.get(led, 0) > 0:
                block.at("follower").refuse(
                    f"'{name}' is cut {cuts[name, size]} times and its leader '{led[0]}' only {cuts[led]} times; at "
                    "most as often was expected: change cut, or cut them apart",
                    code="together.counts",
                )
    return tuple(Together(b["leader"], b["follower"], b["faces"], b["tolerance"], b["shape"]) for b in blocks)
