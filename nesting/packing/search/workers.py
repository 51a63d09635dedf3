"""Slices of search: what a worker process does, as pure functions of what it is sent.

A worker's whole memory travels with each slice, so that any process of any ``concurrent.futures.Executor`` can take the
next one and a run by rounds repeats exactly. Only what follows from the problem alone (tables, fields, programmes)
stays in the process, in a small cache.
"""

from __future__ import annotations

import hashlib
import pickle
import threading
import time
from collections import OrderedDict
from dataclasses import dataclass

from nesting.packing.kernel.arrays import Model, part_of, prepare, repeated
from nesting.packing.kernel.fields import Fields
from nesting.packing.problem import Problem
from nesting.packing.search.compact import Compactor
from nesting.packing.search.explore import Explorer, Layout, Memory

__all__ = ["Prepared", "Slice", "SliceResult", "packed", "part", "prepared", "run_slice"]

_KEPT = 3


@dataclass(eq=False)
class Prepared:
    """What follows from a problem alone."""

    model: Model
    fields: Fields
    compactor: Compactor


@dataclass(frozen=True, eq=False)
class Slice:
    """A piece of work: ``rounds`` attempts at most, none begun after ``seconds``, all given up after ``left``.

    It goes on from ``memory`` (None: it begins) and ``best``.
    ``fallback`` is a plain valid layout, for when no random one can be separated.

    ``problem`` is pickled; ``target``: stop at this length (internal units). ``items``: only these of its items;
    ``repeats``: these over and over, at the shortest period.
    """

    problem: bytes
    key: str
    seed: int
    rounds: int
    seconds: float | None
    left: float | None
    memory: Memory | None
    best: Layout | None
    fallback: Layout | None
    target: float
    items: tuple[int, ...] | None = None
    repeats: bool = False


@dataclass(frozen=True, eq=False)
class SliceResult:
    """The worker's memory after the slice, and the better layouts that it found.

    ``betters``: (seconds since the slice began, layout) of each, in order. ``last``: the latest layout tried, with
    overlaps.
    """

    memory: Memory | None
    betters: tuple[tuple[float, Layout], ...]
    last: Layout | None
    rounds: int


_cache: OrderedDict[str, Prepared] = OrderedDict()
_lock = threading.Lock()


def packed(problem: Problem) -> tuple[bytes, str]:
    """The problem as bytes, and the key under which processes remember what they prepared for it."""
    data = pickle.dumps(problem, protocol=pickle.HIGHEST_PROTOCOL)
    return data, hashlib.sha256(data).hexdigest()


def prepared(data: bytes, key: str, model: Model | None = None, deadline: float | None = None) -> Prepared | None:
    """Tables, fields and programmes of a problem, from this process's cache if they are there.

    None if ``deadline`` (perf_counter) came before all fields were built.
    """
    with _lock:  # an executor may run slices in threads
        found = _cache.get(key)
        if found is None:
            model = prepare(pickle.loads(data)) if model is None else model
            fields = Fields(model)
            if not fields.build(deadline):
                return None
            fields.tables()
            found = Prepared(model, fields, Compactor(model))
            _cache[key] = found
            while len(_cache) > _KEPT:
                _cache.popitem(last=False)
        _cache.move_to_end(key)
        return found


def part(have: Prepared, items: tuple[int, ...] | None, repeats: bool = False) -> Prepared:
    """What was prepared, for some of the items (None: all), or for these over and over: it serves them as it is."""
    if items is None:
        return have
    model = part_of(have.model, items)
    if repeats:
        model = repeated(model)
    return Prepared(model, have.fields, have.compactor.for_part(model))


def run_slice(task: Slice) -> SliceResult:
    """Do one slice."""
    began = time.perf_counter()
    until = None if task.left is None else began + task.left
    have = prepared(task.problem, task.key, None, until)
    if have is None:
        return SliceResult(task.memory, (), None, 0)
    have = part(have, task.items, task.repeats)
    explorer = Explorer(have.model, have.fields, have.compactor, task.seed)
    if task.memory is not None:
        explorer.recall(task.memory)
    explorer.fallback = task.fallback
    if task.best is not None:
        explorer.adopt(task.best)
    if until is not None:
        explorer.deadline = until
    betters = []
    done = 0
    while done < task.rounds:
        if explorer.round() and explorer.incumbent is not None:
            betters.append((time.perf_counter() - began, explorer.incumbent))
            if explorer.incumbent.length <= task.target or have.model.length is not None:
                done += 1
                break
        done += 1
        now = time.perf_counter()
        if now >= explorer.deadline or (task.seconds is not None and now >= began + task.seconds):
            break
    return SliceResult(explorer.memory(), tuple(betters), explorer.keep(0.0), done)
