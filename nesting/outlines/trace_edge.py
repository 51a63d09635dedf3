"""Where the edge of a piece is, read in the photographs to a tenth of a millimetre.

A rough ring from the ground is walked; across it, along its normals, the colours of the sharpest photograph are read,
and the edge is where they change most.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nesting.outlines.photo_bundle import View
from nesting.outlines.trace_ground import Ground, Mask, Pixels

__all__ = ["Edge", "colours_at", "read_edge", "resampled", "rough_ring"]

Array = npt.NDArray[np.float64]

#: mm between the places where the edge is read.
STEP_MM = 1.0
_REACHES = (3.5, 1.6, 1.2)
#: mm. Places that differ more from their neighbours are passed over.
_ODD_MM = 0.6
#: mm to either side in which an edge that frays is seen, where its middle begins, and how far its half-way place may be
#: from where it seems steepest: fraying of σ 1 mm is over at 2.5 mm.
_FRAYED_MM, _FRAYED_OFF_MM = (4.2, 2.8), 1.8
#: ΔE by which cloth or paper differs from itself at most, soft shadows halved.
_FOREIGN = 13.0
#: ΔE below which ground and paper are one colour.
_ALIKE = 7.0


@dataclass(frozen=True)
class Edge:
    """An edge as read: ``points`` (n, 2) mm, anticlockwise; ``sound`` where it could be read; ``contrast`` (n,) colour
    difference (ΔE) across 1.5 mm on either side; ``normals`` (n, 2) outwards; ``noise`` mm, of single readings.
    ``foreign``: share of the edge along which what is just inside it is not coloured like the piece; ``mingled``: share
    of the ground around that is."""

    points: Array
    sound: Mask
    contrast: Array
    normals: Array
    noise: float
    foreign: float
    mingled: float


def rough_ring(ground: Ground, mask: Mask) -> Array | None:
    """(n, 2) outline of the mask on the ground, mm, smoothed, anticlockwise, a place each millimetre."""
    import cv2

    rings, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not rings:
        return None
    ring = np.asarray(max(rings, key=len), dtype=np.float64).reshape(-1, 2)
    if len(ring) < 40:
        return None
    return resampled(_smoothed(resampled(ring, 1.0), 1.2) + ground.low, STEP_MM)


def resampled(ring: Array, step: float) -> Array:
    """A closed ring with places about every ``step``, anticlockwise."""
    closed = np.vstack([ring, ring[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    count = max(8, round(along[-1] / step))
    at = np.linspace(0, along[-1], count, endpoint=False)
    out = np.column_stack([np.interp(at, along, closed[:, k]) for k in (0, 1)])
    area = float((out[:, 0] * np.roll(out[:, 1], -1) - out[:, 1] * np.roll(out[:, 0], -1)).sum())
    return out if area > 0 else out[::-1].copy()


def _smoothed(ring: Array, sigma: float) -> Array:
    from scipy.ndimage import gaussian_filter1d

    return np.asarray(gaussian_filter1d(ring, sigma, axis=0, mode="wrap"))


def _normals(ring: Array) -> Array:
    """Outward normals of an anticlockwise ring."""
    t = _smoothed(np.roll(ring, -2, axis=0) - np.roll(ring, 2, axis=0), 1.0)
    n = np.column_stack([t[:, 1], -t[:, 0]])
    return np.asarray(n / np.maximum(np.linalg.norm(n, axis=1, keepdims=True), 1e-9))


def colours_at(photos: Sequence[Pixels], views: Sequence[View], points: Array) -> Array:
    """(n, 3) CIELAB at these points of the ground, each from the photograph whose middle is nearest; NaN where none."""
    import cv2

    tones = _tones_at(photos, views, points, linear=False)
    seen = ~np.isnan(tones[:, 0])
    out = np.full((len(points), 3), np.nan)
    if seen.any():
        out[seen] = cv2.cvtColor(tones[seen].astype(np.float32).reshape(-1, 1, 3), cv2.COLOR_BGR2LAB).reshape(-1, 3)
    return out


def _light_at(photos: Sequence[Pixels], views: Sequence[View], points: Array) -> Array:
    """(n, 3) light, 0 to 1, blue, green, red, at these points: pixels are made light before what lies between them is
    worked out, as tones between two pixels would be darker than the light between them."""
    return _tones_at(photos, views, points, linear=True)


#: Light of a tone 0 to 255 (IEC 61966-2-1).
_LIGHT = np.array([v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in np.arange(256) / 255.0])


def _tones_at(photos: Sequence[Pixels], views: Sequence[View], points: Array, *, linear: bool) -> Array:
    import cv2

    out = np.full((len(points), 3), np.nan)
    best = np.full(len(points), np.inf)
    for photo, view in zip(photos, views, strict=True):
        pixels = view.to_pixels(points)
        off = np.linalg.norm((pixels - view.middle) / view.radius, axis=1)
        w, h = view.size
        inside = (pixels >= 1).all(axis=1) & (pixels < np.array([w - 2, h - 2])).all(axis=1) & (off < best)
        if not inside.any():
            continue
        chosen = pixels[inside]
        x0, y0 = np.floor(chosen.min(axis=0)).astype(int)
        x1, y1 = np.ceil(chosen.max(axis=0)).astype(int) + 2
        own = photo[y0:y1, x0:x1]
        own = cv2.LUT(own, (_LIGHT * 65535.0).astype(np.uint16)) if linear else own
        chosen = (chosen - (x0, y0)).astype(np.float32)
        parts = []
        # cv2.remap takes maps of up to 32767 a side
        for start in range(0, len(chosen), 30000):
            part = chosen[start : start + 30000]
            parts.append(cv2.remap(own, part[:, 0], part[:, 1], cv2.INTER_LINEAR).reshape(-1, 3))
        out[inside] = np.concatenate(parts) / (65535.0 if linear else 255.0)
        best[inside] = off[inside]
    return out


def _light(lab: Array) -> Array:
    """CIELAB as linear light (X, Y, Z, each 0 to about 1): the inverse of the CIE's formulas of 1976."""
    y = (lab[..., 0] + 16.0) / 116.0
    f = np.stack([y + lab[..., 1] / 500.0, y, y - lab[..., 2] / 200.0], axis=-1)
    return np.asarray(np.where(f > 6.0 / 29.0, f**3, (f - 4.0 / 29.0) * 3.0 * (6.0 / 29.0) ** 2))


