"""Second cloths, whose pieces are cut together with leaders of another cloth and lie over these."""

from __future__ import annotations

from dataclasses import replace

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.model.order import CutPiece
from nesting.model.units import format_length
from nesting.planning.layout.one_cloth import lay_cloth
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.yardage import cloth_used
from nesting.resolving.cutting_list import CuttingList

__all__ = ["COMPARED", "laid_together"]

#: share of the time for a lay that is only compared with
COMPARED = 0.25


def laid_together(
    order: CuttingList, lays: tuple[Lay, ...], options: SearchOptions, *, continued: bool = False
) -> tuple[Lay, ...]:
    """Lays of every cloth by itself with second cloths laid over their leaders: where these lie, or gathered at the cut
    end if that costs less in all, which is searched for in part of the time; or in patches at the leaders, where these
    cost less. ``continued``: leaders stay."""
    whole = _whole_over(order, lays, options, continued=continued)
    return _cheapest(order, lays, whole, options, continued=continued)


def _whole_over(
    order: CuttingList, lays: tuple[Lay, ...], options: SearchOptions, *, continued: bool
) -> tuple[Lay, ...]:
    from nesting.planning.cut_together.layered import lay_over

    over = lay_over(order, lays)
    if over == lays or continued:
        return over
    own = {lay.cloth: lay.buy_length for lay in lays}
    if all(lay.buy_length <= own[lay.cloth] + 1e-6 for lay in over):
        return over
    gathered: list[Lay] = []
    for lay in lays:
        names = frozenset(
            pair.leader.name for pair in order.pairs if pair.cloths[0] == lay.cloth and not pair.same_cloth
        )
        if not names or len(lay.sections) != 1:
            gathered.append(lay)
            continue
        seconds = None if options.seconds is None else options.seconds * COMPARED
        rounds = None if options.rounds is None else max(1, round(options.rounds * COMPARED))
        part = replace(options, seconds=seconds, rounds=rounds, on_lays=None)
        kind = lay.sections[0].spread.kind
        try:
            new = lay_cloth(order, lay.cloth, part, spread=kind, gather=names)
            if new.buy_length > lay.buy_length + 1e-6 or not _still_shortest(order, lay, new):
                return over
            tried = tuple(
                replace(t, lay_length=new.lay_length, utilisation=new.utilisation) if t.chosen else t for t in lay.tried
            )
            gathered.append(replace(new, tried=tried))
        except CannotLayError:
            return over
    other = lay_over(order, tuple(gathered))
    return min((over, other), key=lambda result: _worth(order, result))


def _still_shortest(order: CuttingList, lay: Lay, new: Lay) -> bool:
    """Whether an open lay is still no longer than the folded ones that were tried."""
    if lay.sections[0].spread.kind != "open":
        return True
    cloth = order.cloth_named(lay.cloth)
    others = [
        cloth_used(t.kind, cloth, t.lay_length) for t in lay.tried if t.lay_length is not None and t.kind != "open"
    ]
    return new.lay_length <= min(others, default=new.lay_length) + 1e-6


def _cheapest(
    order: CuttingList, lays: tuple[Lay, ...], whole: tuple[Lay, ...], options: SearchOptions, *, continued: bool
) -> tuple[Lay, ...]:
    """The cheapest of the ways that cut at the same time: whole lengths over the leaders, or patches; what each way
    would take is said beside it."""
    from nesting.planning.cut_together.patches import in_patches

    best = whole
    own = {lay.cloth: lay for lay in lays}
    for second, first in order.leading().items():
        if second not in own or first not in own or not order.only_followers(second):
            continue
        part = _share(options, COMPARED / 4, least=0.3)
        new_first, new_second = None, None
        for again in (False, True):
            try:
                # leaders stay where they cost the first cloth least; only where their patches would lie on one another
                # is it laid again, with all leaders up or down the cloth
                laid = _leaders_straight(order, own[first], options) if again else own[first]
                new_first, new_second = in_patches(order, laid, own[second], part)
                break
            except CannotLayError:
                if continued:
                    break
        if new_first is None or new_second is None:
            continue
        patched = tuple(new_first if lay.cloth == first else new_second if lay.cloth == second else lay for lay in best)
        over = next(lay for lay in best if lay.cloth == second)
        lies_over = over.over is not None
        if lies_over and _worth(order, patched) > _worth(order, best) - 1e-9:
            continue
        note = ways_note(order, new_second, over.buy_length if lies_over else None, own[second].buy_length)
        best = tuple(replace(lay, notes=(*lay.notes, note)) if lay.cloth in (first, second) else lay for lay in patched)
    return best


def _share(options: SearchOptions, share: float, *, least: float = 0.05) -> SearchOptions:
    seconds = None if options.seconds is None else max(least, options.seconds * share)
    rounds = None if options.rounds is None else max(1, round(options.rounds * share))
    return replace(options, seconds=seconds, rounds=rounds)


def _leaders_straight(order: CuttingList, lay: Lay, options: SearchOptions) -> Lay:
    """The first cloth laid on from its lay with every leader along the cloth, none across it."""
    names = {pair.leader.name for pair in order.pairs}

    def straight(cut: CutPiece) -> CutPiece:
        return replace(cut, turn="either way") if cut.name in names and cut.turn in (None, "quarter turns") else cut

    new = lay_cloth(order.changed(straight), lay.cloth, _share(options, 2 * COMPARED), start=lay)
    tried = tuple(
        replace(t, lay_length=new.lay_length, utilisation=new.utilisation, buy_length=new.buy_length) if t.chosen else t
        for t in lay.tried
    )
    return replace(new, tried=tried if any(t.chosen and t.kind == _kind(new) for t in tried) else new.tried)


def _kind(lay: Lay) -> str:
    return lay.sections[0].spread.kind if len(lay.sections) == 1 else "sections"


def ways_note(order: CuttingList, second: Lay, over: float | None, apart: float) -> str:
    """What the ways take of the second cloth, side by side."""

    def say(mm: float) -> str:
        return format_length(mm, imperial=order.imperial, step="1/8 in" if order.imperial else "cm")

    number = len(second.patches)
    patches = "1 patch" if number == 1 else f"{number} patches"
    whole = f"; over the whole length {say(over)}" if over is not None else ""
    return (
        f"cut together in {patches} of '{second.cloth}', {say(second.buy_length)} to buy, laid at the leaders{whole}; "
        f"cut apart, {say(apart)} would do"
    )


def _worth(order: CuttingList, lays: tuple[Lay, ...]) -> float:
    """What the cloths cost together; their lengths where a price is missing."""
    cloths = [order.cloth_named(lay.cloth) for lay in lays]
    if any(cloth.price is None for cloth in cloths):
        return sum(lay.buy_length for lay in lays)
    return sum(lay.buy_length * (c.price or 0.0) / c.price_unit for lay, c in zip(lays, cloths, strict=True))
