"""Fuzz the reading of pattern and remnant files: damaged files must give pieces or one of our errors, nothing else.

    python scripts/fuzz_files.py --minutes 30 --seed 1

Each case is a drawing from fixtures/ that is damaged a few times: bytes flipped, cut or repeated, numbers made huge or
not finite, elements, layers and words exchanged, two files spliced. A case fails if another exception comes out, if it
takes more processor time than ``--seconds``, or if memory goes beyond ``--memory``; failing cases are kept in
``--keep``. The exit code is 1 if any failed.
"""

from __future__ import annotations

import argparse
import contextlib
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
from types import FrameType

from nesting.files import read_pieces
from nesting.files.remnant import read_remnant
from nesting.model.errors import NestingError

ROOT = Path(__file__).resolve().parent.parent
#: Values that break naive readers.
NUMBERS = [b"", *b"nan inf -inf 1e309 -1e308 1e9 0 -0.0 1e-320 0x10 1,5 99999999999".split()]
#: Words with a meaning in one of the formats, so that they come where they do not belong.
WORDS = [
    *b"cut sew grain fold notch drill inside cutout edge-x test-square flaw path rect circle".split(),
    *b"ellipse line polygon use g svg text symbol style display:none A C Z LINE ARC SPLINE ELLIPSE".split(),
    *b"POLYLINE LWPOLYLINE INSERT POINT TEXT MTEXT VERTEX SEQEND BLOCK ENDBLK".split(),
    *b"ENDSEC EOF 1 4 6 7 8 11 13 14 &a; <!-- ]]> %%d".split(),
    *(b"M0 0", b"z m", b"SIZE: M", b"QUANTITY: 1,1", b"cut 2 pairs", b"on fold", b"\xff", b"\x00", b"\\U+FFFF"),
]
NUMBER = re.compile(rb"-?\d+\.?\d*(?:[eE][+-]?\d+)?")
QUOTED = re.compile(rb"(?<=[\"' ])[A-Za-z][A-Za-z-]+(?=[\"' ;:])")
ELEMENT = re.compile(rb"<[a-z]+ [^<>]*/>")
ENTITY = re.compile(
    rb"  0\r?\n(?:LINE|ARC|POINT|POLYLINE|LWPOLYLINE|SPLINE|TEXT|INSERT)\r?\n(?:[^\n]*\n){4,60}?(?=  0\r?\n)"
)
WORD = re.compile(rb"[A-Za-z][A-Za-z-]+")


class TooSlow(BaseException):
    """A case took too long. Not an Exception, so that no handler swallows it."""


def damage(data: bytes, other: bytes, rng: random.Random) -> bytes:
    """The data with one to eight changes."""
    for _ in range(rng.choice((1, 1, 2, 3, 5, 8))):
        data = _change(data, other, rng)
    return data


def _change(data: bytes, other: bytes, rng: random.Random) -> bytes:
    if not data:
        return data
    kind = rng.choice((0, 1, 2, 3, 4, 4, 4, 5, 6, 7, 7, 8, 9, 10, 10, 10))
    if kind in (0, 1, 2, 3, 9) and data.lstrip()[:1] == b"<" and rng.random() < 0.8:
        # most such changes only break the XML, which one library refuses: fewer of them
        kind = rng.choice((4, 7, 10))
    at = rng.randrange(len(data))
    if kind == 0:
        return data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
    if kind == 1:
        return data[:at] + data[min(len(data), at + rng.choice((1, 4, 50, 500))) :]
    if kind == 2:
        part = data[at : at + rng.choice((3, 40, 400))]
        return data[:at] + part * rng.choice((2, 3, 30)) + data[at:]
    if kind == 3:
        start = rng.randrange(len(other)) if other else 0
        return data[:at] + other[start : start + rng.choice((20, 200, 2000))] + data[at:]
    if kind in (4, 5, 6):
        found = list(NUMBER.finditer(data))
        if found:
            match = rng.choice(found)
            if rng.random() < 0.5:
                new = rng.choice(NUMBERS)
            else:
                with contextlib.suppress(ValueError):
                    value = float(match[0]) * rng.choice((-1, 0, 0.001, 0.999, 1.001, 10, 1000)) + rng.choice(
                        (0, 0.3, -0.7)
                    )
                    return data[: match.start()] + repr(value).encode() + data[match.end() :]
                new = b"7"
            return data[: match.start()] + new + data[match.end() :]
        return data
    if kind in (7, 8):
        found = list((QUOTED if data.lstrip()[:1] == b"<" else WORD).finditer(data))
        if found:
            match = rng.choice(found)
            return data[: match.start()] + rng.choice(WORDS) + data[match.end() :]
        return data
    if kind == 10:
        return _move_element(data, other, rng)
    lines = data.split(b"\n")
    i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
    lines[i], lines[j] = lines[j], lines[i]
    return b"\n".join(lines)


