"""Lay random orders with a second cloth: proved, and never dearer than over the whole length of the leaders.

    python scripts/random_together.py [--cases 30] [--seed 0] [--rounds 4]

For each order both cloths are laid by themselves; then the ways to cut the second one at the same time are compared.
Prints for each which way was taken, what the cloths cost together (their lengths in m where no price is given) and the
cm to buy of each, against whole lengths over the leaders, and against cutting apart, which is not at the same time.
Ends with how much more than apart they cost, and with what went wrong: a lay that does not stand its proof (wrong face,
hand or grain among it), or an order that became dearer.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.planning.layout.one_cloth import lay_cloth
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.second_cloth import laid_together, way_over, worth
from nesting.proof import prove
from nesting.resolving.cutting_list import CuttingList
from nesting.resolving.resolve import resolve
from tests.planning.cut_together.together_orders import together_order


def way_of(second: Lay) -> str:
    """How the second cloth is cut."""
    return "patches" if second.patches else "over" if second.over is not None else "apart"


def told(listed: CuttingList, lays: Sequence[Lay]) -> str:
    """What the cloths cost together, and the cm to buy of each."""
    return f"{cost(listed, lays):.2f} ({' + '.join(f'{lay.buy_length / 10:.0f}' for lay in lays)} cm)"


def cost(listed: CuttingList, lays: Sequence[Lay]) -> float:
    """What the cloths cost together; their lengths in m where there is no price."""
    priced = all(listed.cloth_named(lay.cloth).price is not None for lay in lays)
    return worth(listed, tuple(lays)) / (1.0 if priced else 1000.0)


def shares(more: Sequence[float]) -> str:
    """How many orders cost how much more than cut apart."""
    steps = ((0.0, "nothing more or less"), (0.06, "up to 6 %"), (0.12, "6 to 12 %"), (math.inf, "more than 12 %"))
    counts = Counter(next(words for most, words in steps if share <= most + 1e-9) for share in more)
    return ", ".join(f"{counts[words]} {words}" for _, words in steps) + f"; the most {max(more, default=0.0):.1%}"


def main() -> int:
    """How many orders went wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=30)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--rounds", type=int, default=4)
    asked = parser.parse_args()
    ways: Counter[str] = Counter()
    wrong: list[str] = []
    more: list[float] = []
    for number in range(asked.seed, asked.seed + asked.cases):
        order = together_order(number)
        cut = resolve(order)
        options = SearchOptions(seconds=None, rounds=asked.rounds, seed=number)
        try:
            own = tuple(lay_cloth(cut, cloth.name, options) for cloth in order.cloths)
        except CannotLayError as why:
            print(f"{number}: cannot be laid: {why}")
            continue
        found = laid_together(cut, own, options)
        before = way_over(cut, own, options)
        ways[way_of(found[1])] += 1
        print(
            f"{number}: {way_of(found[1])}, {told(cut, found)}; before {way_of(before[1])}, {told(cut, before)}; "
            f"apart {told(cut, own)}" + (f" ({found[1].notes[-1]})" if way_of(found[1]) == "apart" else ""),
            flush=True,
        )
        more.append(cost(cut, found) / cost(cut, own) - 1.0)
        at_the_same_time = before[1].leaders_on is not None
        if at_the_same_time and (found[1].leaders_on is None or worth(cut, found) > worth(cut, before) + 1e-9):
            wrong.append(f"{number}: dearer than before")
        for lay in found:
            verdict = prove(lay, order, first=found[0] if lay.leaders_on else None)
            if not verdict.ok:
                wrong.append(f"{number}: {lay.cloth}: {verdict.failures[0]}")
    print("\n".join(wrong))
    print(f"against cutting apart: {shares(more)}")
    print(f"{len(wrong)} of {asked.cases} went wrong; {dict(ways)}")
    return len(wrong)


if __name__ == "__main__":
    sys.exit(1 if main() else 0)
