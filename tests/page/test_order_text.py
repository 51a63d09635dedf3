"""Every command that changes the order leaves all else of its text byte for byte, and undo gives the old bytes back.

The order is the demo's, which is written and commented by hand; once more with the line ends of another system.
"""

from __future__ import annotations

import difflib
import functools
import json
import operator
import re
import tomllib
from pathlib import Path
from typing import Any

import msgspec
import pytest

from nesting.page import protocol
from nesting.page.demo import DEMO
from nesting.page.editing import Edit
from nesting.page.order_commands import edit_of, not_held
from nesting.page.ordertext import OrderText
from nesting.page.pieces_doc import pieces_doc
from nesting.page.survey import Reader, survey
from tests.page.conftest import FIXTURES, Server

READER = Reader()
COMMAND = functools.reduce(operator.or_, protocol.commands())

#: command, its fields, the most lines that may go, the kinds of block that may differ afterwards
COMMANDS: list[tuple[str, dict[str, Any], int, set[str]]] = [
    ("order.set", {"key": "title", "value": "Another"}, 1, {"title"}),
    ("order.set", {"key": "fibre_stretch", "value": "6 %"}, 0, {"fibre_stretch"}),
    ("garment.set", {"index": 1, "key": "count", "value": 4}, 1, {"garment"}),
    ("garment.set", {"index": 1, "key": "value", "value": 2}, 0, {"garment"}),
    ("garment.add", {"name": "practice shorts", "size": "M", "count": 1, "pieces": ["shorts front"]}, 0, {"garment"}),
    ("garment.remove", {"index": 2}, 6, {"garment"}),
    ("garment.remove", {"index": 5}, 6, {"garment"}),
    ("file.remove", {"index": 1}, 3, {"pattern"}),
    ("file.set", {"index": 0, "key": "join_gap", "value": "1 mm"}, 0, {"pattern"}),
    ("piece.set", {"piece": "waistband", "key": "cut", "value": 2}, 0, {"piece"}),
    ("piece.set", {"piece": "lining", "key": "needs_stretch", "value": None}, 1, {"piece"}),
    ("piece.fold", {"piece": "lining", "side": None}, 0, set()),
    ("piece.finish", {"piece": "brief front", "edge": "leg", "finish": "bound"}, 1, {"piece"}),
    ("piece.finish", {"piece": "lining", "edge": "top", "finish": None}, 1, {"piece"}),
    ("edge.name", {"piece": "brief front", "start": 1, "end": 2, "name": "gusset", "old": "crotch"}, 3,
     {"edge", "seam"}),
    ("edge.split", {"piece": "brief front", "size": "M", "edge": "leg", "at": "middle"}, 3, {"edge"}),
    ("edge.join", {"piece": "lining", "edges": ["leg", "top"], "name": "both"}, 12, {"edge", "piece"}),
    ("edge.unname", {"piece": "lining", "name": "top"}, 7, {"edge", "piece"}),
    ("seam.add", {"sides": ["brief front.waist", "brief back.waist"]}, 0, {"seam"}),
    ("seam.set", {"index": 0, "key": "ease", "value": "4 mm"}, 0, {"seam"}),
    ("seam.remove", {"index": 5}, 3, {"seam"}),
    ("alter.add", {"kind": "lengthen", "pieces": ["brief front"], "by": "1 cm", "at": "10 cm"}, 0, {"alter"}),
    ("cloth.set", {"index": 0, "key": "width", "value": "147,5 cm"}, 1, {"cloth"}),
    ("cloth.set", {"index": 0, "key": "price", "value": None}, 1, {"cloth"}),
    ("cloth.set", {"index": 1, "key": "name", "value": "cotton"}, 1, {"cloth"}),
    ("cloth.add", {"name": "mesh", "width": "130 cm"}, 0, {"cloth"}),
    ("cloth.wash", {"index": 0, "along": ["50 cm", "47 cm"], "across": None}, 1, {"cloth"}),
    ("cloth.ruler", {"index": 1, "along": None, "across": ["10 cm", "17 cm"]}, 1, {"cloth"}),
    ("remnant.add", {"name": "scrap", "cloth": "main", "width": "40 cm", "length": "60 cm"}, 0, {"remnant"}),
    ("wearer.add", {"name": "Ada", "measures": {"waist": "72 cm"}}, 0, {"wearer"}),
    ("opening.add", {"name": "leg", "edges": ["brief front.leg", "brief back.leg"], "sits": "52 cm"}, 0, {"opening"}),
    ("garment.set", {"index": 1, "key": "count", "value": "most"}, 1, {"garment"}),
    ("garment.set", {"index": 1, "key": "cloth", "value": {"main": "cotton"}}, 0, {"garment"}),
    ("garment.counts", {"counts": {"0": 4, "2": 0}}, 7, {"garment"}),
    ("seam.set", {"index": 4, "key": "add_centre_notches", "value": True}, 1, {"seam"}),
    ("together.set", {"index": 0, "key": "shape", "value": "own"}, 0, {"together"}),
    ("together.add", {"leader": "shorts front", "follower": "shorts back", "shape": "own"}, 0, {"together"}),
    ("together.remove", {"index": 0}, 4, {"together"}),
    ("trim.add", {"name": "edge", "kind": "lace", "edges": ["lining.top"]}, 0, {"trim"}),
    ("trim.set", {"index": 1, "key": "ratio", "value": "0,9"}, 0, {"trim"}),
    ("trim.set", {"index": 1, "key": "ratios.brief back.leg", "value": "80 %"}, 0, {"trim"}),
    ("trim.set", {"index": 2, "key": "price", "value": None}, 1, {"trim"}),
    ("trim.remove", {"index": 0}, 6, {"trim"}),
    ("band.add", {"name": "cuff", "round": ["brief front.leg", "brief back.leg"], "height": "6 cm"}, 0, {"piece"}),
    ("band.add", {"name": "strap", "rectangle": ["4 cm", "62 cm"]}, 0, {"piece"}),
    ("file.choose", {"index": 3, "pages": [2, 3], "layers": ["cut"]}, 0, {"pattern"}),
    ("piece.set", {"piece": "brief front", "key": "allowance.side", "value": "1 cm"}, 0, {"piece"}),
    ("piece.set", {"piece": "lining", "key": "trim_short.top", "value": "2 cm"}, 0, {"piece"}),
    ("garment.set", {"index": 1, "key": "same_cloth", "value": True}, 0, {"garment"}),
    ("garment.set", {"index": 1, "key": "ratio", "value": "2"}, 0, {"garment"}),
    ("pieces.allowance", {"pieces": ["shorts front", "lining"], "includes": True, "length": "1 cm"}, 0, {"piece"}),
    ("pieces.allowance", {"pieces": ["shorts back"], "includes": False, "length": "1 cm"}, 0, {"piece"}),
    ("piece.rename", {"piece": "lining", "name": "gusset lining"}, 9,
     {"pattern", "piece", "edge", "seam", "together", "garment"}),
]  # fmt: skip
#: commands on what has to be made first
AFTER: list[tuple[tuple[str, dict[str, Any]], tuple[str, dict[str, Any], int, set[str]]]] = [
    (COMMANDS[21][:2], ("alter.set", {"index": 0, "key": "by", "value": "2 cm"}, 1, {"alter"})),
    (COMMANDS[21][:2], ("alter.remove", {"index": 0}, 7, {"alter"})),
    (COMMANDS[25][:2], ("cloth.remove", {"index": 2}, 4, {"cloth"})),
    (COMMANDS[28][:2], ("remnant.remove", {"index": 0}, 6, {"remnant"})),
    (COMMANDS[29][:2], ("wearer.set", {"index": 0, "key": "measures.hip", "value": "98 cm"}, 1, {"wearer"})),
    (COMMANDS[29][:2], ("wearer.remove", {"index": 0}, 4, {"wearer"})),
    (COMMANDS[30][:2], ("opening.set", {"index": 0, "key": "sits", "value": "50 cm"}, 1, {"opening"})),
    (COMMANDS[30][:2], ("opening.remove", {"index": 0}, 5, {"opening"})),
    (COMMANDS[44][:2], ("band.set", {"index": 0, "key": "ratio", "value": "80 %"}, 0, {"piece"})),
    (COMMANDS[44][:2], ("band.remove", {"index": 0}, 5, {"piece"})),
]
#: those that change no order, or are tested where they belong
ELSEWHERE = {
    "undo", "redo", "disk.reload", "disk.keep_mine", "order.new", "proposals.accept", "seam.try", "alter.try",
    "lay.start", "run.stop", "lay.take", "lay.move", "lay.keep", "buy.start", "remnants.start", "batch.start",
    "file.contents", "stash.add", "stash.remove", "cut.tick", "cut.print", "projector.save", "projector.remove",
    "proposals.decline",
}  # fmt: skip


