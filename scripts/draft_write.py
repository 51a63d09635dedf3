"""Drafted pieces as files: SVG with real curves, and DXF blocks with the layers of ASTM D6673."""

from __future__ import annotations

import io
import logging
import math
from collections.abc import Sequence
from xml.sax.saxutils import escape, quoteattr

import ezdxf.filemanagement
from draft_blocks import Block
from draft_curves import Curve, Vec, point
from ezdxf.document import Drawing

__all__ = ["dxf_text", "svg_text"]

_MARGIN = 25.0
_SQUARE = 50.0
_STYLE = """
    .cut { fill: none; stroke: #111; stroke-width: 0.8 }
    .sew { fill: none; stroke: #111; stroke-width: 0.35; stroke-dasharray: 4 2 }
    .edge { fill: none; stroke: none }
    .grain { fill: none; stroke: #111; stroke-width: 0.5; marker-start: url(#arrow); marker-end: url(#arrow) }
    .fold { fill: none; stroke: #111; stroke-width: 0.5; stroke-dasharray: 10 2 2 2 }
    .notch { fill: none; stroke: #111; stroke-width: 0.5 }
    .drill { fill: none; stroke: #111; stroke-width: 0.35 }
    .inside { fill: none; stroke: #555; stroke-width: 0.35; stroke-dasharray: 1.5 1.5 }
    .test-square { fill: none; stroke: #111; stroke-width: 0.5 }
    text { font: 6px sans-serif; fill: #111; text-anchor: middle }
"""


def _box(block: Block) -> tuple[float, float, float, float]:
    points = block.outline().flat(0.1)
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return min(xs), min(ys), max(xs), max(ys)


