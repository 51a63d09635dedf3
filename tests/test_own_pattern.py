"""A pattern of one's own, as a sewist draws it: text labels, transforms, curves, drawn arrowheads, a piece lying
turned, one alteration. From the file to the lay with at most five answers, each asked for by name with its choices."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import nesting
from nesting.checking.judging import check_order, forbidding
from nesting.files import read_pieces
from nesting.files.orders.order import load_order
from nesting.files.orders.starter import starter_order
from nesting.model.errors import PatternError

_ARROW = '<path d="M {x},290 L {x},60"/><path d="M {a},70 L {x},60 L {b},70" style="fill:none"/>'
_SHORTS = f"""<svg xmlns="http://www.w3.org/2000/svg" width="900mm" height="700mm" viewBox="0 0 900 700"><g id="layer1">
<g transform="translate(40,60)">
 <path d="M 0,0 L 210,12 C 215,60 222,110 240,150 C 252,172 270,184 290,190 L 276,330 L 14,330 C 10,220 4,110 0,0 Z"/>
 <text x="80" y="170" font-size="10">front</text><text x="80" y="184" font-size="10">cut 2</text>
 {_ARROW.format(x=120, a=116, b=124)}</g>
<g transform="translate(820,80) rotate(90)">
 <path d="M 0,0 L 240,-16 C 246,50 258,110 282,152 C 300,180 330,194 356,200 L 338,332 L 14,330 C 10,220 4,110 0,0 Z"/>
 <text x="100" y="170" font-size="10">back</text><text x="100" y="184" font-size="10">cut 2</text>
 {_ARROW.format(x=130, a=126, b=134)}</g>
<g transform="translate(40,520)"><path d="M 0,0 H 440 V 70 H 0 Z"/>
 <text x="180" y="40" font-size="10">waistband, cut 1 on fold</text><path d="M 60,60 L 60,10"/></g></g></svg>"""


def test_a_drawn_arrow_is_the_grainline_wherever_the_piece_lies(tmp_path: Path) -> None:
    """Up for the front, to the right for the back that lies turned; a bare line is asked about."""
    (tmp_path / "shorts.svg").write_text(_SHORTS)
    reading = read_pieces(tmp_path / "shorts.svg")
    lines = {p.name: p.grainline for p in reading.pieces}
    for name, ends in (("front", (160.0, 350.0, 160.0, 580.0)), ("back", (530.0, 490.0, 760.0, 490.0))):
        line = lines[name]
        assert line is not None and (*line[0], *line[1]) == pytest.approx(ends)
    assert lines["waistband"] is None
    assert [f.piece for f in reading.findings if f.code == "grain.unsure"] == ["waistband"]
    assert all(not p.inside for p in reading.pieces if p.name != "waistband")  # heads are no lines of the piece


def test_short_strokes_that_are_no_heads_stay_lines(tmp_path: Path) -> None:
    """A check mark beside the line's end, and a chevron that opens forward, make no arrow."""
    for odd in ('<path d="M 112,70 L 118,60 L 124,50"/>', '<path d="M 116,50 L 120,60 L 124,50"/>'):
        plain = _SHORTS.replace('<path d="M 116,70 L 120,60 L 124,70" style="fill:none"/>', odd)
        (tmp_path / "shorts.svg").write_text(plain)
        assert {p.name: p.grainline for p in read_pieces(tmp_path / "shorts.svg").pieces}["front"] is None


def test_from_the_file_to_a_lay_with_five_answers_at_most(tmp_path: Path) -> None:
    """What is asked stands in the starter order with its choices; what is typed is an answer to one of these."""
    (tmp_path / "shorts.svg").write_text(_SHORTS)
    text = starter_order(tmp_path)
    asked = [line for line in text.splitlines() if "QUESTION" in line]
    assert sum(line.startswith("mirrored = true") for line in asked) == 2  # neither is symmetric
    path = tmp_path / "order.toml"
    path.write_text(text)
    with pytest.raises(PatternError, match=r"grain = 90 \(up the page; 0 is to the right\).*\[\[piece\]\]") as refused:
        load_order(path)
    assert refused.value.piece == "waistband"
    answers = {'# fold = "left"': 'fold = "left"', "# grain = 90": "grain = 90"}
    head, name, tail = text.partition('name = "waistband"')
    for question, answer in answers.items():
        assert any(question in line for line in asked)
        tail = tail.replace(question, answer, 1)
    alter = '[[alter]]\npiece = "front"\nkind = "lengthen"\nat = "9 cm"\nfrom = "tail"\nby = "2 cm"\n'
    path.write_text(head + name + tail + alter)
    order = load_order(path)
    assert forbidding(order) == () and check_order(order).ok
    assert not any(f.kind == "question" for f in check_order(order).findings)
    (lay,) = nesting.lay(order, rounds=1, workers=1)
    assert sum(p.piece == "front" for p in lay.placements) >= 1
    front = order.cut_piece("front", None).piece
    assert max(x for x, _ in front.outline) - min(x for x, _ in front.outline) == pytest.approx(350.0, abs=0.01)


