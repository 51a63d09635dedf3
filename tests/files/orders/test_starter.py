"""A starter order loads as it is where the files say enough, and asks where they do not."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from nesting.checking.judging import check_order
from nesting.files.orders.order import load_order
from nesting.files.orders.starter import starter_order
from nesting.model.errors import NestingError, OrderError, PatternError
from tests.order_builder import panel_svg

DEMO = Path(__file__).parents[3] / "fixtures" / "demo"


def started(folder: Path, *paths: Path) -> tuple[str, Path]:
    """The text of the starter order, and the file it was put into."""
    text = starter_order(paths, folder=folder)
    path = folder / "order.toml"
    path.write_text(text, encoding="utf-8")
    return text, path


def drawing(folder: Path, name: str, content: str) -> Path:
    """A drawing in ``folder``."""
    (folder / name).write_text(content, encoding="utf-8")
    return folder / name


def questions(text: str) -> list[str]:
    """The lines that ask something."""
    return [line for line in text.splitlines() if "QUESTION" in line]


@pytest.fixture(scope="module")
def from_demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """The starter order of the demo's folder."""
    return started(tmp_path_factory.mktemp("started"), DEMO)


def test_the_demos_patterns_give_an_order_that_loads(from_demo: tuple[str, Path]) -> None:
    """All pieces in all sizes, a garment of each size, its own cloth for the lining."""
    text, path = from_demo
    order = load_order(path)
    names = {"shorts front", "shorts back", "waistband", "brief front", "brief back", "lining"}
    assert {p.name for p in order.pieces} == names
    assert len(order.pieces) == 3 * len(names)
    assert [(g.size, g.count, set(g.pieces)) for g in order.garments] == [(size, 1, names) for size in "SML"]
    assert [c.name for c in order.cloths] == ["main", "lining"]
    assert order.cut_piece("shorts back", "M").mirrored and order.cut_piece("shorts back", "M").cut == 2
    assert order.cut_piece("lining", "S").cloth == "lining"
    assert not any(f.kind == "question" for f in order.findings)
    asked = questions(text)
    assert sum("how wide" in q for q in asked) == 2 and sum("how many?" in q for q in asked) == 3


def test_edges_of_one_name_are_offered_as_seams(from_demo: tuple[str, Path]) -> None:
    """Once for all sizes, and as TOML that can be taken as it is: the side seam of the shorts then agrees."""
    text, path = from_demo
    offered = '# [[seam]]\n# edges = ["shorts front.side", "shorts back.side"]\n'
    assert text.count(offered) == 1
    assert '# edges = ["brief front.crotch", "brief back.crotch", "lining.crotch"]\n' in text
    assert not any(".fold" in line for line in text.splitlines() if "edges = [" in line)
    sewn = path.with_name("sewn.toml")
    sewn.write_text(text.replace(offered, offered.replace("# ", "")), encoding="utf-8")
    check = check_order(load_order(sewn))
    assert [line.size for line in check.seams] == ["L", "M", "S"] and check.ok


def test_without_named_edges_an_example_of_a_seam_is_shown(tmp_path: Path) -> None:
    """As a comment; nothing is asked."""
    text, path = started(tmp_path, DEMO / "briefs.dxf")
    assert '# edges = ["front.side", "back.side"]' in text and "sewn to one another" not in text
    assert not load_order(path).seams


def test_of_two_files_with_the_same_pieces_one_is_left_as_a_question(from_demo: tuple[str, Path]) -> None:
    """The demo's folder holds each garment as SVG and as DXF."""
    text, _ = from_demo
    document = tomllib.loads(text)
    assert [Path(p["file"]).name for p in document["pattern"]] == [
        f"{garment}-{size}.svg" for garment in ("briefs", "shorts") for size in "lms"
    ]
    assert sum("same name and size" in q for q in questions(text)) == 2
    assert "# file = " in text


def test_a_single_file_gives_the_same_pieces_as_reading_it(tmp_path: Path) -> None:
    """A DXF that holds three sizes."""
    _, path = started(tmp_path, DEMO / "briefs.dxf")
    order = load_order(path)
    assert {p.piece.key for p in order.pieces} == {
        (name, size) for name in ("brief front", "brief back", "lining") for size in "SML"
    }
    assert all(p.on_fold and p.cut == 1 for p in order.pieces)
    assert order.title == "Briefs"


