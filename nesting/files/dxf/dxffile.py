"""A DXF file as a whole: whether it is one, loading it, its units, and whether it keeps to the pattern standard."""

from __future__ import annotations

import io
import math
import re
from collections.abc import Collection
from typing import Any

from nesting.files.drawn.context import Context
from nesting.files.drawn.texts import keyword_of
from nesting.files.dxf.dxfshapes import LINE_TYPES
from nesting.files.svg.svgunits import unit_mm
from nesting.model.errors import UnitsError

__all__ = ["INSUNITS_MM", "first_line", "is_standard", "load", "looks_like_dxf", "units_of", "words_of"]

#: $INSUNITS codes of lengths that a drawing of clothes may have, in mm (DXF Reference, system variables).
INSUNITS_MM = {
    1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 8: 25.4e-6, 9: 0.0254, 10: 914.4, 13: 1e-3, 14: 100.0, 15: 10_000.0,
    16: 100_000.0, 21: 304.8,
}  # fmt: skip


#: UNITS texts of the pattern standard, in mm (from memory).
_UNITS_TEXT_MM = {"METRIC": 1.0, "ENGLISH": 25.4}


def looks_like_dxf(data: bytes) -> bool:
    """Whether the bytes begin as a DXF file does: comments, then the first section; or the binary form's sign."""
    if b"Binary DXF\r\n\x1a" in data[:32]:
        return True
    return re.match(rb"(?:\xef\xbb\xbf)?\s*(?:999\s*\n[^\n]*\n\s*)*0+\s*\r?\n?\s*SECTION\b", data[:4096]) is not None


def load(data: bytes, ctx: Context) -> Any:
    """Read with ezdxf's recover mode; what its audit put right becomes findings."""
    import logging

    from ezdxf import recover

    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)
    try:
        document, auditor = recover.read(io.BytesIO(data))
    except Exception as error:
        raise ctx.error(
            f"the DXF file is damaged and cannot be read ({first_line(error)}); export it again from your program",
            code="file.damaged",
        ) from None
    kinds: dict[str, int] = {}
    for fix in (*auditor.fixes, *auditor.errors):
        name = getattr(fix.code, "name", str(fix.code)).replace("_", " ").lower()
        kinds[name] = kinds.get(name, 0) + 1
    for name, count in kinds.items():
        times = f" ({count} times)" if count > 1 else ""
        ctx.note("repaired", f"the DXF file had a fault that was put right: {name}{times}", code="file.repaired")
    return document


def first_line(error: BaseException) -> str:
    """The first line of an error's message, or its kind where it has none."""
    lines = str(error).strip().splitlines()
    return (lines[0] if lines else type(error).__name__)[:120]


def words_of(entity: Any) -> str:
    """The words of a text entity, empty for any other."""
    kind = entity.dxftype()
    if kind in ("TEXT", "ATTRIB"):
        return str(entity.plain_text()).strip()
    if kind == "MTEXT":
        return str(entity.plain_text()).strip()
    return ""


def is_standard(space: Any, blocks: list[Any], texts: list[str], numbered: Collection[str]) -> bool:
    """Whether the layers are those of the pattern standard: lines on layer 1, and on numbered layers only."""
    layers: set[str] = set()
    words = list(texts)
    for layout in (space, *blocks):
        for entity in layout:
            if entity.dxftype() in LINE_TYPES:
                layers.add(str(entity.dxf.layer))
            elif layout is not space:
                words.append(words_of(entity))
    if "1" not in layers:
        return False
    spoken = any((found := keyword_of(w)) and found[0] in ("PIECE NAME", "STYLE NAME") for w in words)
    return spoken or layers - {"0"} <= set(numbered)


def units_of(document: Any, texts: list[str], ctx: Context, units: str | None) -> tuple[float, bool]:
    """mm per drawing unit, and whether that is known."""
    code = document.header.get("$INSUNITS") if "$INSUNITS" in document.header else None
    header = INSUNITS_MM.get(int(code)) if isinstance(code, (int, float)) and math.isfinite(code) else None
    said: float | None = None
    for text in texts:
        for line in text.split("\n"):
            found = keyword_of(line)
            if found and found[0] == "UNITS":
                said = _UNITS_TEXT_MM.get(found[1].upper()) or _unit_word(found[1])
    if header is not None:
        if said is not None and said != header:
            ctx.note(
                "warning",
                f"the header says that a unit is {header:g} mm, the UNITS text {said:g} mm; the header is taken. Check "
                "the size of a piece",
                code="units.disagree",
            )
        if units is not None:
            ctx.note(
                "note",
                f"the drawing states its own unit, so the unit '{units}' given for it is not needed",
                code="units.not-needed",
            )
        return header, True
    if code:
        ctx.note("warning", f"$INSUNITS {code} is no unit for clothes and is not used", code="units.not-for-clothes")
    if said is not None:
        return said, True
    if units is not None:
        return unit_mm(units), True
    ctx.note(
        "question",
        "the drawing does not say its units; they are taken as mm. Say in the order which they are, for example "
        'units = "in" under its [[pattern]]',
        code="units.missing",
    )
    return 1.0, False


def _unit_word(word: str) -> float | None:
    try:
        return unit_mm(word)
    except UnitsError:
        return None
