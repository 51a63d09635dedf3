"""A scrap of cloth in a photograph: its usable outline, holes and flaws, made smaller by their doubt."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from nesting.model.errors import PatternError
from nesting.model.piece import Point, Ring
from nesting.outlines.mat import Bars
from nesting.outlines.photo_bundle import Bundle
from nesting.outlines.trace import Tap, Traced, TracedPiece, load_pictures, ring_of, trace_photos
from nesting.outlines.trace_ground import Ground, Mask
from nesting.outlines.trace_promise import USUAL_LIFT_MM

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["Scrap", "scrap_from_photo"]

Array = npt.NDArray[np.float64]

#: mm that a cut edge of cloth frays and rolls, which no photograph shows to be usable.
_FRAY_MM = 1.0
#: ΔE by which a hole or a tape differs from the cloth, and the least that is looked at, mm².
_UNLIKE, _LEAST_MM2 = 14.0, 12.0
#: mm. Holes are seen at 1 mm a pixel; flaws reach this much beyond what is seen of them.
_HOLE_MM = 2.0
_MOST_PATTERN = 0.15
_SIMPLE_MM = 0.3


@dataclass(frozen=True)
class Scrap:
    """A scrap as it may be used: grain along +x, mm, the lower left of its box at the origin.

    ``outline`` lies inside the cloth by its ``error`` and the width of fraying; ``flaws``: holes and what is marked by
    tape, larger than seen. ``grain_from``: what the grain was taken from. ``picture``: a small JPEG of it from above.
    ``patterned``: the cloth has so many colours that neither holes nor tape could be told from it.
    """

    outline: Ring
    flaws: tuple[Ring, ...]
    error: float
    grain_from: str
    picture: bytes
    patterned: bool = False


def scrap_from_photo(
    paths: Sequence[str | Path | bytes],
    *,
    bars: Bars,
    tap: Tap | None = None,
    grain: str = "longest",
    lift_mm: float = USUAL_LIFT_MM,
) -> Scrap:
    """The scrap in photographs over one mat.

    ``grain``: "longest" (the longest straight edge, as a selvage is), "marked" (a line drawn or a thread laid on it) or
    two pixels of the first picture, "X1,Y1 X2,Y2". Raises PatternError as ``trace_photos`` does, and where the grain is
    not there, or several scraps are seen and none is tapped.
    """
    pictures = load_pictures(paths)
    shown = ", ".join(p.name for p in pictures)
    traced = trace_photos(paths, bars=bars, taps=() if tap is None else (tap,), lift_mm=lift_mm, cloth=True)
    if len(traced.pieces) > 1:
        raise PatternError(
            f"{len(traced.pieces)} pieces are seen; tap the scrap, --tap X,Y, or photograph it alone",
            file=shown,
            code="scrap.several",
        )
    piece = traced.pieces[0]
    a, b, words = _grain(piece, grain, traced.mat, shown)
    from shapely import MultiPolygon, Polygon

    whole = Polygon(piece.raw).buffer(0)
    usable = whole.buffer(-(piece.error + _FRAY_MM), join_style="mitre")
    if isinstance(usable, MultiPolygon):
        usable = max(usable.geoms, key=lambda g: g.area)
    if usable.is_empty:
        raise PatternError("nothing usable is left of it: it is too narrow", file=shown, code="scrap.too-small")
    # Simplified only inwards: what is taken off by less than it was made smaller for rounding.
    usable = usable.simplify(_SIMPLE_MM).buffer(-_SIMPLE_MM, join_style="mitre").simplify(0.02)
    if isinstance(usable, MultiPolygon):
        usable = max(usable.geoms, key=lambda g: g.area)
    flaws, patterned = _flaws(traced.ground, whole, piece.error)
    angle = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
    outline, turned = _turned(usable, flaws, angle)
    return Scrap(outline, turned, piece.error, words, _small_picture(traced, piece, angle), patterned)


def _grain(piece: TracedPiece, grain: str, mat: Bundle, shown: str) -> tuple[Point, Point, str]:
    text = " ".join(grain.lower().split())
    if text == "longest":
        straight = [points for points, line in piece.runs if line]
        if not straight:
            raise PatternError(
                "it has no straight edge to take the grain from: mark it by a chalk line or a thread laid along it and "
                "say --grain marked, or give two pixels, --grain 'X1,Y1 X2,Y2'",
                file=shown,
                code="scrap.no-grain",
            )
        points = max(straight, key=lambda p: math.dist(p[0], p[-1]))
        return points[0], points[-1], "its longest straight edge, taken as the selvage"
    if text == "marked":
        if not piece.grain:
            raise PatternError(
                "no line is seen on it: draw one of at least 5 cm along the grain", file=shown, code="scrap.no-grain"
            )
        line = piece.grain[0]
        return line.start, line.end, "the line marked on it"
    try:
        (x0, y0), (x1, y1) = (tuple(float(v) for v in part.split(",")) for part in text.split(" "))
    except ValueError:
        raise PatternError(
            f"found the grain '{grain}', expected longest, marked, or two pixels 'X1,Y1 X2,Y2'",
            file=shown,
            code="option.value",
        ) from None
    ends = mat.views[0].to_ground(np.array([(x0, y0), (x1, y1)]))
    return ring_of(ends)[0], ring_of(ends)[1], "the two places given"


def _flaws(ground: Ground, whole: Polygon, error: float) -> tuple[list[Polygon], bool]:
    """Holes and tapes: what inside the cloth is unlike it, grown by its doubt; and whether the cloth is so patterned
    that they cannot be told."""
    import cv2
    from shapely import Polygon as Shape

    inside = np.zeros(ground.seen.shape, np.uint8)
    ring = np.round(np.array(whole.exterior.coords) - ground.low).astype(np.int32)
    cv2.fillPoly(inside, [ring], 1)
    inside = np.asarray(cv2.erode(inside, np.ones((7, 7), np.uint8)))
    mask: Mask = inside.astype(bool)
    if mask.sum() < 100:
        return [], False
    odd = _unlike_the_cloth(ground, mask)
    found: list[Polygon] = []
    if odd[mask].mean() > _MOST_PATTERN:
        return found, True
    odd_image = np.asarray(cv2.morphologyEx(odd.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)))
    rings, _ = cv2.findContours(odd_image, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    for one in rings:
        points = np.asarray(one, dtype=np.float64).reshape(-1, 2) + ground.low
        if len(points) < 4 or cv2.contourArea(one) < _LEAST_MM2:
            continue
        shape = Shape(points).buffer(_HOLE_MM + error)
        # Thin lines are chalk or a thread, not flaws.
        if Shape(points).buffer(-1.2).is_empty:
            continue
        found.append(shape.simplify(_SIMPLE_MM).buffer(_SIMPLE_MM).simplify(0.05))
    return found, False


def _unlike_the_cloth(ground: Ground, mask: Mask) -> Mask:
    ys, xs = np.nonzero(mask)
    u = (np.column_stack([xs, ys]) - (xs.mean(), ys.mean())) / max(float(np.ptp(xs)), float(np.ptp(ys)), 1.0)
    design = np.column_stack([np.ones(len(u)), u])
    total = np.zeros(len(u))
    for channel, share in ((0, 0.6), (1, 1.0), (2, 1.0)):
        values = ground.lab[ys, xs, channel].astype(np.float64)
        keep = np.abs(values - np.median(values)) < 25
        factors = np.zeros(3)
        for _ in range(4):
            factors = np.linalg.lstsq(design[keep], values[keep], rcond=None)[0]
            off = np.abs(values - design @ factors)
            keep = off <= max(3.0 * float(np.median(off)), 1.0)
        total += share * (values - design @ factors) ** 2
    odd = np.zeros_like(mask)
    odd[ys, xs] = np.sqrt(total) > _UNLIKE
    return odd


def _turned(usable: Polygon, flaws: Sequence[Polygon], angle: float) -> tuple[Ring, tuple[Ring, ...]]:
    from shapely import affinity
    from shapely.geometry.polygon import orient

    shapes = [affinity.rotate(s, -angle, origin=(0, 0)) for s in (usable, *flaws)]
    x0, y0, _, _ = shapes[0].bounds
    moved = [orient(affinity.translate(s, -x0, -y0)) for s in shapes]
    rings = [ring_of(np.array(s.exterior.coords[:-1])) for s in moved]
    return rings[0], tuple(rings[1:])


def _small_picture(traced: Traced, piece: TracedPiece, angle: float) -> bytes:
    """The scrap from above, grain to the right, about 480 pixels wide."""
    import cv2

    ring = np.array(piece.outline)
    c, s = math.cos(math.radians(-angle)), math.sin(math.radians(-angle))
    turned = ring @ np.array([[c, s], [-s, c]])
    low, high = turned.min(axis=0) - 10, turned.max(axis=0) + 10
    per = float(max(high - low)) / 480
    w, h = (max(8, round(float(v) / per)) for v in high - low)
    lab = np.asarray(cv2.cvtColor(traced.ground.lab, cv2.COLOR_LAB2BGR))
    xs, ys = np.meshgrid(np.arange(w) * per + low[0], high[1] - np.arange(h) * per)
    gx, gy = xs * c + ys * s - traced.ground.low[0], -xs * s + ys * c - traced.ground.low[1]
    seen = cv2.remap(lab, gx.astype(np.float32), gy.astype(np.float32), cv2.INTER_LINEAR)
    ok, data = cv2.imencode(".jpg", (np.clip(seen, 0, 1) * 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 82])
    if not ok:
        raise ValueError("the picture could not be written as JPEG")
    return bytes(np.asarray(data).tobytes())
