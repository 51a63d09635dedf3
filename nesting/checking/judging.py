"""Judging an order before anything is laid: do the pieces have the right size, and will they sew together?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from nesting.checking.fit import OpeningLine, fit_findings, opening_lines, uneven_findings
from nesting.checking.notes import PieceLine, areas, notch_depths, small_length, stretch
from nesting.model.findings import Finding, in_order_of_weight
from nesting.model.order import CutPiece, Order, Seam
from nesting.pieces.contour import signed_area
from nesting.pieces.grain import GRAIN_KEY
from nesting.pieces.seams import WalkedSeam, edge_names
from nesting.pieces.sewn import allowance_along, sewn_in_sizes
from nesting.resolving.cutting_list import Agreed, CuttingList
from nesting.resolving.resolve import resolve

__all__ = ["Check", "PieceLine", "SeamLine", "check_order", "forbidding", "small_length"]


@dataclass(frozen=True)
class SeamLine:
    """A seam of the order, walked in one size."""

    size: str | None
    seam: Seam
    pieces: tuple[CutPiece, ...]
    walked: WalkedSeam


@dataclass(frozen=True)
class Check:
    """What checking found. ``test_squares``: (file, side in mm) of the squares drawn for checking the scale."""

    title: str
    imperial: bool
    pieces: tuple[PieceLine, ...]
    seams: tuple[SeamLine, ...]
    together: tuple[Agreed, ...]
    test_squares: tuple[tuple[str, float], ...]
    findings: tuple[Finding, ...]
    openings: tuple[OpeningLine, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether all seams agree and all pieces that are cut together do."""
        return all(s.walked.agrees for s in self.seams) and all(t.fits.agrees for t in self.together)

    # long: one line for each key
    def as_dict(self) -> dict[str, Any]:
        """The check as JSON shows it; lengths in mm, areas in mm²."""
        return {
            "title": self.title,
            "agrees": self.ok,
            "pieces": [
                {
                    "name": p.name,
                    "size": p.size,
                    "width": round(p.width, 3),
                    "height": round(p.height, 3),
                    "area": round(p.area, 2),
                    "notches": p.notches,
                    "drawn_area": None if p.drawn_area is None else round(p.drawn_area, 2),
                    "grain": round(p.grain, 3),
                    "drills": p.drills,
                    "cut": p.cut,
                    "mirrored": p.mirrored,
                    "on_fold": p.on_fold,
                    "cloth": p.cloth,
                    "edges": list(p.edges),
                    "file": p.file,
                }
                for p in self.pieces
            ],
            "seams": [
                {
                    "edges": [list(side) if len(side) > 1 else side[0] for side in s.seam.sides],
                    "lengths": [round(x, 3) for x in s.walked.lengths],
                    "parts": [
                        {"edge": edge, "length": round(part, 3)}
                        for edge, part in zip(s.walked.edges, s.walked.parts, strict=True)
                    ],
                    "ease": round(s.seam.ease, 3),
                    "ratio": s.seam.ratio,
                    "eased_between": [[round(a, 3), round(b, 3)] for a, b in s.walked.eased_between],
                    "difference": round(s.walked.difference, 3),
                    "agrees": s.walked.agrees,
                    "size": s.size,
                    "tolerance": round(s.walked.tolerance, 3),
                    "wanted": [round(x, 3) for x in s.walked.wanted],
                    "notches": [
                        {
                            "edge": s.walked.edges[n.edge],
                            "along": round(n.along, 3),
                            "difference": round(n.difference, 3),
                            "agrees": abs(n.difference) <= s.walked.tolerance,
                            "join": n.joins[1] or n.joins[0],
                        }
                        for n in s.walked.notches
                    ],
                    "joins_without_notch": [
                        {"side": s.walked.titles[u.side], "along": round(u.along, 3), "join": u.join}
                        for u in s.walked.unmarked
                    ],
                    "without_partner": [
                        {"edge": s.walked.edges[k], "along": round(m.along, 3)} for k, m in s.walked.lone
                    ],
                }
                for s in self.seams
            ],
            "together": [
                {
                    "leader": t.rule.leader,
                    "follower": t.rule.follower,
                    "size": t.size,
                    "agrees": t.fits.agrees,
                    "largest": round(t.fits.largest, 3) if math.isfinite(t.fits.largest) else None,
                    "inside": t.fits.inside,
                    "messages": list(t.fits.messages),
                }
                for t in self.together
            ],
            "openings": [line.as_dict() for line in self.openings],
            "test_squares": [{"file": name, "side": round(side, 3)} for name, side in self.test_squares],
            "findings": [finding.as_dict() for finding in self.findings],
        }


def forbidding(order: Order, listed: CuttingList | None = None) -> tuple[Finding, ...]:
    """The findings for which nothing may be cut yet: seams that do not match, questions without which a piece may be
    wrong. Raises OrderError as ``check_order`` does."""
    judged = check_order(order, listed)
    return tuple(dict.fromkeys(f for f in (*order.findings, *judged.findings) if f.forbids))


