"""The first cloth laid again with some of its leaders farther apart, so that each of these can have its own patch."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay, Section, placed
from nesting.model.piece import Piece
from nesting.planning.cut_together.followers import follower_motion
from nesting.planning.cut_together.layered import pairs_of
from nesting.planning.cut_together.placing import placed_by_search
from nesting.planning.layout.assemble import Assembly, NeedKey, assemble, with_length
from nesting.planning.layout.candidates import candidates_for
from nesting.planning.layout.demand import stacks_of
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.starts import Lying, lying_in, place_missing, places_from
from nesting.planning.layout.yardage import buy_length, garment_shares, utilisation
from nesting.resolving.cutting_list import CuttingList

__all__ = ["all_leaders", "leaders_apart", "leaders_at"]


def leaders_at(lay: Lay, numbers: Iterable[tuple[int, int]]) -> frozenset[NeedKey]:
    """The cloth pieces of the placements that are named by (section, number in it)."""
    found: set[NeedKey] = set()
    for section, number in numbers:
        p = lay.sections[section].placements[number]
        found |= {(p.piece, p.garment, p.size, copy) for copy in p.copies or (p.copy,)}
    return frozenset(found)


def all_leaders(listed: CuttingList, lay: Lay, seconds: Iterable[str]) -> frozenset[NeedKey]:
    """Every cloth piece of ``lay`` with a follower in one of the second cloths."""
    led = {key for second in seconds for key in pairs_of(listed, lay, second)}
    return frozenset(
        (p.piece, p.garment, p.size, copy)
        for p in lay.placements
        if (p.piece, p.garment, p.size) in led and p.follows is None
        for copy in p.copies or (p.copy,)
    )


def leaders_apart(
    listed: CuttingList, lay: Lay, seconds: Iterable[str], apart: frozenset[NeedKey], options: SearchOptions
) -> Lay:
    """The lay searched on from where it is, on the same spread, with room for a patch of its own at each of the cloth
    pieces ``apart``. CannotLayError if it is in sections, or if no such lay is found."""
    cloth = listed.cloth_named(lay.cloth)
    if len(lay.sections) != 1:
        raise CannotLayError("a lay in sections is not laid again for patches", key=cloth.name, code="cloth.no-patches")
    shapes = _with_room(listed, lay, tuple(seconds), apart)
    lying = lying_in(lay.placements)
    assembly, complete = _same_cutting(listed, lay, shapes, lying)
    staying = [one for one in lying if not any((one.piece, one.garment, one.size, c) in apart for c in one.copies)]
    start = place_missing(places_from(staying, assembly), assembly) if complete else None
    placements, length = placed_by_search(assembly, cloth.name, options, start)
    section = Section(with_length(assembly, length), length, placements)
    buy = buy_length(section.spread.kind, cloth, length)
    used = utilisation((section,), cloth.width_washed)
    tried = tuple(replace(t, lay_length=length, buy_length=buy, utilisation=used) if t.chosen else t for t in lay.tried)
    return replace(
        lay,
        sections=(section,),
        lay_length=length,
        buy_length=buy,
        lower_bound=min(lay.lower_bound, length),
        utilisation=used,
        garments=garment_shares(placements, listed.counts, buy),
        tried=tried,
    )


def _with_room(
    listed: CuttingList, lay: Lay, seconds: tuple[str, ...], apart: frozenset[NeedKey]
) -> Mapping[NeedKey, Piece]:
    """Each leader with the boxes of its followers added to its outline, in its grain frame."""
    from shapely.geometry import Polygon, box
    from shapely.geometry.polygon import orient

    wide: dict[tuple[str, str, str | None], Piece] = {}
    for second in seconds:
        for (name, garment, size), pair in pairs_of(listed, lay, second).items():
            leader, follower = pair.leader, pair.follower
            x, y, turn, flipped = follower_motion(pair.fits, 0.0, 0.0, 0.0, False)
            ring = placed(follower.piece, x, y, turn, flipped).outline
            xs, ys = [p[0] for p in ring], [p[1] for p in ring]
            piece = wide.get((name, garment, size), leader.piece)
            whole = Polygon(piece.outline).union(box(min(xs), min(ys), max(xs), max(ys))).union(Polygon(ring))
            if whole.geom_type == "Polygon":
                outline = tuple((float(px), float(py)) for px, py in orient(whole).exterior.coords[:-1])
                wide[name, garment, size] = replace(piece, outline=outline, cutouts=())
    return {key: wide[key[:3]] for key in apart if key[:3] in wide}


def _same_cutting(
    listed: CuttingList, lay: Lay, shapes: Mapping[NeedKey, Piece], lying: tuple[Lying, ...]
) -> tuple[Assembly, bool]:
    """The packing problem in which the lay is one of the layouts, but for the wider outlines; whether there is one."""
    cloth, spread = listed.cloth_named(lay.cloth), lay.sections[0].spread
    stacks = stacks_of(listed, cloth)
    kept: Assembly | None = None
    for candidate in candidates_for(spread.kind, stacks, cloth):
        for depths in dict.fromkeys((spread.depths, candidate.depths)):
            try:
                one = assemble(listed, cloth, stacks, spread.kind, depths=depths, style=candidate.style, shapes=shapes)
            except CannotLayError:
                continue
            if len(places_from(lying, one)) == len(one.jobs):
                return one, True
            kept = kept or one
    if kept is None:
        raise CannotLayError("no such lay was found", key=cloth.name, code="cloth.no-patches")
    return kept, False
