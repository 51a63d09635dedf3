"""Lay one cloth: try every sound spread, and return the easiest of the shortest lays."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace

from nesting.cloth.spreads import cloth_of_remnant, sound_spreads
from nesting.model.errors import CannotLayError, OrderError
from nesting.model.lay import Lay
from nesting.model.order import Remnant, SpreadName
from nesting.planning.layout.bounding import counted
from nesting.planning.layout.choice import choose
from nesting.planning.layout.demand import Counts, Stack, stacks_of
from nesting.planning.layout.options import SearchOptions, search_pool
from nesting.planning.layout.rules_cost import COST_SHARE, has_rules, what_pairs_cost, what_rules_cost
from nesting.planning.layout.stages import first_lay, try_all, warm_for
from nesting.planning.layout.starts import lying_in
from nesting.planning.layout.trials import Keep, Search
from nesting.resolving.cutting_list import CuttingList

__all__ = ["lay_cloth"]


def lay_cloth(
    listed: CuttingList,
    cloth_name: str,
    options: SearchOptions,
    *,
    start: Lay | None = None,
    counts: Counts | None = None,
    stacks: tuple[Stack, ...] | None = None,
    remnant: Remnant | None = None,
    spread: SpreadName | None = None,
    keep: Sequence[Keep] = (),
    gather: frozenset[str] = frozenset(),
) -> Lay:
    """The easiest of the shortest lays of one cloth that the search finds.

    ``start`` is a lay to begin from, ``keep`` names placements of it that must stay; ``counts`` replaces the order's
    counts (garment, size) -> number, ``stacks`` all that it asks of this cloth; ``remnant`` lays on that leftover;
    ``spread`` forces one spread. CannotLayError
    says which piece cannot lie, and why. ``gather`` names pieces that shall lie close together.
    """
    base = listed.cloth_named(cloth_name)
    cloth = cloth_of_remnant(base, remnant) if remnant is not None else base
    if stacks is not None:
        counts = counted(stacks)
    else:
        stacks = stacks_of(listed, cloth, counts)
    if not stacks:
        raise OrderError(
            f"nothing is cut from cloth '{cloth_name}'", file=listed.path, key="garment.pieces", code="cloth.not-used"
        )
    with search_pool(options) as pool:
        search = Search(listed, cloth, stacks, replace(options, executor=pool), pool, remnant, tuple(keep), gather)
        if start is not None:
            search.start = lying_in(start.placements)
            if keep and spread is None and len(start.sections) == 1:
                spread = start.sections[0].spread.kind
        kinds, refusals = sound_spreads(cloth, remnant, spread)
        wanted = listed.counts if counts is None else dict(counts)
        search.kinds, search.refusals, search.counts = kinds, refusals, wanted
        if options.seconds is not None and options.enough is None and has_rules(search):
            # what they cost is searched for as well, within the same time
            search.options = replace(search.options, seconds=options.seconds / (1.0 + COST_SHARE))
        if options.executor is None:
            first_lay(search, kinds[:1])
            warm_for(search)
        if not kinds:
            raise CannotLayError(
                "no spread is possible: " + "; ".join(f"{r.kind}: {r.reason}" for r in refusals),
                key=cloth_name,
                code="cloth.no-spread",
            )
        trials, refusals = try_all(search, kinds, refusals, spread)
        lay = choose(search, trials, refusals, wanted)
        extra = () if options.enough is not None else (*what_rules_cost(search, lay), *what_pairs_cost(search, lay))
    return replace(lay, notes=(*lay.notes, *extra), seconds=time.monotonic() - search.begun)
