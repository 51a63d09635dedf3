"""When a search is too late: what comes before it is not its fault."""

from __future__ import annotations

import pytest

from nesting.planning.layout.options import SearchOptions
from nesting.session.session import CUT_SHORT, Session
from tests.session.test_session import small


@pytest.mark.parametrize(
    ("ready", "compiled", "deadline"),
    [(None, False, 13.0), (1.0, False, 13.0), (4.0, False, 13.0), (40.0, False, 49.0), (40.0, True, 53.0)],
)
def test_compiling_takes_nothing_from_the_time(ready: float | None, compiled: bool, deadline: float) -> None:
    """Of 12 s up to 4 s go to loading, and one second is forgiven; after 40 s of loading the search has 8 s, after 40 s
    of compiling all 12."""
    session = Session(small(), SearchOptions(seconds=12.0))
    session._ready, session._compiled = ready, compiled
    assert session._deadline() == pytest.approx(deadline)


def test_a_lay_that_was_cut_short_says_so() -> None:
    """Ended from outside as the time was over: it is proved, and its notes say that more may be had. One that came to
    its end has no such note."""
    session = Session(small(), SearchOptions(seconds=None, rounds=1, workers=1))
    whole = session.run()
    assert whole is not None and all(CUT_SHORT not in lay.notes for lay in whole.lays)
    session._late = True
    best = session._best()
    assert best is not None and all(verdict.ok for verdict in best.verdicts)
    assert all(CUT_SHORT in lay.notes for lay in best.lays)
