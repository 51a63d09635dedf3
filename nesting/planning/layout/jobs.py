"""Needs gathered into jobs: one job is one placement, through one or more plies.

What folds and stacks can do at once is decided here; where it lies is the search's business.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import groupby
from typing import Literal

from nesting.model.errors import CannotLayError
from nesting.model.lay import Spread
from nesting.planning.layout.demand import Need, Stack

__all__ = ["Job", "JobStyle", "jobs_for"]

#: how a job takes its plies: "single" one ply, "through" all plies of one of ``ply_sets``, "fold" on a fold line,
#: "layered" leader on some plies and follower on the others
JobKind = Literal["single", "through", "fold", "layered"]


@dataclass(frozen=True)
class JobStyle:
    """How much is cut through two plies at once on folded cloth, and whether halves may be opened out.

    ``pairs``: the share of pairs (left and right, or two alike where that is right) that go through both plies as one
    placement; the others are cut one by one, which cloth beyond a flap asks for.
    ``open_halves``: an on-fold piece may leave the fold and be cut opened out, where its order allows that;
    ``only_open``: it must.
    """

    pairs: float = 1.0
    open_halves: bool = False
    only_open: bool = False


@dataclass(frozen=True)
class Job:
    """One placement to be made. ``ply_sets``: the sets of plies it may take, one of them."""

    kind: JobKind
    needs: tuple[Need, ...]
    ply_sets: tuple[tuple[int, ...], ...]
    opened: bool = False
    may_open: bool = False


def jobs_for(
    stacks: tuple[Stack, ...], spread: Spread, style: JobStyle, *, surplus: bool = False, same_way: bool = False
) -> tuple[Job, ...]:
    """The jobs that give exactly what the stacks need on this spread.

    With ``surplus``, stacks that do not come out evenly are cut through all plies and give more. ``same_way``: the left
    and right pieces of a garment share one turn, so that on a crosswise fold, whose second ply lies end for end, they
    are cut one by one.
    CannotLayError names the piece that this spread cannot give, and why.
    """
    jobs: list[Job] = []
    for stack in stacks:
        if spread.kind in ("stacked face up", "stacked face to face"):
            jobs += _stacked(stack, spread, surplus)
        elif len(spread.plies) == 1:
            jobs += _open(stack)
        else:
            one_by_one = same_way and spread.kind == "crosswise fold" and stack.cut.mirrored
            jobs += _folded(stack, spread, replace(style, pairs=0.0) if one_by_one else style)
    return tuple(jobs)


def _open(stack: Stack) -> list[Job]:
    _refuse_follower(stack, "an open spread has one ply, so nothing can be cut together in it")
    _refuse_halves(stack, "there is no fold")
    return [Job("single", (need,), ((0,),), opened=need.cut.on_fold) for need in stack.needs]


def _refuse_follower(stack: Stack, why: str) -> None:
    pair = stack.needs[0].pair
    if pair is not None:
        raise CannotLayError(
            f"to be cut together with '{pair.follower.piece.label}', but {why}",
            piece=stack.cut.piece.label,
            code="together.spread",
        )


def _refuse_halves(stack: Stack, why: str) -> None:
    if stack.cut.on_fold and not stack.cut.unfold:
        raise CannotLayError(
            f"lies on a fold and may not be opened out (unfold = false), but {why}",
            piece=stack.cut.piece.label,
            code="fold.unfold",
        )


def _folded(stack: Stack, spread: Spread, style: JobStyle) -> list[Job]:
    doubles = tuple(sorted({fold.plies for fold in spread.folds}))
    singles = tuple((ply.ply,) for ply in spread.plies)
    needs = stack.needs
    if stack.cut.on_fold:
        _refuse_follower(stack, "on a fold that takes four plies")
        if style.only_open and stack.cut.unfold:
            return [Job("single", (need,), singles, opened=True) for need in needs]
        may_open = stack.cut.unfold and style.open_halves
        return [Job("fold", (need,), doubles, may_open=may_open) for need in needs]
    pair = needs[0].pair
    if pair is not None:
        if pair.faces != "to the leader":
            raise CannotLayError(
                f"to be cut together with '{pair.follower.piece.label}' with both facing the same way, "
                'but folded plies face each other (faces = "to the leader" would suit)',
                piece=stack.cut.piece.label,
                code="together.faces",
            )
        return [Job("layered", (need,), doubles) for need in needs]
    jobs: list[Job] = []
    lonely: list[Need] = []
    together = round(style.pairs * len({n.copy for n in needs}))
    for number, (_, copies) in enumerate(groupby(needs, key=lambda n: n.copy)):
        if number >= together:
            jobs += [Job("single", (need,), singles) for need in copies]
            continue
        rights: list[Need] = []
        lefts: list[Need] = []
        for need in copies:
            if need.hand is None:
                lonely.append(need)
            else:
                (rights if need.hand == "right" else lefts).append(need)
        jobs += [Job("through", pair, doubles) for pair in zip(rights, lefts, strict=False)]
        paired = min(len(rights), len(lefts))
        jobs += [Job("single", (need,), singles) for need in rights[paired:] + lefts[paired:]]
    for i in range(0, len(lonely) - 1, 2):
        jobs.append(Job("through", (lonely[i], lonely[i + 1]), doubles))
    if len(lonely) % 2:
        jobs.append(Job("single", (lonely[-1],), singles))
    return jobs


def _ends(plies: int, count: int) -> tuple[tuple[int, ...], ...]:
    """The topmost and the lowest ``count`` plies of a stack; others cannot be reached with a blade alone."""
    top = tuple(range(plies - count, plies))
    low = tuple(range(count))
    return (top,) if top == low else (top, low)


def _chunks(needs: list[Need], size: int) -> list[tuple[Need, ...]]:
    return [tuple(needs[i : i + size]) for i in range(0, len(needs), size)]


def _stacked(stack: Stack, spread: Spread, surplus: bool) -> list[Job]:
    plies = len(spread.plies)

    def ends(count: int) -> tuple[tuple[int, ...], ...]:
        return _ends(plies, plies if surplus else count)

    _refuse_halves(stack, "a stack has no folds")
    opened = stack.cut.on_fold
    facing = spread.kind == "stacked face to face"
    pair = stack.needs[0].pair
    by_hand: dict[str | None, list[Need]] = {None: [], "right": [], "left": []}
    for need in stack.needs:
        by_hand[need.hand].append(need)
    if pair is not None:
        wanted = "to the leader" if facing else "same"
        if pair.faces != wanted:
            raise CannotLayError(
                f"to be cut together with '{pair.follower.piece.label}' facing {pair.faces}, "
                f"which {spread.kind} plies do not give",
                piece=stack.cut.piece.label,
                code="together.faces",
            )
        half = 1 if facing else plies // 2
        return [
            Job("layered", chunk, _ends(plies, 2 * len(chunk)), opened)
            for needs in by_hand.values()
            for chunk in _chunks(needs, half)
        ]
    jobs = [Job("through", chunk, ends(len(chunk)), opened) for chunk in _chunks(by_hand[None], plies)]
    rights, lefts = by_hand["right"], by_hand["left"]
    if not facing:
        return jobs + [
            Job("through", chunk, ends(len(chunk)), opened)
            for needs in (rights, lefts)
            for chunk in _chunks(needs, plies)
        ]
    paired = min(len(rights), len(lefts))
    for i in range(0, paired, plies // 2):
        count = min(plies // 2, paired - i)
        both = tuple(n for pair in zip(rights[i : i + count], lefts[i : i + count], strict=True) for n in pair)
        jobs.append(Job("through", both, ends(2 * count), opened))
    for need in rights[paired:] + lefts[paired:]:
        jobs.append(Job("single", (need,), _ends(plies, 1), opened))
    return jobs
