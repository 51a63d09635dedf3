"""Where the fold edge and the grainline are, and the grain frame with a fold edge that is exactly straight."""

from __future__ import annotations

import math
from dataclasses import replace

from shapely.geometry import LineString, Polygon

from nesting.model.errors import PatternError
from nesting.model.findings import Finding
from nesting.model.piece import Piece, Point, Ring, in_grain_frame
from nesting.model.tolerances import JOIN_GAP_MM
from nesting.pieces.contour import Contour, cleaned
from nesting.pieces.wishes import Side

__all__ = [
    "GRAIN_KEY",
    "grained",
    "in_exact_grain_frame",
    "on_fold_line",
    "sides_that_do",
    "straight_sides",
    "with_fold",
]

#: degrees. A side this far off the upright (or level) still counts as the left or right (top or bottom) side.
SIDE_DEG = 15.0
#: degrees. A grainline that misses the direction of the fold edge by no more is meant to be parallel (or square) to it.
GRAIN_TO_FOLD_DEG = 1.0
#: A run whose points leave its chord by more than this share of its length is a curve, not a straight side.
STRAIGHT = 0.004
#: share of the chord along the grain that a grainline of our own covers.
GRAINLINE_SHARE = 0.7

#: Key among a ready piece's extra texts under which the direction of its grain in the drawing is kept, degrees.
GRAIN_KEY = "grain in the drawing"

_WORDS: dict[Side, tuple[int, float]] = {"left": (0, -1.0), "right": (0, 1.0), "bottom": (1, -1.0), "top": (1, 1.0)}


def on_fold_line(p: Point, fold: tuple[Point, Point]) -> float:
    """Signed distance of p from the line of the fold edge, mm, positive to its left."""
    (ax, ay), (bx, by) = fold
    length = math.hypot(bx - ax, by - ay)
    return ((bx - ax) * (p[1] - ay) - (by - ay) * (p[0] - ax)) / length


def _foot(p: Point, fold: tuple[Point, Point]) -> Point:
    (ax, ay), (bx, by) = fold
    length = math.hypot(bx - ax, by - ay)
    ux, uy = (bx - ax) / length, (by - ay) / length
    t = (p[0] - ax) * ux + (p[1] - ay) * uy
    return (ax + t * ux, ay + t * uy)


def _side_of(ring: Ring, side: Side) -> tuple[Point, Point] | None:
    """Ends, in the ring's direction, of the straight run at that extreme of the ring."""
    axis, sign = _WORDS[side]
    n = len(ring)
    extreme = max(sign * p[axis] for p in ring)
    best: tuple[float, Point, Point] | None = None
    for i in range(n):
        if extreme - sign * ring[i][axis] > JOIN_GAP_MM:
            continue
        # grow the run both ways while it stays within the joining gap of its own chord
        lo, hi = i, i
        grew = True
        while grew and hi - lo < n - 1:
            grew = False
            for a, b in ((lo - 1, hi), (lo, hi + 1)):
                run = [ring[k % n] for k in range(a, b + 1)]
                chord = (run[0], run[-1])
                if math.dist(*chord) == 0.0:
                    continue
                tilt = math.degrees(
                    math.atan2(abs(chord[1][axis] - chord[0][axis]), abs(chord[1][1 - axis] - chord[0][1 - axis]))
                )
                if tilt <= SIDE_DEG and all(
                    abs(on_fold_line(p, chord)) <= min(JOIN_GAP_MM, STRAIGHT * math.dist(*chord)) for p in run
                ):
                    lo, hi, grew = a, b, True
                    break
        if hi > lo:
            ends = (ring[lo % n], ring[hi % n])
            length = math.dist(*ends)
            if best is None or length > best[0]:
                best = (length, *ends)
    if best is None:
        return None
    span = max(p[1 - axis] for p in ring) - min(p[1 - axis] for p in ring)
    # a fold edge of a few millimetres is a blunt corner, not a side
    return (best[1], best[2]) if best[0] >= 0.1 * span else None


def straight_sides(ring: Ring) -> dict[Side, tuple[Point, Point]]:
    """The sides of a drawing that are straight, and so may lie on a fold, with their ends in the ring's direction."""
    found = {side: _side_of(ring, side) for side in _WORDS}
    return {side: ends for side, ends in found.items() if ends is not None}


