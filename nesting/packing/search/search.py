"""``solve``: the one way into the optimiser."""

from __future__ import annotations

import contextlib
import logging
import math
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ALL_COMPLETED, FIRST_COMPLETED, Executor, Future, wait
from dataclasses import replace
from typing import Literal, NamedTuple

from nesting.packing.bounds.bounds import lower_bound
from nesting.packing.kernel import kernels
from nesting.packing.kernel.arrays import SIDE, Model, part_of, prepare, repeated
from nesting.packing.problem import Bound, NoLayoutFound, OnBetter, PackingError, Place, Problem, Result, Stop
from nesting.packing.search import check, first, large
from nesting.packing.search.explore import Explorer, Layout, Memory, extent
from nesting.packing.search.pool import forks, own_workers
from nesting.packing.search.repeats import Blocks, unrolled
from nesting.packing.search.warm import warm_up
from nesting.packing.search.workers import Slice, SliceResult, packed, part, prepared, run_slice

__all__ = ["solve"]

log = logging.getLogger(__name__)
_Reason = Literal["seconds", "rounds", "length", "bound", "interrupted"]

AskBound = Callable[[], Bound | None]

#: seconds: the first slice of a worker, and the longest
_SLICE = (0.3, 2.0)
#: rounds of each worker between two exchanges of the best layout, when rounds are counted
_EXCHANGE = 5
#: share of the time that is spent on the lower bound, and seconds at most
_BOUND = (0.03, 1.0)
#: a layout this little above the bound has reached it (rounding of the exact finish)
_AT_BOUND = 1e-8
#: of a large problem: share of the time for its parts; a layout that covers this much of the cloth is not begun anew
_PARTS = 0.7
#: shares of that after which the whole is put together, so that there is something early
_GOES = (0.05, 0.2, 0.75)
_DENSE = 0.78
_UNKNOWN = Bound(0.0, "not worked out")
#: times the problem's tolerance: a layout this little above a bound less tolerances leaves nothing worth a search
_NEAR_BOUND = 4.0


def solve(
    problem: Problem,
    stop: Stop,
    *,
    seed: int = 0,
    workers: int = 1,
    executor: Executor | None = None,
    start: tuple[Place, ...] | None = None,
    on_better: OnBetter | None = None,
    bound: Bound | AskBound | None = None,
) -> Result:
    """The shortest layout that the search finds before ``stop``; any layout if the length is fixed.

    ``workers`` searches run side by side and share the best layout: on ``executor``, any executor of
    ``concurrent.futures`` (default: processes of our own; with one worker and no executor, right here). ``start`` is
    a layout to begin with; it is checked, and left aside if it does not hold. ``on_better`` hears of each better
    layout. With ``stop.rounds`` (of all workers together) and no other limit the same seed and number of workers give
    the same layout. ``bound`` is a bound that the caller has proven already, as working one out takes time which short
    runs of many problems do not have; or what works one out when asked (None: there is none), for which workers on an
    ``executor`` do not wait. ``KeyboardInterrupt`` ends the search with the best layout so far.

    Raises NeverFits if some item does not even fit alone, NoLayoutFound if a fixed container was not filled in time,
    PackingError if the problem contradicts itself, ValueError without a limit or without workers.
    """
    if stop.seconds is None and stop.rounds is None:
        raise ValueError("a search needs a limit: seconds or rounds")
    if workers < 1:
        raise ValueError(f"a search needs at least one worker, not {workers}")
    warm_up(log.info)  # compiling and loading the kernels is start-up: it takes nothing from the time to search
    return _Run(problem, stop, seed, on_better, bound).solve(start, workers, executor)


class Part(NamedTuple):
    """Some of the items of a larger problem: their model, the problem as it was packed, which items they are, and
    whether they are laid over and over."""

    model: Model
    data: bytes
    key: str
    items: tuple[int, ...]
    repeats: bool = False


