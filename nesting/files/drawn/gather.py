"""From strokes and texts in groups to outlines, each with everything that belongs to it.

A piece is a group or layer that holds one outermost cut outline; what stands in that group belongs to it. What stands
elsewhere (a layer of all grainlines, a text) belongs to the outline it lies in, or, where sizes are drawn nested
in one another within one group, to all of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from nesting.files.drawn import outline
from nesting.files.drawn.collect import Collector, Found, outermost, seams_alone
from nesting.files.drawn.context import Context
from nesting.files.drawn.loops import find_loops, gaps_between
from nesting.files.drawn.sketch import Group, Stroke, Text
from nesting.files.drawn.testsquare import take_test_square
from nesting.files.drawn.texts import Label, read_label
from nesting.files.drawn.vocabulary import is_made_up, read_role, says_grain
from nesting.model.piece import Line, Point

__all__ = ["gather", "text_label"]


#: mm. What is drawn smaller than this beside the pieces is no outline that somebody forgot to close.
_SMALL_MM = 30.0
#: share of its length. Lines whose ends are no farther apart than this were meant to close.
_NEARLY = 0.05


def gather(root: Group, ctx: Context) -> tuple[list[Found], float | None]:
    """All outlines of the drawing, and the side of its test square as measured (mm), None if it has none.

    Raises PatternError where a cut line does not close, or where nothing is closed at all.
    """
    square = take_test_square(root, ctx)
    seams_alone(root, ctx)
    collector = Collector(ctx)
    left = collector.collect(root, ())
    loose = collector.close(left, last=True)
    found = outermost(collector.found, ctx)
    if not found:
        _complain(loose, ctx)
    _reject_open_cuts(loose, found, ctx)
    _name(found, root)
    _hand_out(root, found, collector, ctx)
    return found, square


def _name(found: list[Found], root: Group) -> None:
    """The label of each outline from the groups around it, the innermost first, and its home group: the outermost
    group that holds this outline alone.

    A group that holds several outlines, and not just the sizes of one, names none of them for certain: its name is
    taken only where there is no other.
    """
    holds: dict[int, list[Found]] = {}
    for f in found:
        for group in f.chain:
            holds.setdefault(id(group), []).append(f)
        inward = [group for group in reversed(f.chain) if group.label.role is None]
        for group in sorted(inward, key=lambda group: group.shared):
            f.label = f.label.over(group.label)
    for f in found:
        f.home = next((id(group) for group in f.chain[1:] if len(holds[id(group)]) == 1), 0)
    many = {
        key
        for key, inside in holds.items()
        if len(inside) > 1
        and (len({f.label.size for f in inside}) < len(inside) or any(f.label.size is None for f in inside))
    }
    for f in found:
        named = [group for group in f.chain if group.label.role is None and group.label.name is not None]
        if named and all(id(group) in many for group in named):
            f.weak_name = f.label.name
            f.label = replace(f.label, name=None)


def _hand_out(root: Group, found: list[Found], collector: Collector, ctx: Context) -> None:
    """Give each remaining stroke and text to the outline it belongs to."""
    used = {id(p) for f in collector.found for p in f.parts}
    finder = _Finder(found, ctx)
    unfinished = _open_outlines(root, used, finder, ctx)
    by_home = {f.home: f for f in found if f.home}
    for chain in root.walk():
        owner = next((by_home[id(g)] for g in reversed(chain) if id(g) in by_home), None)
        alone = found[0] if len(found) == 1 else None
        for stroke in chain[-1].strokes:
            if id(stroke) in used:
                continue
            if unfinished & {id(g) for g in chain}:
                continue  # it belongs to the piece that is not there
            if stroke.role == "aside":
                ctx.note(
                    "ignored",
                    f"{stroke.where} is drawn for other purposes and is left out",
                    code="drawing.other-purpose",
                )
                continue
            owners = [owner] if owner else finder.owners(stroke.points, chain, stroke.closed)
            if not owners and alone is not None and stroke.role is not None:
                owners = [alone]
            for f in owners:
                f.strokes.append(stroke)
            if not owners:
                ctx.note("ignored", f"{stroke.where} lies in no piece and is left out", code="drawing.line-in-no-piece")
        for text in chain[-1].texts:
            owners = [owner] if owner else finder.owners((text.at,), chain, False)
            for f in owners:
                f.texts.append(text)
            if not owners and len(text.text) < 200:
                ctx.note("note", f"the text '{_short(text.text)}' stands in no piece", code="drawing.text-in-no-piece")


def _open_outlines(root: Group, used: set[int], finder: _Finder, ctx: Context) -> set[int]:
    """Groups that hold no outline, but lines outside all pieces that would nearly close to one: told as what is open,
    where and how wide, as a piece is missing. Returns their ids."""
    unfinished: set[int] = set()
    for chain in root.walk():
        group = chain[-1]
        lines = [
            s
            for s in group.strokes
            if id(s) not in used and s.role is None and not s.closed and len(s.points) > 1
            and not finder.owners(s.points, chain, False)
        ]  # fmt: skip
        whole = sum(outline.length(s.points) for s in lines)
        xs, ys = ([p[k] for s in lines for p in s.points] for k in (0, 1))
        if not lines or min(max(xs) - min(xs), max(ys) - min(ys)) < _SMALL_MM:
            continue
        ends = [end for end in find_loops([s.points for s in lines], ctx.join_gap).loose_ends if end.gap > ctx.join_gap]
        if not ends or max(end.gap for end in ends) > _NEARLY * whole:
            continue
        end = ends[0]
        names = ", ".join(dict.fromkeys(s.where for s in lines[:3]))
        drawn, gaps = _drawn_open([s.points for s in lines], ctx)
        ctx.note(
            "warning",
            f"the outline is open ({names}), so it is no piece: its ends at ({end.at[0]:.1f}, {end.at[1]:.1f}) mm are "
            f"{end.gap:.2f} mm apart, and gaps up to {ctx.join_gap:g} mm are closed. Close the outline in the drawing",
            code="outline.open",
            gap=end.gap,
            lines=drawn,
            gaps=gaps,
        )
        if group is not root:
            unfinished.add(id(group))
    return unfinished


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:39] + "…"


class _Finder:
    """Which outlines a stroke lies in."""

    def __init__(self, found: list[Found], ctx: Context) -> None:
        from shapely import Polygon, STRtree

        self.found = found
        self.gap = ctx.join_gap
        self.shapes = [Polygon(np.asarray(f.ring)) for f in found]
        self.tree = STRtree(self.shapes)

    def owners(self, points: Sequence[Point], chain: tuple[Group, ...], closed: bool) -> list[Found]:
        """The smallest outline that holds the middle of the line, else one it touches; all nested sizes of a group
        where the line is drawn once for them."""
        from shapely import Point as Dot

        inside_chain = {id(g) for g in chain}
        tries = [outline.half_way(points, closed)]
        if len(points) > 1:
            tries += [points[0], points[-1]]
        for reach in (0.0, max(self.gap, 15.0 if len(points) > 1 and outline.length(points) < 60 else 0.0)):
            for at in tries:
                dot = Dot(at)
                near = self.tree.query(dot.buffer(reach) if reach else dot)
                hits = [int(i) for i in near if self.shapes[i].distance(dot) <= reach]
                if not hits:
                    continue
                if reach:
                    return [self.found[min(hits, key=lambda i: self.shapes[i].exterior.distance(dot))]]
                first = min(hits, key=lambda i: self.found[i].extent)
                name = self.found[first].label.name
                return [
                    self.found[i]
                    for i in hits
                    if i == first
                    or (
                        name is not None
                        and self.found[i].label.name == name
                        and self.found[i].label.size != self.found[first].label.size
                        and id(self.found[i].chain[-1]) not in inside_chain
                    )
                ]
        return []


def _reject_open_cuts(loose: list[Stroke], found: list[Found], ctx: Context) -> None:
    cut = [s for s in loose if s.role == "cut"]
    rest = [s for s in cut if not _repeats(s, found, ctx)]
    if rest:
        _complain(rest, ctx)


def _repeats(stroke: Stroke, found: list[Found], ctx: Context) -> bool:
    """Whether an open cut line only runs along outlines that are there, or lies within one (a slash, a dart)."""
    for f in found:
        if all(outline.nearest(f.ring, p).away <= 0.05 for p in stroke.points[:: max(1, len(stroke.points) // 40)]):
            ctx.note(
                "repaired",
                f"{stroke.where} is drawn over the outline a second time; left out",
                code="outline.drawn-over",
            )
            f.parts = (*f.parts, stroke)
            return True
    from shapely import LineString, Polygon

    for f in found:
        shape = Polygon(f.ring)
        if shape.is_valid and shape.buffer(ctx.join_gap).covers(LineString(stroke.points)):
            ctx.note(
                "ambiguous",
                f"an open cut line lies inside an outline ({stroke.where}); taken as a line inside the piece",
                code="drawing.open-line-inside",
            )
            f.parts = (*f.parts, stroke)
            f.strokes.append(replace(stroke, role="inside"))
            return True
    return False


def _complain(loose: list[Stroke], ctx: Context) -> None:
    """Raise the error for a drawing whose cut lines do not close."""
    lines = [s for s in loose if s.role == "cut"] or [s for s in loose if s.role is None]
    if not lines:
        raise ctx.error(
            "no closed outline was found, so there is no piece: draw each piece's cut line as a closed outline, in a "
            "group or layer of its own",
            code="drawing.no-outline",
        )
    result = find_loops([s.points for s in lines], ctx.join_gap)
    names = ", ".join(dict.fromkeys(s.where for s in lines[:3]))
    wide = [end for end in result.loose_ends if end.gap > ctx.join_gap]
    if wide:
        end = wide[0]
        where = f"({end.at[0]:.1f}, {end.at[1]:.1f}) mm"
        drawn, gaps = _drawn_open([s.points for s in lines], ctx)
        raise ctx.error(
            f"the outline is open ({names}): its ends at {where} are {end.gap:.2f} mm apart, and gaps up to "
            f"{ctx.join_gap:g} mm are closed. Close the outline in the drawing",
            code="outline.open",
            gap=end.gap,
            lines=drawn,
            gaps=gaps,
        )
    raise ctx.error(
        f"the outline is open or encloses nothing ({names}): draw it as a closed outline", code="outline.open"
    )


#: points of an open outline's drawing: it shows where the gap is, no more
_MOST_POINTS = 600


def _drawn_open(lines: Sequence[Line], ctx: Context) -> tuple[str, tuple[str, ...]]:
    """An open outline to be drawn: its lines as SVG path data, and each of its gaps as "x y x y", mm, y upwards."""
    step = 1 + sum(len(line) for line in lines) // _MOST_POINTS
    path = "".join(
        "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in (*line[:-1:step], line[-1])) for line in lines if len(line) > 1
    )
    gaps = [pair for pair in gaps_between(lines) if math.dist(*pair) > ctx.join_gap]
    return path, tuple(" ".join(f"{v:.2f}" for p in pair for v in p) for pair in gaps)


def text_label(texts: Sequence[Text]) -> tuple[Label, list[str]]:
    """What the texts in a piece say together, the upper ones first, and all that could be its name."""
    label = Label()
    names: list[str] = []
    for text in sorted(texts, key=lambda t: (-t.at[1], t.at[0])):
        if not is_made_up(text.text):
            said = read_label(text.text)
            role = read_role(text.text) is not None or says_grain(text.text)
            if role and said.cut is None and said.on_fold is None:
                # a word for a line ("grainline"); "cut 2" and "place on fold" say more than that
                continue
            label = label.over(said)
            if said.name is not None:
                names.append(said.name)
    return label, names
