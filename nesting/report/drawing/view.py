"""How a lay is to be drawn, and where its sections lie on the drawing."""

from __future__ import annotations

from dataclasses import dataclass

from nesting.model.lay import Lay, Section
from nesting.report.sheet.sheet import Row, rows
from nesting.report.words import edge_names

__all__ = ["Laid", "View", "laid_sections", "picture", "row_of", "true_scale"]


@dataclass(frozen=True)
class View:
    """``em`` is the base text size in mm of the lay; line widths follow it. ``section`` None draws all sections side by
    side."""

    em: float
    tints: bool = True
    surroundings: bool = True
    section: int | None = None

    @property
    def line(self) -> float:
        """Width of a cut line, mm."""
        return max(0.3, 0.1 * self.em)


@dataclass(frozen=True)
class Laid:
    """One section on the drawing: ``dx`` is where its x = 0 lies; ``before`` and ``after`` are the end allowances
    (on a leftover ``after`` is what it is longer than the lay)."""

    number: int
    section: Section
    dx: float
    before: float
    after: float
    first: int
    names: tuple[str, str]

    @property
    def from_end(self) -> float:
        """What is added to x to measure from the cut end (or from the line at which the section begins)."""
        return self.before


def picture(lay: Lay, *, section: int | None = None) -> View:
    """The view for reading on a screen or a page: words sized so that the whole lay can be seen at once."""
    length = sum(s.lay_length for s in lay.sections) + 2 * lay.end_allowance
    width = max(s.spread.table_width for s in lay.sections)
    return View(em=min(24.0, max(5.0, 0.0125 * max(length, width))), section=section)


def true_scale(section: int, em: float = 6.0) -> View:
    """The view for printing at true size: fine lines, words as large as a label."""
    return View(em=em, tints=False, section=section)


def laid_sections(lay: Lay, view: View) -> tuple[Laid, ...]:
    """The sections that a view shows, each with its place."""
    out: list[Laid] = []
    dx, first = 0.0, 0
    last = len(lay.sections) - 1
    for n, section in enumerate(lay.sections):
        allowance = 0.0 if lay.remnant is not None else lay.end_allowance
        before = allowance if n == 0 else 0.0
        after = allowance if n == last and section.spread.kind != "crosswise fold" else 0.0
        if lay.remnant is not None:
            # the whole leftover is drawn, also where nothing lies
            after = max(0.0, max(p[0] for ply in section.spread.plies for p in ply.region) - section.lay_length)
        if view.section is None or view.section == n:
            if out:
                dx += 5.5 * view.em
            names = edge_names(section.spread, lay.remnant is not None)
            out.append(Laid(n, section, dx, before, after, first, names))
            dx += section.lay_length + (after if lay.remnant is not None else 0.0)
        first += len(section.placements)
    return tuple(out)


def row_of(lay: Lay) -> dict[int, Row]:
    """The sheet's row of each placement, by its place in ``Lay.placements``."""
    return {row.index: row for row in rows(lay)}
