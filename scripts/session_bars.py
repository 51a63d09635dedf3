"""What a session promises, measured on the demo: a stop in every stage, three sessions in a row, a killed parent.

    python scripts/session_bars.py stages [--work lay|buy|batch|remnants] | three | killed | help

``stages``: a run to the end names its stages; then one run for each, stopped when that stage is first told. Seconds
from the stop to the end of the run's processes, and to the proved result. ``three``: a thread starts three sessions by
rounds, one after the other, each with the command's result; and three by time, stopped at their first lay (seconds
from the start to it). ``killed``: a parent is killed by SIGKILL in the middle; seconds until none of its processes is
left.
``help``: seconds of ``nesting --help``, the best and the worst of five.
"""

from __future__ import annotations

import argparse
import os
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from nesting import Session, load_order
from nesting.files.lays.layfile import read_lay
from nesting.model.lay import Lay
from nesting.planning.layout.options import SearchOptions
from nesting.session import processes
from nesting.session.events import BatchWork, Better, BuyWork, LayWork, Progressed, RemnantsWork, Work

DEMO = Path(__file__).parents[1] / "fixtures" / "demo"
WORKS: dict[str, tuple[str, Work, float]] = {
    "lay": ("chorus.toml", LayWork(), 8.0),
    "buy": ("briefs-six.toml", BuyWork(widths=(900.0, 1500.0), budget=12.0), 2.0),
    "batch": ("briefs-six.toml", BatchWork(budget=8.0), 2.0),
    "remnants": ("remnants.toml", RemnantsWork(), 12.0),
}
SCRIPT = """
import sys
from nesting import Session, load_order
from nesting.planning.layout.options import SearchOptions
from nesting.session.events import Better
for event in Session(load_order(sys.argv[1]), SearchOptions(seconds=600.0, workers=2)).start().events():
    if isinstance(event, Better):
        print("laid", flush=True)
"""


def marked(mark: str) -> list[int]:
    """The processes that carry the mark in their environment."""
    found = []
    for path in Path("/proc").glob("[0-9]*/environ"):
        try:
            if mark.encode() in path.read_bytes().split(b"\0"):
                found.append(int(path.parent.name))
        except OSError:
            continue
    return found


def children_of(launcher: int) -> list[int]:
    """The living processes that the launcher, by any of its threads, has forked."""
    living = []
    paths = sorted(Path(f"/proc/{launcher}/task").glob("*/children"))
    for pid in [pid for path in paths for pid in path.read_text(encoding="ascii").split()]:
        try:
            if Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1].split()[0] != "Z":
                living.append(int(pid))
        except OSError:
            continue
    return living


def stage_of(event: Progressed) -> str:
    """The words of a stage without names and figures, so that the same stage of another cloth is the same."""
    return re.sub(r"\d[\d.,]*( ?(cm|mm|m|in|yd|%))?", "N", event.doing).strip() or "(begin)"


def stages(name: str) -> None:
    """A row for each stage of a work."""
    file, work, seconds = WORKS[name]
    order = load_order(DEMO / file)
    options = SearchOptions(seconds=seconds, workers=2)
    told = [stage_of(e) for e in Session(order, options, work).start().events() if isinstance(e, Progressed)]
    (launcher,) = children_of(os.getpid())
    for stage in dict.fromkeys(told):
        session = Session(order, options, work)
        gone = 0.0
        for event in session.start().events():
            if isinstance(event, Progressed) and stage_of(event) == stage:
                begun = time.perf_counter()
                session.stop()
                while children_of(launcher):
                    time.sleep(0.002)
                gone = time.perf_counter() - begun
                break
        result = session.wait()
        if not gone:
            print(f"{name:9} {stage:44} not met again", flush=True)
            continue
        known = "nothing yet" if result is None else "a result"
        print(f"{name:9} {stage:44} {gone:6.3f} {time.perf_counter() - begun:6.3f}  {known}", flush=True)


def places(lay: Lay) -> list[tuple[str, float, float, float, bool]]:
    """Where every piece lies, as precisely as a lay file says it."""
    return sorted((p.piece, round(p.x, 3), round(p.y, 3), round(p.turn, 3), p.flipped) for p in lay.placements)


def three() -> None:
    """Three sessions from a thread."""
    order = load_order(DEMO / "chorus.toml")
    processes.warmed(lambda note: print(note))
    with tempfile.TemporaryDirectory() as scratch:
        call = [sys.executable, "-m", "nesting.cli.app", "lay", str(DEMO / "chorus.toml"), "-o", scratch]
        subprocess.run([*call, "--rounds", "2", "--workers", "2"], check=True, stdout=subprocess.DEVNULL)
        written = [read_lay(path) for path in sorted(Path(scratch).glob("lay-*.json"))]
    by_command = {lay.cloth: places(lay) for lay in written}

    def work() -> None:
        for number in range(3):
            result = Session(order, SearchOptions(seconds=None, rounds=2, workers=2)).run()
            assert result is not None
            same = {lay.cloth: places(lay) for lay in result.lays} == by_command
            print(f"by rounds {number + 1}: {'as the command' if same else 'ANOTHER LAY'}", flush=True)
        for number in range(3):
            session = Session(order, SearchOptions(seconds=600.0, workers=2))
            begun = time.perf_counter()
            first = 0.0
            for event in session.start().events():
                if isinstance(event, Better) and not first:
                    first = time.perf_counter() - begun
                    session.stop()
            whole = time.perf_counter() - begun
            result = session.wait()
            lays = 0 if result is None else len(result.lays)
            after = whole - first
            print(f"by time {number + 1}: first lay {first:.2f} s, over {after:.2f} s later, {lays} lays proved")

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()


def killed() -> None:
    """How long processes outlive a parent that is killed."""
    mark = f"NESTING_MARK={os.getpid()}"
    parent = subprocess.Popen(
        [sys.executable, "-c", SCRIPT, str(DEMO / "chorus.toml")],
        stdout=subprocess.PIPE,
        env={**os.environ, "NESTING_MARK": str(os.getpid())},
    )
    assert parent.stdout is not None
    parent.stdout.readline()
    time.sleep(1.0)
    there = len(marked(mark))
    begun = time.perf_counter()
    parent.send_signal(signal.SIGKILL)
    parent.wait()
    while marked(mark):
        time.sleep(0.005)
    print(f"{there} processes, none left {time.perf_counter() - begun:.3f} s after SIGKILL")


def helped() -> None:
    """Seconds of ``--help``."""
    took = []
    for _ in range(5):
        begun = time.perf_counter()
        subprocess.run([sys.executable, "-m", "nesting.cli.app", "--help"], check=True, stdout=subprocess.DEVNULL)
        took.append(time.perf_counter() - begun)
    print(f"--help: {min(took):.2f} to {max(took):.2f} s")


def main() -> None:
    """Measure what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("stages", "three", "killed", "help"))
    parser.add_argument("--work", choices=tuple(WORKS), default=None)
    asked = parser.parse_args()
    if asked.what == "stages":
        print("work      stage                                        gone s result s")
        for name in [asked.work] if asked.work else list(WORKS):
            stages(name)
    else:
        {"three": three, "killed": killed, "help": helped}[asked.what]()


if __name__ == "__main__":
    main()
