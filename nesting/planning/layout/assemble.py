"""Jobs on a spread become a packing problem, and its layout becomes placements.

The packing frame is the table's, except for a crosswise fold: its fold moves with the lay length, so that the table is
turned by 180° and the fold lies at x = 0.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from nesting.cloth.orientation import Orientation, orientation
from nesting.cloth.spreads import make_spread
from nesting.model.errors import CannotLayError
from nesting.model.lay import Placement, Spread, placed
from nesting.model.order import Cloth, CutPiece, Remnant
from nesting.model.piece import Piece
from nesting.model.tolerances import BOUND_MM, REPEAT_MM
from nesting.packing.problem import Item, Place, Pose, Problem, Region, outline_of
from nesting.planning.cut_together.followers import follower_motion
from nesting.planning.layout.demand import Need, Stack
from nesting.planning.layout.jobs import Job, JobStyle, jobs_for
from nesting.planning.layout.posing import PoseMeta, poses_of
from nesting.planning.layout.shapes import outline_at_origin, whole
from nesting.resolving.cutting_list import CuttingList

__all__ = ["Assembly", "NeedKey", "assemble", "with_length"]

#: (piece, garment, size, copy) of a cloth piece
NeedKey = tuple[str, str, str | None, int]

#: mm. The nominal length of a spread whose length is to be found (only its rectangle's y extent counts).
NOMINAL_LENGTH = 1000.0


@dataclass(frozen=True)
class Assembly:
    """A packing problem and what its items and poses mean."""

    problem: Problem
    spread: Spread
    jobs: tuple[Job, ...]
    metas: tuple[tuple[PoseMeta, ...], ...]
    refused_turns: tuple[tuple[str, float, str], ...]
    cloth: Cloth
    remnant: Remnant | None

    @property
    def turned_end(self) -> bool:
        """Whether the packing frame is the table turned by 180°."""
        return self.spread.kind == "crosswise fold"

    def placements(self, places: Iterable[Place]) -> tuple[tuple[Placement, ...], float]:
        """The placements of a layout on the table, and the lay length (mm)."""
        drafts: list[tuple[Job, PoseMeta, Place]] = []
        places = self._at_the_cut_end(tuple(places))
        for place in places:
            drafts.append((self.jobs[place.item], self.metas[place.item][place.pose], place))
        length = max((place.x + self._reach(job, meta, place)[1] for job, meta, place in drafts), default=0.0)
        result: list[Placement] = []
        for job, meta, place in drafts:
            x, y, turn = place.x, place.y, self._turn(meta, place)
            if self.turned_end:
                # In the packing frame the fold is x = 0 and the table's end lies at the farthest cut edge.
                x, y, turn = length - x, self.spread.table_width - y, (turn + 180.0) % 360.0
            result += _placements_of(job, meta, placed_piece(job, meta, x, y, turn), x, y, turn)
        return tuple(result), length

    @property
    def slides(self) -> bool:
        """Whether a whole layout may be moved along the cloth: nothing ties it to a place along x."""
        free = all(pose.x is None for item in self.problem.items for pose in item.poses)
        return free and self.remnant is None and not any(item.fixed for item in self.problem.items)

    def _at_the_cut_end(self, places: tuple[Place, ...]) -> tuple[Place, ...]:
        """The layout moved so that its first outline begins at x = 0."""
        if not places or not self.slides or self.turned_end:
            return places
        begin = min(p.x + self._reach(self.jobs[p.item], self.metas[p.item][p.pose], p)[0] for p in places)
        return tuple(replace(p, x=p.x - begin) for p in places)

    def from_zero(self, places: tuple[Place, ...]) -> tuple[Place, ...]:
        """Places whose outlines begin at x = 0, or where a fold lets them."""
        if not places or not self.slides:
            return places
        poses = [self.problem.items[p.item].poses[p.pose] for p in places]
        begin = min(
            p.x + float(outline_of(pose)[:, 0].min()) - pose.left for p, pose in zip(places, poses, strict=True)
        )
        return tuple(replace(p, x=p.x - begin) for p in places)

    def _turn(self, meta: PoseMeta, place: Place) -> float:
        """The turn in the packing frame."""
        turn = (meta.turn + place.tilt) % 360.0
        return (turn + 180.0) % 360.0 if self.turned_end else turn

    def _reach(self, job: Job, meta: PoseMeta, place: Place) -> tuple[float, float]:
        """How far the piece's outline reaches along x from its reference point, down and up."""
        piece = job.needs[0].cut.piece
        xs = outline_at_origin(whole(piece) if meta.opened else piece, self._turn(meta, place), meta.flipped)[:, 0]
        return float(xs.min()), float(xs.max())


