"""What people do wrong: each is told in one clear sentence, where it happened and in the page's words; nothing is lost.

Most are sent over the protocol here; those that only a browser can do are in ``test_browser_views``.
"""

from __future__ import annotations

import errno
import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from nesting.model.errors import InputError
from nesting.model.order import Remnant
from nesting.page.plain import plain
from nesting.page.workspace import Workspace
from nesting.planning.leftovers.stash import Stash, add, write_stash
from tests.page.conftest import FIXTURES, Server, served
from tests.planning.area_lays import scrap
from tests.test_codes import list_codes

#: marks of the order's own language, of the program's insides and of the command line
FOREIGN = re.compile(r"\[\[| = |--[a-z]|\bkeys?\b|Traceback|Error\b|None|\b[a-z]+_[a-z]+\b|/tmp|\.toml")

SQUARE = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="99mm" height="99mm" viewBox="0 0 99 99">'
    '<path fill="none" stroke="black" d="M5 5L90 5L90 90L5 60{}"/></svg>'
)


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """One page of the demo for all that is refused: every refusal leaves it as it was."""
    folder = tmp_path_factory.mktemp("demo")
    for path in (FIXTURES / "demo").iterdir():
        if path.suffix in (".svg", ".dxf") or path.name == "chorus.toml":
            shutil.copyfile(path, folder / path.name)
    with pytest.MonkeyPatch.context() as patch:
        yield from served(folder / "chorus.toml", patch)


def clear(message: str) -> None:
    """One sentence or two, in plain words."""
    assert 8 < len(message) < 330, message
    assert not FOREIGN.search(message), message
    assert "\n" not in message


