"""The view of pieces: each as drawn, with its edges to click, its corners, its marks and what is asked of it."""

from __future__ import annotations

import itertools
import math
import re
from typing import Any, get_args

from nesting.model.errors import NestingError
from nesting.model.order import TurnRule
from nesting.model.piece import Piece, Point
from nesting.page.documents import EdgeDoc, FinishDoc, NotchDoc, PieceDoc, PiecesDoc
from nesting.page.proposals import EDGE_NAMES, proposals
from nesting.page.renaming import UNNAMED
from nesting.page.survey import Key, Survey
from nesting.page.words import finding_doc, line, piece_id, point, problem_of
from nesting.pieces.body import Body, body_of
from nesting.pieces.contour import Contour, cleaned
from nesting.pieces.edges import anchors_of, drawn_ring
from nesting.pieces.grain import GRAIN_TO_FOLD_DEG, straight_sides, with_fold
from nesting.pieces.prepare import sound

__all__ = ["FINISHES", "drawn_body", "edges_of_piece", "notch_doc", "pieces_doc", "why_no_fold"]

#: finishes to choose from, as they are written
FINISHES: tuple[FinishDoc, ...] = (
    {"kind": "raw", "example": "raw", "needs_length": False, "words": "left as cut"},
    {"kind": "fold back", "example": "fold back 2 cm", "needs_length": True, "words": "turned in and sewn down"},
    {"kind": "seam", "example": "seam 1 cm", "needs_length": True, "words": "sewn to another edge, so much inside"},
    {
        "kind": "elastic",
        "example": "elastic 8 mm",
        "needs_length": True,
        "words": "turned in over elastic of this width",
    },
    {"kind": "bound", "example": "bound", "needs_length": False, "words": "a binding goes round the cut edge"},
    {
        "kind": "lace",
        "example": "lace 1.5 cm",
        "needs_length": True,
        "words": "a trim that builds out beyond the cloth",
    },
)
#: the same for orders in inches
_IN_INCHES = {kind: f"{kind} {wide} in" for kind, wide in
              (("fold back", "3/4"), ("seam", "3/8"), ("elastic", "3/8"), ("lace", "5/8"))}  # fmt: skip
_SETTINGS = ("cut", "mirrored", "cloth", "turn", "tilt", "needs_stretch", "unfold", "grain", "fold", "alike_ok",
             "allowance", "finish")  # fmt: skip


def pieces_doc(survey: Survey, rev: int, declined: frozenset[str] = frozenset()) -> PiecesDoc:
    """Every piece that could be read. ``declined``: ids of proposals and questions that are not asked again."""
    used = {
        (name, block["size"])
        for block in survey.blocks.get("garment", [])
        for name in (block["pieces"] or [key[0] for key in survey.drawn])
    }
    return {
        "rev": rev,
        "pieces": [_piece(survey, key, used) for key in survey.drawn],
        "proposals": [one for one in proposals(survey) if one["id"] not in declined],
        "unsaid": [name for name in _unsaid(survey) if f"allowance:{name}" not in declined],
        "finishes": [{**one, "example": _IN_INCHES.get(one["kind"], one["example"])} for one in FINISHES]
        if survey.imperial
        else list(FINISHES),
        "turns": list(get_args(TurnRule)),
        "edge_names": list(EDGE_NAMES),
    }


def _unsaid(survey: Survey) -> list[str]:
    """Pieces that have one outline, of which it is not said whether the seam allowance lies in it."""
    return list(
        dict.fromkeys(
            key[0]
            for key, one in survey.drawn.items()
            if not one.band and one.piece.seam is None and not survey.asked[key]["allowance"]
        )
    )


def notch_doc(notch: Any) -> NotchDoc:
    """A notch for the page."""
    return {
        "at": point(notch.at),
        "direction": round(notch.direction, 2),
        "depth": notch.depth,
        "kind": notch.kind,
        "name": notch.name,
    }


def drawn_body(survey: Survey, key: Key) -> tuple[Piece, Body]:
    """The piece as drawn, fold edge straight, and its spans with all edges named, nothing altered or finished.

    Raises a NestingError where the outline is unsound or an edge of the order is not to be found.
    """
    asked = survey.asked[key]
    drawn = sound(survey.drawn[key].piece)
    anchors = anchors_of(drawn)
    try:
        piece, _ = with_fold(drawn, asked["fold"], file=drawn.file)
    except NestingError:
        piece = drawn
    try:
        body = body_of(piece, asked.edges, anchors, file=drawn.file, follow_cut=piece.seam is not None)
    except NestingError:
        body = body_of(piece, (), anchors, file=drawn.file, follow_cut=False)
    return piece, body


