"""Which regions of the ground may be the piece at a place, and which are not: what is cut off, what touches a sheet or
ends at the sheets, what goes round something of another colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from nesting.outlines.trace_ground import Ground, Mask, regions_at

__all__ = ["cut_off", "distinct", "regions", "unlike_within"]

Array = npt.NDArray[np.float64]

#: Share of a piece's edge that may run along the sheets, and mm from a sheet as drawn on the ground, which is 4 mm
#: smaller than its paper, that are along it.
_MOST_ALONG_SHEETS, _SHEET_EDGE_MM = 0.2, 8.0
#: ΔE, light counted by two fifths, that the middle of a piece may differ from its rim.
_UNLIKE_WITHIN = 12.0


def regions(ground: Ground, place: Array, others: Sequence[Array] = ()) -> list[Mask]:
    """What could be the piece at a place. Where sheets enclose the ground so that it is told from them and not from the
    piece, also what is told from a strip of ground along them, which the piece must stay clear of."""
    import cv2

    found = distinct(regions_at(ground, place, others))
    if not any(_along_sheets(mask, ground) > _MOST_ALONG_SHEETS for mask in found):
        return found
    side = 2 * max(1, round((_SHEET_EDGE_MM + 2.0) / ground.per)) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    grown = np.asarray(cv2.dilate(ground.sheets.astype(np.uint8), kernel)) > 0
    wider = replace(ground, sheets=grown, calmed=ground.calm)
    clear = [mask for mask in regions_at(wider, place, others) if not _touches_sheets(mask, wider)]
    return distinct([*found, *clear])


def distinct(masks: Sequence[Mask]) -> list[Mask]:
    """The masks without those that are nearly the same as an earlier one."""
    kept: list[Mask] = []
    for mask in masks:
        if all((mask ^ other).sum() > 0.004 * mask.sum() for other in kept):
            kept.append(mask)
    return kept


def cut_off(mask: Mask, ground: Ground) -> str | None:
    """Why a piece that touches the end of what is seen, or much of a sheet, cannot serve."""
    ring = _around(mask, ground)
    border = np.zeros_like(mask)
    rim = round(10 / ground.per)
    border[:rim], border[-rim:], border[:, :rim], border[:, -rim:] = True, True, True, True
    if (ring & (~ground.seen | border)).any():
        return "it reaches the edge of the picture or lies outside of the mat; photograph it whole, sheets all around"
    if _touches_sheets(mask, ground):
        return "it touches a sheet of the mat; leave a finger's breadth between them"
    if _along_sheets(mask, ground) > _MOST_ALONG_SHEETS:
        return "what is seen there ends at the sheets of the mat, so no edge of a piece is told from the ground"
    return None


def unlike_within(mask: Mask, ground: Ground, place: Array) -> bool:
    """Whether the middle of a region, where it was tapped, is coloured unlike the strip within its edge: then the edge
    goes round something else, and the piece lies in it."""
    import cv2

    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
    own = mask.astype(np.uint8)
    outer = np.asarray(cv2.erode(own, kernel))
    strip = (outer > 0) & (np.asarray(cv2.erode(outer, kernel, iterations=2)) == 0)
    x, y = ground.cell(place)
    near = ground.lab[max(0, y - 6) : y + 7, max(0, x - 6) : x + 7].reshape(-1, 3)
    if not strip.any() or not len(near):
        return False
    apart = (np.median(near, axis=0) - np.median(ground.lab[strip], axis=0)) * np.array([0.4, 1.0, 1.0])
    return float(np.linalg.norm(apart)) > _UNLIKE_WITHIN


def _around(mask: Mask, ground: Ground) -> Mask:
    """The 3 mm around a region."""
    import cv2

    side = 2 * max(1, round(3 / ground.per)) + 1
    return np.asarray(cv2.dilate(mask.astype(np.uint8), np.ones((side, side), np.uint8)).astype(bool) & ~mask)


def _touches_sheets(mask: Mask, ground: Ground) -> bool:
    return bool((_around(mask, ground) & ground.sheets).sum() * ground.per**2 > 12)


def _along_sheets(mask: Mask, ground: Ground) -> float:
    """Share of a region's edge that runs along the paper of the sheets: sheets that lie close around a piece enclose
    the ground it lies on, whose edge is as clear as the piece's."""
    import cv2

    if not ground.sheets.any():
        return 0.0
    own = mask.astype(np.uint8)
    rim = mask & (np.asarray(cv2.erode(own, np.ones((3, 3), np.uint8))) == 0)
    side = 2 * max(1, round(_SHEET_EDGE_MM / ground.per)) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    near = np.asarray(cv2.dilate(ground.sheets.astype(np.uint8), kernel)) > 0
    return float((rim & near).sum() / max(1, int(rim.sum())))
