"""From strokes and texts in groups to outlines, each with everything that belongs to it.

A piece is a group or layer that holds one outermost cut outline; what stands in that group belongs to it. What stands
elsewhere (a layer of all grainlines, a text) belongs to the outline it lies in, or, where sizes are drawn nested
in one another within one group, to all of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from nesting.errors import PatternError
from nesting.files import outline
from nesting.files.loops import Join, find_loops
from nesting.files.sketch import Group, Stroke, Text
from nesting.files.words import Label, is_made_up, read_label, test_square_mm
from nesting.findings import Finding
from nesting.pieces.piece import Point, Ring

__all__ = ["Context", "Found", "gather"]

#: Roles that may close an outline which its cut lines leave open: a half drawn open along its fold, a named edge.
_MAY_CLOSE = (("edge",), ("fold",), ("edge", "fold"))


@dataclass
class Context:
    """What reading one file needs to know and collects. ``chord`` and ``join_gap`` mm."""

    file: str
    chord: float
    join_gap: float
    findings: list[Finding] = field(default_factory=list)
    seam_only: set[int] = field(default_factory=set)

    def note(self, kind: str, message: str, piece: str | None = None) -> None:
        """Add a finding, once."""
        found = Finding(kind, message, self.file, piece)  # type: ignore[arg-type]
        if found not in self.findings:
            self.findings.append(found)

    def error(self, message: str, piece: str | None = None) -> PatternError:
        """An error about this file."""
        return PatternError(message, file=self.file, piece=piece)


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
    home: int = 0

    @property
    def extent(self) -> float:
        """Its area, mm²."""
        return abs(outline.area(self.ring))


def gather(root: Group, ctx: Context) -> tuple[list[Found], float | None]:
    """All outlines of the drawing, and the side of its test square as measured (mm), None if it has none.

    Raises PatternError where a cut line does not close, or where nothing is closed at all.
    """
    square = _take_test_square(root, ctx)
    _seams_alone(root, ctx)
    collector = _Collector(ctx)
    left = collector.collect(root, ())
    _, loose = collector.close(left, (root,), last=True)
    found = _outermost(collector.found, ctx)
    if not found:
        _complain(loose, ctx)
    _reject_open_cuts(loose, found, ctx)
    _name(found, root)
    _hand_out(root, found, loose, collector, ctx)
    return found, square


# -- test square ----------------------------------------------------------------------------------------------------


def _take_test_square(root: Group, ctx: Context) -> float | None:
    """Measure test squares and take them out of the drawing."""
    squares: list[tuple[Group, Stroke]] = []
    stated: list[tuple[float, Text, Group]] = []
    for chain in root.walk():
        group = chain[-1]
        for text in group.texts:
            side = test_square_mm(text.text, known=group.label.role == "test")
            if side:
                stated.append((side, text, group))
    for chain in root.walk():
        group = chain[-1]
        for stroke in group.strokes:
            if stroke.role == "test" and (stroke.closed or len(stroke.points) > 2):
                squares.append((group, stroke))
            elif stroke.role is None and stroke.closed and _is_square(stroke.points):
                x0, y0, x1, y1 = outline.box(stroke.points)
                if any(x0 <= t.at[0] <= x1 and y0 <= t.at[1] <= y1 for _, t, _ in stated):
                    squares.append((group, stroke))
    measured: float | None = None
    for group, stroke in squares:
        x0, y0, x1, y1 = outline.box(stroke.points)
        sides = (x1 - x0, y1 - y0)
        if min(sides) <= 0:
            continue
        group.strokes.remove(stroke)
        if measured is not None:
            continue
        measured = sum(sides) / 2
        said = [s for s, t, g in stated if g is group or (x0 <= t.at[0] <= x1 and y0 <= t.at[1] <= y1)]
        for words in (stroke.name, group.name):
            side = test_square_mm(words, known=True) if words else None
            if side:
                said.append(side)
        want = said[0] if said else (stated[0][0] if stated else None)
        for side in sides:
            if want is not None and abs(side - want) > 0.005 * want:
                ctx.note(
                    "warning",
                    f"the test square measures {sides[0]:.2f} × {sides[1]:.2f} mm but says {want:g} mm: the drawing "
                    "is not at full size; export it again at 100 % or give its units in the order",
                )
                break
        else:
            if want is None:
                ctx.note("note", f"the test square measures {sides[0]:.2f} × {sides[1]:.2f} mm; compare with yours")
    for chain in root.walk():
        # what else belongs to a test square: its cross lines and its text
        chain[-1].strokes[:] = [s for s in chain[-1].strokes if s.role != "test"]
        if squares:
            chain[-1].texts[:] = [t for t in chain[-1].texts if not any(t is s for _, s, _ in stated)]
    return measured


def _is_square(points: Sequence[Point]) -> bool:
    x0, y0, x1, y1 = outline.box(points)
    w, h = x1 - x0, y1 - y0
    return w > 0 and h > 0 and 0.5 < w / h < 2 and abs(abs(outline.area(points)) - w * h) < 1e-6 * w * h


def _seams_alone(group: Group, ctx: Context) -> None:
    """Where a group has seam lines and nothing that could be a cut line, its seam outline is the outline."""
    below = [s for chain in group.walk() for s in chain[-1].strokes]
    if not any(s.role == "sew" for s in below):
        return
    if any(s.role in ("cut", "edge") or (s.role is None and (s.closed or len(s.points) > 2)) for s in below):
        for part in group.groups:
            if part.label.role is None:
                _seams_alone(part, ctx)
        return
    for chain in group.walk():
        strokes = chain[-1].strokes
        for i, stroke in enumerate(strokes):
            if stroke.role == "sew":
                strokes[i] = replace(stroke, role="cut")
                ctx.seam_only.add(id(strokes[i]))


# -- outlines -------------------------------------------------------------------------------------------------------


class _Collector:
    """Finds closed outlines from the innermost groups outwards; open lines are tried again one group up."""

    def __init__(self, ctx: Context) -> None:
        self.ctx = ctx
        self.found: list[Found] = []
        self.inner: list[tuple[Ring, Stroke, tuple[Group, ...]]] = []
        self.homes: dict[int, tuple[Group, ...]] = {}

    def collect(self, group: Group, above: tuple[Group, ...]) -> list[Stroke]:
        """Outlines in and below the group; returns its open lines that may still close one further up."""
        chain = (*above, group)
        open_lines: list[Stroke] = []
        for below in group.groups:
            open_lines.extend(self.collect(below, chain))
        for stroke in group.strokes:
            self.homes[id(stroke)] = chain
            if stroke.closed and stroke.role in ("cut", None) and len(stroke.points) >= 3:
                if stroke.role == "cut" or stroke.round is None or stroke.round > 10.0:
                    self._add(stroke.points, chain, stroke.role == "cut", (stroke,))
                # else a small circle without a role: a mark
            elif not stroke.closed and stroke.role in ("cut", None, "edge", "fold") and len(stroke.points) >= 2:
                open_lines.append(stroke)
        if group.label.role is None and above:
            _, open_lines = self.close(open_lines, chain)
        return open_lines

    def close(
        self, lines: list[Stroke], chain: tuple[Group, ...], *, last: bool = False
    ) -> tuple[int, list[Stroke]]:
        """Close what closes; returns how many outlines that gave, and the lines that are left."""
        before = len(self.found)
        cut = [s for s in lines if s.role == "cut"]
        if cut:
            lines = self._close_with(cut, lines, chain, True, overshoot=last)
            # A cut outline that its fold line or its named edges complete:
            for roles in _MAY_CLOSE:
                cut = [s for s in lines if s.role == "cut"]
                if cut:
                    helped = cut + [s for s in lines if s.role in roles]
                    lines = self._close_with(helped, lines, chain, True, overshoot=False, need_cut=True)
        edges = [s for s in lines if s.role == "edge"]
        if edges:
            lines = self._close_with(edges, lines, chain, True, overshoot=False)
        bare = [s for s in lines if s.role is None]
        if bare:
            lines = self._close_with(bare, lines, chain, False, overshoot=last)
        return len(self.found) - before, lines

    def _close_with(
        self,
        these: list[Stroke],
        lines: list[Stroke],
        chain: tuple[Group, ...],
        marked: bool,
        *,
        overshoot: bool,
        need_cut: bool = False,
    ) -> list[Stroke]:
        result = find_loops([s.points for s in these], self.ctx.join_gap, overshoot=overshoot)
        gone: set[int] = set()
        for loop in result.loops:
            parts = tuple(these[i] for i in loop.lines)
            if need_cut and not any(p.role == "cut" for p in parts):
                continue
            where = min((self.homes[id(p)] for p in parts), key=len) if len(parts) == 1 else chain
            self._add(loop.ring, where, marked, parts, loop.joins, loop.branching, any(
                i in result.trimmed for i in loop.lines
            ))
            gone.update(id(p) for p in parts)
        for i in result.doubled:
            gone.add(id(these[i]))
            self.ctx.note("repaired", f"{these[i].where} is drawn twice; one kept")
        return [s for s in lines if id(s) not in gone]

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
        self.found.append(
            Found(points, chain, marked, parts=parts, joins=joins, branching=branching, trimmed=trimmed)
        )


def _content(chain: tuple[Group, ...]) -> int:
    """The nearest group that is a thing and not a role or a program's own grouping, as an identity."""
    for group in reversed(chain[1:]):
        if group.label.role is None and (group.label.name or group.label.size):
            return id(group)
    return 0


