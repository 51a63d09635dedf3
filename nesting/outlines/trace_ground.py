"""The ground as seen from straight above, put together of all photographs, and what is a piece on it.

The ground is drawn at 1 mm a pixel, which is enough to tell what belongs to the piece; where exactly its edge is, is
read in the photographs themselves (``trace_edge``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from nesting.outlines.photo_bundle import View

__all__ = ["Ground", "ground_of", "regions_at", "seeds"]

Array = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]

#: mm. Half the sheet as it is laid, with a little paper around the board.
_SHEET_HALF = (105.0, 148.0)
#: mm around the sheets that is looked at, and the strip along its border that is taken as ground.
_AROUND, _BORDER = 25.0, 8
#: mm around a tap that is taken as the piece.
_TAP_MM = 7.0
#: Share of the ground beside the sheets that is passed over as other than ground (a piece that lies too near).
_BESIDE_SHARE = 0.1
#: Largest ground, mm a side: at 1 mm a pixel a bed sheet.
MOST_MM = 6000.0


@dataclass(frozen=True)
class Ground:
    """``lab`` (h, w, 3) float32 CIELAB at ``per`` mm a pixel, pixel (0, 0) at ``low`` (x, y) mm, rows with growing y;
    ``seen`` where any photograph shows it, ``sheets`` where sheets lie; ``calmed``: see ``calm``."""

    lab: npt.NDArray[np.float32]
    low: Array
    seen: Mask
    sheets: Mask
    per: float = 1.0
    calmed: npt.NDArray[np.float32] | None = None

    @cached_property
    def calm(self) -> npt.NDArray[np.float32]:
        """``lab`` without thin dark lines, lightly blurred."""
        return _calm(self.lab) if self.calmed is None else self.calmed

    def cell(self, point: Array) -> tuple[int, int]:
        """(column, row) of a point of the ground."""
        x, y = np.round((np.asarray(point) - self.low) / self.per).astype(int)
        return int(x), int(y)

    @cached_property
    def coarse(self) -> Ground:
        """The same at 2 mm a pixel, for a first look: it takes a quarter of the time."""
        import cv2

        h, w = (n // 2 for n in self.seen.shape)
        calm = self.calm[: 2 * h, : 2 * w]
        # two by two pixels in one, whose middle is half a millimetre on
        small = np.asarray(cv2.resize(calm, (w, h), interpolation=cv2.INTER_AREA))

        def every(mask: Mask) -> npt.NDArray[np.uint8]:
            return np.asarray(mask[: 2 * h, : 2 * w].reshape(h, 2, w, 2).sum(axis=(1, 3), dtype=np.uint8))

        return Ground(small, self.low + 0.5, every(self.seen) == 4, every(self.sheets) > 0, 2.0 * self.per, small)


def ground_of(photos: Sequence[Pixels], views: Sequence[View], sheets: Sequence[Array]) -> Ground:
    """The ground below these photographs; ``sheets``: (x, y, θ) each."""
    import cv2

    rings = [sheet_ring(s) for s in sheets]
    if rings:
        corners = np.concatenate(rings)
    else:  # a scan, which has its scale from elsewhere: all of it
        corners = np.concatenate([v.to_ground(np.array([(0, 0), v.size], dtype=np.float64)) for v in views])
    around = _AROUND if rings else 0.0
    low = np.floor(corners.min(axis=0) - around)
    size = np.minimum(np.ceil(corners.max(axis=0) + around - low), MOST_MM).astype(int)
    w, h = int(size[0]), int(size[1])
    total = np.zeros((h, w, 3), np.float32)
    weight = np.zeros((h, w), np.float32)
    coarse = 8
    cx, cy = np.meshgrid(np.arange(0, w + coarse, coarse), np.arange(0, h + coarse, coarse))
    grid = np.column_stack([cx.ravel(), cy.ravel()]).astype(np.float64) + low
    for photo, view in zip(photos, views, strict=True):
        middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
        per = float(np.median(view.mm_per_pixel(middle[None])))
        shrink = max(1, round(0.8 / per))
        small = cv2.resize(photo, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA)
        p = (view.to_pixels(grid) + 0.5) / shrink - 0.5
        maps = [_spread(p[:, k].reshape(cx.shape), coarse, w, h) for k in (0, 1)]
        flat = cv2.remap(small, maps[0], maps[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        sh, sw = small.shape[:2]
        # near the middle of a picture it is sharpest and least slanted
        edge = np.minimum.reduce([maps[0], maps[1], sw - 1 - maps[0], sh - 1 - maps[1]])
        own = np.clip(edge / (0.1 * sw), 0, 1).astype(np.float32)
        if weight.any():
            both = (own > 0.05) & (weight > 0.05)
            if both.sum() > 100:
                was = (total[both] / weight[both][:, None]).mean(axis=0)
                flat = np.clip(flat * (was / np.maximum(flat[both].mean(axis=0), 1.0)), 0, 255)
        total += flat.astype(np.float32) * own[..., None]
        weight += own
    seen = weight > 1e-3
    mean = total / np.maximum(weight, 1e-3)[..., None]
    lab = cv2.cvtColor((mean / 255.0).astype(np.float32), cv2.COLOR_BGR2LAB)
    covered = np.zeros((h, w), np.uint8)
    for ring in rings:
        cv2.fillPoly(covered, [np.round(ring - low).astype(np.int32)], 1)
    return Ground(np.asarray(lab), low, seen, covered.astype(bool))


def sheet_ring(pose: Array) -> Array:
    """(4, 2) corners of a sheet's paper on the ground, mm, a few millimetres within the true ones."""
    x, y, theta = pose
    a, b = _SHEET_HALF
    c, s = np.cos(theta), np.sin(theta)
    ring = np.array([(-a + 4, -b + 4), (a - 4, -b + 4), (a - 4, b - 4), (-a + 4, b - 4)]) - np.array([2.5, 1.0])
    return np.asarray(ring @ np.array([[c, s], [-s, c]]) + np.array([x, y]))


