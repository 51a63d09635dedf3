"""Closed outlines of a drawing: closing what closes, telling pieces from cutouts and lines inside.

Outlines are looked for from the innermost groups outwards; lines that stay open are tried again one group up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import takewhile
from typing import TYPE_CHECKING

import numpy as np

from nesting.files.drawn import outline
from nesting.files.drawn.context import Context
from nesting.files.drawn.loops import Join, find_loops
from nesting.files.drawn.sketch import Group, Stroke, Text
from nesting.files.drawn.texts import Label
from nesting.model.piece import Ring

if TYPE_CHECKING:
    from shapely import Point as ShapelyPoint
    from shapely import Polygon

__all__ = ["Collector", "Found", "outermost", "seams_alone"]


#: A pattern of fifty pieces in ten sizes has 500 outlines. Beyond this a drawing is hostile.
MOST_OUTLINES = 20_000
#: mm. Outlines that are nowhere farther apart are one outline drawn twice (two flattened curves, two roundings).
_SAME_MM = 0.05
#: Roles that may close an outline which its cut lines leave open: a half drawn open along its fold, a named edge.
_MAY_CLOSE = (("fold",), ("edge",), ("edge", "fold"))


@dataclass
class Found:
    """One outline of a piece with all that belongs to it."""

    ring: Ring
    chain: tuple[Group, ...]
    marked: bool
    strokes: list[Stroke] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    parts: tuple[Stroke, ...] = ()
    joins: tuple[Join, ...] = ()
    branching: bool = False
    trimmed: bool = False
    cutouts: list[Ring] = field(default_factory=list)
    label: Label = field(default_factory=Label)
    weak_name: str | None = None
    home: int = 0

    @cached_property
    def extent(self) -> float:
        """Its area, mm²."""
        return abs(outline.area(self.ring))


def seams_alone(group: Group, ctx: Context) -> None:
    """Where a group has seam lines and nothing that could be a cut line, its seam outline is the outline."""
    below = [s for chain in group.walk() for s in chain[-1].strokes]
    if not any(s.role == "sew" for s in below):
        return
    if any(s.role in ("cut", "edge") or (s.role is None and (s.closed or len(s.points) > 2)) for s in below):
        for part in group.groups:
            if part.label.role is None:
                seams_alone(part, ctx)
        return
    for chain in group.walk():
        strokes = chain[-1].strokes
        for i, stroke in enumerate(strokes):
            if stroke.role == "sew":
                strokes[i] = replace(stroke, role="cut")
                ctx.seam_only.add(id(strokes[i]))


class Collector:
    """Finds closed outlines from the innermost groups outwards; open lines are tried again one group up."""

    def __init__(self, ctx: Context) -> None:
        self.ctx = ctx
        self.found: list[Found] = []
        self.homes: dict[int, tuple[Group, ...]] = {}

    def collect(self, group: Group, above: tuple[Group, ...]) -> list[Stroke]:
        """Outlines in and below the group; returns its open lines that may still close one further up."""
        chain = (*above, group)
        open_lines: list[Stroke] = []
        for below in group.groups:
            open_lines.extend(self.collect(below, chain))
        for stroke in group.strokes:
            self.homes[id(stroke)] = chain
            if stroke.closed and len(stroke.points) < 3:
                self.ctx.note("ignored", f"{stroke.where} encloses nothing and is left out", code="drawing.line-empty")
            elif stroke.closed and stroke.role in ("cut", None):
                if stroke.role == "cut" or stroke.round is None or stroke.round > 10.0:
                    self._add(stroke.points, chain, stroke.role == "cut", (stroke,))
                # else a small circle without a role: a mark
            elif not stroke.closed and stroke.role in ("cut", None, "edge", "fold") and len(stroke.points) >= 2:
                open_lines.append(stroke)
        if group.label.role is None and above:
            open_lines = self.close(open_lines)
        return open_lines

    def close(self, lines: list[Stroke], *, last: bool = False) -> list[Stroke]:
        """Close what closes; returns the lines that are left. ``last``: nothing more will be found."""
        cut = [s for s in lines if s.role == "cut"]
        if cut:
            lines = self._close_with(cut, lines, True, overshoot=last)
            # A cut outline that its fold line or its named edges complete:
            for roles in _MAY_CLOSE:
                cut = [s for s in lines if s.role == "cut"]
                if cut:
                    helped = cut + [s for s in lines if s.role in roles]
                    lines = self._close_with(helped, lines, True, overshoot=False, need_cut=True)
        if last:
            # An outline that is drawn as named edges only; not those that run along an outline or its seam line.
            edges = self._outside([s for s in lines if s.role == "edge"])
            if edges:
                lines = self._close_with(edges, lines, True, overshoot=False)
        bare = [s for s in lines if s.role is None]
        if bare:
            lines = self._close_with(bare, lines, False, overshoot=last)
        return lines

    def _outside(self, lines: list[Stroke]) -> list[Stroke]:
        """The lines that do not lie within an outline that is found already."""
        from shapely import LineString, Polygon, prepare

        if not lines:
            return []
        # An outline that crosses itself is refused later; its buffer could take very long.
        whole = [shape for shape in (Polygon(f.ring) for f in self.found) if shape.is_valid]
        shapes = [shape.buffer(self.ctx.join_gap) for shape in whole]
        prepare(shapes)
        return [s for s in lines if not any(shape.covers(LineString(s.points)) for shape in shapes)]

    def _close_with(
        self,
        these: list[Stroke],
        lines: list[Stroke],
        marked: bool,
        *,
        overshoot: bool,
        need_cut: bool = False,
    ) -> list[Stroke]:
        result = find_loops([s.points for s in these], self.ctx.join_gap, overshoot=False)
        if overshoot and not result.loops:
            these = self._outside(these)
            result = find_loops([s.points for s in these], self.ctx.join_gap)
        gone: set[int] = set()
        for loop in result.loops:
            parts = tuple(these[i] for i in loop.lines)
            if need_cut and not any(p.role == "cut" for p in parts):
                continue
            if need_cut:
                self._tell_completed(parts)
            where = _common([self.homes[id(p)] for p in parts])
            self._add(
                loop.ring,
                where,
                marked,
                parts,
                loop.joins,
                loop.branching,
                any(i in result.trimmed for i in loop.lines),
            )
            gone.update(id(p) for p in parts)
        # An edge or a fold line drawn over a cut line says more than the cut line does.
        for i in (i for i in result.doubled if these[i].role in ("cut", None)):
            gone.add(id(these[i]))
            self.ctx.note("repaired", f"{these[i].where} is drawn twice; one kept", code="drawing.line-twice")
        return [s for s in lines if id(s) not in gone]

    def _tell_completed(self, parts: Sequence[Stroke]) -> None:
        """That a named edge closes an outline that is open there; that a fold line does is a half as it should be."""
        own = next(p for p in parts if p.role == "cut")
        for p in parts:
            if p.role == "edge":
                self.ctx.note(
                    "note",
                    f"{own.where} is open; {p.where} closes it over {outline.length(p.points):.1f} mm. If that is a "
                    "slip, close the cut line in the drawing",
                    code="outline.completed",
                )

    def _add(
        self,
        points: Ring,
        chain: tuple[Group, ...],
        marked: bool,
        parts: tuple[Stroke, ...],
        joins: tuple[Join, ...] = (),
        branching: bool = False,
        trimmed: bool = False,
    ) -> None:
        self.found.append(Found(points, chain, marked, parts=parts, joins=joins, branching=branching, trimmed=trimmed))


def _common(chains: list[tuple[Group, ...]]) -> tuple[Group, ...]:
    """The groups that all chains begin with."""
    common = chains[0]
    for chain in chains[1:]:
        same = sum(1 for _ in takewhile(lambda pair: pair[0] is pair[1], zip(common, chain, strict=False)))
        common = common[:same]
    return common


def _content(chain: tuple[Group, ...]) -> int:
    """The nearest group that is a thing and not a role or a program's own grouping, as an identity."""
    for group in reversed(chain[1:]):
        if group.label.role is None and (group.label.name or group.label.size):
            return id(group)
    return 0


