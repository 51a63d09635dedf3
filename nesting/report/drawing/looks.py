"""How things look: few greys, pale tints that differ in lightness, hatches and dashes, so that nothing hangs on hue.

Tints are pale versions of the colour-blind-safe set of Okabe and Ito (Color Universal Design, 2008).
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CLOTH", "CLOTH_TWICE", "FAINT", "HATCHES", "HATCH_INK", "INK", "PAPER", "SOFT", "TINTS", "Hatch", "dash_of"]

INK = "#161616"
SOFT = "#6f6f6f"
FAINT = "#b9b5ae"
PAPER = "#ffffff"
CLOTH = "#f6f3ee"
CLOTH_TWICE = "#e9e3da"
HATCH_INK = "#8d8d8d"

TINTS = ("#fdf6df", "#dcecf7", "#f6ddd0", "#d3ebe2", "#efe0ec", "#e6e6e6", "#fbf3b8", "#c9dbe9")


@dataclass(frozen=True)
class Hatch:
    """Lines at ``angle`` degrees, ``spacing`` em apart (an em is the drawing's text size), broken by ``dash`` (em)."""

    angle: float
    spacing: float
    dash: tuple[float, float] | None = None


#: One pattern per garment and size; each a set of line families. The first is plain.
HATCHES: tuple[tuple[Hatch, ...], ...] = (
    (),
    (Hatch(45.0, 0.9),),
    (Hatch(0.0, 0.8, (0.12, 0.9)),),
    (Hatch(135.0, 0.9),),
    (Hatch(90.0, 1.0),),
    (Hatch(0.0, 1.0),),
    (Hatch(45.0, 1.3), Hatch(135.0, 1.3)),
    (Hatch(90.0, 0.9, (0.9, 0.6)),),
)

#: em. Line styles of the cut line by plies.
_DASHES: dict[str, tuple[float, ...]] = {
    "all": (),
    "top": (1.1, 0.45),
    "bottom": (0.25, 0.35),
    "middle": (0.7, 0.3, 0.2, 0.3),
    "with": (0.9, 0.3, 0.2, 0.3),
}


def dash_of(style: str, em: float) -> tuple[float, ...]:
    """The dash pattern in mm for plies "all", "top", "bottom", "middle", or a follower ("with")."""
    return tuple(d * em for d in _DASHES[style])
