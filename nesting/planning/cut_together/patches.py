"""A second cloth in patches: rectangles cut from it first and laid at the leaders, in place of metres over all of them.

Glossary
    *patch*: a rectangle with its grain along one side, round one follower or several that lie together, with a margin.
    On the first cloth it lies over or under its leaders; on its own cloth the patches are a lay of their own.

Each leader and ply wants one follower there. Its patch is its box on the table and the margin; ``patch_groups`` says
which followers share one. Over a folded leader the patch is folded at the same line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

from shapely.geometry import Polygon

from nesting.cloth.orientation import orientation
from nesting.model.errors import CannotLayError
from nesting.model.findings import Reason
from nesting.model.lay import Lay, Patch, PatchPlace, Placement, Section, Spread, mirrored_over_fold, placed
from nesting.model.order import Cloth, CutPiece
from nesting.model.piece import Piece
from nesting.model.units import format_apart
from nesting.packing.problem import Stop
from nesting.planning.cut_together.fits_over import why_not_together
from nesting.planning.cut_together.layered import Apart, Pairs, at_leader, check_pairs, follower_notes, pairs_of
from nesting.planning.cut_together.patch_groups import Box, Group, GroupRules, InTheWay, Wanted, grouped, union
from nesting.planning.cut_together.placing import placed_by_search
from nesting.planning.layout.assemble import assemble, with_length
from nesting.planning.layout.bounding import opened_bound
from nesting.planning.layout.demand import stacks_of
from nesting.planning.layout.options import SearchOptions, share_of
from nesting.planning.layout.repeats import matching_for
from nesting.planning.layout.yardage import buy_length, garment_shares, utilisation
from nesting.resolving.cutting_list import CuttingList, GarmentEntry, PieceEntry

__all__ = ["in_patches", "patch_conflict"]

#: mm. Less than this is no lack of room.
SLACK = 1e-3
#: rounds at least for the patches' own lay
_ROUNDS = 8


def patch_conflict(listed: CuttingList, first: Lay, apart: Lay) -> InTheWay | None:
    """The leaders of ``first`` whose patches would lie on one another, if there are any."""
    try:
        _groupings(listed, first, apart)
    except InTheWay as conflict:
        return conflict
    except Apart:
        return None
    return None


def in_patches(listed: CuttingList, first: Lay, apart: Lay, options: SearchOptions | None) -> tuple[Lay, Lay]:
    """Both lays, the second cloth cut in patches that lie at their leaders on the first. ``apart``: the second cloth by
    itself, for its facts. ``options`` None: the patches are laid as they first fall, at once. CannotLayError says why
    it cannot be."""
    cloth = listed.cloth_named(apart.cloth)
    try:
        groupings = _groupings(listed, first, apart, several=options is not None)
    except Apart as why:
        words = f"'{cloth.name}' cannot be cut in patches: {why}"
        raise CannotLayError(words, key=cloth.name, code=why.code, figures=why.figures) from None
    found: list[tuple[float, int, Section, tuple[Patch, ...]]] = []
    why_not: Reason | None = None
    for number, groups in enumerate(groupings):
        section, patches = _cut_in(listed, cloth, groups, first.cloth, _part(options, len(groupings)), options)
        forbidden = _why_not(listed, cloth, section)
        if forbidden is None:
            found.append((buy_length("open", cloth, section.lay_length), number, section, patches))
        why_not = why_not or forbidden
    if not found:
        assert why_not is not None
        words = f"'{cloth.name}' cannot be cut in patches: {why_not}"
        raise CannotLayError(words, key=cloth.name, code=why_not.code, figures=why_not.figures)
    bought, _, section, patches = min(found, key=lambda one: one[:2])
    second = replace(
        apart,
        sections=(section,),
        lay_length=section.lay_length,
        buy_length=bought,
        lower_bound=min(opened_bound(apart, cloth).length, section.lay_length),
        utilisation=utilisation((section,), cloth.width_washed),
        garments=garment_shares(section.placements, listed.counts, bought),
        tried=(),
        others=(),
        over=None,
        over_at=(),
        patches=patches,
        notes=follower_notes(listed, cloth),
    )
    places = tuple((p.number, apart.cloth, p.on) for p in patches)
    return replace(first, patch_places=(*first.patch_places, *places)), second


def _part(options: SearchOptions | None, ways: int) -> Stop:
    """The search for the patches' own lay, one of ``ways``. A round of rectangles is quick, so at least a few."""
    if options is None:
        return Stop(seconds=0.0)
    stop = share_of(options, 1.0 / ways)
    return stop if stop.rounds is None else replace(stop, rounds=max(_ROUNDS, stop.rounds))


