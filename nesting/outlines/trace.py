"""From photographs to pieces: find the mat, the pieces on it, their edges, and say how far they may be off.

Every refusal is a ``PatternError`` that says what to do; nothing is given whose promised error is beyond 2 mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from nesting.model.errors import PatternError
from nesting.model.findings import Finding
from nesting.model.piece import Ring
from nesting.outlines.mat import Bars
from nesting.outlines.photo_bundle import Bundle, ViewSeen, bundle
from nesting.outlines.photo_markers import find_sheets
from nesting.outlines.photo_reading import Picture, pictures_in, read_picture
from nesting.outlines.scan import Measured, scan_in
from nesting.outlines.trace_edge import Edge, read_edge, rough_ring
from nesting.outlines.trace_fit import Fitted, fit_outline
from nesting.outlines.trace_ground import Ground, Mask, ground_of, seeds
from nesting.outlines.trace_marks import GrainSeen, NotchSeen, grain_lines, notches_along
from nesting.outlines.trace_promise import MOST_MM, USUAL_LIFT_MM, Promise, pattern_doubt, promised
from nesting.outlines.trace_regions import cut_off, regions, unlike_within

__all__ = ["Tap", "Traced", "TracedPiece", "load_pictures", "mat_in", "ring_of", "trace_photos", "trace_scan"]

Array = npt.NDArray[np.float64]

#: ΔE across the edge below which paper and ground are too alike, and the share of the edge that may be so.
_LEAST_CONTRAST, _MOST_WEAK = 4.0, 0.01
_MOST_UNSOUND = 0.06
#: Share of the ground around that may have the piece's colour.
_MOST_MINGLED = 0.12
#: mm. Edges of squares wider than this are blurred: half a millimetre cannot be read.
_MOST_BLUR_MM = 1.6
#: Share of the ΔE by which a piece found differs from the ground below which other places are ground, too; and the ΔE
#: above which they are looked at in any case.
_GROUND_SHARE, _SURELY_UNLIKE = 0.5, 12.0
_MOST_TILT_DEG = 45.0
#: mm². Smaller than this is no pattern piece.
_LEAST_AREA_MM2 = 1500.0
_LAY_UNDER = (
    "lay something under it of another, even colour: dark cloth or card under pale paper, pale cloth under brown paper"
)
_LAY_UNDER_CLOTH = (
    "lay something under it of another, even colour, without a pattern: a white sheet or paper under dark cloth, dark "
    "card under pale cloth"
)


@dataclass(frozen=True)
class Tap:
    """A place in a photograph that is inside a piece: pixel (x, y) from the top left of the upright picture, and which
    of the pictures given, counting from 0."""

    x: float
    y: float
    picture: int = 0


@dataclass(frozen=True)
class TracedPiece:
    """A piece as it was seen. All mm, y up, its middle near the origin of the ground.

    ``outline`` anticlockwise; ``runs``: stretches from corner to corner, each (points, straight); ``notches`` and
    ``grain`` are proposals that a person confirms. ``error`` mm is the promise: no point of the outline is farther
    off. ``raw``: the edge as read, before corners and lines were fitted.
    """

    outline: Ring
    runs: tuple[tuple[Ring, bool], ...]
    notches: tuple[NotchSeen, ...]
    grain: tuple[GrainSeen, ...]
    promise: Promise
    raw: Ring

    @property
    def error(self) -> float:
        """mm, promised."""
        return self.promise.total

    @property
    def area(self) -> float:
        """mm²."""
        ring = np.array(self.outline)
        return 0.5 * float((ring[:, 0] * np.roll(ring[:, 1], -1) - ring[:, 1] * np.roll(ring[:, 0], -1)).sum())


@dataclass(frozen=True)
class Traced:
    """What was found. ``mat`` and ``ground`` let a page draw it over the photographs (``mat.views[k].to_pixels``)."""

    pieces: tuple[TracedPiece, ...]
    pictures: tuple[str, ...]
    findings: tuple[Finding, ...]
    mat: Bundle
    ground: Ground


def trace_photos(
    paths: Sequence[str | Path | bytes],
    *,
    bars: Bars,
    taps: Sequence[Tap] = (),
    lift_mm: float = USUAL_LIFT_MM,
    marks: bool = True,
    cloth: bool = False,
) -> Traced:
    """The pieces in photographs over one mat.

    ``paths``: pictures, folders of them, or bytes of pictures. ``bars``: the mat's bars as measured. ``taps``: a place
    in each piece; without them what lies on the mat is found. ``lift_mm``: how much higher the piece may lie than the
    mat. ``marks``: look for notches and grainlines, too. ``cloth``: the edge is cloth, which frays.

    Raises PatternError: a picture that cannot be read, no sheets of the mat, photographs without common sheets, blur,
    a view from too far aside, no piece found, a piece that is cut off by the picture or too like its ground, or a
    promised error above 2 mm.
    """
    pictures = load_pictures(paths)
    return _traced(pictures, mat_in(pictures, bars), bars, taps, lift_mm, marks, cloth=cloth)


def trace_scan(
    path: str | Path | bytes, *, measured: Sequence[Measured], taps: Sequence[Tap] = (), marks: bool = True
) -> Traced:
    """The pieces in a scan, its scale from lengths measured in it; the resolution that the file states is compared.

    ``measured``: at least one length along each direction. Raises PatternError as ``trace_photos`` does, and where a
    direction has no measured length.
    """
    pictures = load_pictures([path])
    if len(pictures) > 1:
        raise PatternError(
            f"{len(pictures)} scanned pages are in it, and each is measured for itself: save one page as a PDF of its "
            "own, or as a picture",
            file=pictures[0].name,
            code="scan.several-pages",
            figures={"pages": len(pictures)},
        )
    (picture,) = pictures
    found, bars, findings = scan_in(picture, measured)
    traced = _traced([picture], found, bars, taps, 0.0, marks)
    return replace(traced, findings=(*findings, *traced.findings))


def _traced(
    pictures: Sequence[Picture], found: Bundle, bars: Bars, taps: Sequence[Tap], lift_mm: float, marks: bool,
    *, cloth: bool = False,
) -> Traced:  # fmt: skip
    photos = [p.pixels for p in pictures]
    ground = ground_of(photos, found.views, list(found.sheets.values()))
    findings: list[Finding] = []
    shown = ", ".join(p.name for p in pictures)
    if 0 < len(found.sheets) < 4:
        findings.append(
            Finding(
                "warning",
                f"{len(found.sheets)} of the mat's sheets seen; four around the piece tell more",
                shown,
                code="mat.few-sheets",
                figures={"sheets": len(found.sheets)},
            )
        )
    places = [_tapped(tap, found, pictures) for tap in taps]
    seen: list[tuple[Edge, Fitted]] = []
    if places:
        for k, place in enumerate(places):
            seen.append(_piece_at(place, places[:k] + places[k + 1 :], ground, photos, found, shown, cloth=cloth))
    else:
        seen = _found_alone(ground, photos, found, shown, cloth=cloth)
    pieces = []
    for edge, fitted in seen:
        notches: tuple[NotchSeen, ...] = ()
        grain: tuple[GrainSeen, ...] = ()
        if marks and not cloth:
            notches = notches_along(photos, found.views, edge, fitted)
            if notches:
                fitted = fit_outline(edge.points, edge.sound & ~_near(edge.points, notches), edge.noise)
        if marks:
            grain = grain_lines(photos, found.views, fitted.outline)
        promise = promised(found, bars, fitted.outline, fitted.residual, lift_mm, pattern_doubt(edge.contrast))
        if promise.total > MOST_MM:
            raise PatternError(
                f"the outline may be off by {promise.total:.1f} mm ({promise.text()}); up to {MOST_MM:g} mm is taken. "
                "Lay four sheets flat around the piece, near it, tape down what curls, and photograph from above",
                file=shown,
                code="trace.error-too-large",
                figures={"error_mm": promise.total, "most_mm": MOST_MM},
            )
        pieces.append(
            TracedPiece(
                ring_of(fitted.outline),
                tuple((ring_of(run.points), run.straight) for run in fitted.runs),
                notches,
                grain,
                promise,
                ring_of(edge.points),
            )
        )
    return Traced(tuple(pieces), tuple(p.name for p in pictures), tuple(findings), found, ground)


def ring_of(points: Array) -> Ring:
    """Points as tuples of plain numbers."""
    return tuple((float(x), float(y)) for x, y in points)


def load_pictures(paths: Sequence[str | Path | bytes]) -> list[Picture]:
    """The pictures, folders opened. Raises PatternError for one that cannot be read, or none at all."""
    pictures: list[Picture] = []
    for source in paths:
        if isinstance(source, bytes):
            pictures.extend(_pictures_of(source, f"picture {len(pictures) + 1}"))
            continue
        for path in pictures_in([Path(source)]):
            if path.suffix.lower() == ".pdf" and path.is_file():
                pictures.extend(_pictures_of(path.read_bytes(), path.name))
            else:
                pictures.append(read_picture(path))
    if not pictures:
        raise PatternError("no picture was given: name one, or a folder of them", code="picture.none")
    return pictures


def _pictures_of(data: bytes, name: str) -> list[Picture]:
    """The picture of these bytes; of a PDF, those of its pages that are scans."""
    if b"%PDF-" not in data[:1024]:
        return [read_picture(data, name=name)]
    from nesting.outlines.pdf_child import pictures_guarded
    from nesting.outlines.pdf_prepare import Refused

    try:
        pages = pictures_guarded(data)
    except Refused as error:
        raise PatternError(str(error), file=name, code="pdf.refused") from None
    found = []
    for page in pages:
        picture = read_picture(page.png, name=f"{name}, page {page.number}")
        found.append(replace(picture, dpi=(page.dpi, page.dpi)))
    return found


def mat_in(pictures: Sequence[Picture], bars: Bars) -> Bundle:
    """The mat as all pictures show it. Raises PatternError where it does not serve."""
    import cv2

    views = []
    for picture in pictures:
        sheets = find_sheets(np.asarray(cv2.cvtColor(picture.pixels, cv2.COLOR_BGR2GRAY)))
        if not sheets:
            raise PatternError(
                "no sheet of the mat is seen: print it with 'nesting print --as mat', lay four sheets around the "
                "piece, wholly in the picture, and see that it is sharp and evenly lit",
                file=picture.name,
                code="mat.not-seen",
            )
        views.append(ViewSeen(picture.size, sheets, picture.focal_35))
    found = bundle(views, bars)
    if found is None:
        raise PatternError(
            "the photographs do not hang together: each must show a sheet of the mat that another has",
            file=", ".join(p.name for p in pictures),
            code="mat.apart",
        )
    for picture, seen, view in zip(pictures, views, found.views, strict=True):
        centre = np.mean([view.to_ground(s.pixels.mean(axis=0)[None])[0] for s in seen.sheets], axis=0)
        per = float(view.mm_per_pixel(centre[None])[0])
        blur = per * float(np.median([s.sharpness for s in seen.sheets]))
        if blur > _MOST_BLUR_MM:
            raise PatternError(
                f"the picture is blurred: edges are {blur:.1f} mm wide, expected at most {_MOST_BLUR_MM:g} mm. Hold "
                "the camera still, wait until it is sharp, and go nearer",
                file=picture.name,
                code="picture.blurred",
                figures={"blur_mm": blur, "most_mm": _MOST_BLUR_MM},
            )
    if found.tilt_deg > _MOST_TILT_DEG:
        raise PatternError(
            f"the camera looked {found.tilt_deg:.0f}° aside; up to {_MOST_TILT_DEG:g}° is read, and straight down is "
            "best",
            file=", ".join(p.name for p in pictures),
            code="picture.tilted",
            figures={"tilt_deg": found.tilt_deg},
        )
    return found


def _tapped(tap: Tap, found: Bundle, pictures: Sequence[Picture]) -> Array:
    if not 0 <= tap.picture < len(pictures):
        words = f"a tap names picture {tap.picture + 1}, but {len(pictures)} were given"
        raise PatternError(words, code="trace.tap")
    w, h = pictures[tap.picture].size
    if not (0 <= tap.x < w and 0 <= tap.y < h):
        raise PatternError(
            f"the tap {tap.x:g},{tap.y:g} lies outside the picture, which has {w} × {h} pixels",
            file=pictures[tap.picture].name,
            code="trace.tap",
        )
    return np.asarray(found.views[tap.picture].to_ground(np.array([[tap.x, tap.y]]))[0])


def _piece_at(
    place: Array, others: Sequence[Array], ground: Ground, photos: Sequence[npt.NDArray[np.uint8]], found: Bundle,
    shown: str, *, cloth: bool,
) -> tuple[Edge, Fitted]:  # fmt: skip
    best: tuple[float, Edge, Fitted] | None = None
    reasons: list[str] = []
    for mask in regions(ground, place, others):
        judged = _judged(mask, ground, photos, found, cloth=cloth, place=place)
        if isinstance(judged, str):
            reasons.append(judged)
        elif best is None or judged[0] > best[0]:
            best = judged
    if best is None:
        why = reasons[0] if reasons else "it is on a sheet of the mat, or outside of it"
        raise PatternError(f"no piece can be told at the place tapped: {why}", file=shown, code="trace.no-piece")
    return best[1], best[2]





def _judged(
    mask: Mask,
    ground: Ground,
    photos: Sequence[npt.NDArray[np.uint8]],
    found: Bundle,
    *,
    cloth: bool,
    place: Array | None = None,
) -> tuple[float, Edge, Fitted] | str:
    """How well an edge was found, with it; or why it does not serve."""
    reason = cut_off(mask, ground)
    if reason:
        return reason
    ring = rough_ring(ground, mask)
    if ring is None or mask.sum() < _LEAST_AREA_MM2:
        return "there is no piece of that size"
    under = _LAY_UNDER_CLOTH if cloth else _LAY_UNDER
    edge = read_edge(photos, found.views, ring, frayed=cloth)
    weak = float((edge.contrast < _LEAST_CONTRAST).mean())
    unsound = float((~edge.sound).mean())
    if weak > _MOST_WEAK or unsound > _MOST_UNSOUND or edge.foreign > _MOST_WEAK or edge.mingled > _MOST_MINGLED:
        share = max(weak, unsound, edge.foreign, edge.mingled)
        what = "cloth" if cloth else "paper"
        return f"along {share:.0%} of its edge {what} and ground are too alike or patterned; {under}"
    fitted = fit_outline(edge.points, edge.sound, edge.noise)
    from shapely import Polygon

    if not Polygon(fitted.outline).is_valid:
        return f"its edge cannot be followed; {under}"
    if fitted.residual > 0.8:
        return f"its edge is too rough to be followed ({fitted.residual:.1f} mm); {under}"
    if place is not None and unlike_within(mask, ground, place):
        return f"what was tapped has another colour than what the edge found goes round; {under}"
    score = float(np.median(edge.contrast)) * (1.0 - 5.0 * weak - 3.0 * unsound) / (0.2 + fitted.residual)
    return score, edge, fitted






def _found_alone(
    ground: Ground, photos: Sequence[npt.NDArray[np.uint8]], found: Bundle, shown: str, *, cloth: bool
) -> list[tuple[Edge, Fitted]]:
    """Every piece that is seen clearly from some place between the sheets; those told twice once."""
    from shapely import Polygon

    taken: list[tuple[float, Edge, Fitted]] = []
    glanced: list[Mask] = []
    tried: list[Mask] = []
    reasons: list[str] = []
    coarse = ground.coarse
    least = 0.0
    for unlike, place in seeds(ground)[:60]:
        if unlike < least:
            break  # what is left is coloured like the ground, and pieces were found that are not
        x, y = (min(c, n - 1) for c, n in zip(coarse.cell(place), coarse.seen.shape[::-1], strict=True))
        if any(mask[y, x] for mask in glanced):
            continue
        # Most places are ground, which runs on to the sheets: that is seen at half the size.
        hopeful = False
        for mask in regions(coarse, place):
            if _again(mask, glanced) or mask.sum() * coarse.per**2 < _LEAST_AREA_MM2:
                continue
            glanced.append(mask)
            reason = cut_off(mask, coarse)
            hopeful |= reason is None
            reasons.extend([reason] if reason else [])
        for mask in regions(ground, place) if hopeful else []:
            if _again(mask, tried):
                continue
            tried.append(mask)
            judged = _judged(mask, ground, photos, found, cloth=cloth, place=place)
            if isinstance(judged, str):
                reasons.append(judged)
            else:
                taken.append(judged)
                least = max(least, min(_GROUND_SHARE * unlike, _SURELY_UNLIKE))
        if len(glanced) > 24 or len(tried) > 12:
            break
    taken.sort(key=lambda t: -t[0])
    kept: list[tuple[float, Edge, Fitted]] = []
    for one in taken:
        shape = Polygon(one[2].outline)
        if one[0] >= 0.25 * taken[0][0] and not any(Polygon(k[2].outline).intersects(shape) for k in kept):
            kept.append(one)
    if not kept:
        why = reasons[0] if reasons else "nothing lies between the sheets"
        raise PatternError(
            f"no piece was found: {why}. Or tap it: --tap X,Y, a pixel inside the piece",
            file=shown,
            code="trace.no-piece",
        )
    kept.sort(key=lambda t: float(t[2].outline[:, 0].min()))
    return [(edge, fitted) for _, edge, fitted in kept]


def _again(mask: Mask, others: Sequence[Mask]) -> bool:
    """Whether it is nearly one of the others, or within one."""
    return any((mask & other).sum() > 0.8 * min(mask.sum(), other.sum()) for other in others)


def _near(points: Array, notches: Sequence[NotchSeen]) -> Mask:
    out = np.zeros(len(points), bool)
    for notch in notches:
        out |= np.linalg.norm(points - np.array(notch.at), axis=1) <= notch.width / 2 + 3.0
    return out
