"""Spoil lay files in a thousand ways, and see that none is accepted.

    python scripts/spoil_lays.py [--count 1000] [--seed 0]

Sound lays of every kind (open, folds, sections, stacks, a tube, leftovers, parts of a batch, a second cloth over its
leaders or in patches) are made by rounds; one value of a file is changed by more than any tolerance, and ``check``
judges it. Values that are only words (titles, notes, what was tried, seed, seconds) are left alone. Prints what was
accepted.
"""

from __future__ import annotations

import argparse
import copy
import json
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from nesting.checking.lays import judge_file
from nesting.files.orders.order import load_order
from nesting.model.errors import NestingError

DEMO = Path(__file__).resolve().parent.parent / "fixtures" / "demo"
ROUNDS = ("--rounds", "2", "--workers", "1")
#: Keys that only tell, or whose absence is judged elsewhere.
TOLD = {
    "schema", "units", "order", "title", "seed", "seconds", "tried", "notes", "bound_reason", "imperial", "name",
    "remnant", "over", "inside_names", "number", "ids", "kind_words", "apart", "files", "proof", "drills",
}  # fmt: skip
TABLE = 'selvage = "1 cm"\nmax_plies = 4\ntable_length = "60 cm"'
#: name -> command, order, text to replace, more arguments
SOUND: dict[str, tuple[str, str, tuple[tuple[str, str], ...], tuple[str, ...]]] = {
    "chorus": ("lay", "chorus.toml", tuple((f"count = {n}", "count = 1") for n in (4, 3, 2)), ()),
    # few backs among many fronts: linings in patches
    "patches": ("lay", "chorus.toml", tuple((f"count = {n}", "count = 2") for n in (4, 3)), ("--rounds", "4")),
    "open": ("lay", "briefs-six.toml", (), ("--spread", "open")),
    "lengthwise": ("lay", "briefs-six.toml", (), ("--spread", "lengthwise fold")),
    "partial": ("lay", "briefs-six.toml", (), ("--spread", "partial fold")),
    "double": ("lay", "briefs-six.toml", (), ("--spread", "double fold")),
    "crosswise": ("lay", "briefs-six.toml", (), ("--spread", "crosswise fold")),
    "stacked": ("lay", "briefs-six.toml", (('selvage = "1 cm"', 'selvage = "1 cm"\nplies = 2'),), ()),
    "tubular": ("lay", "briefs-six.toml", (('selvage = "1 cm"', "tubular = true"),), ()),
    "remnants": ("remnants", "remnants.toml", (), ()),
    "batch": ("batch", "briefs-six.toml", (('selvage = "1 cm"', TABLE),), ()),
}  # fmt: skip


