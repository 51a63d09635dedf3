"""Scans: no perspective and no lens, but a scale that is only as true as what was measured in it."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from nesting.model.errors import InputError, PatternError
from nesting.model.findings import Finding
from nesting.outlines.mat import BAR_LEVEL_MM, BAR_UPRIGHT_MM, RULER_DOUBT_MM, Bars
from nesting.outlines.photo_bundle import Bundle, View
from nesting.outlines.photo_reading import Picture

__all__ = ["Measured", "read_measured", "scan_in"]

#: Share by which the stated resolution may miss the measured one before it is told.
_DPI_SHARE = 0.002
_MEASURED = re.compile(r"^\s*([\d.]+)\s*,\s*([\d.]+)\s+([\d.]+)\s*,\s*([\d.]+)\s*(?:=|\s)\s*(\S.*)$")


@dataclass(frozen=True)
class Measured:
    """A length measured on the paper: between two pixels (x, y), mm."""

    start: tuple[float, float]
    end: tuple[float, float]
    mm: float


def read_measured(text: str) -> Measured:
    """ "120,80 120,2900 = 240 mm": two pixels and the length between them. Raises InputError for anything else."""
    from nesting.model.units import parse_length

    match = _MEASURED.match(text)
    if match is None:
        raise InputError(
            f"--measured: found '{text}', expected two pixels and a length: '120,80 120,2900 = 240 mm'",
            code="option.value",
        )
    x0, y0, x1, y1 = (float(match[k]) for k in (1, 2, 3, 4))
    length = parse_length(match[5], "mm")
    if not length > 0 or (x0, y0) == (x1, y1):
        raise InputError(
            f"--measured: '{text}' measures nothing; give two ends and the length between them", code="option.value"
        )
    return Measured((x0, y0), (x1, y1), length)


def scan_in(picture: Picture, measured: Sequence[Measured]) -> tuple[Bundle, Bars, list[Finding]]:
    """A scan's ground, how sure its scale is (as bars), and what was noticed.

    Raises PatternError where no length was measured along one of the two directions: a scanner's carriage and its
    sensor have scales of their own.
    """
    scales, doubts = [], []
    for axis, name in ((0, "level"), (1, "upright")):
        mine = [
            m for m in measured
            if abs(m.end[axis] - m.start[axis]) > 5.0 * abs(m.end[1 - axis] - m.start[1 - axis])
        ]  # fmt: skip
        if not mine:
            raise PatternError(
                f"no {name} length was measured in the scan. Scan a ruler or a sheet of the mat beside the piece and "
                'give its two ends and its length for each direction: --measured "X1,Y1 X2,Y2 = 180 mm"',
                file=picture.name,
                code="scan.not-measured",
            )
        longest = max(mine, key=lambda m: m.mm)
        scales.append(longest.mm / math.dist(longest.start, longest.end))
        # the ruler, and a pixel at each end
        doubts.append((RULER_DOUBT_MM + 1.0 * scales[-1]) / longest.mm)
    findings = []
    if picture.dpi is None:
        words = "the scan does not state its resolution; the measured lengths are used"
        findings.append(Finding("note", words, picture.name, code="scan.no-resolution"))
    else:
        for dpi, scale, doubt, name in zip(picture.dpi, scales, doubts, ("level", "upright"), strict=True):
            off = dpi * scale / 25.4 - 1.0
            if abs(off) > max(_DPI_SHARE, doubt):
                findings.append(
                    Finding(
                        "warning",
                        f"the scan states {dpi:g} dpi, but what was measured {name} says {25.4 / scale:.1f}; the "
                        "measured one is used",
                        picture.name,
                        code="scan.resolution",
                        figures={"stated_dpi": dpi, "measured_dpi": 25.4 / scale},
                    )
                )
    radius = math.hypot(*picture.size) / 2
    values = np.zeros(12)
    values[0], values[4] = scales[0] * radius, -scales[1] * radius
    view = View(picture.size, values)
    found = Bundle((view,), ((0.0, 0.0, 1e9),), {}, 0.0, 0.0, values[None, None, :], {}, 0.0)
    bars = Bars(doubt=max(doubts[0] * BAR_LEVEL_MM, doubts[1] * BAR_UPRIGHT_MM))
    return found, bars, findings