def _straightened(ring: Ring, fold: tuple[Point, Point]) -> tuple[Ring, float, tuple[Point, Point] | None]:
    """The ring with its run along the fold line put exactly on it, its greatest shift, and the ends of that run."""
    contour = Contour(ring)
    ends = [contour.locate(p) for p in fold]
    reach = math.dist(*fold)
    n = len(ring)
    near = [abs(on_fold_line(p, fold)) <= JOIN_GAP_MM for p in ring]
    # runs of neighbouring points on the fold line; the longest one is the fold edge
    best: list[int] = []
    for start in range(n):
        if not near[start] or near[start - 1]:
            continue
        run = [start]
        while near[(run[-1] + 1) % n] and len(run) < n:
            run.append((run[-1] + 1) % n)
        if not best or math.dist(ring[run[0]], ring[run[-1]]) > math.dist(ring[best[0]], ring[best[-1]]):
            best = run
    if len(best) < 2 or len(best) == n or math.dist(ring[best[0]], ring[best[-1]]) < 0.2 * reach:
        return ring, min(d for _, d in ends), None
    moved = {i: _foot(ring[i], fold) for i in best}
    shift = max(abs(on_fold_line(ring[i], fold)) for i in best)
    # the fold edge is one side: points between its ends say nothing
    inner = set(best[1:-1])
    straight = tuple(moved.get(i, p) for i, p in enumerate(ring) if i not in inner)
    return straight, shift, (moved[best[0]], moved[best[-1]])


def with_fold(piece: Piece, side: Side | None, *, file: str | None) -> tuple[Piece, tuple[Finding, ...]]:
    """The piece (drawing frame) with its fold edge set and exactly straight, as one side of the outline (and of the
    seam outline).

    ``side`` says which side of the drawing lies on the fold, where the drawing does not. Raises PatternError if there
    is no straight side there, or if the drawn fold line is no side of the outline.
    """
    findings: list[Finding] = []
    if piece.fold is None and side is None:
        return piece, ()
    fold = _fold_meant(piece, side, file)
    if piece.fold is not None and side is not None:
        findings.append(
            Finding(
                "ignored",
                f'the drawing marks the fold, so fold = "{side}" in the order is not used; take it out of the order',
                file,
                piece.label,
                code="fold.not-used",
            )
        )
    outline, shift, ends = _straightened(piece.outline, fold)
    if ends is None:
        raise PatternError(
            f"the fold line from ({fold[0][0]:.1f}, {fold[0][1]:.1f}) to ({fold[1][0]:.1f}, {fold[1][1]:.1f}) mm is "
            f"not a straight side of the outline (it lies {shift:.2f} mm off): draw the half with the fold as one "
            "straight side",
            file=file,
            piece=piece.label,
            code="fold.side",
            figures={"x": fold[0][0], "y": fold[0][1]},
        )
    if shift > 0.01:
        findings.append(
            Finding(
                "repaired",
                f"the fold edge was up to {shift:.2f} mm off a straight line and was straightened",
                file,
                piece.label,
                code="fold.straightened",
            )
        )
    seam = piece.seam
    if seam is not None:
        seam, seam_shift, seam_ends = _straightened(seam, fold)
        if seam_ends is None:
            findings.append(
                Finding(
                    "warning",
                    "the seam outline does not reach the fold edge; seams that end at the "
                    "fold cannot be measured there",
                    file,
                    piece.label,
                    code="seam-line.not-to-fold",
                )
            )
        elif seam_shift > 0.01:
            findings.append(
                Finding(
                    "repaired",
                    f"the seam outline was up to {seam_shift:.2f} mm off the fold line and was straightened",
                    file,
                    piece.label,
                    code="seam-line.straightened",
                )
            )
    return replace(piece, outline=outline, seam=seam, fold=ends), tuple(findings)


def _fold_meant(piece: Piece, side: Side | None, file: str | None) -> tuple[Point, Point]:
    """The fold line of the drawing, or the side of its outline that the order names. PatternError if that is none."""
    if piece.fold is not None:
        if math.dist(*piece.fold) > 0.0:
            return piece.fold
        raise PatternError(
            "the fold line has no length: draw it along the edge that lies on the fold",
            file=file,
            piece=piece.label,
            code="fold.no-length",
        )
    assert side is not None
    found = _side_of(piece.outline, side)
    if found is None:
        raise _fold_refusal(piece, f'fold = "{side}", but the {side} side of the drawing is not straight', None, file)
    _refuse_crossing(piece, side, found, file)
    return found


