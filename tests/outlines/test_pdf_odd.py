"""Odd PDF files are read rightly or refused with a reason; none of them does anything else."""

from __future__ import annotations

import io
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pikepdf
import pytest

from nesting.files import read_pieces
from nesting.model.errors import PatternError
from nesting.outlines import pdf as reader
from nesting.outlines.pdf_child import answer, from_answer
from tests.outlines.pdf_makers import MM, by_hand, by_reportlab, deviation, front, moved, operators

Name, Dictionary, Array = pikepdf.Name, pikepdf.Dictionary, pikepdf.Array
FRONT: list[dict[str, Any]] = [{"shape": front()}, {"text": "Front", "at": (45, 90), "height": 5}]


def changed(change: Callable[[Any], None], pages: Any = None) -> bytes:
    """The plain pattern with a change to its file."""
    return by_hand(pages or [FRONT], change=lambda pdf, groups: change(pdf))


def page_key(key: str, value: Any) -> bytes:
    """The plain pattern with a key of its page."""
    return changed(lambda pdf: pdf.pages[0].obj.__setitem__(key, value))


def content(extra: bytes, before: bool = True) -> bytes:
    """The plain pattern with more operators."""

    def change(pdf: Any) -> None:
        old = pdf.pages[0].obj["/Contents"].read_bytes()
        pdf.pages[0].obj["/Contents"] = pdf.make_stream(extra + b"\n" + old if before else old + b"\n" + extra)

    return changed(change)


def only(drawing: bytes) -> bytes:
    """A page with these operators alone."""
    return changed(lambda pdf: pdf.pages[0].obj.__setitem__("/Contents", pdf.make_stream(drawing)))


def saved(**keys: Any) -> bytes:
    """The plain pattern saved in another way."""
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(by_hand([FRONT]))) as pdf:
        pdf.save(out, **keys)
    return out.getvalue()


def forms(levels: int, each: int, matrix: list[float] | None = None, loop: bool = False) -> bytes:
    """The pattern within forms in forms, each drawn ``each`` times."""

    def change(pdf: Any) -> None:
        def make(data: bytes, inner: Any = None) -> Any:
            form = pdf.make_stream(data)
            form.Type, form.Subtype, form.BBox = Name.XObject, Name.Form, Array([-5000, -5000, 5000, 5000])
            if matrix is not None:
                form.Matrix = Array(matrix)
            if inner is not None:
                form.Resources = Dictionary(XObject=Dictionary(X=inner))
            return form

        inner = make(f"1 w {operators(front())} S".encode())
        for _ in range(levels - 1):
            inner = make(b"/X Do " * each, inner)
        if loop:
            inner.Resources = Dictionary(XObject=Dictionary(X=inner))
            inner.write(b"/X Do " + operators(front()).encode() + b" S")
        pdf.pages[0].obj["/Resources"] = Dictionary(XObject=Dictionary(X=inner))
        pdf.pages[0].obj["/Contents"] = pdf.make_stream(b"/X Do")

    return changed(change)


def script(where: str) -> bytes:
    """A pattern that carries a script or a program's start somewhere."""
    act = Dictionary(S=Name.Launch if where == "launch" else Name.JavaScript, JS="app.alert(1)")

    def change(pdf: Any) -> None:
        if where == "open":
            pdf.Root.OpenAction = act
        elif where == "names":
            pdf.Root.Names = Dictionary(JavaScript=Dictionary(Names=Array(["a", act])))
        elif where == "page":
            pdf.pages[0].obj["/AA"] = Dictionary(O=act)
        elif where == "xfa":
            pdf.Root.AcroForm = Dictionary(XFA=pdf.make_stream(b"<x/>"), Fields=Array([]))
        else:
            note = Dictionary(Type=Name.Annot, Subtype=Name.Link, Rect=Array([0, 0, 9, 9]), A=act)
            pdf.pages[0].obj["/Annots"] = Array([pdf.make_indirect(note)])

    return changed(change)


def bomb(pdf: Any) -> None:
    """Content of a few kilobytes that unpacks to 300 megabytes."""
    engine = zlib.compressobj(9)
    data = b"".join(engine.compress(b" " * 2**20) for _ in range(300)) + engine.flush()
    stream = pikepdf.Stream(pdf, data)
    stream.Filter = Name.FlateDecode
    pdf.pages[0].obj["/Contents"] = stream


def picture(pdf: Any) -> None:
    """A scan that covers the page."""
    image = pdf.make_stream(b"\x80" * 100)
    image.Type, image.Subtype, image.Width, image.Height = Name.XObject, Name.Image, 10, 10
    image.ColorSpace, image.BitsPerComponent = Name.DeviceGray, 8
    pdf.pages[0].obj["/Resources"] = Dictionary(XObject=Dictionary(I=image))
    pdf.pages[0].obj["/Contents"] = pdf.make_stream(f"q {210 * MM} 0 0 {297 * MM} 0 0 cm /I Do Q".encode())