def _piece(survey: Survey, key: Key, used: set[tuple[str, str | None]]) -> PieceDoc:
    drawn = survey.drawn[key].piece
    asked = survey.asked[key]
    problem = survey.piece_problems.get(key)
    edges: list[EdgeDoc] = []
    places: list[Point] = []
    corners: list[list[Any]] = []
    shown = drawn
    try:
        shown, body = drawn_body(survey, key)
        edges = edges_of_piece(survey, key, shown, body)
        corners = [[number, point(p)] for number, p in enumerate(anchors_of(sound(drawn)).corners, 1)]
    except NestingError as error:
        problem = problem or error
    if problem is not None:
        x, y = problem.figures.get("x"), problem.figures.get("y")
        places = [(x, y)] if isinstance(x, float) and isinstance(y, float) else []
    xs, ys = [p[0] for p in drawn.outline], [p[1] for p in drawn.outline]
    grain = shown.grainline
    angle = asked["grain"]
    if grain is None and angle is not None:
        grain = _drawn_grain(drawn, angle)
    if grain is not None:
        angle = math.degrees(math.atan2(grain[1][1] - grain[0][1], grain[1][0] - grain[0][0]))
    findings = list(survey.told.get(key, ()))
    findings += [
        f
        for told in survey.file_findings.values()
        for f in told
        if f.piece in (drawn.label, drawn.name) and f.file == drawn.file
    ]
    return {
        "id": piece_id(*key),
        "name": drawn.name,
        "size": drawn.size,
        "file": drawn.file,
        "label": drawn.label,
        "outline": line(drawn.outline),
        "seam": line(drawn.seam) if drawn.seam is not None else None,
        "inside": [line(one) for one in drawn.inside],
        "cutouts": [line(one) for one in drawn.cutouts],
        "notches": [notch_doc(n) for n in drawn.notches],
        "drills": [{"at": point(d.at), "diameter": d.diameter, "name": d.name} for d in drawn.drills],
        "corners": corners,
        "grain": line(grain) if grain is not None else None,
        "grain_deg": round(angle % 360.0, 2) if angle is not None else None,
        "fold": line(shown.fold) if shown.fold is not None else None,
        "edges": edges,
        "settings": {name: _setting(survey, key, name) for name in _SETTINGS},
        "findings": [finding_doc(f) for f in dict.fromkeys(findings)],
        "usable": problem is None,
        "problem": problem_of(problem, view="pieces", piece=drawn.name) if problem is not None else None,
        "places": [point(p) for p in places],
        "bounds": [round(v, 3) for v in (min(xs), min(ys), max(xs), max(ys))],
        "in_order": any(name == drawn.name and (size is None or size == drawn.size or drawn.size is None)
                        for name, size in used),
        "unnamed": bool(drawn.file) and UNNAMED.fullmatch(drawn.name) is not None,
        "text": list(drawn.text),
    }  # fmt: skip


def _drawn_grain(piece: Piece, angle: float) -> tuple[Point, Point]:
    """A line in the direction of the grain through the middle of the piece, to be dragged."""
    xs, ys = [p[0] for p in piece.outline], [p[1] for p in piece.outline]
    x, y = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
    a = math.radians(angle)
    half = 0.3 * min(max(xs) - min(xs), max(ys) - min(ys)) + 10.0
    return (x - half * math.cos(a), y - half * math.sin(a)), (x + half * math.cos(a), y + half * math.sin(a))


def _setting(survey: Survey, key: Key, name: str) -> Any:
    asked, drawn = survey.asked[key], survey.drawn[key].piece
    given = any(name in block.given for block in asked.blocks)
    raw = next(
        (
            one[name]
            for size in (key[1], None)
            for one in survey.document.get("piece", [])
            if isinstance(one, dict) and one.get("name") == key[0] and one.get("size") == size and name in one
        ),
        None,
    )
    value = raw if given else asked[name]
    ready = survey.ready.get(key)
    if not given and ready is not None and name in ("cut", "mirrored", "cloth"):
        value = getattr(ready, name)
    elif not given and name == "cut":
        value = drawn.cut if drawn.cut is not None else (2 if drawn.mirrored else 1)
    elif not given and name == "mirrored":
        value = bool(drawn.mirrored)
    elif not given and name == "cloth":
        value = drawn.material or "main"
    return {"value": value, "given": given}


