"""When a search takes what others found, when it gives up its own best, and what it never loses."""

from __future__ import annotations

from dataclasses import replace

import pytest

from nesting.packing.kernel import kernels
from nesting.packing.kernel.arrays import Model, prepare
from nesting.packing.kernel.fields import Fields
from nesting.packing.problem import Problem
from nesting.packing.search import moves
from nesting.packing.search.compact import Compactor
from nesting.packing.search.explore import Explorer, Layout
from nesting.packing.search.settings import SETTINGS, Settings
from tests.packing.judging import copies, ell, ply, rect


@pytest.fixture(scope="module")
def parts() -> tuple[Model, Fields, Compactor]:
    """A dozen pieces with many layouts of nearly the same length."""
    model = prepare(Problem((ply(),), copies(ell(40, 60, 15), 7) + copies(rect(23, 31), 5, "r")))
    fields = Fields(model)
    fields.build()
    return model, fields, Compactor(model)


def explorer(parts: tuple[Model, Fields, Compactor], seed: int, settings: Settings) -> Explorer:
    """One that has a layout."""
    found = Explorer(*parts, seed, settings=settings)
    while found.incumbent is None:
        found.round()
    return found


def shorter(layout: Layout, by: float) -> Layout:
    """The layout as if it were shorter."""
    return replace(layout, length=layout.length * (1.0 - by))


def test_together_it_takes_what_others_found(parts: tuple[Model, Fields, Compactor]) -> None:
    """Something better takes the place of the best at once, something worse does not."""
    one = explorer(parts, 1, SETTINGS)
    own = one.incumbent
    assert own is not None and not one.alone()
    one.adopt(replace(own, length=own.length * 1.01))
    assert one.incumbent is own and one.record is own
    told = shorter(own, 0.02)
    one.adopt(told)
    assert one.incumbent is told and one.record is told


def test_later_it_goes_its_own_way_and_remembers(parts: tuple[Model, Fields, Compactor]) -> None:
    """A better layout of another is known, but what it works on stays its own; its own next best is told to nobody
    as long as it is longer than that one."""
    one = explorer(parts, 2, replace(SETTINGS, together=1 / 12))
    while not one.alone():
        one.round()
    own = one.incumbent
    assert own is not None
    told = shorter(own, 0.5)
    one.adopt(told)
    assert one.incumbent is own and one.record is told
    told_of = [one.round() for _ in range(80)]
    assert one.incumbent is not None and one.incumbent.length < own.length
    assert not any(told_of) and one.record is told


def test_stagnation_leads_to_a_restart_unless_a_better_layout_is_known(parts: tuple[Model, Fields, Compactor]) -> None:
    """Perturbations without a new best lead to a fresh random layout; if that stagnates, to the best that is known."""
    one = explorer(parts, 3, replace(SETTINGS, together=1 / 12, restart=5 / 12))
    for _ in range(60):
        if one.restarts:
            break
        one.round()
    first = one.record
    assert first is not None and one.restarts == 1 and one.alone()
    assert one.incumbent is not None
    assert one.incumbent.length > first.length, "a random layout is longer than a perturbed one"
    assert one.step == SETTINGS.step and one.idle == 0
    low = replace(first, length=0.9 * first.length)
    one.adopt(low)
    assert one.incumbent is not low
    one.idle = 5
    one.round()
    assert one.restarts == 2 and one.incumbent is low and one.record is low
    one.idle = 5
    one.round()
    assert one.restarts == 3 and one.incumbent is not low and one.record is low


def test_the_best_known_never_becomes_longer(parts: tuple[Model, Fields, Compactor]) -> None:
    """Over many fresh beginnings the record only falls, and a round says so exactly when it does."""
    one = explorer(parts, 4, replace(SETTINGS, restart=2 / 12))
    assert one.record is not None
    before = one.record.length
    for _ in range(150):
        said = one.round()
        assert one.record.length <= before
        assert said == (one.record.length < before)
        before = one.record.length
    assert one.restarts > 4
    one.take(one.record)
    assert parts[2].overlap(one.state) <= 5e-9


def test_a_search_goes_on_from_its_memory_as_if_it_had_not_stopped(parts: tuple[Model, Fields, Compactor]) -> None:
    """Sixty rounds in one go, and each third round in a new explorer, through several fresh beginnings."""
    settings = replace(SETTINGS, together=1 / 4, restart=1 / 3)
    whole = explorer(parts, 5, settings)
    begun = whole.memory()
    for _ in range(60):
        whole.round()
    memory = begun
    for _ in range(20):
        again = Explorer(*parts, 99, settings=settings)
        again.recall(memory)
        for _ in range(3):
            again.round()
        memory = again.memory()
    assert whole.restarts > 1
    assert memory.restarts == whole.restarts and memory.perturbations == whole.perturbations
    assert memory.rng == whole.memory().rng
    assert memory.record is not None and whole.record is not None
    assert memory.record.length == whole.record.length


def test_a_window_holds_a_handful_however_many_pieces_there_are() -> None:
    """Of pieces in a row, at most ten change places, next to each other; of few, at most 30 % of the length."""
    for count, most in ((80, 10), (8, 4)):
        model = prepare(Problem((ply(),), copies(rect(2, 3), count)))
        one = Explorer(model, Fields(model), Compactor(model), 6)
        length = 10.0 * count
        moved = []
        for _ in range(60):
            for k in range(count):
                kernels.put(model.tables, one.state, k, int(one.state.var[k]), 10.0 * k + 5.0, 50.0)
            moves.shuffle_window(model, one.state, length)
            at = [k for k in range(count) if one.state.cx[k] != 10.0 * k + 5.0]
            if at:
                moved.append(at[-1] - at[0] + 1)
        assert 2 <= max(moved) <= most
        assert len(moved) > 20
