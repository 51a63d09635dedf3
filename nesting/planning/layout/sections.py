"""A lay in sections: part of the length folded, then the cloth is refolded and the rest is laid open.

The division is searched among a few that a cutter would think of: what lies on a fold first, with or without the pairs;
where everything could be folded, a part of the copies.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from itertools import islice

from nesting.model.errors import CannotLayError
from nesting.model.findings import Reason
from nesting.model.lay import Section
from nesting.model.order import Cloth
from nesting.packing.problem import NeverFits, PackingError, Result
from nesting.planning.layout.assemble import Assembly, assemble, with_length
from nesting.planning.layout.candidates import Candidate
from nesting.planning.layout.demand import Stack
from nesting.planning.layout.jobs import JobStyle
from nesting.planning.layout.options import SearchOptions, share_of
from nesting.planning.layout.runs import run_search
from nesting.resolving.cutting_list import CuttingList

__all__ = ["sectioned"]

#: share of the whole search time that all divisions together may take
SHARE = 0.06
#: divisions tried
MOST_DIVISIONS = 2

Division = tuple[tuple[Stack, ...], tuple[Stack, ...]]


def _divisions(stacks: tuple[Stack, ...]) -> Iterator[Division]:
    """(folded, open) parts of the stacks; neither is empty."""
    halves = tuple(s for s in stacks if s.cut.on_fold)
    pairs = tuple(s for s in stacks if not s.cut.on_fold and len(s.needs) > 1)
    seen: set[tuple[int, ...]] = set()
    for folded in (halves, halves + pairs):
        rest = tuple(s for s in stacks if s not in folded)
        if folded and rest and (key := tuple(map(id, folded))) not in seen:
            seen.add(key)
            yield folded, rest
    for stack_share in (3, 2):
        first: list[Stack] = []
        second: list[Stack] = []
        for stack in stacks:
            copies = sorted({n.copy for n in stack.needs})
            kept = set(copies[: len(copies) * (stack_share - 1) // stack_share])
            folded_needs = tuple(n for n in stack.needs if n.copy in kept and (stack in halves or stack in pairs))
            open_needs = tuple(n for n in stack.needs if n not in folded_needs)
            if folded_needs:
                first.append(Stack(folded_needs))
            if open_needs:
                second.append(Stack(open_needs))
        if first and second:
            yield tuple(first), tuple(second)


def sectioned(
    listed: CuttingList,
    cloth: Cloth,
    stacks: tuple[Stack, ...],
    options: SearchOptions,
    pool: Executor | None,
    flaps: Sequence[Candidate] = (),
) -> tuple[tuple[Section, ...] | None, Reason | None]:
    """The shortest lay in two sections that was found, or None and why there is none.

    ``flaps`` are partial folds that did well by themselves; the folded section tries them beside the plain fold.
    """
    if cloth.repeat_along > 0.0 or cloth.repeat_across > 0.0:
        why = Reason(
            "the repeat of the cloth would have to run on from one section into the next", code="spread.repeat"
        )
        return None, why
    if any(s.needs[0].pair is not None for s in stacks):
        return None, Reason("pieces that are cut together need one spread for all", code="spread.together")
    if cloth.nap == "by garment":
        # the pieces of one garment may fall into both sections: all lie one way, which is within the rule
        cloth = replace(cloth, nap="one way")
    tasks, why = _tasks(listed, cloth, stacks, flaps)
    if not tasks:
        return None, why
    lanes = max(1, options.workers) if pool is not None else 1
    stop = share_of(options, SHARE * min(1.0, lanes / len(tasks)))
    seeds = [options.seed * 1009 + 500 + i for i in range(len(tasks))]
    if pool is None:
        outcomes = [run_search(t.assembly.problem, stop, s, None) for t, s in zip(tasks, seeds, strict=True)]
    else:
        futures = [
            pool.submit(run_search, t.assembly.problem, stop, s, None) for t, s in zip(tasks, seeds, strict=True)
        ]
        outcomes = [f.result() for f in futures]
    best: tuple[float, tuple[Section, ...]] | None = None
    for number in dict.fromkeys(task.division for task in tasks):
        own = [(o, task) for task, o in zip(tasks, outcomes, strict=True) if task.division == number]
        parts, failed = _laid(own, cloth)
        if failed is not None:
            why = failed
            continue
        total = parts[-1].start + parts[-1].lay_length
        if best is None or total < best[0]:
            best = (total, tuple(parts))
    return (best[1], None) if best is not None else (None, why)


@dataclass(frozen=True)
class _Task:
    """A part (0 folded, 1 open) of a division, laid in one way."""

    division: int
    part: int
    assembly: Assembly


def _tasks(
    listed: CuttingList, cloth: Cloth, stacks: tuple[Stack, ...], flaps: Sequence[Candidate]
) -> tuple[list[_Task], Reason]:
    """What is searched for, and why there is nothing, or not all of it."""
    tasks: list[_Task] = []
    divisions = 0
    why = Reason("nothing is cut on a fold or in pairs, so there is nothing to fold for", code="spread.nothing-folded")
    if any(s.cut.on_fold or len(s.needs) > 1 for s in stacks):
        why = Reason(
            "everything can be cut from the folded cloth, so nothing is left for an open section",
            code="spread.all-folded",
        )
    for folded, rest in islice(_divisions(stacks), MOST_DIVISIONS):
        try:
            first = [
                assemble(listed, cloth, folded, c.kind, depths=c.depths, style=c.style)
                for c in (Candidate("lengthwise fold", (), JobStyle(open_halves=True)), *flaps[:1])
            ]
            second = assemble(listed, cloth, rest, "open")
        except CannotLayError as error:
            why = error.reason
            continue
        tasks += [_Task(divisions, 0, assembly) for assembly in first]
        tasks.append(_Task(divisions, 1, second))
        divisions += 1
    return tasks, why


def _laid(
    outcomes: Sequence[tuple[Result | NeverFits | PackingError, _Task]], cloth: Cloth
) -> tuple[list[Section], Reason | None]:
    """Both parts of a division, each the shortest that was found; or why one of them is not there."""
    parts: list[Section] = []
    for part in (0, 1):
        found = [(o, task.assembly) for o, task in outcomes if task.part == part and isinstance(o, Result)]
        if not found:
            failed = next(o for o, task in outcomes if task.part == part)
            if isinstance(failed, NeverFits):
                words = f"piece '{failed.name}' does not fit across the cloth in its section"
                return parts, Reason(words, code="piece.too-large", figures={"piece": failed.name})
            return parts, Reason(str(failed), code="cloth.no-layout")
        result, assembly = min(found, key=lambda f: f[0].length)
        placements, length = assembly.placements(result.places)
        start = parts[0].lay_length + cloth.gap if parts else 0.0
        parts.append(Section(with_length(assembly, length), length, placements, start))
    return parts, None
