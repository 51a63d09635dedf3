"""From the lines and texts of a PDF to groups as drawings have them: a piece a group, its sizes groups within it."""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from nesting.files.drawn import outline
from nesting.files.drawn.context import Context
from nesting.files.drawn.loops import find_loops
from nesting.files.drawn.sketch import Group, Stroke, Text
from nesting.files.drawn.texts import Label, read_label
from nesting.files.drawn.vocabulary import is_made_up, read_role
from nesting.model.piece import Ring
from nesting.outlines.pdf_marks import Named, told_by_place
from nesting.outlines.pdf_nested import outline_of_size
from nesting.outlines.pdf_sheets import PdfLine, PdfText
from nesting.outlines.pdf_sizes import Sized, sizes_of, token_of

__all__ = ["groups_of"]

#: What stands on pages for those who glue them: "page 3 of 12", "A4", "row 1, column 2".
_PAGE_WORDS = re.compile(
    r"^(?:(?:page|seite|sheet|blatt|tile|row|reihe|p\.)\s*\W?\s*\d.*|\d{1,3}\s*(?:/|of|von)\s*\d{1,3}|[A-Z]\s?-?\s?\d{1,2}|"
    r"\d{1,2}\s?-?\s?[A-Z]|\d{1,3})$",
    re.I,
)


def groups_of(lines: Sequence[PdfLine], texts: Sequence[PdfText], squares: Sequence[Group], ctx: Context) -> Group:
    """The drawing as a group of groups: by sizes where there are several, else by its layers."""
    texts = _merged(texts)
    roles = told_by_place(lines, [_role(line) for line in lines], texts, ctx)
    sized = sizes_of(lines, [r[0] if r else None for r in roles], texts, ctx)
    words = [t for k, t in enumerate(texts) if k not in sized.labels and not _page_word(t, ctx)]
    root = Group(name=None)
    root.groups += squares
    if len(set(sized.size.values())) > 1:
        many = ", ".join(sized.order)
        ctx.note("note", f"sizes {many} were told apart by {sized.how}", code="pdf.sizes")
        if _sized_groups(root, lines, roles, words, sized, ctx):
            return root
    elif sized.size:
        size = next(iter(sized.size.values()))
        _plain_groups(root, lines, roles, words, sized, ctx, size)
        return root
    _plain_groups(root, lines, roles, words, sized, ctx, None)
    return root


def _page_word(text: PdfText, ctx: Context) -> bool:
    if _PAGE_WORDS.match(text.text.strip()):
        ctx.note(
            "ignored",
            f"page labels such as '{text.text.strip()[:30]}' are for gluing and are left out",
            code="pdf.page-labels",
        )
        return True
    return token_of(text.text) is not None and False


def _in_rows(texts: Sequence[PdfText]) -> list[PdfText]:
    """Texts row by row from the top, each from the left: letters of a row differ in how high their middles are."""
    rows: list[list[PdfText]] = []
    for text in sorted(texts, key=lambda t: (t.page, round(t.angle), -t.at[1])):
        first = rows[-1][0] if rows else None
        if (
            first is not None and first.page == text.page and round(first.angle) == round(text.angle)
            and first.at[1] - text.at[1] < 0.35 * max(text.height, 0.5)
        ):  # fmt: skip
            rows[-1].append(text)
        else:
            rows.append([text])
    return [text for row in rows for text in sorted(row, key=lambda t: t.at[0])]


def _merged(texts: Sequence[PdfText]) -> list[PdfText]:
    """Words that stand in one line, at the distance of words, as one text."""
    result: list[PdfText] = []
    for text in _in_rows(texts):
        last = result[-1] if result else None
        if last is not None and last.page == text.page and abs(last.angle) < 1 and abs(text.angle) < 1:
            half = (text.box[2] - text.box[0]) / 2
            begin = text.at[0] - half
            end = last.at[0] + (last.box[2] - last.box[0]) / 2
            gap = begin - text.bearings[0] - end - last.bearings[1]
            height = max(text.height, 0.5)
            level = abs(last.at[1] - text.at[1]) < 0.35 * height and abs(last.height - text.height) < 0.1 * height
            if level and -0.3 * height < gap < 0.45 * height and last.layers == text.layers:
                joint = " " if gap > 0.12 * height else ""
                x0 = last.at[0] - (last.box[2] - last.box[0]) / 2
                x1 = text.at[0] + half
                y0, y1 = min(last.box[1], text.box[1]), max(last.box[3], text.box[3])
                result[-1] = replace(
                    last, text=last.text + joint + text.text, at=((x0 + x1) / 2, last.at[1]), box=(x0, y0, x1, y1),
                    bearings=(last.bearings[0], text.bearings[1]),
                )  # fmt: skip
                continue
        result.append(text)
    return result


def _role(line: PdfLine) -> Named | None:
    """The role that the innermost layer with one gives a line."""
    for name in reversed(line.layers):
        found = read_role(name)
        if found is not None:
            return found
    return None


