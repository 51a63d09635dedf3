"""A second cloth spread over the first: its pieces are cut through at the places of their leaders."""

from __future__ import annotations

from dataclasses import replace

from nesting.cloth.spreads import make_spread
from nesting.laid import Lay, Placement, Section, Spread, mirrored_over_fold, placed
from nesting.order import CutPiece, Order
from nesting.pieces.together import agreement
from nesting.planning.demand import garment_counts
from nesting.planning.following import follower_motion, tolerance_of
from nesting.planning.yardage import buy_length, garment_shares, utilisation
from nesting.units import format_length

__all__ = ["lay_over"]


def lay_over(order: Order, lays: tuple[Lay, ...]) -> tuple[Lay, ...]:
    """The lays with every second cloth laid over its leaders, where the order cuts them together.

    What that costs against cutting apart is noted on both lays. Where the second cloth does not reach over the
    leaders, or also gives pieces of its own, it keeps its own lay and says so.
    """
    result = {lay.cloth: lay for lay in lays}
    for together in order.together:
        for garment in order.garments:
            if together.leader not in garment.pieces or together.follower not in garment.pieces:
                continue
            leader = order.cut_piece(together.leader, garment.size)
            follower = order.cut_piece(together.follower, garment.size)
            first, second = order.cloth_of(garment, leader), order.cloth_of(garment, follower)
            if first == second or first not in result or second not in result:
                continue
            if any(n.startswith("cut together") for n in result[second].notes):
                continue
            result[first], result[second] = _over(order, result[first], result[second])
    return tuple(result[lay.cloth] for lay in lays)


def _leaders(order: Order, lay: Lay, second: str) -> dict[tuple[str, str, str | None], CutPiece]:
    """(leader, garment, size) -> follower for all that are cut through ``lay`` and the cloth ``second``."""
    found = {}
    for together in order.together:
        for garment in order.garments:
            if together.leader in garment.pieces and together.follower in garment.pieces:
                leader = order.cut_piece(together.leader, garment.size)
                follower = order.cut_piece(together.follower, garment.size)
                if order.cloth_of(garment, leader) == lay.cloth and order.cloth_of(garment, follower) == second:
                    found[together.leader, garment.name, garment.size] = follower
    return found


