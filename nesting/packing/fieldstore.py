"""Finished fields kept for other problems of the same process.

The spreads of one order ask for the same pairs of shapes again and again, at other scales: a field is homothetic, so
it is kept in the units of the problem and scaled when it is taken. The store is bounded in bytes; the oldest fields leave.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["STORE", "Stored", "fingerprint"]

#: bytes of grids kept per process
LIMIT = 200_000_000


class Stored(NamedTuple):
    """One field in the units of the problem: its box, its grid of signed distances, the no-fit boundary."""

    box: tuple[float, float, float, float]
    grid: NDArray[np.float32]
    boundary: NDArray[np.float64]


class _Store:
    def __init__(self) -> None:
        self._kept: OrderedDict[tuple[bytes, bytes, int], Stored] = OrderedDict()
        self._bytes = 0

    def get(self, key: tuple[bytes, bytes, int]) -> Stored | None:
        """The field under ``key``, now the newest."""
        found = self._kept.get(key)
        if found is not None:
            self._kept.move_to_end(key)
        return found

    def put(self, key: tuple[bytes, bytes, int], field: Stored) -> None:
        """Keep a field; the oldest leave while there are too many bytes."""
        if key in self._kept:
            return
        self._kept[key] = field
        self._bytes += field.grid.nbytes + field.boundary.nbytes
        while self._bytes > LIMIT and len(self._kept) > 1:
            _, gone = self._kept.popitem(last=False)
            self._bytes -= gone.grid.nbytes + gone.boundary.nbytes


#: the store of this process
STORE = _Store()


def fingerprint(x: NDArray[np.float64], y: NDArray[np.float64], scale: float) -> bytes:
    """A shape's name in the store: its corners in the units of the problem, to a millionth of its size."""
    size = max(float(np.ptp(x)), float(np.ptp(y)), 1e-12) / scale
    step = 10.0 ** np.floor(np.log10(size) - 6.0)
    corners = np.round(np.concatenate([x, y]) / scale / step).astype(np.int64)
    return hashlib.blake2b(corners.tobytes(), digest_size=16).digest()
