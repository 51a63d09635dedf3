"""Another name for a piece, wherever the order speaks of it.

A pattern file stays as it is: its ``[[pattern]]`` says what its pieces are called in the order. The number of a piece
that nobody named ("piece 2") tells nothing about the pieces of another file, so that one is renamed in its own file
only; a name that somebody drew is the same piece in every size.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Mapping
from typing import Any

from nesting.page.ordertext import OrderText

__all__ = ["UNNAMED", "called_anew", "raw_blocks"]

#: what a reader of pattern files calls a piece that has no name in the drawing
UNNAMED = re.compile(r"piece \d+")


def raw_blocks(text: OrderText, kind: str) -> list[dict[str, Any]]:
    """The ``[[kind]]`` blocks as they are written."""
    return [one for one in tomllib.loads(text.text).get(kind, []) if isinstance(one, dict)]


def called_anew(
    text: OrderText, old: str, new: str, files: Mapping[str, str], left: Collection[str | None]
) -> OrderText:
    """The order with the piece ``old`` called ``new``: ``files`` has, by pattern file, the piece's name there; ``left``
    are the sizes in which another piece still has the old name, of which everything stays as it is."""
    for index, one in enumerate(raw_blocks(text, "pattern")):
        drawn = files.get(str(one.get("file")))
        if drawn is not None:
            text = text.set("pattern", index, ("names", drawn), new if drawn != new else None)
    if left:
        # what is said of every size counts for the piece under its new name, too
        for kind, key in (("piece", "name"), ("edge", "piece")):
            for one in raw_blocks(text, kind):
                if one.get(key) == old and one.get("size") is None:
                    text = text.add(kind, {**one, key: new})
        return _of_garments(text, old, new, left)
    return _mentions(_blocks(text, old, new), old, new)


def _of_garments(text: OrderText, old: str, new: str, left: Collection[str | None]) -> OrderText:
    for index, one in enumerate(raw_blocks(text, "garment")):
        pieces = one.get("pieces")
        if isinstance(pieces, list) and old in pieces and one.get("size") not in left:
            text = text.set("garment", index, "pieces", [new if name == old else name for name in pieces])
    return text


def _blocks(text: OrderText, old: str, new: str) -> OrderText:
    """What is said of the piece and of its edges; where that is said of the new name already, the new name's word
    counts."""
    for index in reversed(range(text.count("piece"))):
        blocks = raw_blocks(text, "piece")
        one = blocks[index]
        if one.get("name") != old:
            continue
        twin = next(
            (i for i, other in enumerate(blocks) if other.get("name") == new and other.get("size") == one.get("size")),
            None,
        )
        if twin is None:
            text = text.set("piece", index, "name", new)
            continue
        for key, value in one.items():
            if key not in blocks[twin]:
                text = text.set("piece", twin, key, value)
            elif isinstance(value, dict):
                for inner, each in value.items():
                    if inner not in blocks[twin][key]:
                        text = text.set("piece", twin, (key, inner), each)
        text = text.remove("piece", index)
    for index in reversed(range(text.count("edge"))):
        blocks = raw_blocks(text, "edge")
        one = blocks[index]
        if one.get("piece") != old:
            continue
        same = ("size", "name")
        if any(o.get("piece") == new and all(o.get(k) == one.get(k) for k in same) for o in blocks):
            text = text.remove("edge", index)
        else:
            text = text.set("edge", index, "piece", new)
    return text


#: keys that name pieces, and those that name edges of pieces, by block
_PIECES = {"together": ("leader", "follower"), "alter": ("piece", "pieces"), "garment": ("pieces",)}
_EDGES = {"seam": ("edges",), "trim": ("edges",), "opening": ("edges",), "piece": ("round",)}


def _mentions(text: OrderText, old: str, new: str) -> OrderText:
    """Seams, trims, openings, alterations and garments that spoke of the piece by its old name."""

    def piece(value: Any) -> Any:
        if isinstance(value, list):
            return list(dict.fromkeys(piece(one) for one in value))
        return new if value == old else value

    def edge(value: Any) -> Any:
        if isinstance(value, list):
            return [edge(one) for one in value]
        name, dot, rest = str(value).rpartition(".")
        return f"{new}{dot}{rest}" if name == old else value

    for keys, rename in ((_PIECES, piece), (_EDGES, edge)):
        for kind, names in keys.items():
            for index, one in enumerate(raw_blocks(text, kind)):
                for key in names:
                    if key in one and rename(one[key]) != one[key]:
                        text = text.set(kind, index, key, rename(one[key]))
    return text
