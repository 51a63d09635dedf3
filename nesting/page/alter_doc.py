"""The view of alterations: what the order does to its pieces, before and after over each other."""

from __future__ import annotations

import math
from typing import Any

from nesting.files.orders.order_people import size_worn
from nesting.model.errors import NestingError
from nesting.model.order import CutPiece
from nesting.model.piece import Piece, Point
from nesting.page.documents import AlterationDoc, AlterationsDoc
from nesting.page.seams_doc import seams_of
from nesting.page.survey import Key, Survey
from nesting.page.words import line, piece_id
from nesting.pieces.grain import GRAIN_KEY
from nesting.pieces.prepare import sound

__all__ = ["alterations_doc", "grain_of", "shapes_of"]


def alterations_doc(survey: Survey, rev: int) -> AlterationsDoc:
    """All alterations, the pieces that they change, and the seams of those pieces as they are now."""
    blocks = survey.blocks.get("alter", [])
    raws = [one for one in survey.document.get("alter", []) if isinstance(one, dict)]
    docs: list[AlterationDoc] = []
    touched: set[str] = set()
    for index, raw in enumerate(raws):
        names = raw.get("pieces") or [raw.get("piece")]
        touched |= {str(name) for name in names}
        block = next((b for b in blocks if b.place.key.startswith(f"alter[{index + 1}]")), None)
        by = float(block["by"]) if block is not None else 0.0
        docs.append(_alteration(survey, index, raw, [str(n) for n in names], by))
    followers = {
        str(one.get("follower")): str(one.get("leader"))
        for one in survey.document.get("together", [])
        if isinstance(one, dict)
    }
    shown = touched | {name for name, leader in followers.items() if leader in touched}
    shapes = shapes_of(survey, shown, followers)
    for wearer in dict.fromkeys(str(raw["wearer"]) for raw in raws if raw.get("wearer")):
        theirs = {name for one in docs if one["wearer"] == wearer for name in one["pieces"]}
        shapes |= shapes_of(survey, theirs, followers, wearer)
    return {
        "rev": rev,
        "alterations": docs,
        "shapes": shapes,
        "seams": seams_of(survey, touched),
    }


def _alteration(survey: Survey, index: int, raw: dict[str, Any], names: list[str], by: float) -> AlterationDoc:
    at = raw.get("at")
    at_mm, lines = None, {}
    measured, known = False, set[str]()
    wearer = raw.get("wearer")
    for key in survey.drawn:
        if key[0] not in names or (raw.get("size") is not None and raw["size"] != key[1]):
            continue
        try:
            changes, made = survey.asked_for(key, wearer).alterations, survey.made_for(key, wearer)
        except NestingError:
            changes, made = survey.asked[key].alterations, survey.ready.get(key)
        for number, change in enumerate(changes):
            if change.kind == raw.get("kind") and abs(change.by - by) < 1e-9 and change.at is not None:
                measured = measured or change.at_is_distance
                known |= {e.name for e in survey.drawn[key].piece.edges} | {e.name for e in survey.asked[key].edges}
                height = _drawn_height(survey, key, number, made)
                if height is None:
                    height = _height(survey, key, change.at, change.at_is_distance)
                if height is not None:
                    at_mm = height
                    lines[piece_id(*key)] = line(_across(survey, key, height))
                break
    hold = raw.get("hold", [])
    return {
        "index": index,
        "kind": raw.get("kind", "lengthen"),
        "pieces": names,
        "size": raw.get("size"),
        "wearer": raw.get("wearer"),
        "by": str(raw.get("by", "")),
        "by_mm": round(by, 3),
        "at": None if at is None else str(at),
        "at_mm": round(at_mm, 3) if at_mm is not None else None,
        "edge": raw.get("edge"),
        "hold": hold if isinstance(hold, list) else [hold],
        "asks": measured,
        "start": raw.get("from"),
        "edges": sorted(known),
        "lines": lines,
        "message": _words(raw, names),
    }


def _words(raw: dict[str, Any], names: list[str]) -> str:
    who = " and ".join(names) + (f" (size {raw['size']})" if raw.get("size") else "")
    where = f" at {raw['at']}" if raw.get("at") is not None else ""
    edge = f" at its edge {raw['edge']}" if raw.get("edge") else ""
    return f"{raw.get('kind', 'change')} {who} by {raw.get('by', '?')}{where}{edge}"


def grain_of(survey: Survey, key: Key) -> float | None:
    """Direction of a piece's grain in its drawing, degrees; None where nobody said."""
    piece = survey.drawn[key].piece
    if piece.grainline is not None:
        (ax, ay), (bx, by) = piece.grainline
        return math.degrees(math.atan2(by - ay, bx - ax))
    angle = survey.asked[key]["grain"]
    return float(angle) if angle is not None else None


def _along(piece: Piece, grain: float) -> tuple[float, float]:
    a = math.radians(grain)
    ring = piece.seam if piece.seam is not None else piece.outline
    us = [p[0] * math.cos(a) + p[1] * math.sin(a) for p in ring]
    return min(us), max(us)


