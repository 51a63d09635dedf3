"""Slips of people who write TOML by hand: what the answer says to write is written, and the order then reads as meant.
"""

from __future__ import annotations

import codecs
import re
from pathlib import Path

import pytest

from nesting.files.orders.order import load_order
from nesting.model.errors import InputError
from nesting.model.order import Order
from tests.order_builder import panel_svg

ORDER = """title = "Shorts"
units = "cm"

[[pattern]]
file = "panel.svg"

[[piece]]
name = "front"
cut = 2
mirrored = true
needs_stretch = "40 %"
finish = { 1-2 = "fold back 2 cm", 2-3 = "raw" }

[[alter]]
piece = "front"
kind = "lengthen"
at = "12 cm"
by = "1 cm"

[[cloth]]
name = "main"
width = "150 cm"
selvage = "1 cm"
shrink_along = "5 %"
spreads = ["open", "lengthwise fold"]
gap = "3 mm"
price = 14.90

[[garment]]
name = "thing"
count = 2
pieces = ["front"]
"""
WIDTH, PRICE, COUNT, MIRRORED = 'width = "150 cm"', "price = 14.90", "count = 2", "mirrored = true"
SPREADS, FINISH = 'spreads = ["open", "lengthwise fold"]', 'finish = { 1-2 = "fold back 2 cm", 2-3 = "raw" }'
PIECES, SHRINK, BY, AT = 'pieces = ["front"]', 'shrink_along = "5 %"', 'by = "1 cm"', 'at = "12 cm"'

#: What the order says -> the slips that stand in its place, all meant to say the same.
SAME = {
    MIRRORED: (
        "mirrored = True", "mirrored = TRUE", "mirrored = yes", 'mirrored = "true"', "mirrored = 1", "mirrored: true",
    ),
    COUNT: (
        "count = 2;", "count = 2,", 'count = "2"', "count = two", "count = 2.0", "count = 02", "count == 2",
        "count : 2", "count 2", "count = 2x", "count = 2 pieces", "count = 2.",
    ),
    PRICE: (
        "price = $14.90", "price = 14.90 €", "price = €14,90", 'price = "14.90"', 'price = "14,90"',
        'price = "$14.90"', "price = 14,90", "price = 14.90/m", "price = 14.90 EUR", "price = 14.90;",
    ),
    SPREADS: (
        'spreads = ["open" "lengthwise fold"]', 'spreads = ["open"; "lengthwise fold"]',
        'spreads = "open", "lengthwise fold"', 'spreads = ["open", "lengthwise fold"',
        'spreads = "open", "lengthwise fold"]', "spreads = [open, lengthwise fold]",
        'spreads = ("open", "lengthwise fold")', 'spreads = {"open", "lengthwise fold"}',
        'spreads = ["open" and "lengthwise fold"]', 'spreads = ["open", lengthwise fold"]',
        'spreads = [\n  "open"\n  "lengthwise fold",\n]',
    ),
    PIECES: ('pieces = "front"', "pieces = front", 'pieces = ["front"', "pieces = [front]", 'pieces = ["front]'),
    FINISH: (
        'finish = { 1-2 = "fold back 2 cm" 2-3 = "raw" }', 'finish = { 1-2: "fold back 2 cm", 2-3: "raw" }',
        "finish = { 1-2 = fold back 2 cm, 2-3 = raw }", 'finish = { 1-2 = "fold back 2 cm", 2-3 = "raw"',
        'finish = { 1-2 = "fold back 2 cm", 2-3 = "raw", }', 'finish = [ 1-2 = "fold back 2 cm", 2-3 = "raw" ]',
        'finish = { 1-2 = "fold back 2 cm",\n           2-3 = "raw" }', 'finish = 1-2 "fold back 2 cm", 2-3 "raw"',
        'finish = { 1-2 = "fold back 2 cm", 2-3 = raw" }',
    ),
    WIDTH: (
        "width = 150cm", "width = 150 cm", "width = “150 cm”", "width = ‘150 cm’", 'width = "150 cm”',
        "width = „150 cm“",
        'width = "150"cm', 'width = "150" cm', 'width = 150 "cm"', 'width "150 cm"', 'width := "150 cm"',
        'width = = "150 cm"', 'cloth width = "150 cm"', 'width = "150 cm";', 'width = "150 cm",',
        'width = "150 cm" // narrow', 'width = "150 cm" narrow', '// narrow\nwidth = "150 cm"', "- width: 150 cm",
        '* width = "150 cm"', "width = \"150 cm'", "width = '150 cm\"", 'width = "150 cm', "width = 150 cm   # washed",
        'width = "150 cm   # washed', '\u00a0width = "150 cm"', 'width\u00a0= "150 cm"', '\u200bwidth = "150 cm"',
        'width = "about 150 cm"', "width: 150",
    ),
    SHRINK: (
        "shrink_along = 5%", "shrink_along = 5 %", "shrink_along = 5", 'shrink_along = "5"', 'shrink_along = "5 pct"',
        "shrink_along = 0,05", 'shrink_along = "0.05"', "shrink_along = .05", "shrink_along = 5 percent",
        'shrink along = "5 %"',
    ),
    "[[cloth]]": (
        "[cloth]", "[[cloth]", "[cloth]]", "((cloth))", "{{cloth}}", "[[cloth]]:", "[[cloth", "cloth", "cloth:",
        "[[[cloth]]]", "[[cloth main]]", "[[cloth: main]]", "[ [cloth] ]",
    ),
    "[[garment]]": ("[garment]", "Garment:"),
    'units = "cm"': ("units = cm", "units: cm"),
    'title = "Shorts"': ("title = Shorts", "/* old */\ntitle = \"Shorts\"", "; old\ntitle = \"Shorts\""),
    'file = "panel.svg"': ("file = panel.svg", "file = panel.svg;"),
    'kind = "lengthen"': ("kind = lengthen", "kind: lengthen"),
    BY: ("by = +1 cm", "by = 1cm", "by = 1,0 cm"),
    AT: ("at = 12cm", "at = 12 cm"),
    'name = "front"': ("name = front", 'name = "front', 'name = front"'),
}  # fmt: skip
#: Slips that mean something else than the order: what is in its place, the slip, what it means.
OTHER = (
    (MIRRORED, "mirrored = False", "mirrored = false"),
    (COUNT, "count = most", 'count = "most"'),
    (PRICE, "price = .90", "price = 0.90"),
    (PRICE, "price = 1,414.90", "price = 1414.90"),
    (WIDTH, 'width = 58 1/2"', 'width = "58.5 in"'),
    (WIDTH, 'width = "58 1/2""', 'width = "58.5 in"'),
    (WIDTH, "width = 58½ in", 'width = "58.5 in"'),
    (WIDTH, "width = 1 1/2 m", WIDTH),
    (WIDTH, "width = 1.500,5", "width = 1500.5"),
    (BY, 'by = 1/4"', 'by = "1/4 in"'),
    (BY, "by = \"1/4''\"", 'by = "1/4 in"'),
    (BY, "by = 1/4 in", 'by = "1/4 in"'),
    (AT, 'at = "12 cm", from = "1-2"', 'at = "12 cm"\nfrom = "1-2"'),
    (AT, 'at = "12 cm" from "1-2"', 'at = "12 cm"\nfrom = "1-2"'),
    (AT, 'at = "12 cm from 1-2"', 'at = "12 cm"\nfrom = "1-2"'),
    ('title = "Shorts"', 'title = Ada\'s "best" shorts', 'title = "Ada\'s best shorts"'),
    ('title = "Shorts"', "title = 'Ada's shorts'", 'title = "Ada\'s shorts"'),
    ('file = "panel.svg"', 'file = ".\\panel.svg"', 'file = "./panel.svg"'),
)