def svg_text(blocks: Sequence[Block], title: str) -> str:
    """One SVG page, true to scale (1 unit = 1 mm), the pieces side by side, y turned to point down."""
    boxes = [_box(block) for block in blocks]
    width = sum(x1 - x0 for x0, _, x1, _ in boxes) + _MARGIN * (len(blocks) + 1)
    height = max(y1 - y0 for _, y0, _, y1 in boxes) + 3 * _MARGIN + _SQUARE
    groups, left = [], _MARGIN
    for block, (x0, _, x1, y1) in zip(blocks, boxes, strict=True):
        groups.append(_svg_group(block, left - x0, _MARGIN + y1))
        left += x1 - x0 + _MARGIN
    top = height - _MARGIN - _SQUARE
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="{width:.3f}mm" height="{height:.3f}mm"
     viewBox="0 0 {width:.3f} {height:.3f}">
  <title>{escape(title)}</title>
  <style>{_STYLE}  </style>
  <defs>
    <marker id="arrow" viewBox="0 0 10 10" refX="9" refY="5" markerWidth="8" markerHeight="8"
            orient="auto-start-reverse">
      <path d="M 1 1.5 L 9 5 L 1 8.5"/>
    </marker>
  </defs>
  <g id="test-square">
    <rect class="test-square" x="{_MARGIN}" y="{top:.3f}" width="{_SQUARE}" height="{_SQUARE}"/>
    <text x="{_MARGIN + _SQUARE / 2}" y="{top + _SQUARE / 2:.3f}">test square 5 cm</text>
  </g>
{"".join(groups)}</svg>
"""


def _svg_group(block: Block, dx: float, dy: float) -> str:
    def at(p: Vec) -> str:
        return f"{p[0] + dx:.4f} {dy - p[1]:.4f}"

    def path(curve: Curve, *, close: bool = False) -> str:
        steps = [f"M {at(curve.start)}"]
        for p in curve.parts:
            steps.append(f"L {at(p.d)}" if p.straight else f"C {at(p.b)} {at(p.c)} {at(p.d)}")
        return " ".join([*steps, "Z"] if close else steps)

    slug = block.name.replace(" ", "-")
    rows = [f"<g id={quoteattr(f'{slug}-{block.size}'.lower())} aria-label={quoteattr(_label(block))}>"]
    rows.append(f'<path class="cut" d="{path(block.outline(), close=True)}"/>')
    rows.append(f'<path class="sew" d="{path(block.seam(), close=True)}"/>')
    for side in block.sides:
        if side.hem:  # sewn to nothing, so nothing calls for its name
            continue
        rows.append(f'<path class="edge" aria-label={quoteattr(f"edge: {side.name}")} d="{path(side.curve)}"/>')
    if block.fold:
        rows.append(f'<path class="fold" d="M {at(block.fold[0])} L {at(block.fold[1])}"/>')
    rows.append(f'<path class="grain" d="M {at(block.grain[0])} L {at(block.grain[1])}"/>')
    for mark in block.marks():
        into = 5.0 * point(math.cos(math.radians(mark.into)), math.sin(math.radians(mark.into)))
        # At the fold a tick inside would hide under the fold line, so it stands outside.
        ends = (mark.at - into, mark.at) if block.fold and _on_line(mark.at, block.fold) else (mark.at, mark.at + into)
        label = quoteattr(f"notch: {mark.name}")
        rows.append(f'<path class="notch" aria-label={label} d="M {at(ends[0])} L {at(ends[1])}"/>')
    for name, curve in block.inside:
        rows.append(f'<path class="inside" aria-label={quoteattr(name)} d="{path(curve)}"/>')
    for name, centre in block.drills:
        x, y = at(centre).split()
        rows.append(f'<circle class="drill" aria-label={quoteattr(f"drill: {name}")} cx="{x}" cy="{y}" r="1.5"/>')
    x, y = at(block.label).split()
    lines = [block.name, f"size {block.size}", *_cutting(block), f"material: {block.material}"]
    spans = "".join(
        f'<tspan x="{x}" dy="{1.3 * block.text_mm if i else 0:g}">{escape(text)}</tspan>'
        for i, text in enumerate(lines)
    )
    rows.append(f'<text x="{x}" y="{y}" style="font-size: {block.text_mm:g}px">{spans}</text>')
    return "  " + "\n    ".join(rows) + "\n  </g>\n"


def _on_line(p: Vec, line: tuple[Vec, Vec]) -> bool:
    u, v = line[1] - line[0], p - line[0]
    return bool(abs(u[0] * v[1] - u[1] * v[0]) < 1e-6 * math.hypot(*u))


def _cutting(block: Block) -> list[str]:
    if block.on_fold:
        return [f"cut {block.cut} on fold"]
    return [f"cut {block.cut} mirrored" if block.mirrored else f"cut {block.cut}"]


def _label(block: Block) -> str:
    return " — ".join([block.name, f"size {block.size}", *_cutting(block), f"material: {block.material}"])


def dxf_text(blocks: Sequence[Block], style: str, sample_size: str, chord: float = 0.01) -> str:
    """A DXF (R12) with one block per piece and size: layers and system text of ASTM D6673, units metric (mm).

    Curves are polylines no farther than ``chord`` mm from the true curve, with their turn and curve points.
    """
    # R12 has no $INSUNITS; the library says so on every write, and the UNITS text takes its place.
    logging.getLogger("ezdxf").setLevel(logging.ERROR)
    document = ezdxf.filemanagement.new("R12", setup=False)
    space = document.modelspace()
    for number, (key, value) in enumerate(
        [("STYLE NAME", style), ("UNITS", "METRIC"), ("SAMPLE SIZE", sample_size), ("AUTHOR", "theatre wardrobe")]
    ):
        space.add_text(f"{key}: {value}", dxfattribs={"layer": "1", "height": 5}).set_placement((0, -10.0 * number))
    for number, piece in enumerate(blocks, 1):
        _dxf_block(document, piece, f"P{number:03d}", chord)
        space.add_blockref(f"P{number:03d}", (0, 0), dxfattribs={"layer": "1"})
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()


def _dxf_block(document: Drawing, piece: Block, name: str, chord: float) -> None:
    block = document.blocks.new(name)

    def put(p: Vec) -> tuple[float, float]:
        return round(float(p[0]), 4), round(float(p[1]), 4)

    outline = piece.outline()
    block.add_polyline2d([put(p) for p in _ring(outline, chord)], close=True, dxfattribs={"layer": "1"})
    block.add_polyline2d([put(p) for p in _ring(piece.seam(), chord)], close=True, dxfattribs={"layer": "14"})
    for part in outline.parts:
        block.add_point(put(part.a), dxfattribs={"layer": "2" if part.straight else "3"})
    if piece.fold:
        block.add_line(put(piece.fold[0]), put(piece.fold[1]), dxfattribs={"layer": "6"})
    block.add_line(put(piece.grain[0]), put(piece.grain[1]), dxfattribs={"layer": "7"})
    for mark in piece.marks():
        # POINT: the notch's place; thickness (group 39) its depth, group 50 its angle
        block.add_point(put(mark.at), dxfattribs={"layer": "4", "thickness": 5.0, "angle": mark.into})
    for _, curve in piece.inside:
        block.add_polyline2d([put(p) for p in curve.flat(chord)], dxfattribs={"layer": "8"})
    for _, centre in piece.drills:
        block.add_point(put(centre), dxfattribs={"layer": "13"})
    quantity = f"{piece.cut // 2},{piece.cut // 2}" if piece.mirrored else str(piece.cut)
    rows = [
        ("PIECE NAME", piece.name), ("SIZE", piece.size), ("QUANTITY", quantity), ("MATERIAL", piece.material),
    ]  # fmt: skip
    for number, (key, value) in enumerate(rows):
        at = (float(piece.label[0]), float(piece.label[1]) - 8.0 * number)
        block.add_text(f"{key}: {value}", dxfattribs={"layer": "1", "height": 5}).set_placement(at)


def _ring(curve: Curve, chord: float) -> list[Vec]:
    points = curve.flat(chord)
    return points[:-1] if math.dist(points[0], points[-1]) < 1e-6 else points