def test_files_are_named_as_seen_from_the_orders_folder(tmp_path: Path) -> None:
    """With slashes, so that the order may be passed on."""
    (tmp_path / "patterns").mkdir()
    (tmp_path / "orders").mkdir()
    source = drawing(tmp_path / "patterns", "front.svg", panel_svg())
    text, path = started(tmp_path / "orders", source)
    assert tomllib.loads(text)["pattern"] == [{"file": "../patterns/front.svg"}]
    assert [p.name for p in load_order(path).pieces] == ["front"]
    assert 'file = "front.svg"' in starter_order(source)
    assert 'file = "front.svg"' in starter_order([tmp_path / "patterns"])


def test_a_missing_grainline_is_asked_for_and_stays_an_error(tmp_path: Path) -> None:
    """The key stands there, commented out; put in, the order loads."""
    text, path = started(tmp_path, drawing(tmp_path, "front.svg", panel_svg(grain=False)))
    (line,) = (q for q in questions(text) if "grain" in q)
    assert line.startswith("# grain = 90")
    with pytest.raises(PatternError, match="grain = 90"):
        load_order(path)
    path.write_text(text.replace("# grain = 90", "grain = 90"), encoding="utf-8")
    assert [p.name for p in load_order(path).pieces] == ["front"]


def test_missing_units_are_asked_for(tmp_path: Path) -> None:
    """A drawing of the oldest DXF release without a word about units."""
    import ezdxf.filemanagement

    document = ezdxf.filemanagement.new("R12")
    document.modelspace().add_polyline2d([(0, 0), (8, 0), (8, 12), (0, 12)], close=True, dxfattribs={"layer": "cut"})
    document.modelspace().add_line((4, 2), (4, 10), dxfattribs={"layer": "grain"})
    document.saveas(tmp_path / "front.dxf")
    text, path = started(tmp_path, tmp_path / "front.dxf")
    assert any(q.startswith('# units = "mm"') for q in questions(text))
    path.write_text(text.replace('# units = "mm"', 'units = "in"'), encoding="utf-8")
    assert load_order(path).pieces[0].piece.outline


def test_a_label_that_speaks_of_a_fold_without_a_line_is_asked_about(tmp_path: Path) -> None:
    """Which side lies on the fold cannot be guessed."""
    source = drawing(tmp_path, "front.svg", panel_svg(label="front — cut 1 on fold"))
    text, path = started(tmp_path, source)
    assert '# fold = "left"' in text and any("fold" in q for q in questions(text))
    path.write_text(text.replace('# fold = "left"', 'fold = "left"'), encoding="utf-8")
    assert load_order(path).pieces[0].on_fold


def test_what_the_label_says_becomes_a_key(tmp_path: Path) -> None:
    """Count, pairing and cloth; what it does not say is asked."""
    source = drawing(tmp_path, "front.svg", panel_svg(label="front — cut 4 mirrored — material: mesh"))
    text, path = started(tmp_path, source)
    document = tomllib.loads(text)
    assert document["piece"] == [{"name": "front", "cut": 4, "mirrored": True, "cloth": "mesh"}]
    assert [c["name"] for c in document["cloth"]] == ["mesh"]
    assert load_order(path).pieces[0].cut == 4
    silent, _ = started(tmp_path, drawing(tmp_path, "back.svg", panel_svg("back")))
    assert tomllib.loads(silent)["piece"] == [{"name": "back", "cut": 1, "mirrored": False, "cloth": "main"}]
    assert any("how many per garment" in q for q in questions(silent))


def test_an_odd_count_of_a_mirrored_piece_is_asked_about(tmp_path: Path) -> None:
    """One of a pair is no pair."""
    text, path = started(tmp_path, drawing(tmp_path, "front.svg", panel_svg(label="front — cut 1 mirrored")))
    assert any(q.startswith("cut = 2") and "left and right" in q for q in questions(text))
    assert load_order(path).pieces[0].cut == 2


@pytest.mark.parametrize(
    ("name", "size"),
    [("front-m.svg", "M"), ("Front_XL.svg", "XL"), ("l front.svg", "L"), ("front.svg", None), ("small.svg", None)],
)
def test_a_size_may_stand_in_the_files_name(tmp_path: Path, name: str, size: str | None) -> None:
    """Only as a word of its own."""
    text, path = started(tmp_path, drawing(tmp_path, name, panel_svg()))
    assert tomllib.loads(text)["pattern"][0].get("size") == size
    assert load_order(path).pieces[0].size == size


def test_sizes_are_listed_from_small_to_large(tmp_path: Path) -> None:
    """Letters first, then numbers."""
    sizes = ["44", "XL", "S", "2XL", "M", "8", "XS", "L"]
    for number, size in enumerate(sizes):
        drawing(tmp_path, f"{number}.svg", panel_svg(label=f"front — size {size}"))
    text, _ = started(tmp_path, tmp_path)
    assert [g["size"] for g in tomllib.loads(text)["garment"]] == ["XS", "S", "M", "L", "XL", "2XL", "8", "44"]


