"""Lay one cloth: try every sound spread, open out the best folded lays, and return the easiest of the shortest.

Time is spent in stages: open cloth by itself; a first layout of every folded candidate; a short run of the best
candidates of each spread, side by side, and a longer one of the two that are best then; at last open cloth again, from
the best of all lays opened out, so that it is never longer than any of them.
"""

from __future__ import annotations

import difflib
import math
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor, Future
from concurrent.futures import wait as wait_for
from dataclasses import dataclass, field, replace

import numpy as np

from nesting.cloth.spreads import Refusal, cloth_of_remnant, sound_spreads
from nesting.model.errors import CannotLayError, OrderError
from nesting.model.lay import Lay, Section, SpreadTried
from nesting.model.order import Cloth, Order, Remnant, SpreadName
from nesting.model.units import format_apart, format_length
from nesting.packing.problem import Bound, Item, NeverFits, PackingError, Place, Problem, Result, Stop
from nesting.planning.layout.assemble import Assembly, assemble, with_length
from nesting.planning.layout.candidates import Candidate, candidates_for
from nesting.planning.layout.demand import Counts, Stack, garment_counts, stacks_of
from nesting.planning.layout.jobs import JobStyle
from nesting.planning.layout.limits import within_limits
from nesting.planning.layout.options import Progress, SearchOptions, forks, search_pool, share_of
from nesting.planning.layout.runs import NO_BOUND, run_search
from nesting.planning.layout.starts import Lying, lying_in, opened_out, place_missing, places_from
from nesting.planning.layout.yardage import buy_length, cloth_used, full_widths, garment_shares, utilisation

__all__ = ["Keep", "SearchOptions", "laid_together", "lay_cloth", "lay_order", "why_never"]

#: (piece name, copy) of placements that stay where a lay file has them
Keep = tuple[str, int]

#: shares of the time: open cloth at first by itself, at the end from the best of all lays; folds take what is between
_OPEN_FIRST = 0.30
_OPEN_LAST = 0.15
#: share of the folds' time that is divided among the best candidates of all spreads
_EACH = 0.35
#: share of the time for a lay that is only compared with
_COMPARED = 0.25


@dataclass
class _Trial:
    """One candidate on its way: its problem, its best layout, or why it cannot be."""

    candidate: Candidate
    assembly: Assembly | None = None
    result: Result | None = None
    refused: str | None = None
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


@dataclass
class _Search:
    """What every stage needs."""

    order: Order
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
    _bound: Bound | None = None
    _bound_known: bool = False

    def open_bound(self) -> Bound | None:
        """The proven bound of the open problem, worked out once; None where nothing can lie on open cloth."""
        from nesting.packing.bounds.bounds import lower_bound

        if not self._bound_known:
            self._bound_known = True
            try:
                free = replace(self, keep=(), gather=frozenset())
                # on a leftover it is a figure beside the lay, and many lays are tried there
                seconds = 1.0 if self.remnant is None else 0.1
                self._bound = lower_bound(_assembled(free, Candidate("open")).problem, seconds=seconds)
            except (CannotLayError, PackingError):
                self._bound = None
        return self._bound

    def share_left(self) -> float | None:
        """The share of the time that is left, below 0 when it is over; None where rounds are counted."""
        seconds = self.options.seconds
        if seconds is None or self.options.rounds is not None:
            return None
        return 1.0 - (time.monotonic() - self.begun) / seconds

    def interrupted(self) -> None:
        """Ctrl-C: what is found is kept; the stages that follow are asked for their first layout only."""
        self.options = replace(self.options, seconds=0.05, rounds=None)

    def tell(self, doing: str, share: float, length: float | None = None) -> None:
        """Report progress; ``length`` is cloth used, mm."""
        if length is not None:
            self.best = length if self.best is None else min(self.best, length)
        if self.options.on_progress is not None:
            self.options.on_progress(Progress(self.cloth.name, doing, share, self.best))


