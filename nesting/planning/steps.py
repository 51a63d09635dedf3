"""Progress of a longer piece of work of many searches: which step is under way, and how long the rest takes."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

from nesting.planning.options import Progress, SearchOptions

__all__ = ["OnStep", "Steps", "seconds_each"]

#: Seconds. A search gets at most the usual time of one row, and not less than what a first good lay takes.
USUAL_SECONDS = 5.0
LEAST_SECONDS = 0.5


def seconds_each(budget: float, steps: float) -> float:
    """The time of each of so many steps, s, so that all of them take about ``budget`` s: 5 s, less where there are
    many, and not below half a second, whatever that comes to."""
    return max(LEAST_SECONDS, min(USUAL_SECONDS, budget / max(steps, 1.0)))


class Steps:
    """Tells ``tell`` of every step of ``total`` in all, and while it lasts. A step of weight 1 searches for the seconds
    in ``options`` (None where rounds are counted); what steps really took corrects the time that is left."""

    def __init__(self, options: SearchOptions, total: float) -> None:
        self._tell, self._seconds = options.on_progress, options.seconds
        self.total = total
        self.done = 0.0
        self._weight = 0.0
        self._said = Progress("", "", 0.0, None)
        self._begun = time.monotonic()
        self._step_begun = self._begun

    def searching(self, options: SearchOptions) -> SearchOptions:
        """The options with which the steps search: what these tell becomes news of the whole."""
        return replace(options, on_progress=None if self._tell is None else self._tick)

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
        elif self._seconds is not None:
            each = self._seconds
        else:
            return None
        return max(0.0, rest * each - (now - self._step_begun))


#: (cloth, what is done, how much it weighs against a row's search)
OnStep = Callable[[str, str, float], None]
