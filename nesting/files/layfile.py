"""Lay files (``lay-<cloth>.json``, schema "lay/1"): one cloth, laid, in and out.

Lengths are mm, written to a millionth; angles degrees. Reading refuses what is missing or of the wrong type with an
OrderError that names the key; keys that it does not know are allowed, those at the top level are kept in ``Lay.extra``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from nesting.errors import InternalError, OrderError
from nesting.files.layvalues import Reader
from nesting.lay import (
    FoldLine,
    GarmentShare,
    Lay,
    Placement,
    PlyRegion,
    Section,
    Spread,
    SpreadTried,
)
from nesting.pieces.piece import Drill, Notch, Point, Ring

__all__ = ["SCHEMA", "lay_as_bytes", "lay_as_dict", "lay_from_dict", "read_lay"]

SCHEMA = "lay/1"

#: decimals of a millimetre (and of a degree) that are written
DECIMALS = 6

_TOP_KEYS = {
    "schema",
    "units",
    "order",
    "title",
    "seed",
    "seconds",
    "cloth",
    "remnant",
    "spread",
    "sections",
    "lay_length",
    "buy_length",
    "lower_bound",
    "bound_reason",
    "utilisation",
    "placements",
    "garments",
    "tried",
    "notes",
    "imperial",
}


def lay_as_bytes(lay: Lay) -> bytes:
    """The lay file's content: the same lay gives the same bytes. InternalError for a figure that is not a number."""
    try:
        return (_written(lay_as_dict(lay), "") + "\n").encode()
    except ValueError as error:
        raise InternalError(f"the lay of {lay.cloth} holds a figure that is not a number ({error})") from None


def _written(document: Mapping[str, Any], indent: str) -> str:
    """A key to a line, and a placement to a line, so that a person can find and move one."""
    lines = []
    inner = indent + "  "
    for key, value in document.items():
        if key in ("placements", "sections", "garments", "tried") and value:
            rows = [_written(v, inner + "  ") if key == "sections" else _json(v) for v in value]
            shown = "[\n" + ",\n".join(f"{inner}  {row}" for row in rows) + f"\n{inner}]"
        else:
            shown = _json(value)
        lines.append(f"{inner}{_json(key)}: {shown}")
    return "{\n" + ",\n".join(lines) + f"\n{indent}}}"


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def lay_as_dict(lay: Lay) -> dict[str, Any]:
    """The lay as a JSON document."""
    single = len(lay.sections) == 1
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "units": "mm",
        "order": {"file": lay.order_file, "sha256": lay.order_sha256},
        "title": lay.title,
        "seed": lay.seed,
        "seconds": _number(lay.seconds),
        "cloth": {
            "name": lay.cloth,
            "width": _number(lay.width),
            "width_washed": _number(lay.width_washed),
            "usable_width": _number(lay.usable_width),
            "selvage": _number(lay.selvage),
            "gap": _number(lay.gap),
            "end_allowance": _number(lay.end_allowance),
            "repeat_along": _number(lay.repeat_along),
            "repeat_across": _number(lay.repeat_across),
        },
        "remnant": lay.remnant,
        "spread": _spread_dict(lay.sections[0].spread) if single else {"kind": "sections"},
        "lay_length": _number(lay.lay_length),
        "buy_length": _number(lay.buy_length),
        "lower_bound": _number(lay.lower_bound),
        "bound_reason": lay.bound_reason,
        "utilisation": _number(lay.utilisation, 9),
    }
    if single:
        document["placements"] = [_placement_dict(p) for p in lay.sections[0].placements]
        if lay.sections[0].start:
            document["start"] = _number(lay.sections[0].start)
    else:
        document["sections"] = [
            {
                "spread": _spread_dict(section.spread),
                "start": _number(section.start),
                "lay_length": _number(section.lay_length),
                "placements": [_placement_dict(p) for p in section.placements],
            }
            for section in lay.sections
        ]
    document["garments"] = [
        {"name": g.name, "size": g.size, "count": g.count, "length_each": _number(g.length_each)} for g in lay.garments
    ]
    document["tried"] = [_tried_dict(row) for row in lay.tried]
    document["notes"] = list(lay.notes)
    document["imperial"] = lay.imperial
    for key, value in lay.extra.items():
        document.setdefault(key, value)
    return document


def _number(value: float, decimals: int = DECIMALS) -> float:
    # adding 0.0 turns −0.0 into 0.0
    return round(float(value), decimals) + 0.0


def _optional(value: float | None) -> float | None:
    return None if value is None else _number(value)


def _point(p: Point) -> list[float]:
    return [_number(p[0]), _number(p[1])]


def _line(points: Ring) -> list[list[float]]:
    return [_point(p) for p in points]


