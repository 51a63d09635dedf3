"""How far a traced outline may be off: the promise on every result.

It adds what each of these may do to the shape of the outline, however it is turned and shifted: views that fit as well
(draws), the worst sheet left out, the ruler's doubt of the bars, a piece that lies higher than the mat, and reading the
edge itself. The factors were set on scenes with even seeds and are judged on those with odd ones
(``scripts/measure_photos.py``).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nesting.outlines.mat import Bars
from nesting.outlines.photo_bundle import Bundle

__all__ = ["MOST_MM", "USUAL_LIFT_MM", "Promise", "promised", "shape_change"]

Array = npt.NDArray[np.float64]

#: mm. Beyond this a picture is refused.
MOST_MM = 2.0
#: mm by which paper lies higher here and there than the mat.
USUAL_LIFT_MM = 0.3
_BY_DRAWS, _BY_SHEETS, _BY_EDGE = 1.2, 1.0, 2.5
#: mm: corners are put where two fitted edges meet, and paper is cut by hand.
_ALWAYS_MM = 0.3
#: Factor for sheets that could not be compared with others.
_ALONE_FACTOR = 2.5


@dataclass(frozen=True)
class Promise:
    """mm, each part by which the outline may be off. ``left_out``: by the worst sheet left out; None with one sheet."""

    draws: float
    left_out: float | None
    scale: float
    lift: float
    edge: float

    @property
    def total(self) -> float:
        """The promised error, mm."""
        mat = _BY_DRAWS * self.draws * (_ALONE_FACTOR if self.left_out is None else 1.0)
        return mat + _BY_SHEETS * (self.left_out or 0.0) + self.scale + self.lift + _BY_EDGE * self.edge + _ALWAYS_MM

    def text(self) -> str:
        """For people."""
        parts = [f"mat {self.draws:.2f}"]
        if self.left_out is not None:
            parts.append(f"worst sheet left out {self.left_out:.2f}")
        parts += [f"bars {self.scale:.2f}", f"lift {self.lift:.2f}", f"edge {self.edge:.2f}"]
        return f"± {self.total:.2f} mm ({', '.join(parts)})"


def shape_change(a: Array, b: Array) -> float:
    """mm: the farthest that a point of a lies from its twin of b, when a is turned and shifted nearest to b."""
    ma, mb = a.mean(axis=0), b.mean(axis=0)
    u, _, vt = np.linalg.svd((a - ma).T @ (b - mb))
    r = vt.T @ np.diag([1.0, float(np.sign(np.linalg.det(vt.T @ u.T)))]) @ u.T
    return float(np.linalg.norm((a - ma) @ r.T + mb - b, axis=1).max())


def promised(found: Bundle, bars: Bars, outline: Array, edge: float, lift_mm: float) -> Promise:
    """The promise for an outline on the ground, mm. ``edge`` mm: how far readings lie off the fitted outline."""
    ring = outline[:: max(1, len(outline) // 150)]
    which = _best_view(found, ring)

    def again(views: Sequence[Array]) -> Array:
        out = np.empty_like(ring)
        for k, view in enumerate(found.views):
            mine = which == k
            if mine.any():
                other = type(view)(view.size, views[k])
                out[mine] = other.to_ground(view.to_pixels(ring[mine]))
        return out

    changes = [shape_change(again(draw), ring) for draw in found.draws]
    draws = float(np.quantile(changes, 0.95)) if changes else math.inf
    left = [shape_change(again([v.values for v in views]), ring) for views in found.without.values()]
    sx, sy = bars.scale_doubt
    half = float(np.linalg.norm(ring - ring.mean(axis=0), axis=1).max())
    return Promise(
        draws,
        max(left) if len(left) == len(found.sheets) and left else None,
        half * max(sx, sy),
        lift_mm * half / min(foot[2] for foot in found.feet),
        edge,
    )


def _best_view(found: Bundle, ring: Array) -> npt.NDArray[np.int64]:
    off = np.stack(
        [
            np.where(v.sees(ring), np.linalg.norm((v.to_pixels(ring) - v.middle) / v.radius, axis=1), np.inf)
            for v in found.views
        ]
    )
    return np.asarray(np.argmin(off, axis=0))
