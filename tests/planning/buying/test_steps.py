"""Progress of many searches: the step under way, and a guess of what is left that what happened corrects."""

from __future__ import annotations

import pytest

from nesting.planning.batch.cutting import batch, batch_work
from nesting.planning.buying import steps as module
from nesting.planning.buying.steps import Steps
from nesting.planning.layout.options import Progress, SearchOptions
from nesting.resolving.resolve import resolve
from tests.planning.area_lays import AreaLay
from tests.planning.buying.test_buy import shorts


class Clock:
    """A clock that stands still until it is moved."""

    def __init__(self):
        self.now = 100.0

    def __call__(self):
        """Seconds."""
        return self.now


@pytest.fixture
def clock(monkeypatch):
    """The clock that the steps see."""
    mine = Clock()
    monkeypatch.setattr(module.time, "monotonic", mine)
    return mine


@pytest.mark.parametrize(("total", "seconds"), [(60.0, 2.0), (4.0, 5.0), (5000.0, 0.5), (0.0, 5.0)])
def test_a_budget_is_shared_by_all_steps(clock, total, seconds):
    """Two minutes for 60 steps are 2 s each; few steps get the usual 5 s; very many half a second."""
    assert Steps(SearchOptions(seconds=9.0), total, 120.0).searching().seconds == seconds


def test_what_a_step_takes_beside_its_search_comes_out_of_the_budget(clock, monkeypatch):
    """120 s for 60 steps: 20 of them searched 2 s each and took 2.5 s. Of 70 s for 40 steps half a second each goes
    beside, so 1.25 s are left. Without a budget every search gets what was asked for."""
    given = []

    def laid(options):
        return lambda *_, share, **how: given.append(options.seconds * share)

    monkeypatch.setattr(module, "laying", laid)
    steps = Steps(SearchOptions(seconds=9.0), 60.0, 120.0)
    steps.begin("main", "rows", 20.0)
    steps.lay(shorts(), "main", share=15.0)
    steps.lay(shorts(), "main", share=5.0)
    assert given == [30.0, 10.0]
    clock.now += 50.0
    steps.begin("main", "rows", 20.0)
    assert steps.searching().seconds == pytest.approx(1.25)
    steps = Steps(SearchOptions(seconds=9.0), 60.0)
    assert steps.searching().seconds == 9.0


def test_the_time_left_is_told_and_corrected(clock):
    """Ten steps of 2 s: 20 s left; the first four took 3 s each instead, so the other six take 18 s."""
    told = []
    steps = Steps(SearchOptions(seconds=2.0, on_progress=told.append), 10.0)
    steps.begin("main", "rows 1 to 4 of 10", 4.0)
    assert told[-1] == Progress("main", "rows 1 to 4 of 10, about 20 s left", 0.0, None)
    clock.now += 5.0
    searching = steps.searching()
    assert searching.on_progress is not None
    searching.on_progress(Progress("main", "trying spreads", 0.9, 123.0))
    assert told[-1].doing == "rows 1 to 4 of 10, about 15 s left" and told[-1].share == pytest.approx(0.25)
    clock.now += 7.0
    steps.begin("lining", "rows 5 to 10 of 10", 6.0)
    assert told[-1].doing == "rows 5 to 10 of 10, about 18 s left" and told[-1].share == pytest.approx(12.0 / 30.0)
    clock.now += 100.0
    searching.on_progress(Progress("lining", "", 0.0, None))
    assert told[-1].doing.endswith("about 1 s left") and told[-1].share == 1.0


def test_rounds_tell_no_time_before_some_are_done(clock):
    """How long a round takes is not known beforehand."""
    told = []
    steps = Steps(SearchOptions(seconds=None, rounds=3, on_progress=told.append), 2.0)
    steps.begin("main", "one", 1.0)
    assert told[-1] == Progress("main", "one", 0.0, None)
    clock.now += 8.0
    steps.begin("main", "two", 1.0)
    assert told[-1].doing == "two, about 8 s left" and told[-1].share == pytest.approx(0.5)


def test_nobody_watching_is_told_nothing():
    """Without progress asked for the searches do not report either, which saves them a first lay."""
    options = SearchOptions(seconds=1.0)
    steps = Steps(options, 1.0)
    steps.begin("main", "one", 1.0)
    assert steps.searching().on_progress is None


def test_a_batch_tells_its_lays_and_comes_to_its_end():
    """Each lay by its number; cloths of fewer lays than thought are counted as done."""
    told = []
    order = shorts(3)
    steps = Steps(SearchOptions(seconds=None, rounds=1, on_progress=told.append), batch_work(resolve(order)))
    lay = AreaLay(0.8)
    batch(resolve(order), lay, steps=steps, seconds=1.0)
    assert len(told) == len(lay.calls) <= batch_work(resolve(order)) == 17
    assert told[0].doing.startswith("lay 1 of about 17")
    assert steps.done == steps.total


def test_what_is_told_before_the_first_step_has_words_too(clock):
    """A search that begins before any step was named: "begins, about 20 s left", not a bare comma."""
    told = []
    steps = Steps(SearchOptions(seconds=2.0, on_progress=told.append), 10.0)
    steps.searching().on_progress(Progress("main", "open cloth", 0.1, None))
    assert [p.doing for p in told] == ["begins, about 20 s left"]
