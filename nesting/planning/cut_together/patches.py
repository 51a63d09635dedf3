"""A second cloth in patches: rectangles cut from it first and laid at the leaders, in place of metres over all of them.

Glossary
    *patch*: a rectangle with its grain along one side, round one follower or several that lie together, with a margin.
    On the first cloth it lies over or under its leaders; on its own cloth the patches are a lay of their own.

Each leader and ply wants one follower there. Its patch is its box on the table and the margin; patches of one grain
that meet become one, others give up margin to each other. Over a folded leader the patch is folded at the same line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from shapely.geometry import Polygon

from nesting.cloth.orientation import orientation
from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay, Patch, PatchPlace, Placement, Section, mirrored_over_fold, placed
from nesting.model.order import Cloth, CutPiece
from nesting.model.piece import Piece
from nesting.planning.cut_together.fits_over import why_not_together
from nesting.planning.cut_together.layered import Apart, Pairs, at_leader, check_pairs, pairs_of
from nesting.planning.layout.one_cloth import lay_cloth
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.repeats import matching_for
from nesting.planning.layout.yardage import buy_length, garment_shares, utilisation
from nesting.resolving.cutting_list import CuttingList, GarmentEntry, PieceEntry

__all__ = ["in_patches"]

#: mm. Patches that overlap by less lie beside each other.
TOUCH_MM = 1e-6

_Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class _Wanted:
    """A follower on the first cloth's table, through one ply (or folded round two), and the box of its patch."""

    follower: Placement
    section: int
    plies: tuple[int, ...]
    face: str
    bare: _Box
    box: _Box

    @property
    def grain(self) -> float:
        """The turn of its grain on the table, degrees."""
        return round(self.follower.turn) % 360


def in_patches(order: CuttingList, first: Lay, apart: Lay, options: SearchOptions) -> tuple[Lay, Lay]:
    """Both lays, the second cloth cut in patches that lie at their leaders on the first. ``apart``: the second cloth by
    itself, for its facts. CannotLayError says why it cannot be."""
    cloth = order.cloth_named(apart.cloth)
    try:
        pairs = pairs_of(order, first, apart.cloth)
        check_pairs(order, cloth, pairs, apart, same_faces=False)
        groups = _grouped(_wanted(order, first, cloth, pairs), cloth)
    except Apart as why:
        words = f"'{cloth.name}' cannot be cut in patches: {why}"
        raise CannotLayError(words, key=cloth.name, code="cloth.no-patches") from None
    lay = _laid(order, cloth, groups, options)
    followers: list[Placement] = []
    patches: list[Patch] = []
    spots = {p.piece: p for p in lay.placements}
    for number, group in enumerate(groups, start=1):
        spot = spots[_name(number)]
        box = _union([w.box for w in group])
        here = [_moved(order, w, box, spot) for w in group]
        own = tuple(range(len(followers), len(followers) + len(here)))
        followers += here
        patches.append(_patch(number, group, box, spot, own, first.cloth))
    section = replace(lay.sections[0], placements=tuple(followers))
    forbidden = _why_not(order, cloth, section, lay.lay_length)
    if forbidden is not None:
        words = f"'{cloth.name}' cannot be cut in patches: {forbidden}"
        raise CannotLayError(words, key=cloth.name, code="cloth.no-patches")
    counts = order.counts
    bought = lay.buy_length
    second = replace(
        apart,
        sections=(section,),
        lay_length=lay.lay_length,
        buy_length=bought,
        lower_bound=min(apart.lower_bound, lay.lay_length),
        utilisation=utilisation((section,), cloth.width_washed),
        garments=garment_shares(followers, counts, bought),
        tried=(),
        over=None,
        over_at=(),
        patches=tuple(patches),
        notes=tuple(n for n in apart.notes if "is refused" in n),
    )
    places = tuple((p.number, apart.cloth, p.on) for p in patches)
    return replace(first, patch_places=(*first.patch_places, *places)), second


