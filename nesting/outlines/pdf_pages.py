"""The pages of a prepared PDF through pdfium: lines, texts and pictures on sheets. Uses the raw interface only.

Matrices are PDF's (a, b, c, d, e, f): x' = a·x + c·y + e, y' = b·x + d·y + f (ISO 32000-1, 8.3.3). Those of forms are
multiplied down. Widths and dashes are scaled by √|det|, which is exact for what turns, mirrors or scales evenly.
"""

from __future__ import annotations

import ctypes
import math
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from nesting.files.drawn.flatten import CurveError, cubic_points
from nesting.model.piece import Point
from nesting.model.tolerances import LARGEST_MM
from nesting.outlines.pdf_prepare import PageFacts, Prepared, Refused
from nesting.outlines.pdf_sheets import Box, Layer, PdfLine, PdfText, Picture, Sheet, Sheets, Style

__all__ = ["read_sheets"]

Matrix = tuple[float, float, float, float, float, float]
#: Objects drawn on all pages together, points of all lines, characters of all texts.
MOST_DRAWN = 400_000
MOST_POINTS = 3_000_000
MOST_CHARACTERS = 2_000_000
MOST_DEPTH = 24


@dataclass
class _Page:
    """What is collected while one page is read."""

    facts: PageFacts
    view: Matrix
    text_page: Any
    lines: list[PdfLine] = field(default_factory=list)
    texts: list[PdfText] = field(default_factory=list)
    pictures: list[Picture] = field(default_factory=list)
    clips: Counter[Box] = field(default_factory=Counter)
    unclipped: int = 0
    rooms: dict[int, Box] | None = None


@dataclass
class _Reader:
    prepared: Prepared
    chord: float
    layer: frozenset[str] | None
    raw: Any
    drawn: int = 0
    points: int = 0
    characters: int = 0
    hidden: Counter[str] = field(default_factory=Counter)
    skipped: Counter[tuple[int, str]] = field(default_factory=Counter)


def read_sheets(prepared: Prepared, chord: float, layers: tuple[str, ...] | None = None) -> Sheets:
    """All chosen pages. ``chord`` mm: how far a chord may leave its curve. ``layers``: only these are taken as shown
    (and what is in no layer); None: those that the file shows when it is opened.

    Raises Refused for what pdfium cannot open and for pages that hold far too much.
    """
    import pypdfium2.raw as raw

    wanted = None
    if layers is not None:
        known = {name.casefold(): name for name, _ in prepared.layers}
        known.update({n.casefold(): n for names, _ in prepared.marks for n in names})
        missing = [name for name in layers if name.strip().casefold() not in known]
        if missing:
            have = ", ".join(f"'{n}'" for n in dict.fromkeys(known.values())) or "none"
            raise Refused(f"there is no layer '{missing[0]}' in it; its layers are: {have}")
        wanted = frozenset(name.strip().casefold() for name in layers)
    reader = _Reader(prepared, chord, wanted, raw)
    raw.FPDF_InitLibrary()
    buffer = ctypes.create_string_buffer(prepared.data, len(prepared.data))
    document = raw.FPDF_LoadMemDocument64(buffer, len(prepared.data), None)
    if not document:
        raise Refused("the PDF cannot be opened: it is damaged; get it again or export it anew")
    try:
        sheets = tuple(_page(reader, document, index, facts) for index, facts in enumerate(prepared.pages))
    finally:
        raw.FPDF_CloseDocument(document)
    notes = list(prepared.notes)
    for name, count in reader.hidden.items():
        many = "line or text" if count == 1 else "lines and texts"
        notes.append(
            (
                "ignored",
                f"the layer '{name}' is {'not asked for' if wanted is not None else 'switched off in the file'}; its "
                f"{count} {many} are left out",
            )
        )
    for (page, what), count in sorted(reader.skipped.items()):
        notes.append(("ignored", f"page {page}: {count} {what}"))
    listed = tuple(Layer(name, shown) for name, shown in prepared.layers)
    return Sheets(sheets, listed, prepared.count, tuple(notes))