def _cut_in(
    listed: CuttingList, cloth: Cloth, groups: Sequence[Group], on: str, stop: Stop, options: SearchOptions | None
) -> tuple[Section, tuple[Patch, ...]]:
    """These patches laid on their own cloth, with the followers in them, and where each lies on the cloth ``on``."""
    spread, length, spots = _laid(listed, cloth, groups, stop, options)
    followers: list[Placement] = []
    patches: list[Patch] = []
    for number, group in enumerate(groups, start=1):
        spot = spots[_name(number)]
        box = union([w.box for w in group])
        here = [_moved(listed, w, group[0].grain, box, spot) for w in group]
        own = tuple(range(len(followers), len(followers) + len(here)))
        followers += here
        patches.append(_patch(number, group, box, spot, own, on))
    return Section(spread, length, tuple(followers)), tuple(patches)


def _why_not(listed: CuttingList, cloth: Cloth, section: Section) -> Reason | None:
    """Why the patches that were found cannot be: a half that may not be opened out, a turn not allowed, left and right
    in two turns, followers nearer than their cloth's gap, cloth that does not reach."""
    turns: dict[tuple[str, str, str | None, int], float] = {}
    for p in section.placements:
        cut = listed.cut(p.piece, p.size)
        if p.opened and not cut.unfold:
            words = f"'{p.piece}' may not be opened out (unfold = false)"
            return Reason(words, code="fold.unfold", figures={"piece": p.piece})
        if not any(_off(p.turn, turn) <= cut.tilt + 1e-6 for turn in orientation(cut, cloth).turns):
            words = f"'{p.piece}' may not lie at {p.turn:g}° on it"
            return Reason(words, code="together.turn", figures={"piece": p.piece, "turn": p.turn})
        if cloth.pairs_same_way and cut.mirrored and cut.cut > 1:
            first = turns.setdefault((p.piece, p.garment, p.size, p.copy), p.turn)
            if _off(p.turn, first) > 2.0 * cut.tilt + 1e-6:
                words = f"left and right of '{p.label}' would lie in two turns (pairs)"
                return Reason(words, code="together.pairs", figures={"piece": p.piece})
    errors = [listed.cut(p.piece, p.size).piece.error for p in section.placements]
    if cloth.gap > 0.0 or any(errors):
        shapes = [Polygon(p.outline) for p in section.placements]
        for (i, a), (j, b) in combinations(enumerate(shapes), 2):
            apart, gap = float(a.distance(b)), cloth.gap + errors[i] + errors[j]
            if apart < gap - SLACK:
                found, asked = format_apart(apart, gap, imperial=listed.imperial)
                names = f"'{section.placements[i].label}' and '{section.placements[j].label}'"
                words = f"{names} would lie {found} apart, the gap is {asked}"
                return Reason(words, code="together.gap", figures={"apart": apart, "gap": gap})
    near = why_not_together(listed, cloth, [section])
    if near is not None:
        return near
    needed = buy_length("open", cloth, section.lay_length, rounded=False)
    if cloth.length is not None and needed > cloth.length + SLACK:
        wanted, there = format_apart(needed, cloth.length, imperial=listed.imperial)
        words = f"{wanted} would be needed, there are {there}"
        return Reason(words, code="together.too-little-cloth", figures={"needed": needed, "there": cloth.length})
    return None


def _off(a: float, b: float) -> float:
    return abs((a - b + 180.0) % 360.0 - 180.0)


