"""From the piece as drawn to the piece that is laid."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
from shapely.geometry import LineString, Point, Polygon
from shapely.validation import explain_validity

from nesting.model.errors import OrderError, PatternError
from nesting.model.findings import Finding
from nesting.model.order import AlteredStep
from nesting.model.piece import Piece, Ring
from nesting.model.tolerances import JOIN_GAP_MM
from nesting.pieces.alter import altered_in_steps
from nesting.pieces.body import body_of
from nesting.pieces.contour import cleaned, signed_area
from nesting.pieces.edge_walk import edge_names, with_centre_notches, with_fold_notches
from nesting.pieces.edges import anchors_of, edges_along
from nesting.pieces.finishes import finished, seam_from_allowance
from nesting.pieces.grain import grained, in_exact_grain_frame, with_fold
from nesting.pieces.wishes import Preparation

__all__ = ["prepare", "prepared", "sound", "sound_ring"]


def sound_ring(ring: Ring, what: str, *, file: str | None, piece: str) -> Ring:
    """The ring without doubled points, anticlockwise. Raises PatternError if it is not simple or encloses nothing."""
    if not all(math.isfinite(c) for p in ring for c in p):
        raise PatternError(
            f"the {what} has a coordinate that is no number: draw it again",
            file=file,
            piece=piece,
            code="drawing.not-finite",
        )
    ring = cleaned(ring)
    if len(ring) < 3 or LineString(ring).convex_hull.area < 1e-6:
        raise PatternError(
            f"the {what} encloses no area: draw it as one closed line", file=file, piece=piece, code="outline.no-area"
        )
    polygon = Polygon(np.asarray(ring))
    if not polygon.is_valid:
        x, y = _where(explain_validity(polygon), ring)
        raise PatternError(
            f"the {what} crosses or touches itself at ({x:.1f}, {y:.1f}) mm of the drawing: draw it as one simple "
            "closed line",
            file=file,
            piece=piece,
            code="outline.crosses",
            figures={"x": x, "y": y},
        )
    return ring if signed_area(ring) > 0 else ring[::-1]


def _where(explanation: str, ring: Ring) -> tuple[float, float]:
    """The place out of the geometry library's words, "Self-intersection[12.3 45.6]", or a point of the ring."""
    numbers = explanation.partition("[")[2].rstrip("]").split()
    try:
        return float(numbers[0]), float(numbers[1])
    except (IndexError, ValueError):
        return ring[0]


def sound(piece: Piece, *, file: str | None = None) -> Piece:
    """The piece with its outlines anticlockwise and without doubled points. Raises PatternError if they are unsound."""
    return replace(
        piece,
        outline=sound_ring(piece.outline, "cut outline", file=file, piece=piece.label),
        seam=sound_ring(piece.seam, "seam outline", file=file, piece=piece.label) if piece.seam is not None else None,
    )


def prepare(drawn: Piece, how: Preparation, *, file: str | None = None) -> tuple[Piece, tuple[Finding, ...]]:
    """The piece ready to be laid, and what there is to tell about it; see ``prepared``."""
    return prepared(drawn, how, file=file)[:2]


def prepared(
    drawn: Piece, how: Preparation, *, file: str | None = None
) -> tuple[Piece, tuple[Finding, ...], tuple[AlteredStep, ...]]:
    """The piece ready to be laid: fold and grain, edges, alterations, finishes, then the grain frame.

    Returns the piece in its grain frame, what there is to tell about it, and what each alteration does. ``seam`` is set
    where the seam outline is
    known (drawn, or told by an allowance or a finish); named edges end on it, otherwise on the cut outline.
    Raises PatternError where the drawing cannot be used as asked, OrderError where the order names something that the
    drawing does not have.
    """
    return _prepared(drawn, how, file or drawn.file)


# an order under somebody's hands is read anew with every change, and most of its pieces are as they were
@lru_cache(maxsize=256)
def _prepared(
    drawn: Piece, how: Preparation, file: str | None
) -> tuple[Piece, tuple[Finding, ...], tuple[AlteredStep, ...]]:
    piece = replace(sound(drawn, file=file), file=file)
    anchors = anchors_of(piece)
    findings: list[Finding] = []
    piece, found = with_fold(piece, how.fold, file=file)
    findings += found
    piece, found = grained(piece, how.grain, file=file)
    findings += found

    changes = bool(how.finishes or how.trim_short or how.alterations)
    body = body_of(piece, how.edges, anchors, file=file, follow_cut=changes)
    if how.allowance:
        if piece.seam is not None:
            findings.append(
                Finding(
                    "ignored",
                    "the seam outline is drawn, so the allowance in the order is not used",
                    file,
                    piece.label,
                    code="finish.allowance-not-used",
                )
            )
        else:
            body = seam_from_allowance(body, how.allowance)
    if piece.seam is not None and not how.finishes and set(piece.seam) == set(piece.outline):
        told = "the cut outline is the seam outline, without any allowance: give the edges a finish if they need one"
        findings.append(Finding("warning", told, file, piece.label, code="seam-line.same-as-cut"))
    steps: tuple[AlteredStep, ...] = ()
    if how.alterations:
        body, found, steps = altered_in_steps(body, how.alterations)
        findings += found
    body, found = finished(body, how.finishes, how.trim_short)
    findings += found
    if changes:
        ready = body.as_piece()
        ready = replace(ready, outline=sound_ring(ready.outline, "finished cut outline", file=file, piece=piece.label))
    else:
        ready = replace(
            piece,
            edges=edges_along(body.spans),
            seam=body.seam_ring if body.seam_known and piece.seam is None else piece.seam,
        )
    for name in (*how.add_centre_notches, *how.add_fold_notches):
        if name not in edge_names(ready):
            raise OrderError(
                f"there is no edge '{name}' on this piece; its edges are {', '.join(edge_names(ready))}",
                file=file,
                piece=piece.label,
                key="add_centre_notches",
                code="edge.unknown",
            )
    ready, found = with_centre_notches(ready, how.add_centre_notches)
    findings += found
    ready, found = with_fold_notches(ready, how.add_fold_notches)
    findings += found
    findings += _strays(ready)
    return in_exact_grain_frame(ready), tuple(findings), steps


def _strays(piece: Piece) -> list[Finding]:
    """Marks and lines that the finished outline no longer holds; a cutout that it crosses is an error."""
    outline = Polygon(np.asarray(piece.outline)).buffer(JOIN_GAP_MM)
    for ring in piece.cutouts:
        if not outline.covers(Polygon(ring)):
            x, y = Polygon(ring).centroid.coords[0]
            raise PatternError(
                f"the cutout at ({x:.1f}, {y:.1f}) mm of the drawing reaches over the cut outline: move it, or change "
                "the finish of that edge",
                file=piece.file,
                piece=piece.label,
                code="cutout.outside",
                figures={"x": x, "y": y},
            )
    found = []
    out = [d for d in piece.drills if not outline.covers(Point(d.at))]
    if out:
        found.append(
            Finding(
                "warning",
                f"{len(out)} drill marks lie outside the cut outline",
                piece.file,
                piece.label,
                code="drill.outside",
            )
        )
    return found
