"""The figures of a lay, recomputed: lay length, length to buy, utilisation."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from shapely import Polygon

from nesting.model.lay import Lay, Section
from nesting.model.order import Cloth, Remnant
from nesting.model.tolerances import SEARCH_CHORD_MM
from nesting.proof.placing import EDGE_SLACK, Judged
from nesting.proof.table import Table, cloth_facts
from nesting.proof.unfold import ClothPiece
from nesting.proof.verdict import Failure

__all__ = ["Figures", "check_figures", "check_stated", "cut_areas", "farthest", "off_folds"]

#: mm. Stated lengths agree with computed ones to this.
LENGTH_SLACK = EDGE_SLACK
#: Utilisation agrees to this share.
SHARE_SLACK = 1e-5


@dataclass(frozen=True)
class Figures:
    """What a lay comes to: lengths in mm, ``areas`` in mm² per garment and size."""

    lay_length: float
    buy_length: float
    utilisation: float
    areas: Mapping[tuple[str, str | None], float]

    def share_of(self, garment: str, size: str | None, count: int) -> float:
        """The share of the length to buy, by cut area, of each of ``count`` garments, mm."""
        whole = sum(self.areas.values())
        return self.buy_length * self.areas.get((garment, size), 0.0) / whole / count if whole and count else 0.0


def farthest(judged: Sequence[Judged], section: int) -> float:
    """x of the farthest cut edge of a section, mm; 0 where nothing lies."""
    return max((j.outline.bounds[2] for j in judged if j.section == section), default=0.0)


def off_folds(judged: Sequence[Judged], section: int, gap: float) -> float:
    """mm that the pieces of a section keep off a fold on which they do not lie: half the gap and the largest error."""
    mine = (j.cut.piece.error for j in judged if j.section == section and not j.placement.on_fold)
    return gap / 2 + max(mine, default=0.0)


def cut_areas(judged: Mapping[int, Judged], pieces: Sequence[ClothPiece]) -> dict[tuple[str, str | None], float]:
    """Cut area per garment and size, mm²; cutouts are not part of a piece."""
    areas: dict[tuple[str, str | None], float] = {}
    for number in dict.fromkeys(piece.placement for piece in pieces):
        j = judged[number]
        holes = sum(float(Polygon(ring).area) for ring in j.pattern.cutouts)
        key = (j.placement.garment, j.placement.size)
        areas[key] = areas.get(key, 0.0) + (j.pattern.polygon.area - holes) * len(j.placement.plies)
    return areas


def check_figures(
    lay: Lay,
    cloth: Cloth,
    remnant: Remnant | None,
    tables: Sequence[Table | None],
    ends: Sequence[float],
    areas: Mapping[tuple[str, str | None], float],
    off_fold: Sequence[float],
) -> tuple[list[Failure], Figures]:
    """Failures, and the figures as they follow from the farthest cut edges ``ends`` (x, mm, of each section).

    ``off_fold`` mm, of each section: how far pieces keep off a fold on which they do not lie."""
    failures: list[Failure] = []
    facts = cloth_facts(cloth, remnant)
    for number, (section, table, end, off) in enumerate(zip(lay.sections, tables, ends, off_fold, strict=True)):
        failures += _check_section(number, section, table, end, off)
    starts = [section.start for section in lay.sections]
    last = len(lay.sections) - 1
    length = starts[last] + lay.sections[last].lay_length if lay.sections else 0.0
    if starts and abs(starts[0]) > LENGTH_SLACK:
        failures.append(Failure("length", f"the first section begins at {starts[0]:.3f} mm, not at the cut end"))
    for number, (before, after) in enumerate(pairwise(lay.sections), start=1):
        if after.start < before.start + before.lay_length - LENGTH_SLACK:
            message = f"section {number + 1} begins at {after.start:.3f} mm, before the one in front of it ends"
            failures.append(Failure("spread", message, section=number))
    if abs(lay.lay_length - length) > LENGTH_SLACK:
        message = f"the lay length is given as {lay.lay_length:.3f} mm, its sections end at {length:.3f} mm"
        failures.append(Failure("length", message, figures={"found": length, "said": lay.lay_length}))
    exact = _needed(tables, starts, lay, facts.end_allowance) / (1.0 - facts.shrink_along)
    buy = _rounded_up(exact, cloth.increment)
    failures += _check_buy(lay, remnant, exact, cloth.increment, facts.length)
    used = sum(
        facts.width * section.lay_length * (table.layers if table is not None else section.spread.layers)
        for section, table in zip(lay.sections, tables, strict=True)
    )
    share = sum(areas.values()) / used if used > 0.0 else 0.0
    if not abs(lay.utilisation - share) <= SHARE_SLACK:
        message = f"utilisation is {share:.5f}, the lay says {lay.utilisation:.5f}"
        failures.append(Failure("utilisation", message, figures={"found": share, "said": lay.utilisation}))
    if not 0.0 <= lay.lower_bound <= lay.lay_length + LENGTH_SLACK:
        message = f"a lower bound of {lay.lower_bound:.3f} mm on a lay of {lay.lay_length:.3f} mm cannot be"
        stated = {"lower_bound": lay.lower_bound, "lay_length": lay.lay_length}
        failures.append(Failure("bound", message, figures=stated))
    return failures, Figures(length, buy, share, areas)


def _check_section(number: int, section: Section, table: Table | None, end: float, off: float) -> list[Failure]:
    failures: list[Failure] = []
    # On a crosswise fold the fold is the end, half a gap (and the error of what was traced) beyond the last piece that
    # is not on it. The search keeps its own outlines off the fold, which may be that much larger than what is cut.
    room = off + SEARCH_CHORD_MM if section.spread.kind == "crosswise fold" else 0.0
    if not end - LENGTH_SLACK <= section.lay_length <= end + room + LENGTH_SLACK:
        failures.append(
            Failure(
                "length",
                f"the farthest cut edge is at {end:.3f} mm, the lay length is given as {section.lay_length:.3f} mm",
                section=number,
                figures={"found": end, "said": section.lay_length},
            )
        )
    if abs(section.spread.length - section.lay_length) > LENGTH_SLACK:
        failures.append(
            Failure(
                "length",
                f"the spread is {section.spread.length:.3f} mm long, the lay {section.lay_length:.3f} mm",
                section=number,
                figures={"spread": section.spread.length, "lay_length": section.lay_length},
            )
        )
    if table is not None and abs(section.spread.table_width - table.width) > LENGTH_SLACK:
        failures.append(
            Failure(
                "spread",
                f"the table width is {table.width:.3f} mm, the lay says {section.spread.table_width:.3f} mm",
                section=number,
                figures={"found": table.width, "said": section.spread.table_width},
            )
        )
    return failures


def _needed(tables: Sequence[Table | None], starts: Sequence[float], lay: Lay, allowance: float) -> float:
    """Washed cloth that the lay takes, mm: to the end of the last section, folds and stacks counted, and both ends."""
    if not lay.sections:
        return 0.0
    table, section = tables[-1], lay.sections[-1]
    lengths, ends = table.buy_factor() if table is not None else (section.spread.layers, 1)
    return lengths * section.lay_length + starts[-1] + ends * 2.0 * allowance


def _rounded_up(length: float, increment: float) -> float:
    """Up to the shop's increment; an exact multiple stays, whatever its last binary digit."""
    if increment <= 0.0:
        return length
    return max(0, math.ceil(length / increment - 1e-9)) * increment


