"""Measure the engine itself: scores per second, time to build the fields, memory, and growth with the number of pieces.

    python scripts/bench_speed.py --seconds 20 --counts 10 50 100 250 500

The pieces are those of one academic instance (``--instance``, default shirts), repeated or left out to reach each
count. The last columns are what a search of ``--seconds`` with ``--workers`` processes makes of them: density in
percent and as a share of the density published for the instance, and the most memory that any of the processes took.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from pathlib import Path

import numpy as np
from bench_layout import machine, read
from numba import njit

from nesting.packing.kernel import kernels
from nesting.packing.problem import Problem, Stop
from nesting.packing.search import workers
from nesting.packing.search.explore import Explorer
from nesting.packing.search.search import solve
from nesting.packing.search.warm import warm_up

_score, _uniform = kernels.score, kernels.uniform


@njit(cache=False, error_model="numpy")  # type: ignore[untyped-decorator, unused-ignore]
def _scores(T, F, S, length, times):  # type: ignore[no-untyped-def]
    n = len(S.at)
    everyone = np.arange(n)
    total = 0.0
    for _ in range(times):
        i = int(_uniform(S.rng) * n)
        v = S.var[i]
        s = T.v_ring[v]
        lim = T.v_lim[v]
        x = lim[0] + _uniform(S.rng) * (length - lim[1] - lim[0])
        y = lim[3] + _uniform(S.rng) * (lim[4] - lim[3])
        total += _score(
            S.at,
            S.mask,
            S.weight,
            F.pair,
            F.meta,
            F.data,
            i,
            s,
            T.v_mask[v],
            T.s_hw[s],
            T.s_hh[s],
            x,
            y,
            everyone,
            0,
            n,
            1e300,
        )
    return total


def _resized(problem: Problem, count: int) -> Problem:
    """The same mix of pieces, ``count`` in all: every k-th one, or copies."""
    have = len(problem.items)
    picks = [int(k * have / count) if count < have else k % have for k in range(count)]
    return Problem(problem.plies, tuple(problem.items[k] for k in picks))


def main() -> int:
    """Run and print."""
    beside = Path(__file__).resolve().parent.parent.parent / "shared" / "open-data"
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--instances-dir", type=Path, default=beside)
    parser.add_argument("--instance", default="shirts")
    parser.add_argument("--counts", type=int, nargs="+", default=[10, 50, 100, 250, 500])
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    began = time.perf_counter()
    fresh = warm_up(lambda note: print(note, flush=True))
    print(f"{machine()}\nkernels {'compiled' if fresh else 'loaded'} in {time.perf_counter() - began:.1f} s")
    whole, data = read(args.instances_dir / f"{args.instance}.json")
    print(
        f"\n{'pieces':>6s} {'fields':>6s} {'built s':>8s} {'grids MB':>8s} {'scores/s':>10s} {'first s':>8s} "
        f"{'rounds':>6s} {'density':>8s} {'ratio':>7s} {'memory MB':>9s}"
    )
    for count in args.counts:
        problem = _resized(whole, count)
        key = workers.packed(problem)
        at = time.perf_counter()
        have = workers.prepared(*key)
        assert have is not None
        built = time.perf_counter() - at
        explorer = Explorer(have.model, have.fields, have.compactor, 0)
        length = have.model.area / 100.0 / 0.8
        from nesting.packing.search import first

        first.random_places(have.model, explorer.state, length)
        tables = (have.model.tables, have.fields.tables(), explorer.state, length)
        _scores(*tables, 10)
        at = time.perf_counter()
        _scores(*tables, 50_000)
        rate = 50_000 / (time.perf_counter() - at)
        result = solve(problem, Stop(seconds=args.seconds), seed=0, workers=args.workers)
        density = have.model.area / 100.0 / (result.length * have.model.scale)
        kinds = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
        memory = max(resource.getrusage(kind).ru_maxrss for kind in kinds) / 1024.0
        ratio = 100.0 * density / float(data["published_density_percent"])
        print(
            f"{count:6d} {have.fields.count:6d} {built:8.2f} {have.fields.nbytes / 1e6:8.1f} {rate:10.0f} "
            f"{result.trace[0][0]:8.2f} {result.rounds:6d} {100.0 * density:8.2f} {ratio:7.4f} {memory:9.0f}",
            flush=True,
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
