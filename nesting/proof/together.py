"""Pieces that are cut together: is the follower at its leader's place, on other plies, facing as the order says?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from nesting.model.lay import Lay, Section
from nesting.model.order import Order, Together
from nesting.proof.counting import Asked, Key
from nesting.proof.following import agreed, leads_from, tolerance_of
from nesting.proof.motion import Array, Motion, lying
from nesting.proof.placing import Judged
from nesting.proof.table import Table
from nesting.proof.verdict import Failure

__all__ = ["check_places_over", "check_together"]


def check_together(
    order: Order, asked: Mapping[Key, Asked], judged: Sequence[Judged], tables: Sequence[Table | None]
) -> list[Failure]:
    """Failures of followers. A follower whose leader is cut from another cloth is judged in that cloth's lay only."""
    failures: list[Failure] = []
    pairs = {(t.leader, t.follower): t for t in order.together}
    for j in judged:
        p = j.placement
        if p.follows is None:
            leaders = [t.leader for t in order.together if t.follower == p.piece]
            if p.second_cloth is None and any((p.garment, p.size, leader) in asked for leader in leaders):
                failures.append(_failure(j, f"is to be cut together with {leaders[0]}, but lies by itself"))
            continue
        together = pairs.get((p.follows, p.piece))
        if together is None:
            failures.append(_failure(j, f"follows {p.follows}, but the order does not cut them together"))
            continue
        mates = [m for m in judged if _is_leader(m, j)]
        if not mates:
            failures.append(_failure(j, f"follows {p.follows}, but that piece of the same garment is not there"))
            continue
        found = [_why_not(m, j, together, tables[j.section]) for m in mates]
        if all(found):
            failures.append(_failure(j, next(why for why in found if why)))
    return failures


def _failure(j: Judged, message: str) -> Failure:
    p = j.placement
    return Failure("together", f"{p.label}: {message}", p.piece, (p.x, p.y), j.section)


def _is_leader(m: Judged, j: Judged) -> bool:
    a, b = m.placement, j.placement
    return (a.piece, a.garment, a.size, a.copy, m.section) == (b.follows, b.garment, b.size, b.copy, j.section)


def _off_place(leader: Judged, follower: Judged, tolerance: float) -> float:
    """How far the follower lies from where the pattern puts it on its leader, by its farthest corner, mm."""
    fits = agreed(leader.cut.piece, follower.cut.piece, tolerance)
    place = leader.motion.after(lying(*fits.shift, fits.turn, fits.flipped))
    outline = follower.pattern.outline
    return float(np.hypot(*(place.points(outline) - follower.motion.points(outline)).T).max())


def _why_not(leader: Judged, follower: Judged, together: Together, table: Table | None) -> str | None:
    name = leader.placement.label
    tolerance = tolerance_of(together)
    outside = follower.outline.difference(leader.outline.buffer(tolerance, join_style="mitre"))
    if outside.area > 0.0:
        return f"is not within its leader {name}: {outside.area:.1f} mm² lie outside"
    off = _off_place(leader, follower, tolerance)
    if off > tolerance:
        return f"is {off:.1f} mm off its place on its leader {name}"
    if follower.placement.second_cloth is not None or table is None:
        return None
    above, below = set(leader.placement.plies), set(follower.placement.plies)
    if above & below:
        return f"is cut through the plies of its leader {name}"
    faces = {table.ply(n).face for n in above}, {table.ply(n).face for n in below}
    same = faces[0] == faces[1] and len(faces[0]) == 1
    facing = not faces[0] & faces[1]
    if together.faces == "same" and not same:
        return f"faces its leader {name}, the order wants both to face the same way"
    if together.faces == "to the leader" and not facing:
        return f"faces the same way as its leader {name}, the order wants it to face it"
    return None


def check_places_over(order: Order, first: Lay, over: Lay, judged: Sequence[Judged]) -> list[Failure]:
    """Failures of pieces of a second cloth that do not lie where their leaders lie on the first, section by section.

    Each section of the second cloth may begin anywhere along the first, with all its pieces.
    """
    leaders = {
        (together.leader, p.garment, p.size)
        for p in over.placements
        if (together := leads_from(order, first.cloth, p.piece, p.garment, p.size)) is not None
    }
    below = [s for s in first.sections if any((p.piece, p.garment, p.size) in leaders for p in s.placements)]
    if len(below) != len(over.sections):
        message = f"{len(below)} section(s) of '{first.cloth}' hold leaders, '{over.cloth}' has {len(over.sections)}"
        return [Failure("together", message)]
    failures: list[Failure] = []
    for number, section in enumerate(below):
        found: list[tuple[Judged, Together, list[Array]]] = []
        for j in judged:
            p = j.placement
            together = leads_from(order, first.cloth, p.piece, p.garment, p.size)
            if j.section != number or together is None:
                continue
            places = [motion.points(j.pattern.outline) for motion in _places_on(order, section, together, j)]
            if places:
                found.append((j, together, places))
            else:
                failures.append(_failure(j, f"its leader {together.leader} is not cut through these plies"))
        if found:
            begin, off = _off_leaders(found)
            failures += off
            own = over.end_allowance if number == 0 else 0.0
            at = begin + section.start + first.end_allowance - own
            tolerance = max(tolerance_of(together) for _, together, _ in found)
            if over.over_at and (number >= len(over.over_at) or not abs(over.over_at[number] - at) <= tolerance):
                said = f"{over.over_at[number]:.1f} mm" if number < len(over.over_at) else "nothing"
                message = f"'{over.cloth}' begins {at:.1f} mm from the cut end of '{first.cloth}', the lay says {said}"
                failures.append(Failure("together", message))
    return failures


def _off_leaders(found: Sequence[tuple[Judged, Together, list[Array]]]) -> tuple[float, list[Failure]]:
    """``found``: followers of one section, with the outlines where they belong; the foremost of both tell how far along
    the first cloth the second begins, mm, which comes first."""
    lies = [j.motion.points(j.pattern.outline) for j, _, _ in found]
    begin = min(place[:, 0].min() for _, _, places in found for place in places) - min(o[:, 0].min() for o in lies)
    failures = []
    for (j, together, places), outline in zip(found, lies, strict=True):
        off = min(float(np.hypot(*(place - (begin, 0.0) - outline).T).max()) for place in places)
        if off > tolerance_of(together):
            failures.append(_failure(j, f"is {off:.1f} mm off its place on its leader {together.leader}"))
    return float(begin), failures


def _places_on(order: Order, section: Section, together: Together, j: Judged) -> list[Motion]:
    """Where the follower belongs on each leader of its own copies and plies, from its grain frame to the table."""
    q = j.placement
    leader = order.cut_piece(together.leader, q.size)
    fits = agreed(leader.piece, j.cut.piece, tolerance_of(together))
    on_leader = lying(*fits.shift, fits.turn, fits.flipped)
    wanted = (together.leader, q.garment, q.size, q.copies or (q.copy,), set(q.plies), q.opened)
    return [
        lying(p.x, p.y, p.turn, p.flipped).after(on_leader)
        for p in section.placements
        if (p.piece, p.garment, p.size, p.copies or (p.copy,), set(p.plies), p.opened) == wanted
    ]
