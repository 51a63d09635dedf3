"""Fields of pairs of shapes, made once for every way in which the pair can be rotated, flipped or scaled.

The spreads of one order ask for the same pairs again and again, at other scales, rotated and flipped. The no-fit
polygon of two shapes rotates and flips with them, and swaps its sign with their order, so a field is made for one
*frame* of the pair, chosen by the shapes' own coordinates, and read in all others. What comes out depends on the shapes
alone, never on what was asked for before: that keeps searches repeatable. The store is bounded in bytes; the oldest
fields leave.
"""

from __future__ import annotations

import hashlib
import multiprocessing
import os
from collections import OrderedDict
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.packing.kernel import geometry, kept, nfp

__all__ = ["PairField", "Profile", "fetch", "pair_field", "profile"]

#: bytes of grids kept per process
LIMIT = 200_000_000
#: rings with more corners are thinned for their fields (the exact finish uses the whole ring)
MANY_CORNERS = 28
#: share of a shape's size by which thinning may leave its ring: an eighth of a grid cell
THINNING = 2.5e-3
_EPS = 1e-6

#: (swap x and y, sign of x, sign of y): the eight ways to rotate by quarters and flip
_FRAMES = tuple((swap, sx, sy) for swap in (False, True) for sx in (1, -1) for sy in (1, -1))

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


class PairField(NamedTuple):
    """The field of a displacement: node (i, j) of ``grid`` lies at (x0 + i hx, y0 + j hy); ``corners`` (m, 2) are the
    no-fit polygon's."""

    x0: float
    y0: float
    hx: float
    hy: float
    grid: NDArray[np.float32]
    corners: Floats


class _Seen(NamedTuple):
    name: bytes
    corners: Ints


class Profile(NamedTuple):
    """A shape as seen in each of the eight frames: whole numbers of ``step`` (units of the problem)."""

    step: float
    seen: tuple[_Seen, ...]


def profile(ring: Floats, scale: float) -> Profile:
    """The profile of a ring whose box has its middle at the origin; ``scale`` scaled the ring's coordinates."""
    own = ring / scale
    size = float(np.abs(own).max()) or 1.0
    step = float(10.0 ** (np.floor(np.log10(size)) - 7.0))
    return _profile(np.round(own / step).astype(np.int64).tobytes(), step)


@lru_cache(maxsize=4096)
def _profile(data: bytes, step: float) -> Profile:
    whole = np.frombuffer(data, dtype=np.int64).reshape(-1, 2)
    return Profile(step, tuple(_seen(_framed(whole, frame), step) for frame in _FRAMES))


def _framed(points: Ints, frame: tuple[bool, int, int]) -> Ints:
    swap, sx, sy = frame
    swapped = points[:, ::-1] if swap else points
    return np.ascontiguousarray(swapped * np.array([sx, sy]))


def _seen(points: Ints, step: float) -> _Seen:
    # one order of the corners whatever the ring began with: anticlockwise from the lowest of the leftmost
    x, y = points[:, 0].astype(np.float64), points[:, 1].astype(np.float64)
    if float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()) < 0.0:
        points = points[::-1]
    first = int(np.lexsort((points[:, 1], points[:, 0]))[0])
    points = np.ascontiguousarray(np.roll(points, -first, axis=0))
    digest = hashlib.blake2b(points.tobytes() + repr(step).encode(), digest_size=16).digest()
    return _Seen(digest, points)


class _Store:
    def __init__(self) -> None:
        self._kept: OrderedDict[tuple[bytes, bytes, int], PairField] = OrderedDict()
        self._bytes = 0

    def get(self, key: tuple[bytes, bytes, int]) -> PairField | None:
        found = self._kept.get(key)
        if found is not None:
            self._kept.move_to_end(key)
        return found

    def put(self, key: tuple[bytes, bytes, int], field: PairField) -> None:
        self._kept[key] = field
        self._bytes += field.grid.nbytes + field.corners.nbytes
        while self._bytes > LIMIT and len(self._kept) > 1:
            _, gone = self._kept.popitem(last=False)
            self._bytes -= gone.grid.nbytes + gone.corners.nbytes


_STORE = _Store()
_PARTS: OrderedDict[bytes, list[Floats]] = OrderedDict()


def _frame_of(a: Profile, b: Profile) -> tuple[bytes, bytes, int, bool]:
    # The order (b, a) in a frame is the order (a, b) in the frame rotated by 180°.
    choices = [(a.seen[k].name, b.seen[k].name, k, False) for k in range(8)]
    choices += [(b.seen[k].name, a.seen[k].name, k, True) for k in range(8)]
    return min(choices)