def placed_piece(job: Job, meta: PoseMeta, x: float, y: float, turn: float) -> Piece:
    """The job's piece (opened out if the pose says so) as it lies."""
    piece = job.needs[0].cut.piece
    return placed(whole(piece) if meta.opened else piece, x, y, turn, meta.flipped)


def _placements_of(job: Job, meta: PoseMeta, piece: Piece, x: float, y: float, turn: float) -> list[Placement]:
    need = job.needs[0]
    plies = meta.leader_plies or meta.plies

    def one(cut: CutPiece, shape: Piece, on: tuple[int, ...], gives: int, follows: str | None) -> Placement:
        return Placement(
            piece=cut.name,
            garment=need.garment,
            size=need.size,
            copy=need.copy,
            x=x,
            y=y,
            turn=turn,
            flipped=meta.flipped,
            plies=on,
            on_fold=meta.on_fold,
            opened=meta.opened,
            gives=gives,
            laid=shape,
            follows=follows,
            copies=_copies(job, 1 if meta.on_fold else len(on)),
        )

    # a piece on a fold takes both plies for one; everything else gives one for each of its plies
    leader = one(need.cut, piece, plies, 1 if meta.on_fold else len(plies), None)
    pair = need.pair
    if pair is None:
        return [leader]
    follower = pair.follower.piece
    if meta.opened:
        follower = whole(follower)
    fx, fy, follower_turn, flipped = follower_motion(pair.fits, x, y, turn, meta.flipped)
    shape = placed(follower, fx, fy, follower_turn, flipped)
    lower = one(pair.follower, shape, meta.follower_plies, len(meta.follower_plies), need.cut.name)
    return [leader, replace(lower, x=fx, y=fy, turn=follower_turn, flipped=flipped)]


def _copies(job: Job, pieces: int) -> tuple[int, ...]:
    """The garment copy that each of the cloth pieces goes to; numbers beyond the last copy are surplus."""
    copies = [n.copy for n in job.needs]
    paired = len(copies) > 1 and copies[0] == copies[1]
    while len(copies) < pieces:
        following = max(copies) + 1
        copies += [following, following] if paired else [following]
    return tuple(copies)


