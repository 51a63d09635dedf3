"""Reading the pages of a PDF in a process of its own, so that no file can hang, crash or eat up the program.

PDF readers are large and files come from anywhere: the child has a limit of processor time and of memory, and its
answer is plain text (JSON), never code.
"""

from __future__ import annotations

import contextlib
import json
import os
import struct
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from nesting.outlines.pdf_prepare import Refused, prepare
from nesting.outlines.pdf_raster import PageSeen, pages_seen, scanned_pages
from nesting.outlines.pdf_sheets import Layer, PdfLine, PdfText, Picture, Sheet, Sheets, Style

__all__ = ["MOST_MEMORY", "MOST_SECONDS", "answer", "from_answer", "pictures_guarded", "read_guarded"]

#: Seconds of processor time and of waiting; a hundred busy pages take about ten.
MOST_SECONDS = 60
MOST_WAITING = 180
#: Bytes of address space.
MOST_MEMORY = 2 * 1024**3
_TOO_MUCH = "reading it takes more {} than any pattern does; save only the pattern's pages to a new PDF"


def read_guarded(data: bytes, chord: float, pages: Sequence[int] | None, layers: Sequence[str] | None) -> Sheets:
    """The sheets of the file. Raises Refused for what cannot be read or takes too much time or memory."""
    return from_answer(_asked(data, {"chord": chord, "pages": pages, "layers": layers}))


def pictures_guarded(data: bytes) -> list[PageSeen]:
    """The scanned pages of the file. Raises Refused for what cannot be read, and where there is none."""
    said = _asked(data, {"pictures": True})
    if "refused" in said:
        raise Refused(str(said["refused"]))
    return pages_seen(said["pictures"])


def _asked(data: bytes, asked: dict[str, Any]) -> dict[str, Any]:
    """What the child says to this."""
    question = json.dumps(asked).encode()
    environment = dict(os.environ, PYTHONPATH=os.pathsep.join(p for p in sys.path if p))
    try:
        done = subprocess.run(
            [sys.executable, "-m", "nesting.outlines.pdf_child"],
            input=struct.pack(">I", len(question)) + question + data,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=MOST_WAITING,
            env=environment,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise Refused(_TOO_MUCH.format("time")) from None
    if done.returncode != 0 or not done.stdout:
        if done.returncode in (-24, -9):  # SIGXCPU, SIGKILL: the limits of processor time
            raise Refused(_TOO_MUCH.format("time"))
        raise Refused("reading it failed: the PDF is damaged, or takes too much memory; get it again or export it anew")
    said: dict[str, Any] = json.loads(done.stdout)
    return said


def answer(data: bytes, chord: float, pages: Sequence[int] | None, layers: Sequence[str] | None) -> dict[str, Any]:
    """What the child says: the sheets as plain values, or the reason why there are none."""
    from nesting.outlines.pdf_pages import read_sheets

    try:
        sheets = read_sheets(prepare(data, pages), chord, tuple(layers) if layers is not None else None)
    except Refused as error:
        return {"refused": str(error)}
    except MemoryError:
        return {"refused": _TOO_MUCH.format("memory")}
    return {"sheets": asdict(sheets)}


def answer_pictures(data: bytes) -> dict[str, Any]:
    """What the child says: the scanned pages as plain values, or the reason why there are none."""
    try:
        return {"pictures": scanned_pages(prepare(data))}
    except Refused as error:
        return {"refused": str(error)}
    except MemoryError:
        return {"refused": _TOO_MUCH.format("memory")}


def from_answer(said: dict[str, Any]) -> Sheets:
    """The sheets out of plain values. Raises Refused where the answer is a refusal."""
    if "refused" in said:
        raise Refused(str(said["refused"]))
    told = said["sheets"]
    return Sheets(
        tuple(_sheet(one) for one in told["sheets"]),
        tuple(Layer(**one) for one in told["layers"]),
        told["count"],
        tuple((kind, message) for kind, message in told["notes"]),
    )


def _points(values: Any) -> tuple[tuple[float, float], ...]:
    return tuple((x, y) for x, y in values)


def _four(values: Any) -> tuple[float, float, float, float]:
    a, b, c, d = values
    return (a, b, c, d)


def _sheet(one: dict[str, Any]) -> Sheet:
    lines = []
    for line in one["lines"]:
        given = line["style"]
        style = Style(tuple(given["colour"]), given["width"], tuple(given["dash"]), given["stroked"], given["filled"])
        lines.append(
            PdfLine(
                _points(line["points"]),
                line["closed"],
                style,
                tuple(line["layers"]),
                line["page"],
                line["element"],
                line["round"],
            )
        )
    texts = [
        PdfText(
            **{
                **text, "at": tuple(text["at"]), "layers": tuple(text["layers"]), "box": _four(text["box"]),
                "bearings": tuple(text["bearings"]),
            }
        )
        for text in one["texts"]
    ]
    pictures = [Picture(_four(p["box"]), tuple(p["pixels"]), tuple(p["layers"])) for p in one["pictures"]]
    clip = _four(one["clip"]) if one["clip"] is not None else None
    return Sheet(
        one["number"], one["width"], one["height"], tuple(lines), tuple(texts), tuple(pictures), clip, one["user_unit"]
    )


def _main() -> int:
    """Read the question and the file from standard input, and write the answer."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS + 5))
        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    stream = sys.stdin.buffer
    length = struct.unpack(">I", stream.read(4))[0]
    question = json.loads(stream.read(length))
    if question.get("pictures"):
        said = answer_pictures(stream.read())
    else:
        said = answer(stream.read(), question["chord"], question["pages"], question["layers"])
    sys.stdout.write(json.dumps(said, allow_nan=False))
    sys.stdout.flush()
    # what the reader's libraries still hold needs no orderly end
    os._exit(0)


if __name__ == "__main__":
    sys.exit(_main())
