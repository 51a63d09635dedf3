"""The lay lengths of a batch: which ways of spreading there are, what was measured, what is estimated."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from nesting.model.errors import CannotLayError
from nesting.model.order import Cloth, SpreadName
from nesting.model.units import format_apart
from nesting.planning.batch.ratios import Ratio
from nesting.resolving.cutting_list import GarmentEntry

__all__ = ["LengthOf", "Measuring", "Mode", "flaps_of", "modes_of"]

#: (ratio, spread) -> lay length in mm of one layer; CannotLayError where it cannot be laid.
LengthOf = Callable[[Ratio, SpreadName], float]


@dataclass(frozen=True)
class Mode:
    """A way to spread. ``plies`` and ``widths`` (lengths of full cloth) per layer; ``most`` layers in one section."""

    kind: SpreadName
    plies: int
    widths: int
    most: int


def modes_of(cloth: Cloth, max_plies: int | None = None) -> tuple[Mode, ...]:
    """The spreads a batch may use on this cloth: single plies face up, pairs face to face, one lengthwise fold.

    ``max_plies``: what the cutter takes (None: the cloth's ``max_plies``, else its ``plies``). Face to face is left out
    with nap unless the plies may be turned; a list of spreads in the order is kept to.
    """
    most = max_plies or cloth.max_plies or cloth.plies
    if cloth.tubular:
        return () if (max_plies or cloth.max_plies) == 1 else (Mode("tubular", 2, 1, 1),)
    allowed = cloth.spreads

    def may(kind: SpreadName) -> bool:
        return allowed is None or kind in allowed

    modes = []
    if may("open") or may("stacked face up"):
        modes.append(Mode("stacked face up", 1, 1, most if may("stacked face up") else 1))
    if most >= 2 and may("stacked face to face") and (cloth.nap == "none" or cloth.may_turn_plies):
        modes.append(Mode("stacked face to face", 2, 2, most // 2))
    if (max_plies or cloth.max_plies) != 1:
        modes += [Mode(kind, 2, 1, 1) for kind in _folds(cloth)]
    return tuple(modes)


def flaps_of(cloth: Cloth, max_plies: int | None = None) -> tuple[Mode, ...]:
    """Folds that are slower to lay than one in the middle, for garments that lie in no other way; none where the order
    says which spreads it wants, as these are tried already."""
    if cloth.tubular or cloth.spreads is not None or (max_plies or cloth.max_plies) == 1:
        return ()
    return (Mode("partial fold", 2, 1, 1), Mode("double fold", 2, 1, 1))


def _folds(cloth: Cloth) -> tuple[SpreadName, ...]:
    folds: tuple[SpreadName, ...] = ("lengthwise fold", "partial fold", "double fold")
    return ("lengthwise fold",) if cloth.spreads is None else tuple(kind for kind in folds if kind in cloth.spreads)


def _single(i: int, kinds: int) -> Ratio:
    return tuple(int(k == i) for k in range(kinds))


class Measuring:
    """What is known about lay lengths so far, per (ratio, mode)."""

    def __init__(
        self,
        cloth: Cloth,
        modes: Sequence[Mode],
        areas: Sequence[float],
        length_of: LengthOf,
        table: float | None,
        efficiency: float,
        *,
        imperial: bool = False,
    ) -> None:
        self._cloth, self._modes, self._areas = cloth, modes, areas
        self._length_of, self._table, self._efficiency = length_of, table, efficiency
        self._imperial = imperial
        self._known: dict[tuple[Ratio, int], float] = {}
        self._refused: list[tuple[Ratio, int]] = []
        self._seen: float | None = None
        self.made = 0

    def _bound(self, ratio: Ratio, mode: int) -> float:
        way = self._modes[mode]
        area = math.fsum(a * n for a, n in zip(self._areas, ratio, strict=True))
        return area / (self._cloth.usable_width * way.widths * (2 if self._cloth.tubular else 1))

    def length(self, ratio: Ratio, mode: int) -> float:
        """mm, measured or estimated: by area, but no longer than lays that were measured, one behind the other."""
        known = self._known.get((ratio, mode))
        if known is not None:
            return known
        return min(self._bound(ratio, mode) / (self._seen or self._efficiency), self.joined(ratio, mode))

    def joined(self, ratio: Ratio, mode: int) -> float:
        """What measured lays of this mode come to, laid one behind the other with the gap between them, mm: the most of
        one of them and single garments for the rest. Infinite where a single garment was not measured."""
        gap = self._cloth.gap
        singles = [self._known.get((_single(i, len(ratio)), mode), math.inf) for i in range(len(ratio))]

        def behind(rest: Ratio) -> float:
            return sum(n * (length + gap) for n, length in zip(rest, singles, strict=True) if n)

        best = behind(ratio)
        for (other, there), length in self._known.items():
            if there != mode or sum(other) < 2:
                continue
            times = min(n // o for n, o in zip(ratio, other, strict=True) if o)
            if times:
                rest = tuple(n - times * o for n, o in zip(ratio, other, strict=True))
                best = min(best, times * (length + gap) + behind(rest))
        return best - gap

    def cloth_per_layer(self, ratio: Ratio, mode: int) -> float:
        """mm of cloth as sold."""
        laid = self.length(ratio, mode) + 2.0 * self._cloth.end_allowance
        return self._modes[mode].widths * laid / (1.0 - self._cloth.shrink_along)

    def tenths(self, ratio: Ratio, mode: int) -> int:
        """The same in whole tenths of a millimetre, rounded up but for the noise of a float."""
        return math.ceil(self.cloth_per_layer(ratio, mode) * 10.0 - 1e-6)

    def is_measured(self, ratio: Ratio, mode: int) -> bool:
        """Whether that lay was made and fits on the table."""
        return (ratio, mode) in self._known

    def _on_table(self, length: float) -> bool:
        return self._table is None or length + 2.0 * self._cloth.end_allowance <= self._table + 1e-6

    def may_fit(self, ratio: Ratio, way: Mode) -> bool:
        """Whether the table is not shorter than the bound by area."""
        return self._on_table(self._bound(ratio, self._modes.index(way)))

    def least(self, counts: Ratio) -> float:
        """Cloth as sold that any division takes, mm: all garments' area over the usable width, and both ends once."""
        area = math.fsum(a * n for a, n in zip(self._areas, counts, strict=True))
        laid = area / (self._cloth.usable_width * (2 if self._cloth.tubular else 1))
        return (laid + 2.0 * self._cloth.end_allowance) / (1.0 - self._cloth.shrink_along)

    def measure(self, ratio: Ratio, mode: int) -> None:
        """Lay it; what cannot be laid or is longer than the table is refused from then on, and all that holds more."""
        try:
            length = self._length_of(ratio, self._modes[mode].kind)
        except CannotLayError:
            # What holds more cannot be laid in this way either.
            self._refused.append((ratio, mode))
            return
        self.made += 1
        if self._on_table(length):
            self._known[ratio, mode] = length
            if self._efficiency < 1.0 and sum(ratio) > 1 and length > 0.0:
                self._seen = max(self._seen or 0.0, self._bound(ratio, mode) / length)
        else:
            self._refused.append((ratio, mode))

    def singles(self, garments: Sequence[GarmentEntry]) -> list[float]:
        """Cloth for one garment of each kind cut by itself, mm; every plan can fall back on these."""
        found = []
        for i, garment in enumerate(garments):
            ratio = _single(i, len(garments))
            mode, error = 0, None
            for mode in range(len(self._modes)):
                try:
                    length = self._length_of(ratio, self._modes[mode].kind)
                except CannotLayError as this:
                    error = error or this
                    self._refused.append((ratio, mode))
                    continue
                self.made += 1
                if self._on_table(length):
                    self._known[ratio, mode] = length
                    found.append(self.cloth_per_layer(ratio, mode))
                    break
                self._refused.append((ratio, mode))
                ends = length + 2.0 * self._cloth.end_allowance
                wanted, there = format_apart(ends, self._table or 0.0, imperial=self._imperial)
                error = error or CannotLayError(
                    f"one {garment.label} takes {wanted} of '{self._cloth.name}' with both end allowances, and the "
                    f"table is {there}: give a longer one",
                    key="cloth.table_length",
                    code="table.too-short",
                )
            else:
                assert error is not None
                raise error
        return found

    def columns(self, ratios: Sequence[Ratio], *, measured_only: bool) -> list[tuple[Ratio, int, int]]:
        """(ratio, mode, cloth per layer in tenths of a millimetre) of all that may still be chosen."""
        columns = []
        for ratio in ratios:
            for mode in range(len(self._modes)):
                if measured_only and not self.is_measured(ratio, mode):
                    continue
                if any(m == mode and all(a >= b for a, b in zip(ratio, r, strict=True)) for r, m in self._refused):
                    continue
                if not self._on_table(self.length(ratio, mode)):
                    continue
                columns.append((ratio, mode, self.tenths(ratio, mode)))
        return columns
