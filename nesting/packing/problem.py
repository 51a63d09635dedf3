"""The packing problem, stated once (one engine for every spread, remnant and order).

Container
    one or more *plies*, each a polygon with holes, in one common frame. x is the direction whose extent is to be
    minimised; the container begins at x = 0. With ``Problem.length`` None the plies are open-ended: every ply's
    outline is a rectangle whose x extent is ignored. With a length, or with ``Region.outline`` that is not a
    rectangle, the container is as drawn and a layout either exists or does not.
Item
    one thing to place, in one of its *poses*. Two placed items collide if they share a ply and their outlines are
    nearer than ``Problem.gap``. A pose's outline must lie inside the region of each of its plies. Where a pose has no
    outline of its own, its ring is what collides (if interiors meet) and its *body* is what must lie inside.

Lengths are in any one unit (the rest of the package uses mm); rotations are degrees, anticlockwise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Axis",
    "Bound",
    "Item",
    "NeverFits",
    "NoLayoutFound",
    "OnBetter",
    "PackingError",
    "Place",
    "Pose",
    "Problem",
    "Region",
    "Result",
    "RingArray",
    "Stop",
    "outline_of",
]

RingArray = NDArray[np.float64]


class PackingError(Exception):
    """Root of what the optimiser raises on purpose."""


class NeverFits(PackingError):
    """An item has no pose that fits into the empty container. ``item`` is its index, ``reason`` says why."""

    def __init__(self, item: int, name: str, reason: str) -> None:
        self.item, self.name, self.reason = item, name, reason
        super().__init__(f"item {item} ({name}): {reason}")

    def __reduce__(self) -> tuple[object, ...]:
        return (NeverFits, (self.item, self.name, self.reason))


class NoLayoutFound(PackingError):
    """The search found no layout in its time: one may exist all the same, unless ``proof`` says why none does.

    ``places`` is a valid layout of a part of the items, ``missing`` the numbers of the others, ``names`` their names.
    """

    def __init__(
        self, places: tuple[Place, ...], missing: tuple[int, ...], names: tuple[str, ...], proof: str | None = None
    ) -> None:
        self.places, self.missing, self.names, self.proof = places, missing, names, proof
        total = len(places) + len(missing)
        what = f"no layout of all {total} items "
        what += f"exists: {proof}" if proof else f"was found; without a place: {', '.join(names)}"
        super().__init__(what)

    def __reduce__(self) -> tuple[object, ...]:
        return (NoLayoutFound, (self.places, self.missing, self.names, self.proof))


@dataclass(frozen=True)
class Axis:
    """Restricts one coordinate of a pose's reference point: ``offset + k · period``; with period 0 only ``offset``."""

    offset: float
    period: float = 0.0


@dataclass(frozen=True, eq=False)
class Region:
    """One ply: what may be covered. ``outline`` (n, 2) anticlockwise; ``holes`` are flaws and gaps in the cloth."""

    outline: RingArray
    holes: tuple[RingArray, ...] = ()


@dataclass(frozen=True, eq=False)
class Pose:
    """One way in which an item may lie.

    ``outline`` (n, 2), anticlockwise, simple, relative to the reference point, already rotated and flipped, is what is
    kept apart and inside, exactly. ``ring`` and ``body`` then only steer: the outline with half the gap around it and
    the outline itself, both with few corners and about right. With ``outline`` None they are what counts: rings must
    not meet, bodies (None: the ring itself) must lie inside the plies.
    ``low`` and ``high`` keep the outline this much farther from the lower and upper y limit of the region's box,
    ``left`` from its beginning in x. ``tilt`` allows a further free rotation of ± that many degrees. ``state``
    restricts the pose to layouts in which the item's group has that state. ``tag`` is the caller's.
    """

    ring: RingArray
    plies: tuple[int, ...] = (0,)
    body: RingArray | None = None
    x: Axis | None = None
    y: Axis | None = None
    low: float = 0.0
    high: float = 0.0
    tilt: float = 0.0
    state: int | None = None
    tag: int = 0
    outline: RingArray | None = None
    left: float = 0.0


def outline_of(pose: Pose) -> RingArray:
    """What must lie inside the plies, exactly."""
    if pose.outline is not None:
        return pose.outline
    return pose.ring if pose.body is None else pose.body


@dataclass(frozen=True)
class Place:
    """Item ``item`` lies in pose number ``pose``, tilted by ``tilt`` degrees, reference point at (x, y)."""

    item: int
    pose: int
    x: float
    y: float
    tilt: float = 0.0


@dataclass(frozen=True, eq=False)
class Item:
    """One thing to place. Items of one ``group`` share the group's state. ``fixed`` items do not move.

    ``kind`` (same value: interchangeable items, same poses) lets the search share fields and skip symmetric swaps.
    ``label``: what items that are alike are called together, "" where the name will do.
    """

    name: str
    poses: tuple[Pose, ...]
    kind: int | None = None
    group: int | None = None
    fixed: Place | None = None
    label: str = ""


@dataclass(frozen=True, eq=False)
class Problem:
    """Items to place in plies; ``length`` None asks for the least length, a number asks for any layout within it.

    ``gap`` is kept between the outlines of poses on one ply (it asks for ``Pose.outline``). ``tolerance``: whoever
    judges a layout may see each border this much farther in, so that a bound holds for all that passes.
    """

    plies: tuple[Region, ...]
    items: tuple[Item, ...]
    length: float | None = None
    gap: float = 0.0
    tolerance: float = 0.0


@dataclass(frozen=True)
class Stop:
    """When to stop: whichever comes first. ``rounds`` bounds the work, so that a run can be repeated exactly;
    ``length``: stop as soon as a layout is this short or shorter. At least one of seconds and rounds is needed."""

    seconds: float | None = None
    rounds: int | None = None
    length: float | None = None


@dataclass(frozen=True)
class Bound:
    """No layout can be shorter than ``length``; ``reason`` says why, for people."""

    length: float
    reason: str


@dataclass(frozen=True)
class Result:
    """The best layout found. ``trace`` holds (seconds since the start, length) of each better layout."""

    length: float
    places: tuple[Place, ...]
    bound: Bound
    rounds: int
    seconds: float
    stopped_by: Literal["seconds", "rounds", "length", "bound", "interrupted"]
    trace: tuple[tuple[float, float], ...] = ()


#: Called with (seconds since the start, length, places) of each better layout; it must be quick.
OnBetter = Callable[[float, float, tuple[Place, ...]], None]
