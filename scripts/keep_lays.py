"""Store the lays of twelve orders made by rounds, and compare a later program's with them, placement by placement.

    python scripts/keep_lays.py store FOLDER      # with the program as it was
    python scripts/keep_lays.py compare FOLDER    # with the program as it is: exit 1 where a placement differs

Every spread, a second cloth, leftovers and a batch are among them. Searches by rounds repeat exactly, so a change that
is meant to move code and nothing else must leave every number here as it was.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

from nesting.files.orders.order_schema import BLOCKS

DEMO = Path(__file__).resolve().parent.parent / "fixtures" / "demo"
ROUNDS = ("--rounds", "20", "--seed", "3", "--workers", "2")

#: name -> command, order, text to replace in the order (old, new), more arguments
RUNS: dict[str, tuple[str, str, tuple[tuple[str, str], ...], tuple[str, ...]]] = {
    "chorus": ("lay", "chorus.toml", (), ()),
    "open": ("lay", "briefs-six.toml", (), ("--spread", "open")),
    "lengthwise": ("lay", "briefs-six.toml", (), ("--spread", "lengthwise fold")),
    "partial": ("lay", "briefs-six.toml", (), ("--spread", "partial fold")),
    "double": ("lay", "briefs-six.toml", (), ("--spread", "double fold")),
    "crosswise": ("lay", "briefs-six.toml", (), ("--spread", "crosswise fold")),
    "sections": ("lay", "briefs-six.toml", (), ("--spread", "sections")),
    "stacked": ("lay", "briefs-six.toml", (('selvage = "1 cm"', 'selvage = "1 cm"\nplies = 2'),), ()),
    "tubular": ("lay", "briefs-six.toml", (('selvage = "1 cm"', "tubular = true"),), ()),
    "imperial": ("lay", "imperial.toml", (), ()),
    "remnants": ("remnants", "remnants.toml", (), ()),
    "batch": ("batch", "briefs-six.toml", (), ()),
}


def made(name: str, folder: Path) -> None:
    """Run one of the commands; its lay files, or its document, go to ``folder``."""
    command, order, changes, more = RUNS[name]
    text = (DEMO / order).read_text(encoding="utf-8")
    for old, new in changes:
        text = text.replace(old, new)
    if any(key.name == "pairs" for key in BLOCKS["cloth"]):
        # the programs of before knew no other rule
        text = text.replace("[[cloth]]\n", '[[cloth]]\npairs = "free"\n')
    with tempfile.TemporaryDirectory() as scratch:
        for path in DEMO.iterdir():
            (Path(scratch) / path.name).symlink_to(path)
        own = Path(scratch) / f"own-{order}"
        own.write_text(text, encoding="utf-8")
        out = Path(scratch) / "out"
        call = [sys.executable, "-m", "nesting.cli.app", command, str(own), "-o", str(out), "--json", *ROUNDS, *more]
        done = subprocess.run(call, capture_output=True, text=True, check=False)
        folder.mkdir(parents=True, exist_ok=True)
        if done.returncode != 0:
            (folder / "failed.txt").write_text(done.stderr.strip().splitlines()[-1], encoding="utf-8")
        for path in out.glob("lay-*.json"):
            (folder / path.name).write_bytes(path.read_bytes())
        if command == "batch" and done.returncode == 0:
            (folder / "plan.json").write_text(done.stdout, encoding="utf-8")


def numbers(path: Path) -> object:
    """What must not change: every placement with its outline; of a plan, its sections and lengths."""
    document = json.loads(path.read_text(encoding="utf-8"))
    if "plans" in document:
        keep = ("length", "plies", "counts", "garments", "sections", "total_length", "buy_length", "lay_length")
        return [{key: value for key, value in plan.items() if key in keep} for plan in document["plans"]]
    wanted = ("piece", "garment", "size", "copy", "x", "y", "turn", "flipped", "plies", "on_fold", "gives", "outline")
    sections = document.get("sections", [document])
    return [
        [document["lay_length"], document["buy_length"], section["spread"]["kind"]]
        + [[p.get(key) for key in wanted] for p in section["placements"]]
        for section in sections
    ]


def main(what: str, folder: Path, only: list[str]) -> int:
    """Store, or compare with what is stored; the number of runs that differ."""
    differ = 0
    for name in only or RUNS:
        if what == "store":
            made(name, folder / name)
            print(name, "stored:", ", ".join(sorted(p.name for p in (folder / name).iterdir())), flush=True)
            continue
        with tempfile.TemporaryDirectory() as scratch:
            made(name, Path(scratch) / name)
            new = {p.name: p for p in (Path(scratch) / name).iterdir()}
            old = {p.name: p for p in (folder / name).iterdir()}
            same = new.keys() == old.keys() and all(
                path.suffix != ".json" or numbers(path) == numbers(new[key]) for key, path in old.items()
            )
        differ += not same
        print(name, "equal" if same else "DIFFERS", flush=True)
    return differ


if __name__ == "__main__":
    sys.exit(1 if main(sys.argv[1], Path(sys.argv[2]), sys.argv[3:]) else 0)
