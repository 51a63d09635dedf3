"""A scene as a picture (PNG), drawn by matplotlib's Agg renderer."""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from nesting.report.drawing.fonts import font_file, shown
from nesting.report.drawing.scene import Scene, Shape, Text

__all__ = ["png_bytes"]

_MOST_PIXELS = 12_000_000


def png_bytes(scene: Scene, *, pixels: int = 2400, em: float | None = None) -> bytes:
    """The scene with its longer side ``pixels`` long, or more, so that ``em`` mm come to 14 pixels and can be read.

    Less where the picture would grow beyond 12 megapixels.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.font_manager import FontProperties

    w, h = scene.width, scene.height
    scale = max(pixels / max(w, h), 14.0 / em if em else 0.0)
    scale = min(scale, (_MOST_PIXELS / (w * h)) ** 0.5)
    dpi = 100.0
    figure = Figure(figsize=(max(1, round(w * scale)) / dpi, max(1, round(h * scale)) / dpi), dpi=dpi)
    FigureCanvasAgg(figure)
    figure.patch.set_facecolor(scene.background or "white")
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(scene.box[0], scene.box[2])
    axes.set_ylim(scene.box[1], scene.box[3])
    axes.set_axis_off()
    points = scale * 72.0 / dpi
    fonts = {bold: FontProperties(fname=str(font_file(bold))) for bold in (False, True)}

    for order, item in enumerate(scene.items):
        if isinstance(item, Text):
            font = fonts[item.bold].copy()
            font.set_size(item.size * points)
            align = {"start": "left", "middle": "center", "end": "right"}[item.anchor]
            axes.text(
                *item.at,
                shown(item.words).replace("$", r"\$"),
                fontproperties=font,
                color=item.colour,
                rotation=item.turn,
                rotation_mode="anchor",
                ha=align,
                va="baseline",
                zorder=order,
            )
            continue
        axes.add_patch(_patch(item, points, order))
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=dpi)
    return stream.getvalue()


def _patch(shape: Shape, points: float, order: int) -> Any:
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    vertices, codes = [], []
    for line in shape.lines:
        xy = np.asarray(line, dtype=float)
        code = np.full(len(xy), Path.LINETO, dtype=np.uint8)
        code[0] = Path.MOVETO
        if shape.closed:
            xy = np.vstack([xy, xy[:1]])
            code = np.append(code, np.uint8(Path.CLOSEPOLY))
        vertices.append(xy)
        codes.append(code)
    pen = shape.stroke
    width = pen.width * points if pen else 0.0
    # matplotlib counts dashes in line widths
    style = (0, tuple(d / pen.width for d in pen.dash)) if pen and pen.dash else "solid"
    return PathPatch(
        Path(np.vstack(vertices), np.concatenate(codes)),
        facecolor=shape.fill or "none",
        edgecolor=pen.colour if pen else "none",
        linewidth=width,
        linestyle=style,
        joinstyle="round",
        capstyle="butt",
        alpha=shape.opacity,
        zorder=order,
        clip_on=False,
    )
