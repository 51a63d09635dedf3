"""Pieces that are cut together: is the follower at its leader's place, on other plies, facing as the order says?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np

from nesting.order import Order, Together
from nesting.pieces.piece import Piece
from nesting.pieces.together import Agreement, agreement
from nesting.proof.counting import Asked, Key
from nesting.proof.motion import lying
from nesting.proof.placing import Judged
from nesting.proof.table import Table
from nesting.proof.verdict import Failure
from nesting.tolerances import TOGETHER_MM

__all__ = ["check_together"]


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


@lru_cache(maxsize=256)
def _agreed(leader: Piece, follower: Piece, tolerance: float) -> Agreement:
    return agreement(leader, follower, tolerance)


def _off_place(leader: Judged, follower: Judged, tolerance: float) -> float:
    """How far the follower lies from where the pattern puts it on its leader, by its farthest corner, mm."""
    agreed = _agreed(leader.cut.piece, follower.cut.piece, tolerance)
    place = leader.motion.after(lying(*agreed.shift, agreed.turn, agreed.flipped))
    outline = follower.pattern.outline
    return float(np.hypot(*(place.points(outline) - follower.motion.points(outline)).T).max())


def _why_not(leader: Judged, follower: Judged, together: Together, table: Table | None) -> str | None:
    name = leader.placement.label
    tolerance = together.tolerance if together.tolerance is not None else TOGETHER_MM
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
