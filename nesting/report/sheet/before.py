"""What is done to the cloth before it is spread: washing, resting, curling edges."""

from __future__ import annotations

from nesting.model.lay import Lay
from nesting.model.units import format_share, format_width

__all__ = ["before_spreading"]


def before_spreading(lay: Lay) -> tuple[str, ...]:
    """Steps in words; a leftover is taken to be washed already. What is said of knits is common practice."""
    steps = []
    along = lay.shrink_along or 0.0
    across = 1.0 - lay.width_washed / lay.width if lay.remnant is None and lay.width > 0.0 else 0.0
    both = ((along, "along"), (across, "across"))
    shrinks = [f"{format_share(share, 1).replace('.0 ', ' ')} {way}" for share, way in both if share > 1e-6]
    if shrinks and lay.remnant is None:
        wide = f"{format_width(lay.width_washed, imperial=lay.imperial)} wide then"
        steps.append(
            f"Wash first: wash and dry the cloth as the garments will be, before you cut it. It is reckoned to shrink "
            f"by {' and '.join(shrinks)} ({wide}; measure it). All measures here are of the washed cloth."
        )
    if lay.knit:
        steps.append(
            "Rest after unrolling: unroll the knit, lay it flat without pulling and leave it overnight, or some hours "
            "at least; it goes back as it was knitted."
        )
        steps.append(
            "Edges that curl: cut with the curl inside. Folded, let the edges roll in between the plies; on open cloth "
            "smooth them flat and weight them before you mark."
        )
    else:
        steps.append("Lay the cloth flat and let it rest, so that it is not stretched when it is cut.")
    return tuple(steps)