def _groupings(
    listed: CuttingList, first: Lay, apart: Lay, *, several: bool = False
) -> tuple[tuple[Group, ...], ...]:
    """The followers of each patch, in several ways if asked for. Apart says why there are none, InTheWay which leaders
    lie too near."""
    cloth = listed.cloth_named(apart.cloth)
    pairs = pairs_of(listed, first, apart.cloth)
    check_pairs(listed, cloth, pairs, apart, same_faces=False)
    wanted = _wanted(listed, first, cloth, pairs)
    followers = {id(pair.follower): pair.follower for pair in pairs.values()}.values()
    allowed = set.intersection(*(set(orientation(cut, cloth).turns) for cut in followers))
    one_turn = cloth.nap != "none" or any(cloth.pairs_same_way and cut.mirrored and cut.cut > 1 for cut in followers)
    quarters = {0.0, 90.0} <= allowed

    def fits(along: float, across: float) -> bool:
        wide, long = cloth.usable_width + SLACK, cloth.length or math.inf
        ways = [(along, across)] if allowed & {0.0, 180.0} else []
        ways += [(across, along)] if allowed & {90.0, 270.0} else []
        return any(y <= wide and x <= long for x, y in ways)

    rules = GroupRules(360 if one_turn else 90 if quarters else 180, cloth.gap, fits, listed.imperial)
    return grouped(wanted, rules, several=several)


def _wanted(listed: CuttingList, first: Lay, cloth: Cloth, pairs: Pairs) -> list[Wanted]:
    if cloth.tubular:
        raise Apart("it is a tube", code="spread.tube")
    found: list[Wanted] = []
    for number, section in enumerate(first.sections):
        for k, p in enumerate(section.placements):
            pair = pairs.get((p.piece, p.garment, p.size))
            if pair is None or p.follows is not None:
                continue
            follower = pair.follower
            if follower.turn in ("bias", "any") or matching_for(listed, cloth, follower).any:
                words = f"'{follower.name}' has no plain grain, or its repeat has to match"
                raise Apart(words, code="together.repeat", figures={"piece": follower.name})
            at = at_leader(p, pair)
            if _off(at.turn, round(at.turn / 90.0) * 90.0) > (0.0 if p.on_fold else follower.tilt) + 1e-6:
                words = f"'{follower.name}' lies aslant on its leader"
                raise Apart(words, code="together.turn", figures={"piece": follower.name, "turn": at.turn})
            for n, plies in enumerate([p.plies] if p.on_fold else [(ply,) for ply in sorted(p.plies)]):
                face = _face(section, plies[0])
                if pair.faces == "to the leader":
                    face = "down" if face == "up" else "up"
                found.append(_one(listed, at, (number, k), plies, face, n, cloth.patch_margin))
    if not found:
        raise Apart(f"no leader lies on '{first.cloth}'", code="together.no-leader", figures={"cloth": first.cloth})
    return found


def _face(section: Section, ply: int) -> str:
    return next(q.face for q in section.spread.plies if q.ply == ply)


def _one(
    listed: CuttingList,
    at: Placement,
    leader: tuple[int, int],
    plies: tuple[int, ...],
    face: str,
    k: int,
    margin: float,
) -> Wanted:
    """The follower through these plies alone; a half that lies on the fold is opened out, as its patch is unfolded."""
    copies = at.copies or (at.copy,)
    copy = copies[k % len(copies)] if not at.on_fold else copies[0]
    piece = listed.cut(at.piece, at.size).piece
    opened = at.opened or at.on_fold
    whole = mirrored_over_fold(piece) if opened else piece
    shape = placed(whole, at.x, at.y, at.turn, at.flipped)
    one = _drawn(at, shape, opened=opened, copy=copy)
    xs, ys = [x for x, _ in one.outline], [y for _, y in one.outline]
    bare = (min(xs), min(ys), max(xs), max(ys))
    box = (bare[0] - margin, bare[1] - margin, bare[2] + margin, bare[3] + margin)
    return Wanted(one, leader, plies, face, bare, box, piece.error)


def _drawn(at: Placement, shape: Piece, *, opened: bool, copy: int) -> Placement:
    assert shape.grainline is not None
    return replace(
        at,
        copy=copy,
        copies=(),
        plies=(0,),
        on_fold=False,
        opened=opened,
        gives=1,
        laid=shape,
    )


def _name(number: int) -> str:
    return f"patch {number}"


def _size(group: Group) -> tuple[float, float]:
    """Along and across the grain of the patch, mm."""
    x0, y0, x1, y1 = union([w.box for w in group])
    return (x1 - x0, y1 - y0) if group[0].grain % 180 == 0 else (y1 - y0, x1 - x0)


