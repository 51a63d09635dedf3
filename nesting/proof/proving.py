"""``prove``: all checks of a lay, gathered into one verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import shapely

from nesting.model.as_laid import order_as_laid
from nesting.model.errors import ProofError
from nesting.model.lay import FoldLine, Lay, Placement, Section
from nesting.model.order import Cloth, CutPiece, Order, Remnant
from nesting.model.piece import Ring
from nesting.model.tolerances import FOLD_MM, SHAPE_MM
from nesting.proof.counting import asked_of, check_counts, counts_of, garment_failures
from nesting.proof.figures import Figures, check_figures, check_stated, cut_areas, farthest, off_folds
from nesting.proof.following import lies_over
from nesting.proof.holding import garments_held, holds_of, ratios_kept
from nesting.proof.matching import check_repeats
from nesting.proof.nearness import check_nearness
from nesting.proof.pairing import check_pairs
from nesting.proof.patching import check_patches, patches_end
from nesting.proof.pattern import near, opened
from nesting.proof.placing import Judged, judge
from nesting.proof.table import SpreadError, Table, table_of
from nesting.proof.together import check_places_over, check_together
from nesting.proof.unfold import ClothPiece, cut_through
from nesting.proof.verdict import Failure, Verdict

__all__ = ["measure", "prove", "require"]

#: share of its area by which a cloth piece may differ from the pattern piece
AREA_SHARE = 1e-4
#: mm. Cloth pieces as they come off equal the pattern pieces within this.
CUT_MM = 0.05


def require(
    lay: Lay,
    order: Order,
    *,
    gap: float | None = None,
    counts: Mapping[tuple[str, str | None], int] | None = None,
    first: Lay | None = None,
) -> Verdict:
    """``prove``, but a lay that fails raises ProofError, with the first failures in its message."""
    verdict = prove(lay, order, gap=gap, counts=counts, first=first)
    if not verdict.ok:
        shown = "; ".join(str(failure) for failure in verdict.failures[:5])
        more = f"; and {len(verdict.failures) - 5} more" if len(verdict.failures) > 5 else ""
        raise ProofError(
            f"the lay of {lay.cloth} failed its proof and was not written: {shown}{more}. "
            "Please report this with the order and the seed.",
            file=lay.order_file,
            code="program.proof",
        )
    return verdict


def prove(
    lay: Lay,
    order: Order,
    *,
    gap: float | None = None,
    counts: Mapping[tuple[str, str | None], int] | None = None,
    first: Lay | None = None,
) -> Verdict:
    """Whether the lay can be cut and gives exactly what the order asks of that cloth.

    Trusted are only, of each placement: piece, garment, size, copies, x, y, turn, flipped, plies, on_fold, opened; of
    each section: start, kind, flap depths and the number of stacked plies. All else is recomputed and compared.

    ``gap``: mm between cuts, instead of the cloth's own (a lay rebuilt from rounded figures). ``counts``: garments
    asked for, instead of the order's; a lay on a leftover is held to the pieces that it says it holds, else to the
    garments that it lists. ``first``: for a second cloth laid over another, the lay of that one, to see that every
    piece lies at its leader's place.
    """
    return _Proof(lay, order, gap, counts, first).verdict()


def measure(lay: Lay, order: Order) -> Figures | None:
    """The figures of a lay as they follow from where its pieces lie; None if cloth or leftover are not in the order."""
    proof = _Proof(lay, order, None, None, None)
    proof.verdict()
    return proof.figures


class _Proof:
    """One lay under proof."""

    def __init__(
        self,
        lay: Lay,
        order: Order,
        gap: float | None,
        counts: Mapping[tuple[str, str | None], int] | None,
        first: Lay | None,
    ) -> None:
        self.lay, self.asked_gap, self.counts, self.first = lay, gap, counts, first
        self.turned = False
        self.failures: list[Failure] = []
        whole = lay.remnant is None and lay.holds is None
        self.failures += ratios_kept(lay, order) if whole else []
        # as many as there is cloth for: held to the number that the lay itself says
        self.order = order_as_laid(order, (lay,)) if whole else order
        self.judged: list[Judged] = []
        self.pieces: list[ClothPiece] = []
        self.figures: Figures | None = None

    def fail(self, failure: Failure) -> None:
        self.failures.append(failure)

    def verdict(self) -> Verdict:
        lay, order = self.lay, self.order
        placements = lay.placements
        try:
            cloth = order.cloth_named(lay.cloth)
        except KeyError:
            self.fail(Failure("order", f"the order has no cloth called '{lay.cloth}'"))
            return Verdict(tuple(self.failures), len(placements), 0, 0.0, 0.0, 0.0)
        remnant = next((r for r in order.remnants if r.name == lay.remnant), None)
        if lay.remnant is not None and (remnant is None or remnant.cloth != lay.cloth):
            self.fail(Failure("order", f"the order has no leftover of {lay.cloth} called '{lay.remnant}'"))
            return Verdict(tuple(self.failures), len(placements), 0, 0.0, 0.0, 0.0)
        gap = cloth.gap if self.asked_gap is None else self.asked_gap
        found, self.turned, plies = lies_over(lay, order)
        self.failures += found
        if plies is not None:
            cloth = replace(cloth, plies=plies)
        if lay.part is not None:
            # each part of a batch may be stacked in as many plies as the cutter takes
            stacked = [len(s.spread.plies) for s in lay.sections if s.spread.kind.startswith("stacked")]
            if stacked and max(stacked) <= (cloth.max_plies or cloth.plies):
                cloth = replace(cloth, plies=max(stacked))
        tables = [self.table(number, section, cloth, remnant) for number, section in enumerate(lay.sections)]
        self.judge_all(cloth, tables, gap)
        self.cut_all(tables)
        by_number = {j.number: j for j in self.judged}
        starts = [section.start for section in lay.sections]
        self.failures += check_nearness(self.pieces, by_number, gap, tables, starts)
        counts = self.counts
        held, wrong = holds_of(lay, order)
        self.failures += wrong
        if held is not None:
            if remnant is not None:
                # pieces from leftovers are cut one by one, wherever there is room for them
                order = replace(order, together=(), seams=())
            counts = garments_held(held)
        elif counts is None and lay.remnant is not None:
            counts = {(g.name, g.size): g.count for g in lay.garments}
            self.check_leftover(counts)
        asked = asked_of(order, lay.cloth, counts, held)
        self.failures += check_counts(order, cloth, asked, placements, self.pieces, cloth.surplus)
        self.failures += check_pairs(cloth, by_number, self.pieces)
        self.failures += check_together(order, asked, self.judged, tables)
        if lay.over is not None and self.first is not None:
            self.failures += check_places_over(order, self.first, lay, self.judged)
        self.failures += check_repeats(lay, order, cloth, by_number, self.pieces)
        areas = cut_areas(by_number, self.pieces)
        self.failures += garment_failures(lay, asked, counts if counts is not None else counts_of(order), areas)
        self.failures += check_patches(lay, order, cloth, by_number, tables, self.first)
        ends = [farthest(self.judged, number) for number in range(len(lay.sections))]
        if lay.patches and ends:
            ends[0] = max(ends[0], patches_end(lay))
        off = [off_folds(self.judged, number, gap) for number in range(len(lay.sections))]
        found, self.figures = check_figures(lay, cloth, remnant, tables, ends, areas, off)
        self.failures += found
        self.failures += check_stated(lay, cloth, remnant, self.asked_gap)
        f = self.figures
        cut = len(self.pieces)
        return Verdict(tuple(self.failures), len(placements), cut, f.lay_length, f.buy_length, f.utilisation)

    def table(self, number: int, section: Section, cloth: Cloth, remnant: Remnant | None) -> Table | None:
        try:
            table = table_of(cloth, remnant, section, turned=self.turned)
        except SpreadError as error:
            self.fail(Failure("spread", f"{section.spread.kind}: {error}", section=number))
            return None
        if len(self.lay.sections) > 1 and (table.layers > 1 or table.round_trip):
            self.fail(Failure("spread", f"'{table.kind}' cannot be one of several sections", section=number))
        self.compare_spread(number, section, table, remnant)
        return table

    def compare_spread(self, number: int, section: Section, table: Table, remnant: Remnant | None) -> None:
        """The plies and folds that the lay states, against those worked out."""
        stated = section.spread

        def wrong(message: str) -> None:
            self.fail(Failure("spread", f"{stated.kind}: {message}", section=number))

        if [ply.ply for ply in stated.plies] != [ply.number for ply in table.plies]:
            wrong(f"plies {[p.number for p in table.plies]} expected, the lay has {[p.ply for p in stated.plies]}")
            return
        for ply, right in zip(stated.plies, table.plies, strict=True):
            if ply.face != right.face:
                wrong(f"ply {ply.ply} lies face {right.face}, the lay says face {ply.face}")
            if ply.reversed != right.reversed:
                wrong(f"the lengthwise direction of ply {ply.ply} is not as stated")
            region = np.array(ply.region, dtype=float).reshape(-1, 2)
            holes: tuple[Ring, ...] = ()
            if remnant is not None and stated.kind == "open":
                ring, holes = np.array(remnant.outline), remnant.flaws
            else:
                ring = np.array(shapely.get_coordinates(right.cover)[:-1])
            if not near(ring, region, SHAPE_MM):
                wrong(f"the region of ply {ply.ply} is not what the cloth leaves")
            if len(ply.flaws) != len(holes):
                wrong(f"ply {ply.ply} has {len(holes)} flaw(s), the lay says {len(ply.flaws)}")
            elif not all(near(np.array(a), np.array(b), SHAPE_MM) for a, b in zip(ply.flaws, holes, strict=True)):
                wrong(f"a flaw of ply {ply.ply} is not where the leftover has it")
        self.compare_folds(stated.folds, table, wrong)
        if stated.layers != table.layers:
            wrong(f"{table.layers} layer(s) of full width, the lay says {stated.layers}")

    @staticmethod
    def compare_folds(stated: tuple[FoldLine, ...], table: Table, wrong: object) -> None:
        def matches(fold: FoldLine) -> bool:
            return any(
                fold.along == right.along and set(fold.plies) == right.plies and abs(fold.at - right.at) <= FOLD_MM
                for right in table.folds
            )

        if len(stated) != len(table.folds) or not all(matches(fold) for fold in stated):
            assert callable(wrong)
            wrong("the folds are not where the spread has them")

    def cut_piece(self, p: Placement) -> CutPiece | None:
        try:
            return self.order.cut_piece(p.piece, p.size)
        except KeyError:
            size = f" in size {p.size}" if p.size else ""
            self.fail(Failure("order", f"the order has no piece '{p.piece}'{size}", p.piece, (p.x, p.y)))
            return None

    def judge_all(self, cloth: Cloth, tables: list[Table | None], gap: float) -> None:
        number = -1
        for index, section in enumerate(self.lay.sections):
            for p in section.placements:
                number += 1
                cut = self.cut_piece(p)
                if cut is None:
                    continue
                table = tables[index] if p.second_cloth is None else None
                judged, failures = judge(number, index, p, cut, cloth, table, gap)
                self.failures += failures
                if judged is not None:
                    self.judged.append(judged)

    def cut_all(self, tables: list[Table | None]) -> None:
        """Cut every placement through its plies, open the cloth out, and compare what comes off with the pattern."""
        for j in self.judged:
            table = tables[j.section]
            if table is None or j.placement.second_cloth is not None:
                continue
            start = self.lay.sections[j.section].start
            pieces = cut_through(
                table,
                j.outline,
                j.placement.plies,
                j.motion,
                uncut=j.uncut,
                start=start,
                placement=j.number,
                section=j.section,
            )
            self.pieces += pieces
            if j.shape_ok:
                for piece in pieces:
                    self.compare_piece(j, piece)

    def compare_piece(self, j: Judged, piece: ClothPiece) -> None:
        whole = opened(j.cut.piece) if j.placement.on_fold else j.pattern
        expected = piece.to_cloth.points(whole.outline)
        came = np.array(piece.polygon.exterior.coords)[:-1]
        area = shapely.Polygon(expected).area
        slack = AREA_SHARE * area
        if j.uncut is not None:
            slack += 2.0 * FOLD_MM * float(np.hypot(*(j.uncut[1] - j.uncut[0])))
        if abs(piece.polygon.area - area) > slack or not near(expected, came, CUT_MM):
            p = j.placement
            self.fail(
                Failure(
                    "shape",
                    f"{p.label}: what comes off ply {list(piece.plies)} is not the {piece.hand} pattern piece: "
                    f"{piece.polygon.area:.1f} mm² of {area:.1f} mm²",
                    p.piece,
                    (p.x, p.y),
                    j.section,
                    figures={"found": piece.polygon.area, "right": area},
                )
            )

    def check_leftover(self, counts: Mapping[tuple[str, str | None], int]) -> None:
        asked = counts_of(self.order)
        unlimited = {(g.name, g.size) for g in self.order.garments if g.most}
        for key, count in counts.items():
            if key not in unlimited and count > asked.get(key, 0):
                message = f"{key[0]} {key[1] or ''}: {count} on the leftover, {asked.get(key, 0)} are asked for"
                self.fail(Failure("garments", message))