def test_names_with_quotes_and_other_writing_stay_whole(tmp_path: Path) -> None:
    """Whatever a piece is called, the text is TOML and the name is the same again."""
    source = drawing(tmp_path, "a.svg", panel_svg("x", label="Vorderteil &quot;Größe&quot; \\ ½"))
    _, path = started(tmp_path, source)
    assert [p.name for p in load_order(path).pieces] == ['Vorderteil "Größe" \\ ½']


def test_a_broken_file_among_good_ones_is_left_as_a_question(tmp_path: Path) -> None:
    """With the reason; alone it is an error."""
    drawing(tmp_path, "a.svg", panel_svg())
    broken = drawing(tmp_path, "b.svg", "<svg><g>")
    text, path = started(tmp_path, tmp_path)
    assert [p["file"] for p in tomllib.loads(text)["pattern"]] == ["a.svg"]
    assert any("cannot be used as it is" in q for q in questions(text))
    assert len(load_order(path).pieces) == 1
    with pytest.raises(PatternError, match=r"none of the pattern files can be used"):
        starter_order([broken])


def test_without_any_pattern_file_there_is_no_order(tmp_path: Path) -> None:
    """No path, an empty folder, a path that is not there."""
    for paths in ([], [tmp_path], [tmp_path / "front.svg"]):
        with pytest.raises(OrderError, match=r"expected|name one that has some"):
            starter_order(paths)


def test_every_odd_drawing_gives_toml_or_a_clear_refusal(tmp_path: Path) -> None:
    """The starter order never falls over a strange file, whatever stands in its labels."""
    folder = DEMO.parent / "odd"
    files = sorted(p for p in folder.rglob("*") if p.suffix.lower() in (".svg", ".dxf")) if folder.is_dir() else []
    if not files:
        pytest.skip("no odd drawings here")
    for file in files:
        try:
            document = tomllib.loads(starter_order(file, folder=tmp_path))
        except NestingError:
            continue
        assert document["pattern"] and document["piece"] and document["garment"], file.name


def test_a_piece_bears_one_name_in_files_of_one_size_each(tmp_path: Path) -> None:
    """The size that stands at the end of the name is that of the file: said once, all sizes are one piece."""
    for size, wide in (("S", 200), ("M", 220)):
        boxes = "".join(
            f'<path d="M{x} 20 h{wide} v280 h-{wide} z" fill="none" stroke="black"/><text x="{x + 40}" y="150">{name} '
            f"{size}</text>"
            for x, name in ((20, "Front"), (320, "Gusset"))
        )
        (tmp_path / f"brief-{size.lower()}.svg").write_text(
            f'<svg xmlns="http://www.w3.org/2000/svg" width="900mm" height="500mm" viewBox="0 0 900 500">{boxes}</svg>'
        )
    order = tmp_path / "o.toml"
    order.write_text(starter_order(tmp_path).replace("# grain = 90", "grain = 90"))
    assert {(p.name, p.size) for p in load_order(order).pieces} == {
        (name, size) for name in ("Front", "Gusset") for size in ("S", "M")
    }


def test_a_file_for_each_piece_gives_one_size_and_one_title(tmp_path: Path) -> None:
    """Two labels that end with M are in size M, and what has no size is cut for every one; one such name alone may mean
    anything. What all the files' names begin with is the title."""

    def panel(file: str, label: str) -> Path:
        path = tmp_path / file
        path.write_text(
            '<svg xmlns="http://www.w3.org/2000/svg" width="500mm" height="500mm" viewBox="0 0 500 500"><path '
            f'd="M20 20 h200 v280 h-200 z" fill="none" stroke="black"/><text x="60" y="150">{label}</text></svg>'
        )
        return path

    files = [panel("trunks-front.svg", "Front M"), panel("trunks-back.svg", "Back M"), panel("trunks-pad.svg", "Pad")]
    order = tmp_path / "o.toml"
    order.write_text(starter_order(files).replace("# grain = 90", "grain = 90"))
    read = load_order(order)
    assert {(p.name, p.size) for p in read.pieces} == {("Front", "M"), ("Back", "M"), ("Pad", None)}
    assert (read.title, [(g.name, g.size) for g in read.garments]) == ("Trunks", [("trunks", "M")])
    order.write_text(starter_order([files[0], files[2]]).replace("# grain = 90", "grain = 90"))
    assert {(p.name, p.size) for p in load_order(order).pieces} == {("Front M", None), ("Pad", None)}
