"""One run of the optimiser, in this process or in a worker of a pool."""

from __future__ import annotations

from nesting.packing.problem import Bound, NeverFits, PackingError, Place, Problem, Result, Stop

__all__ = ["NO_BOUND", "run_search"]

#: for short runs: a candidate's own bound would cost more than its run; the lay's bound is worked out once, at the end
NO_BOUND = Bound(0.0, "not worked out")


def run_search(
    problem: Problem, stop: Stop, seed: int, start: tuple[Place, ...] | None, bound: Bound | None = None
) -> Result | NeverFits | PackingError:
    """One search in this process; errors come back as values, so that a pool can carry them."""
    from nesting.packing.search.search import solve

    try:
        return solve(problem, stop, seed=seed, workers=1, start=start, bound=bound or NO_BOUND)
    except PackingError as error:
        return error
