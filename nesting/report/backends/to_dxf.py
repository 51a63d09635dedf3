"""A scene as DXF (release 2000, mm in the header), layers numbered as in ASTM D6673.

Cut lines, marks and words only: a drawing's fills, hatches and cloth have no layer there and are left out.
"""

from __future__ import annotations

import io
from typing import Any

from nesting.report.drawing.fonts import shown
from nesting.report.drawing.scene import Scene, Shape, Text

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
    """The scene as a DXF file. Each contour is one LWPOLYLINE, in the scene's order; coordinates are the lay's.

    The same scene gives the same bytes: no date and no new identity is written.
    """
    from ezdxf._options import options

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        document = _document(scene)
        stream = io.StringIO()
        if scene.note:
            # group 999 is a comment (DXF Reference); custom properties came only with release 2004
            stream.write(f"999\n{' '.join(scene.note.split())}\n")
        document.write(stream)
        # release 2000 is written in a code page, with \\U+ escapes for what it lacks
        encoded: bytes = document.encode(stream.getvalue())
        return encoded
    finally:
        options.write_fixed_meta_data_for_testing = before


def _document(scene: Scene) -> Any:
    from ezdxf.document import Drawing

    document = Drawing.new("R2000")
    document.header["$INSUNITS"] = 4
    document.header["$MEASUREMENT"] = 1
    document.header["$LUNITS"] = 2
    # the sheet's number travels with each contour, so that a piece can be told from its neighbours
    document.appids.add("NESTING")
    for name, (what, colour) in LAYERS.items():
        document.layers.add(name, color=colour).description = what
    space = document.modelspace()
    for item in scene.items:
        layer = layer_of(item.role, item.kind if isinstance(item, Shape) else None)
        if layer is None:
            continue
        if isinstance(item, Text):
            _add_text(space, item, layer)
            continue
        for line in item.lines:
            entity = space.add_lwpolyline(line, close=item.closed, dxfattribs={"layer": layer})
            if item.of is not None:
                entity.set_xdata("NESTING", [(1071, item.of)])
    return document


def _add_text(space: Any, text: Text, layer: str) -> None:
    from ezdxf.enums import TextEntityAlignment

    align = {"start": "LEFT", "middle": "CENTER", "end": "RIGHT"}[text.anchor]
    # the height of DXF text is that of its capitals
    entity = space.add_text(shown(text.words), height=0.72 * text.size, rotation=text.turn, dxfattribs={"layer": layer})
    entity.set_placement(text.at, align=TextEntityAlignment[align])