# long: the problem and what leads back from it, put together side by side
def assemble(
    listed: CuttingList,
    cloth: Cloth,
    stacks: tuple[Stack, ...],
    kind: str,
    *,
    depths: tuple[float, ...] = (),
    style: JobStyle | None = None,
    remnant: Remnant | None = None,
    shapes: Mapping[NeedKey, Piece] | None = None,
) -> Assembly:
    """The packing problem of these stacks on that spread. ``shapes``: outlines to keep clear in place of the pieces'
    own, which lie within them.

    CannotLayError names the piece that cannot lie there, and why.
    """
    spread = make_spread(kind, cloth, NOMINAL_LENGTH, depths, remnant)  # type: ignore[arg-type]
    jobs = jobs_for(stacks, spread, style or JobStyle(), surplus=cloth.surplus, same_way=cloth.pairs_same_way)
    groups = _Groups()
    matched = cloth.repeat_along > 0.0 or cloth.repeat_across > 0.0
    items: list[Item] = []
    metas: list[tuple[PoseMeta, ...]] = []
    refused: dict[tuple[str, float], str] = {}
    known: dict[object, tuple[int, tuple[Pose, ...], tuple[PoseMeta, ...]]] = {}
    for job in jobs:
        groups.tie([_group_key(need, cloth) for need in job.needs])
    for job in jobs:
        cut = job.needs[0].cut
        need = job.needs[0]
        shape = (shapes or {}).get((cut.name, need.garment, need.size, need.copy))
        kind_key = (
            id(cut),
            id(shape),
            job.kind,
            job.ply_sets,
            job.opened,
            job.may_open,
            tuple(n.hand for n in job.needs),
        )
        if kind_key not in known:
            allowed = orientation(cut, cloth)
            for turn, why in allowed.refused:
                refused.setdefault((cut.piece.label, turn), why)
            poses, pose_metas = poses_of(listed, cloth, spread, job, allowed, matched, shape)
            if not poses:
                raise CannotLayError(_no_pose(cut, job, allowed, spread), piece=cut.piece.label, code="turn.none")
            known[kind_key] = (len(known), poses, pose_metas)
        number, poses, pose_metas = known[kind_key]
        tied = any(p.state is not None for p in poses)
        items.append(
            Item(
                name=f"{cut.piece.label} {job.needs[0].copy}",
                label=f"“{cut.piece.label}”",
                poses=poses,
                kind=number,
                group=groups.of(_group_key(job.needs[0], cloth)) if tied else None,
            )
        )
        metas.append(pose_metas)
    regions = tuple(
        Region(
            _turned(np.array(ply.region), spread.table_width) if kind == "crosswise fold" else np.array(ply.region),
            tuple(np.array(flaw) for flaw in ply.flaws),
        )
        for ply in spread.plies
    )
    length = None
    if remnant is not None:
        length = max(x for x, _ in remnant.outline)
        if kind == "crosswise fold":
            length /= 2
    # matched points may miss each other by a little, too
    tolerance = BOUND_MM + (REPEAT_MM if matched else 0.0)
    return Assembly(
        Problem(regions, tuple(items), length, gap=cloth.gap, tolerance=tolerance),
        spread,
        jobs,
        tuple(metas),
        tuple((label, turn, why) for (label, turn), why in refused.items()),
        cloth,
        remnant,
    )


def _turned(region: NDArray[np.float64], width: float) -> NDArray[np.float64]:
    turned: NDArray[np.float64] = np.array([[NOMINAL_LENGTH, width]]) - region
    return turned


#: (garment, size, copy, piece; "" where all pieces of a garment go together)
_Key = tuple[str, str | None, int, str]


class _Groups:
    """Copies, or pairs of a copy, that must lie the same way: those that share a placement are tied to each other."""

    def __init__(self) -> None:
        self._parent: dict[_Key, _Key] = {}
        self._numbers: dict[_Key, int] = {}

    def _root(self, key: _Key) -> _Key:
        self._parent.setdefault(key, key)
        while self._parent[key] != key:
            key = self._parent[key]
        return key

    def tie(self, keys: list[_Key]) -> None:
        first = self._root(keys[0])
        for key in keys[1:]:
            self._parent[self._root(key)] = first

    def of(self, key: _Key) -> int:
        return self._numbers.setdefault(self._root(key), len(self._numbers))


def _group_key(need: Need, cloth: Cloth) -> _Key:
    """All pieces of a copy with nap by garment or where stripes meet, else each pair by itself."""
    matched = cloth.repeat_along > 0.0 or cloth.repeat_across > 0.0
    whole = matched or cloth.nap == "by garment"
    return (need.garment, need.size, need.copy, "" if whole else need.cut.name)


def _no_pose(cut: CutPiece, job: Job, allowed: Orientation, spread: Spread) -> str:
    if not allowed.turns:
        return "no turn is allowed: " + "; ".join(f"{turn:.0f}°: {why}" for turn, why in allowed.refused)
    if job.kind == "fold":
        return (
            f"its fold edge cannot lie along a fold of the {spread.kind} in any allowed turn "
            f"({', '.join(f'{t:.0f}°' for t in allowed.turns)})"
        )
    return f"it has no allowed way to lie on the {spread.kind}"


def with_length(assembly: Assembly, length: float) -> Spread:
    """The assembly's spread for a finished lay of that length."""
    return make_spread(assembly.spread.kind, assembly.cloth, length, assembly.spread.depths, assembly.remnant)
