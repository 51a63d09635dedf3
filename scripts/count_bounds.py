"""How often each lower bound is worth its code: by how much it beats area, longest piece and pieces on a fold.

    python scripts/count_bounds.py --orders 200

For every problem (the orders of the fixtures, the instances of the open data, random orders of the demo's pieces, on
open cloth and on a fold) the plain bound is the greatest of: area; the longest piece; the pieces on a fold one behind
the other. Each other bound is then worked out by itself, from the plain one on, and counted where it is longer by 1 %
or more; ``best`` counts where no other is longer.
"""

from __future__ import annotations

import argparse
import contextlib
import math
import random
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from time import thread_time

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from bench_layout import read

from nesting.files.orders.order import load_order
from nesting.model.errors import CannotLayError
from nesting.packing.bounds import bounds, bounds_load, bounds_order
from nesting.packing.bounds.bounds_lies import plies_of
from nesting.packing.bounds.bounds_outlines import understated
from nesting.packing.problem import PackingError, Problem
from nesting.planning.layout.assemble import assemble
from nesting.planning.layout.demand import stacks_of
from nesting.planning.layout.jobs import JobStyle
from nesting.resolving.cutting_list import CuttingList
from nesting.resolving.resolve import resolve

ROOT = Path(__file__).resolve().parent.parent
GAIN = 0.01
FAMILIES = ("threshold", "counts", "rounding", "mixed rows", "blocks", "order")


def of_order(order: CuttingList) -> Iterator[Problem]:
    """The problems of an order's cloths, on open cloth and on a lengthwise fold."""
    for cloth in order.cloths:
        with contextlib.suppress(CannotLayError):
            stacks = stacks_of(order, cloth, apart=True)
            if stacks:
                for kind in ("tubular",) if cloth.tubular else ("open", "lengthwise fold"):
                    with contextlib.suppress(CannotLayError):
                        yield assemble(order, cloth, stacks, kind, style=JobStyle(open_halves=kind != "open")).problem


def random_order(base: CuttingList, rng: random.Random) -> CuttingList:
    """Some garments of the demo, a few of each, on a cloth of any width that is sold."""
    counts = [rng.choice((0, 0, 1, 1, 2, 3, 5)) for _ in base.garments]
    if not any(counts):
        counts[rng.randrange(len(counts))] = 1
    nap = rng.choice(("none", "one way"))
    cloths = [replace(c, width=rng.uniform(700.0, 1800.0), gap=rng.choice((0.0, 3.0)), nap=nap) for c in base.cloths]
    return base.with_counts(counts).with_cloths(cloths)


def gains(problem: Problem, seconds: float = 0.5) -> dict[str, float] | None:
    """By how much each bound is longer than the plain one, as a share; None where nothing can lie there."""
    problem = understated(problem)
    plies = plies_of(problem)
    kinds = bounds._kinds(problem, plies)
    until = thread_time() + 60.0
    load = bounds_load.Load(kinds, plies, seconds, until)
    every = load.duals
    load.duals = every[:1]
    plain = max(bounds._longest(kinds, plies).length, load.bars(0.0)[0])
    ordered = bounds_order.order_bound(kinds, plies, load.widths(), plain, 0.4 * seconds, until)
    if ordered is not None and ordered.tied:
        plain = max(plain, ordered.length)
    if not 0.0 < plain < math.inf:
        return None
    found = dict.fromkeys(FAMILIES, 0.0)
    if ordered is not None and not ordered.tied:
        found["order"] = ordered.length / plain - 1
    for name in ("threshold", "counts", "rounding"):
        load.duals = (every[0], *(d for d in every if d.name == name))
        with single_rows():
            found[name] = load.bars(plain)[0] / plain - 1
    load.duals = every
    with single_rows():
        alone = load.bars(plain)[0]
    found["mixed rows"] = load.bars(plain)[0] / alone - 1
    found["blocks"] = load.longer(plain) / plain - 1
    return found


@contextlib.contextmanager
def single_rows() -> Iterator[None]:
    """Rows by themselves, without the linear programme that weighs several."""
    real = bounds_load.Load._choices
    bounds_load.Load._choices = lambda self, table: False  # type: ignore[method-assign]
    try:
        yield
    finally:
        bounds_load.Load._choices = real  # type: ignore[method-assign]


def counted(problems: Iterator[Problem]) -> tuple[int, Counter[str], Counter[str], dict[str, float]]:
    """(problems, times better by 1 %, times the best of them, largest gain) by bound."""
    number, better, best, most = 0, Counter[str](), Counter[str](), dict.fromkeys(FAMILIES, 0.0)
    for problem in problems:
        try:
            found = gains(problem)
        except PackingError:
            continue
        if found is None:
            continue
        number += 1
        top = max(found.values())
        for name, gain in found.items():
            most[name] = max(most[name], gain)
            better[name] += gain >= GAIN
            best[name] += gain >= GAIN and gain >= top - 1e-6
    return number, better, best, most


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--orders", type=int, default=200)
    parser.add_argument("--instances-dir", type=Path, default=ROOT.parent / "shared" / "open-data")
    args = parser.parse_args()
    files = [p for p in sorted((ROOT / "fixtures").glob("*/*.toml")) if "[[garment]]" in p.read_text(encoding="utf-8")]
    orders = [resolve(load_order(path)) for path in files]
    base = resolve(load_order(ROOT / "fixtures" / "demo" / "chorus.toml"))
    rng = random.Random(0)
    sets = {
        "fixtures": (p for order in orders for p in of_order(order)),
        "open data": (read(p)[0] for p in sorted(args.instances_dir.glob("*.json"))),
        "random orders": (rng.choice(list(of_order(random_order(base, rng)))) for _ in range(args.orders)),
    }
    print(f"| {'set':<14} | problems | " + " | ".join(FAMILIES) + " |")
    for name, problems in sets.items():
        number, better, best, most = counted(problems)
        cells = [f"{better[f]} ({best[f]}), {100 * most[f]:.0f} %" for f in FAMILIES]
        print(f"| {name:<14} | {number:8} | " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main()
