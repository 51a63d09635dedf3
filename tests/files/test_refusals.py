"""What is wrong is refused with an error that says where and what to do; hostile files cost neither time nor memory."""

import contextlib
import math
import os
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from shapely import Polygon

from nesting.files import patterns, read_pieces
from nesting.model.errors import PatternError

from .conftest import ReadSvg, kinds, only

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="300mm" viewBox="0 0 400 300">'


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ('<path class="cut" id="front" d="M0 0H100V80H3"/>', r"open \(path 'front'\).*80\.06 mm apart.*0\.5 mm"),
        ('<path class="cut" d="M0 0 L100 80 L100 0 L0 80 Z"/>', r"crosses or touches itself at \(50\.00, 260\.00\) mm"),
        ('<path class="cut" d="M0 0 H100 V50 H50 V0 H20 V50 H0 Z"/>', r"crosses or touches itself"),
        ('<path class="cut" d="M0 0 H100 H0 Z"/>', r"no closed outline"),
        ('<polygon class="cut" points="0,0 50,50 100,100"/>', r"encloses|fewer than three"),
        ('<path class="cut" d="M0 0 L0.5 0 L0.5 0.5 Z"/>', r"encloses 0\.125 mm²"),
        ('<path class="cut" d="M0 0 H nan V80 Z"/>', r"no finite number"),
        ('<polygon class="cut" points="0,0 inf,0 3,3"/>', r"no finite number"),
        ('<path class="cut" d="M0 0 H1e400 V80 Z"/>', r"no finite number"),
        ('<path class="cut" d="M0 0 H1e9 V80 Z"/>', r"1e\+09.*100 m"),
        ('<circle class="cut" r="1e12"/>', r"chords, so its size cannot be right"),
        ('<g transform="scale(1e9)"><rect class="cut" width="9" height="9"/></g>', r"100 m"),
        ('<g transform="rotate(x)"><rect class="cut" width="9" height="9"/></g>', r"transform .* cannot be read"),
        ('<path class="cut" d="hello"/>', r"path data of a path cannot be read: 'hello'"),
        ('<path class="cut" d="M0 0H100V80H0L5"/>', r"path data of a path"),
        ('<path class="cut" d="M0 0H100V80H"/>', r"ends within a command"),
        ('<rect class="cut" width="ten" height="9"/>', r"width='ten' of a rect is no length"),
        ('<polygon class="cut" points="0,0 a,b 3,3"/>', r"hold what is no number: 'ab'"),
        ("", r"no closed outline"),
        ('<text x="5" y="5">front</text>', r"no closed outline"),
        ('<line class="grain" x1="5" y1="5" x2="5" y2="50"/>', r"no closed outline"),
        ('<path d="M0 0H100V80"/>', r"the outline is open .*mm apart"),
        ('<g id="front"><path class="cut" d="M0 0H100V80H0V3"/></g>', r"open \(path 1 in 'front'\): .* 3\.00 mm apart"),
        ('<g id="a"><use href="#a"/></g>', r"<use> of 'a' shows itself"),
        ('<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>', r"shows itself"),
        (
            '<path class="cut" d="M0 0H100V80H0Z"/><circle class="cutout" cx="99" cy="40" r="9"/>',
            r"reaches out of the piece",
        ),
        (
            '<path class="cut" d="M0 0H100V80H0Z"/><path class="sew" d="M9 9 L80 70 V9 L9 70 Z"/>',
            r"seam outline crosses",
        ),
        ('<path class="cut" d="M0 0H100V80H0Z"/><path class="cutout" d="M9 9 L80 70 V9 L9 70 Z"/>', r"cutout crosses"),
    ],
)
def test_bad_drawings(read_svg: ReadSvg, body: str, words: str) -> None:
    """One thing wrong each: the error names the file, what was found and what to do."""
    with pytest.raises(PatternError, match=words) as caught:
        read_svg(body)
    assert caught.value.file == "drawing.svg"
    assert caught.value.exit_code == 2


