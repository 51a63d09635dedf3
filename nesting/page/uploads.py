"""Files that are dropped on the page: read by the same guarded readers as always, before they are kept.

A dropped file's name is never a path: only its last part is looked at, and of that only letters, digits and a few
signs are kept. It is written beside the order under that name, or with a number behind it where another file has it
already.
"""

from __future__ import annotations

import re
import tempfile
import unicodedata
from pathlib import Path
from typing import Any

from nesting.files.outputs import write_outputs
from nesting.files.patterns import read_pieces
from nesting.files.reading import Reading
from nesting.files.remnant import read_remnant
from nesting.model.errors import NestingError, PatternError
from nesting.page.ordertext import OrderText
from nesting.page.survey import Survey
from nesting.page.workspace import Workspace

__all__ = ["PICTURES", "Taken", "safe_name", "take_file"]

_KINDS = (".svg", ".dxf", ".pdf")
PICTURES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif")
#: Windows keeps these names for devices
_DEVICES = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?$", re.I)

Taken = tuple[str, OrderText, list[Any]]


def safe_name(name: str, kinds: tuple[str, ...] = _KINDS) -> str:
    """A plain file name out of whatever a browser calls a file. PatternError for a kind that is not among ``kinds``."""
    last = unicodedata.normalize("NFC", re.split(r"[/\\]", name)[-1])
    stem, dot, suffix = last.rpartition(".")
    suffix = f".{suffix.lower()}" if dot else ""
    if suffix not in kinds:
        expected = "an SVG, DXF or PDF drawing" if kinds is _KINDS else "a photograph (JPEG, PNG, TIFF or HEIC)"
        raise PatternError(f"{expected} was expected", file=_shown(last), code="file.not-pattern")
    stem = re.sub(r"[^\w .()+-]", "_", stem).strip(" .")[:80]
    if not stem or stem.startswith("-") or _DEVICES.match(stem):
        stem = f"pattern {stem}".strip()
    return stem + suffix


def _shown(name: str) -> str:
    return re.sub(r"[^\w .()+-]", "_", name)[:80] or "the file"


def take_file(work: Workspace, name: str, content: bytes, kind: str, text: OrderText) -> Taken:
    """Keep a dropped file and put it into the order: its name, the order's new text, what was found in it.

    Raises PatternError where the file cannot be used; nothing is kept then.
    """
    if kind == "remnant" and name.lower().endswith(PICTURES):
        raise PatternError(
            "a photograph of a leftover is measured by the sheets of the mat that lie round it: choose it on the card "
            "of leftovers under Cloth & people",
            file=_shown(re.split(r"[/\\]", name)[-1]),
            code="scrap.picture",
        )
    wanted = safe_name(name)
    with tempfile.TemporaryDirectory(prefix="nesting-page-") as folder:
        trial = Path(folder) / wanted
        trial.write_bytes(content)
        try:
            if kind == "remnant":
                _, _, findings = read_remnant(trial)
                reading = None
            else:
                reading = _read(trial)
                findings = reading.findings
        except NestingError as error:
            raise PatternError(
                error.message, file=wanted, piece=error.piece, key=error.key, code=error.code, figures=error.figures
            ) from None
    if reading is not None and not reading.pieces:
        raise PatternError(
            "there is no piece in it: a closed cut outline for each piece was expected",
            file=wanted,
            code="drawing.no-outline",
        )
    path = _free(work.folder / wanted, content)
    if not path.exists():
        write_outputs({path: content})
    if reading is None:
        cloths = [str(c.get("name")) for c in work.survey.document.get("cloth", [])]
        values = {"name": path.stem, "cloth": cloths[0] if cloths else "main", "file": path.name}
        return path.name, text.add("remnant", values), list(findings)
    if any(one.get("file") == path.name for one in work.survey.document.get("pattern", [])):
        return path.name, text, list(findings)  # dropped again, changed or not: it is in the order already
    return path.name, _with_pattern(work.survey, text, path, reading), list(findings)


def _read(path: Path) -> Reading:
    return read_pieces(path)


def _free(path: Path, content: bytes) -> Path:
    number, free = 2, path
    while free.exists() and not (free.is_file() and free.read_bytes() == content):
        free = path.with_name(f"{path.stem}-{number}{path.suffix}")
        number += 1
    return free


def _with_pattern(survey: Survey, text: OrderText, path: Path, reading: Reading) -> OrderText:
    """The order with the file; a first garment for each size, so that there is something to lay."""
    if not text.text.strip():
        title = re.sub(r"[_-]+", " ", path.parent.name).strip() or "New order"
        text = text.set_top("title", title[:1].upper() + title[1:]).set_top("units", "cm")
    import tomllib

    from nesting.files.orders.starter import names_without_size, size_in_name, size_of_names

    sizes = {p.size for p in reading.pieces}
    told, ending = size_in_name(path.stem), size_of_names(reading)
    document = tomllib.loads(text.text)
    have = {one.get("size") for one in document.get("garment", [])}
    if told is None and ending in have:
        told = ending  # a file for each piece: its name ends with the size that the others are in
    # pieces without a size would be cut for every size
    size = told if None in sizes and sizes <= {None, told} else None
    values: dict[str, Any] = {"file": path.name, "size": size, "names": names_without_size(reading, size) or None}
    text = text.add("pattern", values)
    new: list[str | None] = [size] if size else [*sorted(s for s in sizes if s is not None)]
    if None not in have:
        first: dict[str, Any] = next(iter(document.get("garment", [])), {})
        name = first.get("name", str(document.get("title", "garment")).lower())
        for one in new or ([] if have else [None]):
            if one not in have:
                text = text.add("garment", {"name": name, "size": one, "count": 1})
    return text
