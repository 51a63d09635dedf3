"""What the stages of laying one cloth hand on: the search as a whole, candidates on their way, finished lays."""

from __future__ import annotations

import difflib
import math
import time
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace

from nesting.cloth.spreads import Refusal
from nesting.model.errors import CannotLayError, OrderError
from nesting.model.findings import Reason
from nesting.model.identity import is_kept
from nesting.model.lay import Section
from nesting.model.order import Cloth, Remnant, SpreadName
from nesting.packing.problem import Bound, PackingError, Result, Stop
from nesting.planning.layout.assemble import Assembly, assemble
from nesting.planning.layout.bounding import cloth_bound
from nesting.planning.layout.candidates import Candidate
from nesting.planning.layout.demand import Stack
from nesting.planning.layout.options import Progress, SearchOptions
from nesting.planning.layout.runs import NO_BOUND
from nesting.planning.layout.starts import Lying, places_from
from nesting.planning.layout.yardage import buy_length, cloth_used
from nesting.resolving.cutting_list import CuttingList

__all__ = ["Finished", "Keep", "Search", "Trial", "assembled", "to_buy", "used_by"]

#: placements that stay where a lay file has them: an id, or (piece name, copy)
Keep = tuple[str, int] | str


#: share of the time that the bound may take
_BOUND = 0.02


@dataclass
class Trial:
    """One candidate on its way: its problem, its best layout, or why it cannot be."""

    candidate: Candidate
    assembly: Assembly | None = None
    result: Result | None = None
    refused: Reason | None = None
    open_question: bool = False

    @property
    def promising(self) -> bool:
        """Whether a search may still find a layout, or a better one."""
        return self.assembly is not None and (self.result is not None or self.open_question)

    @property
    def used(self) -> float:
        """Length of cloth it takes, opened out, mm; infinite before its first layout."""
        if self.result is None:
            return math.inf
        assert self.result is not None and self.assembly is not None
        return cloth_used(self.candidate.kind, self.assembly.cloth, self.result.length)


@dataclass(frozen=True)
class Finished:
    """A lay of one spread."""

    kind: SpreadName
    sections: tuple[Section, ...]
    assembly: Assembly | None

    @property
    def lay_length(self) -> float:
        """To the end of the last section, mm."""
        return self.sections[-1].start + self.sections[-1].lay_length


@dataclass
class Search:
    """What every stage needs."""

    listed: CuttingList
    cloth: Cloth
    stacks: tuple[Stack, ...]
    options: SearchOptions
    pool: Executor | None
    remnant: Remnant | None
    keep: tuple[Keep, ...] = ()
    #: names of pieces that lie close together at the cut end, as a second cloth is laid over them
    gather: frozenset[str] = frozenset()
    start: tuple[Lying, ...] = ()
    begun: float = field(default_factory=time.monotonic)
    best: float | None = None
    #: how many of each garment are asked for, which spreads, and which were refused from the beginning
    counts: dict[tuple[str, str | None], int] = field(default_factory=dict)
    kinds: tuple[SpreadName, ...] = ()
    refusals: tuple[Refusal, ...] = ()
    #: the best lay of each spread that was shown, and when one was last (``time.monotonic``)
    shown: dict[SpreadName, Finished] = field(default_factory=dict)
    shown_at: float | None = None
    #: seconds that showing it took
    showing: float = 0.0
    _bound: Bound | None = None

    def open_bound(self) -> Bound:
        """The proven bound of the cloth opened out, worked out once."""
        if self._bound is None:
            # on a leftover it is a figure beside the lay, and many lays are tried there
            seconds = 1.0 if self.remnant is None else 0.1
            if self.options.seconds is not None:
                seconds = min(seconds, _BOUND * self.options.seconds)
            self._bound = cloth_bound(self.listed, self.cloth, self.stacks, self.remnant, seconds=seconds)
        return self._bound

    def known_bound(self) -> Bound | None:
        """The proven bound, if it has been worked out already."""
        return self._bound

    def share_left(self) -> float | None:
        """The share of the time that is left, below 0 when it is over; None where rounds are counted."""
        seconds = self.options.seconds
        if seconds is None or self.options.rounds is not None:
            return None
        return 1.0 - (time.monotonic() - self.begun) / seconds

    def enough_on(self, kind: SpreadName) -> float | None:
        """The lay length of that spread with which the search may end, mm; None where it goes on to its time's end."""
        enough = self.options.enough
        return None if enough is None else enough / cloth_used(kind, self.cloth, 1.0)

    def interrupted(self) -> None:
        """Ctrl-C: what is found is kept; the stages that follow are asked for their first layout only."""
        self.options = replace(self.options, seconds=0.05, rounds=None)

    def tell(self, doing: str, share: float, length: float | None = None) -> None:
        """Report progress; ``length`` is cloth used, mm."""
        if length is not None:
            self.best = length if self.best is None else min(self.best, length)
        if self.options.on_progress is not None:
            self.options.on_progress(Progress(self.cloth.name, doing, share, self.best))


