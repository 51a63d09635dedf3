"""Lengths and view boxes of SVG: from the file's user units to mm, y up.

CSS Values and Units 3, section 6.2: 1 in = 2.54 cm = 25.4 mm = 96 px = 72 pt = 6 pc, 1 Q = a quarter of a mm. SVG 2,
section 8: the view box is fitted into width and height as preserveAspectRatio says.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from nesting.files.drawn.context import Context
from nesting.model.errors import UnitsError
from nesting.model.piece import Point

__all__ = ["PX_MM", "UNIT_MM", "Matrix", "after", "fit", "page", "unit_mm", "user_length"]

#: (a, b, c, d, e, f) as in SVG: x' = a·x + c·y + e, y' = b·x + d·y + f.
Matrix = tuple[float, float, float, float, float, float]

PX_MM = 25.4 / 96
#: CSS absolute units in mm.
_CSS_MM = {
    "mm": 1.0, "cm": 10.0, "q": 0.25, "in": 25.4, "pt": 25.4 / 72, "pc": 25.4 / 6, "px": PX_MM, "m": 1000.0,
}  # fmt: skip
#: mm per drawing unit: what lies outside is no drawing of cloth.
_SCALES = (1e-9, 1e9)
#: Words for the unit of a drawing that does not say it.
UNIT_MM = {
    **_CSS_MM,
    "millimetre": 1.0, "millimeter": 1.0, "centimetre": 10.0, "centimeter": 10.0, "metre": 1000.0, "meter": 1000.0,
    "inch": 25.4, "inche": 25.4, "ft": 304.8, "foot": 304.8, "feet": 304.8, "yd": 914.4, "yard": 914.4, "pixel": PX_MM,
    "point": 25.4 / 72, "dm": 100.0, "metric": 1.0, "english": 25.4, '"': 25.4,
}  # fmt: skip
_LENGTH = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)\s*([a-z%]*)\s*$", re.I)


def unit_mm(units: str) -> float:
    """mm per unit for a unit's name or sign. Raises UnitsError for any other word."""
    word = units.strip().lower()
    for key in (word, word.rstrip("s")):
        if key in UNIT_MM:
            return UNIT_MM[key]
    raise UnitsError(
        f"'{units}' is no unit of a drawing; expected mm, cm, m, in, ft, yd, pt or px", code="units.unknown"
    )


def _parts(text: str | None) -> tuple[float, str] | None:
    match = _LENGTH.match(text) if text else None
    if match is None:
        return None
    value = float(match[1])
    return (value, match[2].lower()) if math.isfinite(value) else None


def user_length(text: str) -> float | None:
    """A length attribute in user units (1 px = 1 user unit); None if it is none or is relative to something."""
    parts = _parts(text)
    if parts is None:
        return None
    value, unit = parts
    if unit == "":
        return value
    return value * _CSS_MM[unit] / PX_MM if unit in _CSS_MM else None


def after(matrix: Matrix, p: Point) -> Point:
    """The point sent through the matrix."""
    a, b, c, d, e, f = matrix
    return (a * p[0] + c * p[1] + e, b * p[0] + d * p[1] + f)


def _view_box(text: str | None, ctx: Context) -> tuple[float, float, float, float] | None:
    if not text or not text.strip():
        return None
    try:
        numbers = [float(w) for w in re.split(r"[\s,]+", text.strip())]
    except ValueError:
        numbers = []
    if len(numbers) != 4 or not all(map(math.isfinite, numbers)) or numbers[2] <= 0 or numbers[3] <= 0:
        raise ctx.error(
            f"viewBox='{text[:60]}' cannot be used; expected four numbers, the last two above 0", code="svg.size"
        )
    return (numbers[0], numbers[1], numbers[2], numbers[3])