def read_edge(
    photos: Sequence[Pixels], views: Sequence[View], ring: Array, *, blur: float = 0.2, frayed: bool = False
) -> Edge:
    """The edge near a rough ring. ``blur`` mm along the normals, before its steepest place is looked for. ``frayed``:
    it is cloth, whose edge goes over into the ground by and by."""
    from scipy.ndimage import gaussian_filter1d, median_filter

    points = ring
    step = 0.1
    offsets = np.zeros(len(points))
    sound = np.ones(len(points), bool)
    normals = _normals(points)
    noise = 0.1
    for turn, reach in enumerate(_REACHES):
        normals = _normals(points)
        at = np.arange(-reach, reach + step / 2, step)
        places = points[:, None, :] + normals[:, None, :] * at[None, :, None]
        lab = colours_at(photos, views, places.reshape(-1, 2)).reshape(len(points), len(at), 3)
        visible = ~np.isnan(lab).any(axis=(1, 2))
        lab = np.nan_to_num(lab)
        # An edge between two colours of the ground has the ground on its inner side as well.
        own = median_filter(lab[:, : max(1, round(0.4 * len(at) / 2))].mean(axis=1), size=(31, 1), mode="wrap")
        unlike = np.linalg.norm((lab - own[:, None]) * np.array([0.7, 1.0, 1.0]), axis=2)
        before = np.concatenate([np.repeat(unlike[:, :1], 5, axis=1), unlike[:, :-5]], axis=1)
        trust = np.exp(-0.5 * (before / 9.0) ** 2) + 1e-3
        if turn:
            # Blur mixes light, not tones: in tones the brighter side would seem to reach out by part of the blur.
            lab = _light(lab)
        smooth = gaussian_filter1d(lab, blur / step, axis=1, mode="nearest")
        # also along the edge, where what belongs together lies side by side
        smooth = gaussian_filter1d(smooth, 0.8, axis=0, mode="wrap")
        slope = np.gradient(smooth, step, axis=1)
        steep = np.linalg.norm(slope, axis=2) * trust
        if turn:
            # near where it was: what lies farther off is another edge
            steep = steep * np.exp(-0.5 * (at / (0.8 * reach)) ** 2)
        top = np.argmax(steep[:, 1:-1], axis=1) + 1
        rows = np.arange(len(points))
        a, b, c = steep[rows, top - 1], steep[rows, top], steep[rows, top + 1]
        bent = a - 2 * b + c
        shift = np.where(np.abs(bent) > 1e-9, 0.5 * (a - c) / np.where(np.abs(bent) > 1e-9, bent, 1.0), 0.0)
        offsets = at[top] + np.clip(shift, -0.5, 0.5) * step
        calm = median_filter(offsets, size=9 if turn else 15, mode="wrap")
        sound = visible & (np.abs(offsets - calm) <= _ODD_MM)
        good = np.where(sound, offsets, calm)
        noise = float(1.4826 * np.median(np.abs(offsets - calm)))
        moved = points + normals * good[:, None]
        last = turn == len(_REACHES) - 1
        points = moved if last else resampled(_smoothed(moved, 1.0 if turn else 2.0), STEP_MM)
    points = points + normals * _midway(photos, views, points, normals)[:, None]
    if frayed:
        points = points + normals * _midway(photos, views, points, normals, _FRAYED_MM, _FRAYED_OFF_MM)[:, None]
    inner = colours_at(photos, views, points - normals * 1.5)
    outer = colours_at(photos, views, points + normals * 1.5)
    contrast = np.nan_to_num(np.linalg.norm(inner - outer, axis=1))
    return Edge(
        points,
        sound,
        contrast,
        normals,
        noise,
        _foreign(photos, views, points, normals),
        _mingled(photos, views, points, normals),
    )


