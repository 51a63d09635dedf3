"""Whether a second cloth may be cut where the leaders lie on the first: what its own rules say to those places."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from nesting.cloth.orientation import Orientation, orientation
from nesting.model.findings import Reason
from nesting.model.lay import Placement, Section, Spread
from nesting.model.order import Cloth, CutPiece
from nesting.model.tolerances import FOLD_MM, OVERLAP_SHARE
from nesting.model.units import format_apart
from nesting.resolving.cutting_list import CuttingList

__all__ = ["why_not_here", "why_not_together"]

#: mm. Less than this is no lack of room.
SLACK = 1e-3

Say = Callable[[float], str]


def why_not_here(
    listed: CuttingList, cloth: Cloth, spread: Spread, laid: Sequence[Placement], say: Say
) -> Reason | None:
    """Why these pieces cannot be cut from ``cloth``, spread like that, where they lie; None if they can.

    ``say`` puts a length in mm into words.
    """
    for p in laid:
        cut = listed.cut(p.piece, p.size)
        if p.opened and not cut.unfold:
            words = f"'{p.label}' may not be opened out (unfold = false), but its leader is"
            return Reason(words, code="fold.unfold", figures={"piece": p.piece})
        why = _turn_refused(cut, cloth, p)
        if why is not None:
            return why
        beyond = _beyond(p, spread)
        if beyond is not None:
            words = f"'{p.label}' reaches {say(beyond)} beyond the edge of '{cloth.name}', which is narrower there"
            return Reason(words, code="together.beyond-edge", figures={"piece": p.piece, "beyond": beyond})
        away = _from_folds(p, spread)
        if p.on_fold and away is None:
            words = f"the fold of '{cloth.name}' does not lie over the fold on which '{p.label}' is cut"
            return Reason(words, code="together.fold-apart", figures={"piece": p.piece})
        error = cut.piece.error
        if away is not None and away < cloth.gap / 2 + error - SLACK:
            found, asked = format_apart(max(away, 0.0), cloth.gap / 2 + error, imperial=listed.imperial)
            words = f"'{p.label}' would lie {found} from a fold, half the gap is {asked}{_with_errors(error)}"
            return Reason(words, code="together.near-fold", figures={"piece": p.piece, "away": max(away, 0.0)})
    return _too_near(listed, cloth, spread, laid)


def why_not_together(listed: CuttingList, cloth: Cloth, sections: Sequence[Section]) -> Reason | None:
    """Why the pieces of all sections cannot be cut from ``cloth`` as one lay; None if they can."""
    if cloth.nap != "by garment":
        return None
    ways: dict[tuple[str, str | None, int], set[int]] = {}
    for p in (p for s in sections for p in s.placements):
        cut = listed.cut(p.piece, p.size)
        allowed = orientation(cut, cloth)
        for turn, state in zip(allowed.turns, allowed.states, strict=True):
            if state is not None and _off(p.turn, turn) <= cut.tilt + 1e-6:
                for copy in p.copies or (p.copy,):
                    ways.setdefault((p.garment, p.size, copy), set()).add(state)
    mixed = next((key for key, states in ways.items() if len(states) > 1), None)
    if mixed is None:
        return None
    words = f"the pieces of {mixed[0]} no. {mixed[2]} would lie both ways of the nap of '{cloth.name}'"
    return Reason(words, code="together.nap", figures={"garment": mixed[0], "copy": mixed[2]})


def _off(a: float, b: float) -> float:
    return abs((a - b + 180.0) % 360.0 - 180.0)


def _turn_refused(cut: CutPiece, cloth: Cloth, p: Placement) -> Reason | None:
    if cut.turn == "any":
        return None
    allowed: Orientation = orientation(cut, cloth)
    grace = (0.0 if p.on_fold else cut.tilt) + 1e-6
    if any(_off(p.turn, turn) <= grace for turn in allowed.turns):
        return None
    reasons = [why for turn, why in allowed.refused if _off(p.turn, turn) <= cut.tilt + 1e-6]
    words = f"'{p.label}' would lie turned by {p.turn:.4g}° on '{cloth.name}'" + (f": {reasons[0]}" if reasons else "")
    return Reason(words, code="together.turn", figures={"piece": p.piece, "turn": p.turn})


def _beyond(p: Placement, spread: Spread) -> float | None:
    """How far a piece reaches beyond its plies across the cloth, mm."""
    near, far = min(y for _, y in p.outline), max(y for _, y in p.outline)
    most = 0.0
    for ply in spread.plies:
        if ply.ply in p.plies:
            low, high = min(y for _, y in ply.region), max(y for _, y in ply.region)
            most = max(most, low - near, far - high)
    return most if most > 1e-6 else None


def _from_folds(p: Placement, spread: Spread) -> float | None:
    """How far a piece lies from the folds of its plies that are not its own, mm (far where there are none); None where
    its own fold edge lies on no fold."""
    least = float("inf")
    own = not p.on_fold
    for fold in spread.folds:
        if not set(fold.plies) & set(p.plies):
            continue
        axis = 1 if fold.along == "x" else 0
        if p.fold is not None and p.on_fold and all(abs(end[axis] - fold.at) <= FOLD_MM / 2 for end in p.fold):
            own = True
            continue
        low, high = min(q[axis] for q in p.outline), max(q[axis] for q in p.outline)
        least = min(least, max(low - fold.at, fold.at - high))
    return least if own else None


def _with_errors(error: float) -> str:
    return " with what pictures may be off" if error > 0.0 else ""


def _too_near(listed: CuttingList, cloth: Cloth, spread: Spread, laid: Sequence[Placement]) -> Reason | None:
    """Two pieces on one ply nearer than the gap and the errors with which both were traced from pictures."""
    from shapely import STRtree
    from shapely.geometry import Polygon

    for ply in spread.plies:
        here = [p for p in laid if ply.ply in p.plies]
        if len(here) < 2:
            continue
        shapes = [Polygon(p.outline) for p in here]
        errors = [listed.cut(p.piece, p.size).piece.error for p in here]
        widest = cloth.gap + sum(sorted(errors)[-2:])
        tree = STRtree(shapes)
        pairs = tree.query(shapes, predicate="dwithin", distance=max(widest - SLACK, 0.0))
        for i, j in pairs.T.tolist():
            if i >= j:
                continue
            names = f"'{here[i].label}' and '{here[j].label}'"
            gap = cloth.gap + errors[i] + errors[j]
            if gap > 0.0:
                apart = float(shapes[i].distance(shapes[j]))
                if apart >= gap - SLACK:
                    continue
                found, asked = format_apart(apart, gap, imperial=listed.imperial)
                why = _with_errors(errors[i] + errors[j])
                words = f"{names} would lie {found} apart, the gap on '{cloth.name}' is {asked}{why}"
                return Reason(words, code="together.gap", figures={"apart": apart, "gap": gap})
            if shapes[i].intersection(shapes[j]).area > OVERLAP_SHARE * min(shapes[i].area, shapes[j].area):
                words = f"{names} would overlap, as both reach a little beyond their leaders"
                return Reason(words, code="together.overlap", figures={"first": here[i].label, "second": here[j].label})
    return None