def off_layer(base: bool) -> bytes:
    """A second outline in a layer that is off when the file is opened."""

    def change(pdf: Any, groups: Any) -> None:
        default = pdf.Root.OCProperties.D
        if base:
            default.BaseState, default.ON = Name.OFF, Array([groups["Teil"]])
        else:
            default.OFF = Array([groups["Entwurf"]])

    far = {"shape": moved(front(0.3), 130, 0), "layer": "Entwurf"}
    return by_hand([[{**FRONT[0], "layer": "Teil"}, far]], change=change)


def gap(width: float) -> bytes:
    """An outline that does not close by ``width`` mm."""
    return by_hand([[{"shape": [*front()[:-1], ("l", 20.0, 20.0 + width)]}]])


OPS = f"1 w {operators(front())}".encode()
RECT = f"{20 * MM} {20 * MM} {100 * MM} {150 * MM} re".encode()
PLAIN = by_hand([FRONT])
BIG_WORDS = [
    {"text": "Sew the side seams and press them open, then turn in the waist.", "at": (15, 270 - 7 * i)}
    for i in range(12)
]
SQUARE_IN = [("m", 140, 20), ("l", 190.8, 20), ("l", 190.8, 70.8), ("l", 140, 70.8), ("z",)]

#: Files of which one piece is read, the front.
READ: dict[str, Callable[[], bytes]] = {
    "junk before": lambda: b"junk\n" * 20 + PLAIN,
    "junk after": lambda: PLAIN + b"\n" * 900,
    "wrong xref": lambda: PLAIN.replace(b"startxref\n", b"startxref\n1"),
    "object streams": lambda: saved(object_stream_mode=pikepdf.ObjectStreamMode.generate),
    "not compressed": lambda: saved(compress_streams=False),
    "linearised": lambda: saved(linearize=True),
    "old version": lambda: saved(force_version="1.3"),
    "version 2.0": lambda: saved(force_version="2.0"),
    "owner password": lambda: saved(encryption=pikepdf.Encryption(owner="o", user="", R=4)),
    "owner password, 256 bits": lambda: saved(encryption=pikepdf.Encryption(owner="o", user="", R=6)),
    "box reversed": lambda: page_key("/MediaBox", Array([600, 850, 0, 0])),
    "box from below zero": lambda: page_key("/MediaBox", Array([-100, -100, 600, 850])),
    "crop larger than page": lambda: page_key("/CropBox", Array([-100, -100, 2000, 2000])),
    "crop of nothing": lambda: page_key("/CropBox", Array([5, 5, 5, 5])),
    "crop through the piece": lambda: page_key("/CropBox", Array([100, 100, 300, 300])),
    "crop of words": lambda: page_key("/CropBox", Array(["a", 1, 2, 3])),
    "no box": lambda: changed(lambda pdf: pdf.pages[0].obj.__delitem__("/MediaBox")),
    "turned by 360": lambda: page_key("/Rotate", 360),
    "turned by a word": lambda: page_key("/Rotate", Name.Left),
    "turned by 1e30": lambda: page_key("/Rotate", 0.0),
    "unit of a word": lambda: page_key("/UserUnit", Name.One),
    "in a form": lambda: forms(1, 1),
    "in five forms": lambda: forms(5, 1),
    "drawn three times over": lambda: forms(2, 3),
    "unbalanced q": lambda: content(b"q q q"),
    "unbalanced Q": lambda: content(b"Q Q Q"),
    "unbalanced BDC": lambda: content(b"/OC /Nothing BDC"),
    "unbalanced EMC": lambda: content(b"EMC EMC", before=False),
    "unknown operators": lambda: content(b"1 2 foo (bar) baz"),
    "a comment": lambda: content(b"% S S S"),
    "white ground": lambda: content(f"q 1 1 1 rg 0 0 {210 * MM} {297 * MM} re f Q".encode()),
    "frame of the page": lambda: content(f"0 0 {210 * MM} {297 * MM} re S".encode()),
    "dots": lambda: content(b"100 100 m 100 100 l S"),
    "letters as areas": lambda: content(b"500 700 m 505 700 l 505 710 l h f 510 700 m 515 700 l 515 710 l h f"),
    "an inline picture": lambda: content(b"q 10 0 0 10 500 700 cm BI /W 1 /H 1 /CS /G /BPC 8 ID \x80 EI Q"),
    "a path without paint": lambda: content(b"400 700 m 500 700 l 500 800 l h n"),
    "filled and drawn": lambda: only(OPS.replace(b"h", b"h") + b" 0.9 g B"),
    "closed by s": lambda: only(OPS.rsplit(b"h", 1)[0] + b" s"),
    "drawn twice": lambda: by_hand([[*FRONT, FRONT[0]]]),
    "gap of 0.2 mm": lambda: gap(0.2),
    "layer off": lambda: off_layer(False),
    "layers off but one": lambda: off_layer(True),
    "blank pages around": lambda: by_hand([[], FRONT, []]),
    "instructions before": lambda: by_hand([BIG_WORDS, FRONT]),
    "test square in inches": lambda: by_hand(
        [[*FRONT, {"shape": SQUARE_IN}, {"text": "2 inch test square", "at": (142, 40), "height": 3}]]
    ),
    "test square, words below": lambda: by_hand(
        [[*FRONT, {"shape": SQUARE_IN}, {"text": "Test square 2 in", "at": (142, 15), "height": 3}]]
    ),
    "ASCII85": lambda: by_reportlab([FRONT]),
    "a comment drawn on it": lambda: page_key(
        "/Annots", Array([Dictionary(Type=Name.Annot, Subtype=Name.Square, Rect=Array([0, 0, 90, 90]))])
    ),
    # strokes of 0.4 mm, 0.5 mm apart: their ends are near enough to be joined to loops of 0.2 mm²
    "a fine hatching": lambda: by_hand([[
        *FRONT, *({"shape": [("m", x, y / 2), ("l", x + 0.4, y / 2)]} for x in range(150, 170) for y in range(40, 60)),
    ]]),
    "a font that is missing": lambda: changed(lambda pdf: pdf.pages[0].obj.Resources.__delitem__("/Font")),
}  # fmt: skip