class Written:
    """An order's text as it was written, and what the page has read of it."""

    def __init__(self, text: str, folder: Path) -> None:
        self.text = text
        self.seen = survey(text, folder / "chorus.toml", READER)

    def after(self, cmd: str, fields: dict[str, Any]) -> str:
        """The text after a command."""
        if fields.get("at") == "middle":
            pieces = pieces_doc(self.seen, 1)["pieces"]
            one = next(p for p in pieces if p["name"] == fields["piece"] and p["size"] == fields["size"])
            line = next(e for e in one["edges"] if e["name"] == fields["edge"])["line"]
            fields = {**fields, "at": line[len(line) // 2]}
        command = msgspec.json.decode(json.dumps({"cmd": cmd, **fields}), type=COMMAND)
        made = edit_of(command, OrderText(self.text), self.seen)
        assert made is not None
        return made.text.text


@pytest.fixture(scope="module", params=["\n", "\r\n"], ids=["lf", "crlf"])
def commented(request: pytest.FixtureRequest) -> Written:
    """The demo with these line ends."""
    text = (FIXTURES / "demo" / "chorus.toml").read_text(encoding="utf-8")
    return Written(text.replace("\n", request.param), FIXTURES / "demo")


def _same_but(before: str, after: str, most: int, kinds: set[str]) -> None:
    """Only those lines went, no comment among them, no line end was changed, and no other block says anything else."""
    old, new = before.splitlines(keepends=True), after.splitlines(keepends=True)
    diff = list(difflib.ndiff(old, new))
    gone = [line[2:] for line in diff if line.startswith("- ")]
    assert len(gone) <= most + 1, gone
    # a comment behind a value that goes may go with it; one on a line of its own speaks of what stays
    lost = [line.partition("#")[2] for line in gone if not line.lstrip().startswith("#")]
    comments = [c for c in (m[1] for m in re.finditer(r"#([^\r\n]*)", before)) if c not in map(str.rstrip, lost)]
    assert [c for c in (m[1] for m in re.finditer(r"#([^\r\n]*)", after)) if c in comments] == comments, gone
    ends = {re.search(r"\r?\n$", line)[0] for line in new if line.endswith("\n")}  # type: ignore[index]
    assert ends == {re.search(r"\r?\n$", old[0])[0]}  # type: ignore[index]
    was, now = tomllib.loads(before), tomllib.loads(after)
    assert {k: v for k, v in was.items() if k not in kinds} == {k: v for k, v in now.items() if k not in kinds}


@pytest.mark.parametrize(
    ("cmd", "fields", "most", "kinds"), COMMANDS, ids=[f"{n}-{c[0]}" for n, c in enumerate(COMMANDS)]
)
def test_a_command_changes_only_what_it_says(
    commented: Written, cmd: str, fields: dict[str, Any], most: int, kinds: set[str]
) -> None:
    """Comments, blank lines, alignment and line ends stay."""
    after = commented.after(cmd, fields)
    _same_but(commented.text, after, most, kinds)
    assert bool(kinds) == (after != commented.text)


@pytest.mark.parametrize(("first", "then"), AFTER, ids=[c[1][0] for c in AFTER])
def test_so_does_one_on_what_was_made_on_the_page(
    first: tuple[str, dict[str, Any]], then: tuple[str, dict[str, Any], int, set[str]]
) -> None:
    """A block that the page wrote is changed and taken out like one by hand; taken out, the text is as before."""
    begun = (FIXTURES / "demo" / "chorus.toml").read_text(encoding="utf-8")
    made = Written(begun, FIXTURES / "demo").after(*first)
    cmd, fields, most, kinds = then
    after = Written(made, FIXTURES / "demo").after(cmd, fields)
    _same_but(made, after, most, kinds)
    if cmd.endswith(".remove"):
        assert after == begun


def test_undo_and_redo_give_the_very_bytes_back(demo: Server) -> None:
    """Whatever was done in between."""
    before = demo.page.work.path.read_bytes()
    demo.do("cloth.set", index=0, key="width", value="147,5 cm")
    once = demo.page.work.path.read_bytes()
    demo.do("garment.remove", index=2)
    demo.do("undo")
    assert demo.page.work.path.read_bytes() == once
    demo.do("undo")
    assert demo.page.work.path.read_bytes() == before
    demo.do("redo")
    assert demo.page.work.path.read_bytes() == once


def test_what_is_said_of_all_sizes_counts_in_each(commented: Written) -> None:
    """A grain that was set for one size does not win, unseen, over one typed for all."""
    one = commented.after("piece.set", {"piece": "lining", "size": "M", "key": "tilt", "value": 7})
    seen = Written(one, commented.seen.path.parent)
    assert seen.seen.asked["lining", "M"]["tilt"] == 7
    two = Written(seen.after("piece.set", {"piece": "lining", "key": "tilt", "value": 2}), seen.seen.path.parent)
    assert two.seen.asked["lining", "M"]["tilt"] == 2


def test_what_does_not_hold_when_read_again_is_refused(commented: Written) -> None:
    """A value that another block overrules is never told as done."""
    made = Edit("tilt of lining", OrderText(commented.text), holds=("lining", None, "tilt", 3))
    refused = not_held(made, commented.seen)
    assert refused is not None and refused.code == "not-held"
    assert not_held(Edit("", made.text), commented.seen) is None


def test_every_command_of_the_protocol_is_in_one_of_the_tables() -> None:
    """A command that is added later must say where it is tested."""
    names = {str(one.__struct_config__.tag) for one in protocol.commands()}
    assert names == {c[0] for c in COMMANDS} | {then[0] for _, then in AFTER} | ELSEWHERE


def test_the_demo_that_ships_is_the_one_that_is_tested() -> None:
    """Its files are those of the fixtures, byte for byte, and none of the order's files is missing."""
    names = {path.name for path in DEMO.iterdir() if path.is_file()}
    for name in names:
        assert (DEMO / name).read_bytes() == (FIXTURES / "demo" / name).read_bytes(), name
    order = tomllib.loads((DEMO / "chorus.toml").read_text(encoding="utf-8"))
    assert names == {"chorus.toml", *(one["file"] for one in order["pattern"])}
