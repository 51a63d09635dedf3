"""The stages of laying one cloth.

Open cloth by itself; a first layout of every folded candidate; a short run of the best candidates of each spread, side
by side, and a longer one of the two that are best then; at last open cloth again, from the best of all lays opened out,
so that it is never longer than any of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from concurrent.futures import Future
from concurrent.futures import wait as wait_for
from dataclasses import replace
from functools import partial

from nesting.cloth.spreads import Refusal, sound_spreads
from nesting.model.errors import CannotLayError
from nesting.model.findings import Reason
from nesting.model.lay import Section
from nesting.model.order import SpreadName
from nesting.packing.problem import Bound, Item, NeverFits, PackingError, Place, Result, Stop, outline_of
from nesting.packing.search.pool import forks
from nesting.planning.layout.assemble import Assembly, with_length
from nesting.planning.layout.bounding import shared
from nesting.planning.layout.candidates import Candidate, candidates_for
from nesting.planning.layout.jobs import JobStyle
from nesting.planning.layout.options import share_of
from nesting.planning.layout.runs import NO_BOUND, run_search
from nesting.planning.layout.showing import show
from nesting.planning.layout.starts import Lying, opened_out, place_missing, places_from
from nesting.planning.layout.trials import Finished, Search, Trial, assembled, used_by
from nesting.planning.layout.wording import why_never, why_refused
from nesting.planning.layout.yardage import cloth_used

__all__ = ["first_lay", "try_all", "warm_for"]

#: shares of the time: open cloth at first by itself, at the end from the best of all lays; folds take what is between
OPEN_FIRST = 0.45
_OPEN_LAST = 0.25
#: share of the folds' time that is divided among the best candidates of all spreads
_EACH = 0.35
#: seconds for each piece: with less, what a search of each fold would get is worth more on open cloth
_SHORT = 0.13
#: share of so short a time that is left to the first layouts of folds
_FIRST_OF_FOLDS = 0.2
#: with more pieces than that, first layouts of folds take too long to be made in so short a time
_MANY = 100
_NO_TIME = "not tried: in so short a time it is better spent on open cloth"
#: seconds of search for each candidate of a spread
_PER_CANDIDATE = 4.0


def try_all(
    search: Search,
    kinds: tuple[SpreadName, ...],
    refusals: tuple[Refusal, ...],
    forced: SpreadName | None,
) -> tuple[list[Finished], tuple[Refusal, ...]]:
    """Lays of every spread, and why others cannot be; CannotLayError where none can."""
    refused = list(refusals)
    helpers = _helpers(search, forced)
    folded = tuple(k for k in dict.fromkeys((*kinds, *helpers)) if k not in ("open", "sections"))
    others = bool(folded) or "sections" in kinds
    short, many = others and _short(search), _pieces(search) > _MANY
    opener = None
    if "open" in kinds:
        try:
            opener = _OpenCloth(search)
            if short:
                opener.run(1.0, [], until_end=True, kept=0.0 if many else _FIRST_OF_FOLDS)
            else:
                opener.run(OPEN_FIRST if others else 1.0, [])
            if opener.trial.used <= (search.options.enough or 0.0):
                return [opener.finished()], tuple(refused)
        except CannotLayError as error:
            opener = None
            refused.append(Refusal("open", error.reason))
    spent = OPEN_FIRST if opener is not None else 0.0
    tried = () if opener is not None and short and many else folded
    trials = _candidates(search, tried)
    for_folds = (1.0 - _OPEN_LAST if opener is not None else 1.0) - spent
    # A first layout of each candidate, which takes no search, shows which of them are worth the time.
    _run_side_by_side(search, trials, None, "trying spreads")
    best_of = _worth_a_search(trials, tried)
    finished: list[Finished] = []
    if "sections" in kinds:
        made, why = _sections(search, best_of, spent, beside_open=opener is not None)
        finished += made
        refused += why
    if opener is None or not _short(search):
        _search_folds(search, best_of, for_folds, _OPEN_LAST if opener is not None else 0.0)
    made, why = _folded(search, trials, folded, tried)
    finished += made
    refused += why
    if opener is not None:
        try:
            if short:
                opener.begin_from(finished)
            elif others:
                opener.run(_OPEN_LAST, finished, until_end=True)
            finished.append(opener.finished())
        except CannotLayError as error:
            refused.append(Refusal("open", error.reason))
    wanted = [f for f in finished if f.kind in kinds]
    if not wanted:
        raise _nothing_lies(search, refused)
    return wanted, tuple(r for r in refused if r.kind in kinds or forced is None)


def _folded(
    search: Search, trials: Sequence[Trial], kinds: Iterable[SpreadName], tried: Sequence[SpreadName]
) -> tuple[list[Finished], list[Refusal]]:
    """The lays of folded cloth, and why there is none of a spread."""
    finished: list[Finished] = []
    refused: list[Refusal] = []
    for kind in kinds:
        here = [t for t in trials if t.candidate.kind == kind]
        done = [_finish(search, t) for t in here if t.result is not None]
        finished += done
        if kind not in tried:
            refused.append(Refusal(kind, Reason(_NO_TIME, code="spread.no-time")))
        elif not done:
            refused.append(Refusal(kind, _all_of([t.refused for t in here if t.refused])))
    return finished, refused


def _sections(
    search: Search, best_of: Sequence[Trial], spent: float, *, beside_open: bool
) -> tuple[list[Finished], list[Refusal]]:
    """A lay in sections, or why there is none."""
    from nesting.planning.layout.sections import sectioned

    if beside_open and _short(search):
        return [], [Refusal("sections", Reason(_NO_TIME, code="spread.no-time"))]
    search.tell("sections", spent)
    flaps = [t.candidate for t in best_of if t.candidate.kind == "partial fold"]
    made, why = sectioned(search.listed, search.cloth, search.stacks, search.options, search.pool, flaps)
    if made is None:
        assert why is not None
        return [], [Refusal("sections", why)]
    found = Finished("sections", made, None)
    show(search, "sections", found.lay_length, lambda: found)
    return [found], []


def _short(search: Search) -> bool:
    """Whether the time is so short that folds beside open cloth get a first layout only."""
    seconds = search.options.seconds
    if search.options.rounds is not None or seconds is None:
        return False
    return seconds < _SHORT * _pieces(search)


def _pieces(search: Search) -> int:
    return sum(len(stack.needs) for stack in search.stacks)


def _search_folds(search: Search, best_of: list[Trial], share: float, kept: float) -> None:
    """Search the folded candidates for ``share`` of the time, or what is left of it when ``kept`` is kept back: a
    little for each, the rest for the two that are best then."""
    left = search.share_left()
    if left is not None:
        # first layouts and sections took theirs
        share = min(share, max(0.1, left - kept))
    _run_side_by_side(search, best_of, share * _EACH, "better lays of each spread")
    leading = sorted((t for t in best_of if t.promising), key=_trial_rank)[:2]
    _run_side_by_side(search, leading, share * (1.0 - _EACH), "better lays of the best spreads", again=True)


def _helpers(search: Search, forced: SpreadName | None) -> tuple[SpreadName, ...]:
    """Spreads that are searched only because the forced one begins from their lays."""
    if forced == "open" and search.remnant is None and not search.keep:
        # open cloth begins from folded lays within its own time, even where only it may be returned
        return tuple(k for k in sound_spreads(search.cloth)[0] if k in ("lengthwise fold", "partial fold"))
    return ("lengthwise fold",) if forced == "sections" else ()


def _worth_a_search(trials: Sequence[Trial], kinds: Iterable[SpreadName]) -> list[Trial]:
    """By their first layouts: the best of each spread."""
    best_of: list[Trial] = []
    for kind in kinds:
        here = [t for t in trials if t.candidate.kind == kind and t.promising]
        ranked = sorted(here, key=_trial_rank)
        best_of += ranked[:1]
        # the plain way of a lengthwise fold is the easiest to cut, so it is searched whatever its first layout is
        best_of += [t for t in here[:1] if kind == "lengthwise fold" and t not in ranked[:1]]
    return best_of


def _all_of(reasons: Sequence[Reason]) -> Reason:
    """Every candidate's reason in one; the code and figures of the first."""
    if not reasons:
        return Reason("no piece gives a flap of sensible depth", code="spread.no-flap")
    return replace(reasons[0], message="; ".join(dict.fromkeys(reason.message for reason in reasons)))


