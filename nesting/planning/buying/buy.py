"""What to buy: length by width, spread and nap, for every cloth of an order.

A second cloth whose pieces are cut together with leaders of another is laid over it, as the lay of the whole order
does, at the width of the same name; cut by itself it is shown for comparison.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import product

from nesting.cloth.spreads import sound_spreads
from nesting.model.errors import CannotLayError, UnitsError
from nesting.model.findings import Reason
from nesting.model.lay import Lay
from nesting.model.order import Cloth, Nap, SpreadName
from nesting.model.units import format_width, parse_length, to_cents
from nesting.planning.buying.buy_over import LayOver, over_row
from nesting.planning.buying.buy_rows import Buying, BuyRow, RefusedRow
from nesting.planning.buying.curve import (
    CURVE_COUNTS,
    Curve,
    adding_sequence,
    counts_at,
    counts_measured,
    curve,
    next_garment,
)
from nesting.planning.buying.one_figure import one_figure
from nesting.planning.buying.steps import OnStep
from nesting.planning.buying.trims import trim_needs
from nesting.planning.cut_together.layered import lay_over
from nesting.planning.layout.laying import LayOne
from nesting.planning.layout.yardage import buy_length
from nesting.resolving.cutting_list import CuttingList

__all__ = ["buy", "buying_work", "parse_widths"]

#: Part of a row's time that goes into the lay itself; the rest finds what one more garment would add.
ROW_SHARE = 2.0 / 3.0
#: Rows' time for a second cloth laid over its leaders: for these once more, gathered, and for one garment more.
OVER_SHARE = 1.5


def parse_widths(text: str, units: str) -> tuple[float, ...]:
    """Cloth widths in mm from a list such as "90cm,115cm,150cm" or "44 in, 60 in"; bare numbers are in ``units``.

    Raises UnitsError for a width that cannot be read or is not above zero.
    """
    widths: list[float] = []
    for part in text.split(","):
        width = parse_length(part.strip(), units)
        if width <= 0.0:
            raise UnitsError(
                f"found the width {part.strip()!r}; a cloth is wider than that: check the list of widths",
                code="option.widths",
            )
        widths.append(width)
    return tuple(dict.fromkeys(widths))


@dataclass(frozen=True)
class _Table:
    """The rows of one cloth in one width and nap: ``sound`` spreads, one row each. ``at`` is the width asked for by all
    cloths, None where each is taken in its own."""

    cloth: Cloth
    at: float | None
    own: bool
    sound: tuple[SpreadName, ...]
    refused: tuple[RefusedRow, ...]


def _tables(
    listed: CuttingList, widths: Sequence[float], naps: Sequence[Nap], spreads: Sequence[SpreadName]
) -> tuple[_Table, ...]:
    tables: list[_Table] = []
    for name in listed.cloths_used:
        cloth = listed.cloth_named(name)
        wanted = tuple(dict.fromkeys(naps or _usual_naps(cloth)))
        for width, nap in product(dict.fromkeys(widths or (cloth.width,)), wanted):
            changed = replace(cloth, width=width, nap=nap)
            asked = replace(changed, spreads=tuple(spreads)) if spreads else changed
            sound, unsound = sound_spreads(asked)
            if not spreads and len(sound) > 1:
                # A lay in sections is planned only where it is asked for: it takes many times as long to find.
                sound = tuple(kind for kind in sound if kind != "sections")
            no = tuple(RefusedRow(name, width, nap, r.kind, r.reason) for r in unsound)
            tables.append(_Table(changed, width if widths else None, nap == wanted[0], sound, no))
    return tuple(tables)


def buying_work(
    listed: CuttingList,
    *,
    widths: Sequence[float] = (),
    naps: Sequence[Nap] = (),
    spreads: Sequence[SpreadName] = (),
    curve_counts: int = CURVE_COUNTS,
) -> float:
    """How much there is to search for in ``buy``, in times of one row."""
    tables = _tables(listed, widths, naps, spreads)
    work = float(sum(len(t.sound) for t in tables))
    work += OVER_SHARE * sum(t.own and listed.led_by(t.cloth.name) is not None for t in tables)
    for name in listed.cloths_used if curve_counts > 0 else ():
        work += len(counts_measured(sum(g.count for g in listed.on_cloth(name).garments), curve_counts))
    return work


def buy(
    listed: CuttingList,
    lay: LayOne,
    *,
    over: LayOver = lay_over,
    widths: Sequence[float] = (),
    naps: Sequence[Nap] = (),
    spreads: Sequence[SpreadName] = (),
    curve_counts: int = CURVE_COUNTS,
    one_more: bool = True,
    on_step: OnStep | None = None,
    on_rows: Callable[[Buying], None] | None = None,
) -> Buying:
    """The whole of what to buy for an order: every cloth that some garment uses, a lining or second cloth included.

    ``widths`` in mm as sold (none: the cloth's own); ``naps``, the first being the one to go by (none: the cloth's own
    and, where it has none, also "one way", to show what a nap would cost); ``spreads`` (none: all sound ones but
    sections). ``one_more`` False and ``curve_counts`` 0 leave those parts out. ``over`` lays second cloths over their
    leaders. ``on_step`` is told of every search, ``on_rows`` what there is after each.
    Rows that cannot be laid are listed with the reason, never dropped.
    """
    rows: list[BuyRow] = []
    refused: list[RefusedRow] = []
    laid: dict[tuple[str, float | None], Lay] = {}
    own: dict[str, Lay] = {}
    tables = _tables(listed, widths, naps, spreads)
    curves: list[Curve] = []

    def so_far() -> None:
        if on_rows is not None and rows:
            best = tuple(_with_the_best(listed, list(rows)))
            on_rows(Buying(listed.title, listed.imperial, best, tuple(refused), tuple(curves), trim_needs(listed)))

    every, number = sum(len(t.sound) for t in tables), 0
    for table in tables:
        name = table.cloth.name
        if on_step is not None and table.sound:
            wide = format_width(table.cloth.width, imperial=listed.imperial)
            nap = "" if table.cloth.nap == "none" else f", nap {table.cloth.nap}"
            last = number + len(table.sound)
            which = f"row {last}" if last == number + 1 else f"rows {number + 1} to {last}"
            on_step(name, f"{which} of {every}, {wide} wide{nap}", float(len(table.sound)))
        number += len(table.sound)
        found, no, lying = _rows(listed, table, lay, one_more)
        rows += found
        refused += no
        if lying is not None:
            if table.own:
                laid[name, table.at] = lying
            if table.cloth == listed.cloth_named(name):
                own[name] = lying
        so_far()
    rows = _served_by_one_way(rows)
    rows, no = _with_second_cloths(listed, tables, rows, laid, lay, over, one_more, on_step)
    refused += no
    so_far()
    for name in listed.cloths_used if curve_counts > 0 else ():
        cloth = listed.cloth_named(name)
        one = _own_curve(listed, cloth, lay, own.get(name), curve_counts, on_step)
        if isinstance(one, Curve):
            curves.append(one)
            so_far()
        elif not any(r.cloth == name and r.width == cloth.width for r in refused):
            refused.append(one)
    rows, curves = one_figure(listed, rows, curves)
    rows = _with_the_best(listed, rows)
    return Buying(listed.title, listed.imperial, tuple(rows), tuple(refused), tuple(curves), trim_needs(listed))


def _served_by_one_way(rows: list[BuyRow]) -> list[BuyRow]:
    """The rows without nap, none of them longer than the same with all pieces one way: such a lay does for both."""
    one_way = {(r.cloth, r.width, r.spread): r for r in rows if r.nap == "one way"}
    served: list[BuyRow] = []
    for row in rows:
        other = one_way.get((row.cloth, row.width, row.spread))
        if row.nap == "none" and other is not None and other.buy_length < row.buy_length:
            row = replace(other, nap=row.nap, own=row.own)
        served.append(row)
    return served


def _with_second_cloths(
    listed: CuttingList,
    tables: Sequence[_Table],
    rows: list[BuyRow],
    laid: dict[tuple[str, float | None], Lay],
    lay: LayOne,
    over: LayOver,
    one_more: bool,
    on_step: OnStep | None,
) -> tuple[list[BuyRow], list[RefusedRow]]:
    """The rows with those of second cloths laid over their leaders before the others of that cloth and width, which are
    then for comparison only. Where it cannot lie over them, that is refused and it is cut by itself."""
    refused: list[RefusedRow] = []
    together: dict[float | None, tuple[Lay, ...]] = {}
    for table in tables:
        name = table.cloth.name
        first = listed.led_by(name)
        if first is None:
            continue

        def of_table(row: BuyRow, width: float = table.cloth.width, name: str = name) -> bool:
            return (row.cloth, row.width) == (name, width)

        rows = [replace(r, apart_from=first) if of_table(r) else r for r in rows]
        if not table.own or (first, table.at) not in laid or (name, table.at) not in laid:
            continue
        if on_step is not None:
            on_step(name, f"laid over {first}", OVER_SHARE)
        there = listed.with_cloths([t.cloth for t in tables if t.own and t.at == table.at])
        lays = tuple(laid[c, table.at] for c in listed.cloths_used if (c, table.at) in laid)
        if table.at not in together:
            together[table.at] = over(there, lays)
            leading = next(each for each in together[table.at] if each.cloth == first)
            rows = [_as_laid_together(row, there.cloth_named(first), leading) for row in rows]
        one = over_row(there, name, lays, together[table.at], lay, over, one_more=one_more)
        if isinstance(one, RefusedRow):
            refused.append(one)
            continue
        rows = [replace(r, own=False) if of_table(r) else r for r in rows]
        at = next((i for i, r in enumerate(rows) if of_table(r)), len(rows))
        rows.insert(at, one)
    return rows, refused


def _as_laid_together(row: BuyRow, cloth: Cloth, leading: Lay) -> BuyRow:
    """A row of a cloth that leads others, as it is laid with these, and what its spread costs with them."""
    if (row.cloth, row.width) != (cloth.name, cloth.width) or not row.own:
        return row
    tried = next((t for t in leading.tried if t.kind == row.spread), None)
    if tried is None or tried.in_all is None:
        return row
    if not tried.chosen:
        return replace(row, in_all=tried.in_all)
    cost = None if cloth.price is None else to_cents(leading.buy_length / cloth.price_unit * cloth.price)
    return replace(
        row,
        lay_length=leading.lay_length,
        buy_length=leading.buy_length,
        cost=cost,
        utilisation=leading.utilisation,
        in_all=tried.in_all,
        led=True,
    )


def _with_the_best(listed: CuttingList, rows: list[BuyRow]) -> list[BuyRow]:
    """The rows with the one to go by marked for each cloth: the cheapest, with the second cloths that it leads, then
    the shortest. A second cloth goes by the width of the cloth that it lies over, as both are cut at once."""
    best: dict[str, BuyRow] = {}
    # A second cloth comes after the one that it lies over.
    for name in sorted(listed.cloths_used, key=lambda c: listed.led_by(c) is not None):
        mine = [r for r in rows if r.cloth == name and r.own]
        first = best.get(listed.led_by(name) or "")
        pair = [r for r in mine if r.over is not None and first is not None and r.width == first.width]
        by_all = [r for r in mine if r.in_all is not None]

        def dear(r: BuyRow) -> tuple[float, bool, float]:
            alone = r.cost if r.cost is not None else r.buy_length
            # of equal ones the lay that the second cloth lies on
            return (round(alone if r.in_all is None else r.in_all, 6), not r.led, r.buy_length)

        if mine:
            best[name] = min(pair or by_all or mine, key=dear)
    return [replace(r, best=True) if any(r is one for one in best.values()) else r for r in rows]


def _usual_naps(cloth: Cloth) -> tuple[Nap, ...]:
    return ("none", "one way") if cloth.nap == "none" else (cloth.nap,)


def _own_curve(
    listed: CuttingList, cloth: Cloth, lay: LayOne, known: Lay | None, counts: int, on_step: OnStep | None
) -> Curve | RefusedRow:
    # Open cloth holds for every spread: a folded lay opens out. A lay found before counts, whatever its spread.
    sound, refused = sound_spreads(cloth)
    if not sound:
        return RefusedRow(cloth.name, cloth.width, cloth.nap, refused[0].kind, refused[0].reason)
    spread: SpreadName = "open" if "open" in sound else sound[0]
    # Where pieces are cut together through two plies of this cloth, only the spread that was found does.
    kinds = (spread,) if known is None or len(known.sections) > 1 else (spread, known.sections[0].spread.kind)
    why: CannotLayError | None = None
    for kind in dict.fromkeys(kinds):
        try:
            return curve(listed, cloth.name, lay, spread=kind, known=known, counts=counts, on_step=on_step)
        except CannotLayError as error:
            why = why or error
    assert why is not None
    return RefusedRow(cloth.name, cloth.width, cloth.nap, spread, why.reason)


def _rows(
    listed: CuttingList, table: _Table, lay: LayOne, one_more: bool
) -> tuple[list[BuyRow], list[RefusedRow], Lay | None]:
    """Rows of one cloth in one width and nap, the least to buy first, and the lay to go by.

    All spreads are laid together, in the time of all their rows, as they profit from each other.
    """
    cloth, sound, refused = table.cloth, table.sound, list(table.refused)
    if not sound:
        return [], refused, None
    part = listed.on_cloth(cloth.name).with_cloths([replace(cloth, spreads=sound)])
    total = sum(g.count for g in part.garments)
    sequence = adding_sequence([g.count for g in part.garments])
    try:
        found = lay(part, cloth.name, share=len(sound) * (ROW_SHARE if one_more else 1.0))
    except CannotLayError as error:
        refused.append(RefusedRow(cloth.name, cloth.width, cloth.nap, None, error.reason))
        return [], refused, None
    after = _after_one_more(part, cloth, lay, found, sequence, len(sound)) if one_more else {}
    rows: list[BuyRow] = []
    for tried in found.tried:
        if tried.lay_length is None or tried.buy_length is None:
            reason = tried.refused or Reason("not laid", code="spread.not-laid")
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
                None if cloth.price is None else to_cents(lengths[1] / cloth.price_unit * cloth.price),
                adds,
                next_garment(part, sequence, total).label,
                (tried.utilisation or 0.0) * tried.lay_length / lengths[0],
                table.own,
                more_length=after[tried.kind][0] if tried.kind in after else None,
            )
        )
    # What is as short to buy is ranked by ease, as the lay is that was chosen.
    chosen = next((t.kind for t in found.tried if t.chosen), None)
    rows.sort(key=lambda r: (r.buy_length, r.spread != chosen, r.lay_length))
    return rows, refused, found


def _after_one_more(
    part: CuttingList, cloth: Cloth, lay: LayOne, found: Lay, sequence: Sequence[int], spreads: int
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
        more = lay(part.with_counts(counts), cloth.name, start=found, share=0.75 * shares)
        after = {t.kind: (t.lay_length, t.buy_length) for t in more.tried if t.lay_length and t.buy_length}
    with suppress(CannotLayError):
        single = {t.kind: t.lay_length for t in lay(part.with_counts(alone), cloth.name, share=0.25 * shares).tried}
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
