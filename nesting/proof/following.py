"""What follows for a piece that is cut together with its leader: its hand, and how a second cloth has to lie."""

from __future__ import annotations

from functools import lru_cache

from nesting.model.lay import Lay
from nesting.model.order import Garment, Order, Together
from nesting.model.piece import Piece
from nesting.model.tolerances import TOGETHER_MM
from nesting.pieces.agreement import Agreement, agreement
from nesting.proof.verdict import Failure

__all__ = ["agreed", "cut_loose", "leads_from", "left_on_leader", "lies_over", "tolerance_of"]


def tolerance_of(together: Together) -> float:
    """How far the two outlines may differ, mm."""
    return TOGETHER_MM if together.tolerance is None else together.tolerance


@lru_cache(maxsize=256)
def agreed(leader: Piece, follower: Piece, tolerance: float) -> Agreement:
    """How the follower lies on its leader by their drawings, worked out once for each pair."""
    return agreement(leader, follower, tolerance)


def _together(order: Order, garment: Garment, name: str) -> Together | None:
    return next((t for t in order.together if t.follower == name and t.leader in garment.pieces), None)


def left_on_leader(order: Order, garment: Garment, name: str) -> bool:
    """Whether the garment wants that piece, by its leader, as the mirror image of its drawing.

    One cut goes through both. If their right sides face each other, one of the two is seen from its wrong side; and the
    follower may be drawn as the mirror image of its leader in the first place.
    """
    together = _together(order, garment, name)
    if together is None:
        return False
    leader, follower = (order.cut_piece(n, garment.size).piece for n in (together.leader, name))
    drawn_mirrored = agreed(leader, follower, tolerance_of(together)).flipped
    return drawn_mirrored != (together.faces == "to the leader")


def leads_from(order: Order, cloth: str, name: str, garment: str, size: str | None) -> Together | None:
    """How that piece is cut together with a leader that its garment cuts from ``cloth``, None if it is not."""
    for entry in order.garments:
        if (entry.name, entry.size) == (garment, size) and name in entry.pieces:
            together = _together(order, entry, name)
            if together is not None:
                leader = order.cut_piece(together.leader, size)
                if order.cloth_of(entry, leader) == cloth:
                    return together
    return None


def cut_loose(lay: Lay, order: Order) -> list[Failure]:
    """Failures of a lay whose pieces the order cuts together with leaders of another cloth, but that neither lies over
    that cloth nor says why it cannot. Leftovers and parts of a batch are cut by themselves."""
    if lay.leaders_on is not None or lay.apart is not None or lay.remnant is not None or lay.part is not None:
        return []
    others = [cloth.name for cloth in order.cloths if cloth.name != lay.cloth]
    for name, garment, size in dict.fromkeys((p.piece, p.garment, p.size) for p in lay.placements):
        for cloth in others:
            together = leads_from(order, cloth, name, garment, size)
            if together is not None:
                message = (
                    f"{name} of {garment} is to be cut together with {together.leader} of '{cloth}', but this lay does "
                    "not lie over that cloth"
                )
                return [Failure("together", message, name)]
    return []


def lies_over(lay: Lay, order: Order) -> tuple[list[Failure], bool, int | None]:
    """(failures, whether the cloth lies turned over, how many plies it is stacked in) of a cloth that is said to lie
    over another: all its pieces follow leaders of that cloth, and face them alike. None: as its own order says."""
    if lay.over is None:
        return [], False, None
    first = next((c for c in order.cloths if c.name == lay.over and c.name != lay.cloth), None)
    if first is None:
        message = f"the lay is said to lie over '{lay.over}', which is no other cloth of the order"
        return [Failure("order", message)], False, None
    failures: list[Failure] = []
    faces: dict[str, str] = {}
    for name, garment, size in dict.fromkeys((p.piece, p.garment, p.size) for p in lay.placements):
        together = leads_from(order, lay.over, name, garment, size)
        if together is None:
            message = f"{name} of {garment} follows no piece of '{lay.over}', over which this cloth is said to lie"
            failures.append(Failure("together", message, name))
        else:
            faces.setdefault(together.faces, name)
    if len(faces) > 1:
        one, other = faces["to the leader"], faces["same"]
        message = f"{one} is to face its leader and {other} the same way as its own: one cloth cannot lie both ways"
        failures.append(Failure("together", message, one))
    return failures, "to the leader" in faces, first.plies
