"""Lengths as people write them, and back: "3/8 in", "1 1/2 yd", "1 ½ in", "2,5 cm", "12 mm".

The inch is 25.4 mm and the yard 0.9144 m exactly (international yard and pound agreement, 1959). A small grammar of
our own, because every command pays for the import: a quantities library takes longer to load than ``--help`` may take.

::

    length   = [sign] quantity { quantity }          "1 yd 9 in" is a sum, larger units first
    quantity = number [unit]                         the unit may only be left out where there is one quantity
    number   = whole | whole fraction | fraction | decimal
    fraction = n "/" m | one of ½ ¼ ¾ ⅛ ⅜ ⅝ ⅞ …

A decimal point may be a comma, but "1,500" is refused, as it could mean either. ``"`` stands for inches and ``'`` for
feet.
"""

from __future__ import annotations

import math
import re
import unicodedata
from fractions import Fraction
from typing import Literal

from nesting.model.errors import UnitsError
from nesting.model.tolerances import LARGEST_MM

__all__ = [
    "UNITS",
    "UNIT_MM",
    "LengthStep",
    "format_alike",
    "format_apart",
    "format_exceeding",
    "format_fraction",
    "format_length",
    "format_share",
    "format_width",
    "parse_length",
    "parse_share",
    "round_up",
    "to_cents",
    "unit_name",
]

LengthStep = Literal["cm", "mm", "1/8 in", "1/16 in", "yd 1/8"]

#: The units an order may be written in.
UNITS = ("mm", "cm", "m", "in", "yd")

_INCH = Fraction(254, 10)
_EXACT: dict[str, Fraction] = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": _INCH,
    "ft": 12 * _INCH,
    "yd": 36 * _INCH,
}
#: mm in one of each unit.
UNIT_MM: dict[str, float] = {name: float(size) for name, size in _EXACT.items()}

_SYNONYMS = {
    '"': "in", "″": "in", "”": "in", "inch": "in", "inches": "in",
    "'": "ft", "′": "ft", "’": "ft", "foot": "ft", "feet": "ft",
    "yard": "yd", "yards": "yd", "yds": "yd",
    "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm",
    "metre": "m", "metres": "m", "meter": "m", "meters": "m",
}  # fmt: skip
_QUANTITY = re.compile(
    r"""\s*(?:
        (?P<whole>[0-9]+)\s+(?P<over>[0-9]+)\s*/\s*(?P<under>[0-9]+)
      | (?P<num>[0-9]+)\s*/\s*(?P<den>[0-9]+)
      | (?P<decimal>[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)
    )\s*(?P<unit>["″”'′’]|[A-Za-z]+\.?)?\s*""",
    re.VERBOSE,
)
_SHARE = re.compile(r"\s*([0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)\s*(?:%|per ?cent)\s*")
_EXPECTED = 'a length such as 12, "12 mm", "2.5 cm", "3/8 in" or "1 1/2 yd" was expected'
#: Longer texts are no lengths, and digits without end are slow to read.
_LONGEST_TEXT = 60
#: mm. Far below anything that can be cut; float noise of a sum or a division stays below it.
_NOISE_MM = 1e-6


def parse_length(value: str | int | float, default_unit: str | None, *, negative: bool = False) -> float:
    """The length in mm.

    A bare number is in ``default_unit`` ("mm", "cm", "m", "in", "ft", "yd"); with None only zero may be bare.
    ``negative`` allows a leading minus. Raises UnitsError for anything else: unknown units, NaN, infinity, a
    denominator of zero, more than ``LARGEST_MM``.
    """
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise UnitsError(f"found {value!r}; {_EXPECTED}", code="value.length")
    exact = _read_text(value, default_unit) if isinstance(value, str) else _read_number(value, default_unit)
    if exact < 0 and not negative:
        raise UnitsError(
            f"found {value!r}; a length may not be negative here: take the minus away", code="value.negative"
        )
    if abs(exact) > Fraction(LARGEST_MM):
        raise UnitsError(
            f"found {value!r}, more than {LARGEST_MM / 1000:g} m, which is larger than any garment's drawing or "
            "any cloth here: check the number and its unit",
            code="value.too-large",
        )
    return float(exact)


