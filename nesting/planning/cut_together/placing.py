"""One search for what goes together with a lay that exists: patches, or the leaders with room for them."""

from __future__ import annotations

from nesting.model.errors import CannotLayError
from nesting.model.lay import Placement
from nesting.packing.problem import PackingError, Place, Stop
from nesting.planning.layout.assemble import Assembly
from nesting.planning.layout.options import SearchOptions, share_of
from nesting.planning.layout.runs import NO_BOUND

__all__ = ["placed_by_search"]


def placed_by_search(
    assembly: Assembly,
    cloth: str,
    options: SearchOptions | None,
    start: tuple[Place, ...] | None = None,
    *,
    stop: Stop | None = None,
) -> tuple[tuple[Placement, ...], float]:
    """The placements and the length, mm; ``options`` None: those of a first layout, without a search; ``start``: from
    there; ``stop``: in place of the options' own. CannotLayError names the cloth."""
    from nesting.packing.search.search import solve

    if options is None:
        options = SearchOptions(seconds=0.0)
        stop = stop or Stop(seconds=0.0)
    else:
        stop = stop or share_of(options, 1.0)
    try:
        found = solve(
            assembly.problem,
            stop,
            seed=options.seed,
            workers=options.workers if options.executor is not None else 1,
            executor=options.executor,
            start=None if start is None else assembly.from_zero(start),
            bound=NO_BOUND,
        )
    except PackingError as error:
        raise CannotLayError(str(error), key=cloth, code="cloth.no-patches") from None
    return assembly.placements(found.places)