def test_pieces_without_grain_are_asked_for_all_at_once(tmp_path: Path) -> None:
    """Without arrows all three are named in one question."""
    (tmp_path / "shorts.svg").write_text(re.sub(r'<path d="M \d+,(290|70) [^>]*>', "", _SHORTS))
    (tmp_path / "order.toml").write_text(starter_order(tmp_path))
    with pytest.raises(PatternError, match="The same is asked of 'back' and 'waistband'"):
        load_order(tmp_path / "order.toml")


@pytest.mark.parametrize(
    ("names", "title"),
    [
        (("Lyra front", "Lyra back"), "Lyra"),
        (("front left", "front right"), "Patterns"),
        (("Lyra front", "band"), "Patterns"),
        (("Lyra front", "Mira back"), "Patterns"),
    ],
)
def test_the_order_is_called_as_all_its_pieces_are(tmp_path: Path, names: tuple[str, str], title: str) -> None:
    """The folder's name stands in where the labels begin with no word of the garment in common."""
    folder = tmp_path / "patterns"
    folder.mkdir()
    for name in names:
        (folder / f"{name.replace(' ', '-')}.svg").write_text(
            _BARE_LEG.format(word="grain", x=400, y=165, more="").replace("back leg", name), encoding="utf-8"
        )
    text = starter_order(folder)
    assert f'title = "{title}"' in text and f'name = "{title.lower()}"' in text


def test_the_starter_asks_whether_the_bare_line_is_the_grainline(tmp_path: Path) -> None:
    """A line that nothing calls the grainline is named in the question; one called so is not asked about."""
    _leg(tmp_path, "hip line")
    assert "QUESTION: no grainline is called one (is it the straight line inside?)" in starter_order(tmp_path)
    _leg(tmp_path, "grain")
    assert "QUESTION: no grainline" not in starter_order(tmp_path)


_BARE_LEG = """<svg xmlns="http://www.w3.org/2000/svg" width="900mm" height="400mm" viewBox="0 0 900 400">
<path d="M 20,20 L 820,60 L 820,240 L 20,330 Z"/><path d="M 100,150 L 700,150"/>{more}
<text x="300" y="110" font-size="10">back leg</text><text x="300" y="124" font-size="10">cut 2</text>
<text x="{x}" y="{y}" font-size="10">{word}</text></svg>"""


def _leg(folder: Path, word: str, at: tuple[int, int] = (400, 165), more: str = "") -> tuple[object, set[str]]:
    (folder / "leg.svg").write_text(_BARE_LEG.format(word=word, x=at[0], y=at[1], more=more), encoding="utf-8")
    reading = read_pieces(folder / "leg.svg")
    assert [p.name for p in reading.pieces] == ["back leg"]
    return reading.pieces[0].grainline, {str(f.code) for f in reading.findings}


@pytest.mark.parametrize("word", ["grain", "Grainline", "Fadenlauf", "straight grain", "SG", "← grain →"])
def test_a_line_beside_the_word_for_it_is_the_grainline(tmp_path: Path, word: str) -> None:
    """A leg drawn lying: the line along it runs to the right of the page, and that is told."""
    line, codes = _leg(tmp_path, word)
    assert line == ((100.0, 250.0), (700.0, 250.0))
    assert "grain.by-text" in codes and "grain.unsure" not in codes


def test_a_word_far_off_or_between_two_lines_makes_no_grainline(tmp_path: Path) -> None:
    """Of two lines the nearer one is taken only where the other is far; a short stroke is never taken."""
    two = '<path d="M 100,180 L 700,180"/>'
    assert _leg(tmp_path, "grain", (400, 165), two)[0] is None
    assert _leg(tmp_path, "grain", (400, 153), two)[0] is not None
    line, codes = _leg(tmp_path, "hip line")
    assert line is None and "grain.unsure" in codes