def _nothing_lies(search: Search, refused: Sequence[Refusal]) -> CannotLayError:
    """One reason, the plainest: that of open cloth, or of the first spread; the others are only named. What is cut
    together takes two plies, so that the reason of a fold is the one to tell."""
    plain = [r for r in refused if _says_more(r.reason) and r.kind != "sections"] or refused
    first = next((r for r in plain if r.kind == "open"), plain[0])
    others = [r.kind for r in refused if r is not first]
    also = f" Nor does it lie on: {', '.join(dict.fromkeys(others))}." if others else ""
    return CannotLayError(
        f"cloth '{search.cloth.name}' cannot be laid. {first.kind}: {first.reason}.{also}",
        code="cloth.no-spread",
        figures={"spread": first.kind, "because": first.reason.code},
    )


def _says_more(reason: Reason) -> bool:
    """Whether it tells more than that this spread has no second ply to cut together on."""
    return reason.code != "together.spread"


def _trial_rank(trial: Trial) -> tuple[float, float]:
    # within a tenth of a millimetre the style that was asked for first (the easier one) wins
    style = trial.candidate.style
    return (round(trial.used, 1), style.open_halves + 2.0 * (1.0 - style.pairs))


def _most(search: Search) -> int | None:
    """How many candidates of a spread are tried: in a short time few, as each one's first layout takes of it."""
    seconds = search.options.seconds
    return None if seconds is None else max(2, int(seconds / _PER_CANDIDATE))


