"""The sheets of the mat in a picture: which, and where their corners are, to a few hundredths of a pixel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nesting.outlines.mat import (
    COLUMNS,
    MARKERS_A_SHEET,
    MOST_SHEETS,
    ROWS,
    SQUARE_MM,
    corner_points,
    dictionary,
    marker_cells,
    marker_ring,
)

__all__ = ["SheetSeen", "find_sheets"]

Array = npt.NDArray[np.float64]

#: Fewer markers of a sheet than this are chance, or tell too little.
_LEAST_MARKERS = 4
_LEAST_CORNERS = 8
#: Pixels a side of the picture that markers are looked for in first, with one threshold, and then, where that does not
#: show four sheets as good as whole, with several: (side, windows of the threshold). Corners are read in full.
_FIRST, _AGAIN = (1400, (25,)), (2200, (15, 35, 55))
_ENOUGH_SHEETS, _ENOUGH_MARKERS = 4, 18
#: How far about the place of a sheet, by the markers seen, the others are looked for: by the share of its size.
_ABOUT, _ABOUT_FEW = 0.08, 0.4


@dataclass(frozen=True)
class SheetSeen:
    """A sheet in a picture. ``number`` from 0. ``drawn`` (n, 2) mm in the sheet frame, ``pixels`` (n, 2) of the same
    corners. ``rough`` is the homography from the sheet frame to pixels, good to some pixels. ``sharpness``: the width
    of its edges from black to white, pixels (a tenth to nine tenths)."""

    number: int
    drawn: Array
    pixels: Array
    rough: Array
    sharpness: float


def find_sheets(grey: npt.NDArray[np.uint8]) -> tuple[SheetSeen, ...]:
    """The sheets of the mat that are seen in a grey picture, by their numbers."""
    by_sheet = _markers(grey, *_FIRST)
    whole = {sheet for sheet, rings in by_sheet.items() if len(rings) >= _ENOUGH_MARKERS}
    placed = sum(len(rings) >= _LEAST_MARKERS for rings in by_sheet.values())
    if placed < _ENOUGH_SHEETS:
        for sheet, rings in _markers(grey, *_AGAIN).items():
            by_sheet.setdefault(sheet, {}).update(rings)
    else:
        # A checked cloth shows thousands of squares, each of which is tried as a marker: seconds for the whole picture.
        for sheet in by_sheet.keys() - whole:
            by_sheet[sheet].update(_markers_about(grey, sheet, by_sheet[sheet]))
    seen = [_sheet(grey, number, rings) for number, rings in sorted(by_sheet.items())]
    return tuple(s for s in seen if s is not None)


def _markers_about(grey: npt.NDArray[np.uint8], sheet: int, rings: dict[int, Array]) -> dict[int, Array]:
    """Markers of a sheet where it must lie by those of it that are seen; all around it is made white."""
    import cv2

    drawn = np.concatenate([marker_ring(k) for k in rings]).astype(np.float32)
    rough, _ = cv2.findHomography(drawn, np.concatenate(list(rings.values())).astype(np.float32), cv2.RANSAC, 12.0)
    if rough is None:
        return {}
    rough = np.asarray(rough, dtype=np.float64)
    margin = 1 + 2 * (_ABOUT if len(rings) >= _LEAST_MARKERS else _ABOUT_FEW)
    half = np.array([COLUMNS, ROWS]) * SQUARE_MM / 2 * margin
    rim = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * half
    if (np.column_stack([rim, np.ones(4)]) @ rough[2] <= 1e-6).any():
        # the sheet would reach behind the camera: these markers do not place it
        return _markers(grey, *_AGAIN).get(sheet, {})
    rim = _through(rough, rim)
    h, w = grey.shape
    left, top = np.clip(np.floor(rim.min(axis=0)), 0, (w - 1, h - 1)).astype(int).tolist()
    right, bottom = np.clip(np.ceil(rim.max(axis=0)) + 1, 1, (w, h)).astype(int).tolist()
    if right - left < 8 or bottom - top < 8:
        return {}
    part = grey[top:bottom, left:right]
    mask = np.zeros(part.shape, dtype=np.uint8)
    cv2.fillConvexPoly(mask, np.round(rim - (left, top)).astype(np.int32), 1)
    found = _markers(np.where(mask > 0, part, np.uint8(255)), *_AGAIN, of=max(grey.shape))
    corner = np.array([left, top], dtype=np.float64)
    return {k: ring + corner for k, ring in found.get(sheet, {}).items()}


def _markers(
    grey: npt.NDArray[np.uint8], side: int, windows: tuple[int, ...], *, of: int | None = None
) -> dict[int, dict[int, Array]]:
    """Corners, pixels, of the markers found in a picture made smaller: by sheet, by number. ``grey`` may be a part of a
    picture whose longer side has ``of`` pixels: it is then looked at in that picture's scale."""
    import cv2

    of = max(grey.shape) if of is None else of
    factor = max(1, round(of / side + 0.2))
    small = grey
    if factor > 1:
        small = cv2.resize(grey, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA)
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin = windows[0]
    parameters.adaptiveThreshWinSizeMax = windows[-1]
    parameters.adaptiveThreshWinSizeStep = windows[1] - windows[0] if len(windows) > 1 else 10
    parameters.minMarkerPerimeterRate = 0.012 * of / max(grey.shape)
    parameters.maxMarkerPerimeterRate = 1.0
    parameters.errorCorrectionRate = 0.4
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary(), parameters).detectMarkers(small)
    found: dict[int, dict[int, Array]] = {}
    if ids is None:
        return found
    for ring, ident in zip(corners, np.asarray(ids).ravel().tolist(), strict=True):
        sheet, number = divmod(int(ident), MARKERS_A_SHEET)
        if sheet < MOST_SHEETS:
            full = (np.asarray(ring, dtype=np.float64).reshape(4, 2) + 0.5) * factor - 0.5
            found.setdefault(sheet, {})[number] = full
    return found