#: what is done, what the sentence must tell (figures and names that were given), where it stands
REFUSED: list[tuple[str, dict[str, Any], str, str]] = [
    # pieces
    ("piece.fold", {"piece": "shorts front", "side": "right"}, r"fold", "pieces"),
    ("piece.fold", {"piece": "shorts front", "side": "inside"}, r"inside.*left", "pieces"),
    ("edge.name", {"piece": "shorts front", "start": 1, "end": 2, "name": "a.b"}, r"a\.b", "pieces"),
    ("edge.name", {"piece": "shorts front", "start": 1, "end": 2, "name": " "}, r"name", "pieces"),
    ("edge.name", {"piece": "brief front", "start": 1, "end": 77, "name": "hem"}, r"77", "pieces"),
    ("edge.name", {"piece": "sock", "start": 1, "end": 2, "name": "hem"}, r"sock", "pieces"),
    ("edge.join", {"piece": "brief front", "edges": ["crotch", "waist"], "name": "both"}, r"neighbour", "pieces"),
    ("edge.unname", {"piece": "shorts front", "name": "side"}, r"drawing", "pieces"),
    ("piece.finish", {"piece": "brief front", "edge": "leg", "finish": "glue"}, r"glue.*elastic", "pieces"),
    ("piece.finish", {"piece": "brief front", "edge": "leg", "finish": "fold back"}, r"fold back", "pieces"),
    ("piece.set", {"piece": "brief front", "key": "cut", "value": "1.5"}, r"1\.5.*whole", "pieces"),
    ("piece.set", {"piece": "brief front", "key": "cut", "value": "-2"}, r"-2", "pieces"),
    ("piece.set", {"piece": "brief front", "key": "cloth", "value": "velvet"}, r"velvet.*main", "pieces"),
    ("piece.set", {"piece": "shorts front", "key": "grain", "value": 45}, r"grain", "pieces"),
    ("piece.set", {"piece": "brief front", "key": "needs_stretch", "value": "lots"}, r"lots", "pieces"),
    ("file.remove", {"index": 9}, r"not in the order", "pieces"),
    ("proposals.accept", {"ids": ["gone"]}, r"not stand", "pieces"),
    # seams
    ("seam.add", {"sides": ["brief front.side", "brief front.side"]}, r"itself", "seams"),
    ("seam.add", {"sides": ["brief front.side"]}, r"two sides", "seams"),
    ("seam.add", {"sides": ["brief front.side", "brief back.sleeve"]}, r"sleeve.*side", "seams"),
    ("seam.try", {"sides": ["brief front.side", "brief back.side"], "ease": "some"}, r"some", "seams"),
    ("seam.set", {"index": 0, "key": "ratio", "value": "0"}, r"0", "seams"),
    ("seam.remove", {"index": 99}, r"not in the order", "seams"),
    # alterations
    ("alter.add", {"kind": "lengthen", "pieces": ["brief front"], "by": "-2 cm", "at": "5 cm"}, r"-2 cm",
     "alterations"),
    ("alter.add", {"kind": "lengthen", "pieces": ["brief front"], "by": "2 cm", "at": "9 m"}, r"9000",
     "alterations"),
    ("alter.add", {"kind": "shorten", "pieces": ["brief front"], "by": "3 m", "at": "5 cm"}, r"201", "alterations"),
    ("alter.add", {"kind": "add", "pieces": ["brief front"], "by": "1 cm", "edge": "sleeve"}, r"sleeve", "alterations"),
    ("alter.add", {"kind": "add", "pieces": ["brief front"], "by": "1 cm"}, r"edge", "alterations"),
    ("alter.add", {"kind": "lengthen", "pieces": [], "by": "1 cm", "at": "5 cm"}, r"piece", "alterations"),
    ("alter.try", {"kind": "lengthen", "pieces": ["sock"], "by": "1 cm", "at": "5 cm"}, r"sock", "pieces"),
    # cloth and people
    ("cloth.set", {"index": 0, "key": "width", "value": "150 mm"}, r"15 cm.*150 cm", "cloth"),
    ("cloth.set", {"index": 0, "key": "width", "value": "150 m"}, r"150 m", "cloth"),
    ("cloth.set", {"index": 0, "key": "width", "value": "wide"}, r"wide", "cloth"),
    ("cloth.set", {"index": 0, "key": "shrink_along", "value": "130 %"}, r"130", "cloth"),
    ("cloth.set", {"index": 0, "key": "selvage", "value": "80 cm"}, r"80 cm|selvage", "cloth"),
    ("cloth.set", {"index": 0, "key": "gap", "value": "-3 mm"}, r"3", "cloth"),
    ("cloth.set", {"index": 0, "key": "price", "value": "cheap"}, r"cheap", "cloth"),
    ("cloth.set", {"index": 0, "key": "nap", "value": "upwards"}, r"upwards.*none", "cloth"),
    ("cloth.set", {"index": 0, "key": "colour", "value": "red"}, r"colour", "cloth"),
    ("cloth.remove", {"index": 1}, r"lining", "cloth"),
    ("cloth.add", {"name": "main", "width": "140 cm"}, r"main.*another name", "cloth"),
    ("cloth.add", {"name": "third", "width": ""}, r"wide", "cloth"),
    ("cloth.wash", {"index": 0, "along": ["50 cm", "52 cm"], "across": None}, r"52 cm", "cloth"),
    ("cloth.wash", {"index": 0, "along": None, "across": None}, r"both lengths", "cloth"),
    ("cloth.ruler", {"index": 0, "along": None, "across": ["10 cm", "8 cm"]}, r"8 cm.*longer", "cloth"),
    ("garment.set", {"index": 0, "key": "count", "value": "some"}, r"some", "cloth"),
    ("garment.set", {"index": 0, "key": "count", "value": -1}, r"-1", "cloth"),
    ("garment.set", {"index": 0, "key": "size", "value": "XXL"}, r"XXL", "cloth"),
    ("garment.add", {"name": "  "}, r"name", "cloth"),
    ("remnant.add", {"name": "scrap", "cloth": "main", "width": "40 cm"}, r"length", "cloth"),
    ("remnant.add", {"name": "scrap", "cloth": "velvet", "width": "40 cm", "length": "1 m"}, r"velvet", "cloth"),
    ("wearer.add", {"name": ""}, r"name", "cloth"),
    ("wearer.add", {"name": "Ada", "measures": {"waist": "slim"}}, r"slim", "cloth"),
    ("wearer.set", {"index": 7, "key": "measures.waist", "value": "72 cm"}, r"not in the order", "cloth"),
    ("garment.set", {"index": 0, "key": "ratio", "value": "two"}, r"two", "cloth"),
    ("garment.set", {"index": 0, "key": "value", "value": "dear"}, r"dear", "cloth"),
    ("order.set", {"key": "units", "value": "ell"}, r"ell.*cm", ""),
    # what goes round
    ("opening.add", {"name": "leg", "edges": ["brief front.leg"]}, r"sits on", "cloth"),
    ("opening.add", {"name": "leg", "edges": ["sock.top"], "sits": "52 cm"}, r"sock", "cloth"),
    ("trim.add", {"name": "", "kind": "elastic", "edges": ["brief front.leg"]}, r"name", "cloth"),
    ("trim.add", {"name": "leg lace", "kind": "lace", "edges": []}, r"edges", "cloth"),
    ("trim.add", {"name": "leg lace", "kind": "ribbon", "edges": ["brief front.leg"]}, r"ribbon.*lace", "cloth"),
    ("trim.add", {"name": "leg lace", "kind": "lace", "edges": ["brief front.hem"]}, r"hem.*leg", "cloth"),
    ("trim.set", {"index": 0, "key": "ratio", "value": "tight"}, r"tight", "cloth"),
    ("trim.set", {"index": 0, "key": "join", "value": "a bit"}, r"a bit", "cloth"),
    ("trim.remove", {"index": 9}, r"not in the order", "cloth"),
    ("band.add", {"name": "waistband", "rectangle": ["4 cm", "60 cm"]}, r"waistband.*another name", "cloth"),
    ("band.add", {"name": "cuff", "rectangle": ["4 cm", "long"]}, r"long", "pieces"),
    ("band.remove", {"index": 0}, r"not in the order", "cloth"),
    ("piece.set", {"piece": "brief front", "key": "allowance.side", "value": "some"}, r"some", "pieces"),
    ("file.choose", {"index": 3, "pages": [], "layers": None}, r"at least one page", "pieces"),
    ("file.choose", {"index": 0, "pages": [2], "layers": None}, r"only a PDF", "pieces"),
    ("file.contents", {"index": 0}, r"no PDF", "pieces"),
    # the lay
    ("lay.start", {"seconds": None}, r"how long", "lay"),
    ("lay.start", {"seconds": -5}, r"between", "lay"),
    ("lay.start", {"rounds": 0}, r"least one round", "lay"),
    ("lay.start", {"spread": "in a heap"}, r"heap", "lay"),
    ("lay.start", {"go_on": True}, r"no lay", "lay"),
    ("lay.take", {"cloth": "main", "lay": "0123456789abcdef"}, r"not kept", "lay"),
    ("lay.move", {"cloth": "main", "base": 0, "id": "x", "x": 0, "y": 0, "turn": 0, "flipped": False}, r"no lay",
     "lay"),
    ("run.stop", {}, r"ing is being searched", "lay"),
    # buying and cutting
    ("buy.start", {"widths": ["broad"]}, r"broad", "buy"),
    ("cut.tick", {"cloth": "main", "laid": "x", "done": True}, r"no lay", "cut"),
    ("cut.print", {"cloth": "main", "kinds": ["sheet"]}, r"no lay", "cut"),
    ("stash.add", {"cloth": "main"}, r"no lay", "cut"),
    ("projector.save", {"name": "hall", "corners": [[0, 0], [9, 9], [9, 0], [0, 9]], "size": [500, 500]}, r"cross",
     "cut"),
    ("projector.save", {"name": "", "corners": [[0, 0], [9, 0], [9, 9], [0, 9]], "size": [500, 500]}, r"name", "cut"),
    ("order.new", {"name": "chorus"}, r"chorus.*another name", "cloth"),
    ("undo", {}, r"othing|no", ""),
    ("redo", {}, r"othing|no", ""),
]  # fmt: skip


