"""The table of what to buy: its rows, what is refused, and all of it as one document.

Glossary
    *length to buy*: (lay length + end allowances) / (1 − lengthwise shrinkage), rounded up to the shop's increment
    (the lay itself carries it). *Row*: one cloth in one width, with one nap, in one spread.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from nesting.model.findings import Reason
from nesting.model.order import Nap, SpreadName
from nesting.planning.buying.curve import Curve
from nesting.planning.buying.trims import TrimNeed
from nesting.planning.buying.what_if import Saving, Told

__all__ = ["BuyRow", "Buying", "RefusedRow"]


@dataclass(frozen=True)
class BuyRow:
    """One line of the table. Lengths mm. ``cost`` in the order's currency, None without a price. ``one_more``: the
    marginal length, what the ``next_garment`` would add to the length to buy, None where it cannot be laid. ``own``: a
    row to choose from, not for comparison only; ``best``: the row to go by.

    A second cloth whose pieces are cut together with leaders of another has two kinds of rows: ``over`` names that
    other cloth where it is laid over it (in so many ``patches``, unless that is 0), ``apart_from`` where it is cut by
    itself instead. ``in_all``: what a cloth that leads others costs with these, in the order's currency (mm to buy
    where a price is missing); the row to go by is chosen by that, and of equal ones it is ``led``: the lay with which
    the second cloth was laid.
    """

    cloth: str
    width: float
    nap: Nap
    spread: SpreadName
    garments: int
    lay_length: float
    buy_length: float
    cost: float | None
    one_more: float | None
    next_garment: str
    utilisation: float
    own: bool = True
    best: bool = False
    over: str | None = None
    apart_from: str | None = None
    in_all: float | None = None
    #: the lay length with the next garment, mm; None where it is not known
    more_length: float | None = None
    patches: int = 0
    led: bool = False

    @property
    def per_garment(self) -> float:
        """Length to buy per garment, mm."""
        return self.buy_length / self.garments

    def as_dict(self) -> dict[str, Any]:
        """The row as the JSON document shows it (mm)."""
        return {
            "cloth": self.cloth,
            "width": self.width,
            "spread": self.spread,
            "lay_length": self.lay_length,
            "buy_length": self.buy_length,
            "per_garment": self.per_garment,
            "cost": self.cost,
            "nap": self.nap,
            "garments": self.garments,
            "one_more": self.one_more,
            "next_garment": self.next_garment,
            "utilisation": self.utilisation,
            "best": self.best,
            "over": self.over,
            "patches": self.patches,
            "apart_from": self.apart_from,
            "in_all": self.in_all,
        }


@dataclass(frozen=True)
class RefusedRow:
    """A row that cannot be had, and why. ``spread`` None: the whole cloth."""

    cloth: str
    width: float
    nap: Nap
    spread: SpreadName | None
    why: Reason

    @property
    def reason(self) -> str:
        """Why, in words."""
        return self.why.message

    def as_dict(self) -> dict[str, Any]:
        """The refusal as the JSON document shows it."""
        return {
            "cloth": self.cloth,
            "width": self.width,
            "spread": self.spread,
            "nap": self.nap,
            "reason": self.reason,
            "code": self.why.code,
            "figures": dict(self.why.figures),
        }


@dataclass(frozen=True)
class Buying:
    """All that ``nesting buy`` tells. ``imperial``: people read yards and inches. ``title`` is the order's."""

    title: str
    imperial: bool
    rows: tuple[BuyRow, ...]
    refused: tuple[RefusedRow, ...]
    curves: tuple[Curve, ...]
    trims: tuple[TrimNeed, ...]
    #: what changes of the order would save, where that was asked for
    what_if: tuple[Saving, ...] | None = None

    @property
    def told(self) -> dict[str, Told]:
        """What is said first of each cloth, by its name."""
        return {r.cloth: Told(r.buy_length, r.next_garment, r.one_more) for r in self.rows if r.best}

    def as_dict(self) -> dict[str, Any]:
        """The JSON document, mm. ``curve`` is that of the first cloth; ``curves`` has one for each."""
        return {
            "rows": [row.as_dict() for row in self.rows],
            "curve": self.curves[0].as_dicts() if self.curves else [],
            "trims": [trim.as_dict() for trim in self.trims],
            "refused": [row.as_dict() for row in self.refused],
            **({} if self.what_if is None else {"what_if": [one.as_dict() for one in self.what_if]}),
            "curves": [
                {
                    "cloth": c.cloth,
                    "spread": c.spread,
                    "apart_from": c.apart_from,
                    "points": c.as_dicts(),
                    "one_more": c.one_more,
                    "free": list(c.free),
                }
                for c in self.curves
            ],
        }
