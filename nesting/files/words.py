"""The words a pattern drawing may use: roles of lines, and the trade's phrases on labels. One table of each.

A role may stand in a class, an id, a layer's label or a layer's name, in any case, with spaces, hyphens or underscores, in
the singular or plural: ``Cut``, ``cutting-line``, ``grain_line``, ``Notches``. ``edge: waist`` names a stretch of
the outline; ``notch: centre front`` names a notch.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Literal

from nesting.pieces.piece import NotchKind

__all__ = ["LETTER_SIZES", "Label", "Role", "Source", "is_made_up", "keyword_of", "plain", "read_label", "read_role", "test_square_mm"]

Role = Literal["cut", "sew", "grain", "fold", "notch", "drill", "inside", "cutout", "edge", "test", "flaw", "aside"]

#: Role, and the words that stand for it. "aside" is what is drawn for other purposes and is left out.
_ROLE_WORDS: dict[Role, tuple[str, ...]] = {
    "cut": (
        "cut", "cutting", "cut line", "cutline", "cutting line", "cut edge", "cut outline", "outline", "boundary",
        "piece boundary", "seam allowance line", "pattern outline",
    ),
    "sew": (
        "sew", "sewing", "sew line", "sewline", "sewing line", "seam", "seam line", "seamline", "stitch line",
        "stitching line", "stitch", "stitching",
    ),
    "grain": ("grain", "grain line", "grainline", "straight grain", "straight of grain", "grain arrow"),
    "fold": (
        "fold", "fold line", "foldline", "on fold", "place on fold", "cut on fold", "fold edge", "mirror line",
        "centre fold", "center fold",
    ),
    "notch": ("notch", "notche", "nick", "balance mark", "match mark"),
    "drill": ("drill", "drill hole", "drill mark", "drill point", "dart point"),
    "inside": (
        "inside", "inside line", "internal", "internal line", "inner line", "placement", "placement line", "marking",
        "mark", "dart", "pleat", "lengthen shorten", "lengthen shorten line", "lengthen line", "shorten line",
        "lengthen or shorten", "lengthen or shorten here", "adjustment line", "annotation line",
    ),
    "cutout": ("cutout", "cut out", "internal cutout", "inside cutout", "hole", "window"),
    "test": (
        "test", "test square", "testsquare", "scale", "scale square", "scale check", "gauge square", "gauge",
        "calibration square", "control square",
    ),
    "flaw": ("flaw", "defect", "damage", "stain", "fault"),
    "aside": (
        "guide", "construction", "construction line", "frame", "border", "page", "page border", "background", "grid",
        "legend", "title block",
    ),
}  # fmt: skip
_ROLE_OF: dict[str, Role] = {word: role for role, words in _ROLE_WORDS.items() for word in words}
#: What may stand before a name: "notch-centre-front", "edge: waist", "cut_front".
_NAMING = re.compile(
    r"^(notche?|edge|drill|cutout|cut|grainline|grain|fold|sew|seam|inside|internal|hole|flaw)s?([\s:._-]+)(.+)$", re.I
)
_NOTCH_KINDS: dict[str, NotchKind] = {
    "slit": "slit", "i": "slit", "v": "v", "t": "t", "castle": "castle", "check": "check", "u": "u",
}  # fmt: skip
_KIND_BEFORE = re.compile(r"^(slit|i|v|t|castle|check|u) notch(?:es)?\b\s*:?\s*(.*)$")
_MADE_UP = re.compile(
    r"^(?:path|line|polyline|polygon|rect|circle|ellipse|g|use|svg|layer|ebene|text|tspan|shape|object|group|symbol|"
    r"image|compound path|vector|root|page|artwork|document|piece|pattern)?[\s_-]*[\d\s._-]*$",
    re.I,
)

#: Where words come from: the id or class of a drawn line, a label or a layer's name, or a bare word.
Source = Literal["id", "label", "word"]

LETTER_SIZES = ("XXXS", "XXS", "XS", "S", "M", "L", "XL", "XXL", "XXXL", "2XL", "3XL", "4XL", "5XL")


def plain(words: str) -> str:
    """Lower case, one space where there were hyphens, underscores, slashes or several spaces."""
    return re.sub(r"[\s_/-]+", " ", words).strip().lower()


def is_made_up(name: str) -> bool:
    """Whether a name was given by a program ("path1234", "Layer 1"), so that it says nothing."""
    return _MADE_UP.fullmatch(name.strip()) is not None


def _singular(word: str) -> str:
    return word[:-2] if word.endswith(("ches", "shes")) else word[:-1] if word.endswith("s") else word


def read_role(words: str, source: Source = "label") -> tuple[Role, str | None, NotchKind | None] | None:
    """The role that ``words`` stand for, with the name and the kind of notch they add; None if they are no role.

    A trailing number ("cut-2", "notch-3") is taken off a role word. A name may follow: any role's in the id of a
    drawn line ("grain-front"), but in a ``label`` only that of a notch, an edge or a drill mark, or after a colon, as
    "Fold back facing" and "Inside leg" are names of pieces.
    """
    text = plain(words).rstrip(": ")
    if not text:
        return None
    for word in (text, _singular(text)):
        if word in _ROLE_OF:
            return _ROLE_OF[word], None, None
    kind = _KIND_BEFORE.match(text)
    if kind:
        return "notch", (kind[2] or None), _NOTCH_KINDS[kind[1]]
    numbered = re.match(r"^(.*?)[\s#]*(\d+)$", text)
    if numbered and numbered[1]:
        inner = read_role(numbered[1], "word")
        if inner is not None:
            role, name, notch = inner
            return role, name or (numbered[2] if role in ("notch", "drill") else None), notch
    named = _NAMING.match(words.strip()) if source != "word" else None
    if named and (source == "id" or ":" in named[2] or named[1].lower() in ("notch", "notche", "edge", "drill")):
        rest = re.sub(r"[\s_-]+", " ", named[3]).strip()
        first = named[1].lower()
        if first == "edge":
            return "edge", rest, None
        inner = read_role(first, "word")
        if inner is not None and rest:
            return inner[0], rest, None
    return None


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
_CUT = re.compile(rf"\bcut\s*:?\s*{_COUNT}\s*(?:[x×])?\b|\b{_COUNT}\s*[x×]\b(?!\s*\d)|^[x×]\s*{_COUNT}\b", re.I)
_PAIR = re.compile(r"\b(pairs?|mirror(?:ed)?|mirror images?|left and right|left & right|l/r|l \+ r|opposites?)\b", re.I)
_ALIKE = re.compile(r"\b(alike|identical|the same|same way|not mirrored|all equal)\b", re.I)
_FOLD = re.compile(r"\b(?:place(?:d)? |cut )?(?:on|to) (?:the )?fold\b", re.I)
_SIZE = re.compile(r"\b(?:size|sizes|sz)\b\.?\s*:?\s*([A-Za-z0-9][A-Za-z0-9./+-]*)", re.I)
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
    rest = rest.strip(" ()[]:,.-–—")
    if not found:
        if rest.upper() in LETTER_SIZES and label.size is None:
            return replace(label, size=rest)
        if plain(rest) in _MATERIALS and label.name is not None and label.material is None:
            return replace(label, material=rest)
    said = {key: value for key, value in found.items() if getattr(label, key) is None}
    label = replace(label, **said)  # type: ignore[arg-type]
    if rest and label.name is None and re.search(r"\w", rest):
        label = replace(label, name=rest)
    return label


_SQUARE = re.compile(
    r"(?:(?:test|scale|gauge|control|calibration)\s*(?:square|check)?|square)\D{0,20}?"
    r"(\d+(?:[.,]\d+)?|\d+\s+\d+/\d+|\d+/\d+)\s*(mm|cm|in\b|inch(?:es)?|\"|″)",
    re.I,
)
_SIDE = re.compile(r"(\d+(?:[.,]\d+)?)\s*(mm|cm|in\b|inch(?:es)?|\"|″)", re.I)


def test_square_mm(words: str, *, known: bool = False) -> float | None:
    """The side in mm that the words state for a test square ("test square 5 cm"), None if they are about no square.

    ``known``: the words belong to a test square, so that a bare length is enough.
    """
    match = _SQUARE.search(words) or (_SIDE.search(words) if known else None)
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
