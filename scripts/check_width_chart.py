"""Compare lays in eight widths with the published fabric-width conversion chart.

Twelve garments of the demo order in each width of the chart, lengths before rounding, each relative to the 44/45 in
column. Prints what the chart says, what the search found, the difference, and what limits the lay where it is more
than ten per cent. Takes about eight times ``--seconds``.

    python scripts/check_width_chart.py --seconds 20 --garment "dance shorts" --size M
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace
from pathlib import Path

from nesting.files.orders.order import load_order
from nesting.planning.layout.laying import laying
from nesting.planning.layout.options import SearchOptions
from nesting.resolving.cutting_list import CuttingList
from nesting.resolving.resolve import resolve

DEMO = Path(__file__).resolve().parent.parent / "fixtures" / "demo" / "chorus.toml"
#: "Fabric Conversion Chart" (three web copies agree; attributed to Rutgers Cooperative Extension, from memory), yards.
#: Columns by the middle of their nominal width, inches.
CHART: dict[float, tuple[float, ...]] = {
    35.5: (1.75, 2.0, 2.25, 2.5, 2.875, 3.125, 3.375, 3.75, 4.25, 4.5, 4.75, 5.0),
    39.0: (1.5, 1.75, 2.0, 2.25, 2.5, 2.75, 3.0, 3.25, 3.5, 3.75, 4.0, 4.25),
    41.0: (1.5, 1.75, 2.0, 2.25, 2.5, 2.75, 2.875, 3.125, 3.375, 3.625, 3.875, 4.125),
    44.5: (1.375, 1.625, 1.75, 2.125, 2.25, 2.5, 2.75, 2.875, 3.125, 3.375, 3.625, 3.875),
    50.0: (1.25, 1.5, 1.625, 1.75, 2.0, 2.25, 2.375, 2.625, 2.75, 3.0, 3.25, 3.375),
    53.0: (1.125, 1.375, 1.5, 1.75, 1.875, 2.0, 2.25, 2.375, 2.625, 2.75, 2.875, 3.125),
    59.0: (1.0, 1.25, 1.375, 1.625, 1.75, 1.875, 2.0, 2.25, 2.375, 2.625, 2.75, 2.875),
    66.0: (0.875, 1.125, 1.25, 1.5, 1.625, 1.75, 1.875, 2.125, 2.25, 2.5, 2.625, 2.75),
}
REFERENCE = 44.5
GARMENTS = 12


def chart_ratio(width: float) -> float:
    """Length in a column relative to the 44/45 in column, all rows together."""
    return sum(CHART[width]) / sum(CHART[REFERENCE])


def chart_order(garment: str, size: str | None, *, path: Path = DEMO) -> CuttingList:
    """Twelve of one garment of the demo."""
    listed = resolve(load_order(path))
    return listed.with_counts([GARMENTS * (g.name == garment and g.size == size) for g in listed.garments])


def lengths(order: CuttingList, options: SearchOptions, widths: tuple[float, ...] = tuple(CHART)) -> dict[float, float]:
    """Lay length of open cloth (mm, before rounding) in each width (inches)."""
    lay = laying(options)
    cloth = order.cloths[0]
    found = {}
    for width in widths:
        changed = order.with_cloths([replace(cloth, width=25.4 * width, length=None)])
        found[width] = lay(changed, cloth.name, spread="open").lay_length
    return found


def main() -> None:
    """Print the comparison."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--garment", default="dance shorts")
    parser.add_argument("--size", default="M")
    args = parser.parse_args()
    order = chart_order(args.garment, args.size)
    began = time.perf_counter()
    found = lengths(order, SearchOptions(seconds=args.seconds, seed=args.seed, workers=args.workers))
    print(f"{GARMENTS} × {args.garment} {args.size}, {args.seconds:g} s each, seed {args.seed}")
    print("width in   lay cm   area of cloth   found   chart   off")
    for width, length in found.items():
        ratio = length / found[REFERENCE]
        chart = chart_ratio(width)
        area = width * length / (REFERENCE * found[REFERENCE])
        print(
            f"{width:8.1f} {length / 10:8.1f} {100 * area:12.1f} % {ratio:9.3f} {chart:7.3f} "
            f"{100 * (ratio / chart - 1):+6.1f} %"
        )
    print(f"{time.perf_counter() - began:.0f} s in all")


if __name__ == "__main__":
    main()