def _laid(
    listed: CuttingList, cloth: Cloth, groups: Sequence[Group], stop: Stop, options: SearchOptions | None
) -> tuple[Spread, float, dict[str, Placement]]:
    """The patches as rectangles on their own cloth, open, as short as the search finds: the spread, its length and
    where each lies, by name. A rectangle turned round is the same, so none lies at 180° or 270°."""
    pieces = []
    for number, group in enumerate(groups, start=1):
        a, b = (side / 2 for side in _size(group))
        ring = ((-a, -b), (a, -b), (a, b), (-a, b))
        cuts = [listed.cut(w.follower.piece, w.follower.size) for w in group]
        turns = [set(orientation(cut, cloth).turns) for cut in cuts]
        stretch = max((c.needs_stretch for c in cuts if c.needs_stretch is not None), default=None)
        # left and right in one turn: none of their patches is turned
        alike = cloth.pairs_same_way and any(c.mirrored and c.cut > 1 for c in cuts) and all(0.0 in t for t in turns)
        turn = "either way" if alike else cuts[0].turn
        pieces.append(
            CutPiece(
                Piece(_name(number), ring, grainline=((-a, 0.0), (a, 0.0)), error=max(w.error for w in group)),
                None,
                cloth=cloth.name,
                turn=turn,
                needs_stretch=stretch,
                band=True,
            )
        )
    alone = replace(cloth, spreads=("open",), plies=1, surplus=False)
    # rectangles are their own mirror image, so they have no hand
    entries = tuple(PieceEntry(p, cloth.name, (None,), (None,)) for p in pieces)
    rectangles = replace(
        listed,
        garments=(GarmentEntry("patches", None, 1, entries),),
        cloths=(alone,),
        trims=(),
        openings=(),
        matched=(),
        remnants=(),
    )
    assembly = assemble(rectangles, alone, stacks_of(rectangles, alone), "open")
    # shorter than the longest patch, or than all of them without waste, it cannot be
    sides = [(_size(group), orientation(p, alone).turns) for p, group in zip(pieces, groups, strict=True)]
    longest = max(min(along if turn % 180.0 == 0.0 else across for turn in t) for (along, across), t in sides)
    area = math.fsum(along * across for (along, across), _ in sides)
    stop = replace(stop, length=max(longest, area / cloth.usable_width) + SLACK)
    placements, length = placed_by_search(assembly, cloth.name, options, stop=stop)
    return with_length(assembly, length), length, {p.piece: p for p in placements}


def _moved(listed: CuttingList, w: Wanted, grain: int, box: Box, spot: Placement) -> Placement:
    """The follower as it lies on its own cloth, where its patch lies at ``spot``, face up; ``grain`` of the patch on
    the first cloth, degrees."""
    p = w.follower
    cx, cy = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    a = math.radians(grain)
    u = math.cos(a) * (p.x - cx) + math.sin(a) * (p.y - cy)
    v = -math.sin(a) * (p.x - cx) + math.cos(a) * (p.y - cy)
    mirrored = w.face == "down"
    relative = (p.turn - grain) % 360.0
    if mirrored:
        v, relative = -v, -relative
    turned = _turn_of(spot)
    t = math.radians(turned)
    x, y = spot.x + math.cos(t) * u - math.sin(t) * v, spot.y + math.sin(t) * u + math.cos(t) * v
    turn, flipped = (relative + turned) % 360.0, p.flipped != mirrored
    piece = listed.cut(p.piece, p.size).piece
    shape = placed(mirrored_over_fold(piece) if p.opened else piece, x, y, turn, flipped)
    return replace(_drawn(p, shape, opened=p.opened, copy=p.copy), x=x, y=y, turn=turn, flipped=flipped)


def _turn_of(spot: Placement) -> float:
    return spot.turn % 180.0


def _patch(number: int, group: Group, box: Box, spot: Placement, own: tuple[int, ...], cloth: str) -> Patch:
    length, width = _size(group)
    margin = min(min(w.bare[0] - box[0], w.bare[1] - box[1], box[2] - w.bare[2], box[3] - w.bare[3]) for w in group)
    one = group[0]
    place = PatchPlace(
        cloth,
        one.section,
        one.plies,
        box[0],
        box[1],
        box[2] - box[0],
        box[3] - box[1],
        float(one.grain),
        "up" if one.face == "up" else "down",
    )
    return Patch(number, length, width, margin, spot.x, spot.y, _turn_of(spot), own, place)
