"""What an order is asked, and how slips are answered: folds, where an alteration is measured from, words for errors."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

import nesting
from nesting.model.errors import NestingError, PatternError
from nesting.model.piece import Drill, Piece
from nesting.pieces.prepare import prepare
from nesting.pieces.wishes import Alteration, EdgeSpec, Preparation
from tests.cli.calling import run
from tests.cli.test_cli import ORDER, write_case

#: 20 cm wide and 30 cm high, wider by 4 cm at the foot: the width at any height follows from where the line is put.
PANEL = ((0.0, 0.0), (240.0, 0.0), (200.0, 300.0), (0.0, 300.0))


def turned(ring: tuple[tuple[float, float], ...], deg: float) -> tuple[tuple[float, float], ...]:
    """The ring turned about the origin."""
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    return tuple((c * x - s * y, s * x + c * y) for x, y in ring)


@pytest.mark.parametrize(("off", "sound"), [(0.0, True), (0.9, True), (1.1, False), (5.0, False), (30.0, False)])
def test_a_fold_side_lies_along_the_grain_within_one_degree(off: float, sound: bool) -> None:
    """A rectangle whose grain is off by so much."""
    how = Preparation(fold="left", grain=90.0 + off)
    ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 300.0), (0.0, 300.0))
    if sound:
        assert prepare(Piece("p", ring), how)[0].fold is not None
        return
    with pytest.raises(PatternError) as refused:
        prepare(Piece("p", ring), how)
    assert refused.value.code == "fold.side" and f"{off:.1f}°" in str(refused.value)


def test_a_side_that_the_outline_goes_beyond_is_refused_with_those_that_do() -> None:
    """The left side of an L that lies turned so that its extreme is short; right, top and bottom are straight."""
    ring = ((0.0, 40.0), (20.0, 40.0), (20.0, 0.0), (200.0, 0.0), (200.0, 300.0), (20.0, 300.0), (20.0, 100.0),
            (0.0, 100.0))  # fmt: skip
    assert prepare(Piece("p", ring), Preparation(fold="right", grain=90.0))[0].fold is not None
    twice = ((0.0, 0.0), (200.0, 0.0), (200.0, 300.0), (0.0, 300.0), (0.0, 200.0), (50.0, 150.0), (0.0, 100.0))
    with pytest.raises(PatternError) as refused:
        prepare(Piece("p", twice), Preparation(fold="left", grain=90.0))
    assert refused.value.code == "fold.side"
    assert set(refused.value.figures["choices"]) == {"right", "top", "bottom"}  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("start", "grain", "foot"),
    [
        ("tail", 90.0, True),
        ("head", 90.0, False),
        ("waist", 90.0, False),
        ("hem", 90.0, True),
        # the arrow points down the drawing: its tail is at the waist
        ("tail", 270.0, False),
        ("head", 270.0, True),
        ("waist", 270.0, False),
        ("hem", 270.0, True),
        (None, 90.0, True),
        (None, 270.0, False),
    ],
)
@pytest.mark.parametrize(("kind", "by"), [("lengthen", 20.0), ("shorten", -8.0), ("take strip", -8.0)])
def test_an_alteration_is_measured_from_where_the_order_says(
    start: str | None, grain: float, foot: bool, kind: str, by: float
) -> None:
    """Drills 40 and 60 mm from foot and waist: a line 50 mm from either (a strip of 8 mm begins there) parts one pair,
    whose distance changes by so much, and leaves the other alone."""
    change = Alteration(kind, abs(by), at=50.0, at_is_distance=True, start=start)  # type: ignore[arg-type]
    how = Preparation(grain=grain, edges=(EdgeSpec("hem", 1, 2), EdgeSpec("waist", 3, 4)), alterations=(change,))
    drills = tuple(Drill((100.0, y)) for y in (40.0, 60.0, 240.0, 260.0))
    piece, _ = prepare(Piece("p", PANEL, drills=drills), how)
    a, b, c, d = (drill.at[0] for drill in piece.drills)
    assert abs(b - a) == pytest.approx(20.0 + (by if foot else 0.0))
    assert abs(d - c) == pytest.approx(20.0 + (0.0 if foot else by))


def test_an_end_that_is_held_is_named_by_the_edge_that_meets_there() -> None:
    """hold = "waist" of the side is its end at the waist: the same as corner 3."""
    rings = []
    for hold in ("waist", 3):
        change = Alteration("add", 10.0, edge="side", hold=(hold,))  # type: ignore[arg-type]
        edges = (EdgeSpec("side", 2, 3), EdgeSpec("waist", 3, 4))
        how = Preparation(grain=90.0, edges=edges, alterations=(change,))
        rings.append(prepare(Piece("p", PANEL), how)[0].outline)
    assert rings[0] == rings[1]


@pytest.mark.parametrize(("grain", "kind"), [(90.0, "note"), (270.0, "question"), (0.0, "note"), (225.0, "question")])
def test_where_it_is_measured_from_is_told_or_asked(grain: float, kind: str) -> None:
    """Without from it is the tail: a note, and a question where the arrow points down the drawing."""
    change = Alteration("lengthen", 20.0, at=80.0, at_is_distance=True)
    _, told = prepare(Piece("p", PANEL), Preparation(grain=grain, alterations=(change,)))
    (said,) = [f for f in told if f.code == "alter.from"]
    assert said.kind == kind and "measured from the tail of the grain arrow" in said.message
    if kind == "note":
        assert {90.0: "the lower end", 0.0: "the left end"}[grain] in said.message
    assert any("80 mm from the tail of the grain arrow" in f.message for f in told if f.code == "alter.area")


def test_check_writes_nothing_unless_asked(tmp_path: Path) -> None:
    """Neither here nor beside the order; with --picture into a folder named after it."""
    path = write_case(tmp_path)
    before = sorted(tmp_path.iterdir())
    assert run("check", path, cwd=tmp_path).returncode == 0
    assert sorted(tmp_path.iterdir()) == before
    assert run("check", path, "--picture", cwd=tmp_path).returncode == 0
    assert (tmp_path / "order" / "check.html").exists()


def test_a_lay_goes_into_a_folder_named_after_the_order_beside_it(tmp_path: Path) -> None:
    """Wherever one happens to be."""
    (tmp_path / "in").mkdir()
    (tmp_path / "here").mkdir()
    path = write_case(tmp_path / "in")
    assert run("lay", path, "--rounds", 1, "--workers", 1, cwd=tmp_path / "here").returncode == 0
    assert (tmp_path / "in" / "order" / "lay-main.json").exists() and not list((tmp_path / "here").iterdir())


def test_what_cannot_be_laid_is_not_said_to_be_layable(tmp_path: Path) -> None:
    """A piece 20 cm across on 15 cm of cloth: the verdict of check is that of lay, and both ask for the width."""
    text = """units = "cm"
