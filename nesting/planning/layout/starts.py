"""A lay as the beginning of another search: opened out, grown by more garments, or with some pieces kept.

A lay on folded or stacked cloth opens out into an open lay that takes the same length of cloth, so the open search
begins no longer than the best of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from nesting.model.lay import Placement, Section, Spread, mirrored_over_fold, placed
from nesting.model.order import Cloth
from nesting.model.piece import Piece
from nesting.packing.problem import Item, PackingError, Place, Pose, Stop, outline_of
from nesting.planning.layout.assemble import Assembly
from nesting.planning.layout.runs import NO_BOUND
from nesting.planning.layout.shapes import is_symmetric

__all__ = ["Lying", "lying_in", "opened_out", "place_missing", "places_from"]


@dataclass(frozen=True)
class Lying:
    """One cloth piece or bundle as it lies: enough to find it again among the jobs of another problem."""

    piece: str
    garment: str
    size: str | None
    copies: tuple[int, ...]
    x: float
    y: float
    turn: float
    flipped: bool
    plies: tuple[int, ...]
    on_fold: bool
    opened: bool
    ids: tuple[str, ...] = ()


def lying_in(placements: Iterable[Placement], *, followers: bool = False) -> tuple[Lying, ...]:
    """The placements as they lie; followers go with their leaders, unless they are asked for by themselves."""
    return tuple(
        Lying(
            p.piece,
            p.garment,
            p.size,
            p.copies or (p.copy,),
            p.x,
            p.y,
            p.turn,
            p.flipped,
            p.plies,
            p.on_fold,
            p.opened,
            p.ids,
        )
        for p in placements
        if (followers or p.follows is None) and p.second_cloth is None
    )


def opened_out(section: Section, cloth: Cloth, start: float = 0.0) -> tuple[Lying, ...] | None:
    """Every cloth piece of the section on the opened-out cloth, which begins at x = ``start``; None for a tube.

    A ply that lies face down is seen from its other side when it is opened: mirrored across the fold.
    """
    spread = section.spread
    if spread.kind == "tubular":
        return None
    result: list[Lying] = []
    for p in section.placements:
        if p.follows is not None or p.second_cloth is not None:
            return None
        copies = p.copies or (p.copy,)
        if p.on_fold:
            x, y, turn, flipped = _on_open(spread, cloth, section.lay_length, p.plies[0], p, start)
            result.append(Lying(p.piece, p.garment, p.size, copies, x, y, turn, flipped, (0,), False, True))
            continue
        served = _served(copies, len(p.plies))
        for copy, ply in zip(served, sorted(p.plies), strict=True):
            x, y, turn, flipped = _on_open(spread, cloth, section.lay_length, ply, p, start)
            result.append(Lying(p.piece, p.garment, p.size, (copy,), x, y, turn, flipped, (0,), False, p.opened))
    return tuple(result)


def _served(copies: tuple[int, ...], plies: int) -> tuple[int, ...]:
    return copies if len(copies) == plies else tuple(copies[i % len(copies)] for i in range(plies))


def _on_open(
    spread: Spread, cloth: Cloth, lay_length: float, ply: int, p: Placement, start: float
) -> tuple[float, float, float, bool]:
    width = cloth.width_washed
    down = next(q.face for q in spread.plies if q.ply == ply) == "down"
    turn = p.turn % 360.0
    mirrored = (-turn % 360.0, not p.flipped)
    if spread.kind == "lengthwise fold":
        at = width / 2
    elif spread.kind in ("partial fold", "double fold"):
        at = spread.depths[0]
    else:
        at = 0.0
    if spread.kind == "crosswise fold":
        if not down:
            return start + p.x, p.y, turn, p.flipped
        return start + 2 * lay_length - p.x, p.y, (180.0 - turn) % 360.0, not p.flipped
    if spread.kind in ("stacked face up", "stacked face to face"):
        x = start + p.x + ply * (lay_length + cloth.gap)
        return (x, width - p.y, *mirrored) if down else (x, p.y, turn, p.flipped)
    if not down:
        return start + p.x, at + p.y, turn, p.flipped
    if ply == 2:
        return start + p.x, at + 2 * spread.table_width - p.y, *mirrored
    return start + p.x, at - p.y, *mirrored


def places_from(lying: Iterable[Lying], assembly: Assembly) -> tuple[Place, ...]:
    """Places for the jobs of ``assembly`` that are found among ``lying``; at most one for each job."""
    waiting: dict[tuple[str, str, str | None, int], list[int]] = {}
    for index, job in enumerate(assembly.jobs):
        for need in job.needs:
            waiting.setdefault((need.cut.name, need.garment, need.size, need.copy), []).append(index)
    taken: set[int] = set()
    places: list[Place] = []
    for one in lying:
        for copy in one.copies:
            jobs = waiting.get((one.piece, one.garment, one.size, copy), [])
            found = next(
                ((i, pose) for i in jobs if i not in taken and (pose := _pose_for(one, assembly, i)) is not None), None
            )
            if found is not None:
                taken.add(found[0])
                places.append(found[1])
                break
    return tuple(places)


def _pose_for(one: Lying, assembly: Assembly, index: int) -> Place | None:
    piece = assembly.jobs[index].needs[0].cut.piece
    if one.opened:
        piece = mirrored_over_fold(piece)
    x, y, turn = one.x, one.y, one.turn
    if assembly.turned_end:
        return None
    best: Place | None = None
    for number, meta in enumerate(assembly.metas[index]):
        if meta.opened != one.opened or meta.on_fold != one.on_fold or meta.plies != one.plies:
            continue
        at = (x, y)
        if meta.flipped != one.flipped:
            if not (one.on_fold is False and is_symmetric(piece)):
                continue
            at = _unflipped(piece, x, y, turn)
        off = (turn - meta.turn + 180.0) % 360.0 - 180.0
        tilt = assembly.problem.items[index].poses[number].tilt
        if abs(off) > tilt + 1e-6:
            continue
        if best is None or abs(off) < abs(best.tilt):
            best = Place(index, number, at[0], at[1], off if tilt > 0.0 else 0.0)
    return best


def _unflipped(piece: Piece, x: float, y: float, turn: float) -> tuple[float, float]:
    """Where the reference point of a symmetric piece lies when the same outline is seen as not flipped (or flipped)."""
    ys = [p[1] for p in piece.outline]
    shift = -(min(ys) + max(ys))
    moved = placed(Piece("", ((0.0, shift), (1.0, shift), (0.0, shift + 1.0))), x, y, turn, False).outline[0]
    return moved


def place_missing(places: tuple[Place, ...], assembly: Assembly) -> tuple[Place, ...] | None:
    """``places`` completed: jobs without a place are laid by themselves and put behind the others.

    None if they cannot be laid by themselves, or if something ties them along the cloth.
    """
    from nesting.packing.search.search import solve

    items = assembly.problem.items
    done = {place.item for place in places}
    missing = [i for i in range(len(items)) if i not in done]
    if not missing:
        return tuple(sorted(places, key=lambda p: p.item))
    state: dict[int, int | None] = {}
    end = 0.0
    for place in places:
        pose = items[place.item].poses[place.pose]
        end = max(end, place.x + float(outline_of(pose)[:, 0].max()))
        group = items[place.item].group
        if group is not None:
            state[group] = pose.state
    known: dict[tuple[int, int | None], tuple[int, tuple[int, ...], tuple[Pose, ...]]] = {}
    kept: list[tuple[int, ...]] = []
    rest: list[Item] = []
    periods: set[float] = set()
    for i in missing:
        item = items[i]
        wanted = state.get(item.group) if item.group is not None else None
        key = (id(item.poses), wanted)
        if key not in known:
            numbers = tuple(n for n, p in enumerate(item.poses) if wanted is None or p.state in (None, wanted))
            known[key] = (len(known), numbers, tuple(item.poses[n] for n in numbers))
        number, numbers, poses = known[key]
        periods |= {p.x.period for p in poses if p.x is not None}
        kept.append(numbers)
        rest.append(replace(item, poses=poses, kind=number))
    if 0.0 in periods or len(periods) > 1:
        return None
    try:
        found = solve(replace(assembly.problem, items=tuple(rest)), Stop(rounds=3), bound=NO_BOUND)
    except PackingError:
        return None
    reach = min(p.x + float(outline_of(rest[p.item].poses[p.pose])[:, 0].min()) for p in found.places)
    shift = end - reach + assembly.problem.gap
    for period in periods:
        shift = period * math.ceil(shift / period - 1e-9)
    behind = [replace(p, item=missing[p.item], pose=kept[p.item][p.pose], x=p.x + shift) for p in found.places]
    return tuple(sorted((*places, *behind), key=lambda p: p.item))