def _stroke(line: PdfLine, role: Named | None, index: int) -> Stroke:
    x0, y0, x1, y1 = outline.box(line.points)
    layer = f" in layer '{line.layers[-1]}'" if line.layers else ""
    where = f"page {line.page}, a line of {x1 - x0:.0f} × {y1 - y0:.0f} mm{layer}"
    name = role[1] if role else None
    return Stroke(
        line.points, line.closed, role[0] if role else None, name, notch=role[2] if role else None,
        round=line.round, element=line.element, where=where,
    )  # fmt: skip


def _plain_groups(
    root: Group, lines: Sequence[PdfLine], roles: Sequence[Named | None], texts: Sequence[PdfText], sized: Sized,
    ctx: Context, size: str | None,
) -> None:  # fmt: skip
    """Groups nested as the layers are."""
    made: dict[tuple[str, ...], Group] = {(): root}

    def group(layers: tuple[str, ...]) -> Group:
        if layers not in made:
            above = group(layers[:-1])
            name = layers[-1]
            role = read_role(name)
            label = Label(role=role[0]) if role else Label() if is_made_up(name) else read_label(name)
            if token_of(name) is not None:
                label = Label(size=token_of(name))
            made[layers] = Group(name, label)
            above.groups.append(made[layers])
        return made[layers]

    if size is not None:
        root.label = Label()
    for i, line in enumerate(lines):
        if i in sized.legend:
            continue
        group(line.layers).strokes.append(_stroke(line, roles[i], i))
    for text in texts:
        group(text.layers).texts.append(Text(text.text, text.at))


@dataclass
class _Outline:
    size: str | None
    ring: Ring
    parts: frozenset[int]
    shape: Any