def fetch(pairs: Iterable[tuple[Profile, Profile]], cells: int) -> None:
    """Have the fields of these pairs in the store: from the disk, or made by all processors at once.

    A thread for each processor: the loops hold no lock. All threads have ended when this returns.
    """
    wanted: dict[tuple[bytes, bytes, int], tuple[Profile, Profile, int]] = {}
    for a, b in pairs:
        first, second, frame, swapped = _frame_of(a, b)
        key = (first, second, cells)
        if key not in wanted and _STORE.get(key) is None:
            wanted[key] = (b, a, frame) if swapped else (a, b, frame)
    names = {key: _name(key) for key in wanted}
    have = kept.load(names.values())
    for key in [k for k in wanted if names[k] in have]:
        _STORE.put(key, PairField(*have[names[key]]))
        del wanted[key]
    if not wanted:
        return
    for p, q, frame in wanted.values():  # shapes are divided one after the other: that does hold the lock
        _parts(p, frame)
        _parts(q, frame)
    lanes = min(len(wanted), _processors())
    if lanes > 1:
        with ThreadPoolExecutor(lanes) as pool:
            made = list(pool.map(lambda job: _make(job[0], job[1], job[2], cells), wanted.values()))
    else:
        made = [_make(p, q, frame, cells) for p, q, frame in wanted.values()]
    for key, field in zip(wanted, made, strict=True):
        _STORE.put(key, field)
    kept.store({names[key]: field for key, field in zip(wanted, made, strict=True)})


def _processors() -> int:
    if multiprocessing.parent_process() is not None:
        return 1  # one of several workers: the others have the other processors
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _name(key: tuple[bytes, bytes, int]) -> bytes:
    how = repr((key[2], MANY_CORNERS, THINNING, _EPS)).encode()
    return hashlib.blake2b(key[0] + key[1] + how, digest_size=20).digest()


def pair_field(a: Profile, b: Profile, scale: float, cells: int) -> PairField:
    """The field of the displacement of b from a, in scaled coordinates; ``cells`` along its longer side."""
    first, second, frame, swapped = _frame_of(a, b)
    key = (first, second, cells)
    made = _STORE.get(key)
    if made is None:
        fetch([(a, b)], cells)
        made = _STORE.get(key)
        assert made is not None
    swap, sx, sy = _FRAMES[frame]
    if swapped:
        sx, sy = -sx, -sy
    back = (swap, sy, sx) if swap else (swap, sx, sy)
    return _scaled(_read(made, back), scale)


def _read(field: PairField, frame: tuple[bool, int, int]) -> PairField:
    swap, sx, sy = frame
    x0, y0, hx, hy, grid, corners = field
    if swap:
        x0, y0, hx, hy, grid, corners = y0, x0, hy, hx, grid.T, corners[:, ::-1]
    if sx < 0:
        x0, grid = -(x0 + (grid.shape[0] - 1) * hx), grid[::-1]
    if sy < 0:
        y0, grid = -(y0 + (grid.shape[1] - 1) * hy), grid[:, ::-1]
    return PairField(x0, y0, hx, hy, np.ascontiguousarray(grid), corners * np.array([float(sx), float(sy)]))


def _scaled(field: PairField, by: float) -> PairField:
    return PairField(
        field.x0 * by, field.y0 * by, field.hx * by, field.hy * by, field.grid * np.float32(by), field.corners * by
    )


def _parts(shape: Profile, frame: int) -> list[Floats]:
    """Convex parts in that frame, in units of the problem, thinned."""
    seen = shape.seen[frame]
    found = _PARTS.get(seen.name)
    if found is None:
        ring = seen.corners * shape.step
        if len(ring) > MANY_CORNERS:
            size = float(np.ptp(ring, axis=0).max())
            thin = shapely.simplify(shapely.Polygon(ring), THINNING * size)
            if isinstance(thin, shapely.Polygon) and thin.is_valid and not thin.is_empty:
                ring = np.asarray(thin.exterior.coords, dtype=np.float64)[:-1]
                if geometry.ring_area(ring) < 0.0:
                    ring = ring[::-1]
        found = geometry.convex_parts(np.asarray(ring, dtype=np.float64))
        _PARTS[seen.name] = found
        while len(_PARTS) > 4096:
            _PARTS.popitem(last=False)
    return found


def _make(a: Profile, b: Profile, frame: int, cells: int) -> PairField:
    # Worked out with shapes about 100 across, for which the tolerances of the no-fit code are meant.
    size = max(float(np.abs(s.seen[0].corners).max()) * s.step for s in (a, b))
    unit = float(10.0 ** (np.floor(np.log10(size)) - 1.0))
    ax, ay, astart = _flat([part / unit for part in _parts(a, frame)])
    bx, by, bstart = _flat([part / unit for part in _parts(b, frame)])
    px, py, start = nfp.sums(ax, ay, astart, bx, by, bstart)
    seg = nfp.boundary(px, py, start, _EPS)
    x0, x1, y0, y1 = float(px.min()), float(px.max()), float(py.min()), float(py.max())
    h = max(x1 - x0, y1 - y0) / cells
    nx, ny = max(8, round((x1 - x0) / h)), max(8, round((y1 - y0) / h))
    grid = np.empty((nx + 1, ny + 1), dtype=np.float32)
    hx, hy = (x1 - x0) / nx, (y1 - y0) / ny
    nfp.field(px, py, start, seg, x0, y0, hx, hy, grid)
    return _scaled(PairField(x0, y0, hx, hy, grid, np.ascontiguousarray(seg[:, :2])), unit)


def _flat(parts: list[Floats]) -> tuple[Floats, Floats, Ints]:
    v = np.vstack(parts)
    start = np.cumsum([0, *(len(p) for p in parts)]).astype(np.int64)
    return np.ascontiguousarray(v[:, 0]), np.ascontiguousarray(v[:, 1]), start