@pytest.mark.parametrize(("cmd", "fields", "told", "view"), REFUSED, ids=[f"{n}-{c[0]}" for n, c in enumerate(REFUSED)])
def test_what_cannot_be_is_told_where_it_happened(
    shared: Server, cmd: str, fields: dict[str, Any], told: str, view: str
) -> None:
    """The order on disk and on the page is the same as before, byte for byte."""
    before, disk = shared.page.work.text, shared.page.work.path.read_bytes()
    problem = shared.refused(cmd, **fields)
    clear(problem["message"])
    assert re.search(told, problem["message"], re.S), problem
    assert problem["where"].get("view", "") == view, problem
    assert shared.page.work.text == before and shared.page.work.path.read_bytes() == disk
    assert shared.get("state")["undo"] is None


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("open.svg", SQUARE.format("").encode(), r"open"),
        ("empty.svg", b"", r"empty|nothing|no "),
        ("letter.svg", b"Dear aunt", r"letter\.svg"),
        ("thing.exe", b"MZ", r"thing\.exe.*SVG"),
        ("cut-off.dxf", (FIXTURES / "odd" / "cut-off.dxf").read_bytes(), r"cut-off\.dxf"),
        ("junk.dxf", (FIXTURES / "odd" / "junk.dxf").read_bytes(), r"junk\.dxf"),
        ("bomb.svg", (FIXTURES / "odd" / "entity-bomb.svg").read_bytes(), r"bomb\.svg"),
        ("marks.svg", (FIXTURES / "odd" / "marks-only.svg").read_bytes(), r"marks\.svg"),
        ("page.pdf", b"%PDF-1.7\nnothing", r"page\.pdf"),
    ],
)  # fmt: skip
def test_a_file_that_will_not_do_is_told_and_not_kept(shared: Server, name: str, content: bytes, told: str) -> None:
    """One sentence; the folder and the order are as before."""
    before = {p.name for p in shared.page.work.folder.iterdir()}
    answer = shared.drop((name, content))
    assert not answer["ok"]
    clear(answer["problem"]["message"])
    assert re.search(told, answer["problem"]["message"], re.I)
    assert answer["problem"]["where"]["view"] == "pieces"
    assert {p.name for p in shared.page.work.folder.iterdir()} == before
    assert shared.get("state")["undo"] is None


