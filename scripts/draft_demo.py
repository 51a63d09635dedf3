"""Draft the demo's patterns: dance shorts and briefs for a small theatre's chorus, in three sizes.

    python scripts/draft_demo.py [FOLDER]          (default: fixtures/demo)

Everything is drafted from the invented body measurements below, for a jersey that stretches by 60 % both ways, so the
garments measure less than the body. Seams that are joined are made equal in length on the seam line; what is left to
solve (the drop of the back crotch point) is solved to a nanometre.
"""

from __future__ import annotations

import itertools
import math
import sys
from dataclasses import dataclass
from pathlib import Path

from draft_blocks import Block, Side
from draft_curves import Bezier, Curve, Vec, line, point
from draft_write import dxf_text, svg_text

__all__ = ["SIZES", "Body", "draft_briefs", "draft_shorts", "main"]


@dataclass(frozen=True)
class Body:
    """Measurements in mm. ``rise``: waist to seat, sitting. ``inseam`` is the leg length wanted of the shorts."""

    size: str
    waist: float
    hip: float
    thigh: float
    rise: float
    inseam: float


SIZES = (
    Body("S", waist=660, hip=900, thigh=540, rise=252, inseam=62),
    Body("M", waist=720, hip=960, thigh=570, rise=262, inseam=65),
    Body("L", waist=780, hip=1020, thigh=600, rise=272, inseam=68),
)

#: mm. Overlocked seams of the shorts; their hem, turned up and sewn flat.
SHORTS_SEAM, SHORTS_HEM = 10.0, 20.0
#: mm. Briefs: overlocked seams (1/4 in), and what is turned in over the elastic at leg and waist.
BRIEFS_SEAM, BRIEFS_LEG, BRIEFS_WAIST = 6.0, 8.0, 12.0
#: mm. Finished width of the shorts' waistband (cut double), and how far the shorts sit below the natural waist.
BAND, LOW = 32.0, 45.0


def _smooth(a: Vec, u: Vec, b: Vec, v: Vec, leave: float = 0.36, arrive: float | None = None) -> Bezier:
    """A Bézier from a along u to b along v; handles in shares of the chord."""
    size = math.dist(a, b)
    end = leave if arrive is None else arrive
    return Bezier(a, a + leave * size * u / math.hypot(*u), b - end * size * v / math.hypot(*v), b)


def _turned(u: Vec) -> Vec:
    """u turned left by a right angle."""
    return point(-u[1], u[0])


def draft_shorts(body: Body) -> list[Block]:
    """Front and back leg (left and right of each) and the waistband (half, on the fold at the centre front)."""
    quarter = 0.94 * body.hip / 4
    low_waist = body.waist + 0.4 * (body.hip - body.waist)
    half_waist = 0.9 * low_waist / 2
    seat = body.inseam + 0.97 * (body.rise - LOW)
    hem = 0.97 * body.thigh
    side_in, front_in = 0.5 * (quarter - half_waist / 2), 8.0
    front_hip, back_hip = quarter - 6.0, quarter + 6.0
    front_waist = front_hip - side_in - front_in
    front, front_inseam = _leg(
        body, "shorts front", front_hip, front_in, 0.0, 0.046 * body.hip, hem / 2 - 24.0, seat, side_in, None
    )
    back, _ = _leg(
        body, "shorts back", back_hip, back_hip - side_in - (half_waist - front_waist), 24.0, 0.098 * body.hip,
        hem / 2 + 24.0, seat, side_in, front_inseam,
    )  # fmt: skip
    return [front, back, _waistband(body, front.side("waist").curve.length, back.side("waist").curve.length)]