def _spread_dict(spread: Spread) -> dict[str, Any]:
    return {
        "kind": spread.kind,
        "table_width": _number(spread.table_width),
        "length": _number(spread.length),
        "depths": [_number(depth) for depth in spread.depths],
        "layers": spread.layers,
        "folds": [{"along": f.along, "at": _number(f.at), "plies": list(f.plies)} for f in spread.folds],
        "plies": [
            {
                "ply": ply.ply,
                "face": ply.face,
                "region": _line(ply.region),
                "flaws": [_line(flaw) for flaw in ply.flaws],
                "reversed": ply.reversed,
            }
            for ply in spread.plies
        ],
    }


def _placement_dict(p: Placement) -> dict[str, Any]:
    return {
        "piece": p.piece,
        "garment": p.garment,
        "size": p.size,
        "copy": p.copy,
        "copies": list(p.copies),
        "x": _number(p.x),
        "y": _number(p.y),
        # a long piece shows a thousandth of a degree: turns are written finer
        "turn": _number(p.turn, 9),
        "flipped": p.flipped,
        "plies": list(p.plies),
        "on_fold": p.on_fold,
        "opened": p.opened,
        "gives": p.gives,
        "follows": p.follows,
        "second_cloth": p.second_cloth,
        "outline": _line(p.outline),
        "seam": _line(p.seam) if p.seam is not None else None,
        "inside": [_line(line) for line in p.inside],
        "cutouts": [_line(ring) for ring in p.cutouts],
        "notches": [
            {
                "at": _point(n.at),
                "direction": _number(n.direction),
                "kind": n.kind,
                "depth": _number(n.depth),
                "name": n.name,
            }
            for n in p.notches
        ],
        "drills": [{"at": _point(d.at), "diameter": _number(d.diameter), "name": d.name} for d in p.drills],
        "grainline": _line(p.grainline),
        "fold": _line(p.fold) if p.fold is not None else None,
    }


def _tried_dict(row: SpreadTried) -> dict[str, Any]:
    return {
        "kind": row.kind,
        "lay_length": _optional(row.lay_length),
        "buy_length": _optional(row.buy_length),
        "utilisation": None if row.utilisation is None else _number(row.utilisation, 9),
        "handling": list(row.handling) if row.handling is not None else None,
        "refused": row.refused,
        "chosen": row.chosen,
    }


def read_lay(path: str | Path) -> Lay:
    """The lay in a file. OrderError names the file, and the key where one is wrong."""
    path = Path(path)
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise OrderError("there is no such lay file", file=path) from None
    except IsADirectoryError:
        raise OrderError("this is a folder, a lay file (lay-….json) was expected", file=path) from None
    except OSError as error:
        raise OrderError(f"the lay file cannot be read ({error.strerror})", file=path) from None
    try:
        document = json.loads(content.decode("utf-8-sig"), parse_constant=_no_constant, object_pairs_hook=_once)
    except UnicodeDecodeError:
        raise OrderError("this is not a lay file: it is not text in UTF-8", file=path) from None
    except RecursionError:
        raise OrderError("this is not a lay file: its brackets are nested too deeply", file=path) from None
    except OrderError as error:
        raise OrderError(error.message, file=path, key=error.key) from None
    except ValueError as error:
        raise OrderError(f"this is not a lay file: {error}", file=path) from None
    try:
        return lay_from_dict(document)
    except OrderError as error:
        raise OrderError(error.message, file=path, key=error.key, piece=error.piece) from None


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} stands where a number was expected")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise OrderError("the key is given twice in one place: keep one of them", key=key)
        found[key] = value
    return found


def lay_from_dict(document: Mapping[str, Any]) -> Lay:
    """The lay of a JSON document. OrderError names the key that is missing or wrong.

    Left out may be: ``order``, ``title``, ``seed``, ``seconds``, ``garments``, what a placement need not have (marks,
    seam, fold), and the keys that were added to the schema later.
    """
    top = Reader(document, "")
    schema = top.text("schema")
    if schema != SCHEMA:
        raise OrderError(f'the schema is "{schema}", this program reads "{SCHEMA}"', key="schema")
    units = top.text("units", "mm")
    if units != "mm":
        raise OrderError(f'lay files are in "mm", found "{units}"', key="units")
    order = top.part("order", {})
    cloth = top.part("cloth")
    sections = _sections(top)
    width_washed = cloth.number("width_washed", least=0.0)
    return Lay(
        title=top.text("title", ""),
        cloth=cloth.text("name"),
        width=cloth.number("width", least=0.0),
        width_washed=width_washed,
        usable_width=cloth.number("usable_width", least=0.0),
        sections=sections,
        lay_length=top.number("lay_length", least=0.0),
        buy_length=top.number("buy_length", least=0.0),
        lower_bound=top.number("lower_bound", least=0.0),
        bound_reason=top.text("bound_reason", ""),
        utilisation=top.number("utilisation", least=0.0),
        garments=tuple(
            GarmentShare(g.text("name"), g.maybe_text("size"), g.whole("count", least=0), g.number("length_each"))
            for g in top.parts("garments")
        ),
        order_file=order.maybe_text("file"),
        order_sha256=order.text("sha256", ""),
        seed=top.whole("seed", 0),
        seconds=top.number("seconds", 0.0),
        gap=cloth.number("gap", 0.0, least=0.0),
        end_allowance=cloth.number("end_allowance", 0.0, least=0.0),
        selvage=cloth.number("selvage", 0.0, least=0.0),
        repeat_along=cloth.number("repeat_along", 0.0, least=0.0),
        repeat_across=cloth.number("repeat_across", 0.0, least=0.0),
        remnant=top.maybe_text("remnant"),
        imperial=top.flag("imperial", False),
        tried=tuple(_tried(row) for row in top.parts("tried")),
        notes=top.texts("notes"),
        extra={key: value for key, value in document.items() if key not in _TOP_KEYS},
    )


