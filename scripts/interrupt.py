"""Ctrl-C at random moments of real commands on the demo: what is on disk, and when.

    python scripts/interrupt.py [--moments 40] [--seed 0] [--span 12] [--within 2]

Each command is started in its own process, gets SIGINT after a random time, and is watched. Right is: exit 0 with whole
lay files and sheets of every cloth (buy: the report's rows) within two seconds of the signal, or before it; or 130 and
nothing written. A signal that comes while all is being drawn ends the drawing: then the report may be missing. Prints a
table.
"""

from __future__ import annotations

import argparse
import json
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

DEMO = Path(__file__).parents[1] / "fixtures" / "demo"
#: order, more words of the call, and what must be there after exit 0
COMMANDS = {
    "lay": ("chorus.toml", ("--seconds", "30"), ("lay-lining.json", "lay-main.json")),
    "buy": ("briefs-six.toml", ("--widths", "90cm,150cm"), ("report.json",)),
    "batch": ("briefs-six.toml", (), ("lay-*.json",)),
    "remnants": ("remnants.toml", (), ("report.json",)),
}


def one(command: str, after: float, within: float) -> tuple[int, float | None, float, str]:
    """(exit code, seconds from the signal to the first results, to the end, what is wrong)."""
    order, more, wanted = COMMANDS[command]
    with tempfile.TemporaryDirectory() as scratch:
        out = Path(scratch) / "out"
        call = [sys.executable, "-m", "nesting.cli.app", command, str(DEMO / order), "-o", str(out), *more]
        process = subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, start_new_session=True)
        time.sleep(after)
        drawing = command in ("lay", "batch") and any(out.glob("sheet-*.pdf"))
        process.send_signal(signal.SIGINT)
        begun = time.monotonic()
        there: float | None = None
        while process.poll() is None:
            if there is None and all(any(out.glob(name)) for name in wanted):
                there = time.monotonic() - begun
            time.sleep(0.02)
        ended = time.monotonic() - begun
        if there is None and all(any(out.glob(name)) for name in wanted):
            there = ended
        assert process.stderr is not None
        process.stderr.close()
        why = wrong(process.returncode, command, out, drawing)
        if not why and process.returncode == 0 and (there is None or there > within):
            why = "late"
        return process.returncode, there, ended, why


def wrong(code: int, command: str, out: Path, drawing: bool) -> str:
    """What should not be so. ``drawing``: the search was over when the signal came."""
    lacking = [name for name in COMMANDS[command][2] if not any(out.glob(name))]
    files = sorted(out.iterdir()) if out.is_dir() else []
    half = [f.name for f in files if f.name.startswith(".nesting-")]
    if half:
        return f"left over: {half}"
    if code in (130, -signal.SIGINT):
        return f"written after all: {[f.name for f in files]}" if files else ""
    if code != 0:
        return f"exit {code}"
    if lacking:
        return f"not there: {lacking}"
    for path in out.glob("*.json"):
        try:
            json.loads(path.read_text(encoding="utf-8"))
        except ValueError:
            return f"half written: {path.name}"
    if command != "buy" and len(list(out.glob("sheet-*.pdf"))) != len(list(out.glob("lay-*.json"))):
        return "a lay without its sheet"
    return "" if drawing or (out / "report.json").exists() else "no report"


def main() -> int:
    """Print a row for each moment, then how many are wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--moments", type=int, default=40)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--span", type=float, default=12.0, help="seconds within which the signal comes")
    parser.add_argument("--within", type=float, default=2.0, help="seconds within which the results are there")
    asked = parser.parse_args()
    rng = random.Random(asked.seed)
    bad = 0
    print("command    signal s  exit  results s  end s  wrong")
    for number in range(asked.moments):
        command = list(COMMANDS)[number % len(COMMANDS)]
        after = rng.uniform(0.5, asked.span)
        code, there, ended, why = one(command, after, asked.within)
        bad += bool(why)
        shown = "-" if there is None else f"{there:.1f}"
        print(f"{command:10} {after:8.1f}  {code:4}  {shown:>9}  {ended:5.1f}  {why}", flush=True)
    print(f"{bad} of {asked.moments} wrong")
    return bad


if __name__ == "__main__":
    sys.exit(main())
