"""What a session asks for, what it tells while it runs, and what it gives in the end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from nesting.model.errors import NestingError
from nesting.model.lay import Lay, SpreadTried
from nesting.model.order import SpreadName

if TYPE_CHECKING:
    from nesting.proof import Verdict

__all__ = [
    "BatchWork",
    "Better",
    "BuyWork",
    "Event",
    "Finished",
    "LayWork",
    "Progressed",
    "Proved",
    "Reading",
    "Refused",
    "RemnantsWork",
    "Result",
    "SoFar",
    "Tried",
    "Work",
]


@dataclass(frozen=True)
class LayWork:
    """Lay the order; ``start`` is a lay of one cloth to begin from, ``keep`` stays where it has it."""

    spread: SpreadName | None = None
    start: Lay | None = None
    keep: tuple[tuple[str, int] | str, ...] = ()


@dataclass(frozen=True)
class BuyWork:
    """What to buy at ``widths`` mm; ``budget`` s for all rows together, None: the options' seconds for each.
    ``what_if``: also what changes of the order would save."""

    widths: tuple[float, ...] = ()
    budget: float | None = None
    what_if: bool = False


@dataclass(frozen=True)
class RemnantsWork:
    """Whole garments from the order's remnants (those of a stash added to the order before)."""


@dataclass(frozen=True)
class BatchWork:
    """A plan in sections and plies, leftovers first where the order has any; ``budget`` as for BuyWork."""

    budget: float | None = None


Work = LayWork | BuyWork | RemnantsWork | BatchWork


@dataclass(frozen=True)
class Event:
    """Something that a session tells; ``at``: seconds since it began."""

    at: float = field(default=0.0, kw_only=True)


@dataclass(frozen=True)
class Reading(Event):
    """The search is getting ready; ``note`` says with what. ``compiling``: once after installation, which takes nothing
    from the seconds of the search."""

    note: str
    compiling: bool = False


@dataclass(frozen=True)
class Progressed(Event):
    """How far it is: ``share`` 0 to 1; ``length`` mm of cloth of the best lay so far, None before the first."""

    cloth: str
    doing: str
    share: float
    length: float | None


@dataclass(frozen=True)
class Tried(Event):
    """A row of the table of spreads of ``cloth`` that is new or better."""

    cloth: str
    row: SpreadTried


@dataclass(frozen=True)
class Better(Event):
    """The best lays so far, one for each cloth of the order, with all placements. Their proof comes at the end."""

    lays: tuple[Lay, ...]


@dataclass(frozen=True)
class SoFar(Event):
    """What there is so far of an answer: a Buying, a RemnantPlan, or a Batch."""

    answer: Any


@dataclass(frozen=True)
class Refused(Event):
    """It cannot be done: ``error`` says why; ``code`` is its kind, ``figures`` where it is."""

    code: str
    error: BaseException
    figures: dict[str, str | None]


@dataclass(frozen=True)
class Proved(Event):
    """The lay of ``cloth`` stands its proof."""

    cloth: str
    verdict: Verdict


@dataclass(frozen=True)
class Result:
    """What a session gives.

    ``lays`` with their ``verdicts``: proved. ``answer``: a Buying, RemnantPlan or Batch where that was the
    work. ``stopped``: it was ended before its time, and this is the best that was known. ``seconds`` it took.
    """

    lays: tuple[Lay, ...] = ()
    verdicts: tuple[Verdict, ...] = ()
    answer: Any = None
    stopped: bool = False
    seconds: float = 0.0

    def by_spread(self, cloth: str) -> dict[SpreadName, Lay]:
        """The best lay of each spread of ``cloth`` that was tried, the chosen one included; not proved yet but for that
        one. KeyError for a cloth that was not laid."""
        for lay in self.lays:
            if lay.cloth == cloth and lay.remnant is None:
                return {_kind(one): one for one in (*lay.others, lay)}
        raise KeyError(cloth)


@dataclass(frozen=True)
class Finished(Event):
    """It is over; ``result`` is None where it was refused, or stopped before there was a first lay."""

    result: Result | None


def _kind(lay: Lay) -> SpreadName:
    return lay.sections[0].spread.kind if len(lay.sections) == 1 else "sections"


def refused(error: BaseException, at: float) -> Refused:
    """The event for an error."""
    own = error if isinstance(error, NestingError) else None
    places: Sequence[str] = ("file", "piece", "key")
    return Refused(type(error).__name__, error, {p: getattr(own, p, None) for p in places}, at=at)
