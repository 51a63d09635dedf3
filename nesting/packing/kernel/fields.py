"""The penetration fields that a search needs, built on demand and shared between equal pairs."""

from __future__ import annotations

import math
import time
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from nesting.packing.kernel import nfp
from nesting.packing.kernel.arrays import BDX, BDY, XCAP, XLO, YHI, YLO, Model, Shape
from nesting.packing.kernel.fieldstore import fetch, pair_field, profile

__all__ = ["FieldTables", "Fields"]

_EPS = 1e-6
#: least number of cells along the longer side of a field, and usual number
_CELLS = (40, 96)
#: cells of all fields together: beyond it the grids become coarser
_MOST = 24e6
#: fields that are made before the clock is looked at again
_AT_ONCE = 256


class FieldTables(NamedTuple):
    """F fields. ``pair[a, b]``: twice the field of displacement b - a, plus 1 if it is rotated by 180°; -2: none.

    ``meta`` (F, 8): x0, y0, 1/hx, 1/hy, nx, ny, offset in ``data``, 0. ``body[b, o]`` likewise for body b's centre and
    obstacle o. ``corner`` (F, 2) is the range of the field's no-fit vertices in ``corners``.
    """

    pair: NDArray[np.int32]
    body: NDArray[np.int32]
    meta: NDArray[np.float64]
    data: NDArray[np.float32]
    corner: NDArray[np.int64]
    corners: NDArray[np.float64]


class _Parts(NamedTuple):
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    start: NDArray[np.int64]


def _flat(shape: Shape) -> _Parts:
    v = np.vstack(shape.parts)
    start = np.cumsum([0, *(len(p) for p in shape.parts)]).astype(np.int64)
    return _Parts(np.ascontiguousarray(v[:, 0]), np.ascontiguousarray(v[:, 1]), start)


