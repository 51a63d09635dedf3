"""True-scale pages: the whole lay on one page, tiles for a home printer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from nesting.model.lay import Lay
from nesting.report.backends.to_pdf import MM, PAPERS, canvas_for, draw_items, finished
from nesting.report.drawing import looks
from nesting.report.drawing.drawing import lay_scene
from nesting.report.drawing.scene import Item, Scene, Shape, Stroke, Text
from nesting.report.drawing.shapes import box_of
from nesting.report.drawing.view import true_scale
from nesting.report.words import counted, long_length

__all__ = [
    "LONGEST_MM",
    "MARGIN_MM",
    "OVERLAP_MM",
    "Tile",
    "scene_tiles_pdf",
    "square_side",
    "stretches",
    "tile_plan",
    "tiles_pdf",
    "whole_pdf",
    "without_empty",
]

#: mm. PDF pages may be 14 400 points (5.08 m) long at most (ISO 32000-1, annex C); longer lays get several pages.
LONGEST_MM = 5000.0
#: mm. What neighbouring pages of a long lay share.
_SHARED_MM = 100.0
#: mm. Printers leave this margin blank; neighbouring tiles share the overlap.
MARGIN_MM = 10.0
OVERLAP_MM = 15.0
#: what lies under the pieces, with which alone a page is empty
_GROUND = ("cloth", "selvage", "allowance", "repeat", "offcut", "fold-line", "grid", "paper", "hatch", "fill")


def square_side(imperial: bool) -> float:
    """Side of the test square, mm: 5 cm, or 2 in."""
    return 50.8 if imperial else 50.0


@dataclass(frozen=True)
class Tile:
    """One page: ``name`` as on the page map (row letter from edge B downwards, column number), its window in mm.
    ``empty``: it holds nothing of any piece and is not printed."""

    name: str
    row: int
    column: int
    window: tuple[float, float, float, float]
    empty: bool = False


def whole_pdf(lay: Lay) -> bytes:
    """Each section on one page, true to scale, with rulers, key and a test square."""
    scenes = [_with_square(lay_scene(lay, true_scale(n)), lay.imperial) for n in range(len(lay.sections))]
    pages = [(scene, window) for scene in scenes for window in stretches(scene)]
    canvas, stream = _canvas(scenes[0].title, pages[0][1])
    for n, scene in enumerate(scenes):
        _form(canvas, scene, f"lay{n}")
    for scene, window in pages:
        canvas.setPageSize(((window[2] - window[0]) * MM, (window[3] - window[1]) * MM))
        _show(canvas, f"lay{scenes.index(scene)}", window, 0.0, 0.0)
        canvas.showPage()
    return finished(canvas, stream)


def _canvas(title: str, window: tuple[float, float, float, float]) -> tuple[Any, Any]:
    return canvas_for(title, window[2] - window[0], window[3] - window[1])


def stretches(scene: Scene) -> list[tuple[float, float, float, float]]:
    """The windows of the pages of a scene: one, or several that share a strip where it is longer than a page may be."""
    x0, y0, x1, y1 = scene.box
    if scene.width <= LONGEST_MM:
        return [scene.box]
    step = LONGEST_MM - _SHARED_MM
    count = math.ceil((scene.width - _SHARED_MM) / step)
    return [(x0 + k * step, y0, min(x1, x0 + k * step + LONGEST_MM), y1) for k in range(count)]


def _with_square(scene: Scene, imperial: bool) -> Scene:
    x0, y0, x1, y1 = scene.box
    side = square_side(imperial)
    left, low = x0 + 10.0, y0 - side
    items = _square(left, low, imperial)
    return replace(scene, box=(x0, low - 10.0, max(x1, left + 260.0), y1), items=scene.items + tuple(items))


def _square(left: float, low: float, imperial: bool) -> list[Item]:
    side = square_side(imperial)
    words = (
        f"Test square: {long_length(side, imperial)} on each side.",
        "Print at 100 % (actual size), measure it before you cut.",
    )
    items: list[Item] = [
        Shape("square", "legend", (box_of(left, low, left + side, low + side),), True, Stroke(looks.INK, 0.3))
    ]
    for k, line in enumerate(words):
        items.append(
            Text("legend", "legend", (left + side + 5.0, low + side - 6.0 - 6.0 * k), line, 4.0, anchor="start")
        )
    return items


def _form(canvas: Any, scene: Scene, name: str) -> None:
    """Draw a scene once, in its own coordinates, to be shown on any page."""
    from reportlab.pdfbase.pdfdoc import PDFResourceDictionary

    x0, y0, x1, y1 = (v * MM for v in scene.box)
    canvas.beginForm(name, x0, y0, x1, y1)
    draw_items(canvas, scene)
    # reportlab leaves the graphics states (see-through fills) out of a form's resources (ISO 32000-1, 7.8.3)
    resources = PDFResourceDictionary()
    resources.basicFonts()
    resources.allProcs()
    states = canvas._extgstate.getState()
    if states:
        resources.ExtGState = states
    canvas.endForm(Resources=resources)


def _show(canvas: Any, name: str, window: tuple[float, float, float, float], left: float, low: float) -> None:
    """The window of a form, with its lower left corner at (left, low) mm of the page."""
    x0, y0, x1, y1 = window
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(left * MM, low * MM, (x1 - x0) * MM, (y1 - y0) * MM)
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.translate((left - x0) * MM, (low - y0) * MM)
    canvas.doForm(name)
    canvas.restoreState()


def _bare(lay: Lay, section: int) -> Scene:
    """A section without rulers and key, with a little room for the width of its outermost lines."""
    scene = lay_scene(lay, replace(true_scale(section), surroundings=False))
    x0, y0, x1, y1 = scene.box
    return replace(scene, box=(x0 - 3.0, y0 - 3.0, x1 + 3.0, y1 + 3.0))


def tile_plan(box: tuple[float, float, float, float], paper: str) -> tuple[Tile, ...]:
    """The tiles that cover a box, row by row from the top: each as large as the paper's printable area, neighbours
    sharing the overlap. Portrait or landscape, whichever takes fewer pages."""
    w, h = PAPERS[paper]
    plans = [_plan(box, w, h), _plan(box, h, w)]
    return min(plans, key=len)


def _plan(box: tuple[float, float, float, float], w: float, h: float) -> tuple[Tile, ...]:
    x0, y0, x1, y1 = box
    pw, ph = w - 2 * MARGIN_MM, h - 2 * MARGIN_MM
    columns = max(1, math.ceil((x1 - x0 - OVERLAP_MM) / (pw - OVERLAP_MM) - 1e-9))
    rows = max(1, math.ceil((y1 - y0 - OVERLAP_MM) / (ph - OVERLAP_MM) - 1e-9))
    out = []
    for r in range(rows):
        top = y1 - r * (ph - OVERLAP_MM)
        for c in range(columns):
            left = x0 + c * (pw - OVERLAP_MM)
            out.append(Tile(f"{_letters(r)}{c + 1}", r, c, (left, top - ph, left + pw, top)))
    return tuple(out)


def without_empty(plan: Sequence[Tile], scene: Scene) -> tuple[Tile, ...]:
    """The plan with those pages marked empty that hold nothing of any piece: no line, no mark, no words, no part of the
    cloth within an outline. Pages are kept where they are needed to tape the others together in one."""
    from shapely import STRtree, box
    from shapely.geometry import LineString, Point, Polygon

    found: list[Any] = []
    for item in scene.items:
        if item.role in _GROUND:
            continue
        if isinstance(item, Text):
            found.append(Point(item.at))
        else:
            found += [Polygon(line) if item.closed and len(line) > 2 else LineString(line) for line in item.lines]
    tree = STRtree(found)
    half = OVERLAP_MM / 2
    last_row, last_column = max(t.row for t in plan), max(t.column for t in plan)
    full: set[tuple[int, int]] = set()
    for tile in plan:
        # what is left of the page where its neighbours are cut and laid over it
        x0, y0, x1, y1 = tile.window
        seen = box(
            x0 + half * (tile.column > 0),
            y0 + half * (tile.row < last_row),
            x1 - half * (tile.column < last_column),
            y1 - half * (tile.row > 0),
        )
        if len(tree.query(seen, predicate="intersects")):
            full.add((tile.row, tile.column))
    kept = _in_one(full, last_row, last_column)
    return tuple(replace(tile, empty=(tile.row, tile.column) not in kept) for tile in plan)


def _in_one(full: set[tuple[int, int]], last_row: int, last_column: int) -> set[tuple[int, int]]:
    """These pages, and the fewest more that join them side to side: the nearest group is joined to the first, until
    there is one."""
    kept = set(full)
    while kept:
        start = min(kept)
        reached, edge = {start}, [start]
        while edge:
            edge = sorted({q for p in edge for q in _beside(p)} & kept - reached)
            reached |= set(edge)
        if reached == kept:
            break
        before: dict[tuple[int, int], tuple[int, int]] = {}
        edge = sorted(reached)
        seen, met = set(reached), None
        while met is None:
            further = []
            for p in edge:
                for q in _beside(p):
                    if q in seen or not (0 <= q[0] <= last_row and 0 <= q[1] <= last_column):
                        continue
                    seen.add(q)
                    before[q] = p
                    further.append(q)
                    if met is None and q in kept:
                        met = q
            edge = further
        while met in before:
            kept.add(met)
            met = before[met]
    return kept


def _beside(p: tuple[int, int]) -> tuple[tuple[int, int], ...]:
    r, c = p
    return (r - 1, c), (r + 1, c), (r, c - 1), (r, c + 1)


def _letters(n: int) -> str:
    text = ""
    n += 1
    while n:
        n, rest = divmod(n - 1, 26)
        text = chr(65 + rest) + text
    return text


def tiles_pdf(lay: Lay, paper: str = "a4") -> bytes:
    """The lay in tiles: first a page with the map, the test square and what to do, then the tiles row by row.

    ``paper`` is "a4", "letter" or "a3".
    """
    scenes = [_bare(lay, n) for n in range(len(lay.sections))]
    return scene_tiles_pdf(scenes, paper, lay.imperial, stop=bool(lay.do_not_cut))


def scene_tiles_pdf(scenes: Sequence[Scene], paper: str, imperial: bool, *, stop: bool = False) -> bytes:
    """Scenes in tiles, each with its page map, test square and what to do before its pages; ``stop``: nothing may be
    cut yet, and every page says so."""
    plans = [without_empty(tile_plan(scene.box, paper), scene) for scene in scenes]
    w, h = PAPERS[paper]
    canvas, stream = canvas_for(scenes[0].title, w, h)
    for n, scene in enumerate(scenes):
        _form(canvas, scene, f"lay{n}")
    for n, (scene, plan) in enumerate(zip(scenes, plans, strict=True)):
        canvas.setPageSize((w * MM, h * MM))
        draw_items(canvas, _map_page(scene, plan, paper, n if len(scenes) > 1 else None, imperial))
        canvas.showPage()
        for tile in (t for t in plan if not t.empty):
            x0, y0, x1, y1 = tile.window
            canvas.setPageSize(((x1 - x0 + 2 * MARGIN_MM) * MM, (y1 - y0 + 2 * MARGIN_MM) * MM))
            _show(canvas, f"lay{n}", tile.window, MARGIN_MM, MARGIN_MM)
            canvas.saveState()
            canvas.translate((MARGIN_MM - x0) * MM, (MARGIN_MM - y0) * MM)
            draw_items(canvas, _tile_marks(tile, plan, n if len(scenes) > 1 else None, stop))
            canvas.restoreState()
            canvas.showPage()
    return finished(canvas, stream)


def _tile_marks(tile: Tile, plan: Sequence[Tile], section: int | None, stop: bool) -> Scene:
    """Alignment crosses in the middle of the overlaps, so that each lies at the same place of the lay on every page
    that shows it; the line to trim or overlap at; the page's name in the margin."""
    x0, y0, x1, y1 = tile.window
    half = OVERLAP_MM / 2
    xs, ys = (x0 + half, x1 - half), (y0 + half, y1 - half)
    items: list[Item] = []
    fine = Stroke("#555555", 0.2)
    for x in xs:
        for y in ys:
            ring = tuple(
                (x + 2.2 * math.cos(a * math.pi / 18), y + 2.2 * math.sin(a * math.pi / 18)) for a in range(36)
            )
            items.append(Shape("square", "measure", (ring,), True, fine))
            items.append(Shape("square", "measure", (((x - 4, y), (x + 4, y)), ((x, y - 4), (x, y + 4))), stroke=fine))
    printed = {(t.row, t.column) for t in plan if not t.empty}
    lines = []
    if (tile.row, tile.column - 1) in printed:
        lines.append(((xs[0], y0), (xs[0], y1)))
    if (tile.row, tile.column + 1) in printed:
        lines.append(((xs[1], y0), (xs[1], y1)))
    if (tile.row - 1, tile.column) in printed:
        lines.append(((x0, ys[1]), (x1, ys[1])))
    if (tile.row + 1, tile.column) in printed:
        lines.append(((x0, ys[0]), (x1, ys[0])))
    if lines:
        items.append(Shape("square", "measure", tuple(lines), stroke=Stroke("#777777", 0.15, (2.0, 2.0))))
    name = tile.name if section is None else f"section {section + 1}, {tile.name}"
    name = f"DO NOT CUT YET · {name}" if stop else name
    items.append(Text("legend", "legend", (x0, y0 - 5.5), name, 4.5, anchor="start", bold=True))
    items.append(Text("legend", "legend", (x1, y0 - 5.5), "100 %, actual size", 3.2, anchor="end"))
    return Scene(tile.name, tile.window, tuple(items))