def lay_order(
    order: Order,
    options: SearchOptions,
    *,
    spread: SpreadName | None = None,
    start: Lay | None = None,
    keep: Sequence[Keep] = (),
    divide: Callable[[Lay, SearchOptions], Lay] | None = None,
) -> tuple[Lay, ...]:
    """One lay for each cloth that the order cuts from; see ``lay_cloth``. ``start`` and ``keep`` belong to one of them.
    ``divide`` may divide a lay that is too long for the table into sections.

    A second cloth whose pieces are cut together with leaders of another cloth lies over those leaders.
    """
    counts = garment_counts(order)
    if not any(counts.values()):
        raise OrderError("nothing to cut: every count is 0", file=order.path, key="garment")
    with search_pool(options) as pool:
        shared = replace(options, executor=pool)
        if options.executor is None:
            for number, cloth in enumerate(order.cloths):
                if stacks := stacks_of(order, cloth):
                    ahead = _Search(order, cloth, stacks, shared, pool, None)
                    if number == 0:
                        _first_lay(ahead, sound_spreads(cloth, None, spread)[0][:1])
                    _warm(ahead)
        lays: list[Lay] = []
        for cloth in order.cloths:
            if not stacks_of(order, cloth):
                continue
            own = start if start is not None and start.cloth == cloth.name else None
            kept = keep if own is not None else ()
            part = shared
            if _only_followers(order, cloth.name) and shared.seconds is not None:
                # its own lay is only compared with: it is cut where its leaders lie
                part = replace(shared, seconds=shared.seconds * _COMPARED)
            found = lay_cloth(order, cloth.name, part, spread=spread, start=own, keep=kept)
            lays.append(within_limits(order, found if divide is None else divide(found, part)))
        return laid_together(order, tuple(lays), shared, continued=start is not None)


def laid_together(
    order: Order, lays: tuple[Lay, ...], options: SearchOptions, *, continued: bool = False
) -> tuple[Lay, ...]:
    """Lays of every cloth by itself with second cloths laid over their leaders: where these lie, or gathered at the cut
    end if that costs less in all, which is searched for in part of the time. ``continued``: leaders stay."""
    from nesting.planning.cut_together.layered import lay_over

    over = lay_over(order, lays)
    if over == lays or continued:
        return over
    own = {lay.cloth: lay.buy_length for lay in lays}
    if all(lay.buy_length <= own[lay.cloth] + 1e-6 for lay in over):
        return over
    gathered: list[Lay] = []
    for lay in lays:
        names = frozenset(
            t.leader
            for t in order.together
            for g in order.garments
            if {t.leader, t.follower} <= set(g.pieces)
            and order.cloth_of(g, order.cut_piece(t.leader, g.size)) == lay.cloth
            and order.cloth_of(g, order.cut_piece(t.follower, g.size)) != lay.cloth
        )
        if not names or len(lay.sections) != 1:
            gathered.append(lay)
            continue
        seconds = None if options.seconds is None else options.seconds * _COMPARED
        rounds = None if options.rounds is None else max(1, round(options.rounds * _COMPARED))
        part = replace(options, seconds=seconds, rounds=rounds)
        kind = lay.sections[0].spread.kind
        try:
            new = lay_cloth(order, lay.cloth, part, spread=kind, gather=names)
            if new.buy_length > lay.buy_length + 1e-6 or not _still_shortest(order, lay, new):
                return over
            tried = tuple(
                replace(t, lay_length=new.lay_length, utilisation=new.utilisation) if t.chosen else t for t in lay.tried
            )
            gathered.append(replace(new, tried=tried))
        except CannotLayError:
            return over
    other = lay_over(order, tuple(gathered))
    return min((over, other), key=lambda result: _worth(order, result))


def _still_shortest(order: Order, lay: Lay, new: Lay) -> bool:
    """Whether an open lay is still no longer than the folded ones that were tried."""
    if lay.sections[0].spread.kind != "open":
        return True
    cloth = order.cloth_named(lay.cloth)
    others = [
        cloth_used(t.kind, cloth, t.lay_length) for t in lay.tried if t.lay_length is not None and t.kind != "open"
    ]
    return new.lay_length <= min(others, default=new.lay_length) + 1e-6


def _worth(order: Order, lays: tuple[Lay, ...]) -> float:
    """What the cloths cost together; their lengths where a price is missing."""
    cloths = [order.cloth_named(lay.cloth) for lay in lays]
    if any(cloth.price is None for cloth in cloths):
        return sum(lay.buy_length for lay in lays)
    return sum(lay.buy_length * (c.price or 0.0) / c.price_unit for lay, c in zip(lays, cloths, strict=True))