def _outermost(found: list[Found], ctx: Context) -> list[Found]:
    """Sort nested outlines out: which are pieces, which cutouts, lines inside, or drawn twice."""
    from shapely import Polygon, STRtree, prepare

    if not found:
        return []
    shapes = [Polygon(f.ring) for f in found]
    prepare(shapes)
    tree = STRtree(shapes)
    any_marked = any(f.marked for f in found)
    drop: set[int] = set()
    within: dict[int, list[int]] = {i: [] for i in range(len(found))}
    for i, f in enumerate(found):
        dot = _inner_point(f.ring)
        for j in tree.query(dot, predicate="within") if dot is not None else ():
            if j == i or j in drop or i in drop:
                continue
            if _same_ring(f.ring, found[j].ring):
                twin, kept = (i, int(j)) if i > j else (int(j), i)
                if found[twin].marked and not found[kept].marked:
                    twin, kept = kept, twin
                drop.add(twin)
                ctx.note("repaired", f"an outline is drawn twice ({_what(found[twin])}); one kept")
            elif found[j].extent > f.extent and shapes[j].covers(dot):
                within[i].append(int(j))
    pieces = []
    for i, f in enumerate(found):
        if i in drop:
            continue
        outer = [found[j] for j in within[i] if j not in drop]
        if not f.marked and any_marked:
            if any(o.marked for o in outer):
                _as_inside(f, outer, ctx)
                continue
            inner = [j for j in within if i in within[j] and found[j].marked and j not in drop]
            if inner:
                ctx.note("ignored", f"a line around whole pieces ({_what(f)}) has no role and is taken as a frame")
                continue
        mates = [o for o in outer if _content(o.chain) == _content(f.chain)]
        if mates:
            host = min(mates, key=lambda o: o.extent)
            if f.marked:
                host.cutouts.append(f.ring)
                ctx.note(
                    "ambiguous",
                    f"a cut line lies inside another outline ({_what(f)}); taken as a cutout. If it is a line inside "
                    "the piece or a piece of its own, give it that role or a group of its own",
                )
            else:
                _as_inside(f, mates, ctx)
            continue
        if any_marked and not f.marked:
            ctx.note("ambiguous", f"a closed outline without a role ({_what(f)}) is taken as a piece's cut outline")
        pieces.append(f)
    return pieces


