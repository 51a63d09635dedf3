"""Better lays are shown while the search goes on."""

from __future__ import annotations

import time
from collections.abc import Callable

from nesting.model.order import SpreadName
from nesting.planning.layout.choice import choose
from nesting.planning.layout.trials import Finished, Search

__all__ = ["show"]

#: seconds between two lays that are shown, and at least so many times what showing the last one took: the workers need
#: the processors more
EVERY = 0.2
_TIMES = 6.0


def show(search: Search, kind: SpreadName, length: float, make: Callable[[], Finished]) -> None:
    """Tell of the best lay so far, if this one, ``length`` mm long, is better than the last of its spread and the last
    was shown long enough ago. ``make`` gives it whole."""
    tell = search.options.on_lays
    if tell is None or (search.kinds and kind not in search.kinds):
        return
    old = search.shown.get(kind)
    now = time.monotonic()
    if (old is not None and old.lay_length <= length + 1e-9) or (
        search.shown_at is not None and now - search.shown_at < max(EVERY, _TIMES * search.showing)
    ):
        return
    search.shown[kind] = make()
    tell((choose(search, list(search.shown.values()), search.refusals, search.counts, ended=False),))
    search.shown_at = time.monotonic()
    search.showing = search.shown_at - now
