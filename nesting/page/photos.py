"""Photographs dropped on the page: kept beside it, traced by a process of its own, taken over as a drawing.

Tracing needs some seconds and half a gigabyte, so it is what the command line does, in a process of its own: what the
page shows is its document, and the command can be repeated as it stands.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import re
import shlex
import sys
from pathlib import Path
from typing import Any

from nesting.files.outputs import ready_folder, write_outputs
from nesting.model.errors import NestingError, PatternError
from nesting.outlines.photo_reading import small_picture
from nesting.page.editing import Refused
from nesting.page.protocol import TraceAsked
from nesting.page.uploads import PICTURES, safe_name
from nesting.page.workspace import Workspace
from nesting.planning.leftovers.stash import read_stash

__all__ = ["PICTURES", "keep_pictures", "kept_picture", "sizes_of_pictures", "trace", "trace_scrap"]

#: seconds that one tracing may take
PATIENCE = 300.0
#: pixels of the longer side of a photograph as the page shows it
SHOWN_PIXELS = 1600
#: what each question is answered by, by its code
_ANSWERS = {"trace.line": "line", "trace.fold": "fold", "trace.notches": "notches", "trace.grain": "grain"}


def keep_pictures(work: Workspace, files: list[tuple[str, bytes]]) -> list[str]:
    """Keep dropped photographs for the tracing, and each scanned page of a PDF as a picture; their names.

    PatternError for what is no picture by its name, and a PDF without scanned pages."""
    named: dict[str, bytes] = {}
    for name, content in files:
        plain = safe_name(name, (*PICTURES, ".pdf"))
        if plain.endswith(".pdf"):
            named |= _pages_of(plain, content)
        else:
            named[plain] = content
    folder = work.private / "photos"
    ready_folder(folder)
    write_outputs({folder / name: content for name, content in named.items()})
    return list(named)


def _pages_of(name: str, content: bytes) -> dict[str, bytes]:
    """The scanned pages of a PDF as PNG, each with a name of its own."""
    from nesting.outlines.pdf_child import pictures_guarded
    from nesting.outlines.pdf_prepare import Refused as Unreadable

    try:
        pages = pictures_guarded(content)
    except Unreadable as error:
        raise PatternError(str(error), file=name, code="pdf.refused") from None
    return {f"{name.removesuffix('.pdf')}-page-{page.number}.png": page.png for page in pages}


def kept_picture(work: Workspace, name: str) -> tuple[bytes, tuple[int, int]]:
    """A kept photograph as a small upright JPEG, and its own width and height in pixels. PatternError where it cannot
    be read."""
    return small_picture(work.private / "photos" / safe_name(name, PICTURES), SHOWN_PIXELS)


def sizes_of_pictures(work: Workspace, names: list[str]) -> dict[str, list[int]]:
    """Width and height of kept photographs; those that cannot be read are left out: tracing tells why."""
    found = {}
    for name in names:
        with contextlib.suppress(NestingError):
            found[name] = list(kept_picture(work, name)[1])
    return found


async def trace(work: Workspace, asked: TraceAsked) -> tuple[dict[str, Any], Path | None]:
    """What was seen, and the drawing once all questions are answered.

    The result: ``pieces`` (name, error_mm, edges, notches, lines), ``questions`` {piece, field, message}, ``preview``
    (address of the picture with all numbers), ``findings``, ``command``. Refused where nothing can be made of it.
    """
    names = _kept(work, asked)
    if not names:
        raise Refused("gone", "choose the photographs first", view="pieces", field="photos")
    stem = re.sub(r"[^\w-]+", "-", asked.name or Path(names[0]).stem).strip("-") or "traced"
    output = work.results / f"{stem}.svg"
    ready_folder(work.results)
    words = ["trace", *(work.relative(work.private / "photos" / name) for name in names)]
    words += ["-o", work.relative(output)]
    if asked.measured:
        words += [f"--measured={one}" for one in asked.measured]
    else:
        words.append(f"--bars={_number(asked.bars, 0)}x{_number(asked.bars, 1)}")
    words += [f"--tap={one}" for one in asked.taps]
    for key, values in asked.answers.items():
        if key in ("name", "size", "line", "fold", "notches", "grain"):
            words += [f"--{key}={one}" for one in values if one]
    document = await _done(work.folder, words)
    questions = [
        {"piece": f["piece"], "field": _ANSWERS[f["code"]]} for f in document["findings"] if f["code"] in _ANSWERS
    ]
    told = [f["message"] for f in document["findings"] if f["code"] not in _ANSWERS]
    preview = output.with_name(f"{output.stem}-seen.png")
    result = {
        "pieces": document["pieces"],
        "questions": questions,
        "findings": told,
        "preview": f"/files/{preview.name}" if preview.is_file() else "",
        "command": shlex.join(["nesting", *words]),
    }
    done = not questions and any(Path(str(f)).suffix == ".svg" for f in document["files"])
    return result, output if done else None


async def trace_scrap(work: Workspace, asked: TraceAsked, stash: Path) -> dict[str, Any]:
    """A leftover in a photograph, put into the stash: its name there, and the command. Refused where there is none."""
    names = _kept(work, asked)
    if not names:
        raise Refused("gone", "choose the photograph of the leftover first", view="cloth", field="photos")
    if not (asked.cloth or "").strip():
        raise Refused("no-cloth", "say which cloth it is a piece of", view="cloth", field="cloth")
    words = ["stash", stash.name, *(f"--photo={work.relative(work.private / 'photos' / name)}" for name in names)]
    words += [f"--bars={_number(asked.bars, 0)}x{_number(asked.bars, 1)}", f"--cloth={asked.cloth}"]
    words += [f"--tap={one}" for one in asked.taps[:1]]
    words += [f"--name={asked.name.strip()}"] if asked.name.strip() else []
    before = {one.name for one in read_stash(stash).remnants}
    await _done(work.folder, words)
    added = [one.name for one in read_stash(stash).remnants if one.name not in before]
    return {"added": added, "file": None, "command": shlex.join(["nesting", *words])}


def _kept(work: Workspace, asked: TraceAsked) -> list[str]:
    """The photographs asked for that are there."""
    return [name for name in asked.photos if (work.private / "photos" / safe_name(name, PICTURES)).is_file()]


async def _done(folder: Path, words: list[str]) -> dict[str, Any]:
    """What the command says when it has done its work; NestingError with its words where it has not."""
    document = await _run(folder, words)
    if "error" in document:
        error = document["error"]
        kind = error.get("code")
        raise NestingError(str(error.get("message", "")), code=kind)
    return document


def _number(bars: list[str], which: int) -> str:
    text = bars[which].strip().replace(",", ".") if which < len(bars) else ""
    if not re.fullmatch(r"\d{1,3}(\.\d{1,3})?( ?mm)?", text):
        raise Refused(
            "not-a-length",
            f"measure the two bars printed on a sheet of the mat, in mm{f'; found {text!r}' if text else ''}",
            view="pieces",
            field="bars",
        )
    return text.removesuffix("mm").strip()


async def _run(folder: Path, words: list[str]) -> dict[str, Any]:
    """The document of a command line. Refused where it gives none, or takes too long; it never outlives the wait."""
    home = str(Path(__file__).resolve().parents[2])
    path = os.pathsep.join(one for one in (home, os.environ.get("PYTHONPATH")) if one)
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "nesting.cli", *words, "--json",
        cwd=folder, env={**os.environ, "PYTHONPATH": path},
        stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.DEVNULL,
    )  # fmt: skip
    try:
        out, _ = await asyncio.wait_for(process.communicate(), PATIENCE)
        document = json.loads(out)
        assert isinstance(document, dict)
        return document
    except (TimeoutError, ValueError, AssertionError):
        raise Refused(
            "not-traced", "nothing came of these pictures: try one photograph at a time", view="pieces", field="photos"
        ) from None
    finally:
        with contextlib.suppress(ProcessLookupError):
            process.kill()