def _check_buy(lay: Lay, remnant: Remnant | None, exact: float, increment: float, there: float | None) -> list[Failure]:
    failures: list[Failure] = []
    buy = _rounded_up(exact, increment)
    if there is not None and exact > there + LENGTH_SLACK:
        message = f"the lay takes {exact:.2f} mm of cloth, there are only {there:.2f} mm"
        failures.append(Failure("cloth", message, figures={"needed": exact, "there": there}))
    # A length within the slack of a multiple may be taken for it or not.
    right = {buy, _rounded_up(exact - LENGTH_SLACK, increment), _rounded_up(exact + LENGTH_SLACK, increment)}
    if remnant is not None:
        # Nothing is bought: the lay may say so, or what the leftover saves.
        right |= {0.0, exact}
    elif lay.part is not None:
        # All parts are bought together, so that what one takes need not be a multiple of the increment.
        right |= {exact}
    elif there is not None:
        # Where all there is is bought, the increment does not matter.
        right |= {min(value, there) for value in right}
    if not any(abs(lay.buy_length - value) <= LENGTH_SLACK for value in right):
        below = "too short" if lay.buy_length < exact - LENGTH_SLACK else "wrong"
        failures.append(
            Failure(
                "buy",
                f"the length to buy is {below}: the lay takes {exact:.2f} mm, rounded up {buy:.2f} mm, "
                f"the lay says {lay.buy_length:.2f} mm",
                figures={"needed": exact, "found": buy, "said": lay.buy_length},
            )
        )
    return failures


def check_stated(lay: Lay, cloth: Cloth, remnant: Remnant | None, gap: float | None) -> list[Failure]:
    """The cloth's own figures, as the lay repeats them for drawings and sheets."""
    facts = cloth_facts(cloth, remnant)
    expected = [
        ("washed width", lay.width_washed, facts.width),
        ("usable width", lay.usable_width, facts.width - 2.0 * facts.selvage),
        ("selvage", lay.selvage, cloth.selvage if remnant is None else 0.0),
        ("end allowance", lay.end_allowance, facts.end_allowance),
        ("lengthwise repeat", lay.repeat_along, cloth.repeat_along),
        ("crosswise repeat", lay.repeat_across, cloth.repeat_across),
    ]
    if lay.shrink_along is not None and not abs(lay.shrink_along - facts.shrink_along) <= 1e-6:
        said = f"{100 * facts.shrink_along:.2f} % along, the lay says {100 * lay.shrink_along:.2f} %"
        return [Failure("value", f"{cloth.name} shrinks by {said}")]
    if lay.knit is not None and lay.knit != cloth.knit:
        is_, said = ("a knit", "no knit") if cloth.knit else ("no knit as far as the order says", "a knit")
        return [Failure("value", f"{cloth.name} is {is_}, the lay says {said}")]
    expected.append(("width", lay.width, cloth.width if remnant is None else facts.width))
    if gap is None:
        expected.append(("gap", lay.gap, cloth.gap))
    return [
        Failure(
            "value",
            f"the {name} of {cloth.name} is {right:.3f} mm, the lay says {said:.3f} mm",
            figures={"value": name, "found": right, "said": said},
        )
        for name, said, right in expected
        if not abs(said - right) <= LENGTH_SLACK
    ]