def _sized_groups(
    root: Group, lines: Sequence[PdfLine], roles: Sequence[Named | None], texts: Sequence[PdfText], sized: Sized,
    ctx: Context,
) -> bool:  # fmt: skip
    """A group for each piece, and in it one for each of its sizes. False where no outline is found at all."""
    from shapely import Point

    usable = [
        i for i in range(len(lines))
        if i not in sized.legend and (roles[i] is None or roles[i][0] in ("cut", "fold", "edge"))  # type: ignore[index]
        and lines[i].style.stroked and len(lines[i].points) > 1
    ]  # fmt: skip
    found: list[_Outline] = []
    for cluster in _clusters(lines, usable, ctx.join_gap):
        found += _cluster_outlines(lines, cluster, sized, ctx)
    if not found:
        return False
    pieces = _pieces_of(found)
    used = {i for f in found for i in f.parts} | sized.legend
    groups = []
    for number, same in enumerate(pieces, start=1):
        group = Group(f"piece {number}")
        for one in same:
            below = Group(one.size, Label(size=one.size))
            where = f"size {one.size or 'of all'}, from lines on page {lines[min(one.parts)].page}" if one.parts else ""
            below.strokes.append(Stroke(one.ring, True, "cut", where=where))
            group.groups.append(below)
        root.groups.append(group)
        groups.append((group, same))
    for i, line in enumerate(lines):
        if i in used:
            continue
        at = Point(outline.half_way(line.points, line.closed))
        owners = [(g, s) for g, s in groups if any(o.shape.distance(at) <= 12.0 for o in s)]
        stroke = _stroke(line, roles[i], i)
        if not owners:
            root.strokes.append(stroke)
            continue
        group, same = min(owners, key=lambda one: min(o.shape.distance(at) for o in one[1]))
        mine = [
            g for g, o in zip(group.groups, same, strict=True) if o.size == sized.size.get(i) and o.size is not None
        ]
        if stroke.role in (None, "cut", "edge", "fold") and all(
            min(outline.nearest(o.ring, p).away for o in same) <= 0.1
            for p in line.points[:: max(1, len(line.points) // 20)]
        ):
            ctx.note(
                "repaired", f"{stroke.where} runs along an outline that is known; left out", code="drawing.doubled"
            )
            continue
        if stroke.role == "cut":
            stroke = replace(stroke, role="inside")
        (mine[0] if mine else group).strokes.append(stroke)
    for text in texts:
        dot = Point(text.at)
        owner = next((g for g, s in groups if any(o.shape.contains(dot) for o in s)), None)
        (owner or root).texts.append(Text(text.text, text.at))
    for group, same in groups:
        _name(group, same, texts, ctx)
    return True


def _name(group: Group, same: Sequence[_Outline], texts: Sequence[PdfText], ctx: Context) -> None:
    """The piece's name: the largest words in it that are a name, else the topmost."""
    from shapely import Point

    said = []
    for text in texts:
        if any(o.shape.contains(Point(text.at)) for o in same) and read_role(text.text) is None:
            label = read_label(text.text)
            if label.name is not None and not is_made_up(text.text):
                said.append((round(text.height, 1), text.at[1], label.name))
    if said:
        group.label = Label(name=max(said)[2])
    else:
        group.label = Label(name=group.name)


def _clusters(lines: Sequence[PdfLine], usable: Sequence[int], gap: float) -> list[list[int]]:
    """Lines that touch one another, through any number of others."""
    from shapely import LineString, STRtree

    shapes = [LineString(lines[i].points if not lines[i].closed else (*lines[i].points, lines[i].points[0]))
              for i in usable]  # fmt: skip
    tree = STRtree(shapes)
    parent = list(range(len(usable)))

    def top(k: int) -> int:
        while parent[k] != k:
            parent[k] = parent[parent[k]]
            k = parent[k]
        return k

    for a, b in tree.query(shapes, predicate="dwithin", distance=max(gap, 0.05)).T if shapes else ():
        if a < b:
            parent[top(int(a))] = top(int(b))
    groups: dict[int, list[int]] = defaultdict(list)
    for k, i in enumerate(usable):
        groups[top(k)].append(i)
    return list(groups.values())


def _run(line: PdfLine) -> tuple[tuple[float, float], ...]:
    return line.points if not line.closed else (*line.points, line.points[0])


def _cluster_outlines(lines: Sequence[PdfLine], cluster: Sequence[int], sized: Sized, ctx: Context) -> list[_Outline]:
    """The outlines of each size in lines that hang together."""
    from shapely import Polygon

    sizes = [s for s in sized.order if any(sized.size.get(i) == s for i in cluster)]
    common = [i for i in cluster if i not in sized.size]
    result = []
    hull = max((_reach(lines[i]) for i in cluster), default=0.0)
    every: list[str | None] = [*sizes] or [None]
    for size in every:
        own = [i for i in cluster if sized.size.get(i) == size] if size is not None else common
        rings = _closed(lines, own, ctx)
        large = [r for r in rings if abs(outline.area(r[0])) > 0.02 * hull * hull or lines[min(r[1])].closed]
        if size is not None and not any(abs(outline.area(r[0])) > 0.1 * hull * hull for r in large) and (
            sum(outline.length(_run(lines[i])) for i in own) > 20.0
        ):  # fmt: skip
            others = [i for i in cluster if i in sized.size and sized.size[i] != size]
            if common or others:
                solved = outline_of_size(
                    [_run(lines[i]) for i in own], [_run(lines[i]) for i in common], [_run(lines[i]) for i in others],
                    ctx.join_gap,
                )  # fmt: skip
                if solved is not None:
                    ring, borrowed = solved
                    if outline.area(ring) < 0:
                        ring = ring[::-1]
                    parts = [i for i in (*own, *common) if _runs_along(lines[i], ring)]
                    result.append(_Outline(size, ring, frozenset(parts), Polygon(ring).buffer(0)))
                    if borrowed > 0.02:
                        ctx.note(
                            "note",
                            f"size {size}: {100 * borrowed:.0f} % of an outline on page {lines[own[0]].page} is shared "
                            "with lines of other sizes or of all",
                            code="pdf.shared-lines",
                        )
                    continue
        outer = _outer([(r, p) for r, p in large])
        for ring, parts2 in outer:
            result.append(_Outline(size, ring, frozenset(parts2), Polygon(ring).buffer(0)))
    return result


def _reach(line: PdfLine) -> float:
    x0, y0, x1, y1 = outline.box(line.points)
    return math.hypot(x1 - x0, y1 - y0)


def _runs_along(line: PdfLine, ring: Ring) -> bool:
    step = max(1, len(line.points) // 20)
    return all(outline.nearest(ring, p).away <= 0.1 for p in (*line.points[::step], line.points[-1]))


def _closed(lines: Sequence[PdfLine], own: Sequence[int], ctx: Context) -> list[tuple[Ring, set[int]]]:
    """Rings that lines of one size close by themselves."""
    rings: list[tuple[Ring, set[int]]] = []
    for i in own:
        line = lines[i]
        if line.closed and len(line.points) >= 3 and (line.round is None or line.round > 10.0):
            rings.append((line.points, {i}))
    loose = [i for i in own if not lines[i].closed]
    if loose:
        loops = find_loops([lines[i].points for i in loose], ctx.join_gap)
        rings += [(loop.ring, {loose[k] for k in loop.lines}) for loop in loops.loops]
    return rings


def _outer(rings: Sequence[tuple[Ring, set[int]]]) -> list[tuple[Ring, set[int]]]:
    """Rings that lie in no other one."""
    from shapely import Polygon

    shapes = [Polygon(r).buffer(0) for r, _ in rings]
    kept = []
    for i, one in enumerate(rings):
        dot = shapes[i].representative_point() if not shapes[i].is_empty else None
        if dot is None or not any(
            j != i and shapes[j].area > shapes[i].area and shapes[j].contains(dot) for j in range(len(rings))
        ):
            kept.append(one)
    return kept


def _pieces_of(found: Sequence[_Outline]) -> list[list[_Outline]]:
    """Outlines of different sizes that lie over one another are one piece."""
    pieces: list[list[_Outline]] = []
    for one in sorted(found, key=lambda f: -f.shape.area):
        home = None
        for piece in pieces:
            if any(o.size == one.size for o in piece):
                continue
            if any(o.shape.intersection(one.shape).area > 0.5 * min(o.shape.area, one.shape.area) for o in piece):
                home = piece
                break
        if home is None:
            pieces.append([one])
        else:
            home.append(one)
    return pieces