def _fitted(
    view: tuple[float, float, float, float], width: float, height: float, ratio: str | None, ctx: Context
) -> tuple[float, float, float, float]:
    """Scale and shift (sx, sy, tx, ty) of a view box in a box of width × height."""
    x, y, w, h = view
    sx, sy = width / w, height / h
    if not (_SCALES[0] < sx < _SCALES[1] and _SCALES[0] < sy < _SCALES[1]):
        raise ctx.error(
            f"viewBox {w:g} x {h:g} on {width:g} x {height:g} mm makes a drawing unit {sx:g} x {sy:g} mm; expected "
            "sizes of cloth: give width and height in mm",
            code="svg.size",
        )
    words = (ratio or "xMidYMid meet").split()
    if words and words[0] == "defer":
        words = words[1:]
    align = words[0] if words else "xMidYMid"
    if align == "none":
        if abs(sx - sy) > 0.005 * max(sx, sy):
            ctx.note(
                "warning",
                f"the drawing is stretched to {sx / sy:.4f} of its width (preserveAspectRatio none)",
                code="svg.stretched",
            )
        return sx, sy, -x * sx, -y * sy
    scale = max(sx, sy) if len(words) > 1 and words[1] == "slice" else min(sx, sy)
    if abs(sx - sy) > 0.005 * max(sx, sy):
        ctx.note(
            "warning",
            f"width, height and viewBox disagree by {abs(sx / sy - 1) * 100:.1f} %: the scale of the "
            f"{'larger' if scale == max(sx, sy) else 'smaller'} side is taken, as preserveAspectRatio says",
            code="svg.scale-unsure",
        )
    place = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}
    kx, ky = place.get(align[1:4], 0.5), place.get(align[5:8], 0.5)
    return scale, scale, -x * scale + kx * (width - w * scale), -y * scale + ky * (height - h * scale)


def page(attributes: Mapping[str, str], ctx: Context, units: str | None) -> tuple[Matrix, tuple[float, float] | None]:
    """The matrix from the outermost user units to mm with y up, and the page's size in mm (None if it has none)."""
    view = _view_box(attributes.get("viewBox"), ctx)
    sizes = [_parts(attributes.get(name)) for name in ("width", "height")]
    real = [
        value * _CSS_MM[unit] if unit in _CSS_MM and value > 0 else value * PX_MM if unit == "" and value > 0 else None
        for value, unit in (s or (0.0, "?") for s in sizes)
    ]
    for name, size in zip(("width", "height"), sizes, strict=True):
        if size is not None and size[0] <= 0:
            raise ctx.error(f"{name}='{attributes.get(name)}' of the drawing must be above 0", code="svg.size")
    stated = [s is not None and s[1] in _CSS_MM and s[1] != "px" for s in sizes]
    if any(stated):
        if units is not None:
            ctx.note(
                "note",
                f"the drawing states its own size, so the unit '{units}' given for it is not needed",
                code="units.not-needed",
            )
        unit = PX_MM
    else:
        unit = PX_MM if units is None else unit_mm(units)
        if units is None:
            ctx.note(
                "ambiguous",
                "the drawing does not state its size in a unit of length; 96 px = 1 in is taken, as the web's standard "
                "says. Check the size of a piece, or give width and height in mm",
                code="units.assumed",
            )
        real = [None if r is None else r / PX_MM * unit for r in real]
        if units is not None and view is not None:
            # the answer is the length of one unit of the drawing, whatever its size on a screen
            real = [None, None]
    width, height = real
    if view is None:
        scale = unit if not any(stated) else PX_MM
        h = height or 0.0
        return (scale, 0.0, 0.0, -scale, 0.0, h), ((width, height) if width and height else None)
    if width is None and height is None:
        width, height = view[2] * unit, view[3] * unit
    elif width is None and height is not None:
        width = height * view[2] / view[3]
    elif height is None and width is not None:
        height = width * view[3] / view[2]
    assert width is not None and height is not None
    sx, sy, tx, ty = _fitted(view, width, height, attributes.get("preserveAspectRatio"), ctx)
    # y up: the page's lower edge is 0.
    return (sx, 0.0, 0.0, -sy, tx, height - ty), (width, height)


def fit(attributes: Mapping[str, str], matrix: Matrix, ctx: Context) -> Matrix:
    """The matrix inside a nested ``svg`` or a ``symbol``: its x, y, width, height and view box."""
    x = user_length(attributes.get("x") or "0") or 0.0
    y = user_length(attributes.get("y") or "0") or 0.0
    a, b, c, d, e, f = matrix
    moved = (a, b, c, d, a * x + c * y + e, b * x + d * y + f)
    view = _view_box(attributes.get("viewBox"), ctx)
    if view is None:
        return moved
    width = user_length(attributes.get("width") or "")
    height = user_length(attributes.get("height") or "")
    if width is None and height is None:
        width, height = view[2], view[3]
    elif width is None and height is not None:
        width = height * view[2] / view[3]
    elif height is None and width is not None:
        height = width * view[3] / view[2]
    assert width is not None and height is not None
    if width <= 0 or height <= 0:
        raise ctx.error("a nested drawing has a width or height of 0; expected more", code="svg.size")
    sx, sy, tx, ty = _fitted(view, width, height, attributes.get("preserveAspectRatio"), ctx)
    a, b, c, d, e, f = moved
    return (a * sx, b * sx, c * sy, d * sy, a * tx + c * ty + e, b * tx + d * ty + f)
