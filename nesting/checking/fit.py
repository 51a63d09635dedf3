"""Will it go on: every opening at rest and stretched, against the part it sits on and the largest that it must pass.

At rest an opening is as long as the shorter of its edge and what is sewn to it: elastic, lace or a binding that is cut
shorter draws it in, and so does a band that goes round it. It stretches as far as the edge does (length · (1 + the
cloth's stretch round the body)) and no farther than the trim does (its length · (1 + its own stretch)), where that is
known, nor than the band.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from nesting.model.findings import Finding
from nesting.model.units import format_length, format_share
from nesting.resolving.cutting_list import CuttingList, GarmentEntry, Round

__all__ = ["LEAST", "MOST", "OpeningLine", "fit_findings", "opening_lines", "opening_words"]

#: At rest an opening is at least this share of what it sits on, or it cuts in, and at most that, or it stands off.
#: Common practice, no source.
LEAST, MOST = 0.7, 1.0


@dataclass(frozen=True)
class OpeningLine:
    """One opening of one garment, mm. ``edge``: its edge as sewn; ``rest``: finished, at rest; ``stretched``: as far as
    it goes, None where the stretch of the cloth is not stated. ``sits``, ``passes``: of the body, None if not stated.
    ``needs``: stretch that the edge needs to pass, as a share, None without a part to pass."""

    name: str
    garment: str
    edge: float
    rest: float
    stretched: float | None
    sits: float | None
    passes: float | None
    least: float
    most: float

    @property
    def needs(self) -> float | None:
        """The share by which the edge must stretch to pass and to sit."""
        wanted = max((m for m in (self.passes, self.sits) if m is not None), default=None)
        return None if wanted is None else max(0.0, wanted / self.edge - 1.0)

    def as_dict(self) -> dict[str, Any]:
        """As the JSON document shows it (mm, shares of 1)."""
        return {
            "opening": self.name,
            "garment": self.garment,
            "edge": round(self.edge, 2),
            "rest": round(self.rest, 2),
            "stretched": None if self.stretched is None else round(self.stretched, 2),
            "sits": self.sits,
            "passes": self.passes,
            "ratio": None if self.sits is None else round(self.rest / self.sits, 4),
            "least": self.least,
            "most": self.most,
            "needs_stretch": None if self.needs is None else round(self.needs, 4),
        }


def opening_lines(listed: CuttingList) -> tuple[OpeningLine, ...]:
    """Every opening that a ``[[trim]]`` with a part to sit on or pass, or an ``[[opening]]``, describes, by garment."""
    lines: list[OpeningLine] = []
    for number, trim in enumerate(listed.trims):
        if trim.sits is None and trim.passes is None:
            continue
        for garment in listed.garments:
            found = garment.trims[number]
            if found is not None and garment.count:
                lines.append(_line(trim.name, garment, found, found.gives, trim.stretch))
    for number, opening in enumerate(listed.openings):
        if opening.sits is None and opening.passes is None:
            continue
        for garment in listed.garments:
            found = garment.openings[number]
            if found is not None and garment.count:
                gives = found.gives if opening.stretch is None else opening.stretch
                line = _line(opening.name, garment, found, gives, None)
                least = LEAST if opening.least is None else opening.least
                most = MOST if opening.most is None else opening.most
                lines.append(replace(line, least=least, most=most))
    return tuple(lines)


def _line(
    name: str, garment: GarmentEntry, found: Round, gives: float | None, trim_stretch: float | None
) -> OpeningLine:
    """``gives``: the stretch of the edge; ``trim_stretch``: of what is sewn to it, as far as it is known."""
    stretched = None if gives is None else found.length * (1.0 + gives)
    rest = found.length
    if found.band is not None:
        rest = min(rest, found.band)
        if found.band_gives is None:
            stretched = None
        elif stretched is not None:
            stretched = min(stretched, found.band * (1.0 + found.band_gives))
    if found.takes is not None:
        rest = min(rest, found.takes)
        if trim_stretch is not None:
            reach = found.takes * (1.0 + trim_stretch)
            stretched = reach if stretched is None else min(stretched, reach)
    return OpeningLine(name, garment.label, found.length, rest, stretched, found.sits, found.passes, LEAST, MOST)


def opening_words(line: OpeningLine, imperial: bool) -> dict[str, str]:
    """The line for people: edge, at rest, stretched, what it sits on and passes, share of what it sits on."""

    def say(mm: float | None) -> str:
        return "" if mm is None else format_length(mm, imperial=imperial, step="1/8 in" if imperial else "mm")

    return {
        "name": line.name,
        "garment": line.garment,
        "edge": say(line.edge),
        "rest": say(line.rest),
        "stretched": say(line.stretched) or "not known",
        "sits": say(line.sits),
        "passes": say(line.passes),
        "ratio": "" if line.sits is None else format_share(line.rest / line.sits, 0),
    }


def uneven_findings(listed: CuttingList) -> list[Finding]:
    """Warnings of trims and openings whose edges are not there equally often: an edge may be missing, or one of a piece
    that is cut twice, to lie double, is counted twice."""
    file = None if listed.path is None else str(listed.path)
    found: list[Finding] = []
    names = [*(t.name for t in listed.trims), *(o.name for o in listed.openings)]
    for number, name in enumerate(names):
        for garment in listed.garments:
            one = (*garment.trims, *garment.openings)[number]
            if one is None or not garment.count or len({many for _, many, _ in one.stretches}) < 2:
                continue
            alike = [edge for edge, _, several in one.stretches if several]
            if one.said and not alike:
                continue
            counted = ", ".join(f"{edge} {'once' if many == 1 else f'{many} times'}" for edge, many, _ in one.stretches)
            doing = (
                f"if {alike[0].rpartition('.')[0]} lies double there, name its edges on one side only"
                if alike
                else "name the edges that are missing, or write openings = 2 where they are two openings"
            )
            openings = "one opening" if one.number == 1 else f"{one.number} openings"
            message = f"{name} of {garment.label} goes round {openings} of these edges together: {counted}; {doing}"
            found.append(Finding("warning", message, file, code="trim.uneven"))
    return list({f.message: f for f in found}.values())


def fit_findings(listed: CuttingList, lines: Iterable[OpeningLine]) -> list[Finding]:
    """Warnings, with their figures, of openings that do not go on, cut in or stand off."""

    def say(mm: float) -> str:
        return format_length(mm, imperial=listed.imperial, step="1/8 in" if listed.imperial else "mm")

    file = None if listed.path is None else str(listed.path)
    found: list[Finding] = []

    def warn(line: OpeningLine, message: str) -> None:
        found.append(Finding("warning", f"{line.name} of {line.garment}: {message}", file, code="wearer.fit"))

    for line in lines:
        wanted = max((m for m in (line.passes, line.sits) if m is not None), default=None)
        if wanted is not None and line.stretched is not None and line.stretched < wanted - 0.05:
            part = "pass" if wanted == line.passes else "sit on"
            warn(
                line,
                f"it stretches to {say(line.stretched)} and is to {part} {say(wanted)}: it does not go on. Its edge of "
                f"{say(line.edge)} would need {format_share(line.needs or 0.0, 0)} of stretch; choose a cloth or trim "
                "that gives more, a longer trim, or a wider opening",
            )
        if line.sits is None:
            continue
        ratio = line.rest / line.sits
        if ratio < line.least - 1e-9:
            warn(
                line,
                f"at rest it is {say(line.rest)}, {format_share(ratio, 0)} of the {say(line.sits)} that it sits on, "
                f"below {format_share(line.least, 0)}: it may cut in",
            )
        elif ratio > line.most + 1e-9:
            warn(
                line,
                f"at rest it is {say(line.rest)}, {format_share(ratio, 0)} of the {say(line.sits)} that it sits on, "
                f"above {format_share(line.most, 0)}: it may stand off",
            )
    return found
