"""Outlines for the exact finish: convex parts that cover an outline and follow it where it bulges.

The outline is thinned to few of its own corners and divided into convex parts; then each part takes in the corners that
were left out along its sides. Where the outline bulges the parts follow it exactly, so two discs touch where the discs
do; across a hollow a part reaches as far as the thinning went, never less. The parts together always cover the outline.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.packing.kernel import geometry, kept
from nesting.packing.kernel.arrays import Model
from nesting.packing.problem import Pose, RingArray

__all__ = ["extents_of", "halves_of", "parts_along", "parts_along_all", "poses_of"]

Floats = NDArray[np.float64]

#: how far hollows may be cut off, as shares of the outline's extent, the least first; the first that leaves few corners
_THINNINGS = (2e-5, 1e-4, 2e-4, 4e-4)
_FEW_CORNERS = 32
#: changes with how parts are made
_HOW = "along 1"
#: parts in memory, by outline and fineness; how many at most
_known: OrderedDict[tuple[bytes, bool], tuple[tuple[Floats, ...], float]] = OrderedDict()
_MOST = 4096


def poses_of(model: Model) -> list[tuple[Pose, float, float, float]]:
    """Of each variant: its pose, its tilt, and the middle of its ring's box minus the reference point (internal)."""
    model = model.whole or model  # a part has all the variants
    found: list[tuple[Pose, float, float, float] | None] = [None] * len(model.variants)
    t = model.tables
    for item, first, last in zip(model.problem.items, t.i_v0, t.i_v1, strict=True):
        for v in range(int(first), int(last)):
            if found[v] is None:
                own = model.variants[v]
                found[v] = (item.poses[own.pose], own.tilt, own.dx, own.dy)
    return [own for own in found if own is not None]


def extents_of(model: Model) -> list[tuple[float, float, float, float] | None]:
    """Of each variant: the box of its outline and half the gap around it, about the middle of the ring's box, internal
    units; None without an outline."""
    found: list[tuple[float, float, float, float] | None] = []
    half = model.problem.gap * model.scale / 2
    for pose, tilt, dx, dy in poses_of(model):
        if pose.outline is None:
            found.append(None)
        else:
            outline = geometry.rotated(np.asarray(pose.outline, dtype=np.float64), tilt) * model.scale
            x0, y0, x1, y1 = geometry.bounds(outline - (dx, dy))
            found.append((x0 - half, y0 - half, x1 + half, y1 + half))
    return found


def halves_of(model: Model) -> Floats:
    """Of each variant: how far it reaches to either side of its ring's middle, with half the gap, internal units."""
    return _halves(model.whole or model)


@lru_cache(maxsize=4)
def _halves(model: Model) -> Floats:
    rings = model.tables.s_hw[model.tables.v_ring]
    own = [0.0 if e is None else max(-e[0], e[2]) for e in extents_of(model)]
    found: Floats = np.maximum(rings, np.array(own))
    return found


def parts_along(outline: RingArray, *, fine: bool = False) -> tuple[tuple[Floats, ...], float]:
    """Convex polygons (anticlockwise) that cover ``outline`` (n, 2), and how far at most they reach across a hollow.

    ``fine``: by the least share. Raises PackingError for an outline without area or one that crosses itself.
    """
    return parts_along_all([outline], fine=fine)[0]


def parts_along_all(outlines: Sequence[RingArray], *, fine: bool = False) -> list[tuple[tuple[Floats, ...], float]]:
    """``parts_along`` of each: from memory, from the disk, or made now and kept on both."""
    asked = [(np.ascontiguousarray(one, dtype=np.float64).tobytes(), fine) for one in outlines]
    names = {
        key: hashlib.blake2b(repr((_HOW, _THINNINGS, _FEW_CORNERS, fine)).encode() + key[0], digest_size=20).digest()
        for key in dict.fromkeys(asked)
        if key not in _known
    }
    have = kept.load_lists(names.values())
    made: dict[bytes, kept.Lists] = {}
    answers = {key: _known[key] for key in asked if key in _known}
    for key, name in names.items():
        lists = have.get(name)
        if lists is None:
            parts, cut = _parts(*key)
            lists = made[name] = (np.array([cut]), *(part.ravel() for part in parts))
        answers[key] = (tuple(one.reshape(-1, 2) for one in lists[1:]), float(lists[0][0]))
    kept.store_lists(made)
    for key in names:
        _known[key] = answers[key]
        if len(_known) > _MOST:
            _known.popitem(last=False)
    return [answers[key] for key in asked]


def _parts(data: bytes, fine: bool) -> tuple[tuple[Floats, ...], float]:
    ring = geometry.clean(np.frombuffer(data, dtype=np.float64).reshape(-1, 2))
    whole = shapely.Polygon(ring)
    size = float(np.ptp(ring, axis=0).max())
    thin, cut = ring, 0.0
    for share in _THINNINGS[:1] if fine else _THINNINGS:
        plain = whole.simplify(share * size)
        if plain.geom_type == "Polygon" and plain.is_valid and plain.area > 0.0:
            thin, cut = geometry.clean(np.asarray(plain.exterior.coords)[:-1]), share * size
        if len(thin) <= _FEW_CORNERS:
            break
    parts = geometry.convex_parts(thin)
    if len(thin) == len(ring):
        return tuple(parts), 0.0
    number = {tuple(p): k for k, p in enumerate(ring.tolist())}
    at = [number[tuple(p)] for p in thin.tolist()]
    following = dict(zip(at, at[1:] + at[:1], strict=True))
    found = []
    for part in parts:
        own = [number[tuple(p)] for p in part.tolist()]
        taken = [part]
        for a, b in zip(own, own[1:] + own[:1], strict=True):
            if following.get(a) == b:
                taken.append(ring[np.arange(a + 1, b if b > a else b + len(ring)) % len(ring)])
        hull = shapely.MultiPoint(np.vstack(taken)).convex_hull
        found.append(geometry.clean(np.asarray(hull.exterior.coords)[:-1]))
    return tuple(found), cut
