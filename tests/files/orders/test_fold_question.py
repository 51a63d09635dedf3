"""Which side lies on the fold: asked with the sides that would do, and only those."""

from __future__ import annotations

from pathlib import Path

import pytest

from nesting.files.orders.order import load_order
from nesting.model.errors import PatternError

ORDER = """units = "cm"
[[pattern]]
file = "p.svg"
{more}
[[cloth]]
name = "main"
width = "140 cm"
{garments}
"""
GARMENT = '[[garment]]\nname = "g"\ncount = 1\n'
PIECE = """<g id="half-{size}"><path d="{path}"/><path id="grainline-{size}" d="M{x} 120 V80"/>
<text x="{x}" y="100">half size {size} cut 1 on the fold</text></g>"""
SLANTED = "M{a} 50 H{b} L{c} 250 H{a} Z"  # left upright, top and bottom level, right slanted


def question(folder: Path, drawn: str, more: str = "", garments: str = GARMENT) -> list[tuple[str, tuple[str, ...]]]:
    """What is asked, and the choices."""
    folder.mkdir(parents=True, exist_ok=True)
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" width="900mm" height="400mm" viewBox="0 0 900 400">{drawn}</svg>'
    (folder / "p.svg").write_text(svg, encoding="utf-8")
    (folder / "o.toml").write_text(ORDER.format(more=more, garments=garments), encoding="utf-8")
    found = [f for f in load_order(folder / "o.toml").findings if f.code == "fold.side-not-said"]
    return [(f.message, f.figures["choices"]) for f in found]  # type: ignore[misc]


def piece(path: str, size: str = "M", x: float = 100.0) -> str:
    """One labelled half with its grainline up the drawing."""
    return PIECE.format(size=size, path=path, x=x)


@pytest.mark.parametrize(
    ("path", "choices"),
    [
        # a slanted side is not straight up: three are left
        (SLANTED.format(a=50, b=200, c=260), ("left", "bottom", "top")),
        # a curve at the right, a hollow at the top
        ("M50 50 L125 90 L200 50 Q260 150 200 250 H50 Z", ("left", "bottom")),
        # left 3° off the grain: only level sides would do
        ("M50 50 H200 L190 250 H39.5 Z", ("bottom", "top")),
        # the left edge is left and come back to: two stretches of one line
        ("M50 50 H200 Q260 150 200 250 H50 V180 L90 150 L50 120 Z", ("bottom", "top")),
        # round all over
        ("M150 50 A100 100 0 0 1 150 250 A100 100 0 0 1 150 50 Z", ()),
    ],
)
def test_the_sides_that_would_do_are_named(tmp_path: Path, path: str, choices: tuple[str, ...]) -> None:
    """By hand, from the drawing; each that is named is then taken, and each that is not is refused."""
    ((words, offered),) = question(tmp_path, piece(path))
    assert set(offered) == set(choices), words
    if not choices:
        assert "no side that left, right, top or bottom names would do" in words and "draw a fold line" in words
    for side in ("left", "right", "top", "bottom"):
        assert (f'fold = "{side}"' in words) == (side in choices)
        asked = f'[[piece]]\nname = "half"\nfold = "{side}"\n'
        if side in choices:
            assert question(tmp_path / side, piece(path), asked) == []
        else:
            with pytest.raises(PatternError, match=r"these would do|would do\. Draw") as why:
                question(tmp_path / side, piece(path), asked)
            # a side that is no straight edge is refused with those that are
            assert set(why.value.figures["choices"]) == set(choices)  # type: ignore[arg-type]


def test_a_side_must_do_in_every_size(tmp_path: Path) -> None:
    """In S the right side is upright, in L slanted: it would do for S alone."""
    upright, slanted = "M50 50 H200 V250 H50 Z", SLANTED.format(a=450, b=600, c=660)
    two = "".join(f'{GARMENT}size = "{size}"\n' for size in "SL")
    asked = question(tmp_path, piece(upright, "S") + piece(slanted, "L", 500.0), garments=two)
    both, own = {"left", "right", "top", "bottom"}, {"left", "top", "bottom"}
    assert [set(choices) for _, choices in asked] == [both, own]
    # one answer for the piece answers for both sizes
    answer = '[[piece]]\nname = "half"\nfold = "left"\n'
    assert question(tmp_path, piece(upright, "S") + piece(slanted, "L", 500.0), answer, two) == []


def test_sizes_that_are_not_read_ask_nothing(tmp_path: Path) -> None:
    """Of S and L only L is cut: one question, of L, and what answers it lets it be cut."""
    drawn = piece("M50 50 H200 V250 H50 Z", "S") + piece(SLANTED.format(a=450, b=600, c=660), "L", 500.0)
    ((_, choices),) = question(tmp_path, drawn, 'size = "L"')
    assert set(choices) == {"left", "top", "bottom"}
    assert question(tmp_path, drawn, 'size = "L"\n[[piece]]\nname = "half"\nfold = "left"\n') == []


def test_two_pieces_of_one_name_are_asked_one_by_one(tmp_path: Path) -> None:
    """They are numbered; the answer for one leaves the question for the other."""
    drawn = piece("M50 50 H200 V250 H50 Z") + piece(SLANTED.format(a=450, b=600, c=660), x=500.0).replace(
        "grainline-M", "grainline-M2"
    ).replace("half-M", "half-M2")
    assert len(question(tmp_path, drawn)) == 2
    ((_, choices),) = question(tmp_path, drawn, '[[piece]]\nname = "half"\nfold = "left"\n')
    assert set(choices) == {"left", "top", "bottom"}