#: Files that are refused, with the words that say why.
REFUSED: dict[str, tuple[Callable[[], bytes], str]] = {
    "empty": (lambda: b"%PDF-1.7\n", "cut short"),
    "cut at a third": (lambda: PLAIN[: len(PLAIN) // 3], "cut short"),
    "cut at two thirds": (lambda: PLAIN[: 2 * len(PLAIN) // 3], "cut short"),
    "words only": (lambda: b"%PDF-1.4\nhello\n%%EOF\n", "damaged|cannot be read"),
    "password": (lambda: saved(encryption=pikepdf.Encryption(owner="o", user="u", R=4)), "encrypted"),
    "password, 256 bits": (lambda: saved(encryption=pikepdf.Encryption(owner="o", user="u", R=6)), "encrypted"),
    "script on opening": (lambda: script("open"), "script"),
    "named script": (lambda: script("names"), "script"),
    "script of a page": (lambda: script("page"), "script"),
    "program behind a link": (lambda: script("launch"), "script"),
    "drawn by a program": (lambda: script("xfa"), "XFA"),
    "no pages": (lambda: changed(lambda pdf: pdf.pages.__delitem__(0)), "no pages"),
    "text only": (lambda: by_hand([BIG_WORDS]), "no page of the PDF has a drawing"),
    "nothing drawn": (lambda: by_hand([[]]), "no page of the PDF has a drawing"),
    "white lines only": (lambda: by_hand([[{**FRONT[0], "colour": (1, 1, 1)}]]), "no page of the PDF has a drawing"),
    "a scan": (lambda: changed(picture), "scanned picture"),
    "open outline": (lambda: gap(30.0), "open"),
    "200 m large": (lambda: only(b"0 0 m 600000 0 l 600000 600000 l h S"), "reaches"),
    "unit of 1e9": (lambda: page_key("/UserUnit", 1000000000), "UserUnit"),
    "page of 1 km": (lambda: page_key("/MediaBox", Array([0, 0, 4000000, 800])), "m long"),
    "forms by the million": (lambda: forms(9, 10), "forms are drawn in forms"),
    "form that draws itself": (lambda: forms(1, 1, loop=True), "deep"),
    "forms too deep": (lambda: forms(40, 1), "deep"),
    "unpacks to 300 MB": (lambda: changed(bomb), "unpacks"),
    "crosses itself": (lambda: only(b"60 60 m 300 300 l 300 60 l 60 300 l h S"), "crosses"),
}


@pytest.fixture(autouse=True)
def here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read in this process, which is quicker; that a process of its own is used is tested below."""
    monkeypatch.setattr(reader, "read_guarded", lambda data, *how: from_answer(answer(data, *how)))


@pytest.mark.parametrize("name", READ)
def test_read_rightly(name: str, tmp_path: Path) -> None:
    """The front is read, as exactly as from a plain file, and alone."""
    path = tmp_path / "odd.pdf"
    path.write_bytes(READ[name]())
    (piece,) = read_pieces(path).pieces
    away, area = deviation(piece.outline, front())
    assert away <= (0.3 if "gap" in name else 0.01) and area <= (1e-3 if "gap" in name else 1e-4)


@pytest.mark.parametrize("name", REFUSED)
def test_refused_with_a_reason(name: str, tmp_path: Path) -> None:
    """The reason is said."""
    make, words = REFUSED[name]
    path = tmp_path / "odd.pdf"
    path.write_bytes(make())
    with pytest.raises(PatternError, match=words):
        read_pieces(path)


def test_there_are_many_odd_files() -> None:
    """Sixty and more."""
    assert len(READ) + len(REFUSED) >= 60


def test_a_reader_that_hangs_or_dies_is_a_refusal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The child's limits of time hold."""
    from nesting.outlines import pdf_child

    monkeypatch.setattr(pdf_child, "MOST_WAITING", 0.001)
    with pytest.raises(reader.Refused, match="more time"):
        pdf_child.read_guarded(PLAIN, 0.01, None, None)
