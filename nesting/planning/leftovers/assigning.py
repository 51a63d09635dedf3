"""The assignment of cloth pieces to remnants, as an integer programme (CP-SAT)."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from nesting.model.order import Remnant
from nesting.planning.leftovers.cloth_pieces import Kind, PieceClass

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

    #: (garment kind, class, remnant) -> how many
    _Many = dict[tuple[int, PieceClass, str], cp_model.IntVar | cp_model.LinearExpr]

__all__ = ["Assignment", "Refusal", "assign"]

#: Values and areas go into the solver as whole numbers of these parts.
_VALUE_PARTS = 1000


@dataclass(frozen=True)
class Refusal:
    """``load`` (and anything more) does not go on ``remnant``."""

    remnant: str
    load: tuple[tuple[PieceClass, int], ...]
    proven: bool
    reason: str

    def text(self, called: Callable[[PieceClass], str] = lambda c: c.label) -> str:
        """For people. ``called``: a class in their words."""
        pieces = ", ".join(f"{n} × {called(c)}" for c, n in self.load)
        verb = "does" if sum(n for _, n in self.load) == 1 else "do"
        said = "proven" if self.proven else "not found"
        return f"{self.remnant}: {pieces} {verb} not lie on it ({said}: {self.reason})"


@dataclass(frozen=True)
class Assignment:
    """``loads``: for each remnant, for each garment kind (by its number), how many of each class. ``bound``: no
    assignment has a greater value. ``optimal``: proved best."""

    made: tuple[int, ...]
    loads: Mapping[str, Mapping[int, Mapping[PieceClass, int]]]
    value: float
    bound: float
    optimal: bool


def assign(
    kinds: Sequence[Kind],
    remnants: Sequence[Remnant],
    room: Mapping[str, float],
    areas: Mapping[PieceClass, float],
    refusals: Sequence[Refusal],
    *,
    seconds: float,
    at_least: Mapping[str, Mapping[int, Mapping[PieceClass, int]]] | None = None,
) -> Assignment:
    """The assignment of the greatest value, then with the fewest remnants, then on the smallest of them.

    ``room`` mm² per remnant, ``areas`` mm² per class. Areas are rounded so that what fits exactly is never refused.
    ``at_least``: loads that stay where they are. ``seconds`` are the solver's own measure of its work, which repeats
    on any machine.
    """
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    made = [model.new_int_var(0, kind.count, "") for kind in kinds]
    tied = [(n, kind.ratio) for n, kind in zip(made, kinds, strict=True) if kind.ratio is not None]
    for number, ratio in tied[1:]:
        model.add(number * tied[0][1] == tied[0][0] * ratio)
    many = _numbers(model, made, kinds, remnants)
    for name, of_kind in (at_least or {}).items():
        for i, of_class in of_kind.items():
            for c, n in of_class.items():
                model.add(many[i, c, name] >= n)
    used = {r.name: model.new_bool_var("") for r in remnants}
    _keep_to_room(model, many, used, remnants, room, areas)
    _keep_to_refusals(model, many, kinds, areas, refusals)
    # Value before the number of remnants before their area; each weight exceeds all that follows.
    area_parts = [max(1, math.ceil(room[r.name] / 100.0)) for r in remnants]
    per_remnant = sum(area_parts) + 1
    per_part = per_remnant * (len(remnants) + 1)
    worth = [round(kind.value * _VALUE_PARTS) for kind in kinds]
    model.maximize(
        sum(w * per_part * n for w, n in zip(worth, made, strict=True))
        - sum((per_remnant + a) * used[r.name] for a, r in zip(area_parts, remnants, strict=True))
    )
    solver = cp_model.CpSolver()
    solver.parameters.max_deterministic_time = seconds
    solver.parameters.max_time_in_seconds = 10.0 * seconds
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 0
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        # Nothing made is always possible, so only the time can have run out.
        total = sum(kind.value * kind.count for kind in kinds)
        return Assignment((0,) * len(kinds), {}, 0.0, total, False)
    counts = tuple(int(solver.value(n)) for n in made)
    value = sum(n * kind.value for n, kind in zip(counts, kinds, strict=True))
    bound = value
    if status != cp_model.OPTIMAL:
        bound = max(value, math.floor((solver.best_objective_bound + per_part - 1) / per_part) / _VALUE_PARTS)
    loads: dict[str, dict[int, dict[PieceClass, int]]] = {}
    for (i, c, name), var in many.items():
        n = int(solver.value(var))
        if n:
            loads.setdefault(name, {}).setdefault(i, {})[c] = n
    return Assignment(counts, loads, value, bound, bool(status == cp_model.OPTIMAL))


def _numbers(
    model: cp_model.CpModel, made: Sequence[cp_model.IntVar], kinds: Sequence[Kind], remnants: Sequence[Remnant]
) -> _Many:
    """How many of each class of each garment come from each remnant: all that the garments made need."""
    many: _Many = {}
    for i, kind in enumerate(kinds):
        if kind.same_cloth:
            for cloth in dict.fromkeys(c.cloth for c, _ in kind.needs):
                here = [r for r in remnants if r.cloth == cloth]
                whole = {r.name: model.new_int_var(0, kind.count, "") for r in here}
                model.add(sum(whole.values()) == made[i])
                for c, n in kind.needs:
                    if c.cloth == cloth:
                        many.update({(i, c, r.name): n * whole[r.name] for r in here})
            continue
        for c, n in kind.needs:
            here = [r for r in remnants if r.cloth == c.cloth]
            own = {r.name: model.new_int_var(0, n * kind.count, "") for r in here}
            model.add(sum(own.values()) == n * made[i])
            many.update({(i, c, name): var for name, var in own.items()})
    return many


def _load(many: _Many, name: str, c: PieceClass) -> cp_model.LinearExpr | int:
    terms = [var for (_, other, r), var in many.items() if r == name and other == c]
    return sum(terms) if terms else 0


def _keep_to_room(
    model: cp_model.CpModel,
    many: _Many,
    used: Mapping[str, cp_model.IntVar],
    remnants: Sequence[Remnant],
    room: Mapping[str, float],
    areas: Mapping[PieceClass, float],
) -> None:
    """No remnant holds more than its area, and none that is not used."""
    for r in remnants:
        here_classes = [c for c in areas if c.cloth == r.cloth]
        # In mm², pieces rounded down and the remnant up, so that rounding forbids nothing that fits.
        model.add(
            sum(math.floor(areas[c]) * _load(many, r.name, c) for c in here_classes)
            <= math.ceil(room[r.name]) * used[r.name]
        )


def _keep_to_refusals(
    model: cp_model.CpModel,
    many: _Many,
    kinds: Sequence[Kind],
    areas: Mapping[PieceClass, float],
    refusals: Sequence[Refusal],
) -> None:
    """Of each refused load at least one class is fewer."""
    top = {c: sum(kind.count * n for kind in kinds for other, n in kind.needs if other == c) for c in areas}
    for refusal in refusals:
        cells = []
        for c, n in refusal.load:
            enough = model.new_bool_var("")
            load = _load(many, refusal.remnant, c)
            model.add(load <= n - 1).only_enforce_if(~enough)
            if top.get(c, 0) < n:
                model.add(enough == 0)
            cells.append(enough)
        model.add(sum(cells) <= len(cells) - 1)