def _times(inner: Matrix, outer: Matrix) -> Matrix:
    """First ``inner``, then ``outer``."""
    a, b, c, d, e, f = inner
    p, q, r, s, t, u = outer
    return (a * p + b * r, a * q + b * s, c * p + d * r, c * q + d * s, e * p + f * r + t, e * q + f * s + u)


def _at(m: Matrix, x: float, y: float) -> Point:
    return (m[0] * x + m[2] * y + m[4], m[1] * x + m[3] * y + m[5])


def _scale(m: Matrix) -> float:
    return math.sqrt(abs(m[0] * m[3] - m[1] * m[2]))


def _view(facts: PageFacts) -> tuple[Matrix, float, float]:
    """User space to the sheet (mm, turned, corner at the origin), and the sheet's width and height."""
    x0, y0, x1, y1 = facts.box
    k = facts.unit_mm
    w, h = (x1 - x0) * k, (y1 - y0) * k
    # /Rotate turns the page clockwise when it is shown (ISO 32000-1, table 30)
    if facts.rotate == 90:
        return (0.0, -k, k, 0.0, -y0 * k, x1 * k), h, w
    if facts.rotate == 180:
        return (-k, 0.0, 0.0, -k, x1 * k, y1 * k), w, h
    if facts.rotate == 270:
        return (0.0, k, -k, 0.0, y1 * k, -x0 * k), h, w
    return (k, 0.0, 0.0, k, -x0 * k, -y0 * k), w, h


def _page(reader: _Reader, document: Any, index: int, facts: PageFacts) -> Sheet:
    raw = reader.raw
    view, width, height = _view(facts)
    if max(width, height) > LARGEST_MM:
        raise Refused(f"page {facts.number} is {max(width, height) / 1000:.0f} m long; pages up to 100 m are read")
    page = raw.FPDF_LoadPage(document, index)
    if not page:
        raise Refused(f"page {facts.number} cannot be read: it is damaged; get the file again or export it anew")
    text_page = raw.FPDFText_LoadPage(page)
    held = _Page(facts, view, text_page)
    try:
        for i in range(raw.FPDFPage_CountObjects(page)):
            _object(reader, held, raw.FPDFPage_GetObject(page, i), view, (), 0)
    finally:
        if text_page:
            raw.FPDFText_ClosePage(text_page)
        raw.FPDF_ClosePage(page)
    clip = None
    if held.clips and not held.unclipped:
        best, count = held.clips.most_common(1)[0]
        clip = best if count >= 0.9 * sum(held.clips.values()) else None
    return Sheet(
        facts.number, width, height, tuple(held.lines), tuple(held.texts), tuple(held.pictures), clip, facts.user_unit
    )


def _object(reader: _Reader, held: _Page, thing: Any, outer: Matrix, layers: tuple[str, ...], depth: int) -> None:
    raw = reader.raw
    if not thing:
        return
    reader.drawn += 1
    if reader.drawn > MOST_DRAWN:
        raise Refused(f"more than {MOST_DRAWN} things are drawn on its pages, which is no pattern; choose its pages")
    kind = raw.FPDFPageObj_GetType(thing)
    named, hidden = _marks(reader, thing)
    if hidden is not None:
        if kind != raw.FPDF_PAGEOBJ_IMAGE:
            reader.hidden[hidden] += 1
        return
    layers = (*layers, *(n for n in named if n not in layers))
    own = raw.FS_MATRIX()
    if kind == raw.FPDF_PAGEOBJ_SHADING or not raw.FPDFPageObj_GetMatrix(thing, own):
        return
    matrix = _times((own.a, own.b, own.c, own.d, own.e, own.f), outer)
    if not all(map(math.isfinite, matrix)):
        reader.skipped[(held.facts.number, "things drawn without a finite place are left out")] += 1
        return
    if kind == raw.FPDF_PAGEOBJ_PATH:
        _clip(reader, held, thing, outer)
        _path(reader, held, thing, matrix, layers)
    elif kind == raw.FPDF_PAGEOBJ_TEXT:
        _text(reader, held, thing, matrix, outer, layers)
    elif kind == raw.FPDF_PAGEOBJ_IMAGE:
        across, down = ctypes.c_uint(), ctypes.c_uint()
        raw.FPDFImageObj_GetImagePixelSize(thing, across, down)
        corners = [_at(matrix, x, y) for x in (0.0, 1.0) for y in (0.0, 1.0)]
        held.pictures.append(Picture(_bounds(corners), (across.value, down.value), layers))
    elif kind == raw.FPDF_PAGEOBJ_FORM:
        if depth >= MOST_DEPTH:
            raise Refused(f"page {held.facts.number}: forms lie in forms too deep, which is no pattern")
        _clip(reader, held, thing, outer, count=False)
        for i in range(raw.FPDFFormObj_CountObjects(thing)):
            _object(reader, held, raw.FPDFFormObj_GetObject(thing, i), matrix, layers, depth + 1)