def _midway(
    photos: Sequence[Pixels], views: Sequence[View], points: Array, normals: Array,
    reach: tuple[float, float] = (1.8, 0.95), most: float = _ODD_MM,
) -> Array:  # fmt: skip
    """(n,) mm outwards from where the edge seems steepest to where its light is half the piece's and half the ground's.

    ``reach``: mm to either side that are looked at, and from where on they are piece and ground alone; ``most`` mm.
    What is steepest is drawn to one side by the weights that tell the piece's edge from the ground's own; the
    half-way place of a blurred edge is where the edge is. 0 where it is not seen.
    """
    from scipy.ndimage import gaussian_filter1d, median_filter

    step = 0.1
    at = np.arange(-reach[0], reach[0] + step / 2, step)
    places = (points[:, None, :] + normals[:, None, :] * at[None, :, None]).reshape(-1, 2)
    light = np.nan_to_num(_light_at(photos, views, places)).reshape(len(points), len(at), 3)
    light = gaussian_filter1d(light, 0.8, axis=0, mode="wrap")
    inner, outer = light[:, at <= -reach[1]].mean(axis=1), light[:, at >= reach[1]].mean(axis=1)
    way = outer - inner
    size = (way * way).sum(axis=1)
    share = ((light - inner[:, None]) * way[:, None]).sum(axis=2) / np.maximum(size, 1e-9)[:, None]
    total, count = np.zeros(len(points)), np.zeros(len(points))
    for level in (0.4, 0.5, 0.6):
        rises = (share[:, :-1] < level) & (share[:, 1:] >= level)
        part = (level - share[:, :-1]) / np.where(rises, share[:, 1:] - share[:, :-1], 1.0)
        where = np.where(rises, at[:-1] + part * step, np.inf)
        nearest = where[np.arange(len(points)), np.argmin(np.abs(where), axis=1)]
        seen = np.abs(nearest) <= most
        total[seen] += nearest[seen]
        count += seen
    out = np.where((count == 3) & (size > 1e-5), total / 3.0, 0.0)
    calm = median_filter(out, size=9, mode="wrap")
    return np.asarray(np.where(np.abs(out - calm) <= 0.3, out, calm))


def _mingled(photos: Sequence[Pixels], views: Sequence[View], points: Array, normals: Array) -> float:
    """Share of the ground up to 2 cm around that is coloured like the piece beside it: a pattern that holds the
    paper's colour hides where the paper ends, however clear its edges are."""
    inner = np.nan_to_num(colours_at(photos, views, points - normals * 2.5))
    shares = []
    for away in (5.0, 9.0, 13.0, 17.0, 21.0):
        outer = colours_at(photos, views, points + normals * away)
        shares.append(float((np.nan_to_num(np.linalg.norm(outer - inner, axis=1), nan=99.0) < _ALIKE).mean()))
    return float(np.mean(shares))


def _foreign(photos: Sequence[Pixels], views: Sequence[View], points: Array, normals: Array) -> float:
    """Share of the edge whose inner side, thin marks passed over, is unlike the rest but for slow changes of light."""
    from scipy.ndimage import median_filter

    lab = np.nan_to_num(colours_at(photos, views, points - normals * 2.5))
    lab = median_filter(lab, size=(11, 1), mode="wrap")
    u = (points - points.mean(axis=0)) / max(float(np.ptp(points, axis=0).max()), 1.0)
    design = np.column_stack([np.ones(len(u)), u])
    total = np.zeros(len(points))
    for channel, share in ((0, 0.4), (1, 1.0), (2, 1.0)):
        values = lab[:, channel]
        keep = np.ones(len(values), bool)
        factors = np.zeros(3)
        for _ in range(4):
            factors = np.linalg.lstsq(design[keep], values[keep], rcond=None)[0]
            off = np.abs(values - design @ factors)
            keep = off <= max(2.5 * float(np.median(off)), 0.5)
        total += share * (values - design @ factors) ** 2
    return float((np.sqrt(total) > _FOREIGN).mean())