def _spread(values: Array, step: int, w: int, h: int) -> npt.NDArray[np.float32]:
    """Values given every ``step`` pixels, between them linearly: (h, w) float32."""
    import cv2

    rows, columns = values.shape
    x, y = np.meshgrid(np.arange(w, dtype=np.float32) / step, np.arange(h, dtype=np.float32) / step)
    found = cv2.remap(values.astype(np.float32), x, y, cv2.INTER_LINEAR)
    assert found.shape == (h, w) and rows and columns
    return np.asarray(found)


def _calm(lab: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """The picture without thin dark lines (text, seam lines, grainlines), lightly blurred."""
    import cv2

    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
    calm = lab.copy()
    calm[..., 0] = cv2.morphologyEx(lab[..., 0], cv2.MORPH_CLOSE, kernel)
    return np.asarray(cv2.GaussianBlur(calm, (0, 0), 1.0))


def regions_at(ground: Ground, tap: Array, others: Sequence[Array] = ()) -> list[Mask]:
    """What could be the piece at this point of the ground: masks, from two ways of seeing it. ``others``: points that
    belong to other pieces. Empty where the point is outside, or on a sheet."""
    x, y = ground.cell(tap)
    h, w = ground.seen.shape
    if not (0 <= x < w and 0 <= y < h) or ground.sheets[y, x] or not ground.seen[y, x]:
        return []
    calm = ground.calm
    stretched = np.clip(calm * np.float32(2.2) + np.array([0, 128, 128], np.float32), 0, 255)
    found = [_flood(ground, np.asarray(stretched, dtype=np.float32), tap, others)]
    for _ in range(2):
        inside = _eroded(found[-1], _pixels(ground, 3))
        if inside.sum() < 200:
            inside = _disc(ground, tap, _TAP_MM)
        unlike = _unlike(calm, inside)
        found.append(_flood(ground, np.repeat(unlike[..., None], 3, axis=2), tap, others))
    return [m for m in (found[0], found[2], _unlike_start(ground, calm, tap, others)) if m.any()]


def _unlike_start(ground: Ground, calm: npt.NDArray[np.float32], tap: Array, others: Sequence[Array]) -> Mask:
    """As the second way, but from the tap's own colour: grounds with a pattern mislead the first."""
    inside = _disc(ground, tap, _TAP_MM)
    mask = inside
    for _ in range(2):
        unlike = _unlike(calm, inside)
        mask = _flood(ground, np.repeat(unlike[..., None], 3, axis=2), tap, others)
        grown = _eroded(mask, _pixels(ground, 3))
        inside = grown if grown.sum() >= 200 else inside
    return mask


def _unlike(calm: npt.NDArray[np.float32], inside: Mask) -> npt.NDArray[np.float32]:
    """(h, w) 0 to 240: how unlike the piece's own colour, which may change slowly with the light; all that is very
    unlike is alike, so that a ground's pattern has no edges."""
    ys, xs = np.nonzero(inside)
    pick = slice(None, None, max(1, len(xs) // 4000))
    ys, xs = ys[pick], xs[pick]
    h, w = inside.shape
    span = max(float(np.ptp(xs)), float(np.ptp(ys)), 1.0)
    square = len(xs) > 500 and span > 80
    u = np.clip((np.arange(w, dtype=np.float32) - float(xs.mean())) / span, -1, 1)
    v = np.clip((np.arange(h, dtype=np.float32) - float(ys.mean())) / span, -1, 1)
    design = np.column_stack([np.ones(len(xs), np.float32), u[xs], v[ys]] if square else [np.ones(len(xs), np.float32)])
    total = np.zeros((h, w), np.float32)
    for channel, share in ((0, 0.6), (1, 1.0), (2, 1.0)):
        values = calm[ys, xs, channel]
        keep = np.ones(len(values), bool)
        factors = np.zeros(design.shape[1], np.float32)
        for _ in range(3):
            factors = np.linalg.lstsq(design[keep], values[keep], rcond=None)[0].astype(np.float32)
            off = np.abs(values - design @ factors)
            keep = off <= max(3.0 * float(np.median(off)), 1.0)
        across, down = (factors[1] * u, factors[2] * v) if square else (0.0 * u, 0.0 * v)
        off_plane = calm[..., channel] - (factors[0] + across)[None, :]
        off_plane -= down[:, None]
        total += np.float32(share) * np.square(off_plane)
    return np.asarray(np.tanh(np.sqrt(total) / 18.0) * 240.0, dtype=np.float32)


def _pixels(ground: Ground, mm: float) -> int:
    return max(1, round(mm / ground.per))


def _disc(ground: Ground, at: Array, radius: float) -> Mask:
    x, y = ground.cell(at)
    h, w = ground.seen.shape
    ys, xs = np.ogrid[0:h, 0:w]
    return np.asarray((xs - x) ** 2 + (ys - y) ** 2 <= (radius / ground.per) ** 2)


def _eroded(mask: Mask, by: int) -> Mask:
    import cv2

    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * by + 1, 2 * by + 1))
    return np.asarray(cv2.erode(mask.astype(np.uint8), kernel)) > 0


def _flood(ground: Ground, image: npt.NDArray[np.float32], tap: Array, others: Sequence[Array]) -> Mask:
    """Watershed from the tap against the border, the sheets and other taps (F. Meyer 1992), opened and filled."""
    import cv2

    h, w = ground.seen.shape
    marks = np.zeros((h, w), np.int32)
    marks[~ground.seen | ground.sheets] = 1
    rim = _pixels(ground, _BORDER)
    marks[:rim], marks[-rim:], marks[:, :rim], marks[:, -rim:] = 1, 1, 1, 1
    for other in others:
        marks[_disc(ground, other, _TAP_MM)] = 3
    marks[_disc(ground, tap, _TAP_MM) & (marks != 1)] = 2
    cv2.watershed(np.ascontiguousarray(np.clip(image, 0, 255).astype(np.uint8)), marks)
    mask = (marks == 2).astype(np.uint8)
    for how, mm in ((cv2.MORPH_OPEN, 2.5), (cv2.MORPH_CLOSE, 3.5)):
        side = 2 * max(1, int(mm / ground.per)) + 1
        mask = np.asarray(cv2.morphologyEx(mask, how, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))))
    _, parts = cv2.connectedComponents(mask)
    x, y = ground.cell(tap)
    if not parts[y, x]:
        return np.zeros((h, w), bool)
    mask = (parts == parts[y, x]).astype(np.uint8)
    rings, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    cv2.drawContours(mask, rings, -1, 1, cv2.FILLED)
    return np.asarray(mask > 0)


