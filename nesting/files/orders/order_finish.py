"""How an edge is finished, in words: "fold back 2 cm", "raw", "bound", "lace 1.9 cm", "elastic 6 mm", "seam 1 cm"."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, cast, get_args

from nesting.files.orders.order_schema import Block
from nesting.files.orders.order_values import Place, Reader, listing
from nesting.model.errors import UnitsError
from nesting.model.units import parse_length
from nesting.pieces.wishes import Corner, Finish, FinishKind

__all__ = ["finish_from_phrase", "finish_reader", "named_finish"]

#: Which way the cut edge lies from the seam or finished edge: outside (what is turned or sewn in), on it, or inside
#: (where a trim builds out beyond the cloth). "custom" may lie on either side.
_SIGN: dict[str, int] = {"raw": 0, "bound": 0, "fold back": 1, "elastic": 1, "seam": 1, "lace": -1}
_WITH_LENGTH = [kind for kind, sign in _SIGN.items() if sign]
_PHRASE = re.compile(
    r"(fold[ -]?back|raw|bound|lace(?: elastic)?|elastic|seam)(?:\s+(.*?))?"
    r"(?:\s*,\s*(mitre|square|mirror)(?: corners?)?)?"
)
_EXPECTED = (
    '"raw", "bound", "fold back 2 cm", "lace 1.9 cm", "elastic 6 mm", "seam 1 cm" or the name of a [[finish]] was '
    'expected (the corners may follow after a comma: "fold back 2 cm, mirror")'
)


def finish_from_phrase(value: Any, place: Place, named: Mapping[str, Finish]) -> Finish:
    """The finish that a phrase, or the name of a ``[[finish]]`` of the order, stands for."""
    if not isinstance(value, str):
        place.refuse(f"found {value!r}; {_EXPECTED}", code="finish.value")
    words = " ".join(value.split())
    if words in named:
        return named[words]
    match = _PHRASE.fullmatch(words.lower())
    if match is None:
        known = f"; the order has {listing(named)}" if named else ""
        place.refuse(f"found {value!r}; {_EXPECTED}{known}", code="finish.value")
    kind = next((k for k in ("fold back", "lace") if match[1].startswith(k[:4])), match[1])
    corner = cast(Corner, match[3] or "mitre")
    sign = _SIGN[kind]
    if sign == 0:
        if match[2]:
            place.refuse(
                f"found {value!r}; '{kind}' takes no length, as the cut edge is the finished edge: take it away",
                code="finish.value",
            )
        return Finish(cast(FinishKind, kind), 0.0, corner)
    if not match[2]:
        place.refuse(
            f'found {value!r} without a length; how far was expected, as in "{kind} 1 cm"', code="finish.value"
        )
    try:
        mm = parse_length(match[2], place.units)
    except UnitsError as error:
        raise UnitsError(
            error.message, file=place.file, key=place.key, code=error.code, figures=error.figures
        ) from None
    return Finish(cast(FinishKind, kind), sign * mm, corner)


def finish_reader(named: Mapping[str, Finish]) -> Reader:
    """A reader of finishes for the schema."""
    return lambda value, place: finish_from_phrase(value, place, named)


def named_finish(block: Block) -> Finish:
    """The finish that a ``[[finish]]`` block describes. ``offset`` is signed: negative where a trim builds out."""
    kind, offset = block["kind"], block["offset"]
    name = block["name"]
    if _PHRASE.fullmatch(name.lower()):
        block.at("name").refuse(
            f"found {name!r}, which already means something: give it a name of your own", code="finish.name"
        )
    if offset is None:
        if kind in _WITH_LENGTH or kind == "custom":
            block.at("offset").refuse(
                f"is missing; how far the cut edge lies outside the finished edge of a '{kind}' finish",
                code="finish.value",
            )
        offset = 0.0
    sign = _SIGN.get(kind)
    if (sign is not None and offset * sign < 0) or (sign == 0 and offset):
        wanted = {1: "zero or more (turned or sewn in)", 0: "0", -1: "zero or less (the trim builds out)"}[sign or 0]
        block.at("offset").refuse(
            f"found {offset:g} mm; for '{kind}' {wanted} was expected, or kind = \"custom\"", code="finish.value"
        )
    assert kind in get_args(FinishKind)
    return Finish(cast(FinishKind, kind), offset, cast(Corner, block["corner"]), block["mitre_limit"], name)
