"""Lay files (``lay-<cloth>.json``, schema "lay/1"): one cloth, laid, in and out.

Lengths are mm, written to a millionth; angles degrees. Reading refuses what is missing or of the wrong type with an
OrderError that names the key; keys that it does not know are allowed, those at the top level are kept in ``Lay.extra``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from nesting.files.lays.layreading import SCHEMA, lay_from_dict
from nesting.model.errors import InternalError, OrderError
from nesting.model.findings import Reason
from nesting.model.lay import Lay, PatchPlace, Placement, Spread, SpreadTried
from nesting.model.piece import Point, Ring

__all__ = ["SCHEMA", "lay_as_bytes", "lay_as_dict", "lay_from_dict", "read_lay"]

#: decimals of a millimetre (and of a degree) that are written
DECIMALS = 6


def lay_as_bytes(lay: Lay) -> bytes:
    """The lay file's content: the same lay gives the same bytes. InternalError for a figure that is not a number."""
    try:
        return (_written(lay_as_dict(lay), "") + "\n").encode()
    except ValueError as error:
        raise InternalError(
            f"the lay of {lay.cloth} holds a figure that is not a number ({error})", code="program.figure"
        ) from None


def _written(document: Mapping[str, Any], indent: str) -> str:
    """A key to a line, and a placement to a line, so that a person can find and move one."""
    lines = []
    inner = indent + "  "
    for key, value in document.items():
        if key in ("placements", "sections", "garments", "tried", "holds") and value:
            rows = [_written(v, inner + "  ") if key == "sections" else _json(v) for v in value]
            shown = "[\n" + ",\n".join(f"{inner}  {row}" for row in rows) + f"\n{inner}]"
        else:
            shown = _json(value)
        lines.append(f"{inner}{_json(key)}: {shown}")
    return "{\n" + ",\n".join(lines) + f"\n{indent}}}"


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


# long: one line for each key
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
            **({"shrink_along": _number(lay.shrink_along, 9)} if lay.shrink_along is not None else {}),
            "knit": lay.knit,
        },
        "remnant": lay.remnant,
        "over": lay.over,
        **({"over_at": [_number(at) for at in lay.over_at]} if lay.over_at else {}),
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
    if lay.holds is not None:
        document["holds"] = [
            {"garment": h.garment, "size": h.size, "copy": h.copy, "piece": h.piece, "hand": h.hand, "count": h.count}
            for h in lay.holds
        ]
    if lay.do_not_cut:
        document["do_not_cut"] = list(lay.do_not_cut)
    if lay.patches:
        document["patches"] = [
            {
                "number": p.number,
                "width": _number(p.width),
                "length": _number(p.length),
                "margin": _number(p.margin),
                "x": _number(p.x),
                "y": _number(p.y),
                "turn": _number(p.turn),
                "placements": list(p.placements),
                "on": _place_dict(p.on),
            }
            for p in lay.patches
        ]
    if lay.patch_places:
        document["patch_places"] = [
            {"number": number, "of": cloth, "on": _place_dict(on)} for number, cloth, on in lay.patch_places
        ]
    if lay.apart is not None:
        document["apart"] = lay.apart.message
        document["apart_reason"] = _reason_dict(lay.apart)
    if lay.part is not None:
        document["part"] = {"number": lay.part.number, "of": lay.part.of}
    if lay.leftover is not None:
        document["leftover"] = {
            "outline": _line(lay.leftover.outline),
            "flaws": [_line(flaw) for flaw in lay.leftover.flaws],
        }
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
    # adding 0.0 turns −0.0 into 0.0
    rounded: list[list[float]] = (np.round(np.asarray(points, dtype=float).reshape(-1, 2), DECIMALS) + 0.0).tolist()
    return rounded


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


def _place_dict(on: PatchPlace) -> dict[str, Any]:
    return {
        "cloth": on.cloth,
        "section": on.section,
        "plies": list(on.plies),
        "x": _number(on.x),
        "y": _number(on.y),
        "length": _number(on.length),
        "width": _number(on.width),
        "grain": _number(on.grain),
        "face": on.face,
    }


def _placement_dict(p: Placement) -> dict[str, Any]:
    return {
        "piece": p.piece,
        "garment": p.garment,
        "size": p.size,
        "copy": p.copy,
        "copies": list(p.copies),
        "ids": list(p.ids),
        "number": p.number,
        "hand": p.hand,
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
        "refused": None if row.refused is None else row.refused.message,
        **({} if row.refused is None else {"refused_reason": _reason_dict(row.refused)}),
        "chosen": row.chosen,
        **({} if row.in_all is None else {"in_all": _number(row.in_all)}),
    }


def _reason_dict(reason: Reason) -> dict[str, Any]:
    """What programs read of a reason; its message stands beside it, as it always did."""
    return {"code": reason.code, "figures": dict(reason.figures)}


def read_lay(path: str | Path) -> Lay:
    """The lay in a file. OrderError names the file, and the key where one is wrong."""
    path = Path(path)
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise OrderError("there is no such lay file", file=path, code="file.missing") from None
    except IsADirectoryError:
        raise OrderError(
            "this is a folder, a lay file (lay-….json) was expected", file=path, code="file.folder"
        ) from None
    except OSError as error:
        raise OrderError(f"the lay file cannot be read ({error.strerror})", file=path, code="file.unreadable") from None
    try:
        document = json.loads(content.decode("utf-8-sig"), parse_constant=_no_constant, object_pairs_hook=_once)
    except UnicodeDecodeError:
        raise OrderError("this is not a lay file: it is not text in UTF-8", file=path, code="file.not-text") from None
    except RecursionError:
        raise OrderError(
            "this is not a lay file: its brackets are nested too deeply", file=path, code="lay.not-json"
        ) from None
    except OrderError as error:
        raise OrderError(error.message, file=path, key=error.key, code=error.code, figures=error.figures) from None
    except ValueError as error:
        raise OrderError(f"this is not a lay file: {error}", file=path, code="lay.not-json") from None
    try:
        return lay_from_dict(document)
    except OrderError as error:
        raise OrderError(
            error.message, file=path, key=error.key, piece=error.piece, code=error.code, figures=error.figures
        ) from None


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} stands where a number was expected")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise OrderError("the key is given twice in one place: keep one of them", key=key, code="lay.key-twice")
        found[key] = value
    return found
