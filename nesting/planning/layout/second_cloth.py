"""Second cloths, whose pieces are cut together with leaders of another cloth and lie over these."""

from __future__ import annotations

from dataclasses import replace

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.model.order import Order
from nesting.planning.layout.one_cloth import lay_cloth
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.yardage import cloth_used

__all__ = ["COMPARED", "laid_together", "only_followers"]

#: share of the time for a lay that is only compared with
COMPARED = 0.25


def laid_together(
    order: Order, lays: tuple[Lay, ...], options: SearchOptions, *, continued: bool = False
) -> tuple[Lay, ...]:
    """Lays of every cloth by itself with second cloths laid over their leaders: where these lie, or gathered at the cut
    end if that costs less in all, which is searched for in part of the time. ``continued``: leaders stay."""
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
            t.leader
            for t in order.together
            for g in order.garments
            if {t.leader, t.follower} <= set(g.pieces)
            and order.cloth_of(g, order.cut_piece(t.leader, g.size)) == lay.cloth
            and order.cloth_of(g, order.cut_piece(t.follower, g.size)) != lay.cloth
        )
        if not names or len(lay.sections) != 1:
            gathered.append(lay)
            continue
        seconds = None if options.seconds is None else options.seconds * COMPARED
        rounds = None if options.rounds is None else max(1, round(options.rounds * COMPARED))
        part = replace(options, seconds=seconds, rounds=rounds)
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


def _still_shortest(order: Order, lay: Lay, new: Lay) -> bool:
    """Whether an open lay is still no longer than the folded ones that were tried."""
    if lay.sections[0].spread.kind != "open":
        return True
    cloth = order.cloth_named(lay.cloth)
    others = [
        cloth_used(t.kind, cloth, t.lay_length) for t in lay.tried if t.lay_length is not None and t.kind != "open"
    ]
    return new.lay_length <= min(others, default=new.lay_length) + 1e-6


def _worth(order: Order, lays: tuple[Lay, ...]) -> float:
    """What the cloths cost together; their lengths where a price is missing."""
    cloths = [order.cloth_named(lay.cloth) for lay in lays]
    if any(cloth.price is None for cloth in cloths):
        return sum(lay.buy_length for lay in lays)
    return sum(lay.buy_length * (c.price or 0.0) / c.price_unit for lay, c in zip(lays, cloths, strict=True))


def only_followers(order: Order, cloth: str) -> bool:
    """Whether all that is cut from this cloth is cut together with a leader of another cloth."""
    followers = {t.follower for t in order.together}
    cut = [(g, order.cut_piece(name, g.size)) for g in order.garments for name in g.pieces]
    return all(piece.name in followers for g, piece in cut if order.cloth_of(g, piece) == cloth)
