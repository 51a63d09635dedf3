"""How one job may lie: its poses for the packing problem, and what each means on the cloth."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from nesting.cloth.orientation import Orientation
from nesting.model.errors import CannotLayError
from nesting.model.lay import FoldLine, PlyRegion, Spread, placed
from nesting.model.order import Cloth, CutPiece
from nesting.model.piece import Piece
from nesting.model.tolerances import REPEAT_MM
from nesting.packing.problem import Axis, Pose
from nesting.planning.layout.demand import Need
from nesting.planning.layout.jobs import Job
from nesting.planning.layout.repeats import matching_for, phases
from nesting.planning.layout.rings import grown, search_ring, within
from nesting.planning.layout.shapes import is_symmetric, opened_ring, outline_at_origin, turned_ring, whole
from nesting.resolving.cutting_list import CuttingList

__all__ = ["PoseMeta", "poses_of", "shares_a_turn"]

_BOX_CORNERS = 4


@dataclass(frozen=True)
class PoseMeta:
    """What a pose means on the cloth."""

    turn: float
    flipped: bool
    plies: tuple[int, ...]
    on_fold: bool
    opened: bool
    #: for a leader with a follower: the plies of each
    leader_plies: tuple[int, ...] = ()
    follower_plies: tuple[int, ...] = ()


def shares_a_turn(cut: CutPiece, cloth: Cloth) -> bool:
    """Whether the left and right of this piece in a garment lie in one turn: pairs on such a cloth, not those on the
    bias (where the left one is the mirror image) and those without grain."""
    return cloth.pairs_same_way and cut.mirrored and cut.cut > 1 and cut.turn not in ("bias", "any")


def poses_of(
    listed: CuttingList,
    cloth: Cloth,
    spread: Spread,
    job: Job,
    allowed: Orientation,
    matched: bool,
    shape: Piece | None,
) -> tuple[tuple[Pose, ...], tuple[PoseMeta, ...]]:
    """The poses of a job on a spread, and what they mean. ``shape``: an outline to keep clear in place of its own."""
    builder = _PoseBuilder(listed, cloth, spread, job, allowed, matched)
    if shape is not None:
        builder.cut = replace(builder.cut, piece=shape)
    if job.kind == "fold":
        builder.on_folds()
        if job.may_open:
            for ply in spread.plies:
                builder.flat((ply.ply,), (False, True), opened=True)
    elif job.kind == "layered":
        for plies in job.ply_sets:
            builder.layered(plies)
    elif job.kind == "through":
        for plies in job.ply_sets:
            builder.flat(plies, _flips_through(job, spread, plies), opened=job.opened)
    else:
        for plies in job.ply_sets:
            builder.flat(plies, _flips_single(job.needs[0], spread, plies[0]), opened=job.opened)
    return tuple(builder.poses), tuple(builder.metas)


def _face(spread: Spread, ply: int) -> str:
    return next(p.face for p in spread.plies if p.ply == ply)


def _flips_single(need: Need, spread: Spread, ply: int) -> tuple[bool, ...]:
    """A right piece lies unflipped on cloth that is face up, flipped on cloth that is face down; a left one the
    other way round; one without a hand lies either way."""
    if need.hand is None:
        return (False, True)
    return ((_face(spread, ply) == "up") != (need.hand == "right"),)


def _flips_through(job: Job, spread: Spread, plies: tuple[int, ...]) -> tuple[bool, ...]:
    hands = [n.hand for n in job.needs]
    if None in hands:
        return (False, True)
    faces = [_face(spread, p) for p in plies]
    if "up" in faces and "down" in faces:
        return (False, True)  # one of each hand, whichever way it lies
    return ((faces[0] == "up") != (hands[0] == "right"),)


class _PoseBuilder:
    """Collects the poses of one job."""

    def __init__(
        self, listed: CuttingList, cloth: Cloth, spread: Spread, job: Job, allowed: Orientation, matched: bool
    ) -> None:
        self.cloth, self.spread, self.job, self.allowed = cloth, spread, job, allowed
        self.cut = job.needs[0].cut
        self.poses: list[Pose] = []
        self.metas: list[PoseMeta] = []
        #: whether anything but the width limits where pieces lie
        self.hindered = any(ply.flaws or len(ply.region) != _BOX_CORNERS for ply in spread.plies)
        self.matching = matching_for(listed, cloth, self.cut) if matched else None
        self.offset = (0.0, 0.0)
        self.start = (0.0, 0.0)
        self.both_sides = True
        self.shares = cloth.nap != "by garment" and shares_a_turn(self.cut, cloth)
        if self.matching is not None and self.matching.points:
            chain = phases(listed, cloth, self.cut.size)
            phase = chain[self.cut.name]
            self.offset = phase.offset
            self.both_sides = phase.both_sides
            members = [(cut, chain[cut.name].offset) for cut in phase.chain]
            self.start = phase.at or _first_phase(cloth, members)

    def on_folds(self) -> None:
        """Poses with the fold edge on a fold line of the cloth; halves flip freely, nothing is tilted."""
        piece = self.cut.piece
        assert piece.fold is not None
        for fold in self.spread.folds:
            for turn, state in zip(self.allowed.turns, self.allowed.states, strict=True):
                for flipped in (False, True):
                    shape = placed(piece, 0.0, 0.0, turn, flipped)
                    tie = _tie(shape, fold)
                    if tie is not None:
                        self._add(piece, PoseMeta(turn, flipped, fold.plies, True, False), state, tie, fold, 0.0)

    def flat(self, plies: tuple[int, ...], flips: tuple[bool, ...], *, opened: bool) -> None:
        """Poses anywhere on these plies."""
        piece = whole(self.cut.piece) if opened else self.cut.piece
        if flips == (False, True) and is_symmetric(piece):
            flips = (False,)
        for turn, state in zip(self.allowed.turns, self.allowed.states, strict=True):
            if self.shares:
                ways = {_on_cloth(turn, p) for p in self.spread.plies if p.ply in plies}
                if len(ways) > 1:
                    continue  # left and right would point different ways when the cloth is opened out
                state = round(ways.pop())
            for flipped in flips:
                self._add(piece, PoseMeta(turn, flipped, plies, False, opened), state, None, None, self.cut.tilt)

    def layered(self, plies: tuple[int, ...]) -> None:
        """Leader on some of the plies, follower on the others."""
        need = self.job.needs[0]
        count = len(self.job.needs)
        piece = whole(self.cut.piece) if self.job.opened else self.cut.piece
        if self.spread.kind == "stacked face up":
            choices = [(plies[count:], plies[:count])]
        else:
            choices = [(plies[:1], plies[1:]), (plies[1:], plies[:1])]
        for leaders, followers in choices:
            for flipped in _flips_single(need, self.spread, leaders[0]):
                for turn, state in zip(self.allowed.turns, self.allowed.states, strict=True):
                    meta = PoseMeta(turn, flipped, plies, False, self.job.opened, leaders, followers)
                    self._add(piece, meta, state, None, None, self.cut.tilt)

    # long: one rule of how a piece may lie after another, all about one pose
    def _add(
        self,
        piece: Piece,
        meta: PoseMeta,
        state: int | None,
        tie: float | None,
        fold: FoldLine | None,
        tilt: float,
    ) -> None:
        turned_end = self.spread.kind == "crosswise fold"
        engine_turn = meta.turn + 180.0 if turned_end else meta.turn
        ring, body = self._rings(meta.opened, fold is not None)
        same = ring is body
        ring = turned_ring(ring, engine_turn % 360.0, meta.flipped)
        body = ring if same else turned_ring(body, engine_turn % 360.0, meta.flipped)
        outline = outline_at_origin(piece, engine_turn % 360.0, meta.flipped)
        if piece.error > 0.0:
            # what a picture does not tell of a piece is kept free around it
            shape = placed(piece, 0.0, 0.0, engine_turn % 360.0, meta.flipped)
            outline = np.array(grown(shape.outline, piece.error, shape.fold if fold else None))
        if fold is not None:
            shape = placed(piece, 0.0, 0.0, engine_turn % 360.0, meta.flipped)
            # rounding of a turn must not show against the fold line
            ring, body, outline = (_on_line(own, shape, fold) for own in (ring, body, outline))
        if self.hindered:
            body = within(body)
        low = high = left = 0.0
        x_axis = y_axis = None
        # what all plies of the placement have in common: a flap's own edge is no fold and asks for no gap
        across = [[y for _, y in self.spread.plies[ply].region] for ply in meta.plies]
        bottom, top = max(map(min, across)), min(map(max, across))
        for line in self.spread.folds:
            # half the gap from every fold that it does not lie on: opened out, that is the whole gap
            if line is fold or not set(line.plies) & set(meta.plies):
                continue
            if line.along == "y":
                left = self.cloth.gap / 2
            elif line.at == 0.0:
                low = max(0.0, line.at + self.cloth.gap / 2 - bottom)
            else:
                high = max(0.0, top - line.at + self.cloth.gap / 2)
        if fold is None:
            pass
        elif fold.along == "x":
            y_axis = Axis(tie if tie is not None else 0.0)
        else:
            # the fold is x = 0 of the turned frame; the tie was worked out for the table's frame
            x_axis = Axis(-(tie if tie is not None else 0.0))
        if self.matching is not None and self.matching.any:
            placed_axes = self._lattice(meta)
            if placed_axes is None:
                return
            match_x, match_y, match_state = placed_axes
            x_axis = x_axis or match_x
            y_axis = y_axis or match_y
            state = match_state if match_state is not None else state
        self.poses.append(
            Pose(
                ring,
                meta.plies,
                None if body is ring else body,
                x=x_axis,
                y=y_axis,
                low=low,
                high=high,
                tilt=tilt,
                state=state,
                tag=len(self.metas),
                outline=outline,
                left=left,
            )
        )
        self.metas.append(meta)

    def _rings(self, opened: bool, on_fold: bool) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Ring and body in the grain frame. An opened-out half is its half and the mirror image of that, point by
        point: a lay on a fold, opened out, then holds for the search as it does on the fold."""
        piece = self.cut.piece
        # what a picture does not tell of a piece is kept free around it, beside its half of the gap
        gap = self.cloth.gap + 2.0 * piece.error
        if not (opened or on_fold):
            return search_ring(piece.outline, gap)
        ring, body = search_ring(piece.outline, gap, piece.fold)
        if not opened:
            return ring, body
        wide = opened_ring(ring, piece)
        return wide, wide if ring is body else opened_ring(body, piece)

    def _lattice(self, meta: PoseMeta) -> tuple[Axis | None, Axis | None, int | None] | None:
        """The axes that the repeat leaves to this pose; None if the pose cannot keep it."""
        assert self.matching is not None
        if self.spread.kind == "crosswise fold":
            raise CannotLayError(
                "a crosswise fold would lay the repeat of the two plies against each other",
                piece=self.cut.piece.label,
                code="repeat.crosswise-fold",
            )
        if meta.turn not in (0.0, 180.0):
            return None
        cloth = self.cloth
        across = cloth.repeat_across > 0.0
        if across and self.spread.kind not in ("open", "stacked face up", "stacked face to face"):
            raise CannotLayError(
                "a repeat across the cloth is matched on open cloth only, where both plies' stripes can be seen",
                piece=self.cut.piece.label,
                code="repeat.across",
            )
        if across and meta.opened and meta.flipped and not self.both_sides:
            return None  # the drawn sides are to meet, so all of them lie on the same side
        sign_x = 1.0 if meta.turn == 0.0 else -1.0
        sign_y = sign_x * (-1.0 if meta.flipped else 1.0)
        state: int | None = None
        offset = (0.0, 0.0)
        if self.matching.points:
            # a motif of the piece, or of one that is joined to it, is the zero of their chain
            state = 0 if meta.turn == 0.0 else 1
            offset = (self.start[0] + sign_x * self.offset[0], self.start[1] + sign_y * self.offset[1])
        motif = self.matching.motif
        if motif is not None:
            wanted = (motif.offset[0] - sign_x * motif.point[0], motif.offset[1] - sign_y * motif.point[1])
            if self.matching.points and not _alike(offset, wanted, (cloth.repeat_along, cloth.repeat_across)):
                return None
            offset = wanted
        x_axis = Axis(offset[0], cloth.repeat_along) if cloth.repeat_along > 0.0 else None
        y_axis = Axis(offset[1], cloth.repeat_across) if across else None
        return x_axis, y_axis, state


