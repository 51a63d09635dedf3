"""From an order to its cutting list, once."""

from __future__ import annotations

from collections.abc import Iterator

from nesting.model.order import Cloth, CutPiece, Garment, Order, Together
from nesting.pieces.agreement import Agreement, agreement
from nesting.pieces.sewn import sizes_of
from nesting.resolving.cutting_list import Agreed, CuttingList, GarmentEntry, Hand, Pair, PieceEntry
from nesting.resolving.hands import handless
from nesting.resolving.matching import matched_seams
from nesting.resolving.openings import round_of

__all__ = ["resolve"]


def resolve(order: Order) -> CuttingList:
    """The order's cutting list. OrderError for a trim or an opening along an edge that its piece does not have."""
    found = _Resolving(order)
    garments = tuple(found.entry(garment) for garment in order.garments)
    sizes = dict.fromkeys(entry.cut.size for garment in garments for entry in garment.pieces)
    return CuttingList(
        order.title,
        order.imperial,
        order.path,
        order.sha256,
        order.cloths,
        garments,
        order.remnants,
        order.trims,
        order.openings,
        tuple(seam for size in sizes for seam in matched_seams(order, size)),
        tuple(found.agreed()),
        order.do_not_cut,
    )


class _Resolving:
    """What is found on the way, so that each piece and pair is looked into once."""

    def __init__(self, order: Order) -> None:
        self._order = order
        self._cloths = {cloth.name: cloth for cloth in order.cloths}
        self._fits: dict[tuple[int, str | None, str | None], Agreement] = {}
        self._handless: dict[tuple[str, str | None, str], bool] = {}

    def entry(self, garment: Garment) -> GarmentEntry:
        """One garment with its pieces, and what goes round it."""
        cuts = {name: self._order.cut_piece(name, garment.size) for name in garment.pieces}
        pairs = tuple(self._pairs(garment, cuts))
        return GarmentEntry(
            garment.name,
            garment.size,
            garment.count,
            tuple(self._piece(garment, cuts[name], pairs) for name in garment.pieces),
            garment.value,
            garment.same_cloth,
            tuple(round_of(self._order, trim, garment) for trim in self._order.trims),
            tuple(round_of(self._order, opening, garment) for opening in self._order.openings),
            garment.most,
            garment.ratio,
        )

    def agreed(self) -> Iterator[Agreed]:
        """Every rule that cuts pieces together, in each size in which both are drawn."""
        for number, rule in enumerate(self._order.together):
            for size in sizes_of(self._order.pieces, (rule.leader, rule.follower)):
                leader, follower = (self._order.cut_piece(name, size) for name in (rule.leader, rule.follower))
                yield Agreed(size, rule, leader, follower, self._fit(number, rule, leader, follower))

    def _fit(self, number: int, rule: Together, leader: CutPiece, follower: CutPiece) -> Agreement:
        key = (number, leader.size, follower.size)
        if key not in self._fits:
            self._fits[key] = agreement(leader.piece, follower.piece, rule.tolerance)
        return self._fits[key]

    def _pairs(self, garment: Garment, cuts: dict[str, CutPiece]) -> Iterator[Pair]:
        for number, together in enumerate(self._order.together):
            if together.leader not in cuts or together.follower not in cuts:
                continue
            leader, follower = cuts[together.leader], cuts[together.follower]
            first, second = (self._order.cloth_of(garment, cut) for cut in (leader, follower))
            yield Pair(
                number,
                garment.name,
                garment.size,
                leader,
                follower,
                (first, second),
                together.faces,
                together.tolerance,
                self._fit(number, together, leader, follower),
                self._without_hand(follower, second),
            )

    def _piece(self, garment: Garment, cut: CutPiece, pairs: tuple[Pair, ...]) -> PieceEntry:
        cloth = self._order.cloth_of(garment, cut)
        leads = tuple(pair for pair in pairs if pair.leader.name == cut.name)
        follows = next((pair for pair in pairs if pair.follower.name == cut.name), None)
        by_hand = _by_hand(cut, follows)
        alone: tuple[Hand | None, ...] = (None,) * cut.cut if self._without_hand(cut, cloth) else by_hand
        # where a piece whose hands differ is cut together with this one, it matters how this one lies
        together = by_hand if any(not pair.handless for pair in leads) else alone
        return PieceEntry(cut, cloth, together, alone, leads, follows)

    def _without_hand(self, cut: CutPiece, cloth: str) -> bool:
        key = (cut.name, cut.size, cloth)
        if key not in self._handless:
            stuff: Cloth | None = self._cloths.get(cloth)
            self._handless[key] = stuff is None or handless(cut, stuff)
        return self._handless[key]


def _by_hand(cut: CutPiece, follows: Pair | None) -> tuple[Hand | None, ...]:
    """The hands of a piece whose right and left differ.

    A follower comes out as its leader lies: one cut goes through both, so that with the right sides of both facing the
    same way it comes out as it lies on its leader's drawing, facing the leader as the mirror image of that. Cut by
    itself it is to be the same.
    """
    if cut.mirrored:
        return ("right", "left") * (cut.cut // 2)
    left = follows is not None and (follows.faces == "to the leader") != follows.fits.flipped
    return ("left" if left else "right",) * cut.cut
