"""What matching the repeat, and cutting together in one cloth, cost."""

from __future__ import annotations

from dataclasses import replace

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.model.order import Order
from nesting.packing.problem import Problem, Result
from nesting.planning.layout.assemble import assemble
from nesting.planning.layout.candidates import candidates_for
from nesting.planning.layout.choice import counted
from nesting.planning.layout.demand import Stack, stacks_of
from nesting.planning.layout.options import share_of
from nesting.planning.layout.runs import run_search
from nesting.planning.layout.trials import Search
from nesting.planning.layout.wording import say_length
from nesting.planning.layout.yardage import full_widths

__all__ = ["what_rules_cost"]


def what_rules_cost(search: Search, lay: Lay) -> tuple[str, ...]:
    """What matching the repeat, and cutting together in this cloth, cost against a lay without: laid again, shorter."""
    from nesting.planning.layout.repeats import matching_for

    order, cloth = search.order, search.cloth
    if search.remnant is not None or len(lay.sections) != 1:
        return ()
    kind = lay.sections[0].spread.kind
    without: list[tuple[str, Order, tuple[Stack, ...]]] = []
    if any(matching_for(order, cloth, s.cut).any for s in search.stacks):
        plain = replace(
            order,
            seams=tuple(replace(seam, match=False) for seam in order.seams),
            pieces=tuple(replace(cut, motif=None) for cut in order.pieces),
        )
        counts = counted(search.stacks)
        without.append(("matching the repeat", plain, stacks_of(plain, cloth, counts)))
    if any(s.needs[0].follower is not None for s in search.stacks):
        without.append(("cutting together", order, stacks_of(order, cloth, counted(search.stacks), apart=True)))
    stop = share_of(search.options, 0.15)
    asked: list[tuple[str, Problem]] = []
    for what, other, stacks in without:
        for candidate in candidates_for(kind, stacks, cloth)[:2]:
            try:
                assembly = assemble(other, cloth, stacks, kind, depths=candidate.depths, style=candidate.style)
            except CannotLayError:
                continue
            asked.append((what, assembly.problem))
    seed = search.options.seed * 1009 + 900
    if search.pool is None:
        outcomes = [run_search(problem, stop, seed, None) for _, problem in asked]
    else:
        running = [search.pool.submit(run_search, problem, stop, seed, None) for _, problem in asked]
        try:
            outcomes = [future.result() for future in running]
        except KeyboardInterrupt:  # the lay is there; only what the rules cost stays unsaid
            for future in running:
                future.cancel()
            search.interrupted()
            return ()
    found: dict[str, list[float]] = {}
    for (what, _), outcome in zip(asked, outcomes, strict=True):
        if isinstance(outcome, Result):
            found.setdefault(what, []).append(outcome.length)
    notes = []
    for what, lengths in found.items():
        length = say_length(search, max(0.0, full_widths(kind, cloth) * (lay.lay_length - min(lengths))))
        notes.append(f"{what} costs about {length} of cloth against a lay without it, on the same spread")
    return tuple(notes)