class _Run:
    """One call of ``solve``."""

    def __init__(
        self, problem: Problem, stop: Stop, seed: int, on_better: OnBetter | None,
        bound: Bound | AskBound | None, part: Part | None = None,
    ) -> None:  # fmt: skip
        self.began = time.perf_counter()
        self.problem, self.stop, self.seed, self.on_better = problem, stop, seed, on_better
        self.part = part
        self.model: Model = prepare(problem) if part is None else part.model
        self.bound = bound if isinstance(bound, Bound) else Bound(0.0, "no bound is known")
        #: works the bound out; None once it is known
        self._ask_bound = None if isinstance(bound, Bound) else self._lower_bound if bound is None else bound
        self.length = math.inf
        self.places: tuple[Place, ...] | None = None
        self.layout: Layout | None = None
        self.fallback: Layout | None = None
        self.last: Layout | None = None
        self.trace: list[tuple[float, float]] = []
        self.rounds = 0
        self.memory: list[Memory | None] = []

    # -- what is known

    @property
    def _repeats(self) -> bool:
        return self.part is not None and self.part.repeats

    @property
    def _items(self) -> tuple[int, ...] | None:
        return None if self.part is None else self.part.items

    def elapsed(self) -> float:
        return time.perf_counter() - self.began

    @property
    def target(self) -> float:
        """The length, in the problem's unit, at which to stop."""
        return max(self.stop.length or 0.0, self._reached)

    @property
    def _reached(self) -> float:
        """The length at which the bound is reached: with no more above it than it leaves out for tolerances."""
        return self.bound.length * (1.0 + _AT_BOUND) + (
            _NEAR_BOUND * self.problem.tolerance if self.bound.length > 0.0 else 0.0
        )

    def _lower_bound(self) -> Bound:
        seconds = _BOUND[1] if self.stop.seconds is None else min(_BOUND[1], _BOUND[0] * self.stop.seconds)
        return lower_bound(self.problem, seconds=seconds)

    def learn_bound(self) -> None:
        """Work the bound out, unless it is known."""
        if self._ask_bound is not None:
            ask, self._ask_bound = self._ask_bound, None
            self.bound = ask() or self.bound

    def _learn_aside(self) -> None:
        """The same in a thread of its own, where nothing hears of an error: the search does without a bound then."""
        with contextlib.suppress(PackingError):
            self.learn_bound()

    def offer(self, layout: Layout) -> None:
        """Take a layout if it is shorter and passes the exact check."""
        if self._repeats:
            # checked with the whole that is made of it
            if self.layout is None or layout.length < self.layout.length:
                self.layout = layout
            return
        m = self.model
        places = tuple(
            self.problem.items[i].fixed or m.place(i, int(layout.var[i]), float(layout.cx[i]), float(layout.cy[i]))
            for i in range(m.n)
        )
        if self.offer_places(places):
            self.layout = layout

    def offer_places(self, places: tuple[Place, ...]) -> bool:
        length = check.extent(self.problem, places)
        if length >= self.length:
            return False
        wrong = check.faults(self.problem, places)
        if wrong:
            log.debug("a layout of length %.6g failed its check and was left aside: %s", length, "; ".join(wrong[:3]))
            return False
        self.length, self.places = length, places
        now = self.elapsed()
        self.trace.append((now, length))
        if self.on_better is not None:
            self.on_better(now, length, places)
        return True

    def reason(self) -> _Reason | None:
        """Why to stop now, None to go on."""
        if self.places is not None:
            if self.model.length is not None or (self.stop.length is not None and self.length <= self.stop.length):
                return "length"
            if self.length <= self._reached:
                return "bound"
        if self.stop.seconds is not None and self.elapsed() >= self.stop.seconds:
            return "seconds"
        if self.stop.rounds is not None and self.rounds >= self.stop.rounds:
            return "rounds"
        return None

    # -- the search

    def solve(self, start: tuple[Place, ...] | None, workers: int, executor: Executor | None) -> Result:
        reason: _Reason | None = None
        division = large.divided(self.model) if self.part is None else None
        try:
            if division is not None:
                return self._result(self._large(division, start, workers, executor))
            if start is not None and sorted(p.item for p in start) == list(range(self.model.n)):
                places = tuple(sorted(start, key=lambda p: p.item))
                if self.offer_places(places):
                    self.layout = self._layout(places)
            if self.layout is None:
                self._boxes()
            # only now, as the first layout should not wait for it; and workers need not either
            if executor is None or self.model.length is not None:
                self.learn_bound()
            room = math.inf if self.model.length is None else self.model.length / self.model.scale
            if self.places is None and self.bound.length > room * (1.0 + 1e-9):
                items = tuple(range(self.model.n))
                raise NoLayoutFound((), items, tuple(i.name for i in self.problem.items), self.bound.reason)
            reason = self.reason()
            if reason is None and not self.model.n:
                reason = "bound"
            if reason is None:
                reason = self._search(workers, executor)
        except KeyboardInterrupt:
            reason = "interrupted"
        return self._result(reason)

    def _result(self, reason: _Reason) -> Result:
        if self.places is None:
            raise self._nothing()
        return Result(self.length, self.places, self.bound, self.rounds, self.elapsed(), reason, tuple(self.trace))

    def _search(self, workers: int, executor: Executor | None) -> _Reason:
        data, key = packed(self.problem) if self.part is None else (self.part.data, self.part.key)
        if executor is not None:
            return self._side_by_side(executor, workers, data, key)
        until = None if self.stop.seconds is None else self.began + self.stop.seconds
        # before processes are forked, so that they have it, too
        have = prepared(data, key, None if self.part else self.model, until)
        if have is None:
            # a short run of a large problem: the first layout is all there is; the fields stay in the store
            return "seconds"
        have = part(have, self._items, self._repeats)
        if workers > 1:
            with own_workers(workers) as pool:
                return self._side_by_side(pool, workers, data, key)
        explorer = Explorer(have.model, have.fields, have.compactor, _mixed(self.seed, 0))
        explorer.fallback = self.fallback
        if self.memory and self.memory[0] is not None:
            explorer.recall(self.memory[0])
        elif self.layout is not None:
            explorer.adopt(self.layout)
        if self.stop.seconds is not None:
            explorer.deadline = self.began + self.stop.seconds
        while True:
            try:
                better = explorer.round()
            finally:
                self.last = explorer.keep(0.0)
            self.rounds += 1
            if better and explorer.incumbent is not None:
                self.offer(explorer.incumbent)
            reason = self.reason()
            if reason is not None:
                self.memory = [explorer.memory()]
                return reason

    # -- large problems: parts of them, then windows

    def ended(self) -> bool:
        """Whether it is time to stop."""
        return self.reason() is not None

    def holds(self, layout: Layout) -> bool:
        """Whether the layout is the best one known."""
        return self.layout is layout

    def _large(
        self, division: large.Division, start: tuple[Place, ...] | None, workers: int, executor: Executor | None
    ) -> _Reason:
        """Lays of the parts joined, then windows along the cloth. ``layout`` is always the best one that is known."""
        m = self.model
        data, key = packed(self.problem)
        given: Layout | None = None
        parts = [Part(part_of(m, items), data, key, items) for items in division.distinct]
        try:
            plain = [p for p in (_Run.boxed(part, self.seed) for part in parts) if p is not None]
            if len(plain) == len(parts):
                self.offer(large.joined(m, division, plain))
            if start is not None and sorted(p.item for p in start) == list(range(m.n)):
                places = tuple(sorted(start, key=lambda p: p.item))
                given = large.as_layout(m, places)
                if self.offer_places(places):
                    self.layout = given
            self.learn_bound()
            reason = self.reason()
            if reason is not None:
                return reason
            until = None if self.stop.seconds is None else self.began + self.stop.seconds
            if (executor is None or forks()) and prepared(data, key, m, until) is None:
                return "seconds"
            if executor is None and workers > 1:
                with own_workers(workers) as pool:
                    return self._in_parts(division, parts, given, workers, pool)
            return self._in_parts(division, parts, given, workers, executor)
        except KeyboardInterrupt:
            return "interrupted"

    @staticmethod
    def boxed(part: Part, seed: int) -> Layout | None:
        """A plain layout of a part."""
        run = _Run(part.model.problem, Stop(rounds=1), seed, None, None, part)
        run._boxes()
        return run.fallback

    def _in_parts(
        self, division: large.Division, parts: list[Part], given: Layout | None, workers: int,
        executor: Executor | None,
    ) -> _Reason:  # fmt: skip
        m, data, key = self.model, parts[0].data, parts[0].key
        covered = 0.0 if self.layout is None else m.area / (SIDE * self.layout.length)
        searched = given is not None and self.layout is given and covered > _DENSE
        ragged: tuple[Layout, Blocks] | None = None
        if not searched:
            if division.blocks is not None:
                ragged = self._without_ends(division.blocks, data, key, workers, executor)
            if ragged is None:
                self._with_ends(division, parts, workers, executor)
        reason = self.reason()
        if reason is None and self.layout is not None:
            large.improve(
                self, self.layout, data, key, workers, executor, division=None if searched or ragged else division,
                ragged=ragged,
            )  # fmt: skip
            reason = self.reason()
        return reason or "seconds"

    def _without_ends(
        self, blocks: Blocks, data: bytes, key: str, workers: int, executor: Executor | None
    ) -> tuple[Layout, Blocks] | None:
        """What is repeated at its shortest periods, unrolled, with what is left over behind it; None if some period was
        not found."""
        m, runs = self.model, []
        for number, items in enumerate(blocks.distinct):
            repeats = number < len(blocks.blocks)
            model = repeated(part_of(m, items)) if repeats else part_of(m, items)
            runs.append(self._part_run(Part(model, data, key, items, repeats), number))
        often = [k < len(blocks.blocks) for k in range(len(runs))]
        whole = self._search_parts(runs, often, lambda done: unrolled(m, blocks, done), workers, executor)
        return None if whole is None else (whole, blocks)

    def _with_ends(
        self, division: large.Division, parts: list[Part], workers: int, executor: Executor | None
    ) -> None:
        """Lays of the parts one after the other."""
        runs = [self._part_run(part, number) for number, part in enumerate(parts)]
        often = [k == 0 and bool(division.copies) for k in range(len(runs))]
        self._search_parts(runs, often, lambda done: large.joined(self.model, division, done), workers, executor)

    def _part_run(self, part: Part, number: int) -> _Run:
        run = _Run(part.model.problem, self.stop, _mixed(self.seed, 101 + number), None, _UNKNOWN, part)
        if not part.repeats:
            run._boxes()
            run.layout = run.fallback
        return run

    def _search_parts(
        self, runs: Sequence[_Run], often: Sequence[bool], whole: Callable[[list[Layout]], Layout], workers: int,
        executor: Executor | None,
    ) -> Layout | None:  # fmt: skip
        """Search parts and offer the ``whole`` that they make, a little of each first; None if
        nothing was found for one of them. ``often``: what is repeated is worth more than what comes once."""
        worth = [len(run._items or ()) * (3.0 if more else 1.0) for run, more in zip(runs, often, strict=True)]
        begun, counted = self.elapsed(), self.rounds
        made: Layout | None = None
        for share in (1.0,) if self.stop.rounds is not None else _GOES:
            for run, weight in zip(runs, worth, strict=True):
                own = share * _PARTS * weight / sum(worth)
                run.again(Stop(
                    None if self.stop.seconds is None else max(0.1, own * (self.stop.seconds - begun)),
                    None if self.stop.rounds is None else max(1, round(own * (self.stop.rounds - counted))),
                ), workers, executor)  # fmt: skip
            self.rounds = counted + sum(run.rounds for run in runs)
            done = [run.layout for run in runs if run.layout is not None]
            if len(done) == len(runs):
                made = whole(done)
                self.offer(made)
        return made

    def again(self, stop: Stop, workers: int, executor: Executor | None) -> None:
        """Go on with the search of a part from where it was, until ``stop`` from now on."""
        self.began = time.perf_counter()
        self.stop = replace(stop, rounds=None if stop.rounds is None else self.rounds + stop.rounds)
        self._search(workers, executor)

    def _side_by_side(self, executor: Executor, workers: int, data: bytes, key: str) -> _Reason:
        memory = self.memory = self.memory or [None] * workers
        length = [_SLICE[0]] * workers
        running: dict[Future[SliceResult], int] = {}
        together = self.stop.rounds is not None
        asking: threading.Thread | None = None

        def submit(w: int, rounds: int) -> None:
            left = None if self.stop.seconds is None else max(0.0, self.stop.seconds - self.elapsed())
            seconds = None if together else length[w]
            length[w] = min(_SLICE[1], length[w] * 1.5)
            task = Slice(data, key, _mixed(self.seed, w), rounds, seconds, left, memory[w], self.layout, self.fallback,
                         self.target * self.model.scale, self._items, self._repeats)  # fmt: skip
            running[executor.submit(run_slice, task)] = w

        try:
            while True:
                if together:
                    left = (self.stop.rounds or 0) - self.rounds
                    for w in range(workers):
                        share = min(_EXCHANGE, left // workers + (w < left % workers))
                        if share > 0:
                            submit(w, share)
                else:
                    for w in set(range(workers)) - set(running.values()):
                        submit(w, 1_000_000_000)
                if self._ask_bound is not None:
                    # by rounds the bound is known at the same moment each time
                    if together:
                        self.learn_bound()
                    else:
                        asking = threading.Thread(target=self._learn_aside, name="bound")
                        asking.start()
                    reason = self.reason()
                    if reason == "bound":
                        return reason
                wait(running, return_when=ALL_COMPLETED if together else FIRST_COMPLETED)
                self._collect(running, memory)
                reason = self.reason()
                if reason is not None:
                    return reason
        finally:
            for future in running:
                future.cancel()
            if asking is not None:
                asking.join()

    def _collect(self, running: dict[Future[SliceResult], int], memory: list[Memory | None]) -> None:
        finished = sorted((w, f) for f, w in running.items() if f.done())
        for w, future in finished:
            del running[future]
            result = future.result()
            memory[w] = result.memory
            self.rounds += result.rounds
            self.last = result.last or self.last
            for layout in _falling(result.betters):
                self.offer(layout)

    # -- layouts

    def _boxes(self) -> None:
        state = kernels.new_state(self.model.tables, len(self.model.obstacles), _mixed(self.seed, 0))
        first.choose_states(self.model, state)
        if first.boxes(self.model, state):
            # the search begins with random layouts of its own, which lead farther; this is to have something at once
            before = self.layout
            layout = Layout(extent(self.model, state), state.cx.copy(), state.cy.copy(), state.var, state.group)
            self.offer(layout)
            if self.layout is layout:
                self.layout, self.fallback = before, layout

    def _layout(self, places: tuple[Place, ...]) -> Layout | None:
        """The layout as arrays; None with a tilt that the search does not use (it is then only the one to beat)."""
        m = self.model
        state = kernels.new_state(m.tables, len(m.obstacles), _mixed(self.seed, 0))
        first.choose_states(m, state)
        for p in places:
            wanted = self.problem.items[p.item].poses[p.pose].state
            g = int(m.tables.i_group[p.item])
            if g >= 0 and wanted is not None:
                state.group[g] = wanted
        for p in places:
            found = m.find(p)
            if found is None:
                return None
            kernels.put(m.tables, state, p.item, *found)
        return Layout(extent(m, state), state.cx.copy(), state.cy.copy(), state.var, state.group)

    def _nothing(self) -> NoLayoutFound:
        """What remains of the latest attempt when items that overlap are taken out, the largest staying first."""
        m, last = self.model, self.last
        kept: list[Place] = []
        if last is not None:
            for i in sorted(range(m.n), key=lambda i: (not m.tables.i_fixed[i], -m.tables.i_size[i], i)):
                place = self.problem.items[i].fixed or m.place(
                    i, int(last.var[i]), float(last.cx[i]), float(last.cy[i])
                )
                if not check.faults(self.problem, (*kept, place)):
                    kept.append(place)
        have = {p.item for p in kept}
        missing = tuple(i for i in range(m.n) if i not in have)
        return NoLayoutFound(
            tuple(sorted(kept, key=lambda p: p.item)), missing, tuple(self.problem.items[i].name for i in missing)
        )


def _falling(betters: Iterable[tuple[float, Layout]]) -> list[Layout]:
    """The last layout first: if it holds, the earlier, longer ones need no check."""
    return [layout for _, layout in reversed(list(betters))]


def _mixed(seed: int, worker: int) -> int:
    """A start for worker ``worker``'s random numbers; worker 0 of a run differs from worker 1 of the run before."""
    return (seed * 1_000_003 + worker * 7_919 + 12_345) % (1 << 62)
