"""The ways of spreading one cloth that are worth a search: flap depths, and what is cut through two plies at once.

Flap depths are taken from the pieces: a flap is as deep as the deepest thing that is cut through it, or as two of
them side by side. The search then chooses among these depths.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from itertools import combinations, combinations_with_replacement

from nesting.cloth.orientation import orientation
from nesting.model.lay import placed
from nesting.model.order import Cloth, SpreadName
from nesting.planning.layout.demand import Stack
from nesting.planning.layout.jobs import JobStyle
from nesting.planning.layout.rings import GROWN

__all__ = ["Candidate", "candidates_for"]

#: mm. Depths are rounded up to this, so that what they are taken from fits for sure.
_STEP = 1e-4
#: flap depths tried for a partial fold, and pairs of them for a double fold
MOST_DEPTHS = 3


@dataclass(frozen=True)
class Candidate:
    """One spread with its flap depths and the style of cutting on it."""

    kind: SpreadName
    depths: tuple[float, ...] = ()
    style: JobStyle = field(default_factory=JobStyle)


def _heights(stack: Stack, cloth: Cloth) -> list[float]:
    """Extents across the cloth in which the stack's piece may lie, deepest turns last, mm, with the error of its
    outline kept free beside it: on one side where the other lies on a fold."""
    found = set()
    free = GROWN * stack.cut.piece.error * (1.0 if stack.cut.on_fold else 2.0)
    for turn in orientation(stack.cut, cloth).turns:
        ys = [y for _, y in placed(stack.cut.piece, 0.0, 0.0, turn, False).outline]
        found.add(_up(max(ys) - min(ys) + free))
    return sorted(found)


def _up(mm: float) -> float:
    """Rounded up to the step, give or take the arithmetic."""
    return round(math.ceil(mm / _STEP - 1e-4) * _STEP, 4)


def _depths(stacks: tuple[Stack, ...], cloth: Cloth, deepest: float) -> list[float]:
    halves = {h for s in stacks if s.cut.on_fold for h in _heights(s, cloth)}
    pairs = {h for s in stacks if not s.cut.on_fold and len(s.needs) > 1 for h in _heights(s, cloth)}
    margin, off_fold = cloth.selvage, cloth.gap / 2
    wanted: set[float] = set()
    for h in halves:
        wanted.add(h + margin)
        for other in halves | pairs:
            wanted.add(h + cloth.gap + other + margin)
    for h in () if halves else pairs:
        wanted.add(off_fold + h + margin)
    fitting = sorted({min(_up(d), deepest) for d in wanted if cloth.selvage < d <= deepest + _STEP})
    if len(fitting) <= MOST_DEPTHS:
        return fitting
    # the one that takes every half, then an even choice of the others
    step = (len(fitting) - 1) / (MOST_DEPTHS - 1)
    chosen = {fitting[round(i * step)] for i in range(MOST_DEPTHS)}
    if halves and max(halves) + margin <= deepest:
        chosen.add(_up(max(halves) + margin))
    return sorted(chosen)


def _area(stack: Stack) -> float:
    from shapely.geometry import Polygon

    return float(Polygon(stack.cut.piece.outline).area)


def _flap_style(depths: tuple[float, ...], stacks: tuple[Stack, ...], cloth: Cloth) -> JobStyle:
    """How many of the pairs go through the flaps: as many as fill them about as far as the cloth beyond is filled.

    None where the deepest flap is too shallow for the widest of them.
    """
    pairs = [s for s in stacks if not s.cut.on_fold and len(s.needs) > 1]
    widest = max((h[0] for s in pairs if (h := _heights(s, cloth))), default=0.0)
    if not pairs or max(depths) < cloth.gap / 2 + widest + cloth.selvage - _STEP:
        return JobStyle(pairs=0.0)
    flaps = sum(depths) - len(depths) * cloth.selvage
    beyond = cloth.width_washed - 2.0 * sum(depths)
    if beyond <= widest:
        return JobStyle()
    on_folds = sum(_area(s) * len(s.needs) for s in stacks if s.cut.on_fold)
    through = sum(_area(s) * len(s.needs) / 2.0 for s in pairs)
    singles = sum(_area(s) * len(s.needs) for s in stacks if not s.cut.on_fold and s not in pairs)
    # (on_folds + p · through) / flaps = (2 (1 − p) · through + singles) / beyond
    share = ((2.0 * through + singles) * flaps - on_folds * beyond) / (through * (beyond + 2.0 * flaps))
    return JobStyle(pairs=round(min(1.0, max(0.0, share)), 3))


def _flaps_of_halves(stacks: tuple[Stack, ...], cloth: Cloth) -> list[tuple[float, float]]:
    """The flaps of a double fold that are as deep as the two deepest halves which the cloth takes side by side, where
    these differ: they lie on both folds, and no more cloth than they take is folded over."""
    halves = [s for s in stacks if s.cut.on_fold for _ in s.needs[:2]]
    depths = [{_up(h + cloth.selvage) for h in _heights(s, cloth)} for s in halves]
    pairs = {(max(a, b), min(a, b)) for one, other in combinations(depths, 2) for a in one for b in other}
    taken = [pair for pair in pairs if sum(pair) <= cloth.width_washed / 2 + _STEP]
    return [pair for pair in sorted(taken, key=sum, reverse=True)[:1] if pair[0] - pair[1] > 1.0]


def candidates_for(kind: SpreadName, stacks: tuple[Stack, ...], cloth: Cloth) -> tuple[Candidate, ...]:
    """What to try for a spread, the easiest to cut first. Empty where the pieces give no sensible flap depth."""
    has_halves = any(s.cut.on_fold for s in stacks)
    has_pairs = any(not s.cut.on_fold and len(s.needs) > 1 for s in stacks)
    if kind in ("open", "stacked face up", "stacked face to face"):
        return (Candidate(kind),)
    styles = [JobStyle()]
    if has_halves:
        styles.append(JobStyle(open_halves=True))
    if kind == "crosswise fold":
        # a fold edge lies along this fold only by a quarter turn, so halves may be opened out from the beginning
        return (Candidate(kind, (), styles[-1]),)
    if has_pairs:
        styles.append(JobStyle(pairs=0.0, open_halves=has_halves))
    if kind in ("lengthwise fold", "tubular"):
        return tuple(Candidate(kind, (), style) for style in styles)
    width = cloth.width_washed
    if kind == "partial fold":
        found = []
        for depth in _depths(stacks, cloth, width / 2):
            found.append(Candidate(kind, (depth,), _flap_style((depth,), stacks, cloth)))
        if has_halves and found:
            found.append(replace(found[0], style=replace(found[0].style, open_halves=True)))
        return tuple(found)
    if kind == "double fold":
        singles = _depths(stacks, cloth, width / 2 - cloth.selvage)
        flaps = {(width / 4, width / 4)}
        for a, b in combinations_with_replacement(singles, 2):
            if a + b <= width / 2:
                flaps.add((b, a))
        for a in singles:
            if width / 2 - a > cloth.selvage + _STEP:
                flaps.add((max(a, width / 2 - a), min(a, width / 2 - a)))
        ordered = sorted(flaps, key=lambda f: (abs(f[0] - f[1]) > 1.0, -sum(f)))
        ordered = list(dict.fromkeys((*_flaps_of_halves(stacks, cloth), *ordered)))
        doubles = [Candidate(kind, pair, _flap_style(pair, stacks, cloth)) for pair in ordered[:MOST_DEPTHS]]
        if has_halves:
            doubles += [replace(c, style=replace(c.style, open_halves=True)) for c in doubles[:2]]
        return tuple(doubles)
    raise ValueError(f"'{kind}' is not laid as one spread")