def assembled(search: Search, candidate: Candidate) -> Assembly:
    """The packing problem of a candidate, with what stays or is gathered in its place."""
    assembly = assemble(
        search.listed,
        search.cloth,
        search.stacks,
        candidate.kind,
        depths=candidate.depths,
        style=candidate.style,
        remnant=search.remnant,
    )
    if search.keep:
        assembly = _with_kept(search, assembly)
    if search.gather:
        assembly = _with_gathered(search, assembly)
    return assembly


def _with_gathered(search: Search, assembly: Assembly) -> Assembly:
    """The pieces to gather are laid first, by themselves, and stay there while the others are laid."""
    from nesting.packing.search.search import solve

    items = assembly.problem.items
    chosen = [i for i, job in enumerate(assembly.jobs) if job.needs[0].cut.name in search.gather]
    problem = replace(assembly.problem, items=tuple(items[i] for i in chosen))
    try:
        found = solve(problem, Stop(rounds=6), seed=search.options.seed, bound=NO_BOUND)
    except PackingError as error:
        raise CannotLayError(str(error), key=search.cloth.name, code="cloth.no-layout") from None
    fixed = {chosen[p.item]: replace(p, item=chosen[p.item]) for p in found.places}
    laid = tuple(replace(item, fixed=fixed[i]) if i in fixed else item for i, item in enumerate(items))
    return replace(assembly, problem=replace(assembly.problem, items=laid))


def _with_kept(search: Search, assembly: Assembly) -> Assembly:
    names = {need.cut.name for stack in search.stacks for need in stack.needs}
    for one in search.keep:
        if not any(is_kept(lying.piece, lying.copies, lying.ids, [one]) for lying in search.start):
            piece, shown = (one.split("/")[-2], one) if isinstance(one, str) else (one[0], f"{one[0]}:{one[1]}")
            near = difflib.get_close_matches(piece, names, 1)
            hint = f"; did you mean '{near[0]}'?" if near and near[0] != piece else ""
            raise OrderError(f"--keep {shown}: the lay that was given has no such piece{hint}", code="option.keep")
    lying = [one for one in search.start if is_kept(one.piece, one.copies, one.ids, search.keep)]
    fixed = {place.item: place for place in places_from(lying, assembly)}
    if len(fixed) < len(lying):
        listed = ", ".join(f"{one.piece} {', '.join(map(str, one.copies))}" for one in lying)
        raise CannotLayError(
            f"not all of {listed} may lie on this spread as they lie in the lay that was given", code="lay.pieces-stay"
        )
    items = tuple(
        replace(item, fixed=fixed[i]) if i in fixed else item for i, item in enumerate(assembly.problem.items)
    )
    return replace(assembly, problem=replace(assembly.problem, items=items))


def used_by(search: Search, finished: Finished) -> float:
    """Length of cloth that the lay takes, opened out, mm."""
    if finished.kind == "sections":
        return finished.lay_length
    return cloth_used(finished.kind, search.cloth, finished.lay_length)


def to_buy(search: Search, finished: Finished) -> float:
    """Length to buy, mm."""
    if finished.kind == "sections":
        return buy_length("open", search.cloth, finished.lay_length)
    return buy_length(finished.kind, search.cloth, finished.lay_length)
