"""Traced pieces as a drawing that ``nesting`` reads like any other, with their origin and error."""

from __future__ import annotations

import math
from collections.abc import Sequence
from xml.sax.saxutils import escape, quoteattr

import numpy as np
import numpy.typing as npt

from nesting.model.piece import Point
from nesting.outlines.trace import Traced, TracedPiece
from nesting.outlines.trace_answers import Answers, fold_of, grain_of, notches_of

__all__ = ["preview_png", "traced_svg"]

_MARGIN = 10.0


def traced_svg(traced: Traced, answers: Sequence[Answers], *, scan: bool = False) -> str:
    """The pieces side by side as they lay, mm. ``answers`` one for each piece. Raises InputError for an answer that
    names what is not there; ValueError for another number of answers."""
    if len(answers) != len(traced.pieces):
        raise ValueError(f"{len(answers)} answers for {len(traced.pieces)} pieces")
    every = [p for piece in traced.pieces for p in piece.outline]
    x0, y1 = min(p[0] for p in every) - _MARGIN, max(p[1] for p in every) + _MARGIN
    w, h = max(p[0] for p in every) + _MARGIN - x0, y1 - min(p[1] for p in every) + _MARGIN

    def at(p: Point) -> str:
        return f"{p[0] - x0:.3f},{y1 - p[1]:.3f}"

    def line(role: str, a: Point, b: Point) -> str:
        (ax, ay), (bx, by) = at(a).split(","), at(b).split(",")
        return f'  <line class="{role}" x1="{ax}" y1="{ay}" x2="{bx}" y2="{by}" fill="none" stroke="black"/>'

    origin = ("scan " if scan else "photograph ") + ", ".join(traced.pictures)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w:.3f}mm" height="{h:.3f}mm" viewBox="0 0 {w:.3f} {h:.3f}">',
        "<style>path,line{fill:none;stroke:black;stroke-width:0.3}.sew,.grain{stroke-dasharray:3 1}</style>",
    ]
    for piece, said in zip(traced.pieces, answers, strict=True):
        size = f" data-size={quoteattr(said.size)}" if said.size else ""
        out.append(
            f'<g id={quoteattr(said.name)}{size} data-error="{math.ceil(piece.error * 100) / 100:.2f}" '
            f"data-origin={quoteattr(origin)}>"
        )
        out.append(f" <desc>{escape(f'traced from {origin}: {piece.promise.text()}')}</desc>")
        path = "M" + "L".join(at(p) for p in piece.outline) + "Z"
        role = "sew" if said.line == "sewn" else "cut"
        out.append(f'  <path class="{role}" d="{path}" fill="none" stroke="black"/>')
        fold, grain = fold_of(piece, said), grain_of(piece, said)
        if fold is not None:
            out.append(line("fold", *fold))
        if grain is not None:
            out.append(line("grain", *grain))
        for k in notches_of(piece, said):
            notch = piece.notches[k]
            a = math.radians(notch.direction)
            depth = max(3.0, notch.depth)
            end = (notch.at[0] + depth * math.cos(a), notch.at[1] + depth * math.sin(a))
            out.append(line("notch", notch.at, end))
        out.append("</g>")
    out.append("</svg>")
    return "\n".join(out) + "\n"


def preview_png(traced: Traced) -> bytes:
    """A picture of the ground from above with the outlines, their edges and the proposals numbered, as the questions
    name them."""
    import cv2

    ground = traced.ground
    image = np.asarray(cv2.cvtColor(ground.lab, cv2.COLOR_LAB2BGR))
    scale = 2 if max(image.shape) < 1500 else 1
    canvas = (np.clip(image, 0, 1) * 255).astype(np.uint8)[::-1]
    canvas = np.ascontiguousarray(cv2.resize(canvas, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC))
    height = canvas.shape[0]

    def spot(p: Point) -> tuple[int, int]:
        x, y = np.asarray(p) - ground.low
        return round(float(x + 0.5) * scale), round(height - float(y + 0.5) * scale)

    def say(text: str, p: Point, colour: tuple[int, int, int]) -> None:
        x, y = spot(p)
        for width, tone in ((5, (255, 255, 255)), (2, colour)):
            cv2.putText(canvas, text, (x - 8, y + 8), cv2.FONT_HERSHEY_SIMPLEX, 0.45 * scale, tone, width, cv2.LINE_AA)

    for piece in traced.pieces:
        _draw(canvas, piece, spot, say)
    ok, data = cv2.imencode(".png", canvas)
    if not ok:
        raise ValueError("the preview could not be written as PNG")
    return bytes(np.asarray(data).tobytes())


def _draw(canvas: npt.NDArray[np.uint8], piece: TracedPiece, spot: object, say: object) -> None:
    import cv2

    place, tell = spot, say
    assert callable(place) and callable(tell)
    ring = np.array([place(p) for p in piece.outline])
    cv2.polylines(canvas, [ring], True, (255, 255, 255), 4, cv2.LINE_AA)
    cv2.polylines(canvas, [ring], True, (0, 0, 0), 2, cv2.LINE_AA)
    for k, (points, straight) in enumerate(piece.runs, 1):
        cv2.circle(canvas, place(points[0]), 5, (0, 0, 0), -1, cv2.LINE_AA)
        middle = points[len(points) // 2] if len(points) > 2 else tuple((np.array(points[0]) + points[-1]) / 2)
        tell(f"{k}" if straight else f"({k})", middle, (0, 0, 0))
    for k, notch in enumerate(piece.notches, 1):
        cv2.circle(canvas, place(notch.at), 9, (0, 0, 0), 2, cv2.LINE_AA)
        tell(f"n{k}", notch.at, (0, 0, 160))
    for k, grain in enumerate(piece.grain, 1):
        cv2.line(canvas, place(grain.start), place(grain.end), (160, 60, 0), 2, cv2.LINE_AA)
        tell(f"g{k}", grain.start, (160, 60, 0))
