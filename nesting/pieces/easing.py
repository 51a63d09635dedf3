"""How places along one side of a seam go to places along another that is eased or stretched in.

Spread evenly, ease is in proportion to the length; placed between two notches, it is spread evenly between these and
the rest is sewn edge to edge.
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_right
from collections.abc import Sequence

from nesting.model.errors import OrderError
from nesting.pieces.rows import Laid, Placed

__all__ = ["Easing", "between_on"]

_NEAR_MM = 0.05


class Easing:
    """From places along the first side, ``length`` mm long, to places along another: ``ratio`` mm for each, and
    ``ease`` mm more in all, within ``intervals`` of the first side (none: evenly)."""

    def __init__(
        self, length: float, ratio: float, ease: float, intervals: Sequence[tuple[float, float]] = ()
    ) -> None:
        if not intervals:
            intervals = [(0.0, length)]
        room = math.fsum(b - a for a, b in intervals)
        ends = sorted({0.0, length, *(x for pair in intervals for x in pair)})
        self._from = ends
        self._to = [0.0]
        for a, b in itertools.pairwise(ends):
            inside = any(lo - 1e-9 <= a and b <= hi + 1e-9 for lo, hi in intervals)
            self._to.append(self._to[-1] + (b - a) * (ratio + (ease / room if inside and room > 0.0 else 0.0)))
        self.total = self._to[-1]
        #: whether places keep their order: no more is taken up than there is
        self.sound = all(b > a for a, b in itertools.pairwise(self._to))

    def to(self, along: float) -> float:
        """The place on the other side for one on the first."""
        return _through(self._from, self._to, along)

    def back(self, along: float) -> float:
        """The place on the first side for one on the other."""
        return _through(self._to, self._from, along)


def _through(xs: Sequence[float], ys: Sequence[float], x: float) -> float:
    k = min(max(bisect_right(xs, x) - 1, 0), len(xs) - 2)
    run = xs[k + 1] - xs[k]
    return ys[k] if run == 0.0 else ys[k] + (x - xs[k]) * (ys[k + 1] - ys[k]) / run


def between_on(
    first: Laid,
    others: Sequence[tuple[Laid, float]],
    names: Sequence[str],
    between: tuple[str, str],
) -> list[tuple[float, float]]:
    """The stretches of the first side between two places by name: notches, or edges that meet at an end or a join.

    ``others``: the other sides and their ratio, for names that the first does not have; ``names``: every edge of the
    seam as "piece.edge". Raises OrderError where a name is not there or means several places.
    """
    places = [_places(first, others, names, name) for name in between]
    a, b = places
    if len(a) == 1 and len(b) == 2:
        a = a * 2
    if len(b) == 1 and len(a) == 2:
        b = b * 2
    if len(a) != len(b):
        raise _wrong(f"'{between[0]}' and '{between[1]}' are not in pairs along the seam")
    found = [(min(x, y), max(x, y)) for x, y in zip(a, b, strict=True)]
    if any(y - x < 1.0 for x, y in found):
        raise _wrong(f"'{between[0]}' and '{between[1]}' are one place along the seam; two were expected")
    return found


def _wrong(message: str, *, code: str = "seam.ease-between") -> OrderError:
    return OrderError(message, key="seam.ease_between", code=code)


def _places(first: Laid, others: Sequence[tuple[Laid, float]], names: Sequence[str], name: str) -> list[float]:
    found = _on(first, names, name)
    for other, ratio in others:
        if found:
            break
        # what lies nearer to the end is measured from the end, so that ease between does not move it
        half = other.length / 2
        found = [
            along / ratio if along <= half else first.length - (other.length - along) / ratio
            for along in _on(other, names, name)
        ]
    most = 2 if first.mirrored or any(laid.mirrored for laid, _ in others) else 1
    if not found:
        every = dict.fromkeys(
            p.called or "" for laid in (first, *(o for o, _ in others)) for p in laid.named if p.called
        )
        raise _wrong(
            f"there is no notch '{name}' along the seam; along it are {', '.join(every) or 'no notches'}: name two "
            "notches, or the edge that meets the seam at an end or a join"
        )
    if len(found) > most:
        raise _wrong(
            f"'{name}' is at {len(found)} places along the seam: write which with the piece before it, as in "
            f"\"{names[0].rpartition('.')[0]}.{name}\", or give the notches different names"
        )
    return found


def _on(side: Laid, names: Sequence[str], name: str) -> list[float]:
    def meant(place: Placed) -> bool:
        piece = names[place.edge].rpartition(".")[0]
        return name in (place.called, place.name, f"{piece}.{place.called}")

    found: list[float] = []
    for along in sorted(p.along for p in side.named if meant(p)):
        if not found or along - found[-1] > _NEAR_MM:
            found.append(along)
    return found