def _why_not(order: CuttingList, cloth: Cloth, section: Section, length: float) -> str | None:
    """Why the patches that were found cannot be: a half that may not be opened out, a turn not allowed, followers
    nearer in a patch than their cloth's gap, cloth that does not reach."""
    for p in section.placements:
        if p.opened and not order.cut(p.piece, p.size).unfold:
            return f"'{p.piece}' may not be opened out (unfold = false)"
        allowed = orientation(order.cut(p.piece, p.size), cloth).turns
        if not any(abs((p.turn - turn + 180.0) % 360.0 - 180.0) < 1e-6 for turn in allowed):
            return f"'{p.piece}' may not lie at {p.turn:g}° on it"
    if cloth.gap > 0.0:
        shapes = [Polygon(p.outline) for p in section.placements]
        if any(a.distance(b) < cloth.gap - 1e-6 for a, b in combinations(shapes, 2)):
            return f"its pieces would lie nearer than the gap of {cloth.gap:g} mm"
    near = why_not_together(order, cloth, [section])
    if near is not None:
        return near
    needed = buy_length("open", cloth, length, rounded=False)
    if cloth.length is not None and needed > cloth.length:
        return f"{needed / 10:.1f} cm would be needed, there are {cloth.length / 10:.1f} cm"
    return None


def _wanted(order: CuttingList, first: Lay, cloth: Cloth, pairs: Pairs) -> list[_Wanted]:
    if cloth.tubular:
        raise Apart("it is a tube")
    found: list[_Wanted] = []
    for number, section in enumerate(first.sections):
        for p in section.placements:
            pair = pairs.get((p.piece, p.garment, p.size))
            if pair is None or p.follows is not None:
                continue
            follower = pair.follower
            if follower.turn in ("bias", "any") or matching_for(order, cloth, follower).any:
                raise Apart(f"'{follower.name}' has no plain grain, or its repeat has to match")
            at = at_leader(p, pair)
            if abs(at.turn / 90.0 - round(at.turn / 90.0)) > 1e-6:
                raise Apart(f"'{follower.name}' lies aslant on its leader")
            for k, plies in enumerate([p.plies] if p.on_fold else [(ply,) for ply in sorted(p.plies)]):
                face = _face(section, plies[0])
                if pair.faces == "to the leader":
                    face = "down" if face == "up" else "up"
                found.append(_one(order, at, number, plies, face, k, cloth.patch_margin))
    if not found:
        raise Apart(f"no leader lies on '{first.cloth}'")
    return found


def _face(section: Section, ply: int) -> str:
    return next(q.face for q in section.spread.plies if q.ply == ply)


def _one(
    order: CuttingList, at: Placement, section: int, plies: tuple[int, ...], face: str, k: int, margin: float
) -> _Wanted:
    """The follower through these plies alone; a half that lies on the fold is opened out, as its patch is unfolded."""
    copies = at.copies or (at.copy,)
    copy = copies[k % len(copies)] if not at.on_fold else copies[0]
    piece = order.cut(at.piece, at.size).piece
    opened = at.opened or at.on_fold
    whole = mirrored_over_fold(piece) if opened else piece
    shape = placed(whole, at.x, at.y, at.turn, at.flipped)
    one = _drawn(at, shape, opened=opened, copy=copy)
    xs, ys = [x for x, _ in one.outline], [y for _, y in one.outline]
    bare = (min(xs), min(ys), max(xs), max(ys))
    box = (bare[0] - margin, bare[1] - margin, bare[2] + margin, bare[3] + margin)
    return _Wanted(one, section, plies, face, bare, box)


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
        outline=shape.outline,
        inside=shape.inside,
        cutouts=shape.cutouts,
        notches=shape.notches,
        drills=shape.drills,
        grainline=shape.grainline,
        fold=shape.fold,
        seam=shape.seam,
    )


def _overlap(a: _Box, b: _Box) -> bool:
    return min(a[2], b[2]) - max(a[0], b[0]) > TOUCH_MM and min(a[3], b[3]) - max(a[1], b[1]) > TOUCH_MM


def _union(boxes: Sequence[_Box]) -> _Box:
    return (min(b[0] for b in boxes), min(b[1] for b in boxes), max(b[2] for b in boxes), max(b[3] for b in boxes))


def _grouped(wanted: list[_Wanted], cloth: Cloth) -> list[list[_Wanted]]:
    """Followers that share a patch: those whose patches meet on the same plies, with the same grain. Other patches that
    meet give up margin to each other; Apart where even the followers' own boxes do."""

    def alike(a: list[_Wanted], b: list[_Wanted]) -> bool:
        one, other = a[0], b[0]
        same = (one.section, one.plies, one.face) == (other.section, other.plies, other.face)
        turned = (one.grain - other.grain) % (360 if cloth.nap != "none" else 180)
        return same and turned == 0

    groups = [[w] for w in wanted]
    changed = True
    while changed:
        changed = False
        for i, j in combinations(range(len(groups)), 2):
            a, b = groups[i], groups[j]
            if alike(a, b) and _overlap(_union([w.box for w in a]), _union([w.box for w in b])):
                groups[i] = a + b
                del groups[j]
                changed = True
                break
    for i, j in combinations(range(len(groups)), 2):
        a, b = groups[i], groups[j]
        if a[0].section != b[0].section or not set(a[0].plies) & set(b[0].plies):
            continue
        if _overlap(_union([w.box for w in a]), _union([w.box for w in b])):
            groups[i], groups[j] = _shrunk(a, b)
    return groups