def test_the_error_names_the_piece(read_svg: ReadSvg) -> None:
    """Where the piece is known, the error carries its name."""
    with pytest.raises(PatternError) as caught:
        read_svg('<g id="yoke"><path class="cut" d="M0 0 L100 80 L100 0 L0 80 Z"/></g>')
    assert caught.value.piece == "yoke"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"   \n\0\0", "empty"),
        (b"hello, this is a letter", "not an SVG drawing"),
        (bytes(range(256)) * 20, "not an SVG drawing"),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 99, "not an SVG drawing"),
        (b"<html><body/></html>", "no SVG: its first element is <html>"),
        (b"<svg><g></svg>", "no sound XML"),
        (HEAD.encode() + b"<g>", "no sound XML"),
        (HEAD.encode()[:40], "no sound XML"),
        (b'<?xml version="1.0" encoding="klingon"?><svg/>', "no sound XML|encoding"),
        ('<?xml version="1.0" encoding="utf-8"?><svg><g id="é"/></svg>'.encode("latin-1"), "no sound XML"),
        (HEAD.replace('"0 0 400 300"', '"0 0 0 300"').encode() + b"</svg>", "viewBox"),
        (HEAD.replace('"0 0 400 300"', '"a b c d"').encode() + b"</svg>", "viewBox"),
        (HEAD.replace("400mm", "-5mm").encode() + b"</svg>", "above 0"),
        (HEAD.replace("300mm", "1e-320mm").encode() + b"</svg>", "makes a drawing unit 1 x .* mm"),
        (HEAD.replace('"0 0 400 300"', '"0 0 400 1e-300"').encode() + b"</svg>", "makes a drawing unit"),
    ],
)
def test_what_is_no_svg(write: Callable[..., Path], content: bytes, words: str) -> None:
    """Anything but an SVG drawing is refused."""
    with pytest.raises(PatternError, match=words):
        read_pieces(write(content))


BOMB = "".join(f'<!ENTITY a{k} "{f"&a{k - 1};" * 10 if k else "lol" * 10}">' for k in range(12))
ENTITIES = {
    "bomb": f"<!DOCTYPE svg [{BOMB}]>{HEAD}<text>&a11;</text></svg>",
    "quadratic": f'<!DOCTYPE svg [<!ENTITY a "{"x" * 100_000}">]>{HEAD}<text>{"&a;" * 10_000}</text></svg>',
    "outside file": f'<!DOCTYPE svg [<!ENTITY a SYSTEM "file:///etc/passwd">]>{HEAD}<text>&a;</text></svg>',
    "outside address": f'<!DOCTYPE svg [<!ENTITY % a SYSTEM "http://localhost:9/x"> %a;]>{HEAD}</svg>',
}


@pytest.mark.parametrize("name", ENTITIES)
def test_entities_are_refused(write: Callable[..., Path], name: str) -> None:
    """Entity bombs and outside entities are refused at once and never expanded."""
    start = time.process_time()
    with pytest.raises(PatternError, match="entities"):
        read_pieces(write(ENTITIES[name]))
    assert time.process_time() - start < 1.0


def test_the_usual_doctype_is_allowed(write: Callable[..., Path]) -> None:
    """The document type that SVG 1.1 asks for is no entity; nothing is fetched for it."""
    doctype = '<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">'
    assert (
        only(read_pieces(write(f'{doctype}{HEAD}<rect class="cut" width="50" height="50"/></svg>'))).name == "piece 1"
    )


def test_missing_folder_and_unreadable(tmp_path: Path) -> None:
    """No such file, a folder, a file without permission: each says what it is."""
    with pytest.raises(PatternError, match="no such file"):
        read_pieces(tmp_path / "none.svg")
    (tmp_path / "folder.svg").mkdir()
    with pytest.raises(PatternError, match="this is a folder"):
        read_pieces(tmp_path / "folder.svg")
    locked = tmp_path / "locked.svg"
    locked.write_text("x")
    locked.chmod(0)
    if not os.access(locked, os.R_OK):
        with pytest.raises(PatternError, match="cannot be read"):
            read_pieces(locked)
    with pytest.raises(PatternError, match=r"no such file|cannot be read"):
        read_pieces(tmp_path / ("x" * 5000))


def test_a_device_is_not_read_for_ever(tmp_path: Path) -> None:
    """A file without end is read up to the limit and refused."""
    with pytest.raises(PatternError, match=r"regular file|larger"):
        read_pieces("/dev/zero")