def _as_inside(f: Found, outer: list[Found], ctx: Context) -> None:
    host = min(outer, key=lambda o: o.extent)
    host.strokes.append(Stroke((*f.ring, f.ring[0]), role="inside", where=_what(f)))
    if not all(p.role == "inside" for p in f.parts):
        ctx.note(
            "ambiguous",
            f"a closed line without a role lies inside an outline ({_what(f)}); taken as a line inside the piece. If it "
            "is to be cut out, call it 'cutout'",
        )


def _inner_point(ring: Ring):  # type: ignore[no-untyped-def]
    from shapely import Polygon
    from shapely.errors import GEOSException

    try:
        return Polygon(ring).representative_point()
    except (GEOSException, ValueError):
        return None


def _same_ring(a: Ring, b: Ring) -> bool:
    if any(abs(p - q) > 0.05 for p, q in zip(outline.box(a), outline.box(b), strict=True)):
        return False
    if abs(abs(outline.area(a)) - abs(outline.area(b))) > 0.05 * outline.length(a, True):
        return False
    return all(outline.nearest(b, p).away <= 0.05 for p in a[:: max(1, len(a) // 60)])


def _what(f: Found) -> str:
    x0, y0, x1, y1 = outline.box(f.ring)
    return f"{f.parts[0].where}, {x1 - x0:.1f} × {y1 - y0:.1f} mm at ({x0:.1f}, {y0:.1f})"


# -- names ----------------------------------------------------------------------------------------------------------


def _name(found: list[Found], root: Group) -> None:
    """The label of each outline from the groups around it, the innermost first, and its home group: the outermost
    group that holds this outline alone."""
    holds: dict[int, int] = {}
    for f in found:
        for group in f.chain:
            holds[id(group)] = holds.get(id(group), 0) + 1
    for f in found:
        label = Label()
        for group in reversed(f.chain):
            if group.label.role is None:
                label = label.over(group.label)
        f.label = label
        f.home = next((id(group) for group in f.chain if holds[id(group)] == 1), 0)


# -- everything else ------------------------------------------------------------------------------------------------


def _hand_out(root: Group, found: list[Found], loose: list[Stroke], collector: _Collector, ctx: Context) -> None:
    """Give each remaining stroke and text to the outline it belongs to."""
    used = {id(p) for f in collector.found for p in f.parts}
    finder = _Finder(found, ctx)
    by_home = {f.home: f for f in found if f.home}
    for chain in root.walk():
        owner = next((by_home[id(g)] for g in reversed(chain) if id(g) in by_home), None)
        labelled = owner is not None and owner.home != id(root)
        for stroke in chain[-1].strokes:
            if id(stroke) in used:
                continue
            if stroke.role == "aside":
                ctx.note("ignored", f"{stroke.where} is drawn for other purposes and is left out")
                continue
            owners = [owner] if owner and labelled else finder.owners(stroke.points, chain, stroke.closed)
            if not owners and owner is not None and stroke.role is not None:
                owners = [owner]
            for f in owners:
                f.strokes.append(stroke)
            if not owners:
                ctx.note("ignored", f"{stroke.where} lies in no piece and is left out")
        for text in chain[-1].texts:
            owners = [owner] if owner and labelled else finder.owners((text.at,), chain, False)
            for f in owners:
                f.texts.append(text)
            if not owners and len(text.text) < 200:
                ctx.note("note", f"the text '{_short(text.text)}' stands in no piece")
    del loose


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:39] + "…"


class _Finder:
    """Which outlines a stroke lies in."""

    def __init__(self, found: list[Found], ctx: Context) -> None:
        from shapely import Polygon, STRtree

        self.found = found
        self.gap = ctx.join_gap
        self.shapes = [Polygon(f.ring) for f in found]
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


# -- complaints -----------------------------------------------------------------------------------------------------


def _reject_open_cuts(loose: list[Stroke], found: list[Found], ctx: Context) -> None:
    cut = [s for s in loose if s.role == "cut"]
    rest = [s for s in cut if not _repeats(s, found, ctx)]
    if rest:
        _complain(rest, ctx)


def _repeats(stroke: Stroke, found: list[Found], ctx: Context) -> bool:
    """Whether an open cut line only runs along outlines that are there, or lies within one (a slash, a dart)."""
    for f in found:
        if all(outline.nearest(f.ring, p).away <= 0.05 for p in stroke.points[:: max(1, len(stroke.points) // 40)]):
            ctx.note("repaired", f"{stroke.where} is drawn over the outline a second time; left out")
            f.parts = (*f.parts, stroke)
            return True
    from shapely import LineString, Polygon

    for f in found:
        if Polygon(f.ring).buffer(ctx.join_gap).covers(LineString(stroke.points)):
            ctx.note(
                "ambiguous",
                f"an open cut line lies inside an outline ({stroke.where}); taken as a line inside the piece",
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
            "group or layer of its own"
        )
    result = find_loops([s.points for s in lines], ctx.join_gap)
    names = ", ".join(dict.fromkeys(s.where for s in lines[:3]))
    if result.loose_ends:
        end = result.loose_ends[0]
        where = f"({end.at[0]:.1f}, {end.at[1]:.1f}) mm"
        raise ctx.error(
            f"the outline is open ({names}): its ends at {where} are {end.gap:.2f} mm apart, and gaps up to "
            f"{ctx.join_gap:g} mm are closed. Close the outline in the drawing"
        )
    raise ctx.error(f"the outline is open or encloses nothing ({names}): draw it as a closed outline")


def text_label(texts: Sequence[Text]) -> Label:
    """What the texts in a piece say together, the upper ones first."""
    label = Label()
    for text in sorted(texts, key=lambda t: (-t.at[1], t.at[0])):
        if not is_made_up(text.text):
            label = label.over(read_label(text.text))
    return label
