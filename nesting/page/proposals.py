"""Likely names, folds, grains and seams, from what a drawing says and how it looks, for a person to accept or not.

Only proposals come from here: nothing is done until somebody clicks. The signs are common practice in drafting
underwear and close-fitting wear: the grain runs up the page; a half piece has one long straight side along the grain,
met squarely at both ends, so that no peak shows when it is opened; walked from the fold, the top edge comes first,
then the side, the leg, the crotch.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from nesting.checking.judging import small_length
from nesting.model.errors import NestingError
from nesting.model.piece import Piece, Point
from nesting.model.tolerances import SEAM_MM
from nesting.page.documents import Proposal
from nesting.page.survey import Key, Survey
from nesting.page.words import piece_id
from nesting.pieces.contour import Contour, cleaned
from nesting.pieces.edges import numbered_corners
from nesting.pieces.grain import straight_sides
from nesting.pieces.prepare import sound

__all__ = ["EDGE_NAMES", "proposals", "seam_proposals"]

#: names that are offered where an edge is named
EDGE_NAMES = (
    "waist",
    "side",
    "leg",
    "crotch",
    "inseam",
    "hem",
    "neck",
    "shoulder",
    "armhole",
    "underarm",
    "top",
    "bottom",
)
#: edges of one name on two pieces that are sewn to one another; the others are openings
_SEWN = ("side", "inseam", "crotch", "shoulder", "underarm", "centre", "center", "rise", "seat")
#: share of a piece's size. A straight line inside that is at least this long may be its grainline.
_LINE_SHARE = 0.25
#: a seam is likely where lengths differ by no more than this share
_ALIKE = 0.15
_FOLD_WORDS = re.compile(r"\bfold\b|\bon\s+(?:the\s+)?fold\b", re.I)
_UPPER = re.compile(r"\b(top|bodice|body|shirt|vest|bra|camisole|leotard)\b", re.I)
_BAND = re.compile(r"\b(band|waistband|cuff|binding|strip|tie)\b", re.I)


@dataclass(frozen=True)
class _Side:
    """An edge from corner to corner: ``number`` of the corner it begins at, its points, seen with the grain upwards."""

    number: int
    to: int
    points: tuple[Point, ...]

    @property
    def length(self) -> float:
        return math.fsum(math.dist(a, b) for a, b in itertools.pairwise(self.points))

    @property
    def middle(self) -> Point:
        return self.points[len(self.points) // 2]

    @property
    def chord_deg(self) -> float:
        (ax, ay), (bx, by) = self.points[0], self.points[-1]
        return math.degrees(math.atan2(by - ay, bx - ax))


def proposals(survey: Survey) -> list[Proposal]:
    """All that is likely and not said yet, the surest first."""
    found: list[Proposal] = []
    for name in dict.fromkeys(key[0] for key in survey.drawn):
        keys = [key for key in survey.drawn if key[0] == name]
        bands = [survey.drawn[key].band for key in keys]
        if all(bands):
            continue
        found += _grain(survey, name, keys)
        fold = _fold(survey, name, keys)
        found += fold
        side = str(fold[0]["value"]) if fold else None
        named = _names(survey, name, keys, side)
        found += [{**one, "guess": any(f["guess"] for f in fold)} for one in named]
    found += seam_proposals(survey)
    return sorted(found, key=lambda one: -one["sure"])


def _proposal(kind: str, name: str, keys: Iterable[Key], value: object, message: str, why: str, sure: float,
              edges: Iterable[str] = (), guess: bool = False) -> Proposal:  # fmt: skip
    shown = ".".join(str(v) for v in value.values()) if isinstance(value, dict) else str(value)
    return {
        "id": f"{kind}:{name}:{shown}",
        "kind": kind,  # type: ignore[typeddict-item]
        "pieces": [piece_id(*key) for key in keys],
        "edges": list(edges),
        "value": value,
        "message": message,
        "why": why,
        "sure": sure,
        "guess": guess,
    }


def _grain(survey: Survey, name: str, keys: list[Key]) -> list[Proposal]:
    bare = [key for key in keys if survey.drawn[key].piece.grainline is None and survey.asked[key]["grain"] is None]
    if not bare or any(survey.asked[key]["turn"] == "any" for key in bare):
        return []
    along = {_along_a_line(survey.drawn[key].piece) for key in bare}
    degrees = next(iter(along)) if len(along) == 1 else None
    if degrees is not None:
        return [
            _proposal(
                "grain", name, bare, degrees, f"The grain of {name} may run along the straight line inside it",
                "a guess: the line is not called the grainline, and nothing else is", 0.7, guess=True,
            )
        ]  # fmt: skip
    return [
        _proposal(
            "grain", name, bare, 90.0, f"The grain of {name} may run up the drawing",
            "a guess: no grainline is drawn, and patterns are mostly drafted upright", 0.6, guess=True,
        )
    ]  # fmt: skip


def _along_a_line(piece: Piece) -> float | None:
    """Degrees (0 to 180, whole where nearly so) of the one long straight line inside a piece; None if it has none or
    several."""
    size = max(math.dist(a, b) for a in piece.outline[:: max(1, len(piece.outline) // 40)] for b in piece.outline[:1])
    found = []
    for line in piece.inside:
        (ax, ay), (bx, by) = line[0], line[-1]
        chord = math.dist(line[0], line[-1])
        walked = math.fsum(math.dist(p, q) for p, q in itertools.pairwise(line))
        if chord >= _LINE_SHARE * size and walked <= 1.001 * chord:
            found.append(math.degrees(math.atan2(by - ay, bx - ax)) % 180.0)
    return round(found[0], 2) % 180.0 if len(found) == 1 else None


def _upright(piece: Piece, grain: float | None) -> float | None:
    if piece.grainline is not None:
        (ax, ay), (bx, by) = piece.grainline
        return math.degrees(math.atan2(by - ay, bx - ax))
    return grain


def _fold(survey: Survey, name: str, keys: list[Key]) -> list[Proposal]:
    """The side on the fold: of those that are straight along the grain, the one that its neighbours meet squarely."""
    chosen: list[tuple[str, bool, bool]] = []
    for key in keys:
        piece = survey.drawn[key].piece
        if piece.fold is not None or survey.asked[key]["fold"] is not None:
            return []
        grain = _upright(piece, survey.asked[key]["grain"])
        try:
            ring = cleaned(sound(piece).outline)
        except NestingError:
            return []
        said = any(_FOLD_WORDS.search(text) for text in piece.text)
        best: tuple[float, str, bool] | None = None
        for one, (a, b) in straight_sides(ring).items():
            along = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
            if abs((along - (90.0 if grain is None else grain) + 90.0) % 180.0 - 90.0) > 1.0:
                continue
            square = all(abs(angle - 90.0) <= 12.0 for angle in _angles(ring, a, b))
            if (said or square) and (best is None or math.dist(a, b) > best[0]):
                best = (math.dist(a, b), str(one), square)
        if best is None or (not said and (piece.cut or 1) != 1):
            return []
        chosen.append((best[1], best[2], said))
    sides = {side for side, _, _ in chosen}
    if len(sides) != 1 or not chosen:
        return []
    side, said = chosen[0][0], all(told for _, _, told in chosen)
    mirrored = any(survey.drawn[key].piece.mirrored for key in keys)
    if not said and (mirrored or _BAND.search(name) or not _asymmetric(survey.drawn[keys[0]].piece, side)):
        return []
    why = (
        "its label speaks of a fold, and this is its straight side along the grain"
        if said
        else "it is straight, runs along the grain, and its neighbours meet it squarely"
    )
    sure = 0.95 if said else 0.6
    # the side was sought along a grain that nobody has told
    guess = any(_upright(survey.drawn[key].piece, survey.asked[key]["grain"]) is None for key in keys)
    why = f"a guess, if the grain runs up the drawing: {why}" if guess else why
    if not said and not guess and any(_four_sided(survey.drawn[key].piece) for key in keys):
        # a gusset or a yoke cut whole looks so, too
        guess, why = True, f"a guess, as four straight sides do not tell a half from a whole: {why}"
    return [_proposal("fold", name, keys, side, f"The {side} side of {name} lies on the fold", why, sure, guess=guess)]


def _four_sided(piece: Piece) -> bool:
    """Whether the outline is four straight sides, nearly square to one another."""
    ring = cleaned(sound(piece).outline)
    corners = [p for p, angle in zip(ring, _bends(ring), strict=True) if angle > 20.0]
    return len(corners) == 4 and sum(_bends(ring)) < 370.0


def _bends(ring: tuple[Point, ...]) -> list[float]:
    """By how many degrees the outline turns at each of its points."""
    turns = []
    for k, p in enumerate(ring):
        before, after = ring[k - 1], ring[(k + 1) % len(ring)]
        u = math.atan2(p[1] - before[1], p[0] - before[0])
        v = math.atan2(after[1] - p[1], after[0] - p[0])
        turns.append(abs(math.degrees((v - u + math.pi) % (2 * math.pi) - math.pi)))
    return turns


def _asymmetric(piece: Piece, side: str) -> bool:
    """Whether the piece looks like a half: a whole one is its own mirror image across its middle."""
    from shapely.affinity import scale
    from shapely.geometry import Polygon

    whole = Polygon(piece.outline)
    x0, y0, x1, y1 = whole.bounds
    across = side in ("left", "right")
    mirrored = scale(whole, -1.0 if across else 1.0, 1.0 if across else -1.0, origin=((x0 + x1) / 2, (y0 + y1) / 2))
    return bool(whole.symmetric_difference(mirrored).area > 0.02 * whole.area)


def _angles(ring: tuple[Point, ...], a: Point, b: Point) -> list[float]:
    """The angles inside the piece at both ends of a side."""
    n = len(ring)
    i, j = ring.index(a), ring.index(b)

    def off(k: int, step: int, p: Point) -> Point:
        # a centimetre on, so that a first tiny chord does not tell
        while math.dist(ring[k % n], p) < 10.0:
            k += step
        return ring[k % n]

    before, after = off(i - 1, -1, a), off(j + 1, 1, b)
    result = []
    for corner, along, away in ((a, b, before), (b, a, after)):
        u = math.atan2(along[1] - corner[1], along[0] - corner[0])
        v = math.atan2(away[1] - corner[1], away[0] - corner[0])
        result.append(abs(math.degrees((u - v + math.pi) % (2 * math.pi) - math.pi)))
    return result


def _sides(piece: Piece, grain: float) -> list[_Side]:
    """The edges from corner to corner, turned so that the grain points up."""
    ready = sound(piece)
    ring = ready.seam if ready.seam is not None else ready.outline
    contour = Contour(cleaned(ring))
    corners = numbered_corners(ready)
    a = math.radians(90.0 - grain)
    c, s = math.cos(a), math.sin(a)
    places = [contour.locate(p)[0] for p in corners]
    n = len(places)
    if n < 3:
        return []
    return [
        _Side(
            k + 1,
            (k + 1) % n + 1,
            tuple((c * x - s * y, s * x + c * y) for x, y in contour.stretch(places[k], places[(k + 1) % n])),
        )
        for k in range(n)
    ]


def _names(survey: Survey, name: str, keys: list[Key], fold_side: str | None) -> list[Proposal]:
    """Names for the edges of a piece that has a fold, walked from its upper end to its lower one."""
    if _BAND.search(name):
        return []
    by_size: list[dict[tuple[int, int], str]] = []
    for key in keys:
        piece, asked = survey.drawn[key].piece, survey.asked[key]
        if piece.edges or asked.edges:
            return []
        side = fold_side or asked["fold"]
        grain = _upright(piece, asked["grain"])
        if side is None and piece.fold is None:
            return []
        try:
            ring = cleaned(sound(piece).outline)
            ends = (
                piece.fold
                if piece.fold is not None
                else {str(at): pair for at, pair in straight_sides(ring).items()}.get(str(side))
            )
            if ends is None:
                return []
            by_size.append(_named(_sides(piece, 90.0 if grain is None else grain), piece, ends, grain or 90.0, name))
        except (NestingError, ValueError):
            return []
    if not by_size or any(one != by_size[0] for one in by_size):
        return []
    found = []
    for (start, end), edge in by_size[0].items():
        message = f"Edge {start} to {end} of {name} is the {edge}"
        value = {"start": start, "end": end, "name": edge}
        found.append(
            _proposal("name", name, keys, value, message, "from where it lies, walked from the fold", 0.65,
                      [f"{start}-{end}"])
        )  # fmt: skip
    return found


def _named(
    sides: list[_Side], piece: Piece, fold: tuple[Point, Point], grain: float, name: str
) -> dict[tuple[int, int], str]:
    a = math.radians(90.0 - grain)
    c, s = math.cos(a), math.sin(a)
    ends = [(c * x - s * y, s * x + c * y) for x, y in fold]
    if abs(ends[0][1] - ends[1][1]) < 1.0:
        return {}
    upper, _ = sorted(ends, key=lambda p: -p[1])
    on = [k for k, one in enumerate(sides) if _near(one.points[0], ends) and _near(one.points[-1], ends)]
    if len(on) != 1:
        return {}
    others = sides[on[0] + 1 :] + sides[: on[0]]
    if math.dist(others[0].points[0], upper) > math.dist(others[-1].points[-1], upper):
        others = others[::-1]
    if not 3 <= len(others) <= 5 or not (_near(others[0].points[0], [upper]) or _near(others[0].points[-1], [upper])):
        return {}
    width = max(abs(p[0] - upper[0]) for one in others for p in one.points)
    upper_body = bool(_UPPER.search(name))
    names: list[str]
    last = others[-1]
    if upper_body:
        names = {3: ["neck", "side", "hem"], 4: ["neck", "shoulder", "side", "hem"],
                 5: ["neck", "shoulder", "armhole", "side", "hem"]}[len(others)]  # fmt: skip
    elif last.length < 0.45 * width:
        # a short edge at the lower end of the fold: the crotch of briefs
        names = {3: ["waist", "leg", "crotch"], 4: ["waist", "side", "leg", "crotch"]}.get(len(others), [])
    else:
        names = {3: ["waist", "side", "hem"]}.get(len(others), [])
    return {(one.number, one.to): edge for one, edge in zip(others, names, strict=False)}


def _near(p: Point, places: Iterable[Point]) -> bool:
    return any(math.dist(p, q) < 2.0 for q in places)


def seam_proposals(survey: Survey) -> list[Proposal]:
    """Edges of one name on two or more pieces of nearly one length, that are in no seam yet."""
    order = survey.order or survey.assumed
    sewn: set[str] = set()
    for one in survey.document.get("seam", []):
        edges = one.get("edges", []) if isinstance(one, dict) else []
        for edge in edges if isinstance(edges, list) else []:
            sewn |= set(edge) if isinstance(edge, list) else {edge}
    if order is None:
        return []
    from nesting.pieces.seams import edge_names, walk_edge

    lengths: dict[str, dict[str, float]] = {}
    for cut in order.pieces:
        for edge in edge_names(cut.piece):
            if edge.casefold() in _SEWN and f"{cut.name}.{edge}" not in sewn:
                walked = walk_edge(cut.piece, edge)
                lengths.setdefault(edge, {}).setdefault(f"{cut.name}.{edge}", walked.length)
    found = []
    for edge, here in lengths.items():
        for group in _groups(here):
            pieces = [name.rpartition(".")[0] for name in group]
            keys = [key for key in survey.drawn if key[0] in pieces]
            message = f"{' and '.join(pieces)} are sewn together at the {edge}"
            apart = max(here[one] for one in group) - min(here[one] for one in group)
            alike = apart <= SEAM_MM
            why = (
                "the edges bear one name and are as long as one another"
                if alike
                else f"a guess: the edges bear one name, but one is {small_length(apart, order.imperial)} longer"
            )
            sides = {"sides": "/".join(group)}
            found.append(_proposal("seam", edge, keys, sides, message, why, 0.6, group, guess=not alike))
    return found


def _groups(lengths: Mapping[str, float]) -> list[list[str]]:
    """Edges that belong together: those of nearly one length, in pairs."""
    left = dict(lengths)
    groups = []
    while len(left) > 1:
        first = next(iter(left))
        mine = left.pop(first)
        words = set(first.rpartition(".")[0].split())
        near = [name for name, other in left.items() if abs(other - mine) <= _ALIKE * max(mine, other)]
        if near:
            # "brief front" goes with "brief back" rather than with "shorts back"
            partner = max(near, key=lambda n: (len(words & set(n.rpartition(".")[0].split())), -abs(left[n] - mine)))
            groups.append([first, partner])
            del left[partner]
    return groups
