"""A scene as DXF (release 2000, mm in the header), layers numbered as in ASTM D6673.

Cut lines, marks and words only: a drawing's fills, hatches and cloth have no layer there and are left out.
"""

from __future__ import annotations

import io
from typing import Any

from nesting.report.scene import Scene, Shape, Text

__all__ = ["LAYERS", "dxf_bytes", "layer_of"]

#: ASTM D6673 layers: number, what it holds, colour index for the screen.
LAYERS: dict[str, tuple[str, int]] = {
    "1": ("piece boundary", 7),
    "4": ("notches", 1),
    "6": ("mirror line (fold edge)", 6),
    "7": ("grain line", 3),
    "8": ("internal lines", 8),
    "11": ("internal cutouts", 2),
    "13": ("drill holes", 4),
    "14": ("sew lines", 5),
    "15": ("annotation text", 8),
    "80": ("T-notch", 1),
    "81": ("castle notch", 1),
    "82": ("check notch", 1),
    "83": ("U-notch", 1),
}
_BY_ROLE = {
    "cut": "1",
    "fold": "6",
    "grain": "7",
    "inside": "8",
    "cutout": "11",
    "drill": "13",
    "sew": "14",
    "label": "15",
    "square": "15",
}
_BY_NOTCH = {"slit": "4", "v": "4", "t": "80", "castle": "81", "check": "82", "u": "83"}


def layer_of(role: str, kind: str | None) -> str | None:
    """The layer of a role; None for what a cutter has no use for."""
    return _BY_NOTCH[kind or "slit"] if role == "notch" else _BY_ROLE.get(role)


def dxf_bytes(scene: Scene) -> bytes:
    """The scene as a DXF file. Each contour is one LWPOLYLINE, in the scene's order; coordinates are the lay's."""
    from ezdxf.document import Drawing
    from ezdxf.enums import TextEntityAlignment

    document = Drawing.new("R2000")
    document.header["$INSUNITS"] = 4
    document.header["$MEASUREMENT"] = 1
    document.header["$LUNITS"] = 2
    if scene.note:
        document.header.custom_vars.append("Caution", scene.note)
    for name, (what, colour) in LAYERS.items():
        document.layers.add(name, color=colour).description = what
    space = document.modelspace()
    align = {
        "start": TextEntityAlignment.LEFT,
        "middle": TextEntityAlignment.CENTER,
        "end": TextEntityAlignment.RIGHT,
    }
    for item in scene.items:
        layer = layer_of(item.role, item.kind if isinstance(item, Shape) else None)
        if layer is None:
            continue
        if isinstance(item, Text):
            # the height of DXF text is that of its capitals
            words = space.add_text(item.words, height=0.72 * item.size, rotation=item.turn, dxfattribs={"layer": layer})
            words.set_placement(item.at, align=align[item.anchor])
            continue
        for line in item.lines:
            _polyline(space, line, item, layer)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode("utf-8")


def _polyline(space: Any, line: Any, item: Shape, layer: str) -> None:
    entity = space.add_lwpolyline(line, close=item.closed, dxfattribs={"layer": layer})
    if item.of is not None:
        _tag(entity, item.of)


def _tag(entity: Any, number: int) -> None:
    # the sheet's number travels with each contour, so that a piece can be told from its neighbours
    if not entity.doc.appids.has_entry("NESTING"):
        entity.doc.appids.add("NESTING")
    entity.set_xdata("NESTING", [(1071, number)])
