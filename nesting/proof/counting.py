"""Whether the cloth pieces that come off are those that the garments need: how many, right or left, for which copy."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from nesting.model.lay import Lay, Placement
from nesting.model.order import Cloth, CutPiece, Order
from nesting.proof.following import left_on_leader
from nesting.proof.holding import Held
from nesting.proof.pattern import plain
from nesting.proof.turning import heading
from nesting.proof.unfold import ClothPiece
from nesting.proof.verdict import Failure

__all__ = ["Asked", "Key", "asked_of", "check_counts", "garment_failures", "handless"]

Key = tuple[str, str | None, str]


@dataclass(frozen=True)
class Asked:
    """One piece of one garment and size: ``cut`` cloth pieces for each of ``copies``, or as many as ``held`` says for
    that copy, by hand, where the rest of the garment comes from elsewhere."""

    cut: CutPiece
    garment: str
    size: str | None
    copies: tuple[int, ...]
    held: Mapping[int, Counter[str]] | None = None
    #: copies that want the piece, if it is not cut in pairs, as the mirror image of its drawing
    left: frozenset[int] = frozenset()

    def need(self, copy: int) -> int:
        """Cloth pieces for that copy."""
        return self.cut.cut if self.held is None else self.held[copy].total()

    def rights(self, copy: int) -> int:
        """How many of them are right ones."""
        if self.held is not None:
            return self.held[copy]["right"]
        if self.cut.mirrored:
            return (self.cut.cut + 1) // 2
        return 0 if copy in self.left else self.cut.cut


def counts_of(order: Order) -> dict[tuple[str, str | None], int]:
    """How many of each garment and size the order asks for."""
    total: Counter[tuple[str, str | None]] = Counter()
    for garment in order.garments:
        total[garment.name, garment.size] += garment.count
    return dict(total)


def asked_of(
    order: Order, cloth: str, counts: Mapping[tuple[str, str | None], int] | None, held: Held | None = None
) -> dict[Key, Asked]:
    """What is to be cut from ``cloth``: the order's garments, or ``counts`` of them, or the parts of them that are
    ``held``. Copies are numbered from 1."""
    asked: dict[Key, Asked] = {}
    if held is not None:
        for (name, size, piece), parts in held.items():
            if any((g.name, g.size) == (name, size) and piece in g.pieces for g in order.garments):
                cut = order.cut_piece(piece, size)
                asked[name, size, piece] = Asked(cut, name, size, tuple(sorted(parts)), parts)
        return asked
    used: Counter[tuple[str, str | None]] = Counter()
    for garment in order.garments:
        key = (garment.name, garment.size)
        count = garment.count
        if counts is not None:
            # entries of the same garment take their copies from the count in turn, the first as much as there is
            count = counts.get(key, 0) - used[key]
        first, used[key] = used[key] + 1, used[key] + count
        for name in garment.pieces:
            cut = order.cut_piece(name, garment.size)
            if count <= 0 or order.cloth_of(garment, cut) != cloth:
                continue
            piece_key = (garment.name, garment.size, name)
            before = asked.get(piece_key, Asked(cut, garment.name, garment.size, ()))
            new = range(first, first + count)
            left = frozenset(new) if left_on_leader(order, garment, name) else frozenset()
            asked[piece_key] = replace(before, copies=(*before.copies, *new), left=before.left | left)
    return asked


def handless(cut: CutPiece, cloth: Cloth) -> bool:
    """Whether right and left make no difference: the cloth has no right side, the maker says that alike will do, the
    piece is its own mirror image, or it is opened out over a fold along its grain."""
    if cut.alike_ok or not cloth.right_side:
        return True
    fold = cut.piece.fold
    if fold is None:
        return plain(cut.piece).symmetric
    along_grain = abs(fold[0][1] - fold[1][1]) < 0.01 * abs(fold[0][0] - fold[1][0])
    # An opened-out half is its own mirror image over the fold; across the grain only if it may lie either way round.
    return along_grain or cloth.nap == "none"


def check_counts(
    order: Order,
    cloth: Cloth,
    asked: Mapping[Key, Asked],
    placements: tuple[Placement, ...],
    pieces: Iterable[ClothPiece],
    surplus: bool,
) -> list[Failure]:
    """Failures of number, copy, hand and, with nap by garment, of garments whose pieces do not all lie one way."""
    failures: list[Failure] = []
    yielded: dict[int, list[ClothPiece]] = {}
    for piece in pieces:
        yielded.setdefault(piece.placement, []).append(piece)
    groups: dict[Key, list[int]] = {key: [] for key in asked}
    for i, p in enumerate(placements):
        key = (p.garment, p.size, p.piece)
        if p.second_cloth is not None:
            continue
        if key not in asked:
            message = f"{p.label} of {p.garment} is not among the pieces to be cut from {cloth.name}"
            failures.append(Failure("count", message, p.piece, (p.x, p.y)))
            continue
        groups[key].append(i)
    headings: dict[tuple[str, str | None, int], set[str]] = {}
    for key, members in groups.items():
        failures += _check_group(cloth, asked[key], members, placements, yielded, surplus)
        if cloth.nap == "by garment":
            for i in members:
                way = heading(asked[key].cut, placements[i].turn)
                for copy in _copies(placements[i]) if way else ():
                    headings.setdefault((key[0], key[1], copy), set()).add(way or "")
    for (garment, size, copy), ways in headings.items():
        if len(ways) > 1:
            failures.append(
                Failure("turn", f"garment {_named(garment, size)} no. {copy}: its pieces lie both ways of the nap")
            )
    return failures


def _check_group(
    cloth: Cloth,
    asked: Asked,
    members: list[int],
    placements: tuple[Placement, ...],
    yielded: Mapping[int, list[ClothPiece]],
    surplus: bool,
) -> list[Failure]:
    failures: list[Failure] = []
    cut = asked.cut
    what = f"{cut.piece.label} of {_named(asked.garment, asked.size)}"
    pieces = [piece for i in members for piece in yielded.get(i, [])]
    total, wanted = len(pieces), sum(map(asked.need, asked.copies))
    found = {"asked": wanted, "cut": total}
    if total < wanted or (total > wanted and not surplus):
        failures.append(Failure("count", f"{what}: {wanted} asked for, {total} are cut", cut.name, figures=found))
    for i in members:
        p, given = placements[i], len(yielded.get(i, []))
        if p.gives != given:
            message = f"{p.label} is said to give {p.gives} cloth piece(s), it gives {given}"
            said = {"said": p.gives, "given": given}
            failures.append(Failure("count", message, p.piece, (p.x, p.y), figures=said))
    handed = not handless(cut, cloth)
    rights = sum(piece.hand == "right" for piece in pieces)
    if handed and total == wanted:
        right = sum(map(asked.rights, asked.copies))
        if rights != right:
            failures.append(
                Failure(
                    "hand",
                    f"{what}: {right} right and {wanted - right} left asked for, "
                    f"{rights} right and {total - rights} left are cut",
                    cut.name,
                    figures={"asked_right": right, "cut_right": rights},
                )
            )
    return failures + _check_copies(asked, what, members, placements, yielded, surplus, handed)


def _check_copies(
    asked: Asked,
    what: str,
    members: list[int],
    placements: tuple[Placement, ...],
    yielded: Mapping[int, list[ClothPiece]],
    surplus: bool,
    handed: bool,
) -> list[Failure]:
    """Each copy of the garment gets its pieces; right and left as well where one placement serves one copy."""
    failures: list[Failure] = []
    got: Counter[int] = Counter()
    hands: dict[int, Counter[str]] = {}
    certain = True
    for i in members:
        p, pieces = placements[i], yielded.get(i, [])
        copies = _copies(p)
        if p.copy not in copies:
            message = f"{p.label} is numbered {p.copy}, but said to serve copies {list(copies)}"
            failures.append(Failure("copy", message, p.piece, (p.x, p.y)))
        if pieces and len(pieces) % len(copies):
            message = f"{p.label} gives {len(pieces)} cloth pieces, which cannot serve copies {list(copies)}"
            failures.append(Failure("copy", message, p.piece, (p.x, p.y)))
            continue
        for copy in copies:
            got[copy] += len(pieces) // len(copies)
        certain = certain and len(set(copies)) == 1
        for piece in pieces:
            hands.setdefault(copies[0], Counter())[piece.hand] += 1
    short = [copy for copy in asked.copies if got[copy] < asked.need(copy)]
    over = [copy for copy in sorted(got) if got[copy] > (asked.need(copy) if copy in asked.copies else 0)]
    if short or (over and not surplus):
        if asked.held is None:
            parts = [f"no. {copy} gets {got[copy]}" for copy in (*short, *over)]
            message = f"{what}: each garment needs {asked.cut.cut}, but {', '.join(parts)}"
        else:
            needs = {copy: asked.need(copy) if copy in asked.copies else 0 for copy in (*short, *over)}
            message = f"{what}: " + ", ".join(f"no. {c} is to get {n} here and gets {got[c]}" for c, n in needs.items())
        failures.append(Failure("copy", message, asked.cut.name))
    elif handed and certain:
        wrong = [
            copy
            for copy in asked.copies
            if got[copy] == asked.need(copy) and hands[copy]["right"] != asked.rights(copy)
        ]
        if wrong:
            parts = [
                f"no. {c} needs {asked.rights(c)} right and {asked.need(c) - asked.rights(c)} left, "
                f"gets {hands[c]['right']} right and {hands[c]['left']} left"
                for c in wrong
            ]
            message = f"{what}: {', '.join(parts)}"
            failures.append(Failure("hand", message, asked.cut.name))
    return failures


def _copies(p: Placement) -> tuple[int, ...]:
    return p.copies or (p.copy,)


def _named(garment: str, size: str | None) -> str:
    return f"{garment} {size}" if size else garment


def garment_failures(
    lay: Lay,
    asked: Mapping[Key, Asked],
    counts: Mapping[tuple[str, str | None], int],
    areas: Mapping[tuple[str, str | None], float],
) -> list[Failure]:
    """Whether the garments that the lay lists are those that take pieces from this cloth, with their length shares.

    ``areas``: cut area per garment and size, mm².
    """
    failures: list[Failure] = []
    here: dict[tuple[str, str | None], int] = {}
    of: dict[tuple[str, str | None], set[int]] = {}
    for (garment, size, _), a in asked.items():
        # two pieces held may belong to two garments
        of.setdefault((garment, size), set()).update(a.copies if a.held is not None else ())
        here[garment, size] = max(here.get((garment, size), 0), len(a.copies), len(of[garment, size]))
    said: Counter[tuple[str, str | None]] = Counter()
    for share in lay.garments:
        said[share.name, share.size] += share.count
    for key in {**here, **said}:
        if said[key] not in {here.get(key, 0), counts.get(key, 0) if key in here else 0}:
            failures.append(
                Failure("garments", f"{_named(*key)}: the lay lists {said[key]}, {here.get(key, 0)} are asked for")
            )
    if failures:
        return failures
    whole = sum(areas.values())
    for share in lay.garments:
        key = (share.name, share.size)
        # by the length the lay states: if that is wrong, it is told once, not for each garment again
        fair = lay.buy_length * areas.get(key, 0.0) / whole / share.count if whole and share.count else 0.0
        if abs(share.length_each - fair) > 0.01 + 1e-6 * fair:
            failures.append(
                Failure(
                    "garments",
                    f"{_named(*key)}: its share of the length is {fair:.2f} mm each by cut area, "
                    f"the lay says {share.length_each:.2f} mm",
                    figures={"found": fair, "said": share.length_each},
                )
            )
    return failures