_ADVICE = re.compile(
    r"line (?P<line>\d+)(?: says `.*?`(?:, and goes on to line (?P<last>\d+))?\. Write|, (?:piece|key) .*?[Ww]rite) "
    r"`(?P<first>[^`]*)`(?:[^`]*? and `(?P<second>[^`]*)` on the line after it)?"
)
_PER_CENT = re.compile(r"line (?P<line>\d+), key '.*?(?P<key>\w+)'.* write (?P<value>\"[^\"]*\") if per cent")


def followed(text: str, message: str) -> str:
    """The text with the line written that the message says, and nothing else."""
    lines = text.split("\n")
    if share := _PER_CENT.search(message):
        lines[int(share["line"]) - 1] = f"{share['key']} = {share['value']}"
        return "\n".join(lines)
    said = _ADVICE.search(message)
    assert said is not None, message
    at = int(said["line"])
    new = [said["first"], *([said["second"]] if said["second"] else [])]
    lines[at - 1 : int(said["last"] or at)] = new
    return "\n".join(lines)


def _load(folder: Path, text: str) -> Order:
    path = folder / "order.toml"
    path.write_text(text, encoding="utf-8")
    return load_order(path)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the drawing that the order names."""
    made = tmp_path_factory.mktemp("slips")
    (made / "panel.svg").write_text(panel_svg(), encoding="utf-8")
    return made


_CASES = [(line, slip, line) for line, slips in SAME.items() for slip in slips] + list(OTHER)


@pytest.mark.parametrize(("line", "slip", "meant"), _CASES)
def test_what_the_answer_says_to_write_is_what_was_meant(folder: Path, line: str, slip: str, meant: str) -> None:
    """One answer, one change, and the order is the one that was meant."""
    assert ORDER.count(line) == 1
    want = _load(folder, ORDER.replace(line, meant))
    text = ORDER.replace(line, slip)
    with pytest.raises(InputError) as refused:
        _load(folder, text)
    got = _load(folder, followed(text, str(refused.value)))
    assert got.title == want.title and got.cloths == want.cloths and got.garments == want.garments
    assert [p.piece.outline for p in got.pieces] == [p.piece.outline for p in want.pieces]
    assert [(p.cut, p.mirrored) for p in got.pieces] == [(p.cut, p.mirrored) for p in want.pieces]


@pytest.mark.parametrize(
    ("line", "slip", "number", "words"),
    [
        (WIDTH, "width =", 22, "Nothing stands behind the equals sign"),
        (WIDTH, WIDTH + "\n" + WIDTH, 23, "given twice in one block"),
        (WIDTH, "width = -150", 22, "take the minus away"),
        (WIDTH, 'width = "150 cn"', 22, "use one of mm, cm, m, in, ft, yd"),
        (WIDTH, 'width = "140-150 cm"', 22, "of a range, write the one that counts"),
        (WIDTH, 'width = "58-1/2 in"', 22, "write '58 1/2 in'"),
        (WIDTH, 'width = "1,500 mm"', 22, "write '1.500 mm' or '1500 mm'"),
        (WIDTH, 'widht = "150 cm"', 22, "Did you mean 'width'?"),
        (WIDTH, 'Width = "150 cm"', 22, "Did you mean 'width'?"),
        (WIDTH, "width = ~150", 22, "a length such as"),
        ("[[cloth]]", "[[Cloth]]", 20, "Did you mean [[cloth]]?"),
        ("[[cloth]]", "[[fabric]]", 20, "this block is not known"),
        ("[[cloth]]", "", 21, "missing above it?"),
        ("[[garment]]", "", 30, "given twice in one block"),
        ('units = "cm"', 'units = "inches"', 2, "did you mean 'in'?"),
        ('units = "cm"', 'unit = "cm"', 2, "Did you mean 'units'?"),
        ('file = "panel.svg"', 'file = "pat\\terns.svg"', 5, "write / for it"),
        ('file = "panel.svg"', 'file = "pannel.svg"', 5, "did you mean 'panel.svg'?"),
        (AT, "at = 12.5", 17, 'write `at = "12.5 cm"` for a distance'),
        (BY, 'by = "-1 cm"', 18, "take the minus away"),
        ('title = "Shorts"', "Shorts", 1, "A line is key = value"),
    ],
)
def test_what_cannot_be_guessed_says_its_line_and_what_belongs_there(
    folder: Path, line: str, slip: str, number: int, words: str
) -> None:
    """No more than is known is said."""
    with pytest.raises(InputError) as refused:
        _load(folder, ORDER.replace(line, slip, 1))
    said = str(refused.value)
    assert re.search(rf"line {number}\b", said) and words in said, said


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (ORDER.encode("utf-16"), "saved as UTF-16"),
        (ORDER.encode("utf-16-le"), "saved as UTF-16"),
        (ORDER.encode("utf-32"), "saved as UTF-16"),
        (ORDER.replace("Shorts", "Hösen").encode("latin-1"), "line 1: not UTF-8"),
        (ORDER.replace("\n", "\r").encode(), "lone carriage return"),
        (b"PK\x03\x04" + ORDER.encode(), "word processor"),
        (b"{\\rtf1\\ansi " + ORDER.encode(), "word processor"),
        (b"<!DOCTYPE html>" + ORDER.encode(), "web page"),
        (b"```toml\n" + ORDER.encode() + b"```\n", "Take the line away"),
    ],
)
def test_what_is_no_plain_text_says_how_to_save_it(folder: Path, content: bytes, words: str) -> None:
    """Each with what to do; a byte order mark, tabs and the line ends of Windows are read."""
    (folder / "order.toml").write_bytes(content)
    with pytest.raises(InputError) as refused:
        load_order(folder / "order.toml")
    assert words in str(refused.value)
    for sound in (codecs.BOM_UTF8 + ORDER.encode(), ORDER.replace("\n", "\r\n\t").encode()):
        (folder / "order.toml").write_bytes(sound)
        assert load_order(folder / "order.toml").title == "Shorts"


def test_the_line_of_a_second_block_is_its_own(folder: Path) -> None:
    """Two cloths of which the second is wrong; two alterations without names."""
    text = ORDER + '[[cloth]]\nname = "other"\nwidth = "0 cm"\n'
    with pytest.raises(InputError) as refused:
        _load(folder, text)
    assert refused.value.line == text.count("\n")
    text = ORDER + '[[alter]]\npiece = "front"\nkind = "longer"\nby = "1 cm"\n'
    with pytest.raises(InputError) as refused:
        _load(folder, text)
    assert refused.value.line == text.count("\n") - 1