def _warm(search: _Search) -> None:
    """Work out here what the workers need, before they are forked from this process and have it from the beginning."""
    from nesting.packing.search.workers import packed, prepared

    if search.pool is None or not forks():
        return
    halves = any(s.cut.on_fold for s in search.stacks)
    for candidate in (Candidate("lengthwise fold", (), JobStyle(open_halves=halves)), Candidate("open")):
        if search.remnant is not None or (search.cloth.tubular and candidate.kind == "open"):
            continue
        try:
            problem = _assembled(replace(search, keep=()), candidate).problem
            prepared(*packed(problem))
        except (CannotLayError, PackingError):
            continue


def _only_followers(order: Order, cloth: str) -> bool:
    """Whether all that is cut from this cloth is cut together with a leader of another cloth."""
    followers = {t.follower for t in order.together}
    cut = [(g, order.cut_piece(name, g.size)) for g in order.garments for name in g.pieces]
    return all(piece.name in followers for g, piece in cut if order.cloth_of(g, piece) == cloth)


def lay_cloth(
    order: Order,
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
    base = order.cloth_named(cloth_name)
    cloth = cloth_of_remnant(base, remnant) if remnant is not None else base
    if stacks is not None:
        counts = _counted(stacks)
    else:
        stacks = stacks_of(order, cloth, counts)
    if not stacks:
        raise OrderError(f"nothing is cut from cloth '{cloth_name}'", file=order.path, key="garment.pieces")
    with search_pool(options) as pool:
        search = _Search(order, cloth, stacks, replace(options, executor=pool), pool, remnant, tuple(keep), gather)
        if start is not None:
            search.start = lying_in(start.placements)
            if keep and spread is None and len(start.sections) == 1:
                spread = start.sections[0].spread.kind
        kinds, refusals = sound_spreads(cloth, remnant, spread)
        if options.executor is None:
            _first_lay(search, kinds[:1])
            _warm(search)
        if not kinds:
            raise CannotLayError(
                "no spread is possible: " + "; ".join(f"{r.kind}: {r.reason}" for r in refusals), key=cloth_name
            )
        trials, refusals = _try_all(search, kinds, refusals, spread)
        lay = _choose(search, trials, refusals, garment_counts(order) if counts is None else dict(counts))
        extra = _what_rules_cost(search, lay)
    return replace(lay, notes=(*lay.notes, *extra), seconds=time.monotonic() - search.begun)


def _try_all(
    search: _Search,
    kinds: tuple[SpreadName, ...],
    refusals: tuple[Refusal, ...],
    forced: SpreadName | None,
) -> tuple[list[_Finished], tuple[Refusal, ...]]:
    from nesting.planning.layout.sections import sectioned

    refused = list(refusals)
    helpers: tuple[SpreadName, ...] = ()
    if forced == "open" and search.remnant is None and not search.keep:
        # open cloth begins from folded lays within its own time, even where only it may be returned
        helpers = tuple(k for k in sound_spreads(search.cloth)[0] if k in ("lengthwise fold", "partial fold"))
    elif forced == "sections":
        helpers = ("lengthwise fold",)
    folded = tuple(k for k in dict.fromkeys((*kinds, *helpers)) if k not in ("open", "sections"))
    others = bool(folded) or "sections" in kinds
    opener = None
    if "open" in kinds:
        try:
            opener = _OpenCloth(search)
            opener.run(_OPEN_FIRST if others else 1.0, [])
        except CannotLayError as error:
            opener = None
            refused.append(Refusal("open", str(error)))
    spent = _OPEN_FIRST if opener is not None else 0.0
    trials = _candidates(search, folded)
    for_folds = (1.0 - _OPEN_LAST if opener is not None else 1.0) - spent
    # A first layout of each candidate, which takes no search, shows which of them are worth the time.
    _run_side_by_side(search, trials, None, "trying spreads")
    best_of: list[_Trial] = []
    for kind in folded:
        here = [t for t in trials if t.candidate.kind == kind and t.promising]
        ranked = sorted(here, key=_trial_rank)
        best_of += ranked[:1]
        # the plain way of a lengthwise fold is the easiest to cut, so it is searched whatever its first layout is
        best_of += [t for t in here[:1] if kind == "lengthwise fold" and t not in ranked[:1]]
    finished: list[_Finished] = []
    if "sections" in kinds:
        search.tell("sections", spent)
        flaps = [t.candidate for t in best_of if t.candidate.kind == "partial fold"]
        made, why = sectioned(search.order, search.cloth, search.stacks, search.options, search.pool, flaps)
        if made is not None:
            finished.append(_Finished("sections", made, None))
        else:
            refused.append(Refusal("sections", why))
    left = search.share_left()
    if left is not None:
        # first layouts and sections took theirs; open cloth has its last share of the time all the same
        for_folds = min(for_folds, max(0.1, left - (_OPEN_LAST if opener is not None else 0.0)))
    # a little for each, the rest for the two that are best then
    _run_side_by_side(search, best_of, for_folds * _EACH, "better lays of each spread")
    leading = sorted((t for t in best_of if t.promising), key=_trial_rank)[:2]
    _run_side_by_side(search, leading, for_folds * (1.0 - _EACH), "better lays of the best spreads", again=True)
    for kind in folded:
        done = [t for t in trials if t.candidate.kind == kind and t.result is not None]
        finished += [_finish(search, t) for t in done]
        if not done:
            reasons = dict.fromkeys(t.refused for t in trials if t.candidate.kind == kind and t.refused)
            refused.append(Refusal(kind, "; ".join(reasons) or "no piece gives a flap of sensible depth"))
    if opener is not None:
        if others:
            opener.run(_OPEN_LAST, finished, until_end=True)
        finished.append(opener.finished())
    wanted = [f for f in finished if f.kind in kinds]
    if not wanted:
        raise _nothing_lies(search, refused)
    return wanted, tuple(r for r in refused if r.kind in kinds or forced is None)


def _nothing_lies(search: _Search, refused: Sequence[Refusal]) -> CannotLayError:
    """One reason, the plainest: that of open cloth, or of the first spread; the others are only named."""
    first = next((r for r in refused if r.kind == "open"), refused[0])
    others = [r.kind for r in refused if r is not first]
    also = f" Nor does it lie on: {', '.join(dict.fromkeys(others))}." if others else ""
    return CannotLayError(f"cloth '{search.cloth.name}' cannot be laid. {first.kind}: {first.reason}.{also}")


@dataclass(frozen=True)
class _Finished:
    kind: SpreadName
    sections: tuple[Section, ...]
    assembly: Assembly | None
    bound: float | None = None
    reason: str = ""

    @property
    def lay_length(self) -> float:
        """To the end of the last section, mm."""
        return self.sections[-1].start + self.sections[-1].lay_length


def _trial_rank(trial: _Trial) -> tuple[float, float]:
    # within a tenth of a millimetre the style that was asked for first (the easier one) wins
    style = trial.candidate.style
    return (round(trial.used, 1), style.open_halves + 2.0 * (1.0 - style.pairs))


def _candidates(search: _Search, kinds: Iterable[SpreadName]) -> list[_Trial]:
    trials: list[_Trial] = []
    for kind in kinds:
        for candidate in candidates_for(kind, search.stacks, search.cloth):
            trial = _Trial(candidate)
            try:
                trial.assembly = _assembled(search, candidate)
            except CannotLayError as error:
                trial.refused = str(error)
            trials.append(trial)
    return trials


def _assembled(search: _Search, candidate: Candidate) -> Assembly:
    assembly = assemble(
        search.order,
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


def _with_gathered(search: _Search, assembly: Assembly) -> Assembly:
    """The pieces to gather are laid first, by themselves, and stay there while the others are laid."""
    from nesting.packing.search.search import solve

    items = assembly.problem.items
    chosen = [i for i, job in enumerate(assembly.jobs) if job.needs[0].cut.name in search.gather]
    problem = replace(assembly.problem, items=tuple(items[i] for i in chosen))
    try:
        found = solve(problem, Stop(rounds=6), seed=search.options.seed, bound=NO_BOUND)
    except PackingError as error:
        raise CannotLayError(str(error), key=search.cloth.name) from None
    fixed = {chosen[p.item]: replace(p, item=chosen[p.item]) for p in found.places}
    laid = tuple(replace(item, fixed=fixed[i]) if i in fixed else item for i, item in enumerate(items))
    return replace(assembly, problem=replace(assembly.problem, items=laid))


def _with_kept(search: _Search, assembly: Assembly) -> Assembly:
    wanted = set(search.keep)
    names = {need.cut.name for stack in search.stacks for need in stack.needs}
    for piece, copy in sorted(wanted):
        if not any(one.piece == piece and copy in one.copies for one in search.start):
            near = difflib.get_close_matches(piece, names, 1)
            hint = f"; did you mean '{near[0]}'?" if near and near[0] != piece else ""
            raise OrderError(f"--keep {piece}:{copy}: the lay that was given has no such piece{hint}")
    lying = [one for one in search.start if any((one.piece, copy) in wanted for copy in one.copies)]
    fixed = {place.item: place for place in places_from(lying, assembly)}
    if len(fixed) < len(lying):
        listed = ", ".join(f"{piece}:{copy}" for piece, copy in sorted(wanted))
        raise CannotLayError(f"not all of {listed} may lie on this spread as they lie in the lay that was given")
    items = tuple(
        replace(item, fixed=fixed[i]) if i in fixed else item for i, item in enumerate(assembly.problem.items)
    )
    return replace(assembly, problem=replace(assembly.problem, items=items))


def _first_lay(search: _Search, kinds: tuple[SpreadName, ...]) -> None:
    """Tell the length of a plain first lay at once, so that people see that it goes and where it starts."""
    from nesting.packing.search.search import solve

    if search.options.on_progress is None:
        return
    for kind in kinds:
        if kind == "sections":
            continue
        for candidate in candidates_for(kind, search.stacks, search.cloth)[:3]:
            try:
                assembly = _assembled(search, candidate)
                length = solve(assembly.problem, Stop(seconds=0.0), seed=search.options.seed, bound=NO_BOUND).length
            except (CannotLayError, PackingError):
                continue
            search.tell("first lay", 0.0, cloth_used(kind, search.cloth, length))
            return


def _run_side_by_side(
    search: _Search, trials: list[_Trial], share: float | None, doing: str, *, again: bool = False
) -> None:
    """Each trial once, one worker each, all within ``share`` of the time (None: first layouts only); results only ever
    get better. ``again``: they go on from what they have, with other random numbers."""
    ready = [t for t in trials if t.assembly is not None]
    if not ready:
        return
    lanes = max(1, search.options.workers) if search.pool is not None else 1
    stop = Stop(seconds=0.0) if share is None else share_of(search.options, share / math.ceil(len(ready) / lanes))
    futures: dict[Future[Result | NeverFits | PackingError], _Trial] = {}
    for number, trial in enumerate(ready):
        assert trial.assembly is not None
        begin = trial.result.places if trial.result is not None else _begin(search, trial.assembly)
        seed = search.options.seed * 1009 + number + 500 * again
        bound = _shared_bound(search, trial.candidate.kind)
        search.tell(doing, number / len(ready))
        if search.pool is None:
            _take(search, trial, run_search(trial.assembly.problem, stop, seed, begin, bound))
        else:
            futures[search.pool.submit(run_search, trial.assembly.problem, stop, seed, begin, bound)] = trial
    pending = set(futures)
    try:
        while pending:
            done, pending = wait_for(pending, timeout=0.25, return_when="FIRST_COMPLETED")
            for future in sorted(done, key=lambda f: ready.index(futures[f])):
                _take(search, futures[future], future.result())
            search.tell(doing, 1.0 - len(pending) / len(futures))
    except KeyboardInterrupt:
        for future in pending:
            future.cancel()
        search.interrupted()


def _begin(search: _Search, assembly: Assembly) -> tuple[Place, ...] | None:
    if not search.start or search.remnant is not None:
        return None
    places = places_from(search.start, assembly)
    full = place_missing(places, assembly) if places else None
    return None if full is None else assembly.from_zero(full)


def _take(search: _Search, trial: _Trial, outcome: Result | NeverFits | PackingError) -> None:
    if isinstance(outcome, Result):
        if trial.result is None or outcome.length <= trial.result.length:
            trial.result = outcome
        search.tell(f"{trial.candidate.kind}", 0.5, trial.used)
    elif trial.result is None:
        trial.refused = _why(search, trial, outcome)
        trial.open_question = not isinstance(outcome, NeverFits)


def _why(search: _Search, trial: _Trial, error: PackingError) -> str:
    if isinstance(error, NeverFits) and trial.assembly is not None:
        piece = trial.assembly.jobs[error.item].needs[0].cut.piece.label
        return f"piece '{piece}': {why_never(search.order, trial.assembly, error)}"
    return str(error)


def why_never(order: Order, assembly: Assembly, error: NeverFits) -> str:
    """For each turn the first rule that forbids it: how much the piece misses the cloth by, in people's units and so
    finely that the figures differ, or why it may not lie so."""
    item = assembly.problem.items[error.item]
    label = assembly.jobs[error.item].needs[0].cut.piece.label
    missed: dict[tuple[str, str], list[float]] = {}
    for pose, meta in zip(item.poses, assembly.metas[error.item], strict=True):
        body = pose.ring if pose.body is None else pose.body
        needed = float(np.ptp(body[:, 1])) + pose.low + pose.high
        usable = min(float(np.ptp(assembly.problem.plies[p].outline[:, 1])) for p in pose.plies)
        if needed <= usable:
            return error.reason
        turns = missed.setdefault(format_apart(needed, usable, imperial=order.imperial), [])
        if meta.turn not in turns:
            turns.append(meta.turn)
    if not missed:
        return error.reason
    words = [
        f"{_turns(turns)} it needs {needed} across the cloth, where {usable} are usable"
        for (needed, usable), turns in missed.items()
    ]
    refused: dict[str, list[float]] = {}
    for piece, turn, why in assembly.refused_turns:
        if piece == label:
            refused.setdefault(why, []).append(turn)
    words += [f"{_turns(turns)} it may not lie: {why}" for why, turns in refused.items()]
    help_words = "" if refused else 'turn it if the cloth allows (turn = "quarter turns"), '
    return f"{'; '.join(words)}: {help_words}join it from two, or take wider cloth"


def _turns(turns: list[float]) -> str:
    return "at " + " and ".join(f"{turn:.0f}°" for turn in sorted(set(turns)))


def _finish(search: _Search, trial: _Trial) -> _Finished:
    assert trial.assembly is not None and trial.result is not None
    placements, length = trial.assembly.placements(trial.result.places)
    section = Section(with_length(trial.assembly, length), length, placements)
    return _Finished(
        trial.candidate.kind, (section,), trial.assembly, trial.result.bound.length, trial.result.bound.reason
    )


class _OpenCloth:
    """Open cloth, searched twice: at first by itself, at the end from the best of all other lays opened out."""

    def __init__(self, search: _Search) -> None:
        self.search = search
        self.trial = _Trial(Candidate("open"), _assembled(search, Candidate("open")))

    def _opened(self, others: list[_Finished]) -> tuple[Place, ...] | None:
        """The layout of the other lay that takes least cloth, opened out."""
        assembly = self.trial.assembly
        assert assembly is not None
        for other in sorted(others, key=lambda f: _used(self.search, f)):
            lying: list[Lying] = []
            for section in other.sections:
                opened = opened_out(section, self.search.cloth, section.start)
                if opened is None:
                    break
                lying += opened
            else:
                places = places_from(lying, assembly)
                if len(places) == len(assembly.jobs):
                    return assembly.from_zero(tuple(sorted(places, key=lambda p: p.item)))
        return None

    def run(self, share: float, others: list[_Finished], *, until_end: bool = False) -> None:
        """Search on, with all workers, for ``share`` of the time (or what is left of it)."""
        from nesting.packing.search.search import solve

        search, assembly, last = self.search, self.trial.assembly, self.trial.result
        assert assembly is not None
        begins = [b for b in (_begin(search, assembly) if last is None else last.places, self._opened(others)) if b]
        begin = min(begins, key=lambda places: _extent(places, assembly.problem.items), default=None)

        def better(_: float, length: float, __: tuple[Place, ...]) -> None:
            search.tell("open cloth", share, length)

        search.tell("open cloth", 1.0 - share if until_end else 0.0)
        stop = share_of(search.options, share)
        left = search.share_left() if until_end else None
        if left is not None:
            stop = replace(stop, seconds=max(0.1, left * (search.options.seconds or 0.0)))
        try:
            result = solve(
                assembly.problem,
                stop,
                seed=search.options.seed + (7 if until_end else 0),
                workers=search.options.workers if search.pool is not None else 1,
                executor=search.pool,
                start=begin,
                on_better=better,
                bound=search.open_bound(),
            )
        except NeverFits as error:
            piece = assembly.jobs[error.item].needs[0].cut.piece.label
            raise CannotLayError(why_never(search.order, assembly, error), piece=piece) from None
        except PackingError as error:
            raise CannotLayError(str(error), key=search.cloth.name) from None
        if last is None or result.length <= last.length:
            self.trial.result = result
        if result.stopped_by == "interrupted":
            search.interrupted()

    def finished(self) -> _Finished:
        """The best open lay so far."""
        return _finish(self.search, self.trial)


def _extent(places: tuple[Place, ...], items: tuple[Item, ...]) -> float:
    return max(p.x + float(items[p.item].poses[p.pose].ring[:, 0].max()) for p in places)


def _used(search: _Search, finished: _Finished) -> float:
    if finished.kind == "sections":
        return finished.lay_length
    return cloth_used(finished.kind, search.cloth, finished.lay_length)


def _buy(search: _Search, finished: _Finished) -> float:
    if finished.kind == "sections":
        return buy_length("open", search.cloth, finished.lay_length)
    return buy_length(finished.kind, search.cloth, finished.lay_length)


def _handling(finished: _Finished) -> tuple[int, int, int]:
    """(placements, folds, pieces to trace again): a half that is opened out, or a left cut after its right."""
    placements = [p for s in finished.sections for p in s.placements]
    folds = sum(len(s.spread.folds) for s in finished.sections)
    again = sum(p.opened for p in placements)
    seen: set[tuple[str, str, str | None, int]] = set()
    for p in placements:
        key = (p.piece, p.garment, p.size, p.copy)
        if key in seen and not p.opened:
            again += 1
        seen.add(key)
    return len(placements), folds, again


def _choose(
    search: _Search,
    finished: list[_Finished],
    refused: tuple[Refusal, ...],
    counts: Mapping[tuple[str, str | None], int],
) -> Lay:
    """The easiest lay among those whose length to buy is least."""
    by_kind: dict[SpreadName, _Finished] = {}
    for f in finished:
        old = by_kind.get(f.kind)
        if old is None or _ease_key(search, f) < _ease_key(search, old):
            by_kind[f.kind] = f
    best = min(by_kind.values(), key=lambda f: _ease_key(search, f))
    tried = [
        SpreadTried(
            f.kind,
            f.lay_length,
            _buy(search, f),
            utilisation(f.sections, search.cloth.width_washed),
            _handling(f),
            chosen=f is best,
        )
        for f in by_kind.values()
    ]
    tried += [SpreadTried(r.kind, None, None, None, None, refused=r.reason) for r in refused if r.kind not in by_kind]
    buy = _buy(search, best)
    bound, reason = _bound(search, best)
    placements = [p for s in best.sections for p in s.placements]
    cloth = search.cloth
    return Lay(
        title=search.order.title,
        cloth=cloth.name,
        width=cloth.width,
        width_washed=cloth.width_washed,
        usable_width=cloth.usable_width,
        sections=best.sections,
        lay_length=best.lay_length,
        buy_length=buy,
        lower_bound=min(bound, best.lay_length),
        bound_reason=reason,
        utilisation=utilisation(best.sections, cloth.width_washed),
        garments=garment_shares(placements, dict(counts), buy),
        order_file=search.order.path.name if search.order.path is not None else None,
        order_sha256=search.order.sha256,
        seed=search.options.seed,
        seconds=time.monotonic() - search.begun,
        gap=cloth.gap,
        end_allowance=cloth.end_allowance,
        selvage=cloth.selvage,
        repeat_along=cloth.repeat_along,
        repeat_across=cloth.repeat_across,
        remnant=search.remnant.name if search.remnant is not None else None,
        imperial=search.order.imperial,
        tried=tuple(tried),
        notes=_notes(search, by_kind, best),
    )


def _ease_key(search: _Search, finished: _Finished) -> tuple[float, int, int, float]:
    placements, folds, again = _handling(finished)
    # cutting one ply and leaving the ply under it is slow work: it counts as two outlines more
    effort = placements + again + 2 * _on_one_of_two(finished)
    return (round(_buy(search, finished), 3), effort, folds, finished.lay_length)


def _on_one_of_two(finished: _Finished) -> int:
    """Placements that are cut from one ply where another lies above or below."""
    count = 0
    for section in finished.sections:
        for p in section.placements:
            low, high = min(y for _, y in p.outline), max(y for _, y in p.outline)
            for ply in section.spread.plies:
                ys = [y for _, y in ply.region]
                if ply.ply not in p.plies and p.follows is None and min(high, max(ys)) - max(low, min(ys)) > 1.0:
                    count += 1
                    break
    return count


def _shared_bound(search: _Search, kind: SpreadName) -> Bound | None:
    """The open bound for a lay of this spread, whose plies share it."""
    bound = search.open_bound()
    return None if bound is None else replace(bound, length=bound.length / full_widths(kind, search.cloth))


def _bound(search: _Search, finished: _Finished) -> tuple[float, str]:
    """A bound on the lay length: any lay opens out into an open one of the same cloth, so the open bound holds, shared
    among the lengths of cloth that lie on one another."""
    bound = search.open_bound()
    if bound is None:
        return (finished.bound or 0.0, finished.reason)
    lengths = full_widths(finished.kind, search.cloth)
    return bound.length / lengths, bound.reason


def _what_rules_cost(search: _Search, lay: Lay) -> tuple[str, ...]:
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
        counts = _counted(search.stacks)
        without.append(("matching the repeat", plain, stacks_of(plain, cloth, counts)))
    if any(s.needs[0].follower is not None for s in search.stacks):
        without.append(("cutting together", order, stacks_of(order, cloth, _counted(search.stacks), apart=True)))
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
        length = _say(search, max(0.0, full_widths(kind, cloth) * (lay.lay_length - min(lengths))))
        notes.append(f"{what} costs about {length} of cloth against a lay without it, on the same spread")
    return tuple(notes)


def _counted(stacks: tuple[Stack, ...]) -> dict[tuple[str, str | None], int]:
    copies: dict[tuple[str, str | None], set[int]] = {}
    for stack in stacks:
        first = stack.needs[0]
        copies.setdefault((first.garment, first.size), set()).update(n.copy for n in stack.needs)
    return {key: len(found) for key, found in copies.items()}


def _say(search: _Search, mm: float) -> str:
    return _length(search.order, mm)


def _length(order: Order, mm: float) -> str:
    return format_length(mm, imperial=order.imperial, step="1/8 in" if order.imperial else "cm")


def _notes(search: _Search, by_kind: Mapping[SpreadName, _Finished], best: _Finished) -> tuple[str, ...]:
    notes: list[str] = []
    seen: set[str] = set()
    if best.assembly is not None:
        for label, turn, why in best.assembly.refused_turns:
            text = f"{label}: {turn:.0f}° is refused: {why}"
            if text not in seen:
                seen.add(text)
                notes.append(text)
    shortest = min(by_kind.values(), key=lambda f: _used(search, f))
    extra = _used(search, best) - _used(search, shortest)
    if shortest is not best and extra > 5.0:
        notes.append(
            f"the {shortest.kind} lay takes {_say(search, extra)} less cloth on the table, but no less has to be "
            f"bought; the {best.kind} is easier to cut"
        )
    from nesting.planning.layout.repeats import unmatched_sides

    notes += unmatched_sides(search.order, search.cloth, sorted({s.cut.size for s in search.stacks}, key=str))
    if search.cloth.nap == "none" and any(s.cut.needs_stretch is not None for s in search.stacks):
        notes.append('many makers cut knits one way; this order says nap = "none", so pieces may lie up or down')
    return tuple(notes)
