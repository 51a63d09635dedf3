"""What no lay of a cloth can be shorter than, whatever its spread.

A lay on a fold, in sections or on stacked plies opens out into an open lay of the same length of cloth: what lies on a
fold is opened out with it, what lies half the gap from a fold keeps the whole gap from its mirror image. So a bound of
the open problem holds for all of them. A tube does not open out; its own problem, piece by piece, is the widest there.
"""

from __future__ import annotations

import math
import pickle
from dataclasses import replace

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.model.order import Cloth, Remnant, SpreadName
from nesting.model.tolerances import BOUND_MM
from nesting.packing.problem import Bound, PackingError
from nesting.planning.layout.assemble import assemble
from nesting.planning.layout.demand import Stack, stacks_of
from nesting.planning.layout.jobs import JobStyle
from nesting.planning.layout.yardage import full_widths
from nesting.resolving.cutting_list import CuttingList

__all__ = ["cloth_bound", "counted", "opened_bound", "shared"]


_STACKED = ("stacked face up", "stacked face to face")
#: bounds of the latest problems
_known: dict[bytes, Bound] = {}
_KEPT = 16


def cloth_bound(
    listed: CuttingList,
    cloth: Cloth,
    stacks: tuple[Stack, ...],
    remnant: Remnant | None = None,
    *,
    seconds: float = 1.0,
) -> Bound:
    """A bound on the length of cloth that all of ``stacks`` take, opened out, mm. Where no problem of the cloth opened
    out can be stated, what the pieces cover: the bound of a single spread with its flaps holds for no other."""
    from nesting.packing.bounds.bounds import lower_bound

    kind: SpreadName = "tubular" if cloth.tubular else "open"
    if any(stack.needs[0].pair is not None for stack in stacks):  # cut apart they lie more freely
        stacks = stacks_of(listed, cloth, counted(stacks), apart=True)
    # what is kept free around pieces traced from pictures need not be cloth: a bound leaves it out
    stacks = tuple(_as_drawn(stack) for stack in stacks)
    free = stacks if cloth.tubular else tuple(_opened(stack) for stack in stacks)
    style = JobStyle(pairs=0.0, open_halves=any(s.cut.on_fold for s in stacks)) if cloth.tubular else JobStyle()
    try:
        problem = assemble(listed, cloth, free, kind, style=style, remnant=remnant).problem
        data = pickle.dumps(problem, protocol=pickle.HIGHEST_PROTOCOL)
        if data not in _known:  # a cloth is laid again for comparison, and what bounds it stays
            _known[data] = lower_bound(problem, seconds=seconds)
            while len(_known) > _KEPT:
                _known.pop(next(iter(_known)))
        return _known[data]
    except (CannotLayError, PackingError):
        return _by_area(stacks, cloth)


def _by_area(stacks: tuple[Stack, ...], cloth: Cloth) -> Bound:
    """What the pieces cover of the cloth in its full width, less what the proof lets pass."""
    from shapely.geometry import Polygon

    areas = [
        Polygon(stack.cut.piece.outline, stack.cut.piece.cutouts).buffer(-BOUND_MM).area
        * (2 if stack.cut.on_fold else 1)
        * len(stack.needs)
        for stack in stacks
    ]
    across = cloth.width_washed * (2.0 if cloth.tubular else 1.0)
    reason = "area: laid without any waste, the pieces cover the cloth in full width over that length"
    return Bound(math.fsum(areas) / across, reason)


def _opened(stack: Stack) -> Stack:
    """The stack with halves that may be opened out: a half on a fold is nothing else, once the cloth is opened out."""
    if not stack.cut.on_fold or stack.cut.unfold:
        return stack
    cut = replace(stack.cut, unfold=True)
    return replace(stack, needs=tuple(replace(need, cut=cut) for need in stack.needs))


def _as_drawn(stack: Stack) -> Stack:
    """The stack without the errors of what was traced."""
    if not any(need.cut.piece.error for need in stack.needs):
        return stack
    cut = replace(stack.cut, piece=replace(stack.cut.piece, error=0.0))
    return replace(stack, needs=tuple(replace(need, cut=cut) for need in stack.needs))


def shared(bound: Bound, kind: SpreadName, cloth: Cloth) -> Bound:
    """``bound`` for a lay of this spread, whose lengths of cloth lie on one another and share it, mm on the table."""
    lengths, between = _on_one_another(kind, cloth)
    return replace(bound, length=max(0.0, bound.length - between) / lengths)


def opened_bound(lay: Lay, cloth: Cloth) -> Bound:
    """What bounds a lay, mm of its cloth opened out: what ``shared`` made it from."""
    lengths, between = _on_one_another(lay.sections[0].spread.kind, cloth)
    return Bound(lay.lower_bound * lengths + between, lay.bound_reason)


def _on_one_another(kind: SpreadName, cloth: Cloth) -> tuple[int, float]:
    """How many lengths of cloth lie on one another, and the gaps between them when they are opened out, mm."""
    lengths = full_widths(kind, cloth)
    return lengths, (lengths - 1) * cloth.gap if kind in _STACKED else 0.0


def counted(stacks: tuple[Stack, ...]) -> dict[tuple[str, str | None], int]:
    """How many copies of each (garment, size) the stacks hold."""
    copies: dict[tuple[str, str | None], set[int]] = {}
    for stack in stacks:
        first = stack.needs[0]
        copies.setdefault((first.garment, first.size), set()).update(n.copy for n in stack.needs)
    return {key: len(found) for key, found in copies.items()}