def sound(name: str, folder: Path) -> list[Path]:
    """The sound lay files of one kind, with their order beside them."""
    command, order, changes, more = SOUND[name]
    text = (DEMO / order).read_text(encoding="utf-8")
    for old, new in changes:
        text = text.replace(old, new)
    if (folder / "made").exists():
        return sorted((folder / "out").glob("lay-*.json"))
    folder.mkdir(parents=True)
    for path in DEMO.iterdir():
        (folder / path.name).symlink_to(path)
    own = folder / f"own-{order}"
    own.write_text(text, encoding="utf-8")
    call = [sys.executable, "-m", "nesting.cli", command, str(own), "-o", str(folder / "out"), *ROUNDS, *more]
    done = subprocess.run(call, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{name}: {done.stderr}")
    (folder / "made").touch()
    return sorted((folder / "out").glob("lay-*.json"))


def leaves(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to every value that is judged."""
    if isinstance(value, dict):
        # by their numbers people find patches on the other cloth
        counts = path[:1] in (("patches",), ("patch_places",))
        judged = {k: v for k, v in value.items() if k not in TOLD or (counts and k == "number")}
        return [leaf for k, v in judged.items() for leaf in leaves(v, (*path, k))]
    if isinstance(value, list) and value and isinstance(value[0], (dict, list)):
        return [path] + [leaf for i, v in enumerate(value) for leaf in leaves(v, (*path, i))]
    return [path]


def spoiled(document: dict[str, Any], path: tuple[Any, ...], rng: random.Random) -> tuple[dict[str, Any], str] | None:
    """The document with that value changed, and how."""
    new = copy.deepcopy(document)
    at = new
    for key in path[:-1]:
        at = at[key]
    old = at[path[-1]]
    if path[-1] == "lower_bound":
        # a lower one is as true
        at[path[-1]] = old + rng.uniform(0.2, 30.0)
    elif isinstance(old, bool):
        at[path[-1]] = not old
    elif isinstance(old, (int, float)):
        at[path[-1]] = (
            old + rng.choice((-1, 1)) * rng.choice((1, 2, 5))
            if isinstance(old, int)
            else old + rng.choice((-1, 1)) * rng.uniform(0.2, 30.0)
        )
    elif isinstance(old, str):
        at[path[-1]] = old + "x"
    elif isinstance(old, list) and old and isinstance(old[0], list):
        # one point twice changes no outline, so a line loses a fair part of its points, or one of them moves far
        if len(old) > 3 and rng.random() < 0.5:
            del old[: max(1, len(old) // 3)]
        else:
            old[rng.randrange(len(old))] = [-777.0, -777.0] if isinstance(old[0][0], float) else []
    elif isinstance(old, list) and old and isinstance(old[0], dict):
        i = rng.randrange(len(old))
        if rng.random() < 0.5:
            del old[i]
        else:
            old.append(copy.deepcopy(old[i]))
    elif isinstance(old, list) and len(old) == 2 and isinstance(old[0], float):
        # aslant, as a point that moves along a straight edge changes no outline
        at[path[-1]] = [old[0] + rng.choice((-1, 1)) * 1.5, old[1] + rng.choice((-1, 1)) * 2.3]
    elif isinstance(old, list) and old:
        i = rng.randrange(len(old))
        old[i] = old[i] + 1 if isinstance(old[i], int) else f"{old[i]}x"
    else:
        return None
    return new, f"{'.'.join(map(str, path))}: {str(old)[:60]} -> {str(at[path[-1]])[:60]}"


def main() -> int:
    """How many spoiled files were accepted."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="")
    parser.add_argument("--seconds", type=float, default=1e9, help="stop after so long; what was tried is told")
    parser.add_argument("--sound", type=Path, help="folder that keeps the sound lays from one run to the next")
    asked = parser.parse_args()
    rng = random.Random(asked.seed)
    accepted: list[str] = []
    tried, begun = 0, time.monotonic()
    seen: set[tuple[Path, str]] = set()
    with tempfile.TemporaryDirectory() as scratch:
        files = [
            (name, path)
            for name in SOUND
            if not asked.only or name in asked.only.split(",")
            for path in sound(name, (asked.sound or Path(scratch)) / name)
        ]
        if not asked.only or "patches" in asked.only.split(","):
            told = [json.loads(path.read_text(encoding="utf-8")) for name, path in files if name == "patches"]
            assert any(document.get("patches") for document in told), "no lay in patches was made"
        orders = {path: load_order(next(path.parent.parent.glob("own-*.toml"))) for _, path in files}
        for _, path in files:
            judged = judge_file(path, orders[path])
            assert judged.verdict.ok, (path, judged.verdict.failures)
        while tried < asked.count and time.monotonic() < begun + asked.seconds:
            name, path = files[(tried + asked.seed) % len(files)]
            document = json.loads(path.read_text(encoding="utf-8"))
            way = rng.choice(leaves(document))
            # few leaves are not coordinates: take these more often
            if rng.random() < 0.6:
                way = rng.choice([leaf for leaf in leaves(document) if not isinstance(leaf[-1], int)])
            change = spoiled(document, way, rng)
            if change is None:
                continue
            new, how = change
            if (path, written := json.dumps(new)) in seen:
                continue  # each counts once
            seen.add((path, written))
            tried += 1
            other = path.with_name(path.name)
            kept = path.read_bytes()
            try:
                other.write_text(written, encoding="utf-8")
                try:
                    good = judge_file(other, orders[path]).verdict.ok
                except NestingError:
                    good = False
            finally:
                path.write_bytes(kept)
            if good:
                accepted.append(f"{name} {path.name}: {how}")
                print("ACCEPTED", accepted[-1], flush=True)
    print(f"{len(accepted)} of {tried} were accepted, no two alike")
    return len(accepted)


if __name__ == "__main__":
    sys.exit(1 if main() else 0)