class Fields:
    """All fields of a model. ``cells`` bounds the number of grid cells along the longer side of a field."""

    def __init__(self, model: Model, cells: int = _CELLS[1]) -> None:
        self.model = model
        self.cells = cells
        count = len(model.shapes)
        self.profiles = [profile(s.ring, model.scale) for s in model.shapes]
        self.pair = np.full((count, count), -2, dtype=np.int32)
        self.body = np.full((count, max(1, len(model.obstacles))), -1, dtype=np.int32)
        self._meta: list[list[float]] = []
        self._data: list[NDArray[np.float32]] = []
        self._corners: list[NDArray[np.float64]] = []
        self._size = 0
        self._tables: FieldTables | None = None

    @property
    def count(self) -> int:
        """Number of fields built."""
        return len(self._meta)

    @property
    def nbytes(self) -> int:
        """Memory of the grids."""
        return sum(d.nbytes for d in self._data)

    def build(self, deadline: float | None = None) -> bool:
        """Build every field of every pair of shapes that may meet; False if ``deadline`` (perf_counter) came first."""
        t = self.model.tables
        masks = np.zeros(len(self.model.shapes), dtype=np.int64)
        for v, s in enumerate(t.v_ring):
            masks[s] |= t.v_mask[v]
        rings = sorted(set(t.v_ring.tolist()))
        pairs = sum(1 for a in rings for b in rings if a <= b and masks[a] & masks[b])
        self.cells = max(_CELLS[0], min(self.cells, int(math.sqrt(_MOST / max(1, pairs)))))
        missing: list[tuple[int, int]] = []
        seen = self.pair >= 0
        half = [s.half_turn for s in self.model.shapes]
        for a in rings:
            for b in rings:
                if masks[a] & masks[b] and not seen[a, b]:
                    missing.append((a, b))
                    for p, q in ((a, b), (b, a), (half[a], half[b]), (half[b], half[a])):
                        if p >= 0 and q >= 0:
                            seen[p, q] = True
        for k in range(0, len(missing), _AT_ONCE):
            if deadline is not None and time.perf_counter() > deadline:
                return False
            some = missing[k : k + _AT_ONCE]
            fetch(((self.profiles[a], self.profiles[b]) for a, b in some), self.cells)
            for a, b in some:
                self.add(a, b)
        for o, obstacle in enumerate(self.model.obstacles):
            for v, s in enumerate(t.v_body):
                if t.v_mask[v] & t.o_mask[o] and self.body[s, o] < 0:
                    self._add_body(int(s), o, obstacle)
        return True

    def add(self, a: int, b: int) -> None:
        """Build the field of shapes a and b, and all that follow from it by symmetry, unless it is there."""
        if self.pair[a, b] >= 0:
            return
        shapes = self.model.shapes
        made = pair_field(self.profiles[a], self.profiles[b], self.model.scale, self.cells)
        number = self._keep(made.grid, made.corners, made.x0, made.y0, made.hx, made.hy)
        ha, hb = shapes[a].half_turn, shapes[b].half_turn
        for p, q, half in ((a, b, 0), (b, a, 1), (ha, hb, 1), (hb, ha, 0)):
            if p >= 0 and q >= 0 and self.pair[p, q] < 0:
                self.pair[p, q] = 2 * number + half

    def _add_body(self, s: int, o: int, obstacle: Shape) -> None:
        t = self.model.tables
        rows = t.v_lim[t.v_body == s]
        x0, x1 = float((rows[:, XLO] + rows[:, BDX]).min()), float((rows[:, XCAP] + rows[:, BDX]).max())
        y0, y1 = float((rows[:, YLO] + rows[:, BDY]).min()), float((rows[:, YHI] + rows[:, BDY]).max())
        self.body[s, o] = self._make(_flat(obstacle), _flat(self.model.shapes[s]), (x0, y0, x1, y1))

    def _make(self, a: _Parts, b: _Parts, window: tuple[float, float, float, float]) -> int:
        px, py, start = nfp.sums(a.x, a.y, a.start, b.x, b.y, b.start)
        seg = nfp.boundary(px, py, start, _EPS)
        x0, x1, y0, y1 = float(px.min()), float(px.max()), float(py.min()), float(py.max())
        x0, x1 = max(x0, window[0] - 0.01), min(x1, window[2] + 0.01)
        y0, y1 = max(y0, window[1] - 0.01), min(y1, window[3] + 0.01)
        if x1 <= x0 or y1 <= y0:  # out of reach: a field of one cell that says nothing
            x1, y1 = x0 + 1e-6, y0 + 1e-6
        h = max(x1 - x0, y1 - y0) / (3 * self.cells)
        nx, ny = max(8, round((x1 - x0) / h)), max(8, round((y1 - y0) / h))
        grid = np.empty((nx + 1, ny + 1), dtype=np.float32)
        hx, hy = (x1 - x0) / nx, (y1 - y0) / ny
        nfp.field(px, py, start, seg, x0, y0, hx, hy, grid)
        return self._keep(grid, seg[:, :2], x0, y0, hx, hy)

    def _keep(
        self, grid: NDArray[np.float32], corners: NDArray[np.float64], x0: float, y0: float, hx: float, hy: float
    ) -> int:
        nx, ny = grid.shape[0] - 1, grid.shape[1] - 1
        self._meta.append([x0, y0, 1.0 / hx, 1.0 / hy, float(nx), float(ny), float(self._size), 0.0])
        self._data.append(grid.reshape(-1))
        self._corners.append(corners)
        self._size += grid.size
        self._tables = None
        return len(self._meta) - 1

    def tables(self) -> FieldTables:
        """The fields as the kernels read them."""
        if self._tables is None:
            ends = np.cumsum([0, *(len(c) for c in self._corners)])
            self._tables = FieldTables(
                self.pair,
                self.body,
                np.array(self._meta, dtype=np.float64).reshape(-1, 8),
                np.concatenate([*self._data, np.zeros(1, dtype=np.float32)]),
                np.stack([ends[:-1], ends[1:]], axis=1).astype(np.int64),
                np.concatenate([*self._corners, np.zeros((1, 2))]),
            )
        return self._tables
