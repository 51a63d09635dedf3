"""Lengths and shares: read as people write them, never rounded down, shown as the trade shows them."""

from __future__ import annotations

import math
import os
import subprocess
import sys
from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from nesting.model.errors import UnitsError
from nesting.model.tolerances import LARGEST_MM
from nesting.model.units import (
    UNIT_MM,
    format_alike,
    format_fraction,
    format_length,
    format_share,
    format_width,
    parse_length,
    parse_share,
    round_up,
)

EXAMPLES = settings(max_examples=int(os.environ.get("NESTING_EXAMPLES", "150")), deadline=None)

#: mm. The steps that shops and tables use: 1 mm, 1 cm, 5 cm, 10 cm, 1 m; 1/16 in, 1/8 in, 1 in; 1/8, 1/4, 1 yd.
STEPS = (1.0, 10.0, 50.0, 100.0, 1000.0, 25.4 / 16, 25.4 / 8, 25.4, 914.4 / 8, 914.4 / 4, 914.4)


@pytest.mark.parametrize(
    ("written", "mm"),
    [
        ("12 mm", 12.0),
        ("12mm", 12.0),
        ("2.5 cm", 25.0),
        ("2,5 cm", 25.0),
        ("1.500 m", 1500.0),
        ("3/8 in", 9.525),
        ("1 3/8 in", 34.925),
        ("1 ½ in", 38.1),
        ("1½ in", 38.1),
        ("⅞ yd", 800.1),
        ("3⁄8 in", 9.525),
        ('5/8"', 15.875),
        ("5/8″", 15.875),
        ("2'", 609.6),
        ("7 in.", 177.8),
        ("1 1/2 yd", 1371.6),
        ("1 yd 9 in", 1143.0),
        ("2 Yards", 1828.8),
        ("  4  ", 40.0),
        ("+4 cm", 40.0),
        (".5 in", 12.7),
        ("0", 0.0),
        (4, 40.0),
        (0.1, 1.0),
    ],
)
def test_lengths_are_read_as_people_write_them(written: str | float, mm: float) -> None:
    """Exact to the last bit: the arithmetic is done in fractions and turned into a float once."""
    assert parse_length(written, "cm") == mm


def test_units_agree_with_the_published_definitions() -> None:
    """International yard and pound agreement (1959): 1 yd = 0.9144 m, 3 ft to the yard. CSS Values 3, section 6.2:
    1in = 2.54cm."""
    assert parse_length("1 yd", None) == 914.4
    assert parse_length("1 in", None) == 25.4 == parse_length("2.54 cm", None)
    assert parse_length("1 ft", None) == 304.8
    assert UNIT_MM == {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8, "yd": 914.4}


@EXAMPLES
@given(
    whole=st.integers(0, 40),
    over=st.integers(0, 31),
    under=st.sampled_from([2, 3, 4, 8, 16, 32]),
    unit=st.sampled_from(sorted(UNIT_MM)),
)
def test_mixed_fractions_agree_with_a_reference_library(whole: int, over: int, under: int, unit: str) -> None:
    """Against pint's own table of units."""
    import pint

    written = f"{whole} {over}/{under} {unit}"
    reference = pint.Quantity(float(whole + Fraction(over, under)), unit).to("mm").magnitude
    assert parse_length(written, None) == pytest.approx(reference, rel=1e-12)


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("abc", "a length such as"),
        ("", "a length such as"),
        ("12 stone", "unknown unit 'stone'"),
        ("1,500 mm", "read in two ways: write '1.500 mm' or '1500 mm'"),
        ("1/0 in", "cannot be zero"),
        ("3 4 in", "each number of a sum needs its unit"),
        ("9 in 1 yd", "the larger unit comes first"),
        ("1 in 2 in", "the larger unit comes first"),
        ("-1 cm", "may not be negative"),
        ("nan", "a length such as"),
        ("1e3 mm", "unknown unit 'e'"),
        ("１２ mm", "a length such as"),
        ("9" * 5000, "a length such as"),
        (float("nan"), "a length such as"),
        (float("inf"), "a length such as"),
        (10**400, "a length such as"),
        (True, "a length such as"),
        (None, "a length such as"),
        ([1], "a length such as"),
        ("101 m", "check the number and its unit"),
        (1e9, "check the number and its unit"),
    ],
)
def test_what_is_no_length_is_refused_and_says_why(written: object, says: str) -> None:
    """The message names what was found and what was expected."""
    with pytest.raises(UnitsError, match=says):
        parse_length(written, "cm")  # type: ignore[arg-type]


