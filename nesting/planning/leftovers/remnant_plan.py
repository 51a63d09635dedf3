"""What leftovers give, and what must still be bought: the nouns of a plan."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from nesting.model.lay import Lay

__all__ = ["Made", "RemnantPlan", "ToBuy", "Use"]


@dataclass(frozen=True)
class Made:
    """How many of one garment the remnants give, out of how many asked for (None: as many as there is cloth for)."""

    garment: str
    size: str | None
    made: int
    asked: int | None


@dataclass(frozen=True)
class Use:
    """One cloth piece and the remnant that it is cut from."""

    remnant: str
    garment: str
    size: str | None
    copy: int
    piece: str
    hand: str | None


@dataclass(frozen=True)
class ToBuy:
    """What of a cloth must still be bought, mm; ``reason`` where it cannot be laid, with no lengths then.
    ``apart_from``: it is counted as cut by itself, though the order cuts it together with that cloth."""

    cloth: str
    garments: tuple[tuple[str, int], ...]
    lay_length: float | None
    buy_length: float | None
    cost: float | None
    reason: str | None = None
    apart_from: str | None = None


@dataclass(frozen=True)
class RemnantPlan:
    """What the remnants give.

    ``lays`` has one lay for each remnant used, which says what it holds of each garment: by that and the order it is
    proved, also where the pieces of a garment, or left and right of a pair, come from different remnants. ``value``
    reached, ``bound`` what no plan can exceed (area, and what is proved
    not to lie); ``proved``: the value is the best there is. ``reason`` says why nothing (more) can be cut.
    ``unbound``: what the order asks of these pieces and leftovers do not keep to.
    """

    title: str
    imperial: bool
    made: tuple[Made, ...]
    uses: tuple[Use, ...]
    lays: tuple[Lay, ...]
    unused: tuple[str, ...]
    to_buy: tuple[ToBuy, ...]
    value: float
    bound: float
    proved: bool
    reason: str | None
    seconds: float = 0.0
    refused: tuple[str, ...] = field(default=())
    unbound: tuple[str, ...] = field(default=())
    #: whether ``value`` and ``bound`` are worths that the order gives garments, not numbers of them
    by_worth: bool = False

    @property
    def number(self) -> int:
        """Whole garments in all."""
        return sum(m.made for m in self.made)

    def as_dict(self) -> dict[str, Any]:
        """The plan as the JSON document shows it (mm)."""
        return {
            "number": self.number,
            "value": self.value,
            "bound": self.bound,
            "proved": self.proved,
            "reason": self.reason,
            "garments": [{"name": m.garment, "size": m.size, "made": m.made, "asked": m.asked} for m in self.made],
            "pieces": [
                {
                    "remnant": u.remnant,
                    "garment": u.garment,
                    "size": u.size,
                    "copy": u.copy,
                    "piece": u.piece,
                    "hand": u.hand,
                }
                for u in self.uses
            ],
            "unused": list(self.unused),
            "to_buy": [
                {
                    "cloth": b.cloth,
                    "garments": [{"garment": name, "count": n} for name, n in b.garments],
                    "lay_length": b.lay_length,
                    "buy_length": b.buy_length,
                    "cost": b.cost,
                    "reason": b.reason,
                    "apart_from": b.apart_from,
                }
                for b in self.to_buy
            ],
            "refused": list(self.refused),
            "unbound": list(self.unbound),
        }
