"""What is left of the cloth, as a person would keep it: the largest free rectangles along the grain."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from nesting.model.lay import Section
from nesting.model.piece import Ring

__all__ = ["Offcut", "free_rectangles", "largest_rectangle"]


@dataclass(frozen=True)
class Offcut:
    """A free rectangle on the table, mm. ``plies`` are those on which it is free (all that lie there)."""

    x0: float
    y0: float
    x1: float
    y1: float
    plies: tuple[int, ...]

    @property
    def area(self) -> float:
        """mm² on the table."""
        return (self.x1 - self.x0) * (self.y1 - self.y0)


@lru_cache(maxsize=16)
def free_rectangles(
    section: Section, patches: tuple[Ring, ...] = (), *, most: int = 3, side: float = 80.0, cell: float = 10.0
) -> tuple[Offcut, ...]:
    """The largest free rectangles of a section, largest first, none overlapping another on a ply.

    Each is free of pieces, flaws and ``patches`` cut from it on all its plies; sides of at least ``side`` mm, found on
    a grid of ``cell`` mm, so up to two cells smaller than the true largest, never larger than what is there.
    """
    import shapely
    from shapely.geometry import Polygon

    spread = section.spread
    length = section.lay_length
    if any(len(ply.region) != 4 for ply in spread.plies):
        # a leftover is kept beyond the last cut edge, too
        length = max(length, max(p[0] for ply in spread.plies for p in ply.region))
    nx, ny = int(length // cell), int(spread.table_width // cell)
    if nx < 1 or ny < 1:
        return ()
    xs, ys = np.arange(nx) * cell, np.arange(ny) * cell
    gx, gy = np.meshgrid(xs, ys)
    boxes = shapely.box(gx.ravel(), gy.ravel(), gx.ravel() + cell, gy.ravel() + cell)
    free: dict[int, NDArray[np.bool_]] = {}
    there: dict[int, NDArray[np.bool_]] = {}
    for ply in spread.plies:
        region = Polygon(ply.region, ply.flaws) if all(len(f) >= 3 for f in ply.flaws) else Polygon(ply.region)
        shapely.prepare(region)
        there[ply.ply] = np.asarray(shapely.intersects(region, boxes)).reshape(ny, nx)
        grid = np.asarray(shapely.covers(region, boxes)).reshape(ny, nx)
        cut = [p.outline for p in section.placements if ply.ply in p.plies and p.second_cloth is None]
        for ring in (*cut, *patches):
            body = Polygon(np.asarray(ring))
            x0, y0, x1, y1 = body.bounds
            i0, i1 = max(0, int(x0 // cell)), min(nx, int(x1 // cell) + 1)
            j0, j1 = max(0, int(y0 // cell)), min(ny, int(y1 // cell) + 1)
            if i0 >= i1 or j0 >= j1:
                continue
            shapely.prepare(body)
            part = boxes.reshape(ny, nx)[j0:j1, i0:i1]
            grid[j0:j1, i0:i1] &= ~np.asarray(shapely.intersects(body, part))
        free[ply.ply] = grid
    out: list[Offcut] = []
    sets = _ply_sets(free, there)
    while len(out) < most:
        best: Offcut | None = None
        for plies, grid in sets:
            i0, j0, i1, j1 = largest_rectangle(grid)
            found = Offcut(i0 * cell, j0 * cell, i1 * cell, j1 * cell, plies)
            small = min(found.x1 - found.x0, found.y1 - found.y0) < side
            if not small and (best is None or found.area * len(plies) > best.area * len(best.plies)):
                best = found
        if best is None:
            break
        out.append(best)
        j0, j1, i0, i1 = (round(v / cell) for v in (best.y0, best.y1, best.x0, best.x1))
        for _, grid in sets:
            # two marks at one place could not be read, so even another ply's rectangle goes elsewhere
            grid[j0:j1, i0:i1] = False
    return tuple(out)


def _ply_sets(
    free: dict[int, NDArray[np.bool_]], there: dict[int, NDArray[np.bool_]]
) -> list[tuple[tuple[int, ...], NDArray[np.bool_]]]:
    """Where all plies that lie at a place are free, by the set of plies that lie there."""
    keys = sorted(free)
    code = sum(there[k].astype(np.int64) << n for n, k in enumerate(keys))
    out = []
    for value in np.unique(np.asarray(code)):
        plies = tuple(k for n, k in enumerate(keys) if (int(value) >> n) & 1)
        if plies:
            out.append((plies, np.logical_and.reduce([np.asarray(code) == value, *(free[k] for k in plies)])))
    return out


def largest_rectangle(grid: NDArray[np.bool_]) -> tuple[int, int, int, int]:
    """The largest all-true rectangle (column from, row from, column to, row to), ends exclusive; zeros if none.

    Largest rectangle under a histogram with a stack, row by row (a textbook algorithm), O(cells).
    """
    rows_, columns = grid.shape
    heights = [0] * columns
    best, where = 0, (0, 0, 0, 0)
    for j in range(rows_):
        line = grid[j]
        stack: list[tuple[int, int]] = []
        for i in range(columns + 1):
            h = 0
            if i < columns:
                heights[i] = heights[i] + 1 if line[i] else 0
                h = heights[i]
            start = i
            while stack and stack[-1][1] >= h:
                start, tall = stack.pop()
                if tall * (i - start) > best:
                    best, where = tall * (i - start), (start, j + 1 - tall, i, j + 1)
            stack.append((start, h))
    return where
