"""Lays that repeat themselves: mixtures laid without ends, at the shortest period, and unrolled one behind the other.

The copies of what goes on for ever interlock, and a small mixture is searched to its end where a large one is not. So
what there is many times is divided into blocks, each of one small mixture over and over; where two blocks meet and at
both ends of the whole something is lost, once each, and windows are searched there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nesting.packing.kernel import geometry
from nesting.packing.kernel.arrays import PX, SIDE, XLO, XR, Model
from nesting.packing.problem import outline_of
from nesting.packing.search.explore import LEAST_PERIOD, Layout
from nesting.packing.search.outlines import halves_of, poses_of

__all__ = ["Blocks", "blocks_of", "unrolled"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: items of a mixture: about
_PERIOD = 28
#: copies that a mixture must have to be searched without ends, and how much of the cloth it will cover, about
_LEAST_COPIES, _COVERED = 3, 0.84
#: a period is at least this long in widths of the cloth: in shorter ones the pieces have too little choice
_LEAST_LENGTH = 0.9
#: bands across the cloth in which it is looked how far what lies there reaches
_BANDS = 400
#: what is laid behind something else is kept this much farther away than it need be (internal units)
_APART = 1e-6


@dataclass(frozen=True, eq=False)
class Blocks:
    """``blocks``: copies of one mixture each, item for item of the same kind; ``rest``: what comes behind them."""

    blocks: tuple[tuple[tuple[int, ...], ...], ...]
    rest: tuple[tuple[int, ...], ...]

    @property
    def distinct(self) -> tuple[tuple[int, ...], ...]:
        """What has to be searched: one copy of each block, and the rest."""
        return (*(b[0] for b in self.blocks), *self.rest)

    @property
    def seams(self) -> tuple[int, ...]:
        """How many items lie before each seam between two blocks."""
        before = np.cumsum([sum(map(len, b)) for b in self.blocks])
        return tuple(int(k) for k in before[:-1])


def blocks_of(
    model: Model, copies: tuple[tuple[int, ...], ...], rest: tuple[tuple[int, ...], ...]
) -> Blocks | None:
    """Equal copies of a mixture divided into blocks of smaller ones.

    None where it may not be searched without ends: few copies, a lattice along x, or a period that would be too
    short beside the longest item or the width; or where a copy need not be divided, as one laid with ends is denser.
    """
    t = model.tables
    if len(copies) < _LEAST_COPIES or (t.v_lim[:, PX] >= 0.0).any():
        return None
    units: dict[object, list[int]] = {}
    for k, i in enumerate(copies[0]):
        g = int(t.i_group[i])
        units.setdefault(("group", g) if g >= 0 else ("item", k), []).append(k)
    dealt = sorted(units.values(), key=lambda u: (-sum(float(t.i_size[copies[0][k]]) ** 2 for k in u), u))
    least = max(1.05 * LEAST_PERIOD * float(t.s_hw[t.v_ring].max()), _LEAST_LENGTH * SIDE)
    for count in range(round(len(copies[0]) / _PERIOD), 1, -1):
        mixtures: list[list[int]] = [[] for _ in range(count)]
        for number, unit in enumerate(dealt):  # by size to and fro, so that all are alike in it
            turn, at = divmod(number, count)
            mixtures[at if turn % 2 == 0 else count - 1 - at] += unit
        areas = [sum(float(t.i_size[copies[0][k]]) ** 2 for k in mixture) for mixture in mixtures]
        if min(areas) / SIDE / _COVERED > least:
            return Blocks(
                tuple(tuple(tuple(copy[k] for k in mixture) for copy in copies) for mixture in mixtures), rest
            )
    return None


def unrolled(model: Model, blocks: Blocks, layouts: Sequence[Layout]) -> Layout:
    """The whole from one period of each block (its ``length`` the period) and the layouts of the rest, each laid as
    near to what is before it as bands across the cloth show that it can be."""
    t = model.tables
    cx, cy, var = np.zeros(model.n), np.zeros(model.n), t.i_v0.copy()
    group = np.array([s[0] for s in model.num_states] or [-1], dtype=np.int32)
    silhouettes = _Silhouettes(model)
    end = np.full(_BANDS, -np.inf)
    for number, (items, lay) in enumerate(zip(blocks.distinct, layouts, strict=True)):
        copies = blocks.blocks[number] if number < len(blocks.blocks) else (items,)
        x, y, v = lay.cx, lay.cy, lay.var
        cuts = [x]
        if len(copies) > 1:
            x = np.mod(x, lay.length)
            order = np.argsort(x, kind="stable")
            cuts = [np.where(np.isin(np.arange(len(x)), order[:k]), x + lay.length, x) for k in range(len(order))]
        best: tuple[float, Floats] | None = None
        for turned in cuts:
            low, _ = silhouettes.of(turned, y, v)
            shift = max(float((t.v_lim[v, XLO] - turned).max()), float((end - low).max())) + _APART
            reach = float((turned + t.v_lim[v, XR]).max()) + shift
            if best is None or reach < best[0] - 1e-9:
                best = (reach, turned + shift)
        assert best is not None
        for k, copy in enumerate(copies):
            index = np.array(copy, dtype=np.int64)
            cx[index], cy[index], var[index] = best[1] + k * lay.length, y, v
            for g, q in enumerate(sorted(set(t.i_group[index].tolist()) - {-1})):
                group[q] = lay.group[g]
        for k in range(max(0, len(copies) - 2), len(copies)):
            end = np.maximum(end, silhouettes.of(best[1] + k * lay.length, y, v)[1])
    return Layout(float((cx + t.v_lim[var, XR]).max()), cx, cy, var, group)


class _Silhouettes:
    """How far variants reach to the left and to the right in bands across the cloth, with the gap around them."""

    def __init__(self, model: Model) -> None:
        self._poses, self._scale = poses_of(model), model.scale
        self._gap = model.problem.gap * model.scale
        self._half = halves_of(model)
        self._edges: dict[int, tuple[Floats, Floats]] = {}

    def _of(self, v: int) -> tuple[Floats, Floats]:
        """Begin and end (n, 2) of each edge, about the middle of the variant's ring."""
        if v not in self._edges:
            pose, tilt, dx, dy = self._poses[v]
            ring = geometry.rotated(np.asarray(outline_of(pose), dtype=np.float64), tilt) * self._scale - (dx, dy)
            self._edges[v] = (ring, np.roll(ring, -1, axis=0))
        return self._edges[v]

    def of(self, x: Floats, y: Floats, v: NDArray[np.int32]) -> tuple[Floats, Floats]:
        """The least and the greatest x in each band; infinite where nothing lies."""
        low, high = np.full(_BANDS, np.inf), np.full(_BANDS, -np.inf)
        wide = SIDE / _BANDS
        for cx, cy, number in zip(x, y, v, strict=True):
            a, b = self._of(int(number))
            y0, y1 = np.minimum(a[:, 1], b[:, 1]) + cy - self._gap, np.maximum(a[:, 1], b[:, 1]) + cy + self._gap
            x0, x1 = np.minimum(a[:, 0], b[:, 0]) + cx - self._gap, np.maximum(a[:, 0], b[:, 0]) + cx + self._gap
            first = np.clip(np.floor(y0 / wide), 0, _BANDS - 1).astype(np.int64)
            last = np.clip(np.floor(y1 / wide), 0, _BANDS - 1).astype(np.int64)
            for f, q, left, right in zip(first, last, x0, x1, strict=True):
                low[f : q + 1] = np.minimum(low[f : q + 1], left)
                high[f : q + 1] = np.maximum(high[f : q + 1], right)
        return low, high