def _drawn_height(survey: Survey, key: Key, number: int, ready: CutPiece | None) -> float | None:
    """Where the line of a piece's alteration was drawn, from wherever it is measured: mm along the grain from the
    lowest end of the drawn piece; None where the piece could not be altered."""
    grain = grain_of(survey, key)
    if ready is None or grain is None or number >= len(ready.altered) or not ready.altered[number].lines:
        return None
    a = math.radians(grain)
    step = ready.altered[number]
    us = [p[0] * math.cos(a) + p[1] * math.sin(a) for p in step.before]
    x, y = step.lines[0][0]
    return x * math.cos(a) + y * math.sin(a) - min(us)


def _height(survey: Survey, key: Key, at: Any, is_distance: bool) -> float | None:
    """Where a line across the grain is: mm along the grain from the lowest end of the drawn piece."""
    if is_distance:
        return float(at)
    grain = grain_of(survey, key)
    if grain is None:
        return None
    from nesting.pieces.edges import anchor_point, anchors_of

    try:
        drawn = sound(survey.drawn[key].piece)
        p = anchor_point(at, anchors_of(drawn), "at", file=None, piece=drawn.label)
    except NestingError:
        return None
    a = math.radians(grain)
    return p[0] * math.cos(a) + p[1] * math.sin(a) - _along(drawn, grain)[0]


def _across(survey: Survey, key: Key, height: float) -> list[Point]:
    """The line across the grain at that height, a little beyond the piece on both sides."""
    piece, grain = survey.drawn[key].piece, grain_of(survey, key) or 0.0
    a = math.radians(grain)
    u = _along(piece, grain)[0] + height
    ring = piece.seam if piece.seam is not None else piece.outline
    vs = [-p[0] * math.sin(a) + p[1] * math.cos(a) for p in ring]
    ends = (min(vs) - 10.0, max(vs) + 10.0)
    return [(u * math.cos(a) - v * math.sin(a), u * math.sin(a) + v * math.cos(a)) for v in ends]


def shapes_of(survey: Survey, names: set[str], followers: dict[str, str], wearer: str | None = None) -> dict[str, Any]:
    """Before and after of the pieces of those names, in the drawing's frame, one over the other at the tail of the
    grain; as they are cut for a wearer, called by size and wearer together as an order calls them."""
    shapes: dict[str, Any] = {}
    for key in survey.drawn:
        if key[0] not in names:
            continue
        drawn, grain = survey.drawn[key].piece, grain_of(survey, key)
        try:
            ready = survey.made_for(key, wearer)
        except NestingError:
            ready = None  # told where the order is judged
        shape: dict[str, Any] = {
            "before": {"outline": line(drawn.outline), "seam": line(drawn.seam) if drawn.seam is not None else None},
            "after": None,
            "grain_deg": round(grain, 2) if grain is not None else None,
            "grain_extent": None,
            "follows": followers.get(key[0]),
        }
        if grain is not None:
            low, high = _along(drawn, grain)
            shape["grain_extent"] = [0.0, round(high - low, 3)]
        if ready is not None and ready.altered:
            # like with like: the line that is sewn before and after, or the one drawn where no other is known
            shape["before"] = {"outline": line(ready.altered[0].before), "seam": None}
            shape["after"] = {"outline": line(ready.altered[-1].after), "seam": None}
        elif ready is not None and grain is not None:
            shape["after"] = _after(drawn, ready.piece, grain)
        shapes[piece_id(key[0], key[1] if wearer is None else size_worn(key[1], wearer))] = shape
    return shapes


def _after(drawn: Piece, ready: Piece, grain: float) -> dict[str, Any]:
    """The ready piece turned back into the drawing and moved so that its lower end lies on that of the drawing."""
    turn = math.radians(float(dict(ready.extra).get(GRAIN_KEY, str(grain))))
    c, s = math.cos(turn), math.sin(turn)

    def back(points: Any) -> list[Point]:
        return [(c * x - s * y, s * x + c * y) for x, y in points]

    seam = back(ready.seam if ready.seam is not None else ready.outline)
    before = drawn.seam if drawn.seam is not None else drawn.outline
    a = math.radians(grain)

    def low(points: Any) -> tuple[float, float]:
        us = [p[0] * math.cos(a) + p[1] * math.sin(a) for p in points]
        vs = [-p[0] * math.sin(a) + p[1] * math.cos(a) for p in points]
        return min(us), (min(vs) + max(vs)) / 2

    (u0, v0), (u1, v1) = low(before), low(seam)
    if ready.fold is not None and drawn.fold is not None:
        # halves lie fold on fold
        f0 = -drawn.fold[0][0] * math.sin(a) + drawn.fold[0][1] * math.cos(a)
        folded = back(ready.fold)
        v1, v0 = -folded[0][0] * math.sin(a) + folded[0][1] * math.cos(a), f0
    dx = (u0 - u1) * math.cos(a) - (v0 - v1) * math.sin(a)
    dy = (u0 - u1) * math.sin(a) + (v0 - v1) * math.cos(a)

    def moved(points: Any) -> list[list[float]]:
        return line((x + dx, y + dy) for x, y in back(points))

    return {"outline": moved(ready.outline), "seam": moved(ready.seam) if ready.seam is not None else None}
