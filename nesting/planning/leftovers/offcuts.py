"""What of the cloth is left after a lay, as leftovers worth keeping.

Each ply's free cloth is what its region leaves between the pieces; plies that hang together at a fold are opened out
first, so that a leftover across the fold is one piece. Slivers narrower than the least width are taken off.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from nesting.model.lay import FoldLine, Lay, Section
from nesting.model.order import Remnant
from nesting.model.piece import Point, Ring

__all__ = ["Offcut", "as_remnants", "largest_rectangle", "offcuts"]

#: mm and mm². Below these a leftover is thrown away by most; common practice differs, so both can be set.
LEAST_WIDTH = 80.0
LEAST_AREA = 40_000.0
#: Cells along the longer side of a free region, when its largest rectangle is looked for.
_CELLS = 160
#: mm. Stretched rectangles are found to this.
_STRETCH_MM = 0.05


@dataclass(frozen=True)
class Offcut:
    """A free region on the opened-out cloth.

    ``outline`` and ``holes`` in mm as the leftover lies right side up, x along the grain the way the cloth was wound
    off, the lower left of its box at the origin; ``at`` is where the region's lower left lies on the table: x from the
    lay's beginning, y across the opened cloth. ``rectangle`` (x0, y0, x1, y1) is the largest
    one along the grain within it. ``ply`` is the lowest of its plies; ``section`` counts from 0.
    """

    outline: Ring
    holes: tuple[Ring, ...]
    area: float
    rectangle: tuple[float, float, float, float]
    ply: int
    section: int
    at: Point

    @property
    def rectangle_size(self) -> tuple[float, float]:
        """(length along the grain, width across it) of the largest rectangle, mm."""
        x0, y0, x1, y1 = self.rectangle
        return (x1 - x0, y1 - y0)


def offcuts(
    lay: Lay, *, least_width: float = LEAST_WIDTH, least_area: float = LEAST_AREA, beyond: float = 0.0
) -> tuple[Offcut, ...]:
    """The leftovers of a lay that are nowhere narrower than ``least_width`` mm and have ``least_area`` mm², largest
    first. ``beyond`` mm of cloth past the lay's end (what rounding up to the shop's increment leaves) count as free.
    """
    found: list[Offcut] = []
    for number, section in enumerate(lay.sections):
        last = number == len(lay.sections) - 1
        plies = {p.ply: p for p in section.spread.plies}
        patches = [patch.outline for patch in lay.patches if number == 0]
        for ply, free in _free(section, patches, beyond if last else 0.0):
            along = -1.0 if plies[ply].reversed else 1.0
            across = along if plies[ply].face == "up" else -along
            # Taken in by half the width and put out again, what is narrower has vanished.
            kept = free.buffer(-least_width / 2.0).buffer(least_width / 2.0, join_style="mitre").intersection(free)
            for part in getattr(kept, "geoms", (kept,)):
                if part.geom_type == "Polygon" and part.area >= least_area:
                    found.append(_offcut(part, ply, number, section.start, (along, across)))
    return tuple(sorted(found, key=lambda o: (-o.area, o.section, o.ply, o.at)))


def _free(section: Section, patches: Sequence[Ring], beyond: float) -> list[tuple[int, Any]]:
    """(lowest ply, free region) of each connected sheet of cloth, opened out."""
    from shapely.geometry import Polygon
    from shapely.ops import unary_union

    spread = section.spread
    sheets: list[tuple[int, Any]] = []
    opened = _opening(section)
    for root, members in opened.items():
        parts = []
        for ply_number, motion in members:
            ply = next(p for p in spread.plies if p.ply == ply_number)
            region: Any = Polygon(ply.region)
            if beyond > 0.0 and all(f.along == "x" for f in spread.folds):
                region = unary_union([region, _stretched(ply.region, section.lay_length, beyond)])
            # what lies round the pieces in a patch is cut off with it
            taken = [Polygon(ring) for ring in (*ply.flaws, *patches)]
            # Cutouts fall out of a piece, but as scraps of the piece's own size: they are not counted.
            taken += [
                Polygon(p.outline) for p in section.placements if ply_number in p.plies and p.second_cloth is None
            ]
            free = region.difference(unary_union(taken)) if taken else region
            parts.append(_moved(free, motion))
        # Closed by a hair, so that both sides of a fold line are one.
        sheets.append((root, unary_union(parts).buffer(1e-6).buffer(-1e-6)))
    return sheets


def _stretched(region: Ring, lay_length: float, beyond: float) -> Any:
    from shapely.geometry import box

    ys = [p[1] for p in region]
    return box(lay_length, min(ys), lay_length + beyond, max(ys))


#: x' = ax · x + bx, y' = ay · y + by
_Motion = tuple[float, float, float, float]


def _opening(section: Section) -> dict[int, list[tuple[int, _Motion]]]:
    """Plies that hang together, by the lowest one, each with the motion that opens it out beside that one.

    A fold whose two plies hang together already (the second edge of a tube) is cut open.
    """
    motions: dict[int, _Motion] = {}
    groups: dict[int, list[tuple[int, _Motion]]] = {}
    for ply in sorted(p.ply for p in section.spread.plies):
        if ply in motions:
            continue
        motions[ply] = (1.0, 0.0, 1.0, 0.0)
        groups[ply] = [(ply, motions[ply])]
        front = [ply]
        while front:
            at = front.pop()
            for fold in section.spread.folds:
                for a, b in (fold.plies, fold.plies[::-1]):
                    if a == at and b not in motions:
                        motions[b] = _after_fold(motions[a], fold)
                        groups[ply].append((b, motions[b]))
                        front.append(b)
    return groups


def _after_fold(motion: _Motion, fold: FoldLine) -> _Motion:
    ax, bx, ay, by = motion
    if fold.along == "x":
        return (ax, bx, -ay, by + 2.0 * ay * fold.at)
    return (-ax, bx + 2.0 * ax * fold.at, ay, by)


def _moved(shape: Any, motion: _Motion) -> Any:
    from shapely.affinity import affine_transform

    ax, bx, ay, by = motion
    return affine_transform(shape, (ax, 0.0, 0.0, ay, bx, by))


def _offcut(shape: Any, ply: int, section: int, start: float, turned: tuple[float, float]) -> Offcut:
    from shapely.affinity import scale, translate
    from shapely.geometry import polygon

    x0, y0, x1, y1 = shape.bounds
    # right side up: a ply that lies face down shows the mirror image of what it is
    own = scale(translate(shape.simplify(0.01), -x0, -y0), *turned, origin=((x1 - x0) / 2, (y1 - y0) / 2))
    own = polygon.orient(own)

    def ring(coords: Any) -> Ring:
        return tuple((float(x), float(y)) for x, y in coords[:-1])

    return Offcut(
        ring(own.exterior.coords),
        tuple(ring(hole.coords)[::-1] for hole in own.interiors),
        float(own.area),
        largest_rectangle(own),
        ply,
        section,
        (float(x0) + start, float(y0)),
    )


def largest_rectangle(shape: Any) -> tuple[float, float, float, float]:
    """(x0, y0, x1, y1) of a large rectangle along the axes within a polygon (mm): the largest on a grid of whole cells,
    its sides then pushed out as far as they go. It never leaves the polygon."""
    import numpy as np
    import shapely

    x0, y0, x1, y1 = shape.bounds
    cell = max(x1 - x0, y1 - y0) / _CELLS
    nx, ny = max(1, math.floor((x1 - x0) / cell + 1e-9)), max(1, math.floor((y1 - y0) / cell + 1e-9))
    shapely.prepare(shape)
    xs, ys = np.meshgrid(x0 + cell * np.arange(nx), y0 + cell * np.arange(ny))
    # A cell may stick out by a hair: the check below is exact.
    inside = shapely.covers(shape.buffer(1e-6), shapely.box(xs, ys, xs + cell, ys + cell))
    i0, j0, i1, j1 = _largest_block(inside.tolist())
    best = [x0 + i0 * cell, y0 + j0 * cell, x0 + i1 * cell, y0 + j1 * cell]
    if not shape.covers(shapely.box(*best)):
        best = [best[0] + 1e-5, best[1] + 1e-5, best[2] - 1e-5, best[3] - 1e-5]
    for side, limit in ((0, x0), (1, y0), (2, x1), (3, y1)):
        low, high = best[side], limit
        while abs(high - low) > _STRETCH_MM / 4.0:
            trial = list(best)
            trial[side] = high
            if shape.covers(shapely.box(*trial)):
                low = high
                break
            trial[side] = (low + high) / 2.0
            if shape.covers(shapely.box(*trial)):
                low = trial[side]
            else:
                high = trial[side]
        best[side] = low
    return (float(best[0]), float(best[1]), float(best[2]), float(best[3]))


def _largest_block(rows: list[list[bool]]) -> tuple[int, int, int, int]:
    """The largest block of true cells, (i0, j0, i1, j1) with the ends left out, by the stack method for the largest
    rectangle under a skyline."""
    best, block = 0, (0, 0, 0, 0)
    heights = [0] * len(rows[0])
    for j, row in enumerate(rows):
        heights = [h + 1 if cell else 0 for h, cell in zip(heights, row, strict=True)]
        stack: list[tuple[int, int]] = []
        for i, height in enumerate([*heights, 0]):
            start = i
            while stack and stack[-1][1] >= height:
                start, tall = stack.pop()
                if tall * (i - start) > best:
                    best, block = tall * (i - start), (start, j + 1 - tall, i, j + 1)
            stack.append((start, height))
    return block


def as_remnants(found: tuple[Offcut, ...], *, cloth: str, prefix: str, rectangles: bool = False) -> tuple[Remnant, ...]:
    """Leftovers for the stash, named "prefix-1", "prefix-2", …; with ``rectangles`` only the largest rectangle of each,
    which is easily cut and can be folded."""
    remnants = []
    for number, offcut in enumerate(found, start=1):
        outline, flaws = offcut.outline, offcut.holes
        if rectangles:
            length, width = offcut.rectangle_size
            outline, flaws = ((0.0, 0.0), (length, 0.0), (length, width), (0.0, width)), ()
        remnants.append(Remnant(f"{prefix}-{number}", cloth, outline, flaws))
    return tuple(remnants)
