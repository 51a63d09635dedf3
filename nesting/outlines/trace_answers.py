"""What only a person knows of a traced piece, and the questions that are asked until it is answered."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from nesting.model.errors import InputError
from nesting.model.findings import Finding
from nesting.model.piece import Point
from nesting.outlines.trace import TracedPiece

__all__ = ["Answers", "fold_of", "grain_of", "notches_of", "questions"]


@dataclass(frozen=True)
class Answers:
    """``line``: the outline is where it is cut, or where it is sewn. ``fold``: "none" or the number of a straight edge,
    from 1. ``notches``: "all", "none" or numbers with commas. ``grain``: "none", "fold", "marked" or "marked 2",
    "edge 3". None: not answered."""

    name: str
    size: str | None = None
    line: Literal["cut", "sewn"] | None = None
    fold: str | None = None
    notches: str | None = None
    grain: str | None = None


def questions(piece: TracedPiece, answers: Answers) -> tuple[Finding, ...]:
    """What must still be said about the piece, each naming its option."""
    asked: list[tuple[str, str]] = []
    if answers.line is None:
        asked.append(("trace.line", "is its outline the cut edge or the sewn line? Say --line cut or --line sewn"))
    if answers.fold is None:
        straight = [f"{k} ({_length(points):.0f} mm)" for k, (points, line) in enumerate(piece.runs, 1) if line]
        which = f"straight edges are {', '.join(straight)}" if straight else "it has no straight edge"
        asked.append(("trace.fold", f"does an edge lie on the fold? Say --fold none or its number; {which}"))
    if answers.notches is None and piece.notches:
        places = ", ".join(f"{k} at ({n.at[0]:.0f}, {n.at[1]:.0f})" for k, n in enumerate(piece.notches, 1))
        asked.append(("trace.notches", f"are these notches: {places}? Say --notches all, none, or their numbers"))
    if answers.grain is None:
        lines = ", ".join(f"{k} ({g.length:.0f} mm)" for k, g in enumerate(piece.grain, 1))
        seen = "no line was seen; say --grain"
        if lines:
            seen = f"lines seen inside: {lines}; say --grain marked, 'marked 2',"
        asked.append(("trace.grain", f"which way does the grain run? {seen} fold, 'edge N' or none"))
    return tuple(Finding("question", words, piece=answers.name, code=code) for code, words in asked)


def _length(points: Sequence[Point]) -> float:
    return sum(math.dist(a, b) for a, b in pairwise(points))


def fold_of(piece: TracedPiece, answers: Answers) -> tuple[Point, Point] | None:
    """The ends of the fold edge. Raises InputError for what is no straight edge."""
    text = (answers.fold or "none").strip().lower()
    if text == "none":
        return None
    points = _edge(piece, text, "--fold")
    return points[0], points[-1]


def _edge(piece: TracedPiece, text: str, option: str) -> tuple[Point, ...]:
    straight = [str(k) for k, (_, line) in enumerate(piece.runs, 1) if line]
    if text not in straight:
        known = f"straight edges: {', '.join(straight)}" if straight else "it has no straight edge"
        raise InputError(
            f"{option}: found '{text}', expected the number of a straight edge; {known}", code="option.value"
        )
    return piece.runs[int(text) - 1][0]


def notches_of(piece: TracedPiece, answers: Answers) -> tuple[int, ...]:
    """Numbers, from 0, of the proposals confirmed. Raises InputError for a number that is none."""
    text = (answers.notches or "none").strip().lower()
    if text in ("none", "all"):
        return tuple(range(len(piece.notches))) if text == "all" else ()
    chosen = []
    for part in text.split(","):
        if not part.strip().isdigit() or not 1 <= int(part) <= len(piece.notches):
            most = len(piece.notches)
            raise InputError(
                f"--notches: found '{part.strip()}', expected all, none, or numbers 1 to {most}", code="option.value"
            )
        chosen.append(int(part) - 1)
    return tuple(dict.fromkeys(chosen))


def grain_of(piece: TracedPiece, answers: Answers) -> tuple[Point, Point] | None:
    """The grainline. Along an edge it is drawn through the middle of the piece. Raises InputError for another word."""
    text = " ".join((answers.grain or "none").lower().split())
    if text == "none":
        return None
    kind, _, number = text.partition(" ")
    if kind == "marked":
        at = int(number) if number.isdigit() else 1
        if (number and not number.isdigit()) or not 1 <= at <= len(piece.grain):
            count = len(piece.grain)
            raise InputError(
                f"--grain: found '{text}', but {count} lines were seen in piece '{answers.name}'", code="option.value"
            )
        return piece.grain[at - 1].start, piece.grain[at - 1].end
    if kind in ("fold", "edge"):
        if kind == "fold":
            ends = fold_of(piece, answers)
            if ends is None:
                raise InputError(
                    "--grain fold: no edge lies on the fold; say --fold N, or another --grain", code="option.value"
                )
        else:
            edge = _edge(piece, number, "--grain edge")
            ends = (edge[0], edge[-1])
        return _through_the_middle(piece, ends)
    raise InputError(
        f"--grain: found '{text}', expected marked, 'marked 2', fold, 'edge N' or none", code="option.value"
    )


def _through_the_middle(piece: TracedPiece, ends: tuple[Point, Point]) -> tuple[Point, Point]:
    from shapely import Polygon
    from shapely.algorithms.polylabel import polylabel

    shape = Polygon(piece.outline)
    at = polylabel(shape, 1.0)
    length = math.dist(*ends)
    way = ((ends[1][0] - ends[0][0]) / length, (ends[1][1] - ends[0][1]) / length)
    half = min(0.3 * length, 0.8 * shape.exterior.distance(at))
    return (at.x - way[0] * half, at.y - way[1] * half), (at.x + way[0] * half, at.y + way[1] * half)