def outermost(found: list[Found], ctx: Context) -> list[Found]:
    """Sort nested outlines out: which are pieces, which cutouts, lines inside, or drawn twice."""
    found = _without_specks(found, ctx)
    if not found:
        return []
    if len(found) > MOST_OUTLINES:
        raise ctx.error(
            f"the drawing has {len(found)} closed outlines, which is no pattern; save only the pieces",
            code="drawing.too-many-outlines",
        )
    drop, within = _nested(found, ctx)
    holding = {j for js in within.values() for j in js}
    any_marked = any(f.marked for f in found)
    pieces = []
    for i, f in enumerate(found):
        if i in drop:
            continue
        outer = [found[j] for j in within[i] if j not in drop]
        if not f.marked and any_marked:
            above = set(map(id, f.chain))
            hosts = [o for o in outer if o.marked and (not _content(f.chain) or _content(o.chain) in above)]
            if hosts:
                _as_inside(f, hosts, ctx)
                continue
            if i in holding and any(found[j].marked and j not in drop for j in within if i in within[j]):
                ctx.note(
                    "ignored",
                    f"a line around whole pieces ({_what(f)}) has no role and is taken as a frame",
                    code="drawing.frame",
                )
                continue
        mates = [o for o in outer if _content(o.chain) == _content(f.chain)]
        if mates and f.marked:
            _as_cutout(f, mates, ctx)
            continue
        if mates:
            _as_inside(f, mates, ctx)
            continue
        if any_marked and not f.marked:
            ctx.note(
                "ambiguous",
                f"a closed outline without a role ({_what(f)}) is taken as a piece's cut outline",
                code="drawing.outline-without-role",
            )
        pieces.append(f)
    return pieces


