"""How the length to buy grows with each further garment.

Garments are added in a sequence that keeps to the order's proportions. One is *free* where the length to buy does not
grow by it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.model.order import SpreadName
from nesting.planning.buying.steps import OnStep
from nesting.planning.layout.laying import LayOne
from nesting.planning.layout.yardage import cloth_used
from nesting.resolving.cutting_list import CuttingList, GarmentEntry

__all__ = [
    "CURVE_COUNTS",
    "Curve",
    "CurvePoint",
    "adding_sequence",
    "counts_at",
    "counts_measured",
    "curve",
    "next_garment",
]

#: Lays measured for one curve; further counts in between take the next measured length, which is enough for them.
CURVE_COUNTS = 12


@dataclass(frozen=True)
class CurvePoint:
    """``count`` garments, the last one added being ``garment``. mm. ``measured`` False: no lay of its own was made,
    the next larger one serves it. ``free``: this garment did not lengthen what must be bought."""

    count: int
    garment: str
    lay_length: float
    buy_length: float
    measured: bool
    free: bool


@dataclass(frozen=True)
class Curve:
    """The curve of one cloth in its own width. ``points`` run from 1 to one garment more than asked for. ``apart_from``
    names the cloth over which it would lie if it were not counted as cut by itself."""

    cloth: str
    spread: SpreadName
    garments: int
    points: tuple[CurvePoint, ...]
    apart_from: str | None = None

    @property
    def free(self) -> tuple[int, ...]:
        """Counts at which the garment just added is free."""
        return tuple(p.count for p in self.points if p.free)

    @property
    def one_more(self) -> dict[str, Any] | None:
        """What the garment beyond those ordered would add, for the JSON document (mm); None where it does not fit."""
        by_count = {p.count: p for p in self.points}
        beyond, last = by_count.get(self.garments + 1), by_count.get(self.garments)
        if beyond is None or last is None:
            return None
        adds = beyond.buy_length - last.buy_length
        return {"garment": beyond.garment, "buy_length": beyond.buy_length, "adds": adds}

    def as_dicts(self) -> list[dict[str, Any]]:
        """Counts 1 … n as the JSON document shows them (mm)."""
        return [
            {"count": p.count, "buy_length": p.buy_length, "garment": p.garment, "measured": p.measured, "free": p.free}
            for p in self.points
            if p.count <= self.garments
        ]


def adding_sequence(counts: Sequence[int], more: int = 1) -> tuple[int, ...]:
    """In which sequence the garments are added: indices into ``counts``, sum(counts) + ``more`` of them.

    Each step takes the garment that is farthest behind its share of the whole (ties: the first), so that after
    sum(counts) steps exactly the counts are reached, and the garments beyond repeat the sequence.
    """
    total = sum(counts)
    done = [0] * len(counts)
    sequence: list[int] = []
    for step in range(1, total + 1):
        open_ = [i for i, n in enumerate(counts) if done[i] < n]
        nxt = max(open_, key=lambda i: (counts[i] * step / total - done[i], -i))
        done[nxt] += 1
        sequence.append(nxt)
    return tuple(sequence[i % total] for i in range(total + more)) if total else ()


def counts_at(listed: CuttingList, sequence: Sequence[int], count: int) -> list[int]:
    """How many of each garment there are after ``count`` steps of the sequence."""
    counts = [0] * len(listed.garments)
    for i in sequence[:count]:
        counts[i] += 1
    return counts


def next_garment(listed: CuttingList, sequence: Sequence[int], count: int) -> GarmentEntry:
    """The garment that follows after ``count`` of them."""
    return listed.garments[sequence[count]]


def curve(
    listed: CuttingList,
    cloth: str,
    lay: LayOne,
    *,
    spread: SpreadName,
    known: Lay | None = None,
    counts: int = CURVE_COUNTS,
    on_step: OnStep | None = None,
) -> Curve:
    """The length to buy for 1 … n + 1 garments on ``cloth``, each lay started from the one before.

    ``known`` is a lay of all n garments that has been found already, on this spread or on one that opens out. At most
    ``counts`` lays are made (always those of 1, n and n + 1). Made monotone from the top: a lay of more garments serves
    fewer, L(n) = min(L(n), L(n + 1)).
    Raises CannotLayError if not even one garment can be laid; a curve ends early where more do not fit.
    """
    part = listed.on_cloth(cloth)
    total = sum(g.count for g in part.garments)
    sequence = adding_sequence([g.count for g in part.garments])
    wanted = counts_measured(total, counts)
    lengths: dict[int, tuple[float, float]] = {}
    before: Lay | None = None
    for count in wanted:
        if on_step is not None:
            on_step(cloth, f"the curve, {count} of {total + 1} garments", 1.0)
        try:
            found = lay(part.with_counts(counts_at(part, sequence, count)), cloth, spread=spread, start=before)
        except CannotLayError:
            if not lengths:
                raise
            break
        lengths[count] = (found.lay_length, found.buy_length)
        before = found
        if count == total and known is not None:
            # opened out: the lay of a crosswise fold is half as long on the table as the cloth it takes
            kind = known.sections[0].spread.kind
            lengths[count] = _shorter(lengths[count], (_opened_out(listed, known), known.buy_length))
            if kind == spread and known.lay_length < found.lay_length:
                before = known
    best: tuple[float, float] | None = None
    served: dict[int, tuple[float, float, bool]] = {}
    for count in range(max(lengths), 0, -1):
        measured = count in lengths
        if measured:
            best = lengths[count] if best is None else _shorter(best, lengths[count])
        assert best is not None
        served[count] = (*best, measured)
    points = []
    for count in sorted(served):
        lay_length, buy_length, measured = served[count]
        # what was not measured for one less says nothing of what the one more adds
        free = count > 1 and measured and served[count - 1][2] and buy_length <= served[count - 1][1] + 1e-6
        name = next_garment(part, sequence, count - 1).label
        points.append(CurvePoint(count, name, lay_length, buy_length, measured, free))
    return Curve(cloth, spread, total, tuple(points), listed.led_by(cloth))


def _shorter(a: tuple[float, float], b: tuple[float, float]) -> tuple[float, float]:
    """The shorter lay and the shorter length to buy, which may be those of two lays."""
    return (min(a[0], b[0]), min(a[1], b[1]))


def _opened_out(listed: CuttingList, lay: Lay) -> float:
    if len(lay.sections) > 1:
        return lay.lay_length
    return cloth_used(lay.sections[0].spread.kind, listed.cloth_named(lay.cloth), lay.lay_length)


def counts_measured(total: int, most: int) -> list[int]:
    """At most ``most`` counts out of 1 … ``total`` + 1, evenly spaced, with 1, ``total`` and one more among them."""
    last = total + 1
    if last <= max(most, 3):
        return list(range(1, last + 1))
    steps = max(most - 1, 2)
    inner = {1 + round(i * (last - 2) / (steps - 1)) for i in range(steps)}
    return sorted(inner | {last})