def check_order(order: Order, listed: CuttingList | None = None) -> Check:
    """Judge the order's pieces, seams and pieces that are cut together. ``listed``: its cutting list, if there is one.

    Raises OrderError where a seam names an edge that its piece does not have.
    """
    listed = resolve(order) if listed is None else listed
    findings = list(order.findings)
    used = {(name, garment.size) for garment in order.garments for name in garment.pieces}
    pieces = tuple(
        replace(_line(cut), in_garment=any((cut.name, size) in used for size in _sizes_of(cut, order)))
        for cut in order.pieces
    )
    findings += areas(listed, pieces)
    seams = tuple(line for seam in order.seams for line in _walked(order, seam))
    for line in seams:
        findings += _seam_findings(line, order)
    for pair in listed.agreed:
        findings += _together_findings(pair)
    findings += notch_depths(order)
    findings += stretch(listed, order.least_fibre_stretch)
    openings = opening_lines(listed)
    findings += uneven_findings(listed)
    findings += fit_findings(listed, openings)
    return Check(
        order.title,
        order.imperial,
        pieces,
        seams,
        listed.agreed,
        order.test_squares,
        in_order_of_weight(findings),
        openings,
    )


def _grain(cut: CutPiece) -> float:
    """Direction of the grain in the drawing, degrees; 0 for a band."""
    return float(dict(cut.piece.extra).get(GRAIN_KEY, "0"))


def _sizes_of(cut: CutPiece, order: Order) -> set[str | None]:
    """The sizes of the garments that a piece may be in: its own, or all where it has none."""
    return {cut.size, None} if cut.size is not None else {garment.size for garment in order.garments}


def _line(cut: CutPiece) -> PieceLine:
    grain = _grain(cut)
    a = math.radians(grain)
    c, s = math.cos(a), math.sin(a)
    xs = [c * x - s * y for x, y in cut.piece.outline]
    ys = [s * x + c * y for x, y in cut.piece.outline]
    return PieceLine(
        cut.name,
        cut.size,
        cut.piece.file,
        max(xs) - min(xs),
        max(ys) - min(ys),
        abs(signed_area(cut.piece.outline)) - sum(abs(signed_area(r)) for r in cut.piece.cutouts),
        None
        if cut.drawn is None
        else abs(signed_area(cut.drawn.outline)) - sum(abs(signed_area(r)) for r in cut.drawn.cutouts),
        grain,
        len(cut.piece.notches),
        len(cut.piece.drills),
        cut.cut,
        cut.mirrored,
        cut.on_fold,
        cut.cloth,
        edge_names(cut.piece),
    )


def _walked(order: Order, seam: Seam) -> list[SeamLine]:
    return [
        SeamLine(sewn.size, seam, sewn.pieces, sewn.walked)
        for sewn in sewn_in_sizes(seam, order.pieces, file=order.path)
    ]


def _seam_findings(line: SeamLine, order: Order) -> list[Finding]:
    size = f" (size {line.size})" if line.size else ""
    name = " to ".join(line.walked.titles) + size
    found = [
        Finding(
            "note" if told.code == "seam.join-unmarked" else "warning",
            f"seam {name}: {told.message}",
            code=told.code,
            figures={**told.figures, "size": line.size},
            forbids=told.forbids,
        )
        for told in line.walked.told(lambda mm: small_length(mm, order.imperial))
        if told.code != "seam.join-unmarked" or not line.seam.joins_answered
    ]
    doubt = 2.0 * sum(cut.piece.error for cut in line.pieces)
    off = abs(line.walked.difference)
    if doubt > 0.0 and line.walked.lengths_agree and off > line.walked.tolerance - doubt:
        found.append(
            Finding(
                "warning",
                f"seam {name}: its edges differ by {small_length(off, order.imperial)}, which is within what pictures "
                "can tell of them; measure both on the paper",
                code="seam.within-picture-error",
                figures={"difference": off, "error": doubt, "size": line.size},
            )
        )
    found += _allowances(line, order, name)
    if line.walked.no_centre and not line.seam.centre_answered:
        found.append(
            Finding(
                "question",
                f"seam {name}: no centre notch on {', '.join(line.walked.no_centre)}; to have it added, write "
                "add_centre_notches = true in this [[seam]]",
                code="seam.no-centre",
            )
        )
    return found


#: mm. Allowances of two sides that differ by less are alike.
_ALLOWANCE_MM = 0.5


def _allowances(line: SeamLine, order: Order, name: str) -> list[Finding]:
    """A warning where the sides of a seam are finished with different allowances, so that their cut edges do not lie
    on one another when the seam lines do."""
    known = [
        (edge, width)
        for edge, cut in zip(line.walked.edges, line.pieces, strict=True)
        if (width := allowance_along(cut.piece, edge.rpartition(".")[2])) is not None
    ]
    if len(known) < 2 or max(w for _, w in known) - min(w for _, w in known) <= _ALLOWANCE_MM:
        return []
    words = ", ".join(f"{small_length(width, order.imperial)} at {edge}" for edge, width in dict.fromkeys(known))
    return [
        Finding(
            "warning",
            f"seam {name}: the allowances differ ({words}): lay seam line on seam line, not cut edge on cut edge, or "
            "give both one finish",
            code="seam.allowances",
            figures={"least": min(w for _, w in known), "most": max(w for _, w in known), "size": line.size},
        )
    ]


def _together_findings(line: Agreed) -> list[Finding]:
    size = f" (size {line.size})" if line.size else ""
    kind = "note" if line.fits.agrees else "warning"
    return [
        Finding(
            "note" if kind == "note" else "warning",
            f"'{line.rule.follower}' cut together with '{line.rule.leader}'{size}: {message}",
            code="together.differs",
            forbids=not line.fits.agrees,
            figures={
                "leader": line.rule.leader,
                "follower": line.rule.follower,
                "size": line.size,
                "largest": line.fits.largest if math.isfinite(line.fits.largest) else None,
            },
        )
        for message in line.fits.messages
    ]
