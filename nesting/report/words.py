"""Words and numbers as they stand on drawings and sheets."""

from __future__ import annotations

import math

from nesting.model.lay import Lay, Placement, Spread
from nesting.model.units import format_fraction, format_length, parse_length, round_up

__all__ = [
    "TRIED_WORDS",
    "cautions",
    "column_length",
    "copies_of",
    "copy_words",
    "counted",
    "edge_names",
    "first_words",
    "given_words",
    "hands",
    "kind_words",
    "lay_words",
    "least_length",
    "long_length",
    "measure",
    "parse_measure",
    "part_of_plies",
    "ply_words",
    "shop_column",
    "shop_length",
    "side_words",
    "slug",
    "tried_words",
    "turn_words",
    "unit_name",
    "unit_words",
]

#: above a table of spreads: few of them are searched to the end
TRIED_WORDS = "The lengths are the best found in the time; a longer search may find shorter ones."
#: mm. A lay that is longer than what is proved by no more is as short as it is shown
_NO_LONGER_MM = 0.5


def tried_words(lay: Lay) -> str:
    """What is said above the table of spreads: of a lay as short as its bound nothing shorter is promised."""
    if lay.lower_bound <= 0.0 or lay.lay_length - lay.lower_bound > _NO_LONGER_MM:
        return TRIED_WORDS
    others = sum(t.lay_length is not None and not t.chosen for t in lay.tried)
    rest = "; the other lengths are the best found in the time" if others else ""
    return f"The lay that is taken cannot be shorter, but for less than a millimetre{rest}."


def measure(mm: float, imperial: bool) -> str:
    """A table measure without its unit: cm to the millimetre ("12.3") or inches to the sixteenth ("4 13/16")."""
    sign = "−" if mm < 0 else ""
    text = format_fraction(abs(mm) / 25.4, 16) if imperial else f"{math.floor(abs(mm) + 0.5) / 10:.1f}"
    return sign + text if any(c in "123456789" for c in text) else text


def parse_measure(text: str, unit: str) -> float:
    """A measure as ``measure`` writes it, in mm; ``unit`` is "cm" or "in"."""
    return parse_length(text, unit, negative=True)


def unit_name(imperial: bool) -> str:
    """The unit of ``measure``."""
    return "in" if imperial else "cm"


def unit_words(imperial: bool) -> str:
    """The unit of ``measure`` in full."""
    return "inches" if imperial else "centimetres"


def long_length(mm: float, imperial: bool) -> str:
    """A length with its unit, to the millimetre or the sixteenth."""
    return format_length(mm, imperial=imperial, step="1/16 in" if imperial else "mm")


def least_length(mm: float, imperial: bool) -> str:
    """A length that something is at least, with its unit: never more than ``mm``, so that it holds as it is printed."""
    step = 25.4 / 16 if imperial else 1.0
    return long_length(math.floor(mm / step + 1e-6) * step, imperial)


def shop_length(mm: float, imperial: bool) -> str:
    """A length to ask for in the shop: yards where it comes out in eighths of a yard; never less than ``mm``."""
    if imperial:
        return format_length(mm, imperial=True)
    return format_length(mm, imperial=False, step="mm", up=True)


def column_length(mm: float, imperial: bool) -> str:
    """A length for a column of a table: always cm with one decimal, or inches to the sixteenth."""
    return f"{measure(mm, imperial)} {unit_name(imperial)}"


def shop_column(mm: float, imperial: bool) -> str:
    """A length to buy for a column of a table: always cm with one decimal and never less than ``mm``; with inches as
    ``shop_length``."""
    return shop_length(mm, True) if imperial else f"{round_up(mm, 1.0) / 10.0:.1f} cm"


def counted(number: int, what: str) -> str:
    """ "1 placement", "2 placements"."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def first_words(kind: str) -> str:
    """The heading over the steps that spread the cloth in one way."""
    return "First: lay the cloth open" if kind == "open" else f"First: {kind}"


def kind_words(spread: Spread) -> str:
    """The name of a spread for people; a stack that faces another cloth under it lies face down."""
    down = spread.kind == "stacked face up" and spread.plies[0].face == "down"
    return "stacked face down" if down else spread.kind


def given_words(lay: Lay) -> str:
    """ "2 placements give 4 pieces"."""
    number = len(lay.placements)
    gives = "gives" if number == 1 else "give"
    return f"{counted(number, 'placement')} {gives} {counted(sum(p.gives for p in lay.placements), 'piece')}"


def lay_words(lay: Lay) -> str:
    """Which lay length is meant."""
    if lay.remnant is not None:
        return "on the table"
    return f"on the table, without the two end allowances ({long_length(lay.end_allowance, lay.imperial)} each)"


def reason_words(lay: Lay) -> str:
    """Why no lay is shorter. What bounds a crosswise fold or a stack is told of its lengths of cloth opened out."""
    text = lay.bound_reason
    lengths = lay.sections[0].spread.layers if len(lay.sections) == 1 else 1
    if text and lengths > 1 and lay.sections[0].spread.kind != "tubular":
        return f"its {lengths} lengths of cloth opened out: {text}"
    return text


def turn_words(turn: float) -> str:
    """Where the grain arrow points, as an arrow on the drawing: → is away from the cut end, ↑ towards edge B."""
    return "→↗↑↖←↙↓↘"[round((turn % 360.0) / 45.0) % 8]


def side_words(flipped: bool) -> str:
    """Which way the printed side of the paper pattern lies."""
    return "pattern printed side down" if flipped else "pattern printed side up"


def copies_of(p: Placement) -> tuple[int, ...]:
    """The garment copies that a placement's cloth pieces go to, one for each cloth piece."""
    copies = p.copies or (p.copy,)
    return tuple(copies[k % len(copies)] for k in range(max(p.gives, len(copies))))