def _sections(top: Reader) -> tuple[Section, ...]:
    if top.part("spread").text("kind") == "sections":
        if top.has("placements"):
            raise OrderError("a lay in sections has its placements in the sections", key="placements")
        return tuple(_section(part) for part in top.parts("sections", needed=True))
    if top.has("sections"):
        raise OrderError('sections are given, but the kind of the spread is not "sections"', key="sections")
    return (_section(top),)


def _section(part: Reader) -> Section:
    return Section(
        spread=_spread(part.part("spread")),
        lay_length=part.number("lay_length", least=0.0),
        placements=tuple(_placement(p) for p in part.parts("placements", needed=True)),
        start=part.number("start", 0.0, least=0.0),
    )


def _spread(part: Reader) -> Spread:
    folds = []
    for fold in part.parts("folds"):
        plies = fold.wholes("plies")
        if len(plies) != 2:
            raise fold.wrong("plies", "the two plies that the fold joins", list(plies))
        folds.append(FoldLine(fold.choice("along", ("x", "y")), fold.number("at"), (plies[0], plies[1])))
    return Spread(
        kind=part.choice(
            "kind",
            (
                "open",
                "lengthwise fold",
                "partial fold",
                "double fold",
                "crosswise fold",
                "stacked face up",
                "stacked face to face",
                "tubular",
            ),
        ),
        table_width=part.number("table_width", least=0.0),
        length=part.number("length", least=0.0),
        plies=tuple(
            PlyRegion(
                ply.whole("ply", least=0),
                ply.choice("face", ("up", "down")),
                ply.points("region", least=3),
                ply.lines("flaws", least=3),
                ply.flag("reversed", False),
            )
            for ply in part.parts("plies", needed=True)
        ),
        folds=tuple(folds),
        depths=part.numbers("depths"),
        layers=part.whole("layers", 1, least=1),
    )


def _placement(p: Reader) -> Placement:
    name = p.text("piece")
    p.piece = name
    return Placement(
        piece=name,
        garment=p.text("garment"),
        size=p.maybe_text("size"),
        copy=p.whole("copy", least=1),
        x=p.number("x"),
        y=p.number("y"),
        turn=p.number("turn"),
        flipped=p.flag("flipped"),
        plies=p.wholes("plies"),
        on_fold=p.flag("on_fold", False),
        opened=p.flag("opened", False),
        gives=p.whole("gives", least=1),
        outline=p.points("outline", least=3),
        inside=p.lines("inside", least=1),
        cutouts=p.lines("cutouts", least=3),
        notches=tuple(
            Notch(
                n.point("at"),
                n.number("direction"),
                n.choice("kind", ("slit", "v", "t", "castle", "check", "u")),
                n.number("depth", 5.0, least=0.0),
                n.maybe_text("name"),
            )
            for n in p.parts("notches")
        ),
        drills=tuple(
            Drill(d.point("at"), d.number("diameter", 0.0, least=0.0), d.maybe_text("name")) for d in p.parts("drills")
        ),
        grainline=p.two_points("grainline"),
        fold=p.two_points("fold") if p.has("fold") else None,
        seam=p.points("seam", least=3) if p.has("seam") else None,
        follows=p.maybe_text("follows"),
        second_cloth=p.maybe_text("second_cloth"),
        copies=p.wholes("copies", ()),
    )


def _tried(row: Reader) -> SpreadTried:
    handling = row.wholes("handling") if row.has("handling") else None
    if handling is not None and len(handling) != 3:
        raise row.wrong("handling", "placements, folds and pieces to trace again", list(handling))
    return SpreadTried(
        kind=row.choice(
            "kind",
            (
                "open",
                "lengthwise fold",
                "partial fold",
                "double fold",
                "crosswise fold",
                "stacked face up",
                "stacked face to face",
                "tubular",
                "sections",
            ),
        ),
        lay_length=row.number("lay_length") if row.has("lay_length") else None,
        buy_length=row.number("buy_length") if row.has("buy_length") else None,
        utilisation=row.number("utilisation") if row.has("utilisation") else None,
        handling=(handling[0], handling[1], handling[2]) if handling is not None else None,
        refused=row.maybe_text("refused"),
        chosen=row.flag("chosen", False),
    )