def _marks(reader: _Reader, thing: Any) -> tuple[list[str], str | None]:
    """Names of the layers that the object itself is marked with, and the layer that hides it, if any."""
    raw = reader.raw
    count = raw.FPDFPageObj_CountMarks(thing)
    names: list[str] = []
    for i in range(max(0, min(count, 64))):
        mark = raw.FPDFPageObj_GetMark(thing, i)
        if not mark or _string(raw.FPDFPageObjMark_GetName, mark) != "OC":
            continue
        label = _parameter(raw, mark)
        if not label.startswith("L") or not label[1:].isdigit() or int(label[1:]) >= len(reader.prepared.marks):
            continue
        held, shown = reader.prepared.marks[int(label[1:])]
        if reader.layer is not None:
            shown = any(name.casefold() in reader.layer for name in held)
        if not shown:
            return [], " / ".join(held)
        names += [name for name in held if name not in names][:1] if len(held) > 1 else list(held)
    return names, None


def _string(call: Any, mark: Any) -> str:
    length = ctypes.c_ulong()
    call(mark, None, 0, length)
    if not 2 <= length.value <= 4096:
        return ""
    buffer = (ctypes.c_ushort * (length.value // 2 + 1))()
    call(mark, buffer, length.value, length)
    return bytes(buffer)[: max(0, length.value - 2)].decode("utf-16-le", "replace")


def _parameter(raw: Any, mark: Any) -> str:
    length = ctypes.c_ulong()
    raw.FPDFPageObjMark_GetParamStringValue(mark, b"Name", None, 0, length)
    if not 2 <= length.value <= 4096:
        return ""
    buffer = (ctypes.c_ushort * (length.value // 2 + 1))()
    raw.FPDFPageObjMark_GetParamStringValue(mark, b"Name", buffer, length.value, length)
    return bytes(buffer)[: max(0, length.value - 2)].decode("utf-16-le", "replace")


def _bounds(points: list[Point]) -> Box:
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return (min(xs), min(ys), max(xs), max(ys))


def _clip(reader: _Reader, held: _Page, thing: Any, outer: Matrix, count: bool = True) -> None:
    """Remember the box that the object is clipped to."""
    raw = reader.raw
    clip = raw.FPDFPageObj_GetClipPath(thing)
    paths = raw.FPDFClipPath_CountPaths(clip) if clip else 0
    box: Box | None = None
    for i in range(max(0, min(paths, 32))):
        points = []
        for k in range(max(0, min(raw.FPDFClipPath_CountPathSegments(clip, i), 64))):
            x, y = ctypes.c_float(), ctypes.c_float()
            if raw.FPDFPathSegment_GetPoint(raw.FPDFClipPath_GetPathSegment(clip, i, k), x, y):
                points.append(_at(outer, x.value, y.value))
        if points:
            one = _bounds(points)
            box = one if box is None else (
                max(box[0], one[0]), max(box[1], one[1]), min(box[2], one[2]), min(box[3], one[3])
            )  # fmt: skip
    if box is not None:
        held.clips[tuple(round(v, 2) for v in box)] += 1  # type: ignore[index]
    elif count:
        held.unclipped += 1


def _style(reader: _Reader, thing: Any, scale: float) -> Style:
    raw = reader.raw
    fill, stroke = ctypes.c_int(), ctypes.c_int()
    raw.FPDFPath_GetDrawMode(thing, fill, stroke)
    stroked, filled = bool(stroke.value), fill.value != 0
    channels = [ctypes.c_uint() for _ in range(4)]
    call = raw.FPDFPageObj_GetStrokeColor if stroked else raw.FPDFPageObj_GetFillColor
    if not call(thing, *channels):
        channels = [ctypes.c_uint(0), ctypes.c_uint(0), ctypes.c_uint(0), ctypes.c_uint(255)]
    if channels[3].value == 0:
        stroked = filled = False
    width = ctypes.c_float()
    raw.FPDFPageObj_GetStrokeWidth(thing, width)
    dash: tuple[float, ...] = ()
    count = raw.FPDFPageObj_GetDashCount(thing)
    if 0 < count <= 64:
        numbers = (ctypes.c_float * count)()
        raw.FPDFPageObj_GetDashArray(thing, numbers, count)
        dash = tuple(round(n * scale, 3) for n in numbers)
        if not all(map(math.isfinite, dash)) or sum(abs(d) for d in dash) <= 1e-6:
            dash = ()
    breadth = width.value * scale
    colour = (channels[0].value, channels[1].value, channels[2].value)
    return Style(colour, round(breadth, 4) if math.isfinite(breadth) else 0.0, dash, stroked, filled)


# long: one case for each kind of step
def _path(reader: _Reader, held: _Page, thing: Any, matrix: Matrix, layers: tuple[str, ...]) -> None:
    raw = reader.raw
    style = _style(reader, thing, _scale(matrix))
    if not (style.stroked or style.filled):
        reader.skipped[(held.facts.number, "paths that are not painted (or wholly transparent) are left out")] += 1
        return
    number = held.facts.number
    runs: list[tuple[list[Point], bool, int]] = []
    points: list[Point] = []
    controls: list[Point] = []
    curves = straight = 0
    x, y = ctypes.c_float(), ctypes.c_float()
    for i in range(raw.FPDFPath_CountSegments(thing)):
        segment = raw.FPDFPath_GetPathSegment(thing, i)
        if not raw.FPDFPathSegment_GetPoint(segment, x, y):
            continue
        at = _at(matrix, x.value, y.value)
        if not (math.isfinite(at[0]) and math.isfinite(at[1])):
            reader.skipped[(number, "paths with coordinates that are no finite numbers are left out")] += 1
            return
        kind = raw.FPDFPathSegment_GetType(segment)
        if kind == raw.FPDF_SEGMENT_MOVETO:
            if len(points) > 1:
                runs.append((points, False, curves if not straight else 0))
            points, controls, curves, straight = [at], [], 0, 0
        elif kind == raw.FPDF_SEGMENT_BEZIERTO:
            controls.append(at)
            if len(controls) == 3 and points:
                try:
                    points += cubic_points(points[-1], controls[0], controls[1], controls[2], reader.chord)
                except CurveError as error:
                    raise Refused(f"page {number}: a curve cannot be read: {error}") from None
                controls = []
                curves += 1
        else:
            points.append(at)
            straight += 1
        reader.points += 1
        if reader.points + len(points) > MOST_POINTS:
            raise Refused(f"its lines have more than {MOST_POINTS} points, which is no pattern; choose its pages")
        if raw.FPDFPathSegment_GetClose(segment) and points:
            start = points[0]
            while len(points) > 1 and math.dist(points[-1], start) <= 1e-4:
                points.pop()
            if len(points) > 1:
                runs.append((points, True, curves if straight <= 1 else 0))
            points, controls, curves, straight = [start], [], 0, 0
    if len(points) > 1:
        runs.append((points, False, curves if not straight else 0))
    for run, closed, arcs in runs:
        reader.points += len(run)
        far = max(max(abs(px), abs(py)) for px, py in run)
        if far > LARGEST_MM:
            raise Refused(
                f"page {number}: a line reaches {far / 1000:.4g} m; drawings up to {LARGEST_MM / 1000:g} m are read"
            )
        if not closed and len(run) > 3 and math.dist(run[0], run[-1]) <= 1e-3:
            run, closed = run[:-1], True
        if style.filled and not style.stroked:
            closed = True
        held.lines.append(
            PdfLine(tuple(run), closed, style, layers, number, reader.drawn, _circle(run) if closed and arcs else None)
        )


def _circle(points: list[Point]) -> float | None:
    """The diameter where a closed curve is a circle."""
    x0, y0, x1, y1 = _bounds(points)
    w, h = x1 - x0, y1 - y0
    if w <= 0 or abs(w - h) > 0.01 * w or len(points) < 6:
        return None
    centre = ((x0 + x1) / 2, (y0 + y1) / 2)
    return w if all(abs(math.dist(p, centre) - w / 2) <= 0.02 * w for p in points) else None


def _text(reader: _Reader, held: _Page, thing: Any, matrix: Matrix, outer: Matrix, layers: tuple[str, ...]) -> None:
    raw = reader.raw
    if not held.text_page:
        return
    size = raw.FPDFTextObj_GetText(thing, held.text_page, None, 0)
    if not 2 < size <= 200_000:
        return
    reader.characters += size // 2
    if reader.characters > MOST_CHARACTERS:
        raise Refused(f"it holds more than {MOST_CHARACTERS} characters of text, which is no pattern; choose its pages")
    buffer = (ctypes.c_ushort * (size // 2 + 1))()
    raw.FPDFTextObj_GetText(thing, held.text_page, buffer, size)
    words = bytes(buffer)[: size - 2].decode("utf-16-le", "replace")
    words = " ".join("".join(c if c.isprintable() else " " for c in words).split())
    if not words:
        return
    points = ctypes.c_float()
    raw.FPDFTextObj_GetFontSize(thing, points)
    height = points.value * math.hypot(matrix[2], matrix[3])
    angle = math.degrees(math.atan2(matrix[1], matrix[0]))
    sides = [ctypes.c_float() for _ in range(4)]
    if raw.FPDFPageObj_GetBounds(thing, *sides):
        left, bottom, right, top = (s.value for s in sides)
        box = _bounds([_at(outer, px, py) for px in (left, right) for py in (bottom, top)])
    else:
        box = (matrix[4], matrix[5], matrix[4], matrix[5])
    if not all(map(math.isfinite, (*box, height))) or max(map(abs, box)) > LARGEST_MM:
        return
    at = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
    room = _bearings(reader, held, thing, box, height) if abs(angle) < 1.0 else (0.0, 0.0)
    held.texts.append(PdfText(words, at, height, angle, layers, held.facts.number, box, room))


def _bearings(reader: _Reader, held: _Page, thing: Any, box: Box, height: float) -> tuple[float, float]:
    """mm by which the room of a level text's letters reaches beyond their ink, to the left and to the right."""
    if held.rooms is None:
        held.rooms = _rooms(reader.raw, held.text_page)
    room = held.rooms.get(ctypes.addressof(thing.contents))
    if room is None:
        return 0.0, 0.0
    x0, _, x1, _ = _bounds([_at(held.view, room[0], room[1]), _at(held.view, room[2], room[3])])
    left, right = box[0] - x0, x1 - box[2]
    # room elsewhere than the ink is that of a text turned within its page
    return (left, right) if max(abs(left), abs(right)) <= 0.6 * height else (0.0, 0.0)


def _rooms(raw: Any, text_page: Any) -> dict[int, Box]:
    """The room that the letters of each text object take, in the page's own units, by the object's address."""
    rooms: dict[int, Box] = {}
    if not hasattr(raw, "FPDFText_GetTextObject"):
        return rooms
    letter = raw.FS_RECTF()
    for i in range(max(0, min(raw.FPDFText_CountChars(text_page), MOST_CHARACTERS))):
        thing = raw.FPDFText_GetTextObject(text_page, i)
        if thing and raw.FPDFText_GetLooseCharBox(text_page, i, letter):
            key, one = ctypes.addressof(thing.contents), (letter.left, letter.bottom, letter.right, letter.top)
            known = rooms.get(key, one)
            rooms[key] = (min(known[0], one[0]), min(known[1], one[1]), max(known[2], one[2]), max(known[3], one[3]))
    return rooms