def test_a_bare_number_is_taken_as_it_is_written() -> None:
    """0.07 in are 1.778 mm, though the float nearest to 0.07 is not quite 0.07."""
    assert parse_length(0.07, "in") == 1.778 != float(Fraction(0.07) * Fraction(254, 10))


def test_a_bare_number_needs_a_unit_unless_it_is_zero() -> None:
    """No unit is ever guessed."""
    assert parse_length(0, None) == parse_length("0", None) == 0.0
    with pytest.raises(UnitsError, match="without a unit"):
        parse_length(12, None)
    assert parse_length("12 mm", None) == 12.0


def test_a_negative_length_is_read_only_where_it_is_allowed() -> None:
    """With a minus or with the typographer's minus."""
    assert parse_length("-3/4 in", None, negative=True) == -19.05
    assert parse_length("−3 mm", None, negative=True) == -3.0


def test_the_largest_length_is_still_read() -> None:
    """The limit itself is inside."""
    assert parse_length(f"{LARGEST_MM:g} mm", None) == LARGEST_MM


@pytest.mark.parametrize(
    ("written", "share"),
    [("40 %", 0.4), ("40%", 0.4), ("2,5 %", 0.025), ("150 percent", 1.5), (0.4, 0.4), (1, 1.0), (0, 0.0)],
)
def test_shares_are_read(written: str | float, share: float) -> None:
    """As per cent or as a fraction of one."""
    assert parse_share(written) == share


@pytest.mark.parametrize("written", [40, 1.01, -0.1, "40", "-4 %", "4 % %", "", float("nan"), True, None, 10**400])
def test_what_is_no_share_is_refused(written: object) -> None:
    """Above all 40, which could only mean 40 %."""
    with pytest.raises(UnitsError, match="a share such as"):
        parse_share(written)  # type: ignore[arg-type]


@EXAMPLES
@given(mm=st.floats(0, LARGEST_MM), step=st.sampled_from(STEPS))
def test_rounding_is_never_down_and_less_than_a_step_up(mm: float, step: float) -> None:
    """And the result is a whole number of steps, to within float noise."""
    rounded = round_up(mm, step)
    assert mm <= rounded < mm + step
    assert math.isclose(rounded / step, round(rounded / step), abs_tol=1e-6)


@EXAMPLES
@given(steps=st.integers(0, 900), step=st.sampled_from(STEPS), how=st.integers(0, 3))
def test_exact_multiples_stay(steps: int, step: float, how: int) -> None:
    """However the multiple was reckoned: multiplied, summed up, through a division by (1 - s), or from eighths."""
    mm = steps * step
    if how == 1:
        mm = math.fsum([step] * steps)
    elif how == 2:
        mm = (steps * step * 0.95) / (1 - 0.05)
    elif how == 3:
        mm = sum([step] * steps, 0.0)
    rounded = round_up(mm, step)
    assert rounded >= mm
    assert round(rounded / step) == steps


@EXAMPLES
@given(steps=st.integers(0, 900), step=st.sampled_from(STEPS), over=st.floats(1e-5, 0.9))
def test_a_hair_over_a_multiple_costs_the_next_step(steps: int, step: float, over: float) -> None:
    """A hundred-thousandth of a millimetre is more than noise."""
    assume(over < step)
    assert round(round_up(steps * step + over, step) / step) == steps + 1


def test_rounding_without_an_increment_or_beyond_sense() -> None:
    """No increment leaves the length; negative or infinite arguments are a mistake of the caller."""
    assert round_up(123.4, 0.0) == 123.4
    for mm, step in ((-1.0, 10.0), (1.0, -10.0), (math.inf, 10.0), (1.0, math.nan)):
        with pytest.raises(ValueError, match="cannot round"):
            round_up(mm, step)


#: A published fabric-width conversion chart (yards), rows of the 44/45" and 58/60" columns; all are eighths.
CHART = [
    "1 3/8",
    "1 5/8",
    "1 3/4",
    "2 1/8",
    "2 1/4",
    "2 1/2",
    "2 3/4",
    "2 7/8",
    "3 1/8",
    "3 3/8",
    "3 5/8",
    "3 7/8",
    "1",
    "1 1/4",
]


@pytest.mark.parametrize("yards", CHART)
def test_the_values_of_a_published_chart_are_kept_and_shown_as_printed(yards: str) -> None:
    """They are what a shop sells: reading, rounding up to 1/8 yd and writing leave them as they are."""
    mm = parse_length(f"{yards} yd", None)
    assert format_length(round_up(mm, 914.4 / 8), imperial=True) == f"{yards} yd"