def _finite(value: int | float) -> bool:
    # A whole number in a file can be too large even to be compared as a float.
    return abs(value) < 10**15 if isinstance(value, int) else math.isfinite(value)


def _read_number(value: int | float, default_unit: str | None) -> Fraction:
    if not _finite(value):
        raise UnitsError(f"found {value!r}; {_EXPECTED}", code="value.length")
    # Through the shortest decimal, so that 0.1 in is a tenth of an inch and not the nearest binary fraction to it.
    return Fraction(repr(value)) * _unit(None, default_unit, value)


def _read_text(text: str, default_unit: str | None) -> Fraction:
    if len(text) > _LONGEST_TEXT:
        raise UnitsError(f"found {text[:_LONGEST_TEXT]!r}…; {_EXPECTED}", code="value.length")
    plain = "".join(_spell_fraction(char) for char in text).strip()
    sign = 1
    if plain[:1] in ("-", "−", "+"):
        sign = 1 if plain[0] == "+" else -1
        plain = plain[1:]
    total, at = Fraction(0), 0
    sizes: list[Fraction] = []
    while at < len(plain) or not sizes:
        match = _QUANTITY.match(plain, at)
        if match is None:
            raise UnitsError(f"found {text!r}; {_EXPECTED}", code="value.length")
        unit = match["unit"]
        at = match.end()
        if unit is None and (sizes or at < len(plain)):
            hyphen = re.fullmatch(r"(\d+)\s*[-–]\s*(\d+.*)", plain)
            if hyphen:
                whole = "/" in hyphen[2]
                told = f"write '{hyphen[1]} {hyphen[2]}'" if whole else "of a range, write the one that counts"
                raise UnitsError(f"found {text!r}; one length was expected: {told}", code="value.length")
            word = re.match(r"[^\W\d_]+", plain[at:])
            if word is not None:
                _unit(word[0], None, text)
            raise UnitsError(
                f'found {text!r}; each number of a sum needs its unit, as in "1 yd 9 in"', code="value.unit-missing"
            )
        size = _unit(unit, default_unit, text)
        if sizes and size >= sizes[-1]:
            raise UnitsError(
                f'found {text!r}; in a sum the larger unit comes first, each once, as in "1 yd 9 in"',
                code="value.length",
            )
        sizes.append(size)
        total += _number(match, text) * size
    return sign * total


def _spell_fraction(char: str) -> str:
    if char == "⁄":  # fraction slash
        return "/"
    spelt = unicodedata.normalize("NFKC", char)
    return f" {spelt.replace('⁄', '/')} " if "⁄" in spelt else char


def _number(match: re.Match[str], text: str) -> Fraction:
    over, under = match["over"] or match["num"], match["under"] or match["den"]
    if under is not None:
        if int(under) == 0:
            raise UnitsError(f"found {text!r}; the lower half of a fraction cannot be zero", code="value.length")
        return int(match["whole"] or 0) + Fraction(int(over), int(under))
    decimal = match["decimal"]
    if re.fullmatch(r"[0-9]{1,3},[0-9]{3}", decimal):
        dot, none = decimal.replace(",", "."), decimal.replace(",", "")
        raise UnitsError(
            f"found {text!r}, where the comma can be read in two ways: write {text.strip().replace(decimal, dot)!r} or "
            f"{text.strip().replace(decimal, none)!r}",
            code="value.comma",
        )
    return Fraction("0" + decimal.replace(",", ".") if decimal[0] in ".," else decimal.replace(",", "."))


def _unit(unit: str | None, default_unit: str | None, found: object) -> Fraction:
    if unit is None:
        if default_unit is None:
            if str(found).strip() in ("0", "0.0", "-0.0"):
                return Fraction(1)
            raise UnitsError(
                f'found {found!r} without a unit: write it with one, as in "12 mm", or give units',
                code="value.unit-missing",
            )
        unit = default_unit
    name = unit_name(unit)
    if name is None:
        raise UnitsError(
            f"found {found!r} with the unknown unit {unit!r}: use one of {', '.join(_EXACT)}", code="value.unit-unknown"
        )
    return _EXACT[name]


