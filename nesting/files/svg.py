"""Strokes and texts of an SVG drawing (SVG 1.1 and 2), in mm, y up.

The XML is read with defusedxml, so that entities are never expanded; svgelements reads path data, transforms and lengths.
What is not drawn is not read: ``defs``, symbols that no ``use`` shows, elements with display none.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from nesting.files.flatten import CurveError, cubic_points, ellipse_points, quadratic_points
from nesting.files.gather import Context
from nesting.files.sketch import Group, Stroke, Text
from nesting.files.svgunits import Matrix, after, fit, page
from nesting.files.words import Label, Role, Source, is_made_up, plain, read_label, read_role
from nesting.pieces.piece import NotchKind, Point
from nesting.tolerances import LARGEST_MM

__all__ = ["read_svg"]

#: A pattern has some thousand elements and some hundred thousand points. Beyond these limits a drawing is hostile.
MOST_ELEMENTS = 200_000
MOST_POINTS = 3_000_000
MOST_LEVELS = 200

_SHAPES = ("path", "line", "polyline", "polygon", "rect", "circle", "ellipse")
_CONTAINERS = ("g", "a", "svg", "switch", "symbol")
_NOT_DRAWN = (
    "defs", "symbol", "clipPath", "mask", "pattern", "marker", "metadata", "style", "script", "title", "desc",
    "linearGradient", "radialGradient", "filter", "namedview", "font", "cursor", "view", "color-profile", "perspective",
    "animate", "animateTransform", "animateMotion", "set", "guide", "grid", "page",
)  # fmt: skip
_URL = re.compile(r"^\s*url\(", re.I)


@dataclass(frozen=True)
class _State:
    """What children take over from their parents."""

    matrix: Matrix
    role: tuple[Role, str | None, NotchKind | None] | None = None
    marker_start: bool = False
    marker_end: bool = False
    hidden: bool = False
    uses: tuple[str, ...] = ()
    level: int = 0


@dataclass
class _Reader:
    ctx: Context
    ids: dict[str, Any]
    rules: list[tuple[str, dict[str, str]]]
    page_box: tuple[float, float] | None = None
    elements: int = 0
    points: int = 0
    seen: dict[str, int] = field(default_factory=dict)


def read_svg(data: bytes, ctx: Context, units: str | None = None) -> Group:
    """All that an SVG file draws, as a group of groups.

    ``units`` is the length of one user unit where the file does not say it ("mm", "in"; default: 96 to the inch, the
    px of CSS). Raises PatternError for what is no SVG, entities, hostile sizes and unreadable shapes.
    """
    root = _parse(data, ctx)
    if _tag(root) != "svg":
        raise ctx.error(f"the file is XML but no SVG: its first element is <{_tag(root)}>; expected <svg>")
    ids: dict[str, Any] = {}
    rules: list[tuple[str, dict[str, str]]] = []
    for element in root.iter():
        if isinstance(element.tag, str):
            ident = element.get("id")
            if ident and ident not in ids:
                ids[ident] = element
            if _tag(element) == "style" and element.text:
                rules.extend(_css(element.text))
    reader = _Reader(ctx, ids, rules)
    matrix, reader.page_box = page(root.attrib, ctx, units)
    top = Group(name=None)
    state = _State(matrix)
    _children(reader, root, top, _inherit(reader, root, state))
    return top


# -- XML ------------------------------------------------------------------------------------------------------------


def _parse(data: bytes, ctx: Context) -> Any:
    from xml.etree.ElementTree import ParseError

    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import iterparse

    try:
        level = count = 0
        root = None
        for event, element in iterparse(io.BytesIO(data), events=("start", "end"), forbid_dtd=False):
            if event == "start":
                root = element if root is None else root
                level += 1
                count += 1
                if level > MOST_LEVELS or count > MOST_ELEMENTS:
                    raise ctx.error(
                        f"the drawing has more than {MOST_LEVELS} levels or {MOST_ELEMENTS} elements; that is no "
                        "pattern. Save only the pattern pieces"
                    )
            else:
                level -= 1
        if root is None:
            raise ctx.error("the file is empty: expected an SVG drawing")
        return root
    except DefusedXmlException as error:
        raise ctx.error(
            f"the file declares XML entities or outside references ({type(error).__name__}), which drawings do not need; "
            "it is refused. Save it again as plain SVG"
        ) from None
    except ParseError as error:
        raise ctx.error(f"the file is no sound XML ({error}); save the drawing again as SVG") from None
    except (LookupError, UnicodeError, ValueError) as error:
        raise ctx.error(f"the file's text encoding cannot be read ({error}); save it as UTF-8") from None


def _tag(element: Any) -> str:
    tag = element.tag
    return tag.rsplit("}", 1)[-1] if isinstance(tag, str) else ""


def _attribute(element: Any, name: str) -> str | None:
    """An attribute by its local name, whatever its namespace."""
    value = element.get(name)
    if value is not None:
        return str(value)
    for key, found in element.attrib.items():
        if key.rsplit("}", 1)[-1] == name:
            return str(found)
    return None


def _css(text: str) -> Iterator[tuple[str, dict[str, str]]]:
    """Rules with one simple selector each (``.name``, ``#name``, ``tag``); others do not matter for outlines."""
    text = re.sub(r"/\*.*?\*/", "", text, flags=re.S)
    for selectors, body in re.findall(r"([^{}]+)\{([^{}]*)\}", text):
        style = _declarations(body)
        if {"display", "visibility", "marker", "marker-start", "marker-end"} & style.keys():
            for selector in selectors.split(","):
                yield selector.strip(), style


def _declarations(body: str) -> dict[str, str]:
    pairs = (part.split(":", 1) for part in body.split(";") if ":" in part)
    return {key.strip().lower(): value.replace("!important", "").strip() for key, value in pairs}


def _style(reader: _Reader, element: Any) -> dict[str, str]:
    style = {
        key: value
        for key in ("display", "visibility", "marker-start", "marker-end", "marker")
        if (value := element.get(key)) is not None
    }
    classes = (element.get("class") or "").split()
    for selector, rule in reader.rules:
        if (
            (selector.startswith(".") and selector[1:] in classes)
            or (selector.startswith("#") and selector[1:] == element.get("id"))
            or selector == _tag(element)
        ):
            style.update(rule)
    style.update(_declarations(element.get("style") or ""))
    return style


# -- walking --------------------------------------------------------------------------------------------------------


def _inherit(reader: _Reader, element: Any, state: _State) -> _State:
    """The state inside an element: hidden or not, markers. (Transforms and roles are added by the callers.)"""
    style = _style(reader, element)
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
    tag = _tag(element)
    reader.elements += 1
    if reader.elements > MOST_ELEMENTS:
        raise reader.ctx.error(f"the drawing shows more than {MOST_ELEMENTS} elements; save only the pattern pieces")
    if tag in _NOT_DRAWN and not (shown and tag == "symbol"):
        return
    if tag not in (*_SHAPES, *_CONTAINERS, "use", "text"):
        if tag in ("image", "foreignObject", "tspan", "textPath", "flowRoot"):
            reader.ctx.note("ignored", f"<{tag}> is no line and is left out")
        return
    if _style(reader, element).get("display") == "none":
        if _draws(element):
            reader.ctx.note("ignored", f"{_describe(element)} is switched off in the drawing (display: none); left out")
        return
    inner = _inherit(reader, element, state)
    role = _role(element, tag)
    inner = replace(inner, matrix=_transformed(reader, element, state.matrix), role=role or state.role)
    if element.get("clip-path") not in (None, "none") or "clip-path" in _declarations(element.get("style") or ""):
        reader.ctx.note("ignored", f"the clipping of {_describe(element)} is not applied: its whole lines are read")
    if tag in _CONTAINERS:
        if inner.level >= MOST_LEVELS:
            raise reader.ctx.error(f"groups are nested more than {MOST_LEVELS} levels deep; that is no pattern")
        if tag == "svg":
            inner = replace(inner, matrix=fit(element.attrib, inner.matrix, reader.ctx))
        below = _group(element, role)
        group.groups.append(below)
        _children(reader, element, below, replace(inner, level=inner.level + 1))
    elif tag == "use":
        _use(reader, element, group, inner, role)
    elif inner.hidden:
        reader.ctx.note("ignored", f"{_describe(element)} is hidden in the drawing (visibility); left out")
    elif tag == "text":
        text = _text(element)
        if text:
            group.texts.append(Text(text, after(inner.matrix, _text_at(element))))
    else:
        _shape(reader, element, tag, group, inner)


def _draws(element: Any) -> bool:
    return any(isinstance(e.tag, str) and _tag(e) in (*_SHAPES, "use") for e in element.iter())


def _describe(element: Any) -> str:
    ident = _label_of(element) or element.get("id")
    return f"{_tag(element)} '{ident}'" if ident else f"a {_tag(element)}"


def _label_of(element: Any) -> str | None:
    for name in ("data-name", "label", "aria-label", "data-label"):
        value = _attribute(element, name)
        if value and value.strip() and not is_made_up(value):
            return value.strip()
    for child in element:
        if isinstance(child.tag, str) and _tag(child) == "title" and child.text and not is_made_up(child.text):
            return str(child.text).strip()
    return None


def _ident(element: Any) -> str | None:
    """The id if a person gave it, with the escapes that drawing programs write for blanks undone."""
    ident = element.get("id")
    if not ident or is_made_up(ident):
        return None
    ident = re.sub(r"_x([0-9A-Fa-f]{2,4})_", lambda m: chr(int(m[1], 16)), str(ident))
    return ident.strip() or None


def _role(element: Any, tag: str) -> tuple[Role, str | None, NotchKind | None] | None:
    """The role of an element by its own words: data-role, classes, label, id; the first that is one counts.

    A name is filled in from a later one ("class=notch id=centre-front").
    """
    tries: list[tuple[str, Source]] = []
    given = element.get("data-role")
    if given:
        tries.append((given, "label"))
    classes = element.get("class") or ""
    if classes.strip():
        tries.append((classes, "label"))
        tries.extend((word, "id") for word in classes.split())
    label = _label_of(element)
    if label:
        tries.append((label, "label"))
    ident = _ident(element)
    if ident:
        tries.append((ident, "label" if tag in _CONTAINERS else "id"))
    found = None
    for words, source in tries:
        found = read_role(words, source)
        if found:
            break
    if found is None:
        return None
    role, name, kind = found
    if kind is None and role == "notch":
        for words in (element.get("data-kind") or "", *classes.split()):
            word = read_role(f"{plain(words)} notch", "word") if words else None
            if word and word[2]:
                kind = word[2]
    if name is None and tag not in _CONTAINERS:
        name = element.get("data-name") or label or ident
        if name is not None and (read_role(name, "word") is not None or is_made_up(name)):
            name = None
        elif name is not None:
            inner = read_role(name, "id")
            name = inner[1] or name if inner and inner[0] == role else name
    return role, name, kind


def _group(element: Any, role: tuple[Role, str | None, NotchKind | None] | None) -> Group:
    """A group with what its label, id and attributes say."""
    label_text = _label_of(element)
    ident = _ident(element)
    name = label_text or ident
    if role is not None:
        return Group(name, Label(role=role[0]))
    label = read_label(label_text) if label_text else Label()
    if label.name is None and ident and plain(ident) not in ("svg", "content", "pieces", "drawing", "pattern"):
        from_id = read_label(ident)
        label = label.over(from_id if label_text is None else Label(name=from_id.name))
    attributes: list[str] = []
    size = element.get("data-size")
    material = element.get("data-material") or element.get("data-cloth") or element.get("data-fabric")
    if size:
        label = replace(label, size=size.strip())
    if material:
        label = replace(label, material=material.strip())
    cut = element.get("data-cut") or element.get("data-quantity")
    if cut:
        told = read_label(cut if re.search(r"cut", cut, re.I) else f"cut {cut}")
        label = told.over(label)
    mirrored = element.get("data-mirrored")
    if mirrored is not None:
        label = replace(label, mirrored=mirrored.strip().lower() in ("", "true", "yes", "1", "mirrored"))
    extra = [(key, value) for key in ("data-category", "data-note") if (value := element.get(key))]
    del attributes
    return Group(name, label, extra=[(key[5:], value) for key, value in extra])


def _use(
    reader: _Reader, element: Any, group: Group, state: _State, role: tuple[Role, str | None, NotchKind | None] | None
) -> None:
    target = (_attribute(element, "href") or "").strip()
    if not target.startswith("#"):
        reader.ctx.note("ignored", f"{_describe(element)} shows something outside this file ('{target[:40]}'); left out")
        return
    ident = target[1:]
    shown = reader.ids.get(ident)
    if shown is None:
        reader.ctx.note("ignored", f"{_describe(element)} shows '{ident}', which is not in this file; left out")
        return
    if ident in state.uses or len(state.uses) >= 30:
        raise reader.ctx.error(f"<use> of '{ident}' shows itself, or is nested too deep: remove that reference")
    x, y = _number(reader, element, "x"), _number(reader, element, "y")
    a, b, c, d, e, f = state.matrix
    inner = replace(
        state, matrix=(a, b, c, d, a * x + c * y + e, b * x + d * y + f), uses=(*state.uses, ident), level=state.level + 1
    )
    below = _group(element, role)
    group.groups.append(below)
    if _tag(shown) in ("symbol", "svg"):
        size = dict(shown.attrib)
        size.update({k: v for k in ("width", "height") if (v := element.get(k)) is not None})
        inner = replace(inner, matrix=fit(size, inner.matrix, reader.ctx))
        inner = _inherit(reader, shown, inner)
        content = _group(shown, None)
        below.groups.append(content)
        _children(reader, shown, content, inner)
    else:
        _element(reader, shown, below, inner, shown=True)


def _transformed(reader: _Reader, element: Any, matrix: Matrix) -> Matrix:
    text = element.get("transform")
    if not text:
        return matrix
    from svgelements import Matrix as Parsed

    try:
        m = Parsed(text)
        own = tuple(float(v) for v in (m.a, m.b, m.c, m.d, m.e, m.f))
    except Exception:
        raise reader.ctx.error(f"the transform of {_describe(element)} cannot be read: '{text[:60]}'") from None
    a, b, c, d, e, f = matrix
    oa, ob, oc, od, oe, of = own
    return (
        a * oa + c * ob, b * oa + d * ob, a * oc + c * od, b * oc + d * od, a * oe + c * of + e, b * oe + d * of + f,
    )  # fmt: skip


def _number(reader: _Reader, element: Any, name: str, default: float = 0.0) -> float:
    """A length attribute in user units."""
    from nesting.files.svgunits import user_length

    value = element.get(name)
    if value is None:
        return default
    number = user_length(value)
    if number is None:
        raise reader.ctx.error(f"{name}='{value[:40]}' of {_describe(element)} is no length")
    return number


# -- texts ----------------------------------------------------------------------------------------------------------


def _text(element: Any) -> str:
    """The words of a text, its lines (tspans with a new y or dy) set apart."""
    parts: list[str] = [element.text or ""]
    for child in element:
        if not isinstance(child.tag, str):
            parts.append(child.tail or "")
            continue
        new_line = child.get("y") is not None or child.get("dy") not in (None, "0") or _attribute(child, "role") == "line"
        if new_line and "".join(parts).strip():
            parts.append("\n")
        parts.append("".join(child.itertext()))
        parts.append(child.tail or "")
    lines = (" ".join(line.split()) for line in "".join(parts).split("\n"))
    return "\n".join(line for line in lines if line)


def _text_at(element: Any) -> Point:
    from nesting.files.svgunits import user_length

    def first(name: str) -> float | None:
        for holder in (element, *(c for c in element if isinstance(c.tag, str))):
            value = holder.get(name)
            if value and value.strip():
                return user_length(re.split(r"[\s,]+", value.strip())[0])
        return None

    return (first("x") or 0.0, first("y") or 0.0)


# -- shapes ---------------------------------------------------------------------------------------------------------


def _shape(reader: _Reader, element: Any, tag: str, group: Group, state: _State) -> None:
    reader.seen[tag] = reader.seen.get(tag, 0) + 1
    where = f"{_describe(element)}" if _ident(element) or _label_of(element) else f"{tag} {reader.seen[tag]}"
    round_: float | None = None
    try:
        if tag in ("circle", "ellipse"):
            runs, round_ = _round(reader, element, tag, state.matrix)
        elif tag == "rect":
            runs = _rectangle(reader, element, state.matrix)
        elif tag == "line":
            ends = [(_number(reader, element, f"x{k}"), _number(reader, element, f"y{k}")) for k in (1, 2)]
            runs = [([after(state.matrix, p) for p in ends], False)]
        elif tag in ("polyline", "polygon"):
            runs = [([after(state.matrix, p) for p in _point_list(reader, element)], tag == "polygon")]
        else:
            runs = _path(reader, element, state.matrix)
    except CurveError as error:
        raise reader.ctx.error(f"a curve of {where} cannot be read: {error}") from None
    role, name, kind = state.role or (None, None, None)
    if role is None and _is_page(reader, runs):
        reader.ctx.note("ignored", f"{where} runs along the page's edge and is taken as its frame")
        return
    own = _ident(element) or _label_of(element)
    depth, angle = element.get("data-depth"), None
    if role == "drill":
        depth = element.get("data-diameter")
    for points, closed in runs:
        if not points:
            continue
        for x, y in points:
            if not (math.isfinite(x) and math.isfinite(y)):
                raise reader.ctx.error(f"{where} has a coordinate that is no finite number: correct or remove it")
            if abs(x) > LARGEST_MM or abs(y) > LARGEST_MM:
                raise reader.ctx.error(
                    f"{where} reaches ({x:.4g}, {y:.4g}) mm; drawings up to {LARGEST_MM / 1000:g} m are read. Check the "
                    "drawing's units and transforms"
                )
        reader.points += len(points)
        if reader.points > MOST_POINTS:
            raise reader.ctx.error(f"the drawing has more than {MOST_POINTS} points; simplify it")
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


def _is_page(reader: _Reader, runs: list[tuple[list[Point], bool]]) -> bool:
    """Whether this is a rectangle exactly as large as the page."""
    if reader.page_box is None or len(runs) != 1 or not runs[0][1] or len(runs[0][0]) != 4:
        return False
    from nesting.files import outline

    x0, y0, x1, y1 = outline.box(runs[0][0])
    w, h = reader.page_box
    return all(abs(p - q) <= 0.05 for p, q in zip((x0, y0, x1, y1), (0.0, 0.0, w, h), strict=True))


def _round(
    reader: _Reader, element: Any, tag: str, matrix: Matrix
) -> tuple[list[tuple[list[Point], bool]], float | None]:
    cx, cy = _number(reader, element, "cx"), _number(reader, element, "cy")
    if tag == "circle":
        rx = ry = _number(reader, element, "r")
    else:
        rx, ry = _number(reader, element, "rx"), _number(reader, element, "ry")
    if rx <= 0 or ry <= 0:
        return [], None
    a, b, c, d, _, _ = matrix
    u, v = (a * rx, b * rx), (c * ry, d * ry)
    points = ellipse_points(after(matrix, (cx, cy)), u, v, 0.0, 2 * math.pi, reader.ctx.chord)
    even = abs(math.hypot(*u) - math.hypot(*v)) <= 1e-6 * math.hypot(*u)
    return [(points, True)], (2 * math.hypot(*u) if even else None)


def _rectangle(reader: _Reader, element: Any, matrix: Matrix) -> list[tuple[list[Point], bool]]:
    x, y = _number(reader, element, "x"), _number(reader, element, "y")
    w, h = _number(reader, element, "width"), _number(reader, element, "height")
    if w <= 0 or h <= 0:
        return []
    has_x, has_y = element.get("rx") not in (None, "auto"), element.get("ry") not in (None, "auto")
    rx = _number(reader, element, "rx") if has_x else _number(reader, element, "ry") if has_y else 0.0
    ry = _number(reader, element, "ry") if has_y else rx
    rx, ry = min(max(rx, 0.0), w / 2), min(max(ry, 0.0), h / 2)
    if rx == 0 or ry == 0:
        return [([after(matrix, p) for p in ((x, y), (x + w, y), (x + w, y + h), (x, y + h))], True)]
    a, b, c, d, _, _ = matrix
    u, v = (a * rx, b * rx), (c * ry, d * ry)
    points: list[Point] = []
    corners = ((x + w - rx, y + ry, -1), (x + w - rx, y + h - ry, 0), (x + rx, y + h - ry, 1), (x + rx, y + ry, 2))
    for cx, cy, quarter in corners:
        start = quarter * math.pi / 2
        centre = after(matrix, (cx, cy))
        first = (centre[0] + math.cos(start) * u[0] + math.sin(start) * v[0],
                 centre[1] + math.cos(start) * u[1] + math.sin(start) * v[1])  # fmt: skip
        if not points or math.dist(points[-1], first) > 1e-9:
            points.append(first)
        points += ellipse_points(centre, u, v, start, math.pi / 2, reader.ctx.chord)
    if math.dist(points[0], points[-1]) <= 1e-9:
        points.pop()
    return [(points, True)]


def _point_list(reader: _Reader, element: Any) -> list[Point]:
    text = element.get("points") or ""
    words = re.findall(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?|nan|[+-]?inf(?:inity)?", text, re.I)
    rest = re.sub(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?|nan|[+-]?inf(?:inity)?|[\s,]", "", text, flags=re.I)
    if rest:
        raise reader.ctx.error(f"the points of {_describe(element)} hold what is no number: '{rest[:20]}'")
    numbers = [float(w) for w in words]
    if len(numbers) % 2:
        reader.ctx.note("ignored", f"the points of {_describe(element)} end with half a point; it is left out")
    return list(zip(numbers[0::2], numbers[1::2], strict=False))


def _path(reader: _Reader, element: Any, matrix: Matrix) -> list[tuple[list[Point], bool]]:
    """The subpaths of path data as runs of points, each with whether it is closed."""
    from svgelements import Arc, Close, CubicBezier, Move, Path, QuadraticBezier

    text = element.get("d") or ""
    if not text.strip():
        return []
    if re.search(r"nan|inf", text, re.I):
        raise reader.ctx.error(f"{_describe(element)} has a coordinate that is no finite number: correct or remove it")
    if re.search(r"[^\sMmZzLlHhVvCcSsQqTtAa0-9eE.,+-]", text) or not re.match(r"\s*[Mm]", text):
        raise reader.ctx.error(f"the path data of {_describe(element)} cannot be read: '{text.strip()[:40]}'")
    try:
        path = Path(text)
    except Exception as error:
        raise reader.ctx.error(f"the path data of {_describe(element)} cannot be read ({error})") from None
    runs: list[tuple[list[Point], bool]] = []
    points: list[Point] = []
    chord = reader.ctx.chord

    def place(p: Any) -> Point:
        return after(matrix, (float(p.x), float(p.y)))

    for segment in path:
        if isinstance(segment, Move):
            if len(points) > 1:
                runs.append((points, False))
            points = [place(segment.end)]
        elif isinstance(segment, Close):
            if len(points) > 1:
                start = points[0]
                while len(points) > 1 and math.dist(points[-1], start) <= 1e-9:
                    points.pop()
                runs.append((points, True))
                points = [start]
        elif segment.end is None or segment.start is None:
            continue
        elif isinstance(segment, CubicBezier):
            controls = (place(segment.start), place(segment.control1), place(segment.control2), place(segment.end))
            points += cubic_points(*controls, chord)
        elif isinstance(segment, QuadraticBezier):
            points += quadratic_points(place(segment.start), place(segment.control), place(segment.end), chord)
        elif isinstance(segment, Arc):
            points += _arc(segment, matrix, chord, place)
        else:
            points.append(place(segment.end))
        if len(points) > MOST_POINTS:
            raise reader.ctx.error(f"{_describe(element)} has more than {MOST_POINTS} points; simplify it")
    if len(points) > 1:
        runs.append((points, False))
    return runs


def _arc(segment: Any, matrix: Matrix, chord: float, place: Any) -> list[Point]:
    a, b, c, d, _, _ = matrix
    cx, cy = float(segment.center.x), float(segment.center.y)
    ux, uy = float(segment.prx.x) - cx, float(segment.prx.y) - cy
    vx, vy = float(segment.pry.x) - cx, float(segment.pry.y) - cy
    # The start angle between the half diameters, from the start point itself.
    sx, sy = float(segment.start.x) - cx, float(segment.start.y) - cy
    det = ux * vy - uy * vx
    if det == 0.0 or not math.isfinite(det):
        return [place(segment.end)]
    start = math.atan2((ux * sy - uy * sx) / det, (sx * vy - sy * vx) / det)
    # svgelements' sweep is measured in the drawing's sense; the half diameters may be left-handed.
    sweep = float(segment.sweep) * (1.0 if det > 0 else -1.0)
    u, v = (a * ux + c * uy, b * ux + d * uy), (a * vx + c * vy, b * vx + d * vy)
    return ellipse_points(after(matrix, (cx, cy)), u, v, start, sweep, chord, end=place(segment.end))