@pytest.mark.parametrize(
    ("mm", "imperial", "step", "shown"),
    [
        (365.0, False, None, "36.5 cm"),
        (365.0, False, "mm", "36.5 cm"),
        (365.0, False, "cm", "37 cm"),
        (364.9, False, "cm", "36 cm"),
        (999.4, False, None, "99.9 cm"),
        (999.6, False, None, "1 m"),
        (2200.0, False, None, "2.2 m"),
        (1234.0, False, None, "1.234 m"),
        (0.0, False, None, "0 cm"),
        (1257.3, True, None, "1 3/8 yd"),
        (114.3, True, None, "1/8 yd"),
        (360.0, True, None, "14 3/16 in"),
        (360.0, True, "1/8 in", "14 1/8 in"),
        (25.4, True, "1/16 in", "1 in"),
        (0.0, True, None, "0 in"),
        (1200.0, True, "yd 1/8", "1 1/4 yd"),
        (-12.0, False, None, "−1.2 cm"),
    ],
)
def test_lengths_are_shown_as_people_write_them(mm: float, imperial: bool, step: str | None, shown: str) -> None:
    """To the nearest step, halves up."""
    assert format_length(mm, imperial=imperial, step=step) == shown  # type: ignore[arg-type]


def test_a_length_to_buy_is_shown_rounded_up_where_asked() -> None:
    """``up`` keeps even the shown figure from falling short."""
    assert format_length(1258.0, imperial=True, step="yd 1/8", up=True) == "1 1/2 yd"
    assert format_length(361.0, imperial=False, step="cm", up=True) == "37 cm"
    assert format_length(360.0, imperial=False, step="cm", up=True) == "36 cm"


@EXAMPLES
@given(
    steps=st.integers(0, 800),
    step=st.sampled_from(
        [(10.0, "cm"), (1.0, "mm"), (25.4 / 8, "1/8 in"), (25.4 / 16, "1/16 in"), (914.4 / 8, "yd 1/8")]
    ),
)
def test_what_is_shown_reads_back_as_the_same_length(steps: int, step: tuple[float, str]) -> None:
    """Writing and reading are inverse on whole steps."""
    size, name = step
    mm = steps * size
    shown = format_length(mm, imperial="in" in name or "yd" in name, step=name)  # type: ignore[arg-type]
    assert parse_length(shown, None) == pytest.approx(mm, abs=1e-6)


def test_widths_are_shown_as_shops_state_them() -> None:
    """Cloth of 45 in is not called 1 1/4 yd wide, nor one of 150 cm 1.5 m (common widths of shop pages: 44/45, 54,
    58/60 in; 115, 140, 150 cm)."""
    assert [format_width(w * 25.4, imperial=True) for w in (36, 44, 45, 54, 58.5)] == [
        "36 in", "44 in", "45 in", "54 in", "58 1/2 in",
    ]  # fmt: skip
    assert [format_width(w, imperial=False) for w in (1150.0, 1500.0, 1125.0, 800.4)] == [
        "115 cm", "150 cm", "112.5 cm", "80 cm",
    ]  # fmt: skip


def test_fractions_and_shares_are_shown_in_lowest_terms() -> None:
    """4/8 is 1/2."""
    assert [format_fraction(v) for v in (0.0, 0.125, 0.5, 1.0, 1.375, 2.99)] == ["0", "1/8", "1/2", "1", "1 3/8", "3"]
    assert format_fraction(0.0625, 16) == "1/16"
    assert format_share(0.4) == "40 %"
    assert format_share(0.8712, 1) == "87.1 %"


def test_the_import_is_light() -> None:
    """Every command pays for it, so no library of quantities, no numbers library and no geometry is loaded."""
    heavy = "pint numpy shapely scipy ezdxf svgelements"
    code = f"import sys, nesting.model.units; print([m for m in {heavy.split()!r} if m in sys.modules])"
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"
    )


@pytest.mark.parametrize(
    ("lengths", "imperial", "shown"),
    [
        ((1200.0, 900.0), False, ("120 cm", "90 cm")),
        ((1200.2, 2500.0), False, ("1.201 m", "2.5 m")),
        ((614.0, 900.4, 999.0), False, ("61.4 cm", "90.1 cm", "99.9 cm")),
        ((1000.0, 999.2), False, ("100 cm", "100 cm")),
        ((914.4, 1828.8), True, ("36 in", "72 in")),
    ],
)
def test_lengths_beside_each_other_have_one_unit(lengths, imperial, shown) -> None:
    """Metres where all are, else centimetres; never shorter than they are, as they are to be bought."""
    assert format_alike(*lengths, imperial=imperial) == shown