def test_too_large_a_file(write: Callable[..., Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the limit a file is not read."""
    monkeypatch.setattr(patterns, "LARGEST_FILE", 1000)
    with pytest.raises(PatternError, match="larger"):
        read_pieces(write(HEAD + " " * 1000 + "</svg>"))


HOSTILE = {
    "use doubling": "".join(
        f'<g id="u{k}"><use href="#u{k - 1}"/><use href="#u{k - 1}"/></g>'
        if k
        else '<g id="u0"><rect width="1" height="1"/></g>'
        for k in range(40)
    ),
    "deep groups": "<g>" * 5000 + "</g>" * 5000,
    "many elements": '<path class="cut"/>' * 120_000,
    "path without end": f'<path class="cut" d="M0 0{"h1v1" * 350_000}"/>',
    "huge arcs": f'<path class="cut" d="M0 0{"A9e7 9e7 0 0 1 9e4 9e4A9e7 9e7 0 0 1 0 0" * 700}"/>',
    "many notches": '<path class="cut" d="M0 0H99V99H0Z"/>' + '<path class="notch" d="M0 5h3"/>' * 4_000,
    "long text": '<path class="cut" d="M0 0H99V99H0Z"/><text x="9" y="9">' + "cut 2 pairs - " * 20_000 + "</text>",
    "long attribute": f'<path class="cut" id="{"a" * 1_000_000}" d="M0 0H99V99H0Z"/>',
    "long style": f'<style>{"a{" * 200_000}</style><path class="cut" d="M0 0H99V99H0Z"/>',
    "star": f'<path class="cut" d="M0 0{"".join(f"L{k % 97} {k * 31 % 89}" for k in range(8_000))}Z"/>',
    "many outlines in one another": "".join(f'<circle cx="150" cy="150" r="{150 - k / 20}"/>' for k in range(1200)),
    "many loose lines": "".join(f'<path d="M{k % 300} {k // 300} h0.7"/>' for k in range(6_000)),
    "many ends in one place": "".join(f'<path d="M100 100 L{k % 300} {k % 299}"/>' for k in range(6_000)),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_drawings_end_soon(write: Callable[..., Path], name: str) -> None:
    """Read or refused within seconds, whatever it is."""
    path = write(HEAD + HOSTILE[name] + "</svg>")
    start = time.process_time()
    with contextlib.suppress(PatternError):
        read_pieces(path)
    assert time.process_time() - start < 15.0


def test_levels_are_counted_while_parsing(write: Callable[..., Path]) -> None:
    """A drawing of many levels is refused before its tree is built."""
    with pytest.raises(PatternError, match="more than 200 levels or"):
        read_pieces(write(HEAD + HOSTILE["deep groups"] + "</svg>"))


def test_the_same_finding_comes_once(read_svg: ReadSvg) -> None:
    """A hundred pictures are one finding, not a hundred."""
    reading = read_svg('<path class="cut" d="M0 0H100V80H0Z"/>' + "<image/>" * 100)
    assert len(reading.findings) == 1


def test_what_is_put_right(read_svg: ReadSvg) -> None:
    """Doubled points, a spike, a second round, a doubled outline: put right and reported."""
    doubled = read_svg('<path class="cut" d="M0 0H100H100V80V80H0Z"/>')
    assert Polygon(only(doubled).outline).area == 8000 and len(only(doubled).outline) == 4
    assert kinds(doubled, "2 doubled points") == ["repaired"]
    spike = read_svg('<path class="cut" d="M0 0H100V80H60V150V80H0Z"/>')
    assert len(only(spike).outline) in (4, 5) and Polygon(only(spike).outline).area == 8000
    assert kinds(spike, "spike") == ["repaired"]
    last = read_svg('<path class="cut" d="M60 0H100V80H0V0H60V-50Z"/>')
    assert Polygon(only(last).outline).area == 8000
    assert kinds(last, "spike") == ["repaired"]
    rounds = read_svg('<path class="cut" d="M0 0H100V80H0V0H100V80H0Z"/>')
    assert len(only(rounds).outline) == 4
    assert kinds(rounds, "twice") == ["repaired"]
    twice = read_svg('<path class="cut" d="M0 0H100V80H0Z"/><path class="cut" d="M100 0H0V80H100Z"/>')
    assert Polygon(only(twice).outline).area == 8000 and only(twice).cutouts == ()
    assert kinds(twice, "drawn twice") == ["repaired"]
    again = read_svg('<path class="cut" d="M0 0H100V80H0Z"/><path class="cut" d="M20 0H70"/>')
    assert only(again).inside == ()
    assert kinds(again, "second time") == ["repaired"]


def test_direction_of_drawing_does_not_matter(read_svg: ReadSvg) -> None:
    """Drawn either way round, the outline is anticlockwise and its area positive."""
    for d in ("M0 0H100V80H0Z", "M0 0V80H100V0Z"):
        assert Polygon(only(read_svg(f'<path class="cut" d="{d}"/>')).outline).exterior.is_ccw


def test_arguments(write: Callable[..., Path]) -> None:
    """Chord and gap must make sense."""
    path = write(f'{HEAD}<rect class="cut" width="50" height="50"/></svg>')
    for how in ({"chord": 0}, {"chord": -1}, {"join_gap": -1}, {"chord": math.nan}):
        with pytest.raises(ValueError, match="chord"):
            read_pieces(path, **how)