def seeds(ground: Ground, step: int = 55) -> list[tuple[float, Array]]:
    """Points inside the hull of the sheets, not on them, from where a piece may be found alone, each with how unlike
    (ΔE, light by three fifths) the ground right beside the sheets it is coloured: the most unlike first, of those that
    differ little the evenly coloured."""
    import cv2

    ys, xs = np.nonzero(ground.sheets if ground.sheets.any() else ground.seen)
    hull = cv2.convexHull(np.column_stack([xs, ys]).astype(np.int32))
    free = np.zeros(ground.seen.shape, np.uint8)
    cv2.fillConvexPoly(free, hull, 1)
    free[ground.sheets | ~ground.seen] = 0
    away = cv2.distanceTransform(free, cv2.DIST_L2, 5)
    smooth = cv2.GaussianBlur(ground.lab, (0, 0), 6.0)
    rough = np.sqrt(((ground.lab - smooth) ** 2).sum(axis=2))
    rough = cv2.blur(rough, (15, 15))
    beside = _beside_sheets(ground)
    share = np.array([0.6, 1.0, 1.0], np.float32)
    found: list[tuple[float, float, Array]] = []
    h, w = (int(n) for n in ground.seen.shape)
    for y in range(step // 2, h, step):
        for x in range(step // 2, w, step):
            if away[y, x] > 14:
                own = np.median(ground.calm[max(0, y - 5) : y + 6, max(0, x - 5) : x + 6].reshape(-1, 3), axis=0)
                apart = np.linalg.norm((beside - own) * share, axis=1)
                unlike = float(np.quantile(apart, _BESIDE_SHARE)) if len(apart) else 0.0
                found.append((unlike, float(rough[y, x]), np.array([x, y], dtype=np.float64) + ground.low))
    found.sort(key=lambda one: (-round(one[0] / 8.0), one[1]))
    return [(unlike, at) for unlike, _, at in found]


def _beside_sheets(ground: Ground) -> npt.NDArray[np.float32]:
    """(n, 3) colours of the strip around the sheets, which is ground: pieces lie a finger's breadth away. Of a scan,
    which has no sheets, the strip along its border."""
    import cv2

    if ground.sheets.any():
        sheets = ground.sheets.astype(np.uint8)
        near, far = (cv2.dilate(sheets, np.ones((k, k), np.uint8)) for k in (17, 29))
        strip = (far > 0) & (near == 0) & ground.seen
    else:
        strip = np.zeros_like(ground.seen)
        strip[:_BORDER], strip[-_BORDER:], strip[:, :_BORDER], strip[:, -_BORDER:] = True, True, True, True
        strip &= ground.seen
    colours = ground.calm[strip]
    return np.asarray(colours[:: max(1, len(colours) // 500)])
