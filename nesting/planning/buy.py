"""What to buy: length by width, spread and nap.

Glossary
    *length to buy*: (lay length + end allowances) / (1 − lengthwise shrinkage), rounded up to the shop's increment
    (the lay itself carries it). *Row*: one cloth in one width, with one nap, in one spread.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

from nesting.cloth.spreads import sound_spreads
from nesting.errors import CannotLayError, UnitsError
from nesting.laid import Lay
from nesting.order import Cloth, Nap, Order, SpreadName
from nesting.planning.curve import (
    CURVE_COUNTS,
    Curve,
    adding_sequence,
    counts_at,
    curve,
    next_garment,
    on_cloth,
)
from nesting.planning.laying import LayOne, cloths_used, garment_label, with_counts
from nesting.planning.trims import TrimNeed, trim_needs
from nesting.planning.yardage import buy_length
from nesting.units import parse_length

__all__ = ["BuyRow", "Buying", "RefusedRow", "buy", "of_one_garment", "parse_widths"]

#: Part of a row's time that goes into the lay itself; the rest finds what one more garment would add.
ROW_SHARE = 2.0 / 3.0


@dataclass(frozen=True)
class BuyRow:
    """One line of the table. Lengths mm. ``cost`` in the order's currency, None without a price. ``one_more``: what
    the ``next_garment`` would add to the length to buy, None where it cannot be laid. ``best``: the row to go by."""

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
        }


@dataclass(frozen=True)
class RefusedRow:
    """A row that cannot be had, and why. ``spread`` None: the whole cloth."""

    cloth: str
    width: float
    nap: Nap
    spread: SpreadName | None
    reason: str

    def as_dict(self) -> dict[str, Any]:
        """The refusal as the JSON document shows it."""
        return {
            "cloth": self.cloth,
            "width": self.width,
            "spread": self.spread,
            "nap": self.nap,
            "reason": self.reason,
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

    def as_dict(self) -> dict[str, Any]:
        """The JSON document, mm. ``curve`` is that of the first cloth; ``curves`` has one for each."""
        return {
            "rows": [row.as_dict() for row in self.rows],
            "curve": self.curves[0].as_dicts() if self.curves else [],
            "trims": [trim.as_dict() for trim in self.trims],
            "refused": [row.as_dict() for row in self.refused],
            "curves": [
                {
                    "cloth": c.cloth,
                    "spread": c.spread,
                    "points": c.as_dicts(),
                    "one_more": c.one_more,
                    "free": list(c.free),
                }
                for c in self.curves
            ],
        }


def parse_widths(text: str, units: str) -> tuple[float, ...]:
    """Cloth widths in mm from a list such as "90cm,115cm,150cm" or "44 in, 60 in"; bare numbers are in ``units``.

    Raises UnitsError for a width that cannot be read or is not above zero.
    """
    widths: list[float] = []
    for part in text.split(","):
        width = parse_length(part.strip(), units)
        if width <= 0.0:
            raise UnitsError(f"found the width {part.strip()!r}; a cloth is wider than that: check the list of widths")
        widths.append(width)
    return tuple(dict.fromkeys(widths))


def _with_cloth(order: Order, cloth: Cloth) -> Order:
    return replace(order, cloths=tuple(cloth if c.name == cloth.name else c for c in order.cloths))


def of_one_garment(order: Order, name: str, size: str | None, count: int) -> Order:
    """The order with ``count`` of one garment alone. KeyError if there is no such garment."""
    kept = [g for g in order.garments if g.name == name and g.size == size][:1]
    if not kept:
        raise KeyError((name, size))
    return replace(order, garments=(replace(kept[0], count=count),))


def buy(
    order: Order,
    lay: LayOne,
    *,
    widths: Sequence[float] = (),
    naps: Sequence[Nap] = (),
    spreads: Sequence[SpreadName] = (),
    curve_counts: int = CURVE_COUNTS,
    one_more: bool = True,
) -> Buying:
    """The whole of what to buy for an order: every cloth that some garment uses, a lining or second cloth included.

    ``widths`` in mm as sold (none: the cloth's own); ``naps``, the first being the one to go by (none: the cloth's own
    and, where it has none, also "one way", to show what a nap would cost); ``spreads`` (none: all sound ones but
    sections). ``one_more`` False and ``curve_counts`` 0 leave those parts out. Rows that cannot be laid are listed with
    the reason, never dropped.
    """
    rows: list[BuyRow] = []
    refused: list[RefusedRow] = []
    curves: list[Curve] = []
    for name in cloths_used(order):
        cloth = order.cloth_named(name)
        own: Lay | None = None
        best: list[BuyRow] = []
        wanted_naps = tuple(dict.fromkeys(naps or _usual_naps(cloth)))
        for width in dict.fromkeys(widths or (cloth.width,)):
            for nap in wanted_naps:
                changed = replace(cloth, width=width, nap=nap)
                found, no, laid = _rows(order, changed, lay, spreads, one_more, own=nap == wanted_naps[0])
                best += [row for row in found if row.own][:1]
                rows += found
                refused += no
                if width == cloth.width and nap == cloth.nap:
                    own = laid
        if best:
            first = min(best, key=lambda r: (r.cost if r.cost is not None else r.buy_length, r.lay_length))
            rows = [replace(r, best=True) if r is first else r for r in rows]
        if curve_counts > 0:
            one = _own_curve(order, cloth, lay, own, curve_counts)
            if isinstance(one, Curve):
                curves.append(one)
            elif not any(r.cloth == name and r.width == cloth.width for r in refused):
                refused.append(one)
    return Buying(order.title, order.imperial, tuple(rows), tuple(refused), tuple(curves), trim_needs(order))


def _usual_naps(cloth: Cloth) -> tuple[Nap, ...]:
    return ("none", "one way") if cloth.nap == "none" else (cloth.nap,)


def _own_curve(order: Order, cloth: Cloth, lay: LayOne, known: Lay | None, counts: int) -> Curve | RefusedRow:
    # Open cloth holds for every spread: a folded lay opens out. A lay found before counts, whatever its spread.
    sound = sound_spreads(cloth)[0]
    spread: SpreadName = "open" if "open" in sound or not sound else sound[0]
    try:
        return curve(order, cloth.name, lay, spread=spread, known=known, counts=counts)
    except CannotLayError as error:
        return RefusedRow(cloth.name, cloth.width, cloth.nap, spread, str(error))


def _rows(
    order: Order, cloth: Cloth, lay: LayOne, spreads: Sequence[SpreadName], one_more: bool, *, own: bool
) -> tuple[list[BuyRow], list[RefusedRow], Lay | None]:
    """Rows of one cloth in one width and nap, the least to buy first, and the lay to go by.

    All spreads are laid together, in the time of all their rows, as they profit from each other.
    """
    asked = replace(cloth, spreads=tuple(spreads)) if spreads else cloth
    sound, unsound = sound_spreads(asked)
    refused = [RefusedRow(cloth.name, cloth.width, cloth.nap, r.kind, r.reason) for r in unsound]
    if not spreads and len(sound) > 1:
        # A lay in sections is planned only where it is asked for: it takes many times as long to find.
        sound = tuple(kind for kind in sound if kind != "sections")
    if not sound:
        return [], refused, None
    part = _with_cloth(on_cloth(order, cloth.name), replace(cloth, spreads=sound))
    total = sum(g.count for g in part.garments)
    sequence = adding_sequence([g.count for g in part.garments])
    try:
        found = lay(part, cloth.name, share=len(sound) * (ROW_SHARE if one_more else 1.0))
    except CannotLayError as error:
        refused.append(RefusedRow(cloth.name, cloth.width, cloth.nap, None, str(error)))
        return [], refused, None
    after = _after_one_more(part, cloth, lay, found, sequence, len(sound)) if one_more else {}
    rows: list[BuyRow] = []
    for tried in found.tried:
        if tried.lay_length is None or tried.buy_length is None:
            reason = tried.refused or "not laid"
            refused.append(RefusedRow(cloth.name, cloth.width, cloth.nap, tried.kind, reason))
            continue
        lengths, adds = (tried.lay_length, tried.buy_length), None
        if tried.kind in after:
            # The larger lay serves the smaller order as well.
            lengths = min(lengths, after[tried.kind])
            adds = after[tried.kind][1] - lengths[1]
        rows.append(
            BuyRow(
                cloth.name,
                cloth.width,
                cloth.nap,
                tried.kind,
                total,
                *lengths,
                None if cloth.price is None else round(lengths[1] / cloth.price_unit * cloth.price, 2),
                adds,
                garment_label(next_garment(part, sequence, total)),
                (tried.utilisation or 0.0) * tried.lay_length / lengths[0],
                own,
            )
        )
    # What is as short to buy is ranked by ease, as the lay is that was chosen.
    chosen = next((t.kind for t in found.tried if t.chosen), None)
    rows.sort(key=lambda r: (r.buy_length, r.spread != chosen, r.lay_length))
    return rows, refused, found


def _after_one_more(
    part: Order, cloth: Cloth, lay: LayOne, found: Lay, sequence: Sequence[int], spreads: int
) -> dict[SpreadName, tuple[float, float]]:
    """(lay length, length to buy) of each spread with the next garment added; without those that cannot be had.

    Laid together, or the next garment laid by itself behind the others, whichever is shorter.
    """
    total = sum(g.count for g in part.garments)
    alone = [0] * len(part.garments)
    alone[sequence[total]] = 1
    shares = (1.0 - ROW_SHARE) * spreads
    after: dict[SpreadName, tuple[float, float]] = {}
    with suppress(CannotLayError):
        counts = counts_at(part, sequence, total + 1)
        more = lay(with_counts(part, counts), cloth.name, start=found, share=0.75 * shares)
        after = {t.kind: (t.lay_length, t.buy_length) for t in more.tried if t.lay_length and t.buy_length}
    with suppress(CannotLayError):
        single = {t.kind: t.lay_length for t in lay(with_counts(part, alone), cloth.name, share=0.25 * shares).tried}
        for tried in found.tried:
            one = single.get(tried.kind)
            # Other spreads may be folded to another depth, or have the one fold edge in the other place.
            if tried.lay_length is None or one is None or tried.kind not in ("open", "lengthwise fold"):
                continue
            behind = tried.lay_length + cloth.gap + one
            if cloth.length is None or behind + 2.0 * cloth.end_allowance <= cloth.length * (1.0 - cloth.shrink_along):
                lengths = (behind, buy_length(tried.kind, cloth, behind))
                after[tried.kind] = min(after.get(tried.kind, lengths), lengths)
    return after