def edges_of_piece(survey: Survey, key: Key, piece: Piece, body: Body) -> list[EdgeDoc]:
    """The stretches of the outline that can be clicked: every one between two breaks once, under its own name if it has
    one."""
    asked, drawn = survey.asked[key], survey.drawn[key].piece
    in_order = {spec.name: spec for spec in asked.edges}
    in_file = {edge.name for edge in drawn.edges}
    finishes = dict(asked["finish"])
    lengths = {name: dict(_setting(survey, key, name)["value"] or {}) for name in ("allowance", "trim_short")}
    anchors = anchors_of(sound(drawn))
    contour = Contour(cleaned(drawn_ring(piece)))
    sides = straight_sides(cleaned(drawn.outline))
    docs: list[EdgeDoc] = []
    named = {name for span in body.spans for name in span.names if not _by_number(name)}
    names = list(dict.fromkeys(name for span in body.spans for name in span.names))
    covered: set[int] = set()
    for name in [*(n for n in names if n in named), *(n for n in names if n not in named)]:
        for run in _runs(body, name):
            if _by_number(name) and (covered >= set(run)):
                continue
            if not _by_number(name):
                covered |= set(run)
            spans = [body.spans[k] for k in run]
            seam = _joined([span.line for span in spans])
            cut = _joined([span.cut for span in spans])
            spec = in_order.get(name)
            start = spec.start if spec is not None else _anchor(seam[0], anchors.corners, contour)
            end = spec.end if spec is not None else _anchor(seam[-1], anchors.corners, contour)
            fold = all(span.fold for span in spans)
            side = _fold_side(sides, cut)
            why = None if fold else why_no_fold(drawn, cut, side, asked["grain"])
            docs.append(
                {
                    "name": name,
                    "named": not _by_number(name),
                    "source": "order" if name in in_order else "file" if name in in_file else "corners",
                    "start": start,
                    "end": end,
                    "line": line(seam),
                    "cut": line(cut),
                    "length": round(math.fsum(math.dist(p, q) for p, q in itertools.pairwise(seam)), 2),
                    "finish": finishes.get(name, None if fold else finishes.get("*")),
                    "allowance": _written(lengths["allowance"], name),
                    "trim_short": _written(lengths["trim_short"], name),
                    "fold": fold,
                    "fold_side": side if why is None else None,
                    "why_no_fold": why,
                }
            )
    return docs


def _written(values: dict[str, Any], edge: str) -> str | None:
    """A length of an edge as the order has it, or that of all the others."""
    value = values.get(edge, values.get("*"))
    return None if value is None else str(value)


def _by_number(name: str) -> bool:
    return bool(re.fullmatch(r"\d+-\d+", name))


def _runs(body: Body, name: str) -> list[list[int]]:
    """Numbers of the spans that bear a name, those that follow one another together."""
    n = len(body.spans)
    here = [name in span.names for span in body.spans]
    if all(here):
        return [list(range(n))]
    runs = []
    for i in range(n):
        if here[i] and not here[i - 1]:
            run = [i]
            while here[(run[-1] + 1) % n]:
                run.append((run[-1] + 1) % n)
            runs.append(run)
    return runs


def _joined(lines: Any) -> list[Point]:
    points: list[Point] = []
    for one in lines:
        for p in one:
            if not points or math.dist(points[-1], p) > 1e-6:
                points.append(p)
    return points


def _anchor(p: Point, corners: tuple[Point, ...], contour: Contour) -> int | str:
    """The corner at a point, or the place between two corners."""
    k = min(range(len(corners)), key=lambda i: math.dist(corners[i], p))
    if math.dist(corners[k], p) <= 1.0:
        return k + 1
    place = contour.locate(p)[0]
    starts = [contour.locate(c)[0] for c in corners]
    before = min(range(len(corners)), key=lambda i: (place - starts[i]) % contour.perimeter)
    whole = contour.span(starts[before], starts[(before + 1) % len(corners)]) or contour.perimeter
    return f"{before + 1} + {round(100.0 * contour.span(starts[before], place) / whole, 4):g} %"


def _fold_side(sides: Any, cut: list[Point]) -> str | None:
    """The side of the drawing that this edge is, if it is a straight one."""
    for side, ends in sides.items():
        if {round(math.dist(ends[0], p), 0) for p in (cut[0], cut[-1])} & {0.0} and min(
            math.dist(ends[0], cut[0]) + math.dist(ends[1], cut[-1]),
            math.dist(ends[1], cut[0]) + math.dist(ends[0], cut[-1]),
        ) < 2.0:
            return str(side)
    return None


def why_no_fold(piece: Piece, cut: list[Point], side: str | None, grain: float | None) -> str | None:
    """Why an edge cannot lie on the fold, None where it can."""
    a, b = cut[0], cut[-1]
    chord = math.dist(a, b)
    if chord < 1.0:
        return "it is not straight: it comes back to where it began"
    off = max(abs((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])) / chord for p in cut)
    if off > max(0.5, 0.004 * chord):
        return f"it is not straight: it bends {off / 10:.1f} cm off the line between its ends"
    direction = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
    drawn = piece.grainline
    if drawn is not None:
        grain = math.degrees(math.atan2(drawn[1][1] - drawn[0][1], drawn[1][0] - drawn[0][0]))
    if grain is not None:
        miss = abs((direction - grain + 22.5) % 45.0 - 22.5)
        if miss > GRAIN_TO_FOLD_DEG:
            off_grain = abs((direction - grain + 90.0) % 180.0 - 90.0)
            return f"it runs {off_grain:.0f}° off the grain: along it, square to it or at 45° would do"
    if side is None:
        tilt = min(direction % 90.0, 90.0 - direction % 90.0)
        if tilt > 15.0:
            return f"it lies aslant on the drawing ({tilt:.0f}°): turn the drawing so that this edge stands upright"
        return "it is not the outermost side of the piece there: other parts of the outline lie beyond it"
    return None
