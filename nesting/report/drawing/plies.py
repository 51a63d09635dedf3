"""Which plies lie where, and which are cut at each placement."""

from __future__ import annotations

from nesting.model.lay import Section
from nesting.report.drawing.shapes import ring_box

__all__ = ["covering", "cut_through", "leaders_of", "ply_styles"]


def covering(section: Section) -> tuple[tuple[int, ...], ...]:
    """For each placement of a section the plies that lie at its place, bottom first.

    A ply counts where it covers more than a sliver (a two-hundredth) of the piece.
    """
    plies = section.spread.plies
    if len(plies) == 1:
        return tuple((plies[0].ply,) for _ in section.placements)
    boxes = [ring_box(ply.region) for ply in plies]
    if all(len(ply.region) == 4 for ply in plies) and all(box == boxes[0] for box in boxes):
        return tuple(tuple(ply.ply for ply in plies) for _ in section.placements)
    from shapely.geometry import Polygon

    regions = [(ply.ply, Polygon(ply.region)) for ply in plies]
    out = []
    for placement in section.placements:
        body = Polygon(placement.outline)
        out.append(
            tuple(
                k for k, region in regions if region.intersection(body).area > body.area / 200 or k in placement.plies
            )
        )
    return tuple(out)


def leaders_of(section: Section) -> dict[int, int]:
    """For each placement of a section that is cut together with another, which one (both by place in the section)."""
    out: dict[int, int] = {}
    for i, p in enumerate(section.placements):
        if p.follows is None:
            continue
        from shapely.geometry import Polygon

        body = Polygon(p.outline)
        shared = {
            j: body.intersection(Polygon(q.outline)).area
            for j, q in enumerate(section.placements)
            if q.piece == p.follows and (q.garment, q.size, q.follows) == (p.garment, p.size, None)
        }
        if shared and max(shared.values()) > body.area / 2:
            out[i] = max(shared, key=lambda j: shared[j])
    return out


def cut_through(section: Section) -> tuple[tuple[int, ...], ...]:
    """For each placement the plies that are cut at its place: its own, and those of a piece cut together with it."""
    own = [set(p.plies) for p in section.placements]
    for i, j in leaders_of(section).items():
        if section.placements[i].second_cloth is None:
            own[i] = own[j] = own[i] | own[j]
    return tuple(tuple(sorted(plies)) for plies in own)


def ply_styles(section: Section) -> tuple[str, ...]:
    """The line style of each placement by the plies that are cut: "all", "top", "bottom", "middle", or "with" for a
    piece that is cut together with another one here."""
    leaders = leaders_of(section)
    out = []
    for i, (plies, cover) in enumerate(zip(cut_through(section), covering(section), strict=True)):
        if i in leaders:
            out.append("with")
        elif len(cover) <= 1 or set(cover) <= set(plies):
            out.append("all")
        elif cover[-1] in plies:
            out.append("top")
        else:
            out.append("bottom" if cover[0] in plies else "middle")
    return tuple(out)
