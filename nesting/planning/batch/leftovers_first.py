"""A batch over several cloths: what the leftovers of each give first, then sections and plies for the rest."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from nesting.model.lay import Lay
from nesting.planning.batch.batch import BatchPlan
from nesting.planning.batch.cutting import batch, batch_work
from nesting.planning.buying.steps import Steps
from nesting.planning.layout.laying import LayOne
from nesting.planning.leftovers.cloth_pieces import Fits
from nesting.planning.leftovers.remnant_plan import RemnantPlan
from nesting.planning.leftovers.remnants import plan_remnants
from nesting.resolving.cutting_list import CuttingList

__all__ = ["Batch", "batch_all", "stocked_cloths"]


@dataclass(frozen=True)
class Batch:
    """The plans of the cloths, and what leftovers of them give before (None where there are none)."""

    plans: tuple[BatchPlan, ...]
    leftovers: RemnantPlan | None = None

    @property
    def lays(self) -> tuple[Lay, ...]:
        """All lays: those on leftovers first, then the parts of each cloth."""
        first = () if self.leftovers is None else self.leftovers.lays
        return (*first, *(lay for plan in self.plans for lay in plan.lays))

    def as_dict(self) -> dict[str, Any]:
        """As the JSON document shows it (mm)."""
        more = {} if self.leftovers is None else {"leftovers": self.leftovers.as_dict()}
        return {"plans": [plan.as_dict() for plan in self.plans], **more}


def stocked_cloths(listed: CuttingList) -> frozenset[str]:
    """The cloths of which there are leftovers and from which something is cut."""
    return frozenset(r.cloth for r in listed.remnants) & frozenset(listed.cloths_used)


def batch_all(
    listed: CuttingList,
    lay: LayOne,
    fits: Fits,
    *,
    seconds: float | None,
    steps: Steps | None = None,
    on_batch: Callable[[Batch], None] | None = None,
    **how: Any,
) -> Batch:
    """Whole garments from the leftovers of their cloth first; then a plan in sections and plies for what is left of
    each cloth, copies numbered on from those. A cloth without leftovers is planned for all garments, those whose other
    pieces come from leftovers among them. ``seconds`` for the leftovers (None: the efforts of ``fits`` alone bound
    them); ``how`` as for ``batch``. Raises what these raise."""

    stocked = stocked_cloths(listed)
    if not stocked:
        alone = None if on_batch is None else lambda plans: on_batch(Batch(plans))
        return Batch(batch(listed, lay, steps=steps, on_plans=alone, **how))
    found = replace(plan_remnants(listed, fits, seconds=seconds), to_buy=())
    rest = listed.with_counts([max(0, g.count - m.made) for g, m in zip(listed.garments, found.made, strict=True)])
    made = {(m.garment, m.size): m.made for m in found.made}
    others = [name for name in listed.cloths_used if name not in stocked]
    left = [name for name in rest.cloths_used if name in stocked]
    if steps is not None:
        steps.total = steps.done + batch_work(rest, left) + batch_work(listed, others)
    plans: tuple[BatchPlan, ...] = ()

    def tell(now: tuple[BatchPlan, ...]) -> None:
        # what is told before all cloths have a plan would leave some out
        if on_batch is not None and len(plans) + len(now) == len(left) + len(others):
            on_batch(Batch((*plans, *now), found))

    for part, cloths, begun in ((rest, left, made), (listed, others, {})):
        if cloths:
            more = batch(part, lay, steps=steps, cloths=cloths, begun=begun, on_plans=tell, **how)
            plans = (*plans, *more)
    sequence = [cloth.name for cloth in listed.cloths]
    return Batch(tuple(sorted(plans, key=lambda plan: sequence.index(plan.cloth))), found)
