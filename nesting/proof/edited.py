"""Lays that a person has moved pieces of by hand: judged as written, and drawn anew from where the pieces now lie."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from nesting.files.lays.layfile import read_lay
from nesting.model.errors import OrderError
from nesting.model.findings import Finding
from nesting.model.lay import GarmentShare, Lay, Placement, PlyRegion, Section, mirrored_over_fold, placed
from nesting.model.order import Order
from nesting.model.tolerances import SHAPE_MM
from nesting.proof.following import cut_loose
from nesting.proof.holding import parts_told, with_leftover
from nesting.proof.pattern import near
from nesting.proof.proving import measure, prove
from nesting.proof.verdict import Failure, Verdict

__all__ = ["Judgement", "judge_lay_file", "judgement_of", "redrawn"]


@dataclass(frozen=True)
class Judgement:
    """A lay file judged. ``verdict`` is the lay's as it is written; ``moved`` lists the placements whose outline does
    not agree with their x, y and turn; ``redrawn`` is the lay with outlines, marks and lengths worked out anew from
    those, and ``redrawn_verdict`` tells whether that can be cut. ``findings``: what else is worth telling."""

    lay: Lay
    verdict: Verdict
    moved: tuple[Placement, ...]
    redrawn: Lay
    redrawn_verdict: Verdict
    findings: tuple[Finding, ...]
    order: Order


def judge_lay_file(
    path: str | Path, order: Order | None = None, *, gap: float | None = None
) -> tuple[Lay, Verdict, tuple[str, ...]]:
    """The lay in a file, the verdict on it as it is written, and notes for people; see ``judgement_of``."""
    judged = judgement_of(path, order, gap=gap)
    return judged.lay, judged.verdict, tuple(f.message for f in judged.findings)


def judgement_of(path: str | Path, order: Order | None = None, *, gap: float | None = None) -> Judgement:
    """Read a lay file and the order it names (beside it, unless ``order`` is given), and judge the lay by the order.

    An outline that is not where x, y and turn put the piece is a failure; the lay drawn anew from those is judged
    as well. ``gap`` as for ``prove``. OrderError if either file cannot be read.
    """
    path = Path(path)
    lay = read_lay(path)
    findings: list[Finding] = []
    if order is None:
        order = _named_order(path, lay)
    order, told = with_leftover(order, lay)
    findings += (*told, *parts_told(lay, order))
    if lay.order_sha256 and order.sha256 and lay.order_sha256 != order.sha256:
        message = "the order was changed after this lay was made; the lay is judged by the order as it is now"
        findings.append(Finding("warning", message, str(path), code="lay.other-order"))
    drawn = redrawn(lay, order)
    moved = tuple(p for p, q in zip(lay.placements, drawn.placements, strict=True) if not _drawn_alike(p, q))
    first, loose = _leaders(path, lay, order)
    loose += _patches_as_cut(path, lay, order)
    verdict, anew = (
        replace(v, failures=(*v.failures, *loose))
        for v in (prove(lay, order, gap=gap, first=first), prove(drawn, order, gap=gap, first=first))
    )
    for p in moved:
        message = (
            f"{p.label} ({p.garment}): the outline in the file is not the piece at x {p.x:g}, y {p.y:g}, "
            f"turn {p.turn:g}°; if it was moved by hand, take these numbers over into a new drawing with "
            "'nesting lay ORDER --from' this file, or put the old numbers back"
        )
        findings.append(Finding("warning", message, str(path), p.piece, code="lay.outline-old"))
    if moved:
        findings.append(Finding("note", _said_of(anew), str(path), code="lay.drawn-anew"))
    return Judgement(lay, verdict, moved, drawn, anew, tuple(findings), order)


def _lays_beside(path: Path) -> Iterator[tuple[str, Lay]]:
    """The other lays in the folder that can be read, with their file names, the shortest name first."""
    for other in sorted(path.parent.glob("lay-*.json"), key=lambda p: (len(p.name), p.name)):
        if other.name == path.name:
            continue
        try:
            found = read_lay(other)
        except OrderError:
            continue
        yield other.name, found


def _leaders(path: Path, lay: Lay, order: Order) -> tuple[Lay | None, list[Failure]]:
    """The lay, beside this file, of the cloth over which this one lies, and what is wrong where there is none."""
    if lay.leaders_on is None:
        return None, cut_loose(lay, order)
    for _, found in _lays_beside(path):
        if found.cloth == lay.leaders_on and found.remnant is None and found.part is None:
            return found, []
    message = (
        f"its pieces are cut together with leaders of '{lay.leaders_on}', but that cloth's lay is not beside this "
        "file, so their places cannot be judged: put it there"
    )
    return None, [Failure("together", message)]


def _patches_as_cut(path: Path, lay: Lay, order: Order) -> list[Failure]:
    """Failures of patches that this lay and the other one beside this file, of their own or of their leaders' cloth,
    tell differently: more or fewer of them, elsewhere, by other numbers, or of a cloth that there is not."""
    failures = [
        Failure("together", f"it shows patches of '{cloth}', which the order does not have")
        for cloth in dict.fromkeys(of for _, of, _ in lay.patch_places)
        if cloth not in [c.name for c in order.cloths]
    ]
    seen: set[str] = set()
    for name, found in _lays_beside(path):
        if found.order_sha256 != lay.order_sha256 or found.remnant or found.part or found.cloth in seen:
            continue
        seen.add(found.cloth)
        shown = {of for _, of, _ in lay.patch_places}
        if found.leaders_on == lay.cloth or found.cloth in shown:
            first, second = lay, found
        elif lay.leaders_on == found.cloth:
            first, second = found, lay
        else:
            continue
        there = Counter((number, on) for number, of, on in first.patch_places if of == second.cloth)
        if there != Counter((p.number, p.on) for p in second.patches):
            message = f"patches of '{second.cloth}' lie otherwise than {name} says"
            failures.append(Failure("together", message))
    return failures


def _said_of(anew: Verdict) -> str:
    if anew.ok:
        return (
            f"drawn anew where x, y and turn put the pieces, the lay holds: {anew.lay_length:.1f} mm long, "
            f"{anew.buy_length:.1f} mm to buy"
        )
    shown = "; ".join(str(failure) for failure in anew.failures[:5])
    return f"drawn anew where x, y and turn put the pieces, the lay does not hold: {shown}"


def _named_order(path: Path, lay: Lay) -> Order:
    from nesting.files.orders.order import load_order

    if lay.order_file is None:
        raise OrderError(
            "the lay does not name its order, so there is nothing to judge it by",
            file=path,
            key="order.file",
            code="lay.no-order",
        )
    # the file may have been copied elsewhere since it was written, its order beside it or one folder up
    name = Path(lay.order_file).name
    for named in (path.parent / lay.order_file, path.parent / name, path.parent.parent / name):
        if named.is_file():
            return load_order(named)
    raise OrderError(
        f"the order it names, '{lay.order_file}', is neither there, nor beside it, nor one folder up: put it there",
        file=path,
        key="order.file",
        code="file.missing",
    )


def _drawn_alike(p: Placement, q: Placement) -> bool:
    return near(np.array(p.outline, dtype=float), np.array(q.outline, dtype=float), SHAPE_MM)


def redrawn(lay: Lay, order: Order, *, only: Collection[int] | None = None) -> Lay:
    """The lay with all outlines and marks drawn anew from the order's pieces and each placement's x, y, turn, flipped
    and opened; lay length, regions, length to buy, utilisation and shares follow from that. ``only``: the numbers of
    the placements that lie elsewhere now, where it is known that the others are as they were drawn.

    Placements of pieces that the order does not have stay as they are (the proof will say so).
    """
    sections: list[Section] = []
    shift = 0.0
    number = 0
    for section in lay.sections:
        placements = tuple(
            _drawn(p, order) if only is None or k in only else p for k, p in enumerate(section.placements, number)
        )
        number += len(placements)
        length = max((x for p in placements if p.second_cloth is None for x, _ in p.outline), default=0.0)
        if section.spread.kind == "crosswise fold":
            # The fold is where the cloth was folded; moving a piece does not move it.
            length = section.lay_length
        sections.append(_lengthened(replace(section, placements=placements, start=section.start + shift), length))
        shift += length - section.lay_length
    total = sections[-1].start + sections[-1].lay_length if sections else 0.0
    draft = replace(lay, sections=tuple(sections), lay_length=total, lower_bound=min(lay.lower_bound, total))
    figures = measure(draft, order)
    if figures is None:
        return draft
    garments = tuple(
        GarmentShare(g.name, g.size, g.count, figures.share_of(g.name, g.size, g.count)) for g in lay.garments
    )
    return replace(draft, buy_length=figures.buy_length, utilisation=figures.utilisation, garments=garments)


def _drawn(p: Placement, order: Order) -> Placement:
    try:
        cut = order.cut_piece(p.piece, p.size)
    except KeyError:
        return p
    piece = mirrored_over_fold(cut.piece) if p.opened else cut.piece
    lies = placed(piece, p.x, p.y, p.turn, p.flipped)
    return replace(p, laid=replace(lies, grainline=lies.grainline or p.grainline))


def _lengthened(section: Section, length: float) -> Section:
    """The section made longer or shorter: its plies end where the lay does."""
    old = section.lay_length

    def ply(region: PlyRegion) -> PlyRegion:
        xs = [x for x, _ in region.region]
        if max(xs) != old or len(region.region) != 4:
            return region  # a leftover keeps its own outline
        return replace(region, region=tuple((length if x == old else x, y) for x, y in region.region))

    spread = replace(section.spread, length=length, plies=tuple(ply(p) for p in section.spread.plies))
    return replace(section, spread=spread, lay_length=length)
