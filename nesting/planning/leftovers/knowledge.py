"""What is known of loads on remnants: which lie, which are refused, and which need not be asked."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from nesting.model.lay import Lay
from nesting.model.order import Remnant
from nesting.planning.leftovers.assigning import Refusal
from nesting.planning.leftovers.cloth_pieces import Fits, PieceClass, Unit, class_area, classes_of
from nesting.resolving.cutting_list import CuttingList

__all__ = ["Knowledge", "load_of"]


def load_of(units: Sequence[Unit]) -> Counter[PieceClass]:
    """How many of each class."""
    return Counter(u.kind for u in units)


class Knowledge:
    """Asks ``fits`` and remembers; remnants of the same shape share what is known. ``until``: monotonic time after
    which no refusal is looked into any further. ``effort``: how much is put into each search from now on; what a
    smaller effort did not find counts as unknown again."""

    def __init__(self, listed: CuttingList, fits: Fits, remnants: Sequence[Remnant], until: float) -> None:
        self.listed, self.until = listed, until
        self.effort = 0
        #: searches made so far
        self.searches = 0
        self._fits = fits
        self._shape = {r.name: (r.cloth, r.outline, r.flaws) for r in remnants}
        self._laid: dict[tuple[str, tuple[Unit, ...]], Lay] = {}
        self._lies: dict[object, list[Counter[PieceClass]]] = {}
        self._refusals: list[tuple[object, Refusal, int]] = []

    @property
    def over(self) -> bool:
        """Whether the time is up."""
        return time.monotonic() > self.until

    def known(self, remnant: Remnant, load: Counter[PieceClass]) -> bool | None:
        """Whether that load lies on that remnant, None if it is not known."""
        shape = self._shape[remnant.name]
        if any(load <= other for other in self._lies.get(shape, [])):
            return True
        if any(s == shape and Counter(dict(r.load)) <= load for s, r in self._standing()):
            return False
        return None

    def _standing(self) -> list[tuple[object, Refusal]]:
        """Refusals that count: proven, or by no less effort than now and of nothing that was found to lie later."""
        return [
            (shape, r)
            for shape, r, effort in self._refusals
            if r.proven
            or (effort >= self.effort and not any(Counter(dict(r.load)) <= n for n in self._lies.get(shape, [])))
        ]

    def refuses(self, remnant: Remnant, units: Sequence[Unit]) -> bool:
        """Whether it can be proved that these units (of one cloth) do not lie there; remembered as a refusal."""
        why = self._fits.refuses(self.listed, units, remnant)
        if why is not None:
            self._refuse(remnant, units, proven=True, reason=why)
        return why is not None

    def lay(self, remnant: Remnant, units: Sequence[Unit]) -> Lay | None:
        """The lay of these units, or None, remembered as a refusal."""
        key = (remnant.name, tuple(units))
        if key in self._laid:
            return self._laid[key]
        if self.known(remnant, load_of(units)) is False:
            return None
        self.searches += 1
        lay = self._fits.lay(self.listed, units, remnant, self.effort)
        if lay is None:
            # a proof takes longer than a short search, so it is asked for what the search did not find
            if not self.refuses(remnant, units):
                self._refuse(remnant, units, proven=False, reason="no room was found in time")
            return None
        self._lies.setdefault(self._shape[remnant.name], []).append(load_of(units))
        self._laid[key] = lay
        return lay

    def _refuse(self, remnant: Remnant, units: Sequence[Unit], *, proven: bool, reason: str) -> None:
        load = tuple(sorted(load_of(units).items()))
        self._refusals.append((self._shape[remnant.name], Refusal(remnant.name, load, proven, reason), self.effort))

    def refine(self, remnant: Remnant, units: Sequence[Unit]) -> None:
        """Make the refusal of ``units`` stronger: the fewest of them, garment by garment and the largest pieces first,
        that are refused already. What lies is found soon, what does not takes all its time, so that halving is best.
        """
        largest: dict[tuple[int, int], float] = {}
        for u in units:
            key = (u.garment, u.copy)
            largest[key] = max(largest.get(key, 0.0), class_area(self.listed, u.kind))

        def rank(u: Unit) -> tuple[float, int, int, float, int]:
            return (-largest[u.garment, u.copy], u.garment, u.copy, -class_area(self.listed, u.kind), u.slot)

        row = sorted(units, key=rank)
        lies, refused = 0, len(row)
        while refused - lies > 1 and not self.over:
            middle = (lies + refused) // 2
            some = row[:middle]
            known = self.known(remnant, load_of(some))
            if known is None:
                known = self.lay(remnant, some) is not None
            if known:
                lies = middle
            else:
                refused = middle

    def refusals(self) -> list[Refusal]:
        """Every refusal, for every remnant of its shape; those that a stronger one makes needless are left out."""
        found: list[Refusal] = []
        loads = [(shape, r, Counter(dict(r.load))) for shape, r in self._standing()]
        for shape, refusal, load in loads:
            weaker = any(s == shape and other < load and (r.proven or not refusal.proven) for s, r, other in loads)
            if not weaker:
                found += [replace(refusal, remnant=name) for name, own in self._shape.items() if own == shape]
        return found

    def alone_is_refused(self, remnant: Remnant, kind: PieceClass) -> bool:
        """Whether it is proved that one such piece does not lie there even alone."""
        return any(r.proven and r.load == ((kind, 1),) for s, r in self._standing() if s == self._shape[remnant.name])

    def why_not_alone(self, remnant: Remnant, kind: PieceClass) -> str | None:
        """Why one such piece does not lie there even alone, where that is proved."""
        shape = self._shape[remnant.name]
        return next((r.reason for s, r in self._standing() if s == shape and r.proven and r.load == ((kind, 1),)), None)

    def same_shape(self, a: Remnant, b: Remnant) -> bool:
        """Whether what is known of one holds for the other."""
        return self._shape[a.name] == self._shape[b.name]

    def texts(self) -> tuple[str, ...]:
        """The refusals for people, each shape once. A piece is called left or right only where there is one of the
        other hand as well, and not where neither lies there even alone."""
        there = {c for garment in self.listed.garments for c in classes_of(self.listed, garment)}
        found = self.refusals()
        alone = {(r.remnant, r.load[0][0], r.proven) for r in found if r.load == ((r.load[0][0], 1),)}

        def words(r: Refusal) -> str:
            def called(c: PieceClass) -> str:
                twins = [replace(c, hand=hand) for hand in ("left", "right") if c.hand and hand != c.hand]
                twin = next((t for t in twins if t in there), None)
                either = r.load == ((c, 1),) and all((r.remnant, one, r.proven) in alone for one in (c, twin))
                return c.label if twin is not None and not either else replace(c, hand="").label

            return r.text(called)

        return tuple(dict.fromkeys(words(r) for r in found))
