"""Measure how tight the layouts are: academic instances x seeds, one run each, judged at several times.

    python scripts/bench_layout.py --seconds 180 --seeds 0 1 2 --workers 2

Each instance is one JSON file (``--instances-dir``, by default ../shared/open-data beside the project): ``width``,
``published_density_percent``, ``items`` with ``quantity``, ``rotations`` (degrees) and ``outline``. One run gives the
figures at all earlier times, as it keeps its trace. Every final layout is verified from the
raw coordinates (shapely). ``--copies N`` lays every piece N times as often.
"""

from __future__ import annotations

import argparse
import json
import math
import platform
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely import affinity

from nesting.packing.problem import Item, Place, Pose, Problem, Region, Stop
from nesting.packing.search.search import solve

SHARES = (0.97, 0.98, 0.99, 1.0)
ROUNDING = 1e-6


def read(path: Path, copies: int = 1) -> tuple[Problem, dict[str, Any]]:
    """The problem of one instance file, every piece ``copies`` times as often, and the file's content with that."""
    data = json.loads(path.read_text(encoding="utf-8"))
    for entry in data["items"]:
        entry["quantity"] *= copies
    width = float(data["width"])
    items = []
    for kind, entry in enumerate(data["items"]):
        ring = np.array(entry["outline"], dtype=np.float64)
        if shapely.Polygon(ring).exterior.is_ccw is False:
            ring = ring[::-1]
        poses = []
        for deg in entry["rotations"]:
            a = math.radians(deg)
            c, s = math.cos(a), math.sin(a)
            if deg % 90 == 0:
                c, s = round(c), round(s)
            poses.append(Pose(ring @ np.array([[c, s], [-s, c]], dtype=np.float64), tag=int(deg)))
        items += [Item(f"{kind}.{k}", tuple(poses), kind=kind) for k in range(entry["quantity"])]
    ply = Region(np.array([[0.0, 0.0], [width, 0.0], [width, width], [0.0, width]]))
    return Problem((ply,), tuple(items)), data


def verify(data: dict[str, Any], problem: Problem, places: tuple[Place, ...]) -> tuple[float, list[str]]:
    """(length, faults) of a layout, worked out from the instance file's coordinates alone."""
    raw = [entry for entry in data["items"] for _ in range(entry["quantity"])]
    polygons = []
    for p in sorted(places, key=lambda p: p.item):
        deg = problem.items[p.item].poses[p.pose].tag
        if deg not in [int(r) for r in raw[p.item]["rotations"]]:
            return math.nan, [f"{p.item} is turned by {deg}"]
        turned = affinity.rotate(shapely.Polygon(raw[p.item]["outline"]), deg, origin=(0, 0))
        polygons.append(affinity.translate(turned, p.x, p.y))
    faults = [] if len(polygons) == len(raw) else [f"{len(polygons)} of {len(raw)} items"]
    low, high = min(q.bounds[1] for q in polygons), max(q.bounds[3] for q in polygons)
    left, right = min(q.bounds[0] for q in polygons), max(q.bounds[2] for q in polygons)
    eps = 1e-9 * data["width"]
    if low < -eps or high > data["width"] + eps or left < -eps:
        faults.append(f"leaves the strip: y {low} to {high}, x from {left}")
    for i, one in enumerate(polygons):
        for k in range(i + 1, len(polygons)):
            over = one.intersection(polygons[k]).area
            if over > ROUNDING * min(one.area, polygons[k].area):
                faults.append(f"{i} and {k} overlap by {over:.3g}")
    return right, faults


def machine() -> str:
    """What the figures were measured on."""
    model = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        names = [
            line.split(":", 1)[1].strip() for line in info.read_text().splitlines() if line.startswith("model name")
        ]
        model = f"{len(names)} x {names[0]}" if names else model
    return f"{model}, Python {platform.python_version()}, {platform.system()}"


def density_at(trace: tuple[tuple[float, float], ...], when: float, area: float, width: float) -> float:
    """Density in percent of the best layout at a time; 0 before the first."""
    best = min((length for t, length in trace if t <= when), default=math.inf)
    return 100.0 * area / (width * best)


def main() -> int:
    """Run and print."""
    beside = Path(__file__).resolve().parent.parent.parent / "shared" / "open-data"
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("instances", nargs="*", help="names; default: all in the folder")
    parser.add_argument("--instances-dir", type=Path, default=beside)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seeds", type=int, nargs="+", default=[0, 1, 2])
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--times", type=float, nargs="+", default=[3.0, 10.0, 30.0, 60.0, 180.0])
    parser.add_argument("--copies", type=int, default=1, help="lay every piece so many times as often")
    parser.add_argument("--json", type=Path, help="write all figures there, too")
    args = parser.parse_args()
    names = args.instances or sorted(p.stem for p in args.instances_dir.glob("*.json"))
    if not names:
        print(f"no instance files in {args.instances_dir}", file=sys.stderr)
        return 2
    times = sorted({t for t in args.times if t < args.seconds} | {args.seconds})
    print(f"{machine()}; {args.workers} workers, {args.seconds:g} s, seeds {args.seeds}")
    print("ratio = density / published density; the columns 97 % ... 100 % are the seconds until that ratio\n")
    print(
        f"{'instance':10s} {'seed':>4s} "
        + " ".join(f"{t:>7g} s" for t in times)
        + f" {'density':>8s} "
        + " ".join(f"{100 * s:>6.0f} %" for s in SHARES)
        + "  check"
    )
    everything: list[dict[str, Any]] = []
    for name in names:
        problem, data = read(args.instances_dir / f"{name}.json", args.copies)
        area = sum(shapely.Polygon(e["outline"]).area * e["quantity"] for e in data["items"])
        published = float(data["published_density_percent"])
        ratios = []
        for seed in args.seeds:
            began = time.perf_counter()
            result = solve(problem, Stop(seconds=args.seconds), seed=seed, workers=args.workers)
            wall = time.perf_counter() - began
            length, faults = verify(data, problem, result.places)
            row = [density_at(result.trace, t, area, data["width"]) / published for t in times]
            row[-1] = 100.0 * area / (data["width"] * length) / published
            reached = [
                next(
                    (t for t, ln in result.trace if 100.0 * area / (data["width"] * ln) >= s * published * (1 - 1e-7)),
                    None,
                )
                for s in SHARES
            ]
            ratios.append(row)
            print(
                f"{name:10s} {seed:4d} "
                + " ".join(f"{r:9.4f}" for r in row)
                + f" {row[-1] * published:8.3f} "
                + " ".join("      --" if t is None else f"{t:8.1f}" for t in reached)
                + "  "
                + ("free of overlap" if not faults else "FAULTY: " + "; ".join(faults[:2])),
                flush=True,
            )
            everything.append({"instance": name, "seed": seed, "times": times, "ratios": row, "reached": reached,
                               "length": length, "faults": faults, "wall": wall, "rounds": result.rounds,
                               "stopped_by": result.stopped_by, "bound": result.bound.length})  # fmt: skip
        for label, figures in (("mean", np.mean(ratios, axis=0)), ("worst", np.min(ratios, axis=0)),
                               ("best", np.max(ratios, axis=0))):  # fmt: skip
            print(
                f"{name:10s} {label:>4.4s} "
                + " ".join(f"{r:9.4f}" for r in figures)
                + f" {figures[-1] * published:8.3f}"
            )
    if args.json:
        args.json.write_text(json.dumps({"machine": machine(), "workers": args.workers, "runs": everything}, indent=1))
    return 1 if any(e["faults"] for e in everything) else 0


if __name__ == "__main__":
    sys.exit(main())