def unit_name(word: str) -> str | None:
    """The unit that a word means ("inches" gives "in"), None for any other word."""
    name = word.strip().lower().rstrip(".")
    name = _SYNONYMS.get(name, name)
    return name if name in _EXACT else None


def parse_share(value: str | int | float) -> float:
    """A share as a fraction of 1: "40 %" or 0.4 gives 0.4, "150 %" gives 1.5.

    A bare number above 1 is refused, because 40 could only be meant as per cent. Raises UnitsError.
    """
    expected = 'a share such as "40 %" or 0.4 was expected'
    if isinstance(value, str):
        match = len(value) <= _LONGEST_TEXT and _SHARE.fullmatch(value)
        if not match:
            raise UnitsError(f"found {value[:_LONGEST_TEXT]!r}; {expected}", code="value.number")
        text = match[1].replace(",", ".")
        return float(Fraction("0" + text if text[0] == "." else text) / 100)
    if isinstance(value, bool) or not isinstance(value, int | float) or not _finite(value) or value < 0:
        raise UnitsError(f"found {value!r}; {expected}", code="value.number")
    if value > 1:
        raise UnitsError(
            f'found the bare number {value!r}; {expected}: write "{value:g} %" if per cent is meant', code="value.share"
        )
    return float(value)


def round_up(mm: float, increment: float) -> float:
    """``mm`` rounded up to a whole number of ``increment``s (both mm); never down, exact multiples stay.

    An increment of 0 leaves ``mm`` as it is. Float noise of less than a millionth of a millimetre above a multiple
    does not cost a further increment; the result is then ``mm`` itself, so that it is never below it.
    Raises ValueError for a negative or non-finite argument.
    """
    if not (math.isfinite(mm) and math.isfinite(increment)) or mm < 0 or increment < 0:
        raise ValueError(f"cannot round {mm!r} mm up to {increment!r} mm")
    if increment == 0:
        return mm
    noise = Fraction(_NOISE_MM)
    exact = Fraction(mm)
    step = Fraction(increment)
    steps = math.ceil((exact - noise) / step)
    return max(float(steps * step), mm)


def format_fraction(value: float, denominator: int = 8) -> str:
    """A number of at least zero as a mixed fraction to the nearest 1/``denominator``: "1 3/8", "2", "5/8", "0"."""
    parts = math.floor(Fraction(value) * denominator + Fraction(1, 2))
    whole, rest = divmod(parts, denominator)
    if rest == 0:
        return str(whole)
    share = Fraction(rest, denominator)
    return f"{whole} {share}" if whole else str(share)


def format_length(mm: float, *, imperial: bool, step: LengthStep | None = None, up: bool = False) -> str:
    """A length in mm for people: "36.5 cm", "2.2 m", "1 3/8 yd", "14 1/16 in".

    ``step``: to the nearest "cm" ("37 cm"), "mm" ("36.5 cm"), "1/8 in", "1/16 in" or "yd 1/8"; with ``up`` never below
    ``mm``. None: metric to the mm, in m from one metre; imperial in yards where it is a whole number of eighths of a
    yard, else inches to 1/16.
    """
    if mm < 0:
        return "−" + format_length(-mm, imperial=imperial, step=step)
    if step is None:
        if imperial:
            eighths = mm / (UNIT_MM["yd"] / 8)
            whole = round(eighths) > 0 and abs(eighths - round(eighths)) * UNIT_MM["yd"] / 8 < _NOISE_MM
            step = "yd 1/8" if whole else "1/16 in"
        else:
            step = "mm"
    if up:
        mm = round_up(mm, _STEP_MM[step])
    if step in ("cm", "mm"):
        return _metric(mm, to_cm=step == "cm")
    if step == "yd 1/8":
        return f"{format_fraction(mm / UNIT_MM['yd'], 8)} yd"
    return f"{format_fraction(mm / UNIT_MM['in'], 8 if step == '1/8 in' else 16)} in"


