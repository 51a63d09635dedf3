"""Why the remnants give no more: the figure or the piece that proves it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from nesting.model.order import Remnant
from nesting.planning.leftovers.cloth_pieces import Kind, PieceClass, Unit
from nesting.planning.leftovers.knowledge import Knowledge

__all__ = ["why_no_more"]


def why_no_more(
    kinds: Sequence[Kind],
    remnants: Sequence[Remnant],
    room: Mapping[str, float],
    areas: Mapping[PieceClass, float],
    known: Knowledge,
    placed: Sequence[Unit],
    made: Sequence[int],
    proved: bool,
    imperial: bool = False,
) -> str | None:
    """Why not one (more) garment can be cut, with the figure or the first piece that proves it."""
    missing = [i for i, (k, n) in enumerate(zip(kinds, made, strict=True)) if n < k.count]
    if not missing:
        return None
    for i in missing:
        for c, _ in kinds[i].needs:
            here = [r for r in remnants if r.cloth == c.cloth]
            if all(_cannot_alone(c, r, room, areas, known) for r in here):
                many = "the remnant" if len(here) == 1 else f"any of the {len(here)} remnants"
                reasons = (f"{r.name}: {why}" for r in here if (why := known.why_not_alone(r, c)) is not None)
                return "; ".join(
                    (
                        f"{kinds[i].label}: piece '{_called(c, kinds[i])}' cannot lie on {many} of '{c.cloth}', "
                        "not even alone",
                        *reasons,
                    )
                )
    texts = [
        _area_reason(kinds[i], remnants, room, areas, placed, imperial)
        or _places_reason(kinds, i, remnants, room, areas, known, placed)
        for i in missing
    ]
    found = [text for text in texts if text]
    if len(found) == len(texts):
        return found[0]
    if proved:
        return (
            "no division of the pieces over the remnants gives more: proved from the areas and from what cannot lie "
            "where (see what was refused)"
        )
    return "the search found no room for more in its time; that there is none is not proved"


def _called(c: PieceClass, kind: Kind) -> str:
    """The piece for people: with its hand only where the garment has one of the other hand as well."""
    both = {other.hand for other, _ in kind.needs if (other.piece, other.size) == (c.piece, c.size)}
    return c.label if len(both) > 1 else " ".join(part for part in (c.piece, c.size) if part)


def _places_reason(
    kinds: Sequence[Kind],
    i: int,
    remnants: Sequence[Remnant],
    room: Mapping[str, float],
    areas: Mapping[PieceClass, float],
    known: Knowledge,
    placed: Sequence[Unit],
) -> str | None:
    """A piece for which there are too few places by area on the remnants that can hold it at all."""
    for c, n in kinds[i].needs:
        here = [r for r in remnants if r.cloth == c.cloth and not _cannot_alone(c, r, room, areas, known)]
        places = sum(math.floor(room[r.name] / areas[c] * (1 + 1e-9)) for r in here)
        taken = sum(u.kind == c for u in placed)
        if taken + n > places:
            return (
                f"{kinds[i].label}: piece '{_called(c, kinds[i])}' finds at most {places} places on the remnants that "
                "can hold it "
                f"({', '.join(r.name for r in here) or 'none'}), and {taken} are taken"
            )
    return None


def _cannot_alone(
    c: PieceClass, r: Remnant, room: Mapping[str, float], areas: Mapping[PieceClass, float], known: Knowledge
) -> bool:
    if areas[c] > room[r.name] * (1 + 1e-9):
        return True
    return known.alone_is_refused(r, c)


def _area_reason(
    kind: Kind,
    remnants: Sequence[Remnant],
    room: Mapping[str, float],
    areas: Mapping[PieceClass, float],
    placed: Sequence[Unit],
    imperial: bool,
) -> str | None:
    """The proof by area for one more of this garment, None where there would be area enough."""
    for cloth in dict.fromkeys(c.cloth for c, _ in kind.needs):
        there = sum(room[r.name] for r in remnants if r.cloth == cloth)
        taken = sum(areas[u.kind] for u in placed if u.kind.cloth == cloth)
        one = sum(areas[c] * n for c, n in kind.needs if c.cloth == cloth)
        if taken + one > there * (1 + 1e-9):
            wanted, left = _areas_apart(one, there - taken, imperial)
            all_, _ = _areas_apart(there, there, imperial)
            return (
                f"{kind.label}: one more takes {wanted} of '{cloth}', but of the remnants' {all_} only "
                f"{left} are left"
            )
        largest = max((room[r.name] for r in remnants if r.cloth == cloth), default=0.0)
        if kind.same_cloth and one > largest * (1 + 1e-9):
            wanted, has = _areas_apart(one, largest, imperial)
            return (
                f"{kind.label}: all its pieces of '{cloth}' are to come from one remnant and take {wanted}, but "
                f"the largest has {has}"
            )
    return None


def _areas_apart(a: float, b: float, imperial: bool) -> tuple[str, str]:
    """Two areas in mm² for people, as finely as they must be written to differ."""
    unit, size = ("sq in", 25.4**2) if imperial else ("cm²", 100.0)
    for decimals in range(5):
        one, other = (f"{area / size:.{decimals}f}" for area in (a, b))
        if one != other:
            return f"{one} {unit}", f"{other} {unit}"
    return f"{a / size:.0f} {unit}", f"{b / size:.0f} {unit}"