def _without_specks(found: list[Found], ctx: Context) -> list[Found]:
    """Without closed lines of no role that are too small for any piece (a hatching, the dot of a letter), where the
    same drawing or group has an outline that is not."""
    small = [f for f in found if not f.marked and abs(outline.area(f.ring)) < outline.LEAST_AREA_MM2]
    gone = set(map(id, small))
    whole = {_content(f.chain) for f in found if id(f) not in gone}
    specks = [f for f in small if _content(f.chain) in whole]
    if specks:
        one = len(specks) == 1
        ctx.note(
            "ignored",
            f"{len(specks)} closed {'line' if one else 'lines'} of less than {outline.LEAST_AREA_MM2:g} mm² "
            f"({_what(specks[0])}{'' if one else ' is the first'}) {'is' if one else 'are'} no piece and left out",
            code="drawing.specks",
        )
    gone = set(map(id, specks))
    return [f for f in found if id(f) not in gone]


def _nested(found: list[Found], ctx: Context) -> tuple[set[int], dict[int, list[int]]]:
    """Outlines that are drawn twice, and for each the larger ones that it lies in, by number."""
    from shapely import Polygon, STRtree, prepare

    shapes = [Polygon(np.asarray(f.ring)) for f in found]
    dots = [_inner_point(shape) for shape in shapes]
    known = [i for i, dot in enumerate(dots) if dot is not None]
    tried, boxed = STRtree(shapes).query([dots[i] for i in known]) if known else ((), ())
    if len(tried) > 10 * MOST_OUTLINES:
        raise ctx.error(
            "outlines lie in one another hundreds of times over, which is no pattern; save only the pieces",
            code="drawing.nested-too-deep",
        )
    boxes = [shape.bounds for shape in shapes]
    extents = [f.extent for f in found]
    content = [_content(f.chain) for f in found]
    drop: set[int] = set()
    within: dict[int, list[int]] = {i: [] for i in range(len(found))}
    prepare(shapes)
    for i, j in ((known[int(k)], int(m)) for k, m in zip(tried, boxed, strict=True)):
        if j == i or j in drop or i in drop or not shapes[j].contains(dots[i]):
            continue
        near = all(abs(p - q) <= _SAME_MM for p, q in zip(boxes[i], boxes[j], strict=True))
        if near and content[i] == content[j] and _same_ring(found[i].ring, found[j].ring):
            twin, kept = max(i, j), min(i, j)
            if found[twin].marked and not found[kept].marked:
                twin, kept = kept, twin
            drop.add(twin)
            ctx.note(
                "repaired", f"an outline is drawn twice ({_what(found[twin])}); one kept", code="drawing.outline-twice"
            )
        elif extents[j] > extents[i]:
            within[i].append(j)
    return drop, within


def _as_cutout(f: Found, mates: list[Found], ctx: Context) -> None:
    max(mates, key=lambda o: o.extent).cutouts.append(f.ring)
    ctx.note(
        "ambiguous",
        f"a cut line lies inside another outline ({_what(f)}); taken as a cutout. If it is a line inside "
        "the piece or a piece of its own, give it that role or a group of its own",
        code="drawing.cut-line-inside",
    )


def _as_inside(f: Found, outer: list[Found], ctx: Context) -> None:
    # the outermost is a piece for certain; those between may be lines inside themselves
    host = max(outer, key=lambda o: o.extent)
    host.strokes.append(Stroke((*f.ring, f.ring[0]), role="inside", where=_what(f)))
    if not all(p.role == "inside" for p in f.parts):
        ctx.note(
            "ambiguous",
            f"a closed line without a role lies inside an outline ({_what(f)}); taken as a line inside the piece. If "
            "it is to be cut out, call it 'cutout'",
            code="drawing.line-without-role",
        )


def _inner_point(shape: Polygon) -> ShapelyPoint | None:
    """A point inside an outline, None where it is too crooked to have one."""
    from shapely.errors import GEOSException

    try:
        dot = shape.representative_point()
    except (GEOSException, ValueError):
        return None
    return None if dot.is_empty else dot


def _same_ring(a: Ring, b: Ring) -> bool:
    """Whether two outlines with the same box run along one another, whichever way and wherever they begin."""
    if abs(abs(outline.area(a)) - abs(outline.area(b))) > _SAME_MM * outline.length(a, True):
        return False
    return all(outline.nearest(b, p).away <= _SAME_MM for p in a[:: max(1, len(a) // 60)])


def _what(f: Found) -> str:
    x0, y0, x1, y1 = outline.box(f.ring)
    return f"{f.parts[0].where}, {x1 - x0:.1f} × {y1 - y0:.1f} mm at ({x0:.1f}, {y0:.1f})"