def _over(order: Order, lay: Lay, apart: Lay) -> tuple[Lay, Lay]:
    cloth = order.cloth_named(apart.cloth)
    followers = _leaders(order, lay, apart.cloth)
    covered = {(f.name, g, size) for (_, g, size), f in followers.items()}
    own = [p for p in apart.placements if (p.piece, p.garment, p.size) not in covered]
    people = "1/8 in" if order.imperial else "cm"

    def say(mm: float) -> str:
        return format_length(mm, imperial=order.imperial, step=people)  # type: ignore[arg-type]

    def kept_apart(why: str) -> tuple[Lay, Lay]:
        note = f"cut together with cloth '{lay.cloth}' is not possible as it lies: {why}; laid by itself"
        return lay, replace(apart, notes=(*apart.notes, note))

    for (name, _, size), follower in followers.items():
        agreed = agreement(order.cut_piece(name, size).piece, follower.piece, tolerance_of(order, name, follower.name))
        if not agreed.agrees:
            return kept_apart("; ".join(agreed.messages))
    if own:
        names = ", ".join(sorted({p.piece for p in own}))
        return kept_apart(f"'{cloth.name}' also gives {names}")
    sections: list[Section] = []
    starts: list[float] = []
    for section in lay.sections:
        leaders = [p for p in section.placements if (p.piece, p.garment, p.size) in followers and p.follows is None]
        if not leaders:
            continue
        laid: list[Placement] = []
        for p in leaders:
            follower = followers[p.piece, p.garment, p.size]
            laid.append(_at(order, p, follower, lay.cloth))
        begin = min(x for p in laid for x, _ in p.outline)
        starts.append(section.start + begin)
        laid = [_moved(p, -begin) for p in laid]
        end = max(x for p in laid for x, _ in p.outline)
        try:
            stacked = replace(cloth, plies=max(1, section.spread.layers))
            spread = make_spread(section.spread.kind, stacked, end, section.spread.depths)
        except ValueError as error:
            return kept_apart(str(error))
        out = _sticks_out(laid, spread)
        if out is not None:
            placement, by = out
            return kept_apart(
                f"'{placement.piece}' {placement.copy} reaches {say(by)} beyond the edge of '{cloth.name}', "
                "which is narrower there"
            )
        sections.append(Section(spread, end, tuple(laid), sum(s.lay_length for s in sections)))
    if not sections:
        return kept_apart(f"no leader lies on '{lay.cloth}'")
    length = sum(s.lay_length for s in sections)
    buy = buy_length(sections[0].spread.kind, cloth, length)
    note = (
        f"cut together with '{lay.cloth}': {say(buy)} of '{cloth.name}', laid over it with its first edge "
        f"{' and '.join(say(at + lay.end_allowance - apart.end_allowance) for at in starts)} from the cut end of "
        f"'{lay.cloth}'; cut apart, {say(apart.buy_length)} would do"
    )
    counts = garment_counts(order)
    over = replace(
        apart,
        sections=tuple(sections),
        lay_length=length,
        buy_length=buy,
        lower_bound=min(apart.lower_bound, length),
        utilisation=utilisation(sections, cloth.width_washed),
        garments=garment_shares([p for s in sections for p in s.placements], counts, buy),
        tried=(),
        notes=(note, *(n for n in apart.notes if "is refused" in n)),
    )
    return replace(lay, notes=(*lay.notes, note)), over


def _at(order: Order, leader: Placement, follower: CutPiece, first: str) -> Placement:
    lead = order.cut_piece(leader.piece, leader.size)
    tolerance = tolerance_of(order, leader.piece, follower.name)
    x, y, turn, flipped = follower_motion(lead, follower, leader.x, leader.y, leader.turn, leader.flipped, tolerance)
    whole = mirrored_over_fold(follower.piece) if leader.opened else follower.piece
    shape = placed(whole, x, y, turn, flipped)
    assert shape.grainline is not None
    return replace(
        leader,
        piece=follower.name,
        x=x,
        y=y,
        turn=turn,
        flipped=flipped,
        outline=shape.outline,
        inside=shape.inside,
        cutouts=shape.cutouts,
        notches=shape.notches,
        drills=shape.drills,
        grainline=shape.grainline,
        fold=shape.fold,
        seam=shape.seam,
    )


def _moved(p: Placement, dx: float) -> Placement:
    def at(point: tuple[float, float]) -> tuple[float, float]:
        return (point[0] + dx, point[1])

    return replace(
        p,
        x=p.x + dx,
        outline=tuple(map(at, p.outline)),
        inside=tuple(tuple(map(at, line)) for line in p.inside),
        cutouts=tuple(tuple(map(at, c)) for c in p.cutouts),
        notches=tuple(replace(n, at=at(n.at)) for n in p.notches),
        drills=tuple(replace(d, at=at(d.at)) for d in p.drills),
        grainline=(at(p.grainline[0]), at(p.grainline[1])),
        fold=(at(p.fold[0]), at(p.fold[1])) if p.fold else None,
        seam=tuple(map(at, p.seam)) if p.seam else None,
    )


def _sticks_out(laid: list[Placement], spread: Spread) -> tuple[Placement, float] | None:
    for p in laid:
        for ply in spread.plies:
            if ply.ply in p.plies:
                low, high = min(y for _, y in ply.region), max(y for _, y in ply.region)
                by = max(low - min(y for _, y in p.outline), max(y for _, y in p.outline) - high)
                if by > 1e-6:
                    return p, by
    return None


