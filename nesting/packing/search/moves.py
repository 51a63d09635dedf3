"""Moves on whole layouts: what an attempt begins with. They leave overlaps for the separation to take out."""

from __future__ import annotations

from nesting.packing.kernel import kernels
from nesting.packing.kernel.arrays import LMIN, Model
from nesting.packing.kernel.kernels import State, uniform
from nesting.packing.search.first import allowed

__all__ = ["flip_group", "shuffle_near", "shuffle_window", "squeeze", "swap"]


def _put(model: Model, state: State, i: int, v: int, x: float, y: float, length: float) -> None:
    t = model.tables
    if t.v_lim[v, LMIN] > length + 1e-9:
        options = allowed(model, state, i, length)
        v = options[0] if options else v
    kernels.put(t, state, i, v, kernels.fit_x(t, v, x, length), kernels.fit_y(t, v, y))


def _free(model: Model) -> list[int]:
    return [i for i in range(model.n) if not model.tables.i_fixed[i]]


def squeeze(model: Model, state: State, length: float, shrink: float) -> None:
    """Everything right of a random cut moves left by ``shrink``; nothing lies beyond ``length``."""
    cut = uniform(state.rng) * length
    for i in _free(model):
        x = float(state.cx[i]) - (shrink if state.cx[i] > cut else 0.0)
        _put(model, state, i, int(state.var[i]), x, float(state.cy[i]), length)


def swap(model: Model, state: State, length: float) -> None:
    """Two of the larger items that are not alike change places."""
    t = model.tables
    large = sorted(_free(model), key=lambda i: (-t.i_size[i], i))
    large = large[: max(2, int(len(large) * 0.4))]
    if len(large) < 2:
        return
    for _ in range(20):
        a = large[int(uniform(state.rng) * len(large))]
        b = large[int(uniform(state.rng) * len(large))]
        if t.i_kind[a] != t.i_kind[b] or (a != b and state.var[a] != state.var[b]):
            ax, ay, bx, by = (float(q) for q in (state.cx[a], state.cy[a], state.cx[b], state.cy[b]))
            _put(model, state, a, int(state.var[a]), bx, by, length)
            _put(model, state, b, int(state.var[b]), ax, ay, length)
            return


def shuffle_window(model: Model, state: State, length: float) -> None:
    """The items inside a vertical window exchange their places at random: four to nine, and at most 30 % of the
    length. Of a shuffle of a dozen or more hardly any can be separated."""
    width = length * min(0.3, (3.6 + 5.4 * uniform(state.rng)) / model.n)
    left = uniform(state.rng) * (length - width)
    inside = [i for i in _free(model) if left <= state.cx[i] <= left + width]
    _permute(model, state, inside, length)


def shuffle_near(model: Model, state: State, length: float) -> None:
    """An item and its three to six nearest neighbours exchange their places at random."""
    free = _free(model)
    if len(free) < 2:
        return
    middle = free[int(uniform(state.rng) * len(free))]
    x, y = float(state.cx[middle]), float(state.cy[middle])
    near = sorted(free, key=lambda i: ((state.cx[i] - x) ** 2 + (state.cy[i] - y) ** 2, i))
    _permute(model, state, near[: 4 + int(uniform(state.rng) * 4)], length)


def _permute(model: Model, state: State, items: list[int], length: float) -> None:
    spots = [(float(state.cx[i]), float(state.cy[i])) for i in items]
    for k in range(len(items) - 1, 0, -1):
        c = int(uniform(state.rng) * (k + 1))
        spots[k], spots[c] = spots[c], spots[k]
    for i, (x, y) in zip(items, spots, strict=True):
        _put(model, state, i, int(state.var[i]), x, y, length)


def flip_group(model: Model, state: State, length: float) -> None:
    """One group takes another of its states; its items keep their places as well as they can."""
    t = model.tables
    several = [g for g, states in enumerate(model.num_states) if len(states) > 1]
    if not several:
        return
    g = several[int(uniform(state.rng) * len(several))]
    others = [q for q in model.num_states[g] if q != state.group[g]]
    state.group[g] = others[int(uniform(state.rng) * len(others))]
    for i in _free(model):
        if t.i_group[i] == g:
            options = allowed(model, state, i, length)
            if options and int(state.var[i]) not in options:
                v = options[int(uniform(state.rng) * len(options))]
                _put(model, state, i, v, float(state.cx[i]), float(state.cy[i]), length)
