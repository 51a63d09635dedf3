"""Every key of the cutting order in one table: how its value is read, its default, and what it means."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from nesting.files.orders.loose_values import as_list, as_value
from nesting.files.orders.order_values import (
    Choice,
    Place,
    Reader,
    anchor,
    angle,
    choice,
    count,
    flag,
    length,
    list_of,
    mapping_of,
    nearest,
    number,
    one_or_more,
    page_numbers,
    pair_of,
    price,
    ratio,
    seam_sides,
    share,
    text,
)
from nesting.model.errors import NestingError, OrderError, UnitsError
from nesting.model.order import Faces, FollowerShape, Nap, Pairs, SpreadName, TurnRule
from nesting.model.units import UNITS
from nesting.pieces.wishes import AlterationKind, Corner, FinishKind, Side

__all__ = ["BLOCKS", "REQUIRED", "TOP", "Block", "Key", "meant_by", "read_block", "read_blocks", "takes"]

#: Stands for "no default: the key must be there".
REQUIRED: Any = object()


@dataclass(frozen=True)
class Key:
    """One key: its name, its reader, what it means, and its default (``REQUIRED`` where there is none), ``written`` as
    an order would have it where that is not plain."""

    name: str
    read: Reader
    meaning: str
    default: Any = None
    written: str | None = None

    @property
    def default_shown(self) -> str:
        """The default for people, empty where there is none."""
        if self.default is REQUIRED:
            return "must be given"
        if self.written is not None or self.default in (None, ()):
            return self.written or ""
        if isinstance(self.default, bool):
            return str(self.default).lower()
        return f"{self.default:g}" if isinstance(self.default, float) else str(self.default)

    @property
    def allowed(self) -> tuple[str, ...]:
        """The words that it may be, where it is one of a few."""
        return self.read.allowed if isinstance(self.read, Choice) else ()


@dataclass(frozen=True)
class Block:
    """A block of the order after reading: every key with its value or default, and which of them were ``given``."""

    place: Place
    values: Mapping[str, Any]
    given: frozenset[str]

    def __getitem__(self, key: str) -> Any:
        return self.values[key]

    def at(self, key: str) -> Place:
        """The place of one of its keys."""
        return self.place.at(key)


def _raw(value: Any, place: Place) -> Any:
    return value


def measure_or_length(value: Any, place: Place) -> str | float:
    """The name of a measure ("waist"), or a length with its unit or as a plain number, mm."""
    if isinstance(value, str) and not any(c.isdigit() for c in value):
        return text(value, place)
    found: float = length(above=True)(value, place)
    return found


_edges = list_of(text, expected='a list of "piece.edge"')

_SPREADS = ", ".join(get_args(SpreadName))

#: Keys at the top of the file, before any block.
TOP: tuple[Key, ...] = (
    Key("title", text, "what the order is called; default: the file's name"),
    Key("units", choice(*UNITS), "what bare numbers are in"),
    Key("fibre_stretch", share(most=1.0), "least share of stretch fibre for pieces that need stretch", 0.05),
)

#: Keys of each kind of ``[[block]]``.
BLOCKS: dict[str, tuple[Key, ...]] = {
    "pattern": (
        Key("file", text, "SVG, DXF or PDF, seen from the order's folder", REQUIRED),
        Key("size", text, "size of its pieces where the file does not say; of several sizes the one to take"),
        Key("units", choice(*UNITS), "units of a file that does not say them"),
        Key("join_gap", length(), "ends that lie this near are taken as touching"),
        Key("pages", page_numbers, 'pages of a PDF, from 1: "2-5, 8"; default: all that are no instructions'),
        Key("layer", one_or_more, "layer of a PDF, or a list of them: read as if only these were switched on"),
        Key("names", mapping_of(text, 'a table such as { "piece 1" = "front" }'),
            'what its pieces are called in this order, by their names in the file, as in { "piece 1" = "front" }', ()),
    ),
    "piece": (
        Key("name", text, "as in the pattern file", REQUIRED),
        Key("size", text, "only this size; default: every size"),
        Key("cut", count(1, 1000), "cloth pieces per garment"),
        Key("mirrored", flag, "left and right; false: alike"),
        Key("fold", choice(*get_args(Side), "none"),
            "side of the drawing that lies on the fold; none: it is drawn whole"),
        Key("grain", angle, "degrees in the drawing, 0 to the right, 90 up"),
        Key("cloth", text, "name of its cloth"),
        Key("turn", choice(*get_args(TurnRule)), "how it may be turned; default: as the cloth allows"),
        Key("tilt", number(0.0, 45.0, "a grain tolerance in degrees"), "grain tolerance, degrees", 0.0),
        Key("needs_stretch", share(), 'stretch needed across its grain, as in "40 %"'),
        Key("finish", mapping_of(_raw, 'a table such as { waist = "fold back 2 cm" }'),
            'finish per named edge, as in { waist = "fold back 2 cm", leg = "raw" }', ()),
        Key("allowance", mapping_of(length(negative=True), 'a table such as { "*" = "1 cm" }'),
            'what the drawn cut outline already includes, per edge ("*": all others)', ()),
        Key("unfold", flag, "an on-fold piece may also be opened out", True),
        Key("alike_ok", flag, "mirrored copies do as well (cloth without a right side)", False),
        Key("rectangle", pair_of(length(above=True), 'two lengths such as ["4 cm", "62 cm"] (along × across the '
                                                     'grain)'),
            'a band by its measures along × across the grain, as in ["4 cm", "62 cm"]; no drawing'),
        Key("round", _edges, 'a band joined in the round: the edges of the opening that its length is worked out from'),
        Key("ratio", ratio(0.05, 5.0), "length of a band to its opening; default 0.85, common practice for ribs"),
        Key("height", length(above=True), "how high a band is cut, along its grain"),
        Key("join", length(), "allowance at each end of a band, for its join", 0.0),
        Key("motif", _raw, "a point that lies on the repeat"),
        Key("add_centre_notches", list_of(text, expected="a list of edge names"), "edges to be notched at the "
                                                                                  "middle", ()),
        Key("trim_short", mapping_of(length(), 'a table such as { waist = "2 cm" }'),
            "edges at which a lining ends short by this", ()),
    ),
    "together": (
        Key("leader", text, "piece whose place is taken", REQUIRED),
        Key("follower", text, "piece cut through at that place", REQUIRED),
        Key("faces", choice(*get_args(Faces)), "which way the follower's right side faces", "same"),
        Key("tolerance", length(), "how far shared edges may differ"),
        Key("shape", choice(*get_args(FollowerShape)),
            "cut from the leader's shape as altered and finished, or as drawn by itself; default: leader where both "
            "were drawn alike"),
    ),
    "seam": (
        Key("edges", seam_sides, 'edges sewn together; one to several in a row: ["band.top", ["front.waist", '
                                 '"back.waist"]]', REQUIRED),
        Key("ease", length(negative=True), "the second edge is longer by this", 0.0),
        Key("ease_between", pair_of(text, 'two notches such as ["n1", "n2"]'),
            'two notches between which it is eased, as in ["n1", "n2"], or edges that meet the seam there; default: '
            "all along"),
        Key("ratio", ratio(0.05, 20.0), 'second edge per first edge, as in 0.9 or "90 %"', 1.0),
        Key("tolerance", length(), "difference that still agrees"),
        Key("match", flag, "stripes meet at the notches", False),
        Key("add_centre_notches", flag, "add missing notches at the middle of these edges", False),
        Key("add_join_notches", flag, "add missing notches where edges in a row join on the other side", False),
    ),
    "edge": (
        Key("piece", text, "piece it belongs to", REQUIRED),
        Key("size", text, "only this size; default: every size"),
        Key("name", text, "the edge's name", REQUIRED),
        Key("from", anchor, 'notch name, corner number, or a place such as "3 + 40 %" where it begins', REQUIRED),
        Key("to", anchor, "where it ends, anticlockwise as drawn", REQUIRED),
    ),
    "finish": (
        Key("name", text, "how pieces call it", REQUIRED),
        Key("kind", choice(*get_args(FinishKind)), "what is done to the edge", REQUIRED),
        Key("offset", length(negative=True), "how far the cut edge lies outside the finished edge"),
        Key("corner", choice(*get_args(Corner)), "shape of its corners", "mitre"),
        Key("mitre_limit", number(1.0, 100.0, "a mitre limit in offsets"), "longest mitre, in offsets", 4.0),
    ),
    "alter": (
        Key("wearer", text, "only for this [[wearer]]"),
        Key("piece", text, "piece to change"),
        Key("pieces", list_of(text, expected="a list of piece names"), "pieces to change alike"),
        Key("size", text, "only this size; default: every size"),
        Key("kind", choice(*get_args(AlterationKind)), "what is done; shorten and take strip are one", REQUIRED),
        Key("by", length(above=True), "by how much", REQUIRED),
        Key("at", _raw, "distance along the grain with its unit, corner number or notch name"),
        Key("from", text, "where a distance at is measured from: a named edge, or the tail or head of the grain arrow"),
        Key("edge", text, "edge that is moved"),
        Key("hold", _raw, "anchors that stay where they are", ()),
        Key("true_edges", list_of(text, least=0, expected="a list of edge names"), "edges trued across the join"),
    ),
    "cloth": (
        Key("name", text, "as pieces call it", REQUIRED),
        Key("width", length(above=True), "from selvage to selvage, before washing", REQUIRED),
        Key("selvage", length(), "margin lost at each selvage", 0.0),
        Key("length", length(above=True), "all there is"),
        Key("nap", choice(*get_args(Nap)), "nap or one-way print", "none"),
        Key("stretch_across", share(), "stretch across the width"),
        Key("stretch_along", share(), "stretch along the length"),
        Key("stretch_tolerance", share(most=1.0), "difference that still counts as equal", 0.05),
        Key("fibre_stretch", share(most=1.0), "share of stretch fibre in it"),
        Key("shrink_along", share(below=1.0), "shrinkage in the wash, along", 0.0),
        Key("shrink_across", share(below=1.0), "shrinkage in the wash, across", 0.0),
        Key("spreads", list_of(choice(*get_args(SpreadName)), expected="a list of spreads"),
            f"spreads to try, of: {_SPREADS}; default: all that are sound"),
        Key("plies", count(1, 1000), "stacked copies of the open spread", 1),
        Key("max_plies", count(1, 1000), "what the cutter can take; 1: no folds either"),
        Key("table_length", length(above=True), "longest lay the table takes"),
        Key("increment", length(above=True), "the shop sells by this; default 10 cm, or 1/8 yd with inches or yards"),
        Key("price", price, "per metre, or per yard with inches or yards"),
        Key("gap", length(), "between cuts", 0.0),
        Key("end_allowance", length(), "left at each end", 20.0, "2 cm"),
        Key("repeat_along", length(), "stripe or print repeat along", 0.0),
        Key("repeat_across", length(), "stripe or print repeat across", 0.0),
        Key("tubular", flag, "a tube, width measured flat", False),
        Key("right_side", flag, "it has a right side", True),
        Key("may_turn_plies", flag, "every second ply may be cut off and turned", False),
        Key("pairs", choice(*get_args(Pairs)),
            "left and right of a garment share one turn, or not; default: they do where quarter turns are allowed"),
        Key("patch_margin", length(), "round each follower in a patch of this cloth", 10.0, "1 cm"),
        Key("surplus", flag, "stacked plies may give more than asked", False),
    ),
    "remnant": (
        Key("name", text, "what it is called", REQUIRED),
        Key("cloth", text, "which cloth it is of", REQUIRED),
        Key("file", text, "SVG or DXF with outline and flaws"),
        Key("width", length(above=True), "across the grain, instead of a file"),
        Key("length", length(above=True), "along the grain, instead of a file"),
    ),
    "garment": (
        Key("name", text, "what it is called", REQUIRED),
        Key("size", text, "its size"),
        Key("count", count(1, 10_000, word="most"), 'how many; "most": as many as the cloth there is holds', 1),
        Key("ratio", count(1, 1000), 'with count = "most": so many to so many of the others that have a ratio'),
        Key("pieces", list_of(text, expected="a list of piece names"), "its pieces; default: all of that size"),
        Key("cloth", mapping_of(text, 'a table such as { main = "navy jersey" }'), "another cloth for its pieces", ()),
        Key("value", number(0.0, 1e6, "a value"), "worth against others, for remnants and \"most\"", 1.0),
        Key("same_cloth", flag, "all its pieces from the same piece of cloth", False),
        Key("wearer", text, "who it is cut for: a [[wearer]]"),
    ),
    "wearer": (
        Key("name", text, "what the labels say", REQUIRED),
        Key("measures", mapping_of(length(above=True), 'a table such as { waist = "72 cm", hip = "98 cm" }'),
            "measures of the body, by names of your own", ()),
    ),
    "opening": (
        Key("name", text, "what it is called", REQUIRED),
        Key("edges", _edges, "edges that go round it", REQUIRED),
        Key("sits", measure_or_length, "the measure (of the wearer) or length of the part it sits on"),
        Key("passes", measure_or_length, "the measure or length of the largest part it must pass"),
        Key("stretch", share(), "how far its edge gives; default: as the cloth does"),
        Key("least", ratio(0.05, 5.0), "least length at rest to what it sits on; default 0.7"),
        Key("most", ratio(0.05, 5.0), "most length at rest to what it sits on; default 1.0"),
        Key("openings", count(1, 1000), "of one garment; default: counted from the pieces"),
    ),
    "trim": (
        Key("name", text, "what it is called", REQUIRED),
        Key("kind", choice("elastic", "binding", "lace", "fold-over elastic"), "what it is", REQUIRED),
        Key("edges", _edges, "edges it is sewn to", REQUIRED),
        Key("ratio", ratio(0.05, 5.0), "trim length per edge length"),
        Key("openings", count(1, 1000), "openings of one garment that it goes round; default: counted from the pieces"),
        Key("ratios", mapping_of(ratio(0.05, 5.0), 'a table such as { "back.leg" = 0.75 }'),
            "ratios of single edges, where they differ", ()),
        Key("measure", text, "cut to this measure of the wearer, times factor, in place of the edge"),
        Key("factor", ratio(0.05, 5.0), 'of the measure, as in 0.9 or "90 %"', 1.0),
        Key("stretch", share(), "how far the trim itself stretches"),
        Key("sits", measure_or_length, "the measure (of the wearer) or length of the part that the opening sits on"),
        Key("passes", measure_or_length, "the measure or length of the largest part the opening must pass"),
        Key("join", length(), "added for each join", 0.0),
        Key("increment", length(above=True), "sold by this; default as for cloth"),
        Key("price", price, "per metre, or per yard with inches or yards"),
    ),
}  # fmt: skip


def read_block(raw: Mapping[str, Any], keys: Sequence[Key], place: Place) -> Block:
    """The values of one block, checked, defaults filled in.

    Raises OrderError for an unknown key (with the nearest known one), a missing key or a value that is not as expected.
    """
    known = {key.name: key for key in keys}
    for name in raw:
        if name not in known:
            near = nearest(name, known)
            hint = f" Did you mean '{near}'?" if near else _belongs(name)
            place.at(name).refuse(
                f"this key is not known here.{hint} Known are {', '.join(known)}", code="order.key-unknown"
            )
    values: dict[str, Any] = {}
    for name, key in known.items():
        if name in raw:
            values[name] = _value(key, raw[name], place.at(name))
        elif key.default is REQUIRED:
            place.at(name).refuse(f"this key is missing: {key.meaning}", code="order.key-missing")
        else:
            values[name] = key.default
    return Block(place, values, frozenset(raw))


def _belongs(name: str) -> str:
    """The block that a key belongs to, whose headline may be missing above it; empty for a key of no block."""
    kinds = [kind for kind, keys in BLOCKS.items() if any(key.name == name and name != "name" for key in keys)]
    if not kinds and name != "name":
        return ""
    if len(kinds) == 1:
        return f" It belongs under [[{kinds[0]}]]: is that headline missing above it?"
    return " Is the headline of its block, such as [[piece]] or [[cloth]], missing above it?"


#: Refusals of values that say themselves what to write.
_SAY_WHAT_TO_WRITE = ("value.share", "value.comma", "value.negative")


def _value(key: Key, raw: Any, place: Place) -> Any:
    """The value of a key. What refuses it says what to write, where what was meant can be told and is taken."""
    try:
        return key.read(raw, place)
    except (OrderError, UnitsError) as error:
        meant = None if error.code in _SAY_WHAT_TO_WRITE else meant_by(key, raw)
        if meant is None or error.key != place.key:
            raise
        raise type(error)(
            f"{error.message}: write `{key.name} = {meant}`",
            file=error.file,
            key=error.key,
            code=error.code,
            figures=error.figures,
        ) from None


def meant_by(key: Key, raw: Any) -> str | None:
    """The TOML value that was meant by one that a key does not take, None if that cannot be told."""
    if isinstance(raw, dict):
        return None
    kind = key.read.__qualname__.split(".")[0] if hasattr(key.read, "__qualname__") else "choice"
    written = ", ".join(map(str, raw)) if isinstance(raw, list) else str(raw)
    tried: list[str] = []
    if "\n" in written or not written.strip():
        return None
    if kind in ("number", "count", "ratio", "flag"):
        tried += [meant for meant, _ in as_value(written, number=kind != "flag", flag=kind == "flag")]
        tried += [str(int(raw))] if isinstance(raw, float) and raw.is_integer() else []
    elif kind == "share":
        tried += [f'"{found[1]} %"' for found in re.finditer(r"^[^\d-]*?(\d+(?:[.,]\d+)?) *(?:%.*|pct|pc)?$", written)]
        tried = [found for found in tried if float(written) > 1.0] if re.fullmatch(r"[\d.]+", written) else tried
        tried += [written] if re.fullmatch(r"0?\.\d+", written) else []
    elif kind == "length":
        inches = written.replace("\'\'", " in")
        tried += [f'"{found[0]}"' for found in re.finditer(r"\d[\d ./]*(?:mm|cm|m|in|yd|ft)$", inches)]
    elif kind in ("list_of", "one_or_more", "pair_of") and isinstance(raw, str):
        tried += [meant for meant, _ in as_list(written)] + [f'["{written}"]'.replace("\\", "/")]
    return next((meant for meant in tried if takes(key, meant)), None)


def takes(key: Key, written: str) -> bool:
    """Whether a key takes a value as it is ``written`` in TOML."""
    try:
        key.read(tomllib.loads(f"x = {written}")["x"], Place("", key.name, "cm"))
    except (NestingError, ValueError, RecursionError):
        return False
    return True


def read_blocks(document: Mapping[str, Any], place: Place) -> dict[str, list[Block]]:
    """All blocks of an order by kind. Raises OrderError for what does not belong there."""
    tops = {key.name for key in TOP}
    for name, raw in document.items():
        if name in BLOCKS or name in tops:
            continue
        near = nearest(name, [*BLOCKS, *tops])
        shown = f"[[{near}]]" if near in BLOCKS else f"'{near}'"
        hint = f" Did you mean {shown}?" if near else _belongs(name)
        what = "block" if isinstance(raw, list | dict) else "key"
        place.at(name).refuse(
            f"this {what} is not known.{hint} Known are the keys {', '.join(sorted(tops))} and the blocks "
            f"{', '.join(f'[[{b}]]' for b in BLOCKS)}",
            code="order.key-unknown",
        )
    blocks: dict[str, list[Block]] = {}
    for kind, keys in BLOCKS.items():
        raw = document.get(kind, [])
        if not isinstance(raw, list) or not all(isinstance(one, dict) for one in raw):
            place.at(kind).refuse(
                f"found a single value or table; a block was expected: write `[[{kind}]]`, with two brackets on "
                "either side",
                code="order.value",
            )
        blocks[kind] = []
        for n, one in enumerate(raw, 1):
            name = one.get("name")
            at = place.at(f"{kind}[{name if isinstance(name, str) and name.strip() else n}]")
            blocks[kind].append(read_block(one, keys, at))
        _refuse_twice(kind, blocks[kind])
    return blocks


def _refuse_twice(kind: str, blocks: list[Block]) -> None:
    if kind not in ("piece", "finish", "cloth", "remnant", "garment", "trim", "wearer", "opening"):
        return
    seen: set[tuple[str, str | None, object]] = set()
    for block in blocks:
        name, size = block["name"], block.values.get("size")
        if block.values.get("wearer") is not None:
            size = f"{size or ''} {block['wearer']}".strip()
        # the same garment from another cloth is another one
        key = (name, size, block.values.get("cloth") if kind == "garment" else None)
        if key in seen:
            where = f"'{name}' in size '{size}'" if size else f"'{name}'"
            colours = ', or say which is cut from another cloth: cloth = { main = "navy jersey" }'
            block.place.refuse(
                f"there are two [[{kind}]] blocks {where}; one was expected: put them together or rename one"
                + (colours if kind == "garment" else ""),
                code="order.block-twice",
            )
        seen.add(key)