def _shrunk(a: list[_Wanted], b: list[_Wanted]) -> tuple[list[_Wanted], list[_Wanted]]:
    """Both without the margin in which their patches overlap: each ends half way between the followers."""
    one, other = _union([w.bare for w in a]), _union([w.bare for w in b])
    for axis in (0, 1):
        for low, high, first, second in ((one, other, a, b), (other, one, b, a)):
            if low[axis + 2] <= high[axis] + TOUCH_MM:
                line = (low[axis + 2] + high[axis]) / 2
                ended = [_cut(w, axis + 2, line) for w in first]
                begun = [_cut(w, axis, line) for w in second]
                return (ended, begun) if first is a else (begun, ended)
    raise Apart("patches of different grain, or on a fold and beside it, would overlap")


def _cut(w: _Wanted, side: int, line: float) -> _Wanted:
    box = list(w.box)
    box[side] = min(box[side], line) if side >= 2 else max(box[side], line)
    return replace(w, box=(box[0], box[1], box[2], box[3]))


def _name(number: int) -> str:
    return f"patch {number}"


def _size(group: list[_Wanted]) -> tuple[float, float]:
    """Along and across the grain of the patch, mm."""
    x0, y0, x1, y1 = _union([w.box for w in group])
    return (x1 - x0, y1 - y0) if group[0].grain % 180 == 0 else (y1 - y0, x1 - x0)


def _laid(order: CuttingList, cloth: Cloth, groups: list[list[_Wanted]], options: SearchOptions) -> Lay:
    """The patches as rectangles on their own cloth, open, as short as the search finds."""
    pieces = []
    for number, group in enumerate(groups, start=1):
        a, b = (side / 2 for side in _size(group))
        ring = ((-a, -b), (a, -b), (a, b), (-a, b))
        cuts = [order.cut(w.follower.piece, w.follower.size) for w in group]
        stretch = max((c.needs_stretch for c in cuts if c.needs_stretch is not None), default=None)
        turn = cuts[0].turn
        pieces.append(
            CutPiece(
                Piece(_name(number), ring, grainline=((-a, 0.0), (a, 0.0))),
                None,
                cloth=cloth.name,
                turn=turn,
                needs_stretch=stretch,
                band=True,
            )
        )
    # rectangles are their own mirror image, so they have no hand
    entries = tuple(PieceEntry(p, cloth.name, (None,), (None,)) for p in pieces)
    rectangles = replace(
        order,
        garments=(GarmentEntry("patches", None, 1, entries),),
        cloths=(replace(cloth, spreads=("open",), plies=1, surplus=False),),
        trims=(),
        openings=(),
        matched=(),
        remnants=(),
    )
    return lay_cloth(rectangles, cloth.name, options, spread="open")


def _moved(order: CuttingList, w: _Wanted, box: _Box, spot: Placement) -> Placement:
    """The follower as it lies on its own cloth, where its patch lies at ``spot``, face up."""
    p = w.follower
    cx, cy = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    grain = w.grain if w.grain in (0, 90) else w.grain - 180
    a = math.radians(grain)
    u = math.cos(a) * (p.x - cx) + math.sin(a) * (p.y - cy)
    v = -math.sin(a) * (p.x - cx) + math.cos(a) * (p.y - cy)
    mirrored = w.face == "down"
    relative = (p.turn - grain) % 360.0
    if mirrored:
        v, relative = -v, -relative
    t = math.radians(spot.turn)
    x, y = spot.x + math.cos(t) * u - math.sin(t) * v, spot.y + math.sin(t) * u + math.cos(t) * v
    turn, flipped = (relative + spot.turn) % 360.0, p.flipped != mirrored
    piece = order.cut(p.piece, p.size).piece
    shape = placed(mirrored_over_fold(piece) if p.opened else piece, x, y, turn, flipped)
    return replace(_drawn(p, shape, opened=p.opened, copy=p.copy), x=x, y=y, turn=turn, flipped=flipped)


def _patch(number: int, group: list[_Wanted], box: _Box, spot: Placement, own: tuple[int, ...], cloth: str) -> Patch:
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
        float(one.grain % 180),
        "up" if one.face == "up" else "down",
    )
    return Patch(number, length, width, margin, spot.x, spot.y, spot.turn, own, place)
