"""Progress of a longer piece of work of many searches: which step is under way, and how long the rest takes."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from typing import Unpack

from nesting.model.lay import Lay
from nesting.planning.layout.laying import LayHow, laying
from nesting.planning.layout.options import Progress, SearchOptions
from nesting.resolving.cutting_list import CuttingList

__all__ = ["USUAL_SECONDS", "OnStep", "Steps"]

#: Seconds. A search gets at most the usual time of one row, and not less than what a first good lay takes.
USUAL_SECONDS = 5.0
LEAST_SECONDS = 0.5
#: what is said before the first step has a name
_NOTHING_YET = "begins"


class Steps:
    """Tells of every step of ``total`` in all, and while it lasts. A step of weight 1 searches for the seconds in
    ``options`` (None where rounds are counted); what steps really took corrects the time that is left.

    With a ``budget``, s, for all of them, each gets what is left of that shared by the steps that are left, less what
    the steps so far took beside their searches: up to 5 s, and half a second at least, whatever that comes to.
    """

    def __init__(self, options: SearchOptions, total: float, budget: float | None = None) -> None:
        self._options, self._budget = options, budget
        self._tell, self._searched = options.on_progress, 0.0
        self.total = total
        self.done = 0.0
        self._weight = 0.0
        self._said = Progress("", _NOTHING_YET, 0.0, None)
        self._begun = time.monotonic()
        self._step_begun = self._begun

    def searching(self) -> SearchOptions:
        """The options with which the next search is made: its time, and what it tells becomes news of the whole."""
        seconds = self._options.seconds if self._budget is None else self._share_of_budget(self._budget)
        return replace(self._options, seconds=seconds, on_progress=None if self._tell is None else self._tick)

    def lay(self, listed: CuttingList, cloth: str, **how: Unpack[LayHow]) -> Lay:
        """Lays one cloth with these options; see ``LayOne``."""
        options = self.searching()
        self._searched += how.get("share", 1.0) * (options.seconds or 0.0)
        return laying(options)(listed, cloth, **how)

    def _share_of_budget(self, budget: float) -> float:
        spent = time.monotonic() - self._begun
        beside = max(0.0, self._step_begun - self._begun - self._searched) / self.done if self.done > 0.0 else 0.0
        each = (budget - spent) / max(self.total - self.done, 1.0) - beside
        return max(LEAST_SECONDS, min(USUAL_SECONDS, each))

    def begin(self, cloth: str, doing: str, weight: float) -> None:
        """The step before is done, the next one begins; it weighs so much."""
        self.done = min(self.total, self.done + self._weight)
        self._weight, self._step_begun = weight, time.monotonic()
        self._said = Progress(cloth, doing, 0.0, None)
        self._show()

    def reach(self, done: float) -> None:
        """The step before is the last of those that come to ``done``, even if there were fewer than thought."""
        self.done, self._weight = done, 0.0

    def _tick(self, _: Progress) -> None:
        self._show()

    def _show(self) -> None:
        if self._tell is None:
            return
        left = self.left()
        words = "" if left is None else f", about {max(1, round(left))} s left"
        spent = time.monotonic() - self._begun
        share = spent / (spent + left) if left is not None and spent + left > 0.0 else self.done / max(self.total, 1.0)
        self._tell(replace(self._said, doing=f"{self._said.doing}{words}", share=share))

    def left(self) -> float | None:
        """Seconds that the rest takes, about; None where nothing is known yet."""
        now = time.monotonic()
        rest = max(0.0, self.total - self.done)
        if self.done > 0.0:
            each = (self._step_begun - self._begun) / self.done
        elif self._budget is not None:
            each = self._share_of_budget(self._budget)
        elif self._options.seconds is not None:
            each = self._options.seconds
        else:
            return None
        return max(0.0, rest * each - (now - self._step_begun))


#: (cloth, what is done, how much it weighs against a row's search)
OnStep = Callable[[str, str, float], None]
