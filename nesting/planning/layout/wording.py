"""What is said of a lay, and why something cannot lie, in people's units."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from nesting.model.findings import Reason
from nesting.model.order import SpreadName
from nesting.model.units import LengthStep, format_apart, format_length
from nesting.packing.problem import NeverFits, PackingError, outline_of
from nesting.planning.layout.assemble import Assembly
from nesting.planning.layout.trials import Finished, Search, Trial, used_by
from nesting.resolving.cutting_list import CuttingList

__all__ = ["lay_notes", "say_length", "traced_pieces", "turn_notes", "why_never", "why_not_there", "why_refused"]


def why_refused(search: Search, trial: Trial, error: PackingError) -> Reason:
    """Why a trial has no layout."""
    if isinstance(error, NeverFits) and trial.assembly is not None:
        piece = trial.assembly.jobs[error.item].needs[0].cut.piece.label
        why = f"piece '{piece}': {why_never(search.listed, trial.assembly, error)}"
        return Reason(why, code="piece.too-large", figures={"piece": piece})
    return Reason(str(error), code="cloth.no-layout")


def why_never(listed: CuttingList, assembly: Assembly, error: NeverFits) -> str:
    """As ``why_not_there``, with what may help."""
    words, others = _why_not(listed, assembly, error)
    if not words:
        return error.reason
    help_words = "" if others else 'turn it if the cloth allows (turn = "quarter turns"), '
    return f"{words}: {help_words}join it from two, or take wider cloth"


def why_not_there(listed: CuttingList, assembly: Assembly, error: NeverFits) -> str:
    """For each turn the first rule that forbids it: how much the piece misses the cloth by, in people's units and so
    finely that the figures differ, or why it may not lie so."""
    return _why_not(listed, assembly, error)[0] or error.reason


def _why_not(listed: CuttingList, assembly: Assembly, error: NeverFits) -> tuple[str, bool]:
    """The words, none where neither width nor length is the reason; whether some turn is forbidden by another rule."""
    problem = assembly.problem
    item = problem.items[error.item]
    label = assembly.jobs[error.item].needs[0].cut.piece.label
    most: dict[float, tuple[float, float, str]] = {}
    for pose, meta in zip(item.poses, assembly.metas[error.item], strict=True):
        along, across = (float(side) for side in np.ptp(outline_of(pose), axis=0))
        usable, ply = min((float(np.ptp(problem.plies[p].outline[:, 1])), p) for p in pose.plies)
        needed, way = across + pose.low + pose.high, _across(listed, assembly, ply, usable)
        if needed <= usable:
            if problem.length is None or along <= problem.length:
                return "", False
            needed, usable, way = along, problem.length, "along the cloth, where {} are usable"
        nearest = most.get(meta.turn)
        if nearest is None or needed - usable < nearest[0] - nearest[1]:
            most[meta.turn] = needed, usable, way  # where it comes nearest to lying
    if not most:
        return "", False
    missed: dict[tuple[str, str, str], list[float]] = {}
    for turn, (needed, usable, way) in most.items():
        missed.setdefault((*format_apart(needed, usable, imperial=listed.imperial), way), []).append(turn)
    words = [
        f"{_turns(turns)} it needs {needed} {way.format(usable)}"
        for (needed, usable, way), turns in missed.items()
    ]
    refused: dict[str, list[float]] = {}
    for piece, turn, why in assembly.refused_turns:
        if piece == label:
            refused.setdefault(why, []).append(turn)
    words += [f"{_turns(turns)} it may not lie: {why}" for why, turns in refused.items()]
    return "; ".join(words), bool(refused)


def _across(listed: CuttingList, assembly: Assembly, ply: int, usable: float) -> str:
    """What a ply gives across the cloth, {} being ``usable``: a flap is told by its depth."""
    depths = assembly.spread.depths
    if not depths or ply == 0:
        return "across the cloth, where {} are usable"
    depth = depths[ply - 1]
    if depth - usable < 0.01:
        return "from the fold, where the flap is {} deep"
    step: LengthStep = "1/16 in" if listed.imperial else "mm"
    deep, left = (format_length(mm, imperial=listed.imperial, step=step) for mm in (depth, usable))
    return f"from the fold, where the flap is {deep} deep, {left} without the selvage"


def _turns(turns: list[float]) -> str:
    return "at " + " and ".join(f"{turn:.0f}°" for turn in sorted(set(turns)))


def say_length(search: Search, mm: float) -> str:
    """A length as people of this order read it."""
    return people_length(search.listed, mm)


def people_length(listed: CuttingList, mm: float) -> str:
    return format_length(mm, imperial=listed.imperial, step="1/8 in" if listed.imperial else "cm")


def turn_notes(refused: Iterable[tuple[str, float, str]]) -> tuple[str, ...]:
    """One sentence for all pieces that may not lie in the same turns for the same reason: (label, degrees, why)."""
    turns: dict[tuple[str, str], list[float]] = {}
    for label, turn, why in refused:
        turns.setdefault((label, why), []).append(turn)
    labels: dict[tuple[tuple[float, ...], str], list[str]] = {}
    for (label, why), found in turns.items():
        labels.setdefault((tuple(sorted(set(found))), why), []).append(label)
    return tuple(
        f"{', '.join(names)}: {' and '.join(f'{turn:.0f}°' for turn in found)} "
        f"{'is' if len(found) == 1 else 'are'} refused: {why}"
        for (found, why), names in labels.items()
    )


def lay_notes(search: Search, by_kind: Mapping[SpreadName, Finished], best: Finished) -> tuple[str, ...]:
    """What is to be told of the chosen lay."""
    notes = [*turn_notes(best.assembly.refused_turns)] if best.assembly is not None else []
    shortest = min(by_kind.values(), key=lambda f: used_by(search, f))
    extra = used_by(search, best) - used_by(search, shortest)
    if shortest is not best and extra > 5.0:
        notes.append(
            f"the {shortest.kind} lay takes {say_length(search, extra)} less cloth on the table, but no less has to be "
            f"bought; the {best.kind} is easier to cut"
        )
    from nesting.planning.layout.repeats import unmatched_sides

    notes += unmatched_sides(search.listed, search.cloth, sorted({s.cut.size for s in search.stacks}, key=str))
    if search.cloth.nap == "none" and any(s.cut.needs_stretch is not None for s in search.stacks):
        notes.append('many makers cut knits one way; nap is "none" here, so pieces may lie up or down')
    for s in traced_pieces(search):
        notes.append(
            f"{s['piece']} was traced from {s['origin']} and may be off by {s['error']:.2g} mm: so much more is kept "
            "free around it"
        )
    return tuple(notes)


def traced_pieces(search: Search) -> list[dict[str, Any]]:
    """The pieces on this cloth whose outlines come from pictures: name, error in mm, and which picture."""
    pieces = {s.cut.piece.label: s.cut.piece for s in search.stacks if s.cut.piece.error > 0.0}
    return [
        {"piece": label, "error": round(piece.error, 3), "origin": piece.origin or "a picture"}
        for label, piece in pieces.items()
    ]