def _map_page(scene: Scene, plan: Sequence[Tile], paper: str, section: int | None, imperial: bool) -> Scene:
    w, h = PAPERS[paper]
    items: list[Item] = []

    def say(y: float, words: str, size: float = 4.0, bold: bool = False) -> None:
        items.append(Text("legend", "legend", (15.0, y), words, size, anchor="start", bold=bold))

    title = scene.title if section is None else f"{scene.title}, section {section + 1}"
    say(h - 20, title, 6.0, True)
    across = max(t.column for t in plan) + 1
    empty = sum(t.empty for t in plan)
    spared = f" {counted(empty, 'page')} would be empty and {'is' if empty == 1 else 'are'} left out (crossed)."
    rows = f"{counted(max(t.row for t in plan) + 1, 'row')} of {across}"
    say(h - 28, f"{counted(len(plan) - empty, 'page')} to print, {rows}.{spared if empty else ''}")
    say(h - 34, "1. Print this page at 100 % (actual size, no fitting) and measure the square.")
    say(h - 40, "2. Print the rest. Trim each page along its dashed lines on the left and at the top only.")
    say(h - 46, "3. Lay neighbours over each other so that the circled crosses meet, and tape them.")
    items += _square(15.0, h - 46 - 12 - square_side(imperial), imperial)
    x0 = min(t.window[0] for t in plan)
    y0 = min(t.window[1] for t in plan)
    x1 = max(t.window[2] for t in plan)
    y1 = max(t.window[3] for t in plan)
    room_w, room_h = w - 30.0, h - 46 - 12 - square_side(imperial) - 30.0
    scale = min(room_w / (x1 - x0), room_h / (y1 - y0))
    left, low = 15.0, 15.0

    def small(x: float, y: float) -> tuple[float, float]:
        return (left + (x - x0) * scale, low + (y - y0) * scale)

    for item in scene.items:
        if isinstance(item, Shape) and item.role in ("cut", "cloth") and item.closed:
            lines = tuple(tuple(small(*p) for p in line) for line in item.lines)
            items.append(Shape("legend", "legend", lines, True, Stroke("#9a9a9a", 0.2)))
    half = OVERLAP_MM / 2
    for tile in plan:
        a, b, c, d = tile.window
        # outermost tiles to their very edge, the others to where they are trimmed
        near = (a + half * (tile.column > 0), b + half * (tile.row < plan[-1].row))
        corner = small(*near)
        far = small(c - half * (tile.column < plan[-1].column), d - half * (tile.row > 0))
        items.append(Shape("legend", "legend", (box_of(*corner, *far),), True, Stroke(looks.INK, 0.25)))
        if tile.empty:
            cross = ((corner, far), ((corner[0], far[1]), (far[0], corner[1])))
            items.append(Shape("legend", "legend", cross, stroke=Stroke("#777777", 0.2)))
            continue
        size = min(4.5, 0.35 * (far[0] - corner[0]))
        at = ((corner[0] + far[0]) / 2, (corner[1] + far[1]) / 2 - 0.36 * size)
        items.append(Text("legend", "legend", at, tile.name, size, bold=True))
    return Scene(title, (0.0, 0.0, w, h), tuple(items))
