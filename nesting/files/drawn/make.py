"""From an outline with its strokes and texts to a piece. Refuses what cannot be cut, reports what was put right."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from nesting.files.drawn import marks, outline
from nesting.files.drawn.collect import Found
from nesting.files.drawn.context import Context
from nesting.files.drawn.fold import fold_edge
from nesting.files.drawn.gather import text_label
from nesting.files.drawn.loops import find_loops
from nesting.files.drawn.sketch import Stroke, Text
from nesting.files.drawn.texts import Label, size_at_end
from nesting.files.drawn.vocabulary import is_made_up, says_grain
from nesting.model.piece import Edge, Line, Piece, Point, Ring

__all__ = ["make_pieces"]

#: mm². Smaller than this and somebody should look: 1 cm².
_SMALL_AREA_MM2 = 100.0


def make_pieces(found: Sequence[Found], ctx: Context, size: str | None = None) -> tuple[Piece, ...]:
    """Pieces of all outlines, named, in the order of the drawing; only those of ``size`` or without a size if given.

    Raises PatternError for an outline without area or one that crosses itself, and where ``size`` is in none.
    """
    begun = len(ctx.findings)
    # what is told of a piece is told under the name that it has in the end
    own = [replace(ctx, findings=[]) for _ in found]
    drawn = [_make(f, number, each) for number, (f, each) in enumerate(zip(found, own, strict=True), start=1)]
    pieces = _sizes_from_names(drawn, ctx)
    told = {id(piece): (was.label, each.findings) for piece, was, each in zip(pieces, drawn, own, strict=True)}
    if size is not None:
        sizes = sorted({p.size for p in pieces if p.size is not None})
        if sizes and not any(_same_size(p.size, size) for p in pieces):
            raise ctx.error(f"size '{size}' is not in this file, which has {', '.join(sizes)}", code="size.unknown")
        if not sizes:
            kept = [(p, replace(p, size=size)) for p in pieces]
        else:
            these = [p for p in pieces if p.size is None or _same_size(p.size, size)]
            kept = [(p, replace(p, size=size) if p.size else p) for p in these]
        told = {id(new): told[id(p)] for p, new in kept}
        pieces = [new for _, new in kept]
    double = [key for key, count in Counter(p.key for p in pieces).items() if count > 1]
    for name, of_size in double:
        ctx.note(
            "ambiguous",
            f"more than one piece is called '{name}'" + (f" in size {of_size}" if of_size else "") + "; they are "
            "numbered",
            code="piece.name-twice",
        )
    seen: Counter[tuple[str, str | None]] = Counter()
    numbered, findings = [], []
    for piece in pieces:
        seen[piece.key] += 1
        again = seen[piece.key]
        numbered.append(replace(piece, name=f"{piece.name} {again}") if again > 1 else piece)
        was, notes = told[id(piece)]
        findings += [replace(one, piece=numbered[-1].label) if one.piece == was else one for one in notes]
    ctx.findings[begun:begun] = [one for one in dict.fromkeys(findings) if one not in ctx.findings]
    return tuple(numbered)


def _same_size(a: str | None, b: str) -> bool:
    return a is not None and a.strip().lower() == b.strip().lower()


# long: one part of the piece after another, each from what is left of the lines
def _make(f: Found, number: int, ctx: Context) -> Piece:
    inside_texts = [t for t in f.texts if t.text.strip()]
    said, names = text_label(inside_texts)
    label = f.label.over(said)
    own = [p.name for p in f.parts if p.name and p.role in ("cut", None) and not is_made_up(p.name)]
    name = label.name or (own[0] if own else None) or f.weak_name or f"piece {number}"
    shown = f"{name} {label.size}" if label.size else name
    ring = _sound_ring(f.ring, f, ctx, shown)
    _tell_outline(f, label, names, ctx, shown)
    by_role: dict[str | None, list[Stroke]] = {}
    for stroke in f.strokes:
        by_role.setdefault(stroke.role, []).append(stroke)
    folds = by_role.get("fold", []) + [p for p in f.parts if p.role == "fold"]
    ring, fold, divided = fold_edge(folds, ring, ctx, shown)
    if divided:
        by_role.setdefault("inside", []).extend(folds)
    seam, seam_rest = _seam(by_role.get("sew", []), ring, fold, ctx, shown)
    if any(p.role == "cut" and p.notch is None and id(p) in ctx.seam_only for p in f.parts):
        seam = ring
        ctx.note(
            "warning",
            "only a seam outline is drawn: it is laid as it is unless the order gives its edges a finish",
            shown,
            code="seam-line.alone",
        )
    holes = by_role.get("cutout", []) + by_role.get("flaw", [])
    cutouts, cutout_rest = _cutouts(holes, f.cutouts, ring, ctx, shown)
    found_grain, bare = _grain_and_bare(by_role, inside_texts, ring, ctx, shown)
    inside = [_closed(s) for s in by_role.get("inside", [])] + seam_rest + cutout_rest
    inside += [_closed(s) for s in bare if len(s.points) >= 2]
    notches = [marks.notch(s, ring, ctx, shown, fold) for s in marks.marks_of(by_role.get("notch", []), ctx, shown)]
    if label.on_fold and fold is None:
        ctx.note(
            "question",
            "its label says that it is cut on the fold, but no fold line is drawn: say in the order which side lies on "
            "the fold",
            shown,
            code="fold.side-not-said",
            forbids=True,
        )
    rings = [ring] if seam is None else [ring, seam]
    edges = [marks.edge(s, rings, ctx, shown) for s in by_role.get("edge", [])]
    edges += [marks.edge(p, [ring], ctx, shown) for p in f.parts if p.role == "edge"]
    extra = dict(pair for group in f.chain for pair in group.extra)
    error, origin = _traced(extra, ctx, shown)
    return Piece(
        name=name,
        outline=ring,
        size=label.size,
        seam=seam,
        inside=tuple(line for line in inside if len(line) >= 2),
        cutouts=tuple(cutouts),
        notches=tuple(notches),
        drills=tuple(marks.drill(s) for s in marks.marks_of(by_role.get("drill", []), ctx, shown)),
        grainline=found_grain[0] if found_grain else None,
        fold=fold,
        edges=_one_per_name([e for e in edges if e is not None], ctx, shown),
        cut=label.cut,
        mirrored=label.mirrored,
        material=label.material,
        text=tuple(t.text for t in sorted(inside_texts, key=lambda t: (-t.at[1], t.at[0]))),
        axis_drawn=found_grain[1] if found_grain else None,
        file=ctx.file,
        extra=tuple(extra.items()),
        error=error,
        origin=origin,
    )


def _tell_outline(f: Found, label: Label, names: Sequence[str], ctx: Context, shown: str) -> None:
    """What was done to the outline, and what its texts were taken for."""
    for join in f.joins:
        ctx.note(
            "repaired",
            f"a gap of {join.gap:.2f} mm in the outline at ({join.at[0]:.1f}, {join.at[1]:.1f}) was closed (gaps up to "
            f"{ctx.join_gap:g} mm are)",
            shown,
            code="outline.gap-closed",
        )
    if f.trimmed:
        ctx.note(
            "repaired",
            "lines of the outline ran past their corners; they were trimmed there",
            shown,
            code="outline.corners-trimmed",
        )
    if f.branching and not f.marked:
        ctx.note(
            "ambiguous",
            "lines without a role run across the outline from edge to edge; taken as lines inside one piece. If they "
            "divide pieces, draw each piece's outline whole, in its own group",
            shown,
            code="drawing.lines-across",
        )
    if f.label.name is None and len(dict.fromkeys(names)) > 1:
        others = ", ".join(f"'{n}'" for n in names[1:4])
        ctx.note(
            "ambiguous", f"named after its first text; other texts in it: {others}", shown, code="piece.named-by-text"
        )
    if label.cut is not None or label.size is not None or label.material is not None or label.on_fold:
        ctx.note("note", f"its label was read as: {label}", shown, code="piece.label-read")


def _closed(stroke: Stroke) -> Line:
    return (*stroke.points, stroke.points[0]) if stroke.closed else stroke.points


def _grain_and_bare(
    by_role: Mapping[str | None, list[Stroke]], texts: Sequence[Text], ring: Ring, ctx: Context, shown: str
) -> tuple[tuple[tuple[Point, Point], bool | None] | None, list[Stroke]]:
    """The grainline, drawn as one or taken from the lines without a role, and those of them that stay lines inside."""
    found = marks.grain(by_role.get("grain", []), ctx, shown)
    bare = by_role.get(None, [])
    if found is None and not by_role.get("grain"):
        found, bare = _bare_grain(bare, texts, ctx, shown)
    bare = _in_the_piece(bare, ring, ctx, shown)
    return found, _not_repeated(bare, ring, ctx, shown)


#: mm. A larger error than this is none that a tracing promises.
_MOST_ERROR_MM = 20.0


def _traced(extra: dict[str, str], ctx: Context, piece: str) -> tuple[float, str | None]:
    """The error and origin that a tracing wrote, taken out of ``extra``; told. Raises PatternError for an error that is
    no number of millimetres."""
    text, origin = extra.pop("error", None), extra.pop("origin", None)
    if text is None:
        return 0.0, origin
    try:
        error = float(text)
    except ValueError:
        error = -1.0
    if not 0.0 <= error <= _MOST_ERROR_MM:
        raise ctx.error(
            f"data-error is '{text[:20]}', expected the error of the tracing in mm, 0 to {_MOST_ERROR_MM:g}",
            piece,
            code="piece.traced-error",
        )
    ctx.note(
        "note",
        f"traced from {origin or 'a picture'}: its outline may be off by {error:.2g} mm",
        piece,
        code="piece.traced",
        error_mm=error,
    )
    return error, origin or "a picture"


def _one_per_name(edges: list[Edge], ctx: Context, piece: str) -> tuple[Edge, ...]:
    counts = Counter(e.name for e in edges)
    for name, count in counts.items():
        if count > 1:
            ctx.note(
                "ambiguous", f"{count} edges are called '{name}'; the first is taken", piece, code="edge.name-twice"
            )
    return tuple({e.name: e for e in reversed(edges)}.values())[::-1]


def _sound_ring(points: Ring, f: Found, ctx: Context, piece: str) -> Ring:
    """The outline cleaned and anticlockwise. Raises PatternError if it has no area or crosses itself."""
    ring, done = outline.clean(points)
    for what in done:
        ctx.note("repaired", what, piece, code="outline.repaired")
    where = f.parts[0].where if f.parts else "the outline"
    if len(ring) < 3:
        raise ctx.error(
            f"the outline ({where}) has fewer than three points, so no area: draw it anew",
            piece,
            code="outline.no-area",
        )
    crossing = outline.crossing(ring)
    size = outline.area(ring)
    # An outline of no area is not "crossing itself" for a person, though its sides lie on one another.
    flat = outline.is_flat(ring)
    if crossing is not None and not flat:
        raise ctx.error(
            f"the outline ({where}) crosses or touches itself at ({crossing[0]:.2f}, {crossing[1]:.2f}) mm: an outline "
            "must be one simple closed line. Correct it there",
            piece,
            code="outline.crosses",
        )
    if flat or abs(size) < outline.LEAST_AREA_MM2:
        raise ctx.error(
            f"the outline ({where}) encloses {abs(size):.3g} mm², which is no piece of cloth: check the drawing and "
            "its units",
            piece,
            code="outline.no-area",
        )
    if abs(size) < _SMALL_AREA_MM2:
        ctx.note(
            "warning",
            f"the piece is only {abs(size):.0f} mm² large; are the units right?",
            piece,
            code="piece.very-small",
        )
    return ring if size > 0 else ring[::-1]


def _seam(
    strokes: Sequence[Stroke], ring: Ring, fold: tuple[Point, Point] | None, ctx: Context, piece: str
) -> tuple[Ring | None, list[Line]]:
    """The seam outline, and lines that do not close into one (kept as lines inside)."""
    if not strokes:
        return None, []
    rings: list[Ring] = [s.points for s in strokes if s.closed and len(s.points) >= 3]
    lines = [s.points for s in strokes if not s.closed and len(s.points) >= 2]
    rest: list[Line] = []
    if lines:
        result = find_loops(lines, ctx.join_gap)
        if not result.loops and fold is not None:
            # a half's seam line ends on the fold at both ends
            ends = [p for line in lines for p in (line[0], line[-1])]
            on_fold = [p for p in ends if outline.nearest(fold, p, closed=False).away <= ctx.join_gap]
            if len(on_fold) == 2:
                result = find_loops([*lines, (on_fold[0], on_fold[1])], ctx.join_gap)
        rings += [loop.ring for loop in result.loops]
        rest = [lines[i] for i in result.loose if i < len(lines)]
        for loop in result.loops:
            for join in loop.joins:
                ctx.note(
                    "repaired",
                    f"a gap of {join.gap:.2f} mm in the seam outline was closed",
                    piece,
                    code="seam-line.gap-closed",
                )
    sound = []
    for given in rings:
        clean, done = outline.clean(given)
        for what in done:
            ctx.note("repaired", what.replace("outline", "seam outline"), piece, code="seam-line.repaired")
        if len(clean) < 3 or outline.is_flat(clean):
            ctx.note("ignored", "a seam outline without area is left out", piece, code="seam-line.no-area")
            continue
        at = outline.crossing(clean)
        if at is not None:
            raise ctx.error(
                f"the seam outline crosses or touches itself at ({at[0]:.2f}, {at[1]:.2f}) mm: correct it there",
                piece,
                code="seam-line.crosses",
            )
        sound.append(clean if outline.area(clean) > 0 else clean[::-1])
    if not sound:
        if rest:
            ctx.note(
                "ambiguous",
                "the seam line does not close; kept as lines inside the piece",
                piece,
                code="seam-line.open",
            )
        return None, rest
    seam = max(sound, key=outline.area)
    others = [(*s, s[0]) for s in sound if s is not seam]
    return seam, [*rest, *others]


def _cutouts(
    strokes: Sequence[Stroke], more: Sequence[Ring], outer: Ring, ctx: Context, piece: str
) -> tuple[list[Ring], list[Line]]:
    """Rings of the cutouts that are drawn and of ``more``; lines that do not close. Raises PatternError for a cutout
    that crosses itself or reaches out of the piece."""
    from shapely import Polygon

    rings = [s.points for s in strokes if s.closed and len(s.points) >= 3] + [*more]
    lines = [s.points for s in strokes if not s.closed and len(s.points) >= 2]
    rest: list[Line] = []
    if lines:
        result = find_loops(lines, ctx.join_gap)
        rings += [loop.ring for loop in result.loops]
        rest = [lines[i] for i in result.loose]
        if rest:
            ctx.note("ambiguous", "a cutout does not close; kept as lines inside the piece", piece, code="cutout.open")
    whole = Polygon(np.asarray(outer)).buffer(ctx.join_gap)
    sound: list[Ring] = []
    for given in rings:
        clean, done = outline.clean(given)
        for what in done:
            ctx.note("repaired", what.replace("outline", "cutout"), piece, code="cutout.repaired")
        if len(clean) < 3 or outline.is_flat(clean, 1e-3):
            ctx.note("ignored", "a cutout without area is left out", piece, code="cutout.no-area")
            continue
        at = outline.crossing(clean)
        if at is not None:
            raise ctx.error(
                f"a cutout crosses or touches itself at ({at[0]:.2f}, {at[1]:.2f}) mm", piece, code="cutout.crosses"
            )
        if not whole.covers(Polygon(clean)):
            x0, y0, _, _ = outline.box(clean)
            raise ctx.error(
                f"a cutout at ({x0:.1f}, {y0:.1f}) mm reaches out of the piece: draw it inside",
                piece,
                code="cutout.outside",
            )
        sound.append(clean if outline.area(clean) > 0 else clean[::-1])
    return sound, rest


def _bare_grain(
    bare: list[Stroke], texts: Sequence[Text], ctx: Context, piece: str
) -> tuple[tuple[tuple[Point, Point], bool | None] | None, list[Stroke]]:
    """A single straight line with an arrowhead (the file's own, or drawn as two short strokes) among lines without a
    role is the grainline; so is the one beside which a text says "grain"."""
    bare = _with_drawn_heads(bare)
    straight = [s for s in bare if not s.closed and len(s.points) >= 2 and marks.is_straight(s.points)]
    arrows = [s for s in straight if any(s.arrows)]
    if len(arrows) == 1:
        return marks.grain(arrows, ctx, piece), [s for s in bare if s is not arrows[0]]
    told = _line_beside([t for t in texts if says_grain(t.text)], arrows or straight)
    if told is not None:
        ctx.note("note", "the line beside the word for it is taken as the grainline", piece, code="grain.by-text")
        return marks.grain([told], ctx, piece), [s for s in bare if s is not told]
    if arrows or len(straight) == 1:
        ctx.note(
            "ambiguous",
            "a straight line without a role could be the grainline; taken as a line inside the piece. Call it 'grain' "
            "in the drawing, or give the grain in the order",
            piece,
            code="grain.unsure",
        )
    return None, bare


#: mm. A grainline is at least as long as this; its text begins no farther from it than this, or than half its length.
_GRAIN_LEAST_MM, _BESIDE_MM = 20.0, 30.0


def _line_beside(texts: Sequence[Text], lines: Sequence[Stroke]) -> Stroke | None:
    """The line that the texts stand beside: near to all of them, and no other half as near; None where that is open."""
    found: list[Stroke] = []
    for text in texts:
        away = sorted(((outline.nearest(s.points, text.at, closed=False).away, k) for k, s in enumerate(lines)))
        if not away:
            return None
        nearest = lines[away[0][1]]
        size = math.dist(nearest.points[0], nearest.points[-1])
        if size < _GRAIN_LEAST_MM or away[0][0] > max(_BESIDE_MM, size / 2):
            continue
        if len(away) > 1 and away[1][0] < 2 * away[0][0] + 1.0:
            return None
        found.append(nearest)
    return found[0] if found and all(one is found[0] for one in found) else None


#: mm, and share of the line's length: how far a drawn arrowhead's tip may lie from the end of its line, and how long
#: the strokes of a head may be.
_HEAD_MM, _HEAD_SHARE = 1.5, 0.25


def _with_drawn_heads(bare: list[Stroke]) -> list[Stroke]:
    """The lines, straight ones with an arrowhead drawn at an end marked so, and the strokes of such heads left out."""
    heads: set[int] = set()
    marked: list[Stroke] = []
    for stroke in bare:
        if stroke.closed or len(stroke.points) < 2 or not marks.is_straight(stroke.points) or any(stroke.arrows):
            marked.append(stroke)
            continue
        size = math.dist(stroke.points[0], stroke.points[-1])
        found = [False, False]
        for other in bare:
            if other is stroke or not 3 <= len(set(other.points)) <= 4 or outline.length(other.points) > size:
                continue
            tip = other.points[1] if len(other.points) == 3 else None
            for k, end in enumerate((stroke.points[0], stroke.points[-1])):
                near = [p for p in ([tip] if tip is not None else other.points) if math.dist(p, end) <= _HEAD_MM]
                far = max(math.dist(p, end) for p in other.points)
                if near and 0.5 < far <= _HEAD_SHARE * size and _points_back(other.points, end, stroke.points):
                    found[k] = True
                    heads.add(id(other))
        marked.append(replace(stroke, arrows=(found[0], found[1])) if any(found) else stroke)
    return [s for s in marked if id(s) not in heads]


def _points_back(head: Sequence[Point], tip: Point, line: Sequence[Point]) -> bool:
    """Whether the strokes of a head run back from the tip, one to either side of its line."""
    other = line[-1] if math.dist(line[0], tip) < math.dist(line[-1], tip) else line[0]
    ux, uy = other[0] - tip[0], other[1] - tip[1]
    sides = [ux * (p[1] - tip[1]) - uy * (p[0] - tip[0]) for p in head if math.dist(p, tip) > _HEAD_MM]
    back = all(ux * (p[0] - tip[0]) + uy * (p[1] - tip[1]) > 0 for p in head if math.dist(p, tip) > _HEAD_MM)
    return back and len(sides) >= 2 and min(sides) < 0 < max(sides)


def _in_the_piece(bare: list[Stroke], ring: Ring, ctx: Context, piece: str) -> list[Stroke]:
    """Lines without those that lie wholly outside the outline."""
    from shapely import LineString, Point, Polygon

    whole = Polygon(np.asarray(ring)).buffer(ctx.join_gap)
    kept = []
    for stroke in bare:
        shape = LineString(stroke.points) if len(stroke.points) > 1 else Point(stroke.points[0])
        if whole.intersects(shape):
            kept.append(stroke)
        else:
            ctx.note(
                "ignored",
                f"{stroke.where} lies outside the outline and is left out",
                piece,
                code="drawing.line-outside",
            )
    return kept


def _not_repeated(bare: list[Stroke], ring: Ring, ctx: Context, piece: str) -> list[Stroke]:
    """Lines without those that only run along the outline a second time."""
    kept = []
    for stroke in bare:
        step = max(1, len(stroke.points) // 40)
        if len(stroke.points) >= 2 and all(
            outline.nearest(ring, p).away <= 0.05 for p in (*stroke.points[::step], outline.half_way(stroke.points))
        ):
            ctx.note(
                "repaired",
                f"{stroke.where} is drawn over the outline a second time; left out",
                piece,
                code="outline.drawn-over",
            )
        else:
            kept.append(stroke)
    return kept


def _sizes_from_names(pieces: list[Piece], ctx: Context) -> list[Piece]:
    """Sizes that stand at the end of names ("front-S", "front-M"): where one base name has several of them, or where
    the file has the size otherwise. "front L" beside "front R" is none."""
    right = {
        piece.name[:-1].rstrip(" _./-").casefold() for piece in pieces if re.search(r"[\s_./-]R$", piece.name, re.I)
    }
    base: dict[str, set[str]] = {}
    split: dict[int, tuple[str, str]] = {}
    for i, piece in enumerate(pieces):
        ending = size_at_end(piece.name)
        if ending and ending[0].casefold() not in right and (piece.size is None or _same_size(piece.size, ending[1])):
            split[i] = ending
            base.setdefault(ending[0], set()).add(ending[1].upper())
    sizes = {piece.size.strip().upper() for piece in pieces if piece.size is not None}
    sizes |= {size for told in base.values() if len(told) > 1 for size in told}
    result = []
    for i, piece in enumerate(pieces):
        if i in split and split[i][1].upper() in sizes:
            name, size = split[i]
            if piece.size is None:
                ctx.note(
                    "note",
                    f"'{piece.name}' was read as piece '{name}', size {size}",
                    piece.name,
                    code="piece.size-in-name",
                )
            piece = replace(piece, name=name, size=piece.size or size)
        result.append(piece)
    return result
