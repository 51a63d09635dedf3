"""Unfolding: what comes off the table when a placement is cut through its plies.

The cloth is one sheet, folded. Cutting an outline on the table cuts every ply under it, so on the opened-out cloth it
leaves the images of the outline in each of those plies. Where a fold edge is left uncut and lies on a fold of the
cloth, the images on either side of it are one cloth piece; all others come away by themselves. Nothing here knows what
a placement should yield: that is counted and compared afterwards.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from nesting.model.tolerances import FOLD_MM
from nesting.proof.motion import Array, Motion, shift
from nesting.proof.pattern import polygons_of
from nesting.proof.table import Fold, Ply, Table

__all__ = ["ClothPiece", "cut_through", "off_fold"]

#: mm. Grid on which the two images at a fold are joined.
JOIN_GRID = 1e-7
#: mm. An edge nearer than this to its fold leaves no slit worth closing.
EXACT = 1e-9


@dataclass(frozen=True, eq=False)
class ClothPiece:
    """One piece of cloth as it comes off, on the opened-out sheet, right side up, mm.

    ``to_cloth``: from the grain frame of the pattern to the sheet, through ply ``plies[0]``; it mirrors where the piece
    comes out left-handed.
    """

    plies: tuple[int, ...]
    sheet: int
    polygon: Polygon
    to_cloth: Motion
    placement: int = field(default=0)
    section: int = field(default=0)

    @property
    def hand(self) -> str:
        """Right when the printed side of the pattern and the right side of the cloth face the same way, else left."""
        return "left" if self.to_cloth.mirrors else "right"


def off_fold(fold: Fold, points: Array) -> float:
    """How far the farthest of ``points`` (n, 2) lies from the line of a fold, mm."""
    return float(np.abs(points[:, 1 if fold.along == "x" else 0] - fold.at).max())


def cut_through(
    table: Table,
    outline: Polygon,
    plies: Iterable[int],
    placed: Motion,
    *,
    uncut: Array | None = None,
    start: float = 0.0,
    placement: int = 0,
    section: int = 0,
) -> list[ClothPiece]:
    """The cloth pieces that cutting ``outline`` (on the table) through ``plies`` yields.

    ``placed`` is the motion from the pattern's grain frame to the table, ``uncut`` the fold edge (2, 2) that is not
    cut, ``start`` the section's place on the cloth. A fold joins within FOLD_MM. KeyError for a ply that is not there.
    """
    left = sorted(set(plies))
    moved = {number: shift(start, 0.0).after(table.ply(number).to_cloth) for number in left}
    pieces: list[ClothPiece] = []
    for fold in table.folds:
        if uncut is None or not fold.plies <= set(left) or off_fold(fold, uncut) > FOLD_MM:
            continue
        a, b = sorted(fold.plies)
        on_line = uncut.copy()
        on_line[:, 1 if fold.along == "x" else 0] = fold.at
        # In a tube the second fold is where the opened-out cloth begins again: b's image is brought round to a's.
        dx, dy = (float(v) for v in (moved[a].points(on_line) - moved[b].points(on_line))[0])
        over = shift(dx, dy).after(moved[b])
        polygon = _joined(
            _image(table.ply(a), outline, moved[a]), _image(table.ply(b), outline, over), off_fold(fold, uncut)
        )
        pieces += [
            ClothPiece((a, b), table.ply(a).sheet, part, moved[a].after(placed), placement, section)
            for part in polygons_of(polygon)
        ]
        left = [number for number in left if number not in fold.plies]
    for number in left:
        image = _image(table.ply(number), outline, moved[number])
        pieces += [
            ClothPiece((number,), table.ply(number).sheet, part, moved[number].after(placed), placement, section)
            for part in polygons_of(image)
        ]
    return pieces


def _image(ply: Ply, outline: Polygon, to_sheet: Motion) -> BaseGeometry:
    """The outline as it cuts one ply, on the sheet: no more than there is of that ply."""
    x0, y0, x1, y1 = ply.whole.bounds
    a0, b0, a1, b1 = outline.bounds
    inside = x0 <= a0 and y0 <= b0 and a1 <= x1 and b1 <= y1
    return to_sheet.shape(outline if inside else outline.intersection(ply.whole))


def _joined(a: BaseGeometry, b: BaseGeometry, off: float) -> BaseGeometry:
    whole: BaseGeometry = shapely.union_all([a, b], grid_size=JOIN_GRID)
    if off <= EXACT:
        return whole
    # The edge is a little off its fold: close the slit that leaves, or smooth the step.
    close = 1.1 * FOLD_MM
    return whole.buffer(close, join_style="mitre").buffer(-close, join_style="mitre")
