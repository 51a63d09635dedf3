"""The view of cutting: the sheet as rows to tick, print files, leftovers, projector set-ups."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from nesting.model.errors import NestingError
from nesting.model.lay import Lay
from nesting.model.units import format_length
from nesting.page.cloth_doc import stash_file
from nesting.page.documents import CalibrationDoc, CutDoc, CutRow
from nesting.page.editing import Refused
from nesting.page.lays import Lays, laid_ids
from nesting.page.state_doc import blockers_of
from nesting.page.words import line
from nesting.page.workspace import Workspace
from nesting.planning.leftovers.offcuts import Offcut, as_remnants, offcuts
from nesting.planning.leftovers.stash import already_there, read_stash
from nesting.report.backends.to_pdf import PAPERS
from nesting.report.drawing.view import laid_sections, picture
from nesting.report.print.drawn_files import KINDS
from nesting.report.sheet.before import before_spreading
from nesting.report.sheet.sheet import rows

__all__ = ["calibration", "cut_doc", "homography", "leftovers_of"]

_COLUMNS = [
    ["number", "No."], ["piece", "piece"], ["for", "for"], ["hand", "left or right"], ["side", "printed side"],
    ["plies", "plies"], ["lies", "lies"], ["tail", "grain tail: from the edge, from the cut end"],
    ["head", "grain head: from the edge, from the cut end"], ["turn", "turn"], ["gives", "gives"],
]  # fmt: skip
_WORDS = {
    "sheet": "the placement sheet, to follow with a ruler",
    "whole": "the whole lay true to scale on one page",
    "tiles": "the lay true to scale on pages to tape together",
    "projector": "the lay for a projector",
    "cutter": "files for a cutting machine (SVG and DXF)",
    "labels": "a label for each garment, all cloths together, to cut apart",
    "list": "the cutting list by garment, for a spreadsheet (CSV)",
}
_FILE_WORDS = {
    "report": "everything on one page, to look at and to send",
    "curve": "cloth to buy by the number of garments",
    "from": "the lay that a search went on from",
    "labels": "labels to cut apart",
    "cutting": "the cutting list, for a spreadsheet",
}
_ON_PAPER = ("sheet", "tiles", "labels")
#: mm: smaller leftovers are scraps
LEAST_MM = 200.0


def leftovers_of(lay: Lay) -> tuple[Offcut, ...]:
    """What a lay leaves that is worth keeping: at least 20 × 20 cm."""
    found = offcuts(lay, least_width=LEAST_MM, least_area=LEAST_MM**2)
    return tuple(o for o in found if min(o.rectangle_size) >= LEAST_MM - 1e-9)


def cut_doc(work: Workspace, lays: Lays, cloth: str | None, rev: int, command: str) -> CutDoc:
    """The sheet of the lay that is shown for this cloth. ``command``: repeats what was printed last."""
    cloths = lays.cloths()
    cloth = cloth if cloth in cloths else (cloths[0] if cloths else "")
    lay = lays.now(cloth)
    lay_id = str(lays.value(cloth).get("lay", "")) if lay is not None else None
    ticks = set(work.history.state.get(f"ticks:{lay_id}") or [])
    verdict = lays.known_verdict(cloth)
    why: str | None = None
    blockers = blockers_of(work.survey)
    if lay is None:
        why = "nothing is laid yet"
    elif blockers:
        why = f"do not cut yet: {blockers[0]['message']}"
    elif lay.order_sha256 and lay.order_sha256 != work.sha256:
        why = "the order was changed after this lay was made: lay it anew"
    elif verdict is None:
        why = "the lay has not been proved yet"
    elif not verdict["ok"]:
        why = "the lay does not hold as it lies"
    return {
        "rev": rev,
        "cloth": cloth,
        "lay": lay_id,
        "judged": verdict is not None,
        "columns": _COLUMNS,
        "rows": _rows(lay, ticks) if lay is not None else [],
        "before": _before(lay) if lay is not None else [],
        "files": files_in(work),
        "kinds": [{"kind": k, "words": _WORDS.get(k, k), "papers": list(PAPERS) if k in _ON_PAPER else []}
                  for k in KINDS],
        "papers": list(PAPERS),
        "leftovers": _leftovers(lay, work) if lay is not None else [],
        "calibrations": list(work.history.state.get("projector") or []),
        "ready": why is None,
        "why_not": why,
        "command": command,
    }  # fmt: skip


def _rows(lay: Lay, ticks: set[str]) -> list[CutRow]:
    ids = laid_ids(lay)
    found: list[CutRow] = []
    for row in rows(lay):
        laid = ids[row.index]
        cells = {
            "number": str(row.number),
            "piece": row.name,
            "for": row.whose,
            "hand": row.hand,
            "side": row.side,
            "plies": row.ply_words,
            "lies": row.lies,
            "tail": f"{row.tail[0]} · {row.tail[1]}",
            "head": f"{row.head[0]} · {row.head[1]}",
            "turn": row.turn_words or row.turn,
            "gives": str(row.gives),
        }
        found.append({"laid": laid, "number": row.number, "cells": cells, "done": laid in ticks})
    return found


def _before(lay: Lay) -> list[str]:
    found = list(before_spreading(lay))
    kinds = list(dict.fromkeys(s.spread.kind for s in lay.sections))
    parts = laid_sections(lay, picture(lay))
    long = sum(one.before + one.section.lay_length for one in parts) + parts[-1].after
    ends = sum(one.before > 0.0 for one in parts) + (parts[-1].after > 0.0 and lay.remnant is None)
    said = f"Spread it: {', then '.join(kinds)}, {format_length(long, imperial=lay.imperial)} long"
    if ends:
        each = format_length(lay.end_allowance, imperial=lay.imperial)
        of_ends = f"{each} left free at each end" if ends > 1 else f"{each} left free at the cut ends"
        said += f", {of_ends} included"
    origin = "the leftover's leftmost point" if lay.remnant is not None else "the cut end"
    later = "; a later section's from the line at which it begins" if len(parts) > 1 else ""
    found.append(f"{said}. All distances below are from {origin}{later}.")
    return found


def files_in(work: Workspace) -> list[dict[str, str]]:
    """What lies in the results folder."""
    try:
        names = sorted(p.name for p in work.results.iterdir() if p.is_file() and not p.name.startswith("."))
    except OSError:
        return []
    return [
        {"name": n, "kind": n.partition("-")[0], "url": f"/files/{n}", "words": _file_words(n)} for n in names
    ]


def _file_words(name: str) -> str:
    """What a file of the results folder is, by its name."""
    kind, _, ending = name.rpartition(".")
    kind = kind.partition("-")[0]
    by_ending = {
        "png": "a picture to look at",
        "svg": "a picture, true to scale",
        "json": "the same for other programs",
        "pdf": "to print",
    }
    if kind == "lay" and ending == "json":
        return "the lay itself, as a file"
    if ending == "json":
        return by_ending["json"]
    return _FILE_WORDS.get(kind) or _WORDS.get(kind) or by_ending.get(ending, "")


def _kept_already(lay: Lay, file: Path) -> dict[int, str]:
    """What the stash calls those leftovers of a lay that it holds, by their numbers."""
    names = as_remnants(leftovers_of(lay), cloth=lay.cloth, prefix="")
    try:
        known = already_there(read_stash(file), names, note=lay.title)
    except NestingError:
        return {}  # a stash that cannot be read is told where it is used
    return {index: known[one.name] for index, one in enumerate(names) if one.name in known}


def _leftovers(lay: Lay, work: Workspace) -> list[dict[str, Any]]:
    """What a lay leaves over, and what of it the stash holds already."""
    kept = _kept_already(lay, stash_file(work.folder))
    found = []
    for index, one in enumerate(leftovers_of(lay)):
        along, across = one.rectangle_size
        words = (
            f"holds {format_length(along, imperial=lay.imperial)} along the grain by "
            f"{format_length(across, imperial=lay.imperial)} across"
        )
        found.append({"index": index, "length": round(along, 1), "width": round(across, 1),
                      "outline": line(one.outline), "words": words, "kept": kept.get(index)})  # fmt: skip
    return found


def homography(source: list[list[float]], target: list[list[float]]) -> list[float]:
    """The projective map that takes four points to four others, nine numbers row by row, the last one 1.

    Solved as eight linear equations (Hartley, Zisserman: Multiple View Geometry, 4.1). Refused where three points lie
    on a line.
    """
    rows_, right = [], []
    for (x, y), (u, v) in zip(source, target, strict=True):
        rows_ += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    a = np.array(rows_, dtype=float)
    # scaled by column, so that millimetres beside their squares do not look like a bad condition
    scale = np.abs(a).max(axis=0)
    try:
        if not np.isfinite(a).all() or (scale == 0).any() or np.linalg.cond(a / scale) > 1e8:
            raise np.linalg.LinAlgError
        h = np.linalg.solve(a / scale, np.array(right, dtype=float)) / scale
    except np.linalg.LinAlgError:
        raise Refused(
            "not-a-rectangle", "these corners do not make a rectangle seen from aside: drag them apart", view="cut"
        ) from None
    return [float(v) for v in (*h, 1.0)]


def calibration(name: str, corners: list[list[float]], size: list[float], shift: float, dark: bool) -> CalibrationDoc:
    """A projector's set-up with its matrix. Refused where the figures make no sense."""
    name = name.strip()
    if not name or len(name) > 60:
        raise Refused("not-a-name", "give the set-up a name", view="cut", field="name")
    if len(size) != 2 or not all(20.0 <= v <= 10_000.0 for v in size):
        raise Refused(
            "not-a-size", "measure the rectangle on the table: 2 cm to 10 m each way", view="cut", field="size"
        )
    if len(corners) != 4 or any(len(p) != 2 or not all(abs(v) < 1e5 for v in p) for p in corners):
        raise Refused("not-a-rectangle", "four corners are needed", view="cut", field="corners")
    turns = []
    for k in range(4):
        (ax, ay), (bx, by), (cx, cy) = corners[k], corners[(k + 1) % 4], corners[(k + 2) % 4]
        turns.append((bx - ax) * (cy - by) - (by - ay) * (cx - bx))
    if not (all(t > 1.0 for t in turns) or all(t < -1.0 for t in turns)):
        raise Refused("not-a-rectangle", "the corners cross over or lie in a line: drag them apart", view="cut",
                      field="corners")  # fmt: skip
    w, h = size
    matrix = homography([[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]], corners)
    return {"name": name, "corners": corners, "size": size, "shift": shift, "dark": dark, "matrix": matrix}
