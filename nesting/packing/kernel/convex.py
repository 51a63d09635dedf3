"""Convex parts of shapes, worked out once for all problems that hold the shape, at whatever scale.

The spreads of one order ask for the same pieces again and again, and dividing them takes longer than everything else
that a problem's preparation does. What is kept is which corners make each part. It is worked out from the shape's
coordinates as whole numbers, so it follows from the shape alone and never from what was asked for before: that keeps
searches repeatable.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from nesting.packing.kernel import geometry, kept
from nesting.packing.problem import PackingError, RingArray

__all__ = ["keep_new", "parts_of"]

#: changes with how shapes are divided
_HOW = "corners 1"
#: what was divided and is not kept on disk yet
_new: dict[bytes, kept.Lists] = {}
Corners = tuple[NDArray[np.int64], ...]
#: a shape's size is this many steps of its whole numbers, or up to ten times as many
_STEPS = 1e7
#: share of the size's square by which the parts' areas may miss the shape's
_ROUNDING = 1e-12


def parts_of(ring: RingArray, scale: float) -> list[NDArray[np.float64]]:
    """The convex parts (anticlockwise) of a clean ring about its box's middle; ``scale`` scaled its coordinates.

    Raises PackingError for a ring without area or one that crosses itself.
    """
    return list(_parts(np.ascontiguousarray(ring).tobytes(), scale))


@lru_cache(maxsize=4096)
def _parts(data: bytes, scale: float) -> tuple[NDArray[np.float64], ...]:
    ring = np.frombuffer(data, dtype=np.float64).reshape(-1, 2)
    own = ring / scale
    size = float(np.abs(own).max(initial=0.0)) or 1.0
    step = float(10.0 ** np.floor(np.log10(size))) / _STEPS
    corners = _corners(np.round(own / step).astype(np.int64).tobytes(), step)
    if corners is not None:
        parts = [ring[c] for c in corners]
        missing = geometry.ring_area(ring) - sum(geometry.ring_area(p) for p in parts)
        if abs(missing) <= _ROUNDING * (size * scale) ** 2:
            return tuple(parts)
    return tuple(geometry.convex_parts(ring))


@lru_cache(maxsize=4096)
def _corners(whole: bytes, step: float) -> Corners | None:
    """The corners' numbers, part by part; None where rounding to whole numbers of ``step`` spoils the ring."""
    name = hashlib.blake2b(repr((_HOW, step)).encode() + whole, digest_size=20).digest()
    known = kept.load_lists([name]).get(name)
    if known is None:
        known = _new[name] = _divided(whole, step)
    return tuple(one.astype(np.int64) for one in known) or None


def keep_new() -> None:
    """Keep on disk what was divided since this was last asked."""
    kept.store_lists(_new)
    _new.clear()


def _divided(whole: bytes, step: float) -> kept.Lists:
    """As ``_corners``; empty for None."""
    ring = np.frombuffer(whole, dtype=np.int64).reshape(-1, 2).astype(np.float64) * step
    number = {tuple(p): k for k, p in enumerate(ring.tolist())}
    if len(number) < len(ring):
        return ()
    try:
        parts = geometry.convex_parts(ring)
    except PackingError:
        return ()
    found = tuple(np.array([number[tuple(p)] for p in part.tolist()], dtype=np.float64) for part in parts)
    return found if len(set(np.concatenate(found).tolist())) == len(ring) else ()
