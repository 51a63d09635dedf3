"""Fuzz the reading of PDF patterns: damaged files must give pieces or one of our errors, nothing else.

    python scripts/fuzz_pdf.py --minutes 30 --seed 1

Each case is a small pattern (tests/outlines/pdf_makers.py) whose bytes, numbers or operators are damaged, read in a
forked process with limits of time and memory. A process that dies within pdfium counts as refused, as the program reads
in such a process as well; any other exception fails, and the case is kept in ``--keep``. Exit code 1 if any failed.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import resource
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from nesting.files import read_pieces  # noqa: E402
from nesting.model.errors import NestingError  # noqa: E402
from nesting.outlines import pdf  # noqa: E402
from nesting.outlines.pdf_child import answer, from_answer  # noqa: E402
from tests.outlines.pdf_makers import by_hand, by_reportlab, cut_to_tiles, front, moved, whole_on_tiles  # noqa: E402

NUMBER = re.compile(rb"(?<![\w.])-?\d+\.?\d*(?![\w.])")
NAME = re.compile(rb"/[A-Za-z]{2,12}")
NUMBERS = [b"nan", b"1e30", b"-99999999999", b"0", b"-0.0", b"65536", b"4294967296", b"0.0000001", b"14400"]
WORDS = [
    b"/OC",
    b"/Rotate",
    b"/UserUnit",
    b"/Kids",
    b"/Parent",
    b"/Resources",
    b"/XObject",
    b"/Null",
    b"/JS",
    b"/Length",
]
OPERATORS = [
    b" S ",
    b" q ",
    b" Q ",
    b" h ",
    b" BT ",
    b" EMC ",
    b" /X0 Do ",
    b" 0 0 0 0 0 0 cm ",
    b" 1e9 0 0 1 0 0 cm ",
    b" [0] 0 d ",
]


def corpus() -> list[bytes]:
    """Small patterns of all kinds, not compressed, so that damage reaches their drawing."""
    import io

    import pikepdf

    sizes = [{"shape": front(k), "layer": f"Größe {s}", "dash": d} for s, k, d in (
        ("S", 0.9, (6, 3)), ("M", 1.0, (2, 2)), ("L", 1.1, ()))]  # fmt: skip
    name: dict[str, Any] = {"text": "Front cut 2 on fold", "at": (45, 90), "height": 5}
    square = {"shape": [("m", 140, 20), ("l", 190, 20), ("l", 190, 70), ("l", 140, 70), ("z",)]}
    words = {"text": "test square 5 cm", "at": (142, 40), "height": 3}
    big: list[dict[str, Any]] = [{"shape": moved(front(3.0), 10, 10)}, name]
    made = [
        by_hand([[*sizes, name, square, words]]), by_reportlab([[*sizes, name]]),
        by_hand(cut_to_tiles(big, 2, 1)), by_hand(whole_on_tiles(big, 2, 1)),
    ]  # fmt: skip
    result = []
    for data in made:
        with pikepdf.open(io.BytesIO(data)) as opened:
            out = io.BytesIO()
            opened.save(out, compress_streams=False, stream_decode_level=pikepdf.StreamDecodeLevel.generalized)
            result.append(out.getvalue())
    return [*result, made[0]]


def damage(data: bytes, rng: random.Random) -> bytes:
    """The data with one to six changes."""
    for _ in range(rng.choice((1, 1, 2, 3, 6))):
        if not data:
            return data
        kind = rng.randrange(8)
        at = rng.randrange(len(data))
        if kind == 0:
            data = data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
        elif kind == 1:
            data = data[:at] + data[at + rng.choice((1, 4, 50, 500)) :]
        elif kind == 2:
            data = data[:at] + data[at : at + rng.choice((5, 60, 600))] * rng.choice((2, 20)) + data[at:]
        elif kind in (3, 4, 5):
            found = list((NUMBER if kind != 5 else NAME).finditer(data))
            if found:
                match = rng.choice(found)
                new = rng.choice(NUMBERS if kind != 5 else WORDS)
                if kind == 4:
                    new = repr(float(match[0]) * rng.choice((-1, 0, 0.001, 1.001, 10, 1000))).encode()
                data = data[: match.start()] + new + data[match.end() :]
        elif kind == 6:
            data = data[:at] + rng.choice(OPERATORS) + data[at:]
        else:
            other = rng.randrange(len(data))
            data = data[:at] + data[other : other + 200] + data[at:]
    return data


def run_case(path: Path, seconds: int, memory: int) -> str:
    """Read the file in a forked process; what came of it. "failed: …" for another exception."""
    receive, send = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(receive)
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 2))
        resource.setrlimit(resource.RLIMIT_AS, (memory * 2**20, memory * 2**20))
        pdf.read_guarded = lambda data, chord, pages, layers: from_answer(answer(data, chord, pages, layers))  # type: ignore[assignment]
        try:
            told = "read" if read_pieces(path).pieces else "nothing"
        except NestingError as error:
            told = error.code if error.code != "pdf.refused" else "pdf.refused: " + error.message[:30]
        except BaseException:
            told = "failed: " + traceback.format_exc(limit=-3)
        os.write(send, told.encode()[:4000])
        os._exit(0)
    os.close(send)
    with os.fdopen(receive, "rb") as stream:
        told = stream.read().decode("utf-8", "replace")
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        number = os.WTERMSIG(status)
        return "out of time" if number in (signal.SIGXCPU, signal.SIGKILL) else f"died by signal {number} (refused)"
    return told


def main() -> int:
    """Run until the time is over; print what came out and return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--seconds", type=int, default=20, help="most processor time for one case")
    parser.add_argument("--memory", type=int, default=3072, help="most address space, MB")
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "fuzz-pdf")
    args = parser.parse_args()
    args.keep.mkdir(parents=True, exist_ok=True)
    warnings.simplefilter("ignore")
    rng = random.Random(args.seed)
    files = corpus()
    for module in ("shapely", "pypdfium2.raw", "nesting.files.drawn.gather", "nesting.files.drawn.make"):
        __import__(module)
    outcomes: Counter[str] = Counter()
    failed = cases = 0
    end = time.monotonic() + 60 * args.minutes
    path = args.keep / f"case-{args.seed}.pdf"
    while time.monotonic() < end:
        case = damage(rng.choice(files), rng)
        path.write_bytes(case)
        cases += 1
        told = run_case(path, args.seconds, args.memory)
        if told.startswith("failed") or told == "out of time":
            failed += 1
            kept = args.keep / f"failed-{args.seed}-{cases}.pdf"
            kept.write_bytes(case)
            print(kept, told, flush=True)
            told = "failed"
        outcomes[told] += 1
    print(f"seed {args.seed}: {cases} cases in {args.minutes:g} min, {failed} failed, {outcomes['read']} read")
    for words, count in outcomes.most_common(25):
        print(f"{count:7d}  {words}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