def format_alike(*lengths: float, imperial: bool) -> tuple[str, ...]:
    """Lengths in mm to buy that stand beside each other, all in one unit and none told shorter than it is."""
    if imperial or all(mm < 1000.0 for mm in lengths) or all(mm >= 1000.0 for mm in lengths):
        step: LengthStep = "1/8 in" if imperial else "mm"
        return tuple(format_length(mm, imperial=imperial, step=step, up=True) for mm in lengths)
    return tuple(f"{_trimmed(round(round_up(mm, 1.0)), 10)} cm" for mm in lengths)


def format_apart(a: float, b: float, *, imperial: bool) -> tuple[str, str]:
    """Two lengths in mm for people, as finely as they must be written to differ, both in cm or both in inches: "28.02
    cm" and "28.00 cm". Millimetres are never rounded away, so that the difference is what a reader reckons."""
    unit, size = ("in", UNIT_MM["in"]) if imperial else ("cm", 10.0)
    for parts in (8, 16) if imperial else ():
        one, other = (f"{format_fraction(mm / size, parts)} in" for mm in (a, b))
        if one != other:
            return one, other
    if not imperial:
        one, other = (f"{_trimmed(math.floor(mm + 0.5), 10)} cm" for mm in (a, b))
        if one != other:
            return one, other
    for decimals in (2, 3, 4):
        one, other = (f"{mm / size:.{decimals}f} {unit}" for mm in (a, b))
        if one != other:
            return one, other
    return one, other


def format_exceeding(least: float, there: float, *, imperial: bool) -> tuple[str, str]:
    """What something takes at least and the less that there is, mm, for people, as finely as they must be written to
    differ: in fractions of an inch where these do. The first is rounded down, so that "at least" holds as it is
    printed."""
    unit, size = ("in", UNIT_MM["in"]) if imperial else ("cm", 10.0)
    for parts in (8, 16) if imperial else ():
        whole = math.floor(least / size * parts + 1e-9)
        if whole > math.floor(there / size * parts + 0.5):
            return f"{format_fraction(whole / parts, parts)} in", f"{format_fraction(there / size, parts)} in"
    for decimals in (1, 2, 3, 4):
        low = math.floor(least / size * 10**decimals + 1e-9) / 10**decimals
        one, other = f"{low:.{decimals}f}", f"{there / size:.{decimals}f}"
        if float(one) > float(other):
            break
    return f"{one} {unit}", f"{other} {unit}"


def to_cents(amount: float) -> float:
    """An amount to the hundredth, halves up as a till reckons: 1.75 yd at 9.50 are 16.63."""
    return math.copysign(math.floor(abs(amount) * 100.0 + 0.5 + 1e-7) / 100.0, amount)


def format_width(mm: float, *, imperial: bool) -> str:
    """A cloth's width as shops state it, never in metres or yards: "150 cm", "112.5 cm", "44 in", "58 1/2 in"."""
    if imperial:
        return f"{format_fraction(mm / UNIT_MM['in'], 8)} in"
    return f"{_trimmed(math.floor(mm + 0.5), 10)} cm"


_STEP_MM: dict[LengthStep, float] = {
    "cm": 10.0, "mm": 1.0, "1/8 in": 25.4 / 8, "1/16 in": 25.4 / 16, "yd 1/8": 914.4 / 8,
}  # fmt: skip


def _metric(mm: float, *, to_cm: bool) -> str:
    whole = math.floor(Fraction(mm) / (10 if to_cm else 1) + Fraction(1, 2)) * (10 if to_cm else 1)
    if whole < 1000:
        return f"{_trimmed(whole, 10)} cm"
    return f"{_trimmed(whole, 1000)} m"


def _trimmed(whole_mm: int, per_unit: int) -> str:
    text = f"{whole_mm / per_unit:.3f}"
    return text.rstrip("0").rstrip(".")


def format_share(share: float, digits: int = 0) -> str:
    """A share for people: 0.4 gives "40 %"; ``digits`` after the point."""
    return f"{100.0 * share:.{digits}f} %"
