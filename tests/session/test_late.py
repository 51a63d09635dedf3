"""When a search is too late: what comes before it is not its fault."""

from __future__ import annotations

import pytest

from nesting.planning.layout.options import SearchOptions
from nesting.session.session import Session
from tests.session.test_session import small


@pytest.mark.parametrize(("ready", "deadline"), [(None, 13.0), (1.0, 13.0), (4.0, 13.0), (40.0, 49.0)])
def test_compiling_takes_nothing_from_the_time(ready: float | None, deadline: float) -> None:
    """Of 12 s up to 4 s go to loading, and one second is forgiven; the search has 8 s after 40 s of compiling."""
    session = Session(small(), SearchOptions(seconds=12.0))
    session._ready = ready
    assert session._deadline() == pytest.approx(deadline)
