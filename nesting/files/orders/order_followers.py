"""Followers that are cut from the shape of their leaders: which, and what is told about them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from shapely.geometry import LinearRing

from nesting.files.orders.order_joins import PieceKey
from nesting.files.orders.order_pieces import Asked, Drawn, as_drawn
from nesting.model.errors import NestingError, PatternError
from nesting.model.findings import Finding
from nesting.model.order import CutPiece, Together
from nesting.pieces.agreement import agreement
from nesting.pieces.from_leader import Shared, cut_from_leader, shared_edges
from nesting.pieces.prepare import sound_ring
from nesting.pieces.sewn import allowance_along, piece_of

__all__ = ["shaped_by_leaders"]

#: mm. A follower that differs by less is left as it is.
_ALIKE_MM = 0.01
#: mm. A finish that the follower states for itself keeps its edge its own where its allowance differs by more.
_FINISH_MM = 0.5


def shaped_by_leaders(
    pieces: Sequence[CutPiece],
    together: Sequence[Together],
    drawn: Mapping[PieceKey, Drawn],
    asked: Mapping[PieceKey, Asked],
) -> tuple[tuple[CutPiece, ...], tuple[Finding, ...]]:
    """The pieces, followers with their leader's shape where the order says so or, where it says nothing, both were
    drawn alike and the follower is not altered by itself; and a note for each.

    Raises PatternError where the order asks for the leader's shape and no sound shape comes of it.
    """
    now = list(pieces)
    told: list[Finding] = []
    for pair in together:
        if pair.shape == "own":
            continue
        for k, follower in enumerate(now):
            if follower.name != pair.follower:
                continue
            leader = piece_of(now, pair.leader, follower.size)
            if leader is None:
                continue
            keys = _key(leader, drawn), _key(follower, drawn)
            shaped = _shaped(pair, leader, follower, keys, drawn, asked)
            if shaped is not None:
                now[k] = shaped[0]
                told.append(shaped[1])
    return tuple(now), tuple(told)


def _key(cut: CutPiece, drawn: Mapping[PieceKey, Drawn]) -> PieceKey:
    return next(key for key in drawn if key == (cut.name, cut.size))


def _shaped(
    pair: Together,
    leader: CutPiece,
    follower: CutPiece,
    keys: tuple[PieceKey, PieceKey],
    drawn: Mapping[PieceKey, Drawn],
    asked: Mapping[PieceKey, Asked],
) -> tuple[CutPiece, Finding] | None:
    ours, theirs = (asked[key] for key in keys)
    if pair.shape is None and not any(one.alterations or one["finish"] or one["allowance"] for one in (ours, theirs)):
        return None  # both are cut as drawn
    if pair.shape is None and any(change not in ours.alterations for change in theirs.alterations):
        return None  # altered by itself, so it is meant to differ
    try:
        shared = shared_edges(
            as_drawn(drawn[keys[0]], ours), as_drawn(drawn[keys[1]], theirs), pair.tolerance
        )
        if pair.shape is None and not shared.alike:
            return None
        edges = shared.edges - _own_edges(leader, follower, theirs, shared)
        if not edges:
            return None if pair.shape is None else _refuse(follower, pair)
        piece = cut_from_leader(leader.piece, follower.piece, edges, pair.tolerance)
        piece = replace(
            piece, outline=sound_ring(piece.outline, "cut outline", file=piece.file, piece=piece.label)
        )
    except NestingError:
        if pair.shape is None:
            return None  # judged as it is, and told where it differs
        raise
    moved = LinearRing(piece.outline).hausdorff_distance(LinearRing(follower.piece.outline))
    if moved <= _ALIKE_MM:
        return None
    if pair.shape is None and not agreement(leader.piece, piece, pair.tolerance).agrees:
        return None
    why = "as both were drawn alike there" if shared.alike else "as the order says"
    message = (
        f"cut from the shape of '{pair.leader}' along {', '.join(sorted(_named(edges)))}, {why}; by itself it would be "
        f'up to {moved:.1f} mm off that (shape = "own" in its [[together]] leaves it so)'
    )
    note = Finding(
        "note",
        message,
        piece.file,
        piece.label,
        code="together.from-leader",
        figures={"off": moved, "leader": pair.leader},
    )
    return replace(follower, piece=piece), note


def _named(edges: frozenset[str]) -> list[str]:
    named = [name for name in edges if not name.replace("-", "").isdigit()]
    return named or sorted(edges)


def _refuse(follower: CutPiece, pair: Together) -> tuple[CutPiece, Finding] | None:
    raise PatternError(
        f"it is to be cut from the shape of '{pair.leader}', but as drawn none of its edges runs along that piece's: "
        'draw them alike where they are to be, or write shape = "own" in the [[together]] block',
        file=follower.piece.file,
        piece=follower.piece.label,
        code="together.shape",
    )


def _own_edges(leader: CutPiece, follower: CutPiece, theirs: Asked, shared: Shared) -> frozenset[str]:
    """Edges that the follower keeps for itself though both were drawn alike: cut short of a fold-back, or finished in
    its own way."""
    own = {name for name, _ in theirs["trim_short"]}
    for name, _ in theirs["finish"]:
        if name == "*" or name not in shared.edges:
            continue
        mine = allowance_along(follower.piece, name)
        same = next((e.name for e in leader.piece.edges if e.name == name), None)
        if same is None or mine is None:
            continue
        others = allowance_along(leader.piece, same)
        if others is not None and abs(mine - others) > _FINISH_MM:
            own.add(name)
    return frozenset(own)
