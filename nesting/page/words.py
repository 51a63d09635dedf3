"""From errors and findings of the program to what the page shows, each where it belongs."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, cast

from nesting.model.errors import NestingError, OrderError, PatternError, UnitsError
from nesting.model.findings import Finding
from nesting.page.documents import FindingDoc, OpenOutline, Problem, Where
from nesting.page.plain import plain

__all__ = [
    "finding_doc",
    "line",
    "oops",
    "piece_id",
    "point",
    "pointed",
    "problem_of",
    "refusal",
    "view_of",
    "where_of",
]

#: the view that a block of the order belongs to
_VIEWS = {
    "pattern": "pieces",
    "piece": "pieces",
    "edge": "pieces",
    "finish": "pieces",
    "seam": "seams",
    "together": "seams",
    "alter": "alterations",
    "cloth": "cloth",
    "remnant": "cloth",
    "wearer": "cloth",
    "garment": "cloth",
    "trim": "cloth",
    "opening": "cloth",
    "disk": "pieces",
}


def point(p: tuple[float, float]) -> list[float]:
    """A point for the page, to 1/1000 mm."""
    return [round(p[0], 3), round(p[1], 3)]


def line(points: Any) -> list[list[float]]:
    """A line for the page."""
    return [point(p) for p in points]


def piece_id(name: str, size: str | None) -> str:
    """How the page calls a piece: "front|M"."""
    return f"{name}|{size or ''}"


def where_of(key: str | None, piece: str | None = None, file: str | None = None) -> Where:
    """The view and field that an order's key belongs to: "cloth[main].width" is the width of main on the view of
    cloths."""
    where: Where = {}
    moved = re.match(r"alter (\d+) \(", key or "")
    if moved is not None:
        # a step of a piece's alterations, told while the piece is made
        return {"view": "alterations", "piece": piece} if piece else {"view": "alterations"}
    found = re.match(r"(\w+)(?:\[([^\]]*)\])?(?:\.(.*))?$", key or "")
    kind = found[1] if found else ""
    if kind in _VIEWS:
        where["view"] = cast(Any, _VIEWS[kind])
        if found is not None and found[2] and kind == "cloth":
            where["cloth"] = found[2]
        if found is not None and found[2] and kind == "garment":
            where["garment"] = found[2]
        if found is not None and found[2] and kind == "piece":
            where["piece"] = found[2]
        if found is not None and found[2] and found[2].isdigit() and kind in ("seam", "alter"):
            where["seam" if kind == "seam" else "alteration"] = int(found[2]) - 1
        if found is not None and found[3]:
            where["field"] = found[3]
    elif piece:
        where["view"] = "pieces"
    if piece:
        where["piece"] = piece
    if file and not file.endswith(".toml"):
        where["file"] = file
        where.setdefault("view", "pieces")
    return where


def view_of(kind: str) -> str:
    """The view that a block of the order belongs to."""
    return _VIEWS.get(kind, "pieces")


def pointed(where: Where, pieces: Mapping[str, tuple[str, str | None]]) -> Where:
    """The place with its piece by name and size, where it was told by its label; ``pieces``: label -> (name, size)."""
    found = pieces.get(where.get("piece", ""))
    if found is None:
        return where
    name, size = found
    where = {**where, "piece": name}
    if size is not None:
        where["size"] = size
    return where


def problem_of(error: BaseException, **where: Any) -> Problem:
    """An error as the page shows it. ``where`` adds to what the error itself tells."""
    if isinstance(error, NestingError):
        code = (
            "not-a-length"
            if isinstance(error, UnitsError)
            else "pattern"
            if isinstance(error, PatternError)
            else "order"
            if isinstance(error, OrderError)
            else {2: "input", 3: "cannot-lay"}.get(error.exit_code, "our-fault")
        )
        place = {**where_of(error.key, error.piece, error.file), **where}
        problem: Problem = {"code": code, "message": _sentence(error), "where": cast(Where, place)}
        shown = _open_outline(error.figures)
        if shown is not None:
            problem["open"] = shown
        return problem
    return {"code": "our-fault", "message": oops(error), "where": cast(Where, where)}


def oops(error: BaseException) -> str:
    """What is said where the program is at fault."""
    return (
        f"This is a fault of the program, not yours ({type(error).__name__}: {str(error)[:200]}). Nothing was changed."
    )


def refusal(code: str, message: str, choices: list[str] | None = None, **where: Any) -> Problem:
    """A problem that the page itself has found."""
    problem: Problem = {"code": code, "message": _begun(message), "where": cast(Where, where)}
    if choices:
        problem["choices"] = choices
    return problem


def _sentence(error: NestingError) -> str:
    """The message with the piece or file before it, without paths; the key where it says more than the view does."""
    # where nothing can be written, that is so of the whole folder
    named = error.file and not error.file.endswith(".toml") and error.code != "file.not-written"
    file = error.file.rsplit("/", 1)[-1] if error.file and named else None
    message = plain(error.message, error.code)
    parts = [file, f"'{error.piece}'" if error.piece else None]
    lead = ", ".join(part for part in parts if part)
    field = re.sub(r"^alter (\d+) \(.*\)$", r"alteration \1", error.key or "")
    field = field.rpartition(".")[2].partition("[")[0].replace("_", " ")
    if field and field not in ("disk", "pattern", "cloth", "garment", "order") and "'" not in field:
        lead = f"{lead}, {field}" if lead else field
    if file:
        return f"{lead}: {message}"  # a file's name stays as it is
    return _begun(f"{lead}: {message}" if lead else message)


def _begun(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def finding_doc(finding: Finding) -> FindingDoc:
    """A finding as the page shows it."""
    doc: FindingDoc = {
        "kind": finding.kind,
        "message": plain(finding.message, finding.code),
        "where": where_of(finding.key, finding.piece, finding.file.rsplit("/", 1)[-1] if finding.file else None),
        "code": finding.code,
    }
    shown = _open_outline(finding.figures)
    if shown is not None:
        doc["open"] = shown
    return doc


def _open_outline(figures: Mapping[str, Any]) -> OpenOutline | None:
    """The outline that a refusal or finding tells to be open, None where it tells of something else."""
    lines, gaps = figures.get("lines"), figures.get("gaps")
    if not isinstance(lines, str) or not isinstance(gaps, tuple):
        return None
    ends = [[float(v) for v in gap.split()] for gap in gaps]
    return {"lines": lines, "gaps": [[[x0, y0], [x1, y1]] for x0, y0, x1, y1 in ends]}
