"""The view of seams: both sides of each, walked and drawn side by side, with what does not meet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from nesting.checking.judging import small_length
from nesting.model.errors import NestingError, OrderError
from nesting.model.order import CutPiece, Order
from nesting.model.piece import Point
from nesting.model.tolerances import SEAM_MM
from nesting.page.documents import SeamDoc, SeamsDoc, SeamSide
from nesting.page.proposals import seam_proposals
from nesting.page.survey import Survey
from nesting.page.words import line, piece_id
from nesting.pieces.contour import Contour, cleaned
from nesting.pieces.grain import GRAIN_KEY
from nesting.pieces.seams import PARTNER_MM, Mark, WalkedEdge, edge_names, walk_edge, walk_seam

__all__ = ["Side", "drawn_edge", "seams_doc", "seams_of", "walk_sides"]

#: one edge "piece.edge", or several in a row
Side = str | Sequence[str]


def seams_doc(survey: Survey, rev: int) -> SeamsDoc:
    """All seams of the order, in every size, and edges that are in none."""
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
    return {"rev": rev, "seams": seams, "proposals": seam_proposals(survey), "loose": loose}


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
        try:
            found += walk_sides(order, sides, ease=ease, ratio=ratio, tolerance=tolerance, index=index)
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
    index: int = -1,
) -> list[SeamDoc]:
    """The seam in each size that has all its pieces.

    Raises OrderError where an edge is not there, or fewer than two sides are given.
    """
    if len(sides) < 2:
        raise OrderError("a seam has two sides: click an edge, then its partner", key="seam", code="page.seam-sides")
    rows = [_row(side) for side in sides]
    names = [edge.rpartition(".")[0] for row in rows for edge in row]
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
    docs = []
    for size in _sizes(order, names):
        cuts = [[order.cut_piece(edge.rpartition(".")[0], size) for edge in row] for row in rows]
        docs.append(_walked(order, rows, cuts, size, ease, ratio, tolerance, index))
    return docs


def _sizes(order: Order, names: Sequence[str]) -> list[str | None]:
    sizes: list[str | None] = list(
        dict.fromkeys(cut.size for cut in order.pieces if cut.name in names and cut.size is not None)
    )
    usable = []
    for size in sizes or [None]:
        try:
            for name in names:
                order.cut_piece(name, size)
        except KeyError:
            continue
        usable.append(size)
    return usable


def _walked(
    order: Order,
    rows: list[list[str]],
    cuts: list[list[CutPiece]],
    size: str | None,
    ease: float,
    ratio: float,
    tolerance: float | None,
    index: int,
) -> SeamDoc:
    if all(len(row) == 1 for row in rows):
        return _plain(order, [row[0] for row in rows], [row[0] for row in cuts], size, ease, ratio, tolerance, index)
    return _in_rows(order, rows, cuts, size, ease, ratio, tolerance, index)


def _plain(
    order: Order,
    names: list[str],
    cuts: list[CutPiece],
    size: str | None,
    ease: float,
    ratio: float,
    tolerance: float | None,
    index: int,
) -> SeamDoc:
    """One edge on each side: exactly what ``nesting check`` walks."""
    edges = [(cut.piece, name.rpartition(".")[2]) for cut, name in zip(cuts, names, strict=True)]
    pairs = [cut.mirrored and not cut.on_fold for cut in cuts]
    seam = walk_seam(edges, names, ease=ease, ratio=ratio, tolerance=tolerance, pairs=pairs)
    sides: list[SeamSide] = []
    for k, (cut, name) in enumerate(zip(cuts, names, strict=True)):
        walked = walk_edge(cut.piece, edges[k][1])
        partners: dict[Point, tuple[float, float]] = {}
        for gap in seam.notches:
            if k == 0:
                partners[gap.at[0]] = (gap.along, gap.difference)
            elif gap.edge == k:
                partners[gap.at[1]] = (gap.along, gap.difference)
        lone = {mark.at for number, mark in seam.lone if number == k}
        back = seam.backwards[k]
        sides.append(
            _side(
                [name], [cut], [walked], [back], seam.lengths[k], seam.wanted[k], seam.tolerance, partners, lone, k > 0
            )
        )
    return {
        "index": index,
        "size": size,
        "sides": sides,
        "difference": round(seam.difference, 3),
        "tolerance": round(seam.tolerance, 3),
        "agrees": seam.agrees,
        "messages": list(seam.messages(lambda mm: small_length(mm, order.imperial))),
        "no_centre": list(seam.no_centre),
        "ease": ease,
        "ratio": ratio,
    }


def _in_rows(
    order: Order,
    rows: list[list[str]],
    cuts: list[list[CutPiece]],
    size: str | None,
    ease: float,
    ratio: float,
    tolerance: float | None,
    index: int,
) -> SeamDoc:
    """One edge against several in a row: the row is as long as its edges together, each counted as often as it is
    sewn."""
    allowed = SEAM_MM if tolerance is None else tolerance
    walks = [
        [walk_edge(cut.piece, name.rpartition(".")[2]) for cut, name in zip(row_cuts, row, strict=True)]
        for row_cuts, row in zip(cuts, rows, strict=True)
    ]
    halves = [all(c.on_fold or c.mirrored for c in cs) for cs in cuts]
    opened = not all(halves)
    lengths = [
        math.fsum(
            w.length * (2.0 if opened and (c.on_fold or c.mirrored) else 1.0) for w, c in zip(ws, cs, strict=True)
        )
        for ws, cs in zip(walks, cuts, strict=True)
    ]
    wanted = [lengths[0], *(ratio * lengths[0] + (ease if opened else ease / 2) for _ in lengths[1:])]
    differences: list[float] = [length - want for length, want in zip(lengths, wanted, strict=True)]
    worst = max(differences, key=lambda d: abs(d))
    messages = []
    for row, length, want in zip(rows, lengths, wanted, strict=True):
        if abs(length - want) > allowed:
            longer = "longer" if length > want else "shorter"
            messages.append(
                f"{' + '.join(row)} is {small_length(abs(length - want), order.imperial)} {longer} than "
                f"{' + '.join(rows[0])} ({small_length(length, order.imperial)} against "
                f"{small_length(want, order.imperial)})"
            )
    sides = [
        _side(row, row_cuts, ws, [False] * len(row), length, want, allowed, {}, set(), k > 0)
        for k, (row, row_cuts, ws, length, want) in enumerate(zip(rows, cuts, walks, lengths, wanted, strict=True))
    ]
    first = sides[0]["marks"]
    for k, side in enumerate(sides[1:], 1):
        scale = (wanted[k] / lengths[0]) if lengths[0] else 1.0
        for mark in side["marks"]:
            near = min(first, key=lambda m, a=mark["along"], f=scale: abs(m["along"] * f - a), default=None)  # type: ignore[misc]
            if near is not None and abs(near["along"] * scale - mark["along"]) <= PARTNER_MM:
                miss = round(mark["along"] - near["along"] * scale, 3)
                for one, other in ((mark, near), (near, mark)):
                    one.update(partner=other["along"], misses=miss, agrees=abs(miss) <= allowed)
    return {
        "index": index,
        "size": size,
        "sides": sides,
        "difference": round(worst, 3),
        "tolerance": round(allowed, 3),
        "agrees": not messages,
        "messages": messages,
        "no_centre": [],
        "ease": ease,
        "ratio": ratio,
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
    names: list[str],
    cuts: list[CutPiece],
    walks: list[WalkedEdge],
    backwards: list[bool],
    length: float,
    wanted: float,
    tolerance: float,
    partners: dict[Point, tuple[float, float]],
    lone: set[Point],
    mirrored: bool,
) -> SeamSide:
    """A side laid along x from the common end, its edges one after the other; the second side lies flipped, right sides
    together, so that both bend the same way where they fit."""
    drawn: list[list[list[float]]] = []
    marks: list[dict[str, Any]] = []
    joins: list[float] = []
    parts: list[list[list[float]]] = []
    shift, walked_to = 0.0, 0.0
    for name, cut, walk, back in zip(names, cuts, walks, backwards, strict=True):
        points = drawn_edge(cut, name.rpartition(".")[2])
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
            marks.append(_mark(mark, walked_to + along, laid(mark.at), partners, lone, tolerance))
        shift = drawn[-1][-1][0]
        walked_to += walk.length
        joins.append(round(walked_to, 3))
    return {
        "edges": names,
        "pieces": [piece_id(cut.name, cut.size) for cut in cuts],
        "length": round(length, 3),
        "wanted": round(wanted, 3),
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
    partners: dict[Point, tuple[float, float]],
    lone: set[Point],
    tolerance: float,
) -> dict[str, Any]:
    partner = partners.get(mark.at)
    return {
        "along": round(along, 3),
        "x": at[0],
        "y": at[1],
        "name": mark.name,
        "partner": round(partner[0], 3) if partner is not None else None,
        "misses": round(partner[1], 3) if partner is not None else None,
        "agrees": abs(partner[1]) <= tolerance if partner is not None else mark.at not in lone,
    }