def copy_words(p: Placement) -> str:
    """ "1", or "1 + 2" where one placement serves several copies; "1 to 6" for a run of more than three."""
    copies = sorted(set(copies_of(p)))
    if len(copies) > 3 and copies[-1] - copies[0] == len(copies) - 1:
        return f"{copies[0]} to {copies[-1]}"
    return " + ".join(str(c) for c in copies)


def hands(lay: Lay) -> dict[int, str]:
    """ "left", "right" or "left + right" for the placements (by their place in ``lay.placements``) of pieces that the
    lay yields in both hands.

    A cloth piece is right when the printed side of the pattern and the right side of the cloth face the same way.
    Halves on a fold and opened halves have no hand.
    """
    found: dict[int, set[str]] = {}
    kinds: dict[tuple[str, str, str | None], set[str]] = {}
    number = 0
    for section in lay.sections:
        faces = {ply.ply: ply.face for ply in section.spread.plies}
        for p in section.placements:
            if not (p.on_fold or p.opened):
                mine = {"left" if p.flipped == (faces.get(ply, "up") == "up") else "right" for ply in p.plies}
                found[number] = mine
                kinds.setdefault((p.piece, p.garment, p.size), set()).update(mine)
            number += 1
    placements = lay.placements
    return {
        i: " + ".join(sorted(mine))
        for i, mine in found.items()
        if len(kinds[(placements[i].piece, placements[i].garment, placements[i].size)]) == 2
    }


def part_of_plies(plies: tuple[int, ...], covering: tuple[int, ...]) -> str | None:
    """ "top", "bottom" or the numbers of the ``plies`` that are cut, where not all of the ``covering`` plies, bottom
    first, are; else None."""
    if len(covering) <= 1 or set(covering) <= set(plies):
        return None
    if covering[-1] in plies:
        return "top"
    return "bottom" if covering[0] in plies else ", ".join(str(k + 1) for k in plies)


def ply_words(plies: tuple[int, ...], covering: tuple[int, ...]) -> str:
    """Which of the ``covering`` plies, bottom first, are cut when ``plies`` are."""
    if len(covering) <= 1:
        return "single ply"
    part = part_of_plies(plies, covering)
    if part is None:
        return f"through all {len(covering)} plies" if len(covering) > 2 else "through both plies"
    return f"{part} ply only" if part in ("top", "bottom") else f"ply {part} only"


def edge_names(spread: Spread, remnant: bool = False) -> tuple[str, str]:
    """What the near edge (y = 0, "A") and the far edge (y = table width, "B") of the spread cloth are."""
    along = {round(f.at, 3) for f in spread.folds if f.along == "x"}
    side = ("base line A", "far side B") if remnant else ("selvage A", "selvage B")
    near = "fold A" if any(abs(at) < 0.01 for at in along) else side[0]
    far = "fold B" if any(abs(at - spread.table_width) < 0.01 for at in along) else side[1]
    return (near, far)


def slug(name: str) -> str:
    """A cloth's name as part of a file name: letters, digits and hyphens of any script, never empty."""
    kept = "".join(c if c.isalnum() else "-" for c in name.strip().lower())
    parts = [part for part in kept.split("-") if part]
    return "-".join(parts) or "cloth"


def cautions(kinds: tuple[str, ...] = ()) -> tuple[str, ...]:
    """What can hurt someone, said once. ``kinds``: add "cutter" where a machine is to cut."""
    words = [
        "Shears, rotary cutters and blades: close or cover the blade whenever you lay it down, cut away from yourself, "
        "keep the other hand out of its path, and follow the maker's manual.",
        "Pins and weights out of the cutting line before you cut.",
    ]
    if "cutter" in kinds:
        words.append(
            "Machine cutters, plotters with knives and laser cutters: the maker's manual and the rules of the place "
            "come first. Never leave one running alone; a laser needs extraction, eye protection, a fire watch, and a "
            "cloth that its maker says may be cut by laser (some fibres burn or give off poisonous fumes)."
        )
        words.append("Run the path without the tool first, and check one known length before cutting cloth.")
    return tuple(words)
