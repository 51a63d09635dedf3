"""In which hands a piece is wanted.

Glossary
    *Hand*: "right" when the printed side of the pattern and the right side of the cloth face the same way, "left" when
    they face opposite ways, None when it makes no difference: the outline is symmetric about an axis along its
    grainline, marks included, or the cloth has no right side.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from nesting.model.lay import mirrored_over_fold
from nesting.model.order import Cloth, CutPiece
from nesting.model.piece import Piece

__all__ = ["handless", "is_symmetric"]


@lru_cache(maxsize=512)
def is_symmetric(piece: Piece) -> bool:
    """Whether the piece equals its own mirror image across an axis along its grainline, marks included.

    The axis may lie beside the grainline. Compared to 0.01 mm by the symmetric difference's width.
    """
    from shapely.affinity import scale
    from shapely.geometry import Polygon

    outline = Polygon(np.asarray(piece.outline), [np.asarray(hole) for hole in piece.cutouts])
    _, y0, _, y1 = outline.bounds
    axis = (y0 + y1) / 2
    mirror = scale(outline, xfact=1.0, yfact=-1.0, origin=(0.0, axis))
    tolerance = 0.01
    # Thin slivers vanish when both are compared with one of them grown by the tolerance.
    if not (outline.buffer(tolerance).covers(mirror) and mirror.buffer(tolerance).covers(outline)):
        return False

    def same(points: list[tuple[float, float]]) -> bool:
        left = list(points)
        for x, y in points:
            for other in left:
                if abs(other[0] - x) <= 0.05 and abs(other[1] - (2 * axis - y)) <= 0.05:
                    left.remove(other)
                    break
            else:
                return False
        return True

    marks = [n.at for n in piece.notches]
    drills = [d.at for d in piece.drills]
    lines = [p for line in piece.inside for p in (line[0], line[-1])]
    return same(marks) and same(drills) and same(lines)


def handless(cut: CutPiece, cloth: Cloth) -> bool:
    """Whether right and left make no difference on this cloth."""
    if not cloth.right_side or cut.alike_ok:
        return True
    if cut.piece.fold is not None:
        (_, ay), (_, by) = cut.piece.fold
        # opened out over a fold along the grain: symmetric by itself, unless marks say otherwise
        return abs(ay - by) < 1e-6 or is_symmetric(mirrored_over_fold(cut.piece))
    return is_symmetric(cut.piece)