def _refuse_crossing(piece: Piece, side: Side, fold: tuple[Point, Point], file: str | None) -> None:
    """PatternError where the outline goes beyond the line of that side, or comes back to it: it is then not one
    straight edge, and half of it would be opened out over the other."""
    why = _not_one_edge(piece.outline, fold)
    if why is not None:
        raise _fold_refusal(piece, f'fold = "{side}", but {why}', None, file)


def _not_one_edge(ring: Ring, fold: tuple[Point, Point]) -> str | None:
    """Why the line of the fold is not one straight edge with all of the ring to one side of it."""
    away = [on_fold_line(p, fold) for p in ring]
    if min(away) < -JOIN_GAP_MM and max(away) > JOIN_GAP_MM:
        return "the outline goes on beyond that edge, so it is not one straight side"
    on = [abs(d) <= JOIN_GAP_MM for d in away]
    if sum(after and not before for before, after in zip(on, on[1:] + on[:1], strict=True)) > 1:
        return "the outline leaves that edge and comes back to it: the side is not one straight edge"
    return None


def _fold_refusal(piece: Piece, words: str, grain: float | None, file: str | None) -> PatternError:
    sides = sides_that_do(piece, grain)
    would = "; no side that left, right, top or bottom names would do. Draw"
    if sides:
        would = f"; these would do: {', '.join(sides)}. Name one of them, draw"
    return PatternError(
        f"{words}{would} a fold line along the edge, or turn the drawing",
        file=file,
        piece=piece.label,
        code="fold.side",
        figures={"choices": sides},
    )


def sides_that_do(piece: Piece, grain: float | None) -> tuple[str, ...]:
    """The sides of the drawing that are one straight edge with all of the outline to one side of it, and along,
    square to or at 45° to the grain. ``grain``: its direction, degrees, where no grainline is drawn (None: unknown)."""
    if piece.grainline is not None:
        (ax, ay), (bx, by) = piece.grainline
        grain = math.degrees(math.atan2(by - ay, bx - ax))
    found = []
    for side in _WORDS:
        ends = _side_of(piece.outline, side)
        if ends is None:
            continue
        (ax, ay), (bx, by) = ends
        off = 0.0 if grain is None else (grain - math.degrees(math.atan2(by - ay, bx - ax)) + 22.5) % 45.0 - 22.5
        if _not_one_edge(piece.outline, ends) is None and abs(off) <= GRAIN_TO_FOLD_DEG:
            found.append(str(side))
    return tuple(found)


def _chord(outline: Ring, deg: float) -> tuple[Point, Point]:
    """The longest stretch inside the outline along the grain through a point well inside it."""
    polygon = Polygon(outline)
    through = polygon.centroid if polygon.contains(polygon.centroid) else polygon.representative_point()
    x0, y0, x1, y1 = polygon.bounds
    reach = math.hypot(x1 - x0, y1 - y0)
    u = (math.cos(math.radians(deg)), math.sin(math.radians(deg)))
    if deg % 90 == 0:
        u = (float(round(u[0])), float(round(u[1])))
    line = LineString(
        [(through.x - reach * u[0], through.y - reach * u[1]), (through.x + reach * u[0], through.y + reach * u[1])]
    )
    parts = polygon.intersection(line)
    pieces = [g for g in getattr(parts, "geoms", [parts]) if g.geom_type == "LineString"]
    longest = max(pieces, key=lambda g: g.length)
    (ax, ay), (bx, by) = longest.coords[0], longest.coords[-1]
    if (bx - ax) * u[0] + (by - ay) * u[1] < 0:
        ax, ay, bx, by = bx, by, ax, ay
    mx, my = (ax + bx) / 2, (ay + by) / 2
    half = GRAINLINE_SHARE * math.hypot(bx - ax, by - ay) / 2
    return (mx - half * u[0], my - half * u[1]), (mx + half * u[0], my + half * u[1])


