"""How far a traced outline may be off: the promise on every result.

It adds the squares of what each of these may do to the shape of the outline, however it is turned and shifted: views
that fit as well (draws) and the worst sheet left out, the ruler's doubt of the bars, a piece that lies higher than the
mat, and reading the edge itself; a patterned ground comes on top. The factors were set on scenes with even seeds and
are judged on those with odd ones (``scripts/measure_photos.py``).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nesting.outlines.mat import Bars
from nesting.outlines.photo_bundle import Bundle

__all__ = ["MOST_MM", "USUAL_LIFT_MM", "Promise", "pattern_doubt", "promised", "shape_change"]

Array = npt.NDArray[np.float64]

#: mm. Beyond this a picture is refused.
MOST_MM = 2.0
#: mm by which paper lies higher here and there than the mat.
USUAL_LIFT_MM = 0.3
_BY_DRAWS, _BY_SHEETS, _BY_EDGE = 1.0, 1.0, 2.0
#: mm: corners are put where two fitted edges meet, and paper is cut by hand.
_ALWAYS_MM = 0.1
#: mm more where the ground is patterned: its own edges meet that of the piece and pull at it, most at corners. By how
#: much the contrast along the edge differs (its middle four fifths, as a share): even grounds 0.1 to 0.2, checks 0.7.
_PATTERN_MM, _EVEN, _PATTERNED = 0.4, 0.25, 0.6
#: Factor for sheets that could not be compared with others.
_ALONE_FACTOR = 2.5


@dataclass(frozen=True)
class Promise:
    """mm, each part by which the outline may be off. ``left_out``: by the worst sheet left out; None with one sheet.
    ``pattern``: by a patterned ground."""

    draws: float
    left_out: float | None
    scale: float
    lift: float
    edge: float
    pattern: float = 0.0

    @property
    def total(self) -> float:
        """The promised error, mm."""
        mat = _BY_DRAWS * self.draws * (_ALONE_FACTOR if self.left_out is None else 1.0)
        mat += _BY_SHEETS * (self.left_out or 0.0)
        # How the sheets were seen, what the ruler said, how high the paper lies and how the edge was read are
        # independent of each other: their squares add. A pattern pulls at a corner whatever the others do.
        return math.hypot(mat, self.scale, self.lift, _BY_EDGE * self.edge) + self.pattern + _ALWAYS_MM

    def text(self) -> str:
        """For people."""
        parts = [f"mat {self.draws:.2f}"]
        if self.left_out is not None:
            parts.append(f"worst sheet left out {self.left_out:.2f}")
        parts += [f"bars {self.scale:.2f}", f"lift {self.lift:.2f}", f"edge {self.edge:.2f}"]
        if self.pattern > 0.005:
            parts.append(f"patterned ground {self.pattern:.2f}")
        return f"± {self.total:.2f} mm ({', '.join(parts)})"


def shape_change(a: Array, b: Array) -> float:
    """mm: the farthest that a point of a lies from its twin of b, when a is turned and shifted nearest to b."""
    ma, mb = a.mean(axis=0), b.mean(axis=0)
    u, _, vt = np.linalg.svd((a - ma).T @ (b - mb))
    r = vt.T @ np.diag([1.0, float(np.sign(np.linalg.det(vt.T @ u.T)))]) @ u.T
    return float(np.linalg.norm((a - ma) @ r.T + mb - b, axis=1).max())


def pattern_doubt(contrast: Array) -> float:
    """mm by which a patterned ground may pull at corners, by the contrast (ΔE) along the edge."""
    low, middle, high = np.quantile(contrast, (0.1, 0.5, 0.9))
    spread = float(high - low) / max(float(middle), 1e-6)
    return _PATTERN_MM * float(np.clip((spread - _EVEN) / (_PATTERNED - _EVEN), 0.0, 1.0))


def promised(found: Bundle, bars: Bars, outline: Array, edge: float, lift_mm: float, pattern: float = 0.0) -> Promise:
    """The promise for an outline on the ground, mm. ``edge`` mm: how far readings lie off the fitted outline.
    ``pattern`` mm: by ``pattern_doubt``."""
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
        half * (sx + sy) / 2,
        lift_mm * half / min(foot[2] for foot in found.feet),
        edge,
        pattern,
    )


def _best_view(found: Bundle, ring: Array) -> npt.NDArray[np.int64]:
    off = np.stack(
        [
            np.where(v.sees(ring), np.linalg.norm((v.to_pixels(ring) - v.middle) / v.radius, axis=1), np.inf)
            for v in found.views
        ]
    )
    return np.asarray(np.argmin(off, axis=0))
