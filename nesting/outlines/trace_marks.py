"""Proposals: notches along the edge, and straight lines inside that could be the grainline. A person confirms them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nesting.model.piece import Point
from nesting.outlines.photo_bundle import View
from nesting.outlines.trace_edge import Edge, colours_at
from nesting.outlines.trace_fit import Fitted
from nesting.outlines.trace_ground import Pixels

__all__ = ["GrainSeen", "NotchSeen", "grain_lines", "notches_along"]

Array = npt.NDArray[np.float64]

#: mm into the piece that is searched for notches; a notch must reach from the edge to the second of these.
_DEEP_MM, _LEAST_DEEP_MM = 7.0, 2.6
_WIDEST_MM = 10.0
#: ΔE by which a notch differs from the paper beside it.
_UNLIKE = 9.0
_GRAIN_LEAST_MM = 50.0


@dataclass(frozen=True)
class NotchSeen:
    """A place on the edge, mm, where something reaches into the piece. ``width`` along the edge, ``depth`` mm,
    ``direction`` degrees into the piece."""

    at: Point
    direction: float
    depth: float
    width: float


@dataclass(frozen=True)
class GrainSeen:
    """A straight line inside the piece, mm."""

    start: Point
    end: Point

    @property
    def length(self) -> float:
        """mm."""
        return math.dist(self.start, self.end)


def notches_along(photos: Sequence[Pixels], views: Sequence[View], edge: Edge, fitted: Fitted) -> tuple[NotchSeen, ...]:
    """What reaches from the edge at least 2.6 mm into the piece and is at most 10 mm wide, in the order of the edge."""
    from scipy.ndimage import label, median_filter

    from nesting.outlines.trace_edge import resampled

    ring = resampled(fitted.outline, 0.4)
    t = np.roll(ring, -4, axis=0) - np.roll(ring, 4, axis=0)
    normals = np.column_stack([t[:, 1], -t[:, 0]]) / np.maximum(np.linalg.norm(t, axis=1, keepdims=True), 1e-9)
    depths = np.arange(0.8, _DEEP_MM, 0.4)
    places = ring[:, None, :] - normals[:, None, :] * depths[None, :, None]
    lab = np.nan_to_num(colours_at(photos, views, places.reshape(-1, 2)).reshape(len(ring), len(depths), 3))
    usual = median_filter(lab, size=(101, 1, 1), mode="wrap")
    unlike = np.linalg.norm(lab - usual, axis=2) > _UNLIKE
    reach = np.where(unlike.all(axis=1), len(depths), np.argmin(unlike, axis=1)) * 0.4 + 0.4
    hit = reach >= _LEAST_DEEP_MM
    shift = int(np.argmin(hit)) if not hit.all() else 0
    parts, count = label(np.roll(hit, -shift))
    corners = fitted.corners
    found = []
    for k in range(1, count + 1):
        index = (np.nonzero(parts == k)[0] + shift) % len(ring)
        width = 0.4 * len(index)
        at = ring[index[len(index) // 2]]
        deep = float(reach[index].max())
        if width > _WIDEST_MM or (len(corners) and np.linalg.norm(corners - at, axis=1).min() < 6.0):
            continue
        n = normals[index[len(index) // 2]]
        direction = math.degrees(math.atan2(-n[1], -n[0])) % 360.0
        found.append(NotchSeen((float(at[0]), float(at[1])), direction, min(deep, _DEEP_MM), width))
    return tuple(found)


def grain_lines(photos: Sequence[Pixels], views: Sequence[View], outline: Array) -> tuple[GrainSeen, ...]:
    """Straight lines of at least 50 mm drawn inside, the longest first; at most five."""
    import cv2

    per = 0.5
    low = outline.min(axis=0)
    size = np.ceil((outline.max(axis=0) - low) / per).astype(int) + 1
    w, h = int(size[0]), int(size[1])
    if w * h > 9_000_000:
        per = 1.0
        w, h = w // 2 + 1, h // 2 + 1
    xs, ys = np.meshgrid(np.arange(w), np.arange(h))
    inside = np.zeros((h, w), np.uint8)
    cv2.fillPoly(inside, [np.round((outline - low) / per).astype(np.int32)], 1)
    inside = np.asarray(cv2.erode(inside, np.ones((round(8 / per), round(8 / per)), np.uint8)))
    if int(inside.sum()) < 1000:
        return ()
    # Reading every pixel of a large piece exactly would take seconds: read by a coarse grid of the projection.
    light = np.zeros((h, w), np.float32)
    coarse = 16
    gx, gy = np.meshgrid(np.arange(0, w + coarse, coarse), np.arange(0, h + coarse, coarse))
    grid = np.column_stack([gx.ravel(), gy.ravel()]) * per + low
    for photo, view in zip(photos, views, strict=True):
        p = view.to_pixels(grid)
        full = [
            cv2.remap(
                p[:, k].reshape(gx.shape).astype(np.float32),
                (xs / coarse).astype(np.float32),
                (ys / coarse).astype(np.float32),
                cv2.INTER_LINEAR,
            )
            for k in (0, 1)
        ]
        seen = cv2.remap(photo, full[0], full[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
        light = np.maximum(light, cv2.cvtColor(seen, cv2.COLOR_BGR2GRAY).astype(np.float32))
    around = np.asarray(cv2.blur(light, (round(9 / per), round(9 / per))))
    dark = ((around - light > 10) & (inside > 0)).astype(np.uint8)
    lines = cv2.HoughLinesP(
        dark * 255, 0.5, math.pi / 720, 40, minLineLength=round(_GRAIN_LEAST_MM / per), maxLineGap=round(4 / per)
    )
    if lines is None:
        return ()
    found: list[GrainSeen] = []
    for x0, y0, x1, y1 in np.asarray(lines, dtype=np.float64).reshape(-1, 4)[:400].tolist():
        a, b = np.array([x0, y0]), np.array([x1, y1])
        way = (b - a) / np.linalg.norm(b - a)
        points = np.column_stack(np.nonzero(dark)[::-1]).astype(np.float64)
        along, off = (points - a) @ way, (points - a) @ np.array([-way[1], way[0]])
        on = (np.abs(off) < 2.0 / per) & (along > -3) & (along < np.linalg.norm(b - a) + 3)
        if on.sum() < 30:
            continue
        mine = points[on]
        middle = mine.mean(axis=0)
        fine = np.linalg.svd(mine - middle, full_matrices=False)[2][0]
        t = (mine - middle) @ fine
        ends = [(middle + fine * t.min()) * per + low, (middle + fine * t.max()) * per + low]
        line = GrainSeen((float(ends[0][0]), float(ends[0][1])), (float(ends[1][0]), float(ends[1][1])))
        if any(_same(line, other) for other in found):
            continue
        found.append(line)
        if len(found) > 12:
            break
    found.sort(key=lambda g: -g.length)
    return tuple(found[:5])


def _same(a: GrainSeen, b: GrainSeen) -> bool:
    (x0, y0), (x1, y1) = b.start, b.end
    n = max(b.length, 1e-9)
    off = [abs((x1 - x0) * (y0 - y) - (x0 - x) * (y1 - y0)) / n for x, y in (a.start, a.end)]
    return max(off) < 4.0
