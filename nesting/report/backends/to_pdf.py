"""A scene as vector PDF (reportlab), true to scale: 1 mm on paper is 1 mm of the scene.

A scene is drawn once as a form and shown on as many pages as needed.
"""

from __future__ import annotations

import io
import math
from typing import Any

from nesting.report.drawing.fonts import BOLD, PLAIN, register, shown
from nesting.report.drawing.scene import Scene, Shape, Text

__all__ = ["MM", "PAPERS", "canvas_for", "colour", "draw_items", "finished", "pdf_bytes"]

#: points in a millimetre (1 pt = 1/72 in, 1 in = 25.4 mm)
MM = 72.0 / 25.4

#: Paper sizes in mm, portrait: ISO 216 (A3, A4), ANSI/ASME Y14.1 size A (8.5 x 11 in).
PAPERS: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "a3": (297.0, 420.0), "letter": (215.9, 279.4)}


def canvas_for(title: str, width: float, height: float) -> tuple[Any, io.BytesIO]:
    """A canvas with a first page of ``width`` × ``height`` mm, and the stream that it writes to."""
    from reportlab import rl_config
    from reportlab.pdfgen.canvas import Canvas

    register()
    # streams as bytes: writing them in 85 letters takes a quarter more room, and time
    rl_config.useA85 = 0
    stream = io.BytesIO()
    # invariant: the same lay gives the same file
    canvas = Canvas(stream, pagesize=(width * MM, height * MM), pageCompression=1, invariant=1)
    canvas.setTitle(shown(title))
    canvas.setCreator("nesting")
    return canvas, stream


def finished(canvas: Any, stream: io.BytesIO) -> bytes:
    """The file."""
    canvas.save()
    return stream.getvalue()


def pdf_bytes(scene: Scene) -> bytes:
    """The scene on one page of its own size."""
    canvas, stream = canvas_for(scene.title, scene.width, scene.height)
    if scene.background:
        canvas.setFillColor(colour(scene.background))
        canvas.rect(0, 0, scene.width * MM, scene.height * MM, stroke=0, fill=1)
    canvas.translate(-scene.box[0] * MM, -scene.box[1] * MM)
    draw_items(canvas, scene)
    canvas.showPage()
    return finished(canvas, stream)


def draw_items(canvas: Any, scene: Scene, scale: float = 1.0) -> None:
    """Draw the items, ``scale`` × their size, at the canvas's origin."""
    canvas.saveState()
    canvas.scale(MM * scale, MM * scale)
    canvas.setLineJoin(1)
    for item in scene.items:
        if isinstance(item, Text):
            _text(canvas, item)
        else:
            _shape(canvas, item)
    canvas.restoreState()


def _shape(canvas: Any, shape: Shape) -> None:
    path = canvas.beginPath()
    for line in shape.lines:
        path.moveTo(*line[0])
        for point in line[1:]:
            path.lineTo(*point)
        if shape.closed:
            path.close()
    if shape.fill:
        canvas.setFillColor(colour(shape.fill))
        if shape.opacity < 1:
            canvas.setFillAlpha(shape.opacity)
    if shape.stroke:
        canvas.setStrokeColor(colour(shape.stroke.colour))
        canvas.setLineWidth(shape.stroke.width)
        canvas.setDash(*((list(shape.stroke.dash), 0) if shape.stroke.dash else ([], 0)))
    canvas.drawPath(path, stroke=1 if shape.stroke else 0, fill=1 if shape.fill else 0, fillMode=0)
    if shape.fill and shape.opacity < 1:
        canvas.setFillAlpha(1.0)


def _text(canvas: Any, text: Text) -> None:
    canvas.saveState()
    canvas.translate(*text.at)
    if text.turn % 360.0:
        a = math.radians(text.turn)
        canvas.transform(math.cos(a), math.sin(a), -math.sin(a), math.cos(a), 0, 0)
    canvas.setFont(BOLD if text.bold else PLAIN, text.size)
    canvas.setFillColor(colour(text.colour))
    draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}[text.anchor]
    draw(0, 0, shown(text.words))
    canvas.restoreState()


def colour(hexed: str) -> Any:
    """reportlab's colour for "#rrggbb"."""
    from reportlab.lib.colors import HexColor

    return HexColor(hexed)
