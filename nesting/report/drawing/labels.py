"""Where the words go: each label inside its piece, along the grain, clear of marks and of every other label."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from nesting.model.piece import Point, Ring
from nesting.report.drawing.fonts import text_width
from nesting.report.drawing.shapes import turned

__all__ = ["Block", "Fitted", "Labeller", "upright"]

_LEADING = 1.22


def upright(deg: float) -> float:
    """The direction or its opposite, whichever can be read without turning the head over: in (−90, 90]."""
    t = deg % 180.0
    return t if t <= 90.0 + 1e-9 else t - 180.0


@dataclass(frozen=True)
class Block:
    """Lines of words, the first one bold; ``scale`` multiplies the base size. ``close`` may come near the cut line."""

    lines: tuple[str, ...]
    scale: float
    close: bool = False

    def extent(self, em: float) -> tuple[float, float]:
        """Width and height in mm at base size ``em``."""
        size = em * self.scale
        return (
            max(text_width(line, size, bold=i == 0) for i, line in enumerate(self.lines)),
            size * (_LEADING * (len(self.lines) - 1) + 1.0),
        )


@dataclass(frozen=True)
class Fitted:
    """A block put in its place: centre, turn, size in mm and the box that it covers."""

    block: Block
    centre: Point
    turn: float
    size: float
    box: Ring
    inside: bool

    def lines(self) -> tuple[tuple[str, Point, bool], ...]:
        """(words, baseline middle, bold) of each line, first line on top."""
        n = len(self.block.lines)
        out = []
        for i, words in enumerate(self.block.lines):
            up = self.size * (_LEADING * ((n - 1) / 2 - i) - 0.36)
            out.append((words, turned((self.centre[0], self.centre[1] + up), self.turn, self.centre), i == 0))
        return tuple(out)


@dataclass
class Labeller:
    """Places one label after another; what is placed stays taken. ``em`` is the base size in mm."""

    em: float
    taken: list[Any] = field(default_factory=list)

    def keep_clear(self, lines: Sequence[Sequence[Point]], margin: float) -> None:
        """No label may lie on these lines (marks, for instance)."""
        from shapely.geometry import LineString
        from shapely.geometry import Point as Dot

        for line in lines:
            shape = LineString(line) if len(line) > 1 else Dot(line[0])
            self.taken.append(shape.buffer(margin, quad_segs=2))

    def place(
        self, outline: Ring, holes: Sequence[Ring], turn: float, blocks: Sequence[Block], across: int = 0
    ) -> Fitted:
        """The first of ``blocks`` (best first) that fits somewhere, most in the middle; the last one is forced.

        Before the last ``across`` blocks the others are also tried at a right angle to ``turn`` (0: never).
        Deterministic. A forced label lies where it meets least of what is taken.
        """
        tries = [(block, turn) for block in blocks]
        if across:
            split = len(blocks) - across
            square = upright(turn + 90.0)
            tries = tries[:split] + [(block, square) for block in blocks[:split]] + tries[split:]
        fitted = self.fitted(outline, holes, tries)
        if fitted is not None:
            return fitted
        body, blocked = self._around(outline, holes)
        return self._take(self._least_bad(body, blocked, turn, blocks[-1]), turn, blocks[-1], False)

    def fitted(self, outline: Ring, holes: Sequence[Ring], tries: Sequence[tuple[Block, float]]) -> Fitted | None:
        """The first of ``tries`` (block, turn in degrees) that fits somewhere, most in the middle; None if none does.
        Deterministic."""
        body, blocked = self._around(outline, holes)
        tight = body.buffer(-0.06 * self.em, quad_segs=2)
        if tight.is_empty:
            return None
        # words keep a distance from the cut line; a bare number, which is for small pieces, a lesser one
        loose = body.buffer(-0.25 * self.em, quad_segs=2)
        free_for = {
            close: part if blocked is None else part.difference(blocked)
            for close, part in ((False, loose), (True, tight))
        }
        for block, way in tries:
            spot = self._spot(free_for[block.close], body, way, block)
            if spot is not None:
                return self._take(spot, way, block, True)
        return None

    def _around(self, outline: Ring, holes: Sequence[Ring]) -> tuple[Any, Any]:
        """The piece, and all that is taken near it in one (None: nothing)."""
        import shapely
        from shapely.geometry import Polygon

        # of a finely drawn outline only what may matter to words: they keep more than twice that from the cut line
        body = Polygon(np.asarray(outline), [np.asarray(hole) for hole in holes]).simplify(0.025 * self.em)
        if not body.is_valid:
            body = body.buffer(0)
        if not self.taken:
            return body, None
        all_taken = np.array(self.taken, dtype=object)
        near = all_taken[shapely.intersects(all_taken, body)]
        return body, shapely.union_all(near) if len(near) else None

    def _take(self, centre: Point, turn: float, block: Block, inside: bool) -> Fitted:
        from shapely.geometry import Polygon

        w, h = block.extent(self.em)
        box = tuple(
            turned((centre[0] + sx * w / 2, centre[1] + sy * h / 2), turn, centre)
            for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1))
        )
        self.taken.append(Polygon(box).buffer(0.15 * self.em, quad_segs=1))
        return Fitted(block, centre, turn, self.em * block.scale, box, inside)

    def _spot(self, free: Any, body: Any, turn: float, block: Block) -> Point | None:
        """A centre at which the block lies inside ``free``, nearest to the middle of the body."""
        import shapely
        from shapely import affinity

        w, h = block.extent(self.em)
        if w * h > free.area:
            return None
        flat = affinity.rotate(free, -turn, origin=(0.0, 0.0))
        x0, y0, x1, y1 = flat.bounds
        if x1 - x0 < w or y1 - y0 < h:
            return None
        nx = min(41, max(2, int((x1 - x0 - w) / (0.5 * self.em)) + 2))
        ny = min(41, max(2, int((y1 - y0 - h) / (0.4 * self.em)) + 2))
        grid = np.meshgrid(np.linspace(x0 + w / 2, x1 - w / 2, nx), np.linspace(y0 + h / 2, y1 - h / 2, ny))
        gx, gy = (axis.ravel() for axis in grid)
        middle = affinity.rotate(body.centroid, -turn, origin=(0.0, 0.0))
        order = np.argsort(np.hypot(gx - middle.x, 1.5 * (gy - middle.y)), kind="stable")
        gx, gy = gx[order], gy[order]
        shapely.prepare(flat)
        ok = shapely.contains(flat, shapely.box(gx - w / 2, gy - h / 2, gx + w / 2, gy + h / 2))
        hits = np.flatnonzero(ok)
        if len(hits) == 0:
            return None
        k = int(hits[0])
        return turned((float(gx[k]), float(gy[k])), turn)

    def _least_bad(self, body: Any, blocked: Any, turn: float, block: Block) -> Point:
        """Among points of the body, the one whose box covers least of what is taken (``blocked``; None: nothing)."""
        import shapely

        w, h = block.extent(self.em)
        x0, y0, x1, y1 = body.bounds
        gx, gy = (axis.ravel() for axis in np.meshgrid(np.linspace(x0, x1, 15), np.linspace(y0, y1, 15)))
        inside = shapely.contains_xy(body, gx, gy)
        dot = body.representative_point()
        centres = np.array([*zip(gx[inside], gy[inside], strict=True), (dot.x, dot.y)])
        corners = np.array([turned((sx * w / 2, sy * h / 2), turn) for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1))])
        boxes = shapely.polygons(centres[:, None, :] + corners[None, :, :])
        cost = shapely.area(shapely.difference(boxes, body))
        if blocked is not None:
            cost = cost + 10.0 * shapely.area(shapely.intersection(boxes, blocked))
        # of places that are alike the first
        best = int(np.flatnonzero(cost <= cost.min() + 1e-9)[0])
        return (float(centres[best, 0]), float(centres[best, 1]))