def _leg(
    body: Body, name: str, hip: float, centre_in: float, centre_up: float, fork: float, hem: float, seat: float,
    side_in: float, inseam_length: float | None,
) -> tuple[Block, float]:  # fmt: skip
    """One leg panel with the centre line at the left. The fork point drops until the inseam has ``inseam_length``."""
    waist_side = point(hip - side_in, seat + 8.0)
    hip_at = point(hip, body.inseam + 0.38 * (seat - body.inseam))
    hem_side = point(hip - 3.0, 0.0)
    up = point(0, 1)
    side = Curve((_smooth(hem_side, up, hip_at, up), _smooth(hip_at, up, waist_side, point(-0.16, 1.0))))
    centre = point(centre_in, seat + centre_up)
    centre_low = point(0.15 * centre_in, body.inseam + 0.36 * (seat - body.inseam))
    down = centre_low - centre
    waist = Curve((_smooth(waist_side, _turned(point(-0.16, 1.0)), centre, _turned(down) * -1.0, 0.3),))
    hem_inner = point(hem_side[0] - hem, 0.0)

    def inseam(drop: float) -> Curve:
        fork_at = point(-fork, body.inseam - drop)
        # Straight for the last part, so that the turned-up hem lies flush.
        leave = hem_inner - fork_at
        return Curve((_smooth(fork_at, leave - point(0.06 * fork, 0), hem_inner, point(0.20 * fork, -body.inseam)),))

    drop = 0.0
    if inseam_length is not None:
        lo, hi = -40.0, 40.0  # the inseam shortens as the fork point drops
        for _ in range(80):
            drop = (lo + hi) / 2
            lo, hi = (drop, hi) if inseam(drop).length > inseam_length else (lo, drop)
    inner = inseam(drop)
    fork_at = inner.start
    away = inner.parts[0].slope(0.0)
    crotch = Curve(
        (
            line(centre, centre_low),
            _smooth(centre_low, down, fork_at, _turned(away) * -1.0, 0.52, 0.34 if centre_up else 0.5),
        )
    )
    allow = SHORTS_SEAM
    double = 9.0 / crotch.length
    crotch_marks: tuple[tuple[str, float], ...] = (("crotch", 0.5),)
    if centre_up:  # two notches tell the back from the front
        crotch_marks = (("crotch", 0.5), ("crotch back", 0.5 + double))
    sides = [
        Side("hem", Curve((line(hem_inner, hem_side),)), SHORTS_HEM, hem=True, notches=(("hem", 0.5),)),
        Side("side", side, allow, notches=(("side", 0.5),)),
        Side("waist", waist, allow, notches=(("waist", 0.5),)),
        Side("crotch", crotch, allow, notches=crotch_marks),
        Side("inseam", inner, allow, notches=(("inseam", 0.5),)),
    ]
    x = 0.5 * hip
    block = Block(
        name, body.size, sides, cut=2, mirrored=True, material="main",
        grain=(point(x, 0.25 * seat), point(x, 0.85 * seat)), label=point(0.22 * hip, 0.62 * seat),
        inside=[("turning line", Curve((line(hem_inner, hem_side),)))],
    )  # fmt: skip
    return block, inner.length


def _waistband(body: Body, front: float, back: float) -> Block:
    """Half a band, the fold at the centre front, cut double: each long edge takes the waist of front and back."""
    half, high = front + back, 2 * BAND
    p = [point(0, 0), point(front, 0), point(half, 0), point(half, high), point(front, high), point(0, high)]
    lower_front, lower_back, end, upper_back, upper_front = (
        Curve((line(a, b),)) for a, b in itertools.pairwise(p)
    )
    allow = SHORTS_SEAM
    sides = [
        Side("front", lower_front, allow, notches=(("centre front", 0.0), ("front", 0.5))),
        Side("back", lower_back, allow, notches=(("side", 0.0), ("back", 0.5))),
        Side("end", end, allow, notches=(("end", 0.5),)),
        Side("inner back", upper_back, allow, notches=(("inner back", 0.5), ("inner side", 1.0))),
        Side("inner front", upper_front, allow, notches=(("inner front", 0.5), ("inner centre front", 1.0))),
    ]
    return Block(
        "waistband", body.size, sides, cut=1, mirrored=False, material="main", on_fold=True,
        grain=(point(0.62 * half, 0.15 * high), point(0.62 * half, 0.85 * high)),
        label=point(0.3 * half, 0.9 * high), text_mm=4.5,
        inside=[("turning line", Curve((line(point(0, high / 2), point(half, high / 2)),)))],
    )  # fmt: skip


def draft_briefs(body: Body) -> list[Block]:
    """Front and back (halves on the fold) and the lining that is cut together with the front's lower end."""
    quarter = 0.87 * body.hip / 4
    waist = 0.9 * (body.waist + 0.5 * (body.hip - body.waist)) / 4
    scale = body.hip / 960.0
    half_crotch, side_length = 33.0 * scale, 58.0 * scale
    lean = point(-(quarter - waist) * 0.4, side_length)
    lean = lean * side_length / math.hypot(*lean)
    front = _brief(body, "brief front", quarter - 7.0, 158.0 * scale, half_crotch, lean, -13.0)
    back = _brief(body, "brief back", quarter + 7.0, 190.0 * scale, half_crotch, lean, 12.0)
    lining = _lining(body, front, 92.0 * scale)
    return [front, back, lining]