[[piece]]
name = "panel"
rectangle = [30, 20]
[[cloth]]
name = "main"
width = "{} mm"
[[garment]]
name = "bag"
"""
    path = tmp_path / "order.toml"
    for width, code in (("150", 2), ("1500", 0)):
        path.write_text(text.format(width), encoding="utf-8")
        checked = run("check", path, cwd=tmp_path)
        laid = run("lay", path, "--rounds", 1, "--workers", 1, cwd=tmp_path)
        said = " ".join(checked.stdout.split())
        assert (checked.returncode, laid.returncode) == ((2, 3) if code else (0, 0))
        assert ("The pieces can be laid." in said) != bool(code)
        assert ("These pieces cannot be laid on this cloth" in said) == bool(code)
        for words in (said, " ".join(laid.stderr.split())):
            assert ("Was 150 cm meant?" in words) == bool(code)


def test_a_cloth_of_150_mm_asks_whether_cm_are_meant(tmp_path: Path) -> None:
    """And one of 1.5 m does not."""
    path = write_case(tmp_path, order=ORDER.replace("width = 500", "width = 150"))
    done = run("check", path, cwd=tmp_path)
    assert "Was 150 cm meant?" in " ".join(done.stdout.split())
    assert "cannot be laid on this cloth" not in done.stdout
    assert "Was 150 cm meant?" in " ".join(run("lay", path, "--rounds", 1, "--workers", 1, cwd=tmp_path).stderr.split())
    path = write_case(tmp_path, order=ORDER.replace("width = 500", "width = 1500"))
    assert "meant?" not in run("check", path, cwd=tmp_path).stdout


@pytest.mark.parametrize("written", ["0.9", '"90 %"', '"90%"'])
def test_a_ratio_is_a_number_or_a_share(tmp_path: Path, written: str) -> None:
    """0.9 and "90 %" are one."""
    seam = '[[edge]]\npiece="front"\nname="a"\nfrom=1\nto=2\n[[edge]]\npiece="front"\nname="b"\nfrom=2\nto=3\n'
    seam += f'[[seam]]\nedges=["front.a","front.b"]\nratio = {written}\n'
    path = write_case(tmp_path, order=ORDER + seam)
    assert nesting.load_order(path).seams[0].ratio == pytest.approx(0.9)


# --- a fold edge on the bias ------------------------------------------------------------------------------------------

_BIAS = '[[pattern]]\nfile = "panel.svg"\n[[cloth]]\nname = "main"\nwidth = "100 cm"\n[[garment]]\nname = "skirt"\n'


def _bias_order(folder: Path, more: str) -> nesting.Order:
    from tests.order_builder import load, panel_svg

    return load(folder, _BIAS + '[[piece]]\nname = "front"\nfold = "left"\n' + more, panel=panel_svg(grain=False))


@pytest.mark.parametrize(
    ("grain", "sound"), [(45, True), (135, True), (44.2, True), (45.9, True), (43.8, False), (30, False)]
)
def test_a_fold_edge_on_the_bias_is_only_opened_out(tmp_path: Path, grain: float, sound: bool) -> None:
    """At 45° within 1°: every lay has it opened out, on folded cloth too; else refused."""
    if not sound:
        with pytest.raises(PatternError) as refused:
            _bias_order(tmp_path, f"grain = {grain}\n")
        assert refused.value.code == "fold.side"
        return
    order = _bias_order(tmp_path, f"grain = {grain}\n")
    assert [f.kind for f in order.findings if f.code == "fold.bias"] == ["note"]
    (x0, y0), (x1, y1) = order.cut_piece("front", None).piece.fold or ((0, 0), (0, 0))
    assert abs(math.degrees(math.atan2(y1 - y0, x1 - x0))) % 90.0 == pytest.approx(45.0, abs=1e-6)


def test_a_half_on_the_bias_is_laid_opened_out_on_folded_cloth(tmp_path: Path) -> None:
    """The one spread allowed is folded; no placement lies on the fold."""
    from tests.order_builder import load, panel_svg

    text = _BIAS.replace('"100 cm"\n', '"150 cm"\nspreads = ["lengthwise fold"]\n')
    half = '[[piece]]\nname = "front"\nfold = "left"\ngrain = 45\n'
    order = load(tmp_path, text + half, panel=panel_svg(grain=False))
    (lay,) = nesting.lay(order, rounds=2, workers=1)
    assert [(p.on_fold, p.opened) for p in lay.placements] == [(False, True)]


@pytest.mark.parametrize("bias", ["grain = 45\n", 'grain = 90\nturn = "bias"\n'])
def test_a_half_on_the_bias_that_may_not_be_opened_out_is_refused(tmp_path: Path, bias: str) -> None:
    """unfold = false with nothing but the bias: the key, and what to take away."""
    with pytest.raises(NestingError) as refused:
        _bias_order(tmp_path, bias + "unfold = false\n")
    assert refused.value.code == "fold.bias" and refused.value.key == "piece[front].unfold"
    assert "take unfold = false away" in refused.value.message
