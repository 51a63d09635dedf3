"""The words a pattern drawing may use for the roles of lines, in one table.

A role may stand in a class, an id, a layer's label or a layer's name, in any case, with spaces, hyphens or
underscores, in the singular or plural: ``Cut``, ``cutting-line``, ``grain_line``, ``Notches``. ``edge: waist`` names
a stretch of the outline; ``notch: centre front`` names a notch. The German words of the trade are read as well, with
umlauts or without ("Abnäher", "Abnaeher").
"""

from __future__ import annotations

import re
import unicodedata
from typing import Literal

from nesting.model.piece import NotchKind

__all__ = ["Role", "Source", "is_made_up", "plain", "read_role", "says_grain"]

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
#: The same in German (common practice; no standard names them).
_GERMAN: dict[Role, tuple[str, ...]] = {
    "cut": (
        "schnitt", "schnittlinie", "schnittkante", "schnittkontur", "schneidelinie", "zuschnitt", "zuschnittlinie",
        "zuschneidelinie", "kontur", "außenkontur", "umriss", "umrisslinie",
    ),
    "sew": ("naht", "nähte", "nahtlinie", "nahtlinien", "nählinie", "nählinien", "stepplinie", "stepplinien"),
    "grain": ("fadenlauf", "fadenlaufpfeil", "fadenlauflinie", "fadenrichtung", "maschenlauf", "maschenrichtung"),
    "fold": (
        "bruch", "stoffbruch", "bruchlinie", "bruchkante", "stoffbruchlinie", "im bruch", "im stoffbruch",
        "an den bruch", "an den bruch legen", "am bruch", "am stoffbruch",
    ),
    "notch": (
        "knips", "knipse", "knipser", "knipszeichen", "kerbe", "kerben", "passzeichen", "paßzeichen", "passmarke",
        "passmarken", "einschnitt", "einschnitte", "nahtzeichen",
    ),
    "drill": ("bohrloch", "bohrlöcher", "bohrung", "bohrungen", "bohrmarke", "bohrmarken", "abnäherspitze"),
    "inside": (
        "innenlinie", "innenlinien", "markierung", "markierungen", "abnäher", "falte", "falten", "ansatzlinie",
        "ansatzlinien", "änderungslinie", "verlängerungslinie", "hier verlängern oder kürzen",
        "hier kürzen oder verlängern", "verlängern kürzen", "kürzen verlängern", "taschenposition",
    ),
    "cutout": ("aussparung", "aussparungen", "innenausschnitt", "loch", "löcher"),
    "test": (
        "testquadrat", "kontrollquadrat", "prüfquadrat", "messquadrat", "meßquadrat", "probequadrat", "maßstab",
        "kontrollkästchen", "testkästchen",
    ),
    "flaw": ("fehler", "webfehler", "fleck", "flecken"),
    "aside": (
        "hilfslinie", "hilfslinien", "konstruktion", "konstruktionslinie", "konstruktionslinien", "rahmen",
        "seitenrand",
        "blattrand", "hintergrund", "raster", "gitter", "legende", "schriftfeld", "klebemarke", "klebemarken",
        "klebekante", "klebekanten", "kleberand", "klebelinie", "klebelinien", "glue mark", "glue marks", "glue line",
        "gluing mark", "gluing marks", "gluing line", "paper edge", "tile border",
    ),
}  # fmt: skip


def _without_umlauts(word: str) -> str:
    for letter, written in (("ä", "ae"), ("ö", "oe"), ("ü", "ue"), ("ß", "ss")):
        word = word.replace(letter, written)
    return word


_ROLE_OF: dict[str, Role] = {
    form: role
    for table in (_GERMAN, _ROLE_WORDS)
    for role, words in table.items()
    for word in words
    for form in (word, _without_umlauts(word))
}
#: What may stand before a name: "notch-centre-front", "edge: waist", "cut_front".
_NAMING = re.compile(
    r"^(notche?|edge|drill|cutout|cut|grainline|grain|fold|sew|seam|inside|internal|hole|flaw|knips|kerbe|passzeichen|"
    r"kante|fadenlauf|bruch|naht)s?([\s:._-]+)(.+)$",
    re.I,
)
#: Words that name what follows them even without a colon.
_NAMES = ("notch", "notche", "edge", "drill", "knips", "kerbe", "passzeichen")
#: "test square 5 cm": a role word with the side it should measure.
_MEASURED = re.compile(r"^([a-z: ]+?)\s*\d[\d., /]*\s*(?:mm|cm|in|inch|inches|\"|″)(?:\s.*)?$")
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


def plain(words: str) -> str:
    """Lower case, one space where there were hyphens, underscores, slashes or several spaces."""
    # some programs write an umlaut as a letter and two dots
    return re.sub(r"[\s_/-]+", " ", unicodedata.normalize("NFC", words)).strip().lower()


def is_made_up(name: str) -> bool:
    """Whether a name was given by a program ("path1234", "Layer 1"), so that it says nothing."""
    return _MADE_UP.fullmatch(name.strip()) is not None


def says_grain(words: str) -> bool:
    """Whether a text beside a line says that it is the grainline: "grain", "Fadenlauf", "SG" (straight grain)."""
    text = re.sub(r"^\W+|\W+$", "", plain(words))
    return _ROLE_OF.get(text) == "grain" or text in ("sg", "s.g", "straight of the grain", "along the grain")


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
    measured = _MEASURED.match(text)
    if measured and _ROLE_OF.get(measured[1].strip(" :")) == "test":
        return "test", None, None
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
    if named and (source == "id" or ":" in named[2] or named[1].lower() in _NAMES):
        rest = re.sub(r"[\s_-]+", " ", named[3]).strip()
        first = named[1].lower()
        if first in ("edge", "kante"):
            return "edge", rest, None
        inner = read_role(first, "word")
        if inner is not None and rest:
            return inner[0], rest, None
    return None
