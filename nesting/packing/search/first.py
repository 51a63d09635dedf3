"""First layouts: a plain valid one at once (boxes on shelves), and random ones for the search to separate."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from nesting.packing.kernel import kernels
from nesting.packing.kernel.arrays import BDX, BDY, LMIN, LX, LY, PX, PY, XLO, XR, YHI, YLO, Model
from nesting.packing.kernel.kernels import State
from nesting.packing.search.outlines import extents_of

__all__ = ["boxes", "choose_states", "random_places"]


Floats = NDArray[np.float64]
_Box = tuple[float, float, float, float]
#: boxes that meet by less than this only touch (rounding, internal units)
_TOUCH = 1e-9
#: with more boxes than this, gaps are not looked into and fewer heights are tried
_FEW = 60


def choose_states(model: Model, state: State) -> None:
    """Give every group one of its states at random."""
    for g, options in enumerate(model.num_states):
        state.group[g] = options[int(kernels.uniform(state.rng) * len(options))]


def allowed(model: Model, state: State, item: int, length: float) -> list[int]:
    """Variants that the item may take."""
    t = model.tables
    g = int(t.i_group[item])
    return [v for v in range(t.i_v0[item], t.i_v1[item])
            if t.v_lim[v, LMIN] <= length + 1e-9
            and (g < 0 or t.v_state[v] < 0 or state.group[g] < 0 or t.v_state[v] == state.group[g])]  # fmt: skip


def random_places(model: Model, state: State, length: float) -> None:
    """Every item at a random place of a random allowed variant within ``length``."""
    t = model.tables
    state.weight[:] = 1.0
    for i in range(model.n):
        options = allowed(model, state, i, length) or [int(t.i_v0[i])]
        v = options[int(kernels.uniform(state.rng) * len(options))]
        lim = t.v_lim[v]
        x = lim[XLO] + kernels.uniform(state.rng) * max(0.0, length - lim[XR] - lim[XLO])
        y = lim[YLO] + kernels.uniform(state.rng) * (lim[YHI] - lim[YLO])
        kernels.put(t, state, i, v, kernels.fit_x(t, v, x, length), kernels.fit_y(t, v, y))


def boxes(model: Model, state: State) -> bool:
    """Lay bounding boxes one after the other, large ones first, each as far left as it goes. False if that fails.

    On open-ended plies it always succeeds unless lines of fixed x stand in the way; it is then a valid layout.
    """
    t = model.tables
    around = [_around(model, v, own) for v, own in enumerate(extents_of(model))]
    taken: list[tuple[float, float, float, float, int]] = []
    for shape, mask in zip(model.obstacles, t.o_mask, strict=True):
        x0, y0 = shape.ring.min(axis=0)
        x1, y1 = shape.ring.max(axis=0)
        taken.append((float(x0), float(y0), float(x1), float(y1), int(mask)))
    # what lies on one line only, as on a fold, has the fewest places
    tied = [bool((t.v_lim[a:b, PY] == 0.0).all()) for a, b in zip(t.i_v0, t.i_v1, strict=True)]
    order = sorted(range(model.n), key=lambda i: (not t.i_fixed[i], not tied[i], -t.i_size[i], i))
    for i in order:
        best: tuple[float, float, int, float, float] | None = None
        for v in allowed(model, state, i, math.inf):
            there = (float(t.v_lim[v, LX]), float(t.v_lim[v, LY]))
            spot = there if t.i_fixed[i] else _spot(model, v, around[v], taken)
            if spot is not None:
                key = (spot[0] + float(t.v_lim[v, XR]), spot[1], v, *spot)
                best = key if best is None or key < best else best
        if best is None:
            return False
        _, _, v, x, y = best
        kernels.put(t, state, i, v, x, y)
        x0, y0, x1, y1 = around[v]
        taken.append((x + x0, y + y0, x + x1, y + y1, int(t.v_mask[v])))
    return True


def _around(model: Model, v: int, own: _Box | None) -> _Box:
    """The box that a variant takes, about its middle: its outline and half the gap, else body and ring together."""
    if own is not None:
        return own
    t = model.tables
    lim = t.v_lim[v]
    r, b = t.v_ring[v], t.v_body[v]
    hw = max(t.s_hw[r], t.s_hw[b] + abs(lim[BDX]))
    hh = max(t.s_hh[r], t.s_hh[b] + abs(lim[BDY]))
    return (-float(hw), -float(hh), float(hw), float(hh))


def _spot(
    model: Model, v: int, around: _Box, taken: list[tuple[float, float, float, float, int]]
) -> tuple[float, float] | None:
    t = model.tables
    lim = t.v_lim[v]
    x0, y0, x1, y1 = around
    met = [b for b in taken if b[4] & int(t.v_mask[v])]
    heights = sorted({float(lim[YLO]), float(lim[YHI])} | {b[3] - y0 for b in met} | {b[1] - y1 for b in met})
    heights = [y for y in heights if lim[YLO] - 1e-9 <= y <= lim[YHI] + 1e-9]
    if len(met) > _FEW:
        return _behind(met, [float(kernels.fit_y(t, v, y)) for y in heights[:: len(heights) // _FEW + 1]],
                       (x0, y0, x1, y1), lim)  # fmt: skip
    x, y = _leftmost(lim, around, np.array(heights), np.array([b[:4] for b in met]).reshape(-1, 4))
    return None if math.isinf(x) else (x, y)


@njit(cache=True, error_model="numpy")
def _leftmost(lim: Floats, around: _Box, heights: Floats, met: Floats) -> tuple[float, float]:
    """The leftmost place, and the lowest of these, at one of ``heights`` where a box meets none of ``met``; x infinite
    where there is none."""
    x0, y0, x1, y1 = around
    best_x, best_y = math.inf, 0.0
    for height in heights:
        y = kernels.on_lattice(height, lim[YLO], lim[YHI], lim[LY], lim[PY])
        x = lim[XLO]
        free = False
        for _ in range(len(met) + 1):
            if lim[PX] == 0.0:
                x = lim[LX] if lim[LX] >= x - 1e-9 else math.inf
            elif lim[PX] > 0.0:
                x = lim[LX] + math.ceil((x - 1e-9 - lim[LX]) / lim[PX]) * lim[PX]
            if math.isinf(x):
                break
            right = -math.inf
            for k in range(len(met)):
                beside = met[k, 1] < y + y1 - _TOUCH and met[k, 3] > y + y0 + _TOUCH
                if beside and met[k, 0] < x + x1 - _TOUCH and met[k, 2] > x + x0 + _TOUCH:
                    right = max(right, met[k, 2])
            if math.isinf(right):
                free = True
                break
            x = right - x0
        if free and (x < best_x or (x == best_x and y < best_y)):
            best_x, best_y = x, y
    return best_x, best_y


def _behind(
    met: list[tuple[float, float, float, float, int]], heights: list[float],
    box: tuple[float, float, float, float], lim: NDArray[np.float64],
) -> tuple[float, float] | None:  # fmt: skip
    """The leftmost place behind everything that lies beside it: without looking into gaps, as there are many boxes."""
    x0, y0, _, y1 = box
    have = np.array([b[:4] for b in met])
    ys = np.array(heights)[:, None]
    beside = (have[None, :, 1] < ys + y1 - _TOUCH) & (have[None, :, 3] > ys + y0 + _TOUCH)
    right = np.where(beside, have[None, :, 2], -math.inf).max(axis=1) - x0
    spots = [(_up(max(float(r), float(lim[XLO])), lim), y) for r, y in zip(right, heights, strict=True)]
    best = min(spots, default=(math.inf, 0.0))
    return None if math.isinf(best[0]) else best


def _up(x: float, lim: NDArray[np.float64]) -> float:
    """The least allowed x at or above ``x``."""
    if lim[PX] < 0.0:
        return x
    if lim[PX] == 0.0:
        return float(lim[LX]) if lim[LX] >= x - 1e-9 else math.inf
    return float(lim[LX] + math.ceil((x - 1e-9 - lim[LX]) / lim[PX]) * lim[PX])