def _move_element(data: bytes, other: bytes, rng: random.Random) -> bytes:
    """Repeat, drop or bring in whole elements (SVG) or entities (DXF), so that the file stays sound."""
    split = ELEMENT if data.lstrip()[:1] == b"<" else ENTITY
    found, others = list(split.finditer(data)), list(split.finditer(other))
    if not found:
        return data
    match = rng.choice(found)
    what = rng.randrange(3)
    if what == 0:
        return data[: match.start()] + data[match.end() :]
    new = rng.choice(others)[0] if what == 1 and others else rng.choice(found)[0]
    return data[: match.end()] + new + data[match.end() :]


def corpus() -> list[tuple[str, bytes]]:
    """The drawings of fixtures/, largest left out."""
    paths = sorted(p for p in (ROOT / "fixtures").rglob("*") if p.suffix.lower() in (".svg", ".dxf"))
    return [(str(p.relative_to(ROOT)), p.read_bytes()) for p in paths if p.stat().st_size < 200_000]


def run_case(path: Path, remnant: bool, seconds: float) -> str:
    """Read the file once; what came of it, "read" or the error's first words. Anything else propagates."""

    def too_slow(signum: int, frame: FrameType | None) -> None:
        raise TooSlow(f"more than {seconds} s")

    signal.signal(signal.SIGPROF, too_slow)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        if remnant:
            read_remnant(path)
        else:
            for piece in read_pieces(path).pieces:
                assert len(piece.outline) >= 3
        return "read"
    except NestingError as error:
        return error.message[:30]
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)


def main() -> int:
    """Run until the time is over; print what came out and return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--seconds", type=float, default=20.0, help="most processor time for one case")
    parser.add_argument("--memory", type=int, default=2048, help="most address space, MB")
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "fuzz-files")
    args = parser.parse_args()
    args.keep.mkdir(parents=True, exist_ok=True)
    resource.setrlimit(resource.RLIMIT_AS, (args.memory * 2**20, args.memory * 2**20))
    warnings.simplefilter("ignore")
    rng = random.Random(args.seed)
    files = corpus()
    outcomes: Counter[str] = Counter()
    failed = cases = 0
    slowest = 0.0
    end = time.monotonic() + 60 * args.minutes
    while time.monotonic() < end:
        name, data = rng.choice(files)
        case = damage(data, rng.choice(files)[1], rng)
        path = args.keep / f"case{Path(name).suffix}"
        path.write_bytes(case)
        cases += 1
        start = time.process_time()
        try:
            outcomes[run_case(path, rng.random() < 0.15, args.seconds)] += 1
        except (KeyboardInterrupt, SystemExit):
            raise
        except BaseException as error:
            failed += 1
            kept = args.keep / f"failed-{args.seed}-{cases}{path.suffix}"
            kept.write_bytes(case)
            print(f"{kept} (from {name}): {type(error).__name__}: {str(error)[:200]}", flush=True)
            traceback.print_exc(limit=-4)
        slowest = max(slowest, time.process_time() - start)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(f"seed {args.seed}: {cases} cases in {args.minutes:g} min, {failed} failed, {outcomes['read']} read")
    print(f"slowest case {slowest:.1f} s, peak memory {peak} MB, {len(outcomes) - 1} kinds of refusal")
    for words, count in outcomes.most_common(15):
        print(f"{count:7d}  {words}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