def _sheet(grey: npt.NDArray[np.uint8], number: int, rings: dict[int, Array]) -> SheetSeen | None:
    """The sheet with its corners, None where the markers do not lie as on one sheet."""
    import cv2

    if len(rings) < _LEAST_MARKERS:
        return None
    drawn = np.concatenate([marker_ring(k) for k in rings])
    found = np.concatenate(list(rings.values()))
    side = float(np.median([np.linalg.norm(r - np.roll(r, 1, axis=0), axis=1).mean() for r in rings.values()]))
    rough, _ = cv2.findHomography(drawn, found, cv2.RANSAC, max(3.0, 0.12 * side))
    if rough is None:
        return None
    rough = np.asarray(rough, dtype=np.float64)
    off = np.linalg.norm(_through(rough, drawn) - found, axis=1).reshape(-1, 4).max(axis=1)
    sound = {k: r for (k, r), o in zip(rings.items(), off.tolist(), strict=True) if o < max(6.0, 0.25 * side)}
    if len(sound) < _LEAST_MARKERS:
        return None
    guess, which = _guesses(sound)
    if not len(which):
        return None
    per_mm = side / 22.0
    half = int(np.clip(2.6 * per_mm, 2, 11))
    h, w = grey.shape
    inside = ((guess > half + 2) & (guess < np.array([w, h]) - half - 3)).all(axis=1)
    guess, which = guess[inside], which[inside]
    if len(which) < _LEAST_CORNERS:
        return None
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.005)
    fine = cv2.cornerSubPix(grey, guess.astype(np.float32).reshape(-1, 1, 2), (half, half), (-1, -1), stop)
    pixels = np.asarray(fine, dtype=np.float64).reshape(-1, 2)
    kept = np.linalg.norm(pixels - guess, axis=1) < max(2.0, 1.2 * per_mm)
    kept &= _contrasts(grey, pixels, half) > 30
    if kept.sum() < _LEAST_CORNERS:
        return None
    drawn_corners = corner_points()[which[kept]]
    rough, _ = cv2.findHomography(drawn_corners, pixels[kept])
    if rough is None:
        return None
    rough = np.asarray(rough, dtype=np.float64)
    return SheetSeen(number, drawn_corners, pixels[kept], rough, _sharpness(grey, rough))


def _through(h: Array, points: Array) -> Array:
    out = np.column_stack([points, np.ones(len(points))]) @ h.T
    return np.asarray(out[:, :2] / out[:, 2:])


def _guesses(rings: dict[int, Array]) -> tuple[Array, npt.NDArray[np.int64]]:
    """Where the inner corners should be by the markers next to each, and their places in ``corner_points``."""
    import cv2

    where: dict[int, list[Array]] = {}
    cells = marker_cells()
    for number, ring in rings.items():
        i, j = cells[number]
        local = cv2.getPerspectiveTransform(marker_ring(number).astype(np.float32), ring.astype(np.float32))
        for di, dj in ((0, 0), (1, 0), (0, 1), (1, 1)):
            ci, cj = i + di, j + dj
            if 1 <= ci < COLUMNS and 1 <= cj < ROWS:
                at = np.array([[(ci - COLUMNS / 2) * SQUARE_MM, (ROWS / 2 - cj) * SQUARE_MM]])
                where.setdefault((cj - 1) * (COLUMNS - 1) + ci - 1, []).append(_through(local, at)[0])
    which = np.array(sorted(where), dtype=np.int64)
    return np.array([np.mean(where[k], axis=0) for k in which.tolist()]).reshape(-1, 2), which


def _contrasts(grey: npt.NDArray[np.uint8], pixels: Array, half: int) -> Array:
    """Light less dark around each corner: a corner that something lies on has none."""
    found = []
    for x, y in np.round(pixels).astype(int).tolist():
        part = grey[max(0, y - half) : y + half + 1, max(0, x - half) : x + half + 1]
        low, high = np.percentile(part, (10, 90))
        found.append(float(high - low))
    return np.array(found)


def _sharpness(grey: npt.NDArray[np.uint8], rough: Array) -> float:
    """Median width of the board's inner edges, pixels from a tenth to nine tenths of the way from black to white.

    Profiles are read across the sides of squares, half-way between corners, where black meets the rim of a marker.
    """
    import cv2

    widths: list[float] = []
    steps = np.linspace(-3.4, 3.4, 69)
    for i in range(1, COLUMNS):
        for j in range(ROWS):
            x, y = (i - COLUMNS / 2) * SQUARE_MM, (ROWS / 2 - j - 0.5) * SQUARE_MM
            line = _through(rough, np.column_stack([x + steps, np.full(len(steps), y)]))
            if (line < 2).any() or (line > np.array([grey.shape[1], grey.shape[0]]) - 3).any():
                continue
            values = cv2.remap(
                grey, line[:, 0].astype(np.float32), line[:, 1].astype(np.float32), cv2.INTER_LINEAR
            ).ravel().astype(np.float64)  # fmt: skip
            if values[0] > values[-1]:
                values = values[::-1]
            low, high = values[:8].mean(), values[-8:].mean()
            if high - low < 30:
                continue
            share = np.maximum.accumulate((values - low) / (high - low))
            span = np.interp(0.9, share, steps) - np.interp(0.1, share, steps)
            widths.append(float(span) * float(np.linalg.norm(line[-1] - line[0])) / 6.8)
    return float(np.median(widths)) if widths else 99.0
