"""The phrases on a pattern's labels: name, size, how many to cut, from which cloth; and the side of a test square."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from nesting.files.drawn.vocabulary import Role, plain

__all__ = ["LETTER_SIZES", "Label", "keyword_of", "read_label", "size_at_end", "square_side_mm"]

LETTER_SIZES = ("XXXS", "XXS", "XS", "S", "M", "L", "XL", "XXL", "XXXL", "2XL", "3XL", "4XL", "5XL")


@dataclass(frozen=True)
class Label:
    """What a label says: each field None where it says nothing.

    ``on_fold`` True where it asks for the fold; ``role`` where it is a role word and no name.
    """

    name: str | None = None
    size: str | None = None
    cut: int | None = None
    mirrored: bool | None = None
    on_fold: bool | None = None
    material: str | None = None
    role: Role | None = None

    def over(self, other: Label) -> Label:
        """This label, with what it does not say taken from ``other``."""
        filled = {
            key: getattr(other, key)
            for key in ("name", "size", "cut", "mirrored", "on_fold", "material")
            if getattr(self, key) is None and getattr(other, key) is not None
        }
        return replace(self, **filled)

    def __str__(self) -> str:
        said = []
        if self.name:
            said.append(f"name '{self.name}'")
        if self.size:
            said.append(f"size '{self.size}'")
        if self.cut is not None:
            said.append(f"cut {self.cut}")
        if self.mirrored is not None:
            said.append("left and right" if self.mirrored else "all alike")
        if self.on_fold:
            said.append("on the fold")
        if self.material:
            said.append(f"cloth '{self.material}'")
        return ", ".join(said)


_NUMBERS = {
    "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
}  # fmt: skip


_COUNT = r"(\d{1,3}|" + "|".join(_NUMBERS) + r")"


_CUT = re.compile(
    rf"\b(?:cut|zuschneiden)\s*:?\s*{_COUNT}\s*(?:[x×])?\b|\b{_COUNT}\s*[x×](?:\s*zuschneiden)?\b(?!\s*\d)|"
    rf"^[x×]\s*{_COUNT}\b",
    re.I,
)


_PAIR = re.compile(
    r"\b(pairs?|mirror(?:ed)?|mirror images?|left and right|left & right|l/r|l \+ r|opposites?|gegengleich|"
    r"spiegelbildlich|links und rechts|paarweise)\b",
    re.I,
)


_ALIKE = re.compile(r"\b(alike|identical|the same|same way|not mirrored|all equal|gleich|gleichseitig)\b", re.I)


_FOLD = re.compile(
    r"\b(?:place(?:d)? |cut )?(?:on|to) (?:the )?fold\b|\b(?:im|am|an den) (?:stoff)?bruch(?: legen)?\b", re.I
)


_SIZE = re.compile(r"\b(?:size|sizes|sz|gr|größe|grösse|groesse)\b\.?\s*:?\s*([A-Za-z0-9][A-Za-z0-9./+-]*)", re.I)


_SIZE_AT_END = re.compile(rf"^(.*\w)[\s_./-]+({'|'.join(LETTER_SIZES)})$", re.I)

_MATERIAL = re.compile(r"\b(?:material|fabric|cloth)\s*:\s*(.+)$", re.I)


_FROM = re.compile(r"\b(?:from|in|of)\s+(?:the )?([a-z][a-z -]*?)\s*$", re.I)


_MATERIALS = (
    "main", "self", "shell", "lining", "contrast", "interfacing", "mesh", "power mesh", "lace", "facing fabric",
    "main fabric", "lining fabric", "contrast fabric", "rib", "ribbing", "jersey",
)  # fmt: skip


_SEPARATORS = re.compile(r"\s+[-–—]+\s+|\s*[—–|;,\n·•]\s*|\s+/\s+")


_KEYWORD = re.compile(
    r"^\s*(PIECE\s+NAME|SIZE|QUANTITY|CATEGORY|MATERIAL|ANNOTATION|STYLE\s+NAME|CREATION\s+DATE|CREATION\s+TIME|AUTHOR|"
    r"SAMPLE\s+SIZE|GRADE\s+RULE\s+TABLE|UNITS|VERSION)\s*:\s*(.*)$",
    re.I,
)


def keyword_of(words: str) -> tuple[str, str] | None:
    """Keyword (upper case) and value of a line of system text, None if it is none."""
    match = _KEYWORD.match(words)
    return (" ".join(match[1].upper().split()), match[2].strip()) if match else None


def size_at_end(name: str) -> tuple[str, str] | None:
    """A name that ends in a letter size, divided ("front-S" gives "front", "S"). None if it does not."""
    match = _SIZE_AT_END.match(name)
    return (match[1], match[2]) if match else None


def _number(word: str) -> int:
    return _NUMBERS.get(word.lower()) or int(word)


def read_label(words: str) -> Label:
    """What a label says, part by part: "Front — size M — cut 2 mirrored — main".

    Parts are set apart by dashes, commas, semicolons, bars or line ends. The first part that is no trade phrase is
    the name.
    """
    label = Label()
    for line in words.strip().split("\n"):
        keyword = _KEYWORD.match(line)
        if keyword:
            label = label.over(_read_keyword(" ".join(keyword[1].upper().split()), keyword[2].strip()))
            continue
        for part in _SEPARATORS.split(line):
            part = part.strip(" .:")
            if part:
                label = _read_part(part, label)
    return label


def _read_keyword(keyword: str, value: str) -> Label:
    """System text of a pattern file, ``KEYWORD: value`` (ASTM D6673). QUANTITY is n, or n as drawn and m flipped: "n,m"
    (from memory: the standard's text was not at hand)."""
    if not value:
        return Label()
    if keyword == "PIECE NAME":
        return Label(name=value)
    if keyword == "SIZE":
        return Label(size=value)
    if keyword == "MATERIAL":
        return Label(material=value)
    if keyword == "QUANTITY":
        counts = re.fullmatch(r"(\d{1,4})\s*(?:[,/;]\s*(\d{1,4}))?", value)
        if counts is None:
            return read_label(value) if re.search(r"cut", value, re.I) else Label()
        drawn, flipped = int(counts[1]), int(counts[2]) if counts[2] else None
        if flipped is None:
            return Label(cut=drawn) if drawn else Label()
        if drawn == flipped and drawn:
            return Label(cut=drawn + flipped, mirrored=True)
        if 0 in (drawn, flipped) and drawn + flipped:
            return Label(cut=drawn + flipped, mirrored=False)
    return Label()


# long: one kind of phrase after another, each taken out of the text before the next is looked for
def _read_part(part: str, label: Label) -> Label:
    rest = part
    found: dict[str, str | int | bool] = {}
    material = _MATERIAL.search(rest)
    if material:
        found["material"] = material[1].strip()
        rest = rest[: material.start()]
    counted = _CUT.search(rest)
    if counted:
        count = _number(next(group for group in counted.groups() if group))
        rest = (rest[: counted.start()] + " " + rest[counted.end() :]).strip()
        pair = _PAIR.search(rest)
        if pair and pair[1].lower().startswith("pair") and not re.search(rf"\(\s*{_COUNT}\s+pairs?", rest, re.I):
            count *= 2
        if count:
            found["cut"] = count
    if _ALIKE.search(rest):
        found["mirrored"] = False
        rest = _ALIKE.sub(" ", rest)
    elif _PAIR.search(rest) and (counted or plain(_PAIR.sub("", rest)) == ""):
        found["mirrored"] = True
        rest = re.sub(rf"\(\s*{_COUNT}?\s*{_PAIR.pattern}\s*\)", " ", rest, flags=re.I)
        rest = _PAIR.sub(" ", rest)
    if _FOLD.search(rest):
        found["on_fold"] = True
        rest = _FOLD.sub(" ", rest)
    sized = _SIZE.search(rest)
    if sized:
        found["size"] = sized[1].strip(".")
        rest = (rest[: sized.start()] + " " + rest[sized.end() :]).strip()
    if found and "material" not in found:
        source = _FROM.search(rest)
        if source:
            found["material"] = source[1].strip()
            rest = rest[: source.start()]
        elif plain(rest) in _MATERIALS:
            found["material"] = rest.strip()
            rest = ""
    if found:
        rest = re.sub(r"\bzuschneiden\b", " ", rest, flags=re.I)
    rest = rest.strip(" ()[]:,.-–—")
    if not found:
        if (rest if len(rest) == 1 else rest.upper()) in LETTER_SIZES and label.size is None:
            return replace(label, size=rest)
        if plain(rest) in _MATERIALS and label.name is not None and label.material is None:
            return replace(label, material=rest)
    said = {key: value for key, value in found.items() if getattr(label, key) is None}
    label = replace(label, **said)  # type: ignore[arg-type]
    if rest and label.name is None and re.search(r"\w", rest):
        label = replace(label, name=rest)
    return label


_SQUARE = re.compile(
    r"(?:test|scale|gauge|control|calibration|kontroll|prüf|mess|meß|probe)\s*(?:square|check|quadrat|kästchen)?"
    r"\D{0,20}?"
    r"(\d+\s+\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?)\s*(mm|cm|in\b|inch(?:es)?|\"|″)",
    re.I,
)


_SQUARE_AFTER = re.compile(
    r"(\d+\s+\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?)[\s-]*(mm|cm|in\b|inch(?:es)?|\"|″)\s+(?:test |scale |gauge )?square", re.I
)
_SIDE = re.compile(r"(\d+(?:[.,]\d+)?)\s*(mm|cm|in\b|inch(?:es)?|\"|″)", re.I)


def square_side_mm(words: str, *, known: bool = False) -> float | None:
    """The side in mm that the words state for a test square ("test square 5 cm"), None if they are about no square.

    ``known``: the words belong to a test square, so that a bare length is enough.
    """
    match = _SQUARE.search(words) or _SQUARE_AFTER.search(words) or (_SIDE.search(words) if known else None)
    if match is None:
        return None
    number, unit = match[1].replace(",", "."), match[2].lower()
    value = 0.0
    for part in number.split():
        over, _, under = part.partition("/")
        if under and float(under) == 0.0:
            return None
        value += float(over) / float(under or 1)
    return value * {"mm": 1.0, "cm": 10.0}.get(unit, 25.4) or None
