"""All spreads of an order side by side, for some seeds: is open never longer, does the chosen spread buy the least?

Run by hand on a quiet machine::

    python scripts/compare_spreads.py fixtures/demo/chorus.toml --seconds 20 --seeds 3
"""

from __future__ import annotations

import argparse
import os
import platform
import time
from pathlib import Path

from nesting.files.orders.order import load_order
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.solve import lay_cloth
from nesting.planning.layout.yardage import cloth_used
from nesting.proof import prove
from nesting.resolving.resolve import resolve


def main() -> None:
    """Lay the first cloth of the order with each seed and print every spread."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("order", type=Path)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    asked = parser.parse_args()
    order = load_order(asked.order)
    cloth = order.cloths[0]
    print(f"{asked.order} on {platform.machine()}, {os.cpu_count()} cores, {asked.workers} workers, {asked.seconds} s")
    for seed in range(asked.seeds):
        begun = time.monotonic()
        lay = lay_cloth(resolve(order), cloth.name, SearchOptions(asked.seconds, None, seed, asked.workers))
        verdict = prove(lay, order)
        print(f"seed {seed}: {time.monotonic() - begun:.1f} s, proof {'holds' if verdict.ok else verdict.failures[:3]}")
        done = [t for t in lay.tried if t.lay_length is not None]
        for t in sorted(done, key=lambda t: (t.buy_length or 0.0, t.lay_length or 0.0)):
            assert t.lay_length is not None and t.buy_length is not None and t.utilisation is not None
            used = cloth_used(t.kind, cloth, t.lay_length)
            mark = "<- chosen" if t.chosen else ""
            print(
                f"  {t.kind:<18} lay {t.lay_length:8.1f}  cloth {used:8.1f}  buy {t.buy_length:8.1f} mm  "
                f"used {t.utilisation:6.1%}  placements, folds, traced again {t.handling} {mark}"
            )
        for t in lay.tried:
            if t.lay_length is None:
                print(f"  {t.kind:<18} refused: {t.refused}")
        opened = [t.lay_length for t in done if t.kind == "open" and t.lay_length is not None]
        others = [cloth_used(t.kind, cloth, t.lay_length) for t in done if t.lay_length is not None]
        print(f"  open never longer: {opened[0] <= min(others) + 1e-6 if opened else 'not laid'}", end="; ")
        least = min(t.buy_length for t in done if t.buy_length is not None)
        print(f"chosen buys the least: {lay.buy_length <= least + 1e-6}; bound {lay.lower_bound:.1f}")


if __name__ == "__main__":
    main()
