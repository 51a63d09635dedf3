"""What is added at a time where as many garments are asked for as there is cloth for, and what to try next.

Glossary
    *bundle*: one garment asked for as often as it fits, or several together in their ratio. *Amount*: how many of each
    bundle. Its *value*: the sum of the garments' values. *Refused*: an amount that does not fit, hence nothing that has
    as many or more of every bundle.

Model (an integer programme, CP-SAT): amounts whose area is within that of every cloth whose length is stated, which
none of the refused is part of. Greatest value (or the least above a given one), then as evenly as can be.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from nesting.model.order import Cloth
from nesting.planning.layout.laying import garment_area
from nesting.resolving.cutting_list import CuttingList

__all__ = ["Amount", "Bundle", "Room", "bundles_of", "counts_at", "next_amount", "rooms_of", "value_of"]

Amount = tuple[int, ...]

#: Values go into the solver as whole numbers of these parts.
_VALUE_PARTS = 1000
#: of one bundle; more is no order for scissors
_MOST = 10_000


@dataclass(frozen=True)
class Bundle:
    """Garments that are added together: ``per`` has the number of each garment of the list."""

    label: str
    per: tuple[int, ...]
    value: float


@dataclass(frozen=True)
class Room:
    """A cloth of which there is only so much: ``length`` mm for a lay, opened out, without its ends, and the ``area``
    mm² of it that may be covered; ``base``: the area of what is asked for by number, ``per`` that of each bundle."""

    cloth: str
    length: float
    area: float
    base: float
    per: tuple[float, ...]


def bundles_of(listed: CuttingList) -> tuple[Bundle, ...]:
    """The bundles of the order: garments with a ratio go together, the others one by one."""
    tied = [i for i, g in enumerate(listed.garments) if g.most and g.ratio is not None]
    groups = [[i] for i, g in enumerate(listed.garments) if g.most and i not in tied]
    if tied:
        groups.insert(0, tied)
    found = []
    for group in sorted(groups):
        per = tuple((g.ratio or 1) if i in group else 0 for i, g in enumerate(listed.garments))
        parts = [f"{per[i]} × {listed.garments[i].label}" if per[i] > 1 else listed.garments[i].label for i in group]
        label = parts[0] if sum(per) == 1 else f"({' with '.join(parts)})"
        found.append(Bundle(label, per, math.fsum(n * g.value for n, g in zip(per, listed.garments, strict=True))))
    return tuple(found)


def length_there(cloth: Cloth) -> float | None:
    """What a lay may be long, opened out, for the cloth's stated length to do, mm; None where none is stated."""
    if cloth.length is None:
        return None
    return cloth.length * (1.0 - cloth.shrink_along) - 2.0 * cloth.end_allowance


def rooms_of(listed: CuttingList, bundles: Sequence[Bundle]) -> tuple[Room, ...]:
    """The cloths with a stated length from which something is cut, the scarcest for one of each bundle first."""
    found = []
    for name in listed.cloths_used:
        cloth = listed.cloth_named(name)
        length = length_there(cloth)
        if length is None:
            continue
        areas = [garment_area(g, name) for g in listed.garments]
        per = tuple(math.fsum(n * a for n, a in zip(b.per, areas, strict=True)) for b in bundles)
        base = math.fsum(g.count * a for g, a in zip(listed.garments, areas, strict=True) if not g.most)
        widths = 2.0 if cloth.tubular else 1.0
        found.append(Room(name, length, length * cloth.usable_width * widths, base, per))
    return tuple(sorted(found, key=lambda r: -(r.base + sum(r.per)) / r.area))


def counts_at(listed: CuttingList, bundles: Sequence[Bundle], amount: Amount) -> list[int]:
    """How many of each garment that amount is, with those that are asked for by number."""
    return [
        sum(n * b.per[i] for n, b in zip(amount, bundles, strict=True)) if g.most else g.count
        for i, g in enumerate(listed.garments)
    ]


def value_of(bundles: Sequence[Bundle], amount: Amount) -> float:
    """The value of the garments of that amount."""
    return math.fsum(n * b.value for n, b in zip(amount, bundles, strict=True))


def next_amount(
    bundles: Sequence[Bundle],
    rooms: Sequence[Room],
    refused: Sequence[Amount],
    above: float,
    *,
    share: float = 1.0,
    least: bool = False,
) -> Amount | None:
    """The amount of the greatest value ``above`` that one (``least``: of the least such value), with no more than that
    ``share`` of each cloth's area covered; None where there is none."""
    from ortools.sat.python import cp_model

    tops = [_top(rooms, k) for k in range(len(bundles))]
    model = cp_model.CpModel()
    many = [model.new_int_var(0, top, "") for top in tops]
    for room in rooms:
        # in mm², pieces rounded down and the cloth up, so that rounding forbids nothing that fits
        model.add(
            sum(math.floor(a) * n for a, n in zip(room.per, many, strict=True))
            <= math.ceil(max(0.0, room.area * share - room.base))
        )
    for one in refused:
        enough = []
        for n, var in zip(one, many, strict=True):
            if n > 0:
                has = model.new_bool_var("")
                model.add(var <= n - 1).only_enforce_if(~has)
                enough.append(has)
        model.add(sum(enough) <= len(enough) - 1)
    worth = [round(b.value * _VALUE_PARTS) for b in bundles]
    value = sum(w * n for w, n in zip(worth, many, strict=True))
    model.add(value >= round(above * _VALUE_PARTS) + 1)
    # of amounts of the same value the most even one: the value outweighs the largest number of one bundle
    largest = model.new_int_var(0, max(tops, default=0), "")
    model.add_max_equality(largest, many)
    weight = max(tops, default=0) + 1
    model.minimize(weight * value + largest if least else largest - weight * value)
    solver = cp_model.CpSolver()
    solver.parameters.max_deterministic_time = 5.0
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 0
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    return tuple(int(solver.value(var)) for var in many)


def _top(rooms: Sequence[Room], k: int) -> int:
    """The most of one bundle by area alone."""
    return min(
        (math.floor(max(0.0, r.area - r.base) / r.per[k] * (1 + 1e-9)) for r in rooms if r.per[k] > 0.0), default=_MOST
    )