def grained(piece: Piece, grain: float | None, *, file: str | None) -> tuple[Piece, tuple[Finding, ...]]:
    """The piece with a grainline, drawn by us through its inside where only the angle ``grain`` is given (degrees).

    Where the grainline misses the fold edge's direction by up to GRAIN_TO_FOLD_DEG it is turned to it, as a fold edge
    lies exactly along the cloth. Raises PatternError if neither drawing nor order tells the grain.
    """
    findings: list[Finding] = []
    line = piece.grainline
    if line is not None and math.dist(*line) < 1e-6:
        raise PatternError(
            "the grainline has no length: draw it again, or give the angle with grain = 90",
            file=file,
            piece=piece.label,
            code="grain.no-length",
        )
    if line is None:
        if grain is None:
            raise PatternError(
                "no grainline: draw one, or give its angle in the order (grain = 90 is up the page)",
                file=file,
                piece=piece.label,
                code="grain.missing",
            )
        line = _chord(piece.outline, grain)
    elif grain is not None:
        drawn = math.degrees(math.atan2(line[1][1] - line[0][1], line[1][0] - line[0][0]))
        if abs((drawn - grain + 180) % 360 - 180) > 0.05:
            findings.append(
                Finding(
                    "ignored",
                    f"the drawing has a grainline at {drawn % 360:.1f}°, so grain = {grain:g} in the order is not used",
                    file,
                    piece.label,
                    code="grain.not-used",
                )
            )
    if piece.fold is not None:
        line, told = _to_fold(piece, line, file)
        findings += told
    return replace(piece, grainline=line), tuple(findings)


def _to_fold(
    piece: Piece, line: tuple[Point, Point], file: str | None
) -> tuple[tuple[Point, Point], tuple[Finding, ...]]:
    """The grainline turned to the direction of the fold edge, if it is nearly that. PatternError where the fold edge
    runs neither along the grain nor square to it nor on the bias."""
    assert piece.fold is not None
    findings: list[Finding] = []
    (ax, ay), (bx, by) = piece.fold
    fold_deg = math.degrees(math.atan2(by - ay, bx - ax))
    grain_deg = math.degrees(math.atan2(line[1][1] - line[0][1], line[1][0] - line[0][0]))
    off = (grain_deg - fold_deg + 45.0) % 90.0 - 45.0
    if GRAIN_TO_FOLD_DEG < abs(off) < 45.0 - GRAIN_TO_FOLD_DEG:
        raise _fold_refusal(
            piece,
            f"the fold edge lies {abs(off):.1f}° off the grain; along it or square to it was expected "
            "(or at 45°, on the bias)",
            grain_deg,
            file,
        )
    if abs(off) > GRAIN_TO_FOLD_DEG:
        off -= math.copysign(45.0, off)
        findings.append(
            Finding(
                "note",
                "the fold edge lies on the bias, at 45° to the grain: no fold of the cloth runs so, and the piece "
                "is opened out",
                file,
                piece.label,
                code="fold.bias",
            )
        )
    if abs(off) > 1e-9:
        if abs(off) > 0.02:
            findings.append(
                Finding(
                    "repaired",
                    f"the grainline was {abs(off):.2f}° off its place by the fold edge and was turned to it",
                    file,
                    piece.label,
                    code="grain.turned",
                )
            )
        a = math.radians(grain_deg - off)
        mx, my = (line[0][0] + line[1][0]) / 2, (line[0][1] + line[1][1]) / 2
        half = math.dist(*line) / 2
        line = (
            (mx - half * math.cos(a), my - half * math.sin(a)),
            (mx + half * math.cos(a), my + half * math.sin(a)),
        )
    return line, tuple(findings)


def in_exact_grain_frame(piece: Piece) -> Piece:
    """The piece in its grain frame; a fold edge along or across the grain gets exactly one y (or x) for all points."""
    moved = in_grain_frame(piece)
    assert moved.grainline is not None
    (x0, y0), (x1, y1) = piece.grainline or moved.grainline
    drawn_deg = math.degrees(math.atan2(y1 - y0, x1 - x0)) % 360.0
    moved = replace(moved, extra=(*(e for e in moved.extra if e[0] != GRAIN_KEY), (GRAIN_KEY, f"{drawn_deg:.4f}")))
    half = math.dist((x0, y0), (x1, y1)) / 2
    moved = replace(moved, grainline=((-half, 0.0), (half, 0.0)))
    if moved.fold is None:
        return moved
    fold = moved.fold
    axis = next((k for k in (0, 1) if abs(fold[0][k] - fold[1][k]) < 1e-6), None)
    if axis is None:
        return moved
    level = fold[0][axis]

    def snap(p: Point) -> Point:
        if abs(p[axis] - level) > 1e-6:
            return p
        return (level, p[1]) if axis == 0 else (p[0], level)

    return replace(
        moved,
        outline=cleaned([snap(p) for p in moved.outline]),
        seam=cleaned([snap(p) for p in moved.seam]) if moved.seam is not None else None,
        fold=(snap(fold[0]), snap(fold[1])),
        notches=tuple(replace(n, at=snap(n.at)) for n in moved.notches),
        edges=tuple(replace(e, start=snap(e.start), end=snap(e.end)) for e in moved.edges),
    )