def _candidates(search: Search, kinds: Iterable[SpreadName]) -> list[Trial]:
    trials: list[Trial] = []
    for kind in kinds:
        for candidate in candidates_for(kind, search.stacks, search.cloth)[: _most(search)]:
            trial = Trial(candidate)
            try:
                trial.assembly = assembled(search, candidate)
            except CannotLayError as error:
                trial.refused = error.reason
            trials.append(trial)
    return trials


def warm_for(search: Search) -> None:
    """Work out here what the workers need, before they are forked from this process and have it from the beginning."""
    from nesting.packing.search.workers import packed, prepared

    if search.pool is None or not forks():
        return
    halves = any(s.cut.on_fold for s in search.stacks)
    for candidate in (Candidate("lengthwise fold", (), JobStyle(open_halves=halves)), Candidate("open")):
        if candidate.kind != "open" and _short(search) and not search.cloth.tubular:
            continue
        if search.remnant is not None or (search.cloth.tubular and candidate.kind == "open"):
            continue
        try:
            problem = assembled(replace(search, keep=()), candidate).problem
            prepared(*packed(problem))
        except (CannotLayError, PackingError):
            continue


def first_lay(search: Search, kinds: tuple[SpreadName, ...]) -> None:
    """Tell the length of a plain first lay at once, so that people see that it goes and where it starts."""
    from nesting.packing.search.search import solve

    if search.options.on_progress is None and search.options.on_lays is None:
        return
    for kind in kinds:
        if kind == "sections":
            continue
        for candidate in candidates_for(kind, search.stacks, search.cloth)[:3]:
            try:
                assembly = assembled(search, candidate)
                found = solve(assembly.problem, Stop(seconds=0.0), seed=search.options.seed, bound=NO_BOUND)
            except (CannotLayError, PackingError):
                continue
            search.tell("first lay", 0.0, cloth_used(kind, search.cloth, found.length))
            first = _finish(search, Trial(candidate, assembly, found))
            show(search, kind, first.lay_length, partial(_same, first))
            return


def _run_side_by_side(
    search: Search, trials: list[Trial], share: float | None, doing: str, *, again: bool = False
) -> None:
    """Each trial once, one worker each, all within ``share`` of the time (None: first layouts only); results only ever
    get better. ``again``: they go on from what they have, with other random numbers."""
    ready = [t for t in trials if t.assembly is not None]
    if not ready:
        return
    lanes = max(1, search.options.workers) if search.pool is not None else 1
    stop = Stop(seconds=0.0) if share is None else share_of(search.options, share / math.ceil(len(ready) / lanes))
    futures: dict[Future[Result | NeverFits | PackingError], Trial] = {}
    for number, trial in enumerate(ready):
        assert trial.assembly is not None
        begin = trial.result.places if trial.result is not None else _begin(search, trial.assembly)
        seed = search.options.seed * 1009 + number + 500 * again
        # a first layout takes no time in which it could be of use
        bound = NO_BOUND if share is None else _shared_bound(search, trial.candidate.kind)
        until = replace(stop, length=search.enough_on(trial.candidate.kind))
        search.tell(doing, number / len(ready))
        if search.pool is None:
            _take(search, trial, run_search(trial.assembly.problem, until, seed, begin, bound))
        else:
            futures[search.pool.submit(run_search, trial.assembly.problem, until, seed, begin, bound)] = trial
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


def _begin(search: Search, assembly: Assembly) -> tuple[Place, ...] | None:
    if not search.start or search.remnant is not None:
        return None
    places = places_from(search.start, assembly)
    full = place_missing(places, assembly) if places else None
    return None if full is None else assembly.from_zero(full)