def test_an_outline_that_is_open_is_drawn_with_its_gaps(shared: Server) -> None:
    """Which line, where, how wide: two gaps of 2 and 3 mm in a square of 85 mm, worked by hand (the page's y is up)."""
    lines = "M5 5L90 5M90 5L90 90L5 90M5 88L5 8"
    drawing = SQUARE.replace('d="M5 5L90 5L90 90L5 60{}"', f'id="yoke" d="{lines}"')
    problem = shared.drop(("open.svg", drawing.encode()))["problem"]
    clear(problem["message"])
    assert "yoke" in problem["message"] and "2.00 mm" in problem["message"]
    assert problem["open"]["gaps"] == [[[5.0, 9.0], [5.0, 11.0]], [[5.0, 94.0], [5.0, 91.0]]]
    assert problem["open"]["lines"].startswith("M5.0 94.0L90.0 94.0")


def test_a_piece_that_is_open_among_others_is_drawn_too(empty: Server) -> None:
    """A finding of its file: the others are read."""
    whole = SQUARE.replace('d="M5', 'd="M200 0h50v50h-50z M5').format("").replace("L5 60", "L5 90L5 8")
    answer = empty.drop(("half.svg", whole.encode()))
    assert answer["ok"]
    (told,) = [f for f in empty.get("state")["files"][0]["findings"] if f["code"] == "outline.open"]
    assert told["open"]["gaps"] == [[[5.0, 94.0], [5.0, 91.0]]]


