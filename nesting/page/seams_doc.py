"""The view of seams: both sides of each, walked and drawn side by side, with what does not meet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from nesting.checking.judging import small_length
from nesting.model.errors import NestingError, OrderError
from nesting.model.order import CutPiece, Order, Seam
from nesting.model.piece import Point
from nesting.page.documents import SeamDoc, SeamsDoc, SeamSettings, SeamSide, TogetherDoc
from nesting.page.plain import plain
from nesting.page.proposals import seam_proposals
from nesting.page.survey import Survey
from nesting.page.words import line, piece_id
from nesting.pieces.contour import Contour, cleaned
from nesting.pieces.grain import GRAIN_KEY
from nesting.pieces.seams import Mark, WalkedEdge, WalkedSeam, edge_names, walk_edge
from nesting.pieces.sewn import Sewn, sewn_in_sizes

__all__ = ["Side", "drawn_edge", "seams_doc", "seams_of", "walk_sides"]

#: one edge "piece.edge", or several in a row
Side = str | Sequence[str]


def seams_doc(survey: Survey, rev: int, declined: frozenset[str] = frozenset()) -> SeamsDoc:
    """All seams of the order, in every size, and edges that are in none. ``declined``: proposals not made again."""
    order = survey.order or survey.assumed
    sewn: set[str] = set()
    seams = seams_of(survey)
    for raw in survey.document.get("seam", []):
        for side in raw.get("edges", []) if isinstance(raw, dict) else []:
            sewn |= {side} if isinstance(side, str) else set(side)
    loose: list[str] = []
    for cut in order.pieces if order is not None else ():
        for name in edge_names(cut.piece):
            text = f"{cut.name}.{name}"
            if name != "fold" and not name.replace("-", "").isdigit() and text not in sewn and text not in loose:
                loose.append(text)
    return {
        "rev": rev,
        "seams": seams,
        "settings": _settings(survey),
        "together": _together(survey),
        "proposals": [one for one in seam_proposals(survey) if one["id"] not in declined],
        "loose": loose,
    }


def _settings(survey: Survey) -> list[SeamSettings]:
    found: list[SeamSettings] = []
    for index, raw in enumerate(survey.document.get("seam", [])):
        if not isinstance(raw, dict):
            continue
        between = raw.get("ease_between")
        found.append(
            {
                "index": index,
                "ease_between": [str(one) for one in between] if isinstance(between, list) else None,
                "match": raw.get("match") is True,
                "add_centre_notches": raw.get("add_centre_notches") is True,
                "add_join_notches": raw.get("add_join_notches") is True,
                "in_row": any(isinstance(side, list) and len(side) > 1 for side in raw.get("edges", [])),
            }
        )
    return found


def _together(survey: Survey) -> list[TogetherDoc]:
    return [
        {
            "index": index,
            "leader": str(raw.get("leader", "")),
            "follower": str(raw.get("follower", "")),
            "faces": str(raw.get("faces", "same")),
            "shape": str(raw["shape"]) if raw.get("shape") else None,
        }
        for index, raw in enumerate(survey.document.get("together", []))
        if isinstance(raw, dict)
    ]


def seams_of(survey: Survey, pieces: set[str] | None = None) -> list[SeamDoc]:
    """The seams of the order; those that one of ``pieces`` takes part in, where given."""
    order = survey.order or survey.assumed
    found: list[SeamDoc] = []
    for index, raw in enumerate(survey.document.get("seam", [])):
        sides = raw.get("edges") if isinstance(raw, dict) else None
        if order is None or not isinstance(sides, list) or len(sides) < 2:
            continue
        names = {edge.rpartition(".")[0] for side in sides for edge in _row(side)}
        if pieces is not None and not names & pieces:
            continue
        block = survey.blocks["seam"][index] if index < len(survey.blocks.get("seam", [])) else None
        ease = block["ease"] if block is not None else 0.0
        ratio = block["ratio"] if block is not None else 1.0
        tolerance = block["tolerance"] if block is not None else None
        between = block["ease_between"] if block is not None else None
        try:
            found += walk_sides(
                order, sides, ease=ease, ratio=ratio, tolerance=tolerance, between=between, index=index
            )
        except NestingError:
            continue
    return found


def _row(side: Side) -> list[str]:
    return [side] if isinstance(side, str) else list(side)


def walk_sides(
    order: Order,
    sides: Sequence[Side],
    *,
    ease: float = 0.0,
    ratio: float = 1.0,
    tolerance: float | None = None,
    between: tuple[str, str] | None = None,
    index: int = -1,
) -> list[SeamDoc]:
    """The seam in each size that has all its pieces: exactly what ``nesting check`` walks.

    Raises OrderError where an edge is not there, fewer than two sides are given, or ease cannot be placed so.
    """
    if len(sides) < 2:
        raise OrderError("a seam has two sides: click an edge, then its partner", key="seam", code="page.seam-sides")
    rows = [_row(side) for side in sides]
    for edge in (edge for row in rows for edge in row):
        piece, _, name = edge.rpartition(".")
        there = dict.fromkeys(e for cut in order.pieces if cut.name == piece for e in edge_names(cut.piece))
        if name not in there:
            raise OrderError(
                f"there is no edge '{name}' on '{piece}'; it has {', '.join(there) or 'none'}",
                key="seam",
                piece=piece,
                code="edge.unknown",
            )
    seam = Seam(
        tuple(edge for row in rows for edge in row),
        ease,
        ratio,
        tolerance,
        counts=tuple(len(row) for row in rows),
        ease_between=between if ease else None,
    )
    return [_walked(order, seam, sewn, index) for sewn in sewn_in_sizes(seam, order.pieces, file=order.path)]


def _walked(order: Order, seam: Seam, sewn: Sewn, index: int) -> SeamDoc:
    walked = sewn.walked
    partners: dict[tuple[int, Point], tuple[float, float]] = {}
    for gap in walked.notches:
        partners[gap.first, gap.at[0]] = (gap.along, gap.difference)
        partners[gap.edge, gap.at[1]] = (gap.along, gap.difference)
    lone = {(number, mark.at) for number, mark in walked.lone}
    sides: list[SeamSide] = []
    for k, numbers in enumerate(walked.sides):
        # in the order in which they lie; what lies there twice is drawn once
        runs = list(dict.fromkeys(run.edge for run in walked.laid[k].runs[:: -1 if walked.laid[k].mirrored else 1]))
        laid = runs[::-1] if walked.laid[k].mirrored else runs
        assert set(laid) == set(numbers)
        sides.append(_side(sewn, laid, walked, k, partners, lone))
    return {
        "index": index,
        "size": sewn.size,
        "sides": sides,
        "difference": round(walked.difference, 3),
        "tolerance": round(walked.tolerance, 3),
        "agrees": walked.agrees,
        "messages": [plain(one.message, one.code) for one in walked.told(lambda mm: small_length(mm, order.imperial))],
        "no_centre": list(walked.no_centre),
        "ease": seam.ease,
        "ratio": seam.ratio,
    }


def drawn_edge(cut: CutPiece, edge: str) -> list[Point]:
    """The seam line of an edge, in the frame of the drawing as far as the piece was not altered."""
    piece = cut.piece
    found = next(e for e in piece.edges if e.name == edge)
    contour = Contour(cleaned(piece.seam if piece.seam is not None else piece.outline))
    a, b = contour.locate(found.start)[0], contour.locate(found.end)[0]
    return list(contour.stretch(a, b))


def _turned(points: Sequence[Point], cut: CutPiece) -> list[Point]:
    a = math.radians(float(dict(cut.piece.extra).get(GRAIN_KEY, "0")))
    c, s = math.cos(a), math.sin(a)
    return [(c * x - s * y, s * x + c * y) for x, y in points]


def _side(
    sewn: Sewn,
    numbers: Sequence[int],
    walked: WalkedSeam,
    k: int,
    partners: dict[tuple[int, Point], tuple[float, float]],
    lone: set[tuple[int, Point]],
) -> SeamSide:
    """A side laid along x from the common end, its edges one after the other; the second side lies flipped, right sides
    together, so that both bend the same way where they fit."""
    mirrored = k > 0
    drawn: list[list[list[float]]] = []
    marks: list[dict[str, Any]] = []
    joins: list[float] = []
    parts: list[list[list[float]]] = []
    walks: list[WalkedEdge] = []
    shift, walked_to = 0.0, 0.0
    for number in numbers:
        cut, back = sewn.pieces[number], walked.backwards[number]
        edge = walked.edges[number].rpartition(".")[2]
        walk = walk_edge(cut.piece, edge)
        walks.append(walk)
        points = drawn_edge(cut, edge)
        parts.append(line(_turned(points, cut)))
        run = points[::-1] if back else points
        (ax, ay), (bx, by) = run[0], run[-1]
        chord = math.dist(run[0], run[-1]) or 1.0
        c, s = (bx - ax) / chord, (by - ay) / chord
        # an outline runs anticlockwise, so the inside of the piece lies to its left: above it here, unless backwards
        flip = -1.0 if back else 1.0
        if mirrored:
            flip = -flip

        def laid(p: Point, a: Point = (ax, ay), d: Point = (c, s), f: float = flip, x0: float = shift) -> list[float]:
            dx, dy = p[0] - a[0], p[1] - a[1]
            return [round(x0 + d[0] * dx + d[1] * dy, 3), round(f * (-d[1] * dx + d[0] * dy), 3)]

        drawn.append([laid(p) for p in run])
        for mark in walk.marks:
            along = walk.length - mark.along if back else mark.along
            marks.append(
                _mark(
                    mark,
                    walked_to + along,
                    laid(mark.at),
                    partners.get((number, mark.at)),
                    (number, mark.at) in lone,
                    walked.tolerance,
                )
            )
        shift = drawn[-1][-1][0]
        walked_to += walk.length
        joins.append(round(walked_to, 3))
    return {
        "edges": [walked.edges[n] for n in numbers],
        "pieces": [piece_id(sewn.pieces[n].name, sewn.pieces[n].size) for n in numbers],
        "length": round(walked.lengths[k], 3),
        "wanted": round(walked.wanted[k], 3),
        "drawn": drawn,
        "joins": joins[:-1],
        "marks": sorted(marks, key=lambda m: float(m["along"])),
        "half": any(w.half for w in walks),
        "mirrored": mirrored,
        "centre": all(w.centre is not None for w in walks),
        "parts": parts,
    }


def _mark(
    mark: Mark,
    along: float,
    at: list[float],
    partner: tuple[float, float] | None,
    lone: bool,
    tolerance: float,
) -> dict[str, Any]:
    return {
        "along": round(along, 3),
        "x": at[0],
        "y": at[1],
        "name": mark.name,
        "partner": round(partner[0], 3) if partner is not None else None,
        "misses": round(partner[1], 3) if partner is not None else None,
        "agrees": abs(partner[1]) <= tolerance if partner is not None else not lone,
    }