def _brief(
    body: Body, name: str, width: float, leg_height: float, half_crotch: float, lean: Vec, centre_up: float
) -> Block:
    """Half a brief, fold at the left: crotch seam at the bottom, leg opening, short side seam, waist."""
    is_back = centre_up > 0
    low = point(0, 0)
    leg_in = point(half_crotch, 3.0)
    leg_out = point(width, leg_height)
    side_top = leg_out + lean
    centre = point(0, side_top[1] + centre_up)
    crotch = Curve((_smooth(low, point(1, 0), leg_in, point(1, 0.14)),))
    square_up = _turned(point(1, 0.14))
    outward = point(lean[1], -lean[0])  # the leg opening meets the side seam square
    if is_back:  # fuller, to cover the seat
        leg = Curve((_smooth(leg_in, square_up, leg_out, outward, 0.24, 0.34),))
    else:
        leg = Curve((_smooth(leg_in, square_up, leg_out, outward, 0.50, 0.46),))
    side = Curve((line(leg_out, side_top),))
    waist = Curve((_smooth(side_top, _turned(lean), centre, point(-1, 0)),))
    sides = [
        Side("crotch", crotch, BRIEFS_SEAM, notches=(("centre crotch", 0.0), ("crotch", 0.5))),
        Side("leg", leg, BRIEFS_LEG),
        Side("side", side, BRIEFS_SEAM, notches=(("side", 0.5),)),
        Side("waist", waist, BRIEFS_WAIST, notches=(("centre waist", 1.0),)),
    ]
    x = 0.2 * width
    return Block(
        name, body.size, sides, cut=1, mirrored=False, material="main", on_fold=True,
        grain=(point(x, 0.7 * leg_height), point(x, 0.7 * leg_height + 80.0)),
        label=point(0.58 * width, leg_height + 0.5 * float(lean[1])),
        drills=[("label", point(0.12 * width, centre[1] - 30.0))] if is_back else [],
    )  # fmt: skip


def _lining(body: Body, front: Block, height: float) -> Block:
    """The front's lower end up to ``height`` at the leg; sewn in with the crotch seam and the leg elastic."""
    crotch, leg = front.side("crotch"), front.side("leg")
    first = leg.curve.parts[0]
    lo, hi = 0.0, 1.0
    for _ in range(60):
        mid = (lo + hi) / 2
        lo, hi = (mid, hi) if first.at(mid)[1] < height else (lo, mid)
    short = Curve((first.part(0.0, hi),))
    share = short.length / leg.curve.length
    top = Curve((_smooth(short.end, point(-1, -0.16), point(0, height - 7.0), point(-1, 0)),))
    # where the lining ends, the front's leg edge is notched
    front.sides[1] = Side(leg.name, leg.curve, leg.allowance, notches=(("lining", share),))
    sides = [
        Side("crotch", crotch.curve, crotch.allowance, notches=crotch.notches),
        Side("leg", short, leg.allowance),
        Side("top", top, 0.0),
    ]
    x = 0.2 * float(short.start[0])
    return Block(
        "lining", body.size, sides, cut=1, mirrored=False, material="lining", on_fold=True,
        grain=(point(x, 0.22 * height), point(x, 0.72 * height)),
        label=point(0.62 * float(short.start[0]), 0.6 * height), text_mm=3.0,
    )  # fmt: skip


def main(folder: Path) -> None:
    """Write every pattern file: one SVG per garment and size, one DXF per garment with all sizes."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, draft in (("shorts", draft_shorts), ("briefs", draft_briefs)):
        every: list[Block] = []
        for body in SIZES:
            blocks = draft(body)
            every += blocks
            text = svg_text(blocks, f"{name}, size {body.size}")
            (folder / f"{name}-{body.size.lower()}.svg").write_text(text, encoding="utf-8")
        (folder / f"{name}.dxf").write_text(dxf_text(every, name, "M"), encoding="cp1252")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent.parent / "fixtures" / "demo")
