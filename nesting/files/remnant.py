"""Reading the outline of a leftover piece of cloth, with its holes and flaws."""

from __future__ import annotations

import math
from pathlib import Path

from nesting.files.drawn import marks, outline
from nesting.files.drawn.context import Context
from nesting.files.drawn.loops import find_loops
from nesting.files.drawn.sketch import Stroke
from nesting.files.patterns import open_drawing
from nesting.model.findings import Finding
from nesting.model.piece import Point, Ring
from nesting.model.tolerances import CHORD_MM, JOIN_GAP_MM

__all__ = ["read_remnant", "small_picture"]

#: Bytes of a leftover's picture that a report may hold; those that come from photographs have some 50,000.
_LARGEST_SHOWN = 2_000_000


def read_remnant(
    path: str | Path, *, units: str | None = None, chord: float = CHORD_MM, join_gap: float = JOIN_GAP_MM
) -> tuple[Ring, tuple[Ring, ...], tuple[Finding, ...]]:
    """Outline, flaws and findings of a remnant drawn as SVG or DXF. mm, anticlockwise.

    The largest closed outline is the cloth; every closed line inside it is a hole or flaw, whatever its role. The grain
    runs to the right of the drawing (+x), unless a grainline is drawn: then everything is turned so that its arrow
    points there. The lower left of the outline's box is moved to the origin.

    Raises PatternError as ``read_pieces`` does, and for a flaw that is no closed outline or lies outside the cloth, and
    for a drawing that holds more than one remnant.
    """
    path = Path(path)
    ctx = Context(path.name, chord, join_gap)
    root, _ = open_drawing(path, ctx, units)
    strokes = [s for chain in root.walk() for s in chain[-1].strokes if s.role not in ("aside", "test")]
    grain = marks.grain([s for s in strokes if s.role == "grain"], ctx, "")
    rings = _rings([s for s in strokes if s.role in ("cut", "sew", None, "edge")], ctx, flaws=False)
    flaws = _rings([s for s in strokes if s.role in ("flaw", "cutout", "inside")], ctx, flaws=True)
    if not rings:
        raise ctx.error(
            "no closed outline was found: draw the edge of the cloth as one closed line", code="drawing.no-outline"
        )
    rings.sort(key=lambda r: -outline.area(r))
    cloth = rings[0]
    turn = 0.0
    if grain is not None:
        (ax, ay), (bx, by) = grain[0]
        turn = math.degrees(math.atan2(by - ay, bx - ax))
    else:
        ctx.note(
            "note", "no grainline is drawn: the grain is taken to run to the right of the drawing", code="grain.assumed"
        )
    inside = [*flaws, *rings[1:]]
    _check_flaws(cloth, inside, ctx)
    for stroke in strokes:
        if stroke.role in ("notch", "drill", "fold"):
            ctx.note(
                "ignored",
                f"{stroke.where} ({stroke.role}) says nothing about a remnant; left out",
                code="drawing.other-purpose",
            )
    cloth, *inside = _placed([cloth, *inside], turn)
    return cloth, tuple(inside), tuple(ctx.findings)


def _rings(strokes: list[Stroke], ctx: Context, *, flaws: bool) -> list[Ring]:
    """Clean closed rings of the strokes. Open flaws are an error; other open lines are left out."""
    given = [s.points for s in strokes if s.closed and len(s.points) >= 3]
    open_strokes = [s for s in strokes if not s.closed and len(s.points) >= 2]
    if open_strokes:
        result = find_loops([s.points for s in open_strokes], ctx.join_gap)
        given += [loop.ring for loop in result.loops]
        for loop in result.loops:
            for join in loop.joins:
                ctx.note(
                    "repaired",
                    f"a gap of {join.gap:.2f} mm at ({join.at[0]:.1f}, {join.at[1]:.1f}) was closed",
                    code="outline.gap-closed",
                )
        left = [open_strokes[i] for i in result.loose]
        for stroke in left:
            if flaws and stroke.role == "flaw":
                raise ctx.error(
                    f"a flaw ({stroke.where}) is no closed outline: draw a closed line around it",
                    code="remnant.flaw-open",
                )
            if stroke.role in ("cut", "edge") or not (given or flaws):
                raise ctx.error(
                    f"the outline is open ({stroke.where}); gaps up to {ctx.join_gap:g} mm are closed. Close it in the "
                    "drawing",
                    code="outline.open",
                )
            ctx.note("ignored", f"{stroke.where} is no closed line and is left out", code="drawing.open-line")
    rings: list[Ring] = []
    for points in given:
        ring, done = outline.clean(points)
        for what in done:
            ctx.note("repaired", what, code="outline.repaired")
        crossing = outline.crossing(ring) if len(ring) >= 3 else None
        if crossing is not None:
            raise ctx.error(
                f"an outline crosses or touches itself at ({crossing[0]:.2f}, {crossing[1]:.2f}) mm: correct it there",
                code="outline.crosses",
            )
        if len(ring) < 3 or abs(outline.area(ring)) < 1e-2:
            ctx.note("ignored", "a closed line without area is left out", code="drawing.line-empty")
            continue
        rings.append(ring if outline.area(ring) > 0 else ring[::-1])
    return rings


def _check_flaws(cloth: Ring, flaws: list[Ring], ctx: Context) -> None:
    from shapely import Polygon

    whole = Polygon(cloth)
    for k, flaw in reversed(list(enumerate(flaws))):
        shape = Polygon(flaw)
        x0, y0, x1, y1 = outline.box(flaw)
        if not shape.intersects(whole) or whole.intersection(shape).area <= 1e-3:
            raise ctx.error(
                f"a closed line {x1 - x0:.0f} × {y1 - y0:.0f} mm lies outside the cloth's outline: draw one remnant "
                "in a file, its flaws inside",
                code="remnant.outline-twice",
            )
        if whole.symmetric_difference(shape).area <= 1e-4 * whole.area:
            ctx.note("repaired", "the outline is drawn twice; one kept", code="remnant.outline-twice")
            del flaws[k]
        elif not whole.covers(shape):
            ctx.note(
                "note",
                f"a flaw at ({x0:.0f}, {y0:.0f}) mm reaches over the edge of the cloth",
                code="remnant.flaw-over-edge",
            )


def _placed(rings: list[Ring], turn: float) -> list[Ring]:
    """The rings turned back by ``turn`` degrees and moved so that the first one's box begins at the origin."""
    if turn:
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        rings = [tuple((c * x + s * y, c * y - s * x) for x, y in ring) for ring in rings]
    x0, y0, _, _ = outline.box(rings[0])

    def moved(p: Point) -> Point:
        # A millionth of a millimetre: a rectangle that was turned or scaled is one again.
        return (round(p[0] - x0, 6) + 0.0, round(p[1] - y0, 6) + 0.0)

    return [tuple(moved(p) for p in ring) for ring in rings]


def small_picture(path: Path) -> tuple[str, bytes] | None:
    """The kind ("image/jpeg" or "image/png") and the bytes of a leftover's picture, to be shown in a report.

    None where there is none that can be read, another kind of file, or more than 2 MB: a report does without it.
    """
    try:
        with path.open("rb") as stream:
            data = stream.read(_LARGEST_SHOWN + 1)
    except (OSError, ValueError):
        return None
    if len(data) > _LARGEST_SHOWN:
        return None
    kinds = {b"\xff\xd8\xff": "image/jpeg", b"\x89PNG\r\n\x1a\n": "image/png"}
    return next(((kind, data) for start, kind in kinds.items() if data.startswith(start)), None)