def _take(search: Search, trial: Trial, outcome: Result | NeverFits | PackingError) -> None:
    if isinstance(outcome, Result):
        if trial.result is None or outcome.length <= trial.result.length:
            trial.result = outcome
        search.tell(f"{trial.candidate.kind}", 0.5, trial.used)
        result = trial.result
        show(search, trial.candidate.kind, result.length, lambda: _finish(search, trial))
    elif trial.result is None:
        trial.refused = why_refused(search, trial, outcome)
        trial.open_question = not isinstance(outcome, NeverFits)


def _same(finished: Finished) -> Finished:
    return finished


def _laid(trial: Trial, assembly: Assembly, places: tuple[Place, ...]) -> Finished:
    """A layout of the trial as a lay, its search not ended."""
    placements, length = assembly.placements(places)
    return Finished(trial.candidate.kind, (Section(with_length(assembly, length), length, placements),), assembly)


def _finish(search: Search, trial: Trial) -> Finished:
    assert trial.assembly is not None and trial.result is not None
    placements, length = trial.assembly.placements(trial.result.places)
    section = Section(with_length(trial.assembly, length), length, placements)
    return Finished(trial.candidate.kind, (section,), trial.assembly)


class _OpenCloth:
    """Open cloth, searched twice: at first by itself, at the end from the best of all other lays opened out."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self.trial = Trial(Candidate("open"), assembled(search, Candidate("open")))

    def _opened(self, others: list[Finished]) -> tuple[Place, ...] | None:
        """The layout of the other lay that takes least cloth, opened out."""
        assembly = self.trial.assembly
        assert assembly is not None
        for other in sorted(others, key=lambda f: used_by(self.search, f)):
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

    def run(self, share: float, others: list[Finished], *, until_end: bool = False, kept: float = 0.0) -> None:
        """Search on, with all workers, for ``share`` of the time, or what is left of it but for the share ``kept``."""
        from nesting.packing.search.search import solve

        search, assembly, last = self.search, self.trial.assembly, self.trial.result
        assert assembly is not None
        begins = [b for b in (_begin(search, assembly) if last is None else last.places, self._opened(others)) if b]
        begin = min(begins, key=lambda places: _extent(places, assembly.problem.items), default=None)

        def better(_: float, length: float, places: tuple[Place, ...]) -> None:
            search.tell("open cloth", share, length)
            show(search, "open", length, lambda: _laid(self.trial, assembly, places))

        search.tell("open cloth", 1.0 - share if until_end else 0.0)
        stop = share_of(search.options, share, length=search.enough_on("open"))
        left = search.share_left() if until_end else None
        if left is not None:
            stop = replace(stop, seconds=max(0.1, (left - kept) * (search.options.seconds or 0.0)))
        try:
            result = solve(
                assembly.problem,
                stop,
                seed=search.options.seed + (7 if until_end else 0),
                workers=search.options.workers if search.pool is not None else 1,
                executor=search.pool,
                start=begin,
                on_better=better,
                bound=search.known_bound() or search.open_bound,
            )
        except NeverFits as error:
            piece = assembly.jobs[error.item].needs[0].cut.piece.label
            raise CannotLayError(
                why_never(search.listed, assembly, error), piece=piece, code="piece.too-large"
            ) from None
        except PackingError as error:
            raise CannotLayError(str(error), key=search.cloth.name, code="cloth.no-layout") from None
        if last is None or result.length <= last.length:
            self.trial.result = result
        if result.stopped_by == "interrupted":
            search.interrupted()

    def begin_from(self, others: list[Finished]) -> None:
        """Take the best of the other lays, opened out, if it is shorter: open cloth is never longer than a fold."""
        from nesting.packing.search.search import solve

        assembly, last = self.trial.assembly, self.trial.result
        begin = self._opened(others)
        assert assembly is not None and last is not None
        if begin is not None and _extent(begin, assembly.problem.items) < last.length:
            found = solve(assembly.problem, Stop(seconds=0.0), start=begin, bound=last.bound)
            self.trial.result = min(last, found, key=lambda result: result.length)

    def finished(self) -> Finished:
        """The best open lay so far."""
        return _finish(self.search, self.trial)


def _extent(places: tuple[Place, ...], items: tuple[Item, ...]) -> float:
    return max(p.x + float(outline_of(items[p.item].poses[p.pose])[:, 0].max()) for p in places)


def _shared_bound(search: Search, kind: SpreadName) -> Bound:
    """The open bound for a lay of this spread, whose plies share it."""
    return shared(search.open_bound(), kind, search.cloth)