def test_a_bad_file_does_not_keep_the_good_one_out(empty: Server) -> None:
    """Dropped together: one is read, the other is told."""
    good = (FIXTURES / "demo" / "shorts-m.svg").read_bytes()
    answer = empty.drop(("letter.svg", b"Dear aunt"), ("shorts-m.svg", good))
    assert not answer["ok"] and [f["file"] for f in answer["files"]] == ["shorts-m.svg"]
    assert len(empty.get("pieces")["pieces"]) == 3


def test_the_same_file_twice_is_there_once(empty: Server) -> None:
    """By its content; one of the same name and another content gets a number."""
    good = (FIXTURES / "demo" / "shorts-m.svg").read_bytes()
    empty.drop(("shorts-m.svg", good))
    empty.drop(("shorts-m.svg", good))
    assert len(empty.get("state")["files"]) == 1
    empty.drop(("shorts-m.svg", good + b"<!-- newer -->"))
    state = empty.get("state")
    assert [f["file"] for f in state["files"]] == ["shorts-m.svg", "shorts-m-2.svg"]
    told = [b["message"] for b in state["blockers"]]
    assert any("another file" in one for one in told), told
    for one in told:
        clear(one)
    empty.do("undo")
    assert len(empty.get("state")["files"]) == 1


@pytest.mark.parametrize("spoil", ["gone", "spoilt", "folder"])
def test_a_pattern_file_that_is_gone_or_spoilt_is_told_at_the_file(demo: Server, spoil: str) -> None:
    """Whatever happened to it outside; the other pieces are still drawn, and when it is back, all is as before."""
    path = demo.page.work.folder / "shorts-s.svg"
    content = path.read_bytes()
    path.unlink()
    if spoil == "spoilt":
        path.write_bytes(content[: len(content) // 2])
    elif spoil == "folder":
        path.mkdir()
    state = demo.get("state")
    first = state["blockers"][0]
    clear(first["message"])
    assert "shorts-s.svg" in first["message"] and first["where"]["view"] == "pieces"
    assert len(demo.get("pieces")["pieces"]) == 15
    refused = demo.refused("lay.start", seconds=1)
    clear(refused["message"])
    if spoil == "folder":
        path.rmdir()
    path.write_bytes(content)
    assert demo.get("state")["blockers"] == []
    assert len(demo.get("pieces")["pieces"]) == 18


@pytest.mark.parametrize(
    "text",
    ["title = \"half a line", "[[cloth]]\nname = 3\n", "[[clothes]]\nname = \"main\"\n", "\x00\x01", "[[piece]]\n" * 3],
)  # fmt: skip
def test_an_order_broken_by_hand_is_told_and_can_be_taken_back(demo: Server, text: str) -> None:
    """Another program's rubbish is shown to be one; one step back is the order as it was."""
    before = demo.page.work.text
    demo.page.work.path.write_text(text, encoding="utf-8")
    demo.do("disk.reload")
    state = demo.get("state")
    assert not state["readable"]
    message = (state["problem"] or state["blockers"][0])["message"]
    assert 8 < len(message) < 330 and "Traceback" not in message
    for name in ("pieces", "seams", "alterations", "cloth", "lay", "buy", "cut"):
        demo.get(name)
    demo.refused("lay.start", seconds=1)
    demo.do("undo")
    assert demo.page.work.text == before and demo.page.work.path.read_text(encoding="utf-8") == before


def test_another_program_s_change_is_never_written_over(demo: Server) -> None:
    """Every edit is refused until somebody has decided; both texts are kept whatever is decided."""
    mine = demo.page.work.text
    theirs = mine.replace("count = 2", "count = 5", 1)
    demo.page.work.path.write_text(theirs, encoding="utf-8")
    problem = demo.refused("order.set", key="title", value="Mine")
    clear(problem["message"])
    assert demo.page.work.path.read_text(encoding="utf-8") == theirs
    kept = demo.do("disk.keep_mine")["kept"]
    assert demo.page.work.path.read_text(encoding="utf-8") == mine
    assert (demo.page.work.folder / kept).read_text(encoding="utf-8") == theirs
    demo.page.work.path.write_text(theirs, encoding="utf-8")
    demo.do("disk.reload")
    assert demo.page.work.text == theirs
    demo.do("undo")
    assert demo.page.work.text == mine


@pytest.mark.parametrize("which", ["order", "journal"])
def test_a_full_disk_is_told_and_changes_nothing(demo: Server, monkeypatch: pytest.MonkeyPatch, which: str) -> None:
    """When the order, or the step, cannot be written: told so, page and file as before, and later it works again."""
    before = demo.page.work.text
    failure = OSError(28, "No space left on device")

    def full(*what: object) -> None:
        raise failure

    with monkeypatch.context() as patch:
        # a file's new content is put in its place; a line of the journal is forced out
        patch.setattr(os, "replace" if which == "order" else "fsync", full)
        problem = demo.refused("order.set", key="title", value="Mine")
    clear(problem["message"])
    assert re.search(r"space|written|kept", problem["message"])
    assert demo.page.work.text == before and demo.page.work.path.read_text(encoding="utf-8") == before
    assert demo.get("state")["undo"] is None and not demo.get("state")["disk"]["changed"]
    demo.do("order.set", key="title", value="Mine")
    assert demo.get("state")["title"] == "Mine"


@pytest.mark.parametrize(
    ("number", "words"), [(errno.EROFS, "copy elsewhere"), (errno.EPERM, "copy elsewhere"), (errno.ENOENT, "put it")]
)
def test_a_folder_that_cannot_be_written_is_told_once_and_changes_nothing(
    demo: Server, monkeypatch: pytest.MonkeyPatch, number: int, words: str
) -> None:
    """Locked or gone in the middle of the work: the sentence says what to do and names no file of the program's own;
    the page goes on as it was, and writes again as soon as it can."""
    before = demo.page.work.text

    def barred(*what: object, **how: object) -> None:
        raise OSError(number, os.strerror(number), ".nesting-abc")

    with monkeypatch.context() as patch:
        patch.setattr("nesting.files.outputs.tempfile.mkstemp", barred)
        for problem in (
            demo.refused("order.set", key="title", value="Mine"),
            demo.refused("cloth.set", index=0, key="width", value="140 cm"),
            demo.drop(("third.svg", SQUARE.format("Z").encode()))["problem"],
        ):
            clear(problem["message"])
            assert words in problem["message"] and "nesting-" not in problem["message"]
            assert problem["message"][0].isupper()
    assert demo.page.work.text == before == demo.page.work.path.read_text(encoding="utf-8")
    demo.do("order.set", key="title", value="Mine")
    assert demo.get("state")["title"] == "Mine"


def test_an_order_that_is_locked_stays_as_it_is(demo: Server) -> None:
    """Though its folder would let another file be put in its place."""
    path = demo.page.work.path
    before = path.read_bytes()
    path.chmod(0o444)
    problem = demo.refused("order.set", key="title", value="Mine")
    clear(problem["message"])
    assert "locked" in problem["message"] and "unlock" in problem["message"]
    assert path.read_bytes() == before and demo.page.work.text.encode() == before
    path.chmod(0o644)
    demo.do("order.set", key="title", value="Mine")
    demo.do("undo")
    assert path.read_bytes() == before


def test_a_folder_that_cannot_be_written_at_the_start_is_refused_in_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether the page was there before or not; and where another program changed the order in between."""
    order = tmp_path / "order.toml"
    order.write_text('title = "One"\n', encoding="utf-8")

    def barred(*what: object) -> None:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    for _ in range(2):
        with monkeypatch.context() as patch:
            patch.setattr(os, "fsync", barred)
            with pytest.raises(InputError, match=r"cannot write here .* copy of the folder elsewhere"):
                Workspace(order)
        Workspace(order)
        order.write_text('title = "Two"\n', encoding="utf-8")
    with monkeypatch.context() as patch:
        patch.setattr(Path, "mkdir", lambda *a, **k: barred())
        with pytest.raises(InputError, match="copy of the folder elsewhere"):
            Workspace(order)


def test_what_was_written_without_a_thought_is_asked_again(demo: Server) -> None:
    """A gap of 3 where numbers are centimetres, hips of 96 m, a place before the piece: in figures, with the way out;
    near misses are taken."""
    index = next(i for i, one in enumerate(demo.get("cloth")["cloths"]) if one["name"] == "main")
    problem = demo.refused("cloth.set", index=index, key="gap", value="3")
    clear(problem["message"])
    assert problem["choices"] == ["3 mm", "3 cm"] and "between any two pieces" in problem["message"]
    for value in ("3 mm", "3 cm", "0", "0,3"):
        demo.do("cloth.set", index=index, key="gap", value=value)
    demo.do("wearer.add", name="Ada", measures={"hip": "96 cm"})
    for value, cm in (("9600", "9600 cm"), ("9,6 mm", "0.96 cm"), ("0", "0 cm")):
        problem = demo.refused("wearer.set", index=0, key="measures.hip", value=value)
        clear(problem["message"])
        assert cm in problem["message"] and problem["where"]["view"] == "cloth"
    for value in ("5", "3 m", "38 in"):
        demo.do("wearer.set", index=0, key="measures.hip", value=value)
    assert "name" in demo.refused("wearer.set", index=0, key="measures.", value="3 cm")["message"]
    alter = {"kind": "lengthen", "pieces": ["shorts front"], "by": "1 cm"}
    problem = demo.refused("alter.add", at="-1 cm", **alter)
    clear(problem["message"])
    assert "-1 cm is before the tail" in problem["message"]
    garment = demo.get("cloth")["garments"][0]
    problem = demo.refused("garment.add", name=garment["name"], size=garment["size"], count=1)
    clear(problem["message"])
    assert "is there already" in problem["message"] and "=" not in problem["message"]
    problem = demo.refused("cloth.set", index=index, key="price", value="-4")
    clear(problem["message"])
    assert "to 1000000 " in problem["message"]


def test_leftovers_have_names_that_tell_them_apart(demo: Server) -> None:
    """Two that nobody named are told apart by a number; a name that is there already is refused in plain words; one
    that is no rectangle counts as it is drawn."""
    cloth = demo.get("cloth")["cloths"][0]["name"]
    before = len(demo.get("cloth")["remnants"])
    for _ in range(2):
        demo.do("remnant.add", name=" ", cloth=cloth, width="40 cm", length="50 cm")
    names = [one["name"] for one in demo.get("cloth")["remnants"]][before:]
    assert names == ["leftover", "leftover 2"]
    problem = demo.refused("remnant.add", name="leftover", cloth=cloth, width="40 cm", length="50 cm")
    clear(problem["message"])
    assert "'leftover' already" in problem["message"] and problem["where"]["view"] == "cloth"
    stash = demo.page.work.folder / "stash.toml"
    corner = Remnant("corner", cloth, ((0.0, 0.0), (400.0, 0.0), (400.0, 300.0), (200.0, 300.0), (0.0, 100.0)))
    write_stash(stash, add(Stash(), [corner, scrap("end", 400.0, 300.0, cloth)]))
    there = {one["name"]: one["rectangular"] for one in demo.get("cloth")["remnants"] if one["source"] == "stash"}
    assert there == {"corner": False, "end": True}
    clear(demo.refused("remnant.add", name="corner", cloth=cloth, from_stash=True)["message"])
    demo.do("remnant.add", name="end", cloth=cloth, from_stash=True)


def test_a_mirrored_piece_is_cut_in_pairs(demo: Server) -> None:
    """An odd number is refused with what would do; mirroring a single one makes it two."""
    problem = demo.refused("piece.set", piece="shorts front", key="cut", value="3")
    clear(problem["message"])
    assert "pairs" in problem["message"] and problem["where"]["view"] == "pieces"


def test_seams_that_do_not_match_stand_at_the_top_until_they_do(demo: Server) -> None:
    """The reason leads to its seam, names both edges, and goes with the alteration that made it."""
    demo.do("alter.add", kind="lengthen", pieces=["shorts front"], by="2 cm", at="15 cm")
    blockers = demo.get("state")["blockers"]
    assert {b["where"]["view"] for b in blockers} == {"seams"}
    for one in blockers:
        clear(one["message"])
    assert all("shorts front.side" in b["message"] and "19.9 mm" in b["message"] for b in blockers), blockers
    problem = demo.refused("lay.start", seconds=1)
    assert problem["code"] == "do-not-cut" and problem["choices"] == ["anyway"]
    clear(problem["message"])
    demo.do("undo")
    assert demo.get("state")["blockers"] == []


def test_an_alteration_says_where_it_is_measured_from_or_asks(demo: Server) -> None:
    """One that is made here is measured as its line is drawn; one of an order that does not say it can be answered."""
    demo.do("alter.add", kind="lengthen", pieces=["shorts front"], by="1 cm", at="15 cm")
    demo.do("alter.add", kind="add", pieces=["shorts front"], by="1 cm", edge="side")
    first, second = demo.get("alterations")["alterations"]
    assert (first["asks"], first["start"], second["asks"]) == (True, "tail", False)
    assert "side" in first["edges"]
    lengthened = first["at_mm"]
    demo.do("alter.set", index=0, key="from", value=None)
    assert demo.get("alterations")["alterations"][0]["start"] is None
    demo.do("alter.set", index=0, key="from", value="head")
    doc = demo.get("alterations")
    now, shape = doc["alterations"][0], [v for k, v in doc["shapes"].items() if k.startswith("shorts front")][-1]
    ys = [y for _, y in shape["before"]["outline"]]
    assert now["start"] == "head" and lengthened == pytest.approx(150.0)
    assert now["at_mm"] == pytest.approx(max(ys) - min(ys) - 150.0, abs=0.02)


@pytest.mark.parametrize(
    "raw", ["", "{", "[]", "nonsense", '{"cmd": "dance"}', '{"cmd": "undo", "more": 1}', '{"cmd": "garment.remove"}',
            '{"cmd": "lay.move", "cloth": 1}', "0" * 1000]
)  # fmt: skip
def test_a_command_that_nobody_understands_is_answered(shared: Server, raw: str) -> None:
    """The server lives on."""
    reply = shared.client.post("/api/command", content=raw).json()
    assert not reply["ok"] and reply["problem"]["code"] == "not-understood", reply
    assert shared.get("state")["readable"]


def test_no_message_of_the_program_speaks_the_order_s_language_on_the_page(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every text that a finding or refusal is made of, in the page's words (those of the command line alone aside)."""
    monkeypatch.setattr(list_codes, "_LONGEST", 10**6)  # the whole of every text
    elsewhere = ("cli/", "outlines/", "planning/leftovers/stash", "files/lays", "page/server")
    about_the_file = {"file.not-text", "order.toml", "order.key-unknown"}
    wrong = {}
    for code, where, said in list_codes.uses():
        if where.startswith(elsewhere) or code in about_the_file:
            continue
        shown = plain(said.replace("…", "x"), code)
        if re.search(r"\[\[| = |--[a-z]|\bkeys?\b|TOML|\b[a-z]+_[a-z]+\b", shown):
            wrong[said] = shown
    assert not wrong, wrong


def test_what_was_read_of_a_file_leads_to_its_piece(shared: Server) -> None:
    """By the piece's name and size, as the drawing knows it, not by its label."""
    pieces = {(p["name"], p["size"]) for p in shared.get("pieces")["pieces"]}
    led = [f["where"] for file in shared.get("state")["files"] for f in file["findings"] if "piece" in f["where"]]
    assert len(led) > 10
    assert all((where["piece"], where["size"]) in pieces for where in led), led