def _first_phase(cloth: Cloth, chain: list[tuple[CutPiece, tuple[float, float]]]) -> tuple[float, float]:
    """The phase at which the chain's pieces together can begin nearest to the cut end."""

    def best(axis: int, period: float, low: float) -> float:
        if period <= 0.0:
            return 0.0
        outlines = [(cut.piece.outline, offset) for cut, offset in chain]
        least = [min(p[axis] for p in outline) + offset[axis] for outline, offset in outlines]
        candidates = [low - v for v in least]
        return min(candidates, key=lambda phase: sum((phase + v - low) % period for v in least))

    return best(0, cloth.repeat_along, 0.0), best(1, cloth.repeat_across, cloth.selvage)


def _alike(a: tuple[float, float], b: tuple[float, float], repeats: tuple[float, float]) -> bool:
    """Whether two places are the same within the repeat."""
    return all(
        r <= 0.0 or abs((p - q + r / 2) % r - r / 2) <= REPEAT_MM / 2 for p, q, r in zip(a, b, repeats, strict=True)
    )


def _on_line(ring: NDArray[np.float64], shape: Piece, fold: FoldLine) -> NDArray[np.float64]:
    """The ring with its points on the fold edge exactly in line."""
    assert shape.fold is not None
    axis = 1 if fold.along == "x" else 0
    at = (shape.fold[0][axis] + shape.fold[1][axis]) / 2
    pinned = ring.copy()
    pinned[np.abs(pinned[:, axis] - at) < 1e-6, axis] = at
    return pinned


def _tie(shape: Piece, fold: FoldLine) -> float | None:
    """The coordinate of the reference point that puts the fold edge on the fold line; None if it cannot lie there."""
    assert shape.fold is not None
    axis = 1 if fold.along == "x" else 0
    a, b = shape.fold[0][axis], shape.fold[1][axis]
    if not math.isclose(a, b, abs_tol=1e-6):
        return None
    at = (a + b) / 2
    inward = 1.0 if fold.along == "x" and fold.at == 0.0 else -1.0
    others = [p[axis] - at for p in shape.outline]
    deepest = max(others, key=abs)
    if deepest * inward <= 0.0:
        return None
    return (fold.at - at) if fold.along == "x" else -at


def _on_cloth(turn: float, ply: PlyRegion) -> float:
    """The turn that a piece has on the opened-out cloth: a ply that lies face down is seen from its other side."""
    if ply.face == "up":
        return turn % 360.0
    return ((180.0 - turn) if ply.reversed else -turn) % 360.0
