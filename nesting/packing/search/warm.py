"""Compiling the kernels: once after installation, then they come from numba's cache on disk.

numba keeps the cache beside the modules, or in the user's cache folder where that cannot be written to.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from nesting.packing.bounds import bounds_order
from nesting.packing.kernel import kernels, nfp
from nesting.packing.kernel.arrays import prepare
from nesting.packing.kernel.fields import Fields
from nesting.packing.problem import Item, Pose, Problem, Region
from nesting.packing.search import compact
from nesting.packing.search.explore import Explorer

__all__ = ["NOTE", "compiled", "warm_up"]

NOTE = "compiling the search, once after installation (about 20 seconds) ..."
_ready = False


def compiled() -> bool:
    """Whether the kernels are in memory or in the cache on disk. False where that cannot be told."""
    if _ready:
        return True
    for kernel in (nfp.field, kernels.separate, compact.worst, bounds_order.least_reach):
        if kernel.signatures:
            continue
        folder = getattr(getattr(kernel, "_cache", None), "cache_path", None)
        name = kernel.py_func.__name__
        if folder is None or not any(Path(folder).glob(f"*.{name}-*.nbi")):
            return False
    return True


def warm_up(on_note: Callable[[str], None] | None = None) -> bool:
    """Load the kernels, or compile them; then ``on_note`` is told first. True if they had to be compiled."""
    global _ready
    if _ready:
        return False
    fresh = not compiled()
    if fresh and on_note is not None:
        on_note(NOTE)
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    corner = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [1.0, 1.0], [1.0, 2.0], [0.0, 2.0]])
    problem = Problem(
        (Region(square * 3.0, (square * 0.5,)),),
        tuple(Item(f"{k}", (Pose(r),)) for k, r in enumerate((square, corner))),
    )
    model = prepare(problem)
    fields = Fields(model)
    fields.build()
    explorer = Explorer(model, fields, compact.Compactor(model), 0)
    for _ in range(2):
        explorer.round()
    bounds_order.warm_up()
    _ready = True
    return fresh
