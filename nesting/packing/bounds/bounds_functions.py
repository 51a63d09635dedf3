"""Dual-feasible functions: what a chord of a given share of the width really costs.

A function f on [0, 1] is dual feasible if Σ f(x) <= 1 for all finite sets of shares with Σ x <= 1. A vertical line
through a layout cuts its pieces in chords that together are no longer than the width, so Σ f(chord / width) <= 1 on
every line, and the integral of f over all chords of all pieces is a lower bound on the length. f(x) = x gives the area.

Sources: Fekete, Schepers (2001), Mathematical Programming 91, 11-31 (the rounding u^k and the threshold function);
Carlier, Clautiaux, Moukrim (2007), Computers & Operations Research 34, 2223-2250; surveyed in Clautiaux, Alves, Valério
de Carvalho (2010), Annals of Operations Research 179, 317-342.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from nesting.packing.bounds.bounds_shapes import Profile

__all__ = ["SLACK", "Dual", "identity", "rounded_counts", "rounding", "standard", "threshold"]

Floats = NDArray[np.float64]

#: Shares are lessened by this factor before f is applied: a piece as deep as half the width, give or take the
#: arithmetic or the overlap that a proof lets pass (1e-6 of an area), is then not taken for one that is deeper.
SLACK = 1 - 2e-6


@dataclass(frozen=True, eq=False)
class Dual:
    """A dual-feasible function, non-decreasing, linear on each of [knots[k], knots[k + 1])."""

    name: str
    knots: Floats
    values: Floats
    slopes: Floats

    def at(self, share: Floats) -> Floats:
        """Value at each share (0 to 1), without slack."""
        k = np.clip(np.searchsorted(self.knots, share, side="right") - 1, 0, len(self.knots) - 1)
        return self.values[k] + self.slopes[k] * (np.maximum(share, 0.0) - self.knots[k])

    def _primitive(self, share: Floats) -> Floats:
        widths = np.diff(self.knots)
        sums = np.concatenate([[0.0], np.cumsum(widths * (self.values[:-1] + self.slopes[:-1] * widths / 2))])
        k = np.clip(np.searchsorted(self.knots, share, side="right") - 1, 0, len(self.knots) - 1)
        beyond = share - self.knots[k]
        return sums[k] + beyond * (self.values[k] + self.slopes[k] * beyond / 2)

    def over(self, profile: Profile, width: float) -> float:
        """∫ f(chord / width) over a profile, never overstated; exact for the identity."""
        return profile.area / width if self.name == "area" else float(np.sum(self.slabs(profile, width)))

    def slabs(self, profile: Profile, width: float) -> Floats:
        """The same integral, slab by slab."""
        a, b = profile.first / width * SLACK, profile.last / width * SLACK
        low, high = np.minimum(a, b), np.maximum(a, b)
        steep = high - low > 1e-9
        rise = np.where(steep, high - low, 1.0)
        mean = np.where(steep, (self._primitive(high) - self._primitive(low)) / rise, self.at(low))
        return profile.step * mean


def _dual(name: str, pieces: Iterable[tuple[Fraction, Fraction, Fraction]]) -> Dual:
    table = np.array([[float(v) for v in piece] for piece in sorted(pieces)])
    return Dual(name, table[:, 0], table[:, 1], table[:, 2])


def identity() -> Dual:
    """f(x) = x: the area."""
    return Dual("area", np.array([0.0]), np.array([0.0]), np.array([1.0]))


def threshold(e: Fraction) -> Dual:
    """Shares under ``e`` cost nothing, and over 1 − e they cost all of it (Fekete, Schepers 2001), 0 < e <= 1/2."""
    tiny = Fraction(1, 10**12)  # at exactly 1 − e the function still equals x
    pieces = [(Fraction(0), Fraction(0), Fraction(0)), (e, e, Fraction(1)), (1 - e + tiny, Fraction(1), Fraction(0))]
    return _dual("threshold", pieces)


def rounding(k: int) -> Dual:
    """u^k (Fekete, Schepers 2001): x rounded down to a multiple of 1/(k + 1), in units of 1/k.

    Where (k + 1)·x is whole u^k(x) is x; the shares below are lessened by the slack, so the pieces leave that out and
    begin just above it, the value of the piece before being no greater.
    """
    tiny = Fraction(1, 10**12)
    pieces = [(Fraction(0), Fraction(0), Fraction(0))]
    pieces += [(Fraction(m, k + 1) + tiny, Fraction(m, k), Fraction(0)) for m in range(1, k + 1)]
    return _dual("rounding", pieces)


def rounded_counts(e: Fraction) -> Dual:
    """Counts how many shares of ``e`` fit beside it (Carlier, Clautiaux, Moukrim 2007), 0 < e <= 1/2.

    2·⌊x/e⌋ below a half, ⌊1/e⌋ at a half, 2·(⌊1/e⌋ − ⌊(1 − x)/e⌋) beyond, divided by 2·⌊1/e⌋.
    """
    most, tiny = int(1 / e), Fraction(1, 10**12)
    scale = Fraction(1, 2 * most)
    pieces = [(m * e, 2 * m * scale, Fraction(0)) for m in range(most + 1) if m * e < Fraction(1, 2)]
    pieces.append((Fraction(1, 2), Fraction(1, 2), Fraction(0)))
    beyond = Fraction(1, 2) + tiny
    rests = {int((1 - beyond) / e): beyond}
    for m in range(most + 1):  # (1 − x)/e falls below m just after x = 1 − m·e
        if 1 - m * e >= Fraction(1, 2) and m > 0:
            rests[m - 1] = 1 - m * e + tiny
    pieces += [(x, 2 * (most - rest) * scale, Fraction(0)) for rest, x in rests.items()]
    return _dual("counts", pieces)


@lru_cache(maxsize=4)
def standard(fine: int = 48) -> tuple[Dual, ...]:
    """The functions tried: the identity first, then thresholds and counts for e = 1/2 … in steps, and roundings."""
    shares = [Fraction(m, 2 * fine) for m in range(2, fine + 1)]
    return (
        identity(),
        *(threshold(e) for e in shares),
        *(rounded_counts(e) for e in shares),
        *(rounding(k) for k in range(1, 13)),
    )
