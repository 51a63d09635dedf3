"""Strokes and texts of an SVG drawing (SVG 1.1 and 2), in mm, y up.

The XML is read with defusedxml, so that entities are never expanded; svgelements reads path data and
transforms. What is not drawn is not read: ``defs``, symbols that no ``use`` shows, elements with display none.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace
from typing import Any

from nesting.files.drawn import outline
from nesting.files.drawn.context import Context
from nesting.files.drawn.flatten import CurveError
from nesting.files.drawn.sketch import Group, Stroke, Text
from nesting.files.drawn.vocabulary import is_made_up, read_role
from nesting.files.svg.svgcss import Sheets, declarations, sheets_of, style_of
from nesting.files.svg.svgnames import CONTAINERS, Named, group_of, role_of
from nesting.files.svg.svgshapes import MOST_POINTS, SHAPES, Run, number, runs_of
from nesting.files.svg.svgunits import Matrix, after, fit, page, user_length
from nesting.files.svg.svgxml import (
    MOST_ELEMENTS,
    MOST_LEVELS,
    attribute,
    describe,
    ident_of,
    label_of,
    parse,
    tag_of,
)
from nesting.model.piece import Point
from nesting.model.tolerances import LARGEST_MM

__all__ = ["read_svg"]

#: Elements shown again by ``use``, each of which may show others.
MOST_USES = 5_000
_NOT_DRAWN = (
    "defs", "symbol", "clipPath", "mask", "pattern", "marker", "metadata", "style", "script", "title", "desc",
    "linearGradient", "radialGradient", "filter", "namedview", "font", "cursor", "view", "color-profile", "perspective",
    "animate", "animateTransform", "animateMotion", "set", "guide", "grid", "page",
)  # fmt: skip
#: Functions of numbers; of units only px and deg, which are those of the drawing.
_TRANSFORM = re.compile(r"\s*((matrix|translate|scale|rotate|skew)[XY]?\s*\((?:[\s,0-9.eE+-]|px|deg)+\)[\s,]*)*", re.I)
_URL = re.compile(r"^\s*url\(", re.I)


@dataclass(frozen=True)
class _State:
    """What children take over from their parents."""

    matrix: Matrix
    role: Named | None = None
    marker_start: bool = False
    marker_end: bool = False
    hidden: bool = False
    uses: tuple[str, ...] = ()
    level: int = 0


@dataclass
class _Reader:
    ctx: Context
    ids: dict[str, Any]
    sheets: Sheets
    page_box: tuple[float, float] | None = None
    elements: int = 0
    seen: dict[str, int] = field(default_factory=dict)
    shown: dict[str, list[Group]] = field(default_factory=dict)


def read_svg(data: bytes, ctx: Context, units: str | None = None) -> Group:
    """All that an SVG file draws, as a group of groups.

    ``units`` is the length of one user unit where the file does not say it ("mm", "in"; default: 96 to the inch, the
    px of CSS). Raises PatternError for what is no SVG, entities, hostile sizes and unreadable shapes.
    """
    root = parse(data, ctx)
    if tag_of(root) != "svg":
        raise ctx.error(
            f"the file is XML but no SVG: its first element is <{tag_of(root)}>; expected <svg>", code="file.not-svg"
        )
    ids: dict[str, Any] = {}
    styles: list[str] = []
    for element in root.iter():
        if isinstance(element.tag, str):
            ident = element.get("id")
            if ident and ident not in ids:
                ids[ident] = element
            if tag_of(element) == "style" and element.text:
                styles.append(element.text)
    reader = _Reader(ctx, ids, sheets_of(root, styles))
    matrix, reader.page_box = page(root.attrib, ctx, units)
    matrix = _transformed(reader, root, matrix)
    top = Group(name=None)
    state = _State(matrix)
    _children(reader, root, top, _inherit(reader, root, state))
    for groups in reader.shown.values():
        for group in groups if len(groups) > 1 else ():
            # What is shown several times is named by where it is shown, not by what it is.
            for chain in group.walk():
                chain[-1].shared = True
    return top


def _inherit(reader: _Reader, element: Any, state: _State) -> _State:
    """The state inside an element: hidden or not, markers. (Transforms and roles are added by the callers.)"""
    style = style_of(element, reader.sheets)
    marker = style.get("marker")
    starts, ends = style.get("marker-start", marker), style.get("marker-end", marker)
    visibility = style.get("visibility")
    hidden = state.hidden if visibility is None else visibility in ("hidden", "collapse")
    return replace(
        state,
        hidden=hidden,
        marker_start=state.marker_start if starts is None else _URL.match(starts) is not None,
        marker_end=state.marker_end if ends is None else _URL.match(ends) is not None,
    )


def _children(reader: _Reader, element: Any, group: Group, state: _State) -> None:
    for child in element:
        if isinstance(child.tag, str):
            _element(reader, child, group, state)


def _element(reader: _Reader, element: Any, group: Group, state: _State, shown: bool = False) -> None:
    """Read one element into the group. ``shown``: it is the target of a ``use``."""
    tag = tag_of(element)
    reader.elements += 1
    if reader.elements > MOST_ELEMENTS:
        raise reader.ctx.error(
            f"the drawing shows more than {MOST_ELEMENTS} elements; save only the pattern pieces",
            code="drawing.too-large",
        )
    if tag in _NOT_DRAWN and not (shown and tag == "symbol"):
        return
    if tag not in (*SHAPES, *CONTAINERS, "use", "text"):
        if tag in ("image", "foreignObject", "tspan", "textPath", "flowRoot"):
            reader.ctx.note("ignored", f"<{tag}> is no line and is left out", code="svg.element-left-out")
        return
    if style_of(element, reader.sheets).get("display") == "none":
        if _draws(element):
            reader.ctx.note(
                "ignored",
                f"{describe(element)} is switched off in the drawing (display: none); left out",
                code="drawing.switched-off",
            )
        return
    inner = _inherit(reader, element, state)
    role = role_of(element, tag)
    inner = replace(inner, matrix=_transformed(reader, element, state.matrix), role=role or state.role)
    if element.get("clip-path") not in (None, "none") or "clip-path" in declarations(element.get("style") or ""):
        reader.ctx.note(
            "ignored",
            f"the clipping of {describe(element)} is not applied: its whole lines are read",
            code="svg.clipping",
        )
    if tag in CONTAINERS:
        if inner.level >= MOST_LEVELS:
            raise reader.ctx.error(
                f"groups are nested more than {MOST_LEVELS} levels deep; that is no pattern",
                code="drawing.nested-too-deep",
            )
        if tag == "svg":
            inner = replace(inner, matrix=fit(element.attrib, inner.matrix, reader.ctx))
        below = group_of(element, role)
        group.groups.append(below)
        _children(reader, element, below, replace(inner, level=inner.level + 1))
    elif tag == "use":
        _use(reader, element, group, inner, role)
    elif inner.hidden:
        reader.ctx.note(
            "ignored",
            f"{describe(element)} is hidden in the drawing (visibility); left out",
            code="drawing.switched-off",
        )
    elif tag == "text":
        text = _text(element)
        if text:
            group.texts.append(Text(text, after(inner.matrix, _text_at(element))))
    else:
        _shape(reader, element, tag, group, inner)


def _draws(element: Any) -> bool:
    return any(isinstance(e.tag, str) and tag_of(e) in (*SHAPES, "use") for e in element.iter())


def _use(reader: _Reader, element: Any, group: Group, state: _State, role: Named | None) -> None:
    target = (attribute(element, "href") or "").strip()
    if not target.startswith("#"):
        what = describe(element)
        reader.ctx.note(
            "ignored",
            f"{what} shows something outside this file ('{target[:40]}'); left out",
            code="svg.outside-reference",
        )
        return
    ident = target[1:]
    shown = reader.ids.get(ident)
    if shown is None:
        reader.ctx.note(
            "ignored",
            f"{describe(element)} shows '{ident}', which is not in this file; left out",
            code="svg.reference-missing",
        )
        return
    if ident in state.uses or len(state.uses) >= 30:
        raise reader.ctx.error(
            f"<use> of '{ident}' shows itself, or is nested too deep: remove that reference", code="svg.use-in-itself"
        )
    reader.ctx.spend("uses", 1, MOST_USES, "uses of other elements")
    x, y = number(element, reader.ctx, "x"), number(element, reader.ctx, "y")
    a, b, c, d, e, f = state.matrix
    inner = replace(
        state,
        matrix=(a, b, c, d, a * x + c * y + e, b * x + d * y + f),
        uses=(*state.uses, ident),
        level=state.level + 1,
    )
    below = group_of(element, role)
    group.groups.append(below)
    inside = Group()
    below.groups.append(inside)
    reader.shown.setdefault(ident, []).append(inside)
    if tag_of(shown) in ("symbol", "svg"):
        size = dict(shown.attrib)
        size.update({k: v for k in ("width", "height") if (v := element.get(k)) is not None})
        inner = replace(inner, matrix=fit(size, inner.matrix, reader.ctx))
        inner = _inherit(reader, shown, inner)
        content = group_of(shown, None)
        inside.groups.append(content)
        _children(reader, shown, content, inner)
    else:
        _element(reader, shown, inside, inner, shown=True)


def _transformed(reader: _Reader, element: Any, matrix: Matrix) -> Matrix:
    style = style_of(element, reader.sheets)
    text = style.get("transform") or element.get("transform")
    if not text or text == "none":
        return matrix
    from svgelements import Matrix as Parsed

    if "transform-origin" in style or element.get("transform-origin"):
        raise reader.ctx.error(
            f"{describe(element)} has a transform-origin, which is not read: export as plain SVG",
            code="svg.transform-origin",
        )
    try:
        if not _TRANSFORM.fullmatch(text):
            raise ValueError
        m = Parsed(text)
        own = tuple(float(v) for v in (m.a, m.b, m.c, m.d, m.e, m.f))
    except Exception:
        raise reader.ctx.error(
            f"the transform of {describe(element)} cannot be read: '{text[:60]}'", code="svg.transform"
        ) from None
    a, b, c, d, e, f = matrix
    oa, ob, oc, od, oe, of = own
    return (
        a * oa + c * ob, b * oa + d * ob, a * oc + c * od, b * oc + d * od, a * oe + c * of + e, b * oe + d * of + f,
    )  # fmt: skip


def _text(element: Any) -> str:
    """The words of a text, its lines (tspans with a new y or dy) set apart."""
    parts: list[str] = [element.text or ""]
    for child in element:
        if not isinstance(child.tag, str):
            parts.append(child.tail or "")
            continue
        new_line = child.get("y") is not None or child.get("dy") not in (None, "0")
        new_line = new_line or attribute(child, "role") == "line"
        if new_line and "".join(parts).strip():
            parts.append("\n")
        parts.append("".join(child.itertext()))
        parts.append(child.tail or "")
    lines = (" ".join(line.split()) for line in "".join(parts).split("\n"))
    return "\n".join(line for line in lines if line)


def _text_at(element: Any) -> Point:
    def first(name: str) -> float | None:
        for holder in (element, *(c for c in element if isinstance(c.tag, str))):
            value = holder.get(name)
            if value and value.strip():
                return user_length(re.split(r"[\s,]+", value.strip())[0])
        return None

    return (first("x") or 0.0, first("y") or 0.0)


def _shape(reader: _Reader, element: Any, tag: str, group: Group, state: _State) -> None:
    reader.seen[tag] = reader.seen.get(tag, 0) + 1
    inside = f" in '{group.name}'" if group.name else ""
    where = f"{describe(element)}" if ident_of(element) or label_of(element) else f"{tag} {reader.seen[tag]}{inside}"
    try:
        runs, round_ = runs_of(element, tag, state.matrix, reader.ctx)
    except CurveError as error:
        raise reader.ctx.error(f"a curve of {where} cannot be read: {error}", code="drawing.curve") from None
    role, name, kind = state.role or (None, None, None)
    if role is None and _is_page(reader, runs):
        reader.ctx.note(
            "ignored", f"{where} runs along the page's edge and is taken as its frame", code="drawing.frame"
        )
        return
    own = ident_of(element) or label_of(element)
    if own is not None and (read_role(own, "word") is not None or (role is not None and is_made_up(own))):
        own = None
    depth, angle = element.get("data-depth"), None
    if role == "drill":
        depth = element.get("data-diameter")
    for points, closed in runs:
        if not points:
            continue
        for x, y in points:
            if not (math.isfinite(x) and math.isfinite(y)):
                raise reader.ctx.error(
                    f"{where} has a coordinate that is no finite number: correct or remove it",
                    code="drawing.not-finite",
                )
            if abs(x) > LARGEST_MM or abs(y) > LARGEST_MM:
                raise reader.ctx.error(
                    f"{where} reaches ({x:.4g}, {y:.4g}) mm; drawings up to {LARGEST_MM / 1000:g} m are read. Check "
                    "the drawing's units and transforms",
                    code="drawing.too-far",
                )
        reader.ctx.spend("points", len(points), MOST_POINTS, "points")
        if not closed and len(points) > 3 and math.dist(points[0], points[-1]) <= 1e-6:
            points, closed = points[:-1], True
        group.strokes.append(
            Stroke(
                tuple(points),
                closed,
                role,
                name or own,
                (state.marker_start, state.marker_end),
                kind,
                depth=_plain_number(depth),
                angle=angle,
                round=round_,
                element=reader.elements,
                where=where,
            )
        )


def _plain_number(text: str | None) -> float | None:
    try:
        value = float(text) if text else None
    except ValueError:
        return None
    return value if value is not None and math.isfinite(value) else None


def _is_page(reader: _Reader, runs: list[Run]) -> bool:
    """Whether this is a rectangle exactly as large as the page."""
    if reader.page_box is None or len(runs) != 1 or not runs[0][1] or len(runs[0][0]) != 4:
        return False
    x0, y0, x1, y1 = outline.box(runs[0][0])
    w, h = reader.page_box
    return all(abs(p - q) <= 0.05 for p, q in zip((x0, y0, x1, y1), (0.0, 0.0, w, h), strict=True))
