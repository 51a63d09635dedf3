"""A scene as a picture (PNG): drawn as vectors first (``to_pdf``), then rendered by pdfium."""

from __future__ import annotations

import io
from dataclasses import replace

from nesting.report.backends.to_pdf import MM, canvas_for, colour, draw_items, finished
from nesting.report.drawing.scene import Scene, Shape
from nesting.report.drawing.shapes import thinned

__all__ = ["png_bytes"]

#: pixels: what the corners of a line may be off in the picture, so that points closer together are left out
_OFF = 0.1
_MOST_PIXELS = 12_000_000
#: mm. The page that is rendered is no longer than that, as a PDF's page has its limits.
_PAGE_MM = 1000.0


def png_bytes(scene: Scene, *, pixels: int = 2400, em: float | None = None) -> bytes:
    """The scene with its longer side ``pixels`` long, or more, so that ``em`` mm come to 14 pixels and can be read.

    Less where the picture would grow beyond 12 megapixels.
    """
    from pypdfium2 import PdfDocument

    w, h = scene.width, scene.height
    scale = max(pixels / max(w, h), 14.0 / em if em else 0.0)
    scale = min(scale, (_MOST_PIXELS / (w * h)) ** 0.5)
    paper = min(1.0, _PAGE_MM / max(w, h))
    canvas, stream = canvas_for(scene.title, w * paper, h * paper)
    canvas.setFillColor(colour(scene.background or "#ffffff"))
    canvas.rect(0, 0, w * paper * MM, h * paper * MM, stroke=0, fill=1)
    canvas.translate(-scene.box[0] * paper * MM, -scene.box[1] * paper * MM)
    draw_items(canvas, _coarse(scene, _OFF / scale), paper)
    canvas.showPage()
    document = PdfDocument(finished(canvas, stream))
    try:
        # a hair less, as pdfium rounds the size in pixels up
        size = max(round(max(w, h) * scale), 1) - 1e-3
        image = document[0].render(scale=size / (max(w, h) * paper * MM)).to_pil().convert("RGB")
    finally:
        document.close()
    out = io.BytesIO()
    image.save(out, format="PNG", compress_level=2)
    return out.getvalue()


def _coarse(scene: Scene, tolerance: float) -> Scene:
    """The scene with fewer points, as exact as a picture of it can show; ``tolerance`` in mm."""

    def coarse(item: Shape) -> Shape:
        return replace(item, lines=tuple(thinned(line, tolerance) if item.closed else line for line in item.lines))

    return replace(scene, items=tuple(coarse(one) if isinstance(one, Shape) else one for one in scene.items))
