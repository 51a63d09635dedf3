"""Lay files: what is written is what is read, byte for byte; what is wrong is refused by its key."""

from __future__ import annotations

import copy
import json
import os
import random
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nesting.files.lays.layfile import lay_as_bytes, lay_as_dict, lay_from_dict, read_lay
from nesting.model.errors import InternalError, OrderError
from nesting.model.findings import Reason
from nesting.model.lay import (
    FoldLine,
    GarmentShare,
    Lay,
    Placement,
    PlyRegion,
    Section,
    Spread,
    SpreadTried,
)
from nesting.model.piece import Drill, Notch, Piece

EXAMPLES = int(os.environ.get("NESTING_EXAMPLES", "60"))

# What a file can hold exactly: lengths in millionths of a millimetre.
lengths = st.integers(-(10**12), 10**12).map(lambda n: n / 1e6)
positive = st.integers(0, 10**12).map(lambda n: n / 1e6)
points = st.tuples(lengths, lengths)
words = st.text(min_size=1, max_size=8)
maybe = st.none() | words


def rings(least: int) -> st.SearchStrategy[Any]:
    """Tuples of points; that they make sense is not the file's business."""
    return st.lists(points, min_size=least, max_size=least + 3).map(tuple)


def tuples_of(one: st.SearchStrategy[Any], most: int = 2) -> st.SearchStrategy[Any]:
    """Short tuples."""
    return st.lists(one, max_size=most).map(tuple)


def named(name: str) -> st.SearchStrategy[Placement]:
    """A placement of a piece of that name."""
    laid = st.builds(
        Piece,
        name=st.just(name),
        outline=rings(3),
        inside=tuples_of(rings(1)),
        cutouts=tuples_of(rings(3)),
        notches=tuples_of(
            st.builds(
                Notch,
                at=points,
                direction=st.integers(0, 360 * 10**6).map(lambda n: n / 1e6),
                kind=st.sampled_from(["slit", "v", "t", "castle", "check", "u"]),
                depth=positive,
                name=maybe,
            )
        ),
        drills=tuples_of(st.builds(Drill, at=points, diameter=positive, name=maybe)),
        grainline=st.tuples(points, points),
        fold=st.none() | st.tuples(points, points),
        seam=st.none() | rings(3),
    )
    return st.builds(
        Placement,
        piece=st.just(name),
        garment=words,
        size=maybe,
        copy=st.integers(1, 99),
        x=lengths,
        y=lengths,
        turn=st.integers(0, 360 * 10**9).map(lambda n: n / 1e9),
        flipped=st.booleans(),
        plies=tuples_of(st.integers(0, 9)),
        on_fold=st.booleans(),
        opened=st.booleans(),
        gives=st.integers(1, 9),
        laid=laid,
        follows=maybe,
        second_cloth=maybe,
        copies=tuples_of(st.integers(1, 9)),
    )


placements = words.flatmap(named)
kinds = st.sampled_from(["open", "lengthwise fold", "partial fold", "double fold", "crosswise fold", "tubular"])
spreads = st.builds(
    Spread,
    kind=kinds,
    table_width=positive,
    length=positive,
    plies=tuples_of(
        st.builds(
            PlyRegion,
            ply=st.integers(0, 9),
            face=st.sampled_from(["up", "down"]),
            region=rings(3),
            flaws=tuples_of(rings(3)),
            reversed=st.booleans(),
        )
    ),
    folds=tuples_of(
        st.builds(
            FoldLine,
            along=st.sampled_from(["x", "y"]),
            at=lengths,
            plies=st.tuples(st.integers(0, 9), st.integers(0, 9)),
        )
    ),
    depths=tuples_of(positive),
    layers=st.integers(1, 9),
)
sections = st.builds(Section, spread=spreads, lay_length=positive, placements=tuples_of(placements), start=st.just(0.0))
tried = st.builds(
    SpreadTried,
    kind=kinds,
    lay_length=st.none() | positive,
    buy_length=st.none() | positive,
    utilisation=st.none() | st.floats(0, 1).map(lambda v: round(v, 9)),
    handling=st.none() | st.tuples(st.integers(0, 9), st.integers(0, 9), st.integers(0, 9)),
    refused=st.none()
    | st.builds(
        Reason,
        words,
        code=words,
        figures=st.dictionaries(words, words | st.integers(-9, 9) | st.booleans(), max_size=2),
    ),
    chosen=st.booleans(),
)


@st.composite
def lays(draw: st.DrawFn) -> Lay:
    """A lay of one or several sections."""
    parts = draw(st.lists(sections, min_size=1, max_size=3))
    at, placed_sections = 0.0, []
    for part in parts:
        placed_sections.append(replace(part, start=at))
        at = round(at + part.lay_length, 6)
    # a lay of one section has that section's length
    length = parts[0].lay_length if len(parts) == 1 else draw(positive)
    return Lay(
        title=draw(words),
        cloth=draw(words),
        width=draw(positive),
        width_washed=draw(positive),
        usable_width=draw(positive),
        sections=tuple(placed_sections),
        lay_length=length,
        buy_length=draw(positive),
        lower_bound=draw(positive),
        bound_reason=draw(st.text(max_size=8)),
        utilisation=round(draw(st.floats(0, 1)), 9),
        garments=draw(
            tuples_of(st.builds(GarmentShare, name=words, size=maybe, count=st.integers(0, 99), length_each=positive))
        ),
        order_file=draw(maybe),
        order_sha256=draw(st.text(alphabet="0123456789abcdef", max_size=64)),
        seed=draw(st.integers(0, 2**31)),
        seconds=draw(positive),
        gap=draw(positive),
        end_allowance=draw(positive),
        selvage=draw(positive),
        repeat_along=draw(positive),
        repeat_across=draw(positive),
        remnant=draw(maybe),
        over=draw(maybe),
        imperial=draw(st.booleans()),
        tried=draw(tuples_of(tried)),
        notes=draw(tuples_of(words)),
    )


@settings(max_examples=EXAMPLES, deadline=None)
@given(lays())
def test_round_trip(lay: Lay) -> None:
    """Writing and reading back loses nothing, through the document and through the bytes."""
    assert lay_from_dict(lay_as_dict(lay)) == lay
    content = lay_as_bytes(lay)
    assert lay_from_dict(json.loads(content)) == lay
    assert lay_as_bytes(lay_from_dict(json.loads(content))) == content


def square(side: float = 100.0, **other: Any) -> Placement:
    """A square of cloth."""
    given_: dict[str, Any] = {
        "piece": "front",
        "garment": "shorts",
        "size": "M",
        "copy": 1,
        "x": side / 2,
        "y": side / 2,
        "turn": 0.0,
        "flipped": False,
        "plies": (0,),
        "on_fold": False,
        "opened": False,
        "gives": 1,
        "laid": Piece(
            "front",
            ((0.0, 0.0), (side, 0.0), (side, side), (0.0, side)),
            notches=(Notch((side, side / 2), 180.0, "slit", 5.0),),
            grainline=((side / 4, side / 2), (side * 3 / 4, side / 2)),
        ),
        **other,
    }
    return Placement(**given_)


def small_lay(**other: Any) -> Lay:
    """One square on open cloth."""
    region = ((0.0, 10.0), (100.0, 10.0), (100.0, 1490.0), (0.0, 1490.0))
    section = Section(Spread("open", 1500.0, 100.0, (PlyRegion(0, "up", region),)), 100.0, (square(),))
    given_: dict[str, Any] = {
        "title": "Chorus shorts",
        "cloth": "main",
        "width": 1500.0,
        "width_washed": 1500.0,
        "usable_width": 1480.0,
        "sections": (section,),
        "lay_length": 100.0,
        "buy_length": 200.0,
        "lower_bound": 100.0,
        "bound_reason": "the longest piece",
        "utilisation": 0.066667,
        "garments": (GarmentShare("shorts", "M", 1, 200.0),),
        "order_file": "shorts.toml",
        "order_sha256": "ab",
        **other,
    }
    return Lay(**given_)


def test_keys_of_the_schema() -> None:
    """The document has the keys of schema lay/1, by hand."""
    document = lay_as_dict(small_lay())
    assert document["schema"] == "lay/1"
    assert document["units"] == "mm"
    assert document["order"] == {"file": "shorts.toml", "sha256": "ab"}
    assert {k: document["cloth"][k] for k in ("name", "width", "width_washed", "usable_width")} == {
        "name": "main",
        "width": 1500.0,
        "width_washed": 1500.0,
        "usable_width": 1480.0,
    }
    spread = document["spread"]
    assert (spread["kind"], spread["table_width"], spread["length"]) == ("open", 1500.0, 100.0)
    ply = spread["plies"][0]
    assert (ply["ply"], ply["face"], ply["flaws"]) == (0, "up", [])
    assert ply["region"] == [[0.0, 10.0], [100.0, 10.0], [100.0, 1490.0], [0.0, 1490.0]]
    assert [document[k] for k in ("lay_length", "buy_length", "lower_bound")] == [100.0, 200.0, 100.0]
    placement = document["placements"][0]
    assert placement["piece"] == "front" and placement["plies"] == [0] and placement["on_fold"] is False
    assert placement["notches"] == [
        {"at": [100.0, 50.0], "direction": 180.0, "kind": "slit", "depth": 5.0, "name": None}
    ]
    assert placement["grainline"] == [[25.0, 50.0], [75.0, 50.0]]
    assert placement["outline"] == [[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]]
    assert document["garments"] == [{"name": "shorts", "size": "M", "count": 1, "length_each": 200.0}]
    assert "sections" not in document


def test_sections_replace_placements() -> None:
    """A lay in sections has kind "sections", a list of sections and no placements at the top."""
    lay = small_lay()
    two = replace(lay, sections=(lay.sections[0], replace(lay.sections[0], start=100.0)), lay_length=200.0)
    document = lay_as_dict(two)
    assert document["spread"] == {"kind": "sections"}
    assert "placements" not in document
    assert [s["start"] for s in document["sections"]] == [0.0, 100.0]
    assert {"spread", "lay_length", "placements"} <= document["sections"][0].keys()
    assert lay_from_dict(document) == two


def test_the_first_form_of_the_schema_is_read() -> None:
    """A document with no keys but those of the schema's first form."""
    document = {
        "schema": "lay/1",
        "units": "mm",
        "order": {"file": "shorts.toml", "sha256": "…"},
        "title": "…",
        "seed": 0,
        "seconds": 20.0,
        "cloth": {"name": "main", "width": 1500.0, "width_washed": 1500.0, "usable_width": 1480.0},
        "spread": {
            "kind": "partial fold",
            "table_width": 1180.0,
            "length": 812.4,
            "folds": [{"along": "x", "at": 0.0, "plies": [0, 1]}],
            "plies": [
                {"ply": 0, "face": "up", "region": [[0, 0], [812.4, 0], [812.4, 1170], [0, 1170]], "flaws": []},
                {"ply": 1, "face": "down", "region": [[0, 0], [812.4, 0], [812.4, 310], [0, 310]], "flaws": []},
            ],
        },
        "lay_length": 812.4,
        "buy_length": 900.0,
        "lower_bound": 738.0,
        "utilisation": 0.871,
        "placements": [
            {
                "piece": "front",
                "garment": "shorts",
                "size": "M",
                "copy": 1,
                "x": 120.5,
                "y": 0.0,
                "turn": 180.0,
                "flipped": False,
                "plies": [0, 1],
                "on_fold": True,
                "gives": 1,
                "outline": [[0, 0], [1, 0], [1, 1]],
                "inside": [[[0, 0]]],
                "notches": [{"at": [130.0, 44.2], "direction": 92.5, "kind": "slit", "depth": 5.0}],
                "grainline": [[10, 0], [20, 0]],
            }
        ],
        "garments": [{"name": "shorts", "size": "M", "count": 6, "length_each": 150.0}],
    }
    lay = lay_from_dict(document)
    assert lay.sections[0].spread.plies[1].face == "down"
    assert lay.placements[0].notches[0].at == (130.0, 44.2)
    assert lay.garments[0].count == 6


def test_keys_may_be_added() -> None:
    """Unknown keys are allowed anywhere; those at the top are kept and written again."""
    document = lay_as_dict(small_lay())
    document["shop"] = {"street": "…"}
    document["placements"][0]["colour"] = "navy"
    lay = lay_from_dict(document)
    assert lay.extra == {"shop": {"street": "…"}}
    assert lay_as_dict(lay)["shop"] == {"street": "…"}


def test_same_lay_same_bytes_one_placement_to_a_line(tmp_path: Path) -> None:
    """The file is the same every time, and a person finds each piece on a line of its own."""
    lay = small_lay()
    assert lay_as_bytes(lay) == lay_as_bytes(copy.deepcopy(lay))
    lines = lay_as_bytes(lay).decode().splitlines()
    assert sum('"piece": "front"' in line for line in lines) == 1
    path = tmp_path / "lay-main.json"
    path.write_bytes(lay_as_bytes(lay))
    assert read_lay(path) == lay


def test_rounding_is_to_a_millionth() -> None:
    """A millimetre is written with six decimals, and never as minus nought."""
    lay = small_lay(lay_length=1 / 3)
    assert lay_as_dict(lay)["lay_length"] == 0.333333
    moved = replace(square(), x=-1e-9)
    section = replace(lay.sections[0], placements=(moved,))
    assert str(lay_as_dict(replace(lay, sections=(section,)))["placements"][0]["x"]) == "0.0"


def test_not_a_number_is_never_written() -> None:
    """A lay with a figure that is not a number is our own fault."""
    with pytest.raises(InternalError, match="not a number"):
        lay_as_bytes(small_lay(utilisation=float("nan")))


def broken(path: str, value: Any) -> dict[str, Any]:
    """The document with one value replaced (``...`` takes the key out)."""
    document: Any = json.loads(lay_as_bytes(small_lay()))
    *way, last = [int(k) if k.isdigit() else k for k in path.split("/")]
    part = document
    for key in way:
        part = part[key]
    if value is ...:
        del part[last]
    else:
        part[last] = value
    return document


@pytest.mark.parametrize(
    "path,value,key,says",
    [
        ("schema", "lay/2", "schema", '"lay/1"'),
        ("schema", ..., "schema", "missing"),
        ("units", "inch", "units", '"mm"'),
        ("cloth", ..., "cloth", "missing"),
        ("cloth", [], "cloth", "an object"),
        ("cloth/name", 5, "cloth.name", "a text expected, found 5"),
        ("cloth/width", "1500", "cloth.width", 'a number expected, found "1500"'),
        ("cloth/width", -1.0, "cloth.width", "0 or more"),
        ("lay_length", True, "lay_length", "a number expected, found true"),
        ("lay_length", None, "lay_length", "a number expected, found null"),
        ("lay_length", 1e9, "lay_length", "of a lay's size"),
        ("lay_length", ..., "lay_length", "missing"),
        ("placements", ..., "placements", "missing"),
        ("placements", {}, "placements", "a list"),
        ("placements/0", 3, "placements[0]", "an object"),
        ("placements/0/x", "left", "placements[0].x", "a number"),
        ("placements/0/copy", 0, "placements[0].copy", "1 or more"),
        ("placements/0/copy", 1.5, "placements[0].copy", "a whole number"),
        ("placements/0/flipped", "no", "placements[0].flipped", "true or false"),
        ("placements/0/plies", [0, "top"], "placements[0].plies[1]", "a whole number"),
        ("placements/0/outline", [[0, 0], [1, 1]], "placements[0].outline", "3 or more points"),
        ("placements/0/outline/1", [0], "placements[0].outline[1]", "a point [x, y]"),
        ("placements/0/outline/1", [0, None], "placements[0].outline[1]", "a number"),
        ("placements/0/grainline", [[0, 0]], "placements[0].grainline", "2 or more points"),
        ("placements/0/grainline", [[0, 0], [1, 1], [2, 2]], "placements[0].grainline", "the two ends"),
        ("placements/0/notches/0/kind", "star", "placements[0].notches[0].kind", '"slit"'),
        ("placements/0/notches/0/at", 5, "placements[0].notches[0].at", "a point"),
        ("holds", 5, "holds", "a list"),
        ("holds", [{"garment": "g", "copy": 1}], "holds[0].piece", "missing"),
        ("holds", [{"garment": "g", "piece": "p", "copy": 0, "count": 1}], "holds[0].copy", "1 or more"),
        ("holds", [{"garment": "g", "piece": "p", "copy": 1, "hand": "up", "count": 1}], "holds[0].hand", '"right"'),
        ("leftover", {"outline": [[0, 0]]}, "remnant", "a text"),
        ("spread/kind", "rolled", "spread.kind", '"lengthwise fold"'),
        ("spread/plies/0/face", "side", "spread.plies[0].face", '"up", "down"'),
        ("spread/plies/0/region", ..., "spread.plies[0].region", "missing"),
        ("spread/folds", [{"along": "x", "at": 0, "plies": [0]}], "spread.folds[0].plies", "the two plies"),
        ("spread/layers", 0, "spread.layers", "1 or more"),
        ("spread", {"kind": "sections"}, "placements", "in the sections"),
        ("sections", [], "sections", "is not"),
        ("garments/0/count", -2, "garments[0].count", "0 or more"),
        ("notes", ["fine", 4], "notes[1]", "a text"),
        ("tried", [{"kind": "open", "handling": [1]}], "tried[0].handling", "placements, folds"),
    ],
)
def test_refused_by_key(path: str, value: Any, key: str, says: str) -> None:
    """Each wrong value is an order error that names the key and what was expected."""
    with pytest.raises(OrderError) as caught:
        lay_from_dict(broken(path, value))
    assert caught.value.key == key
    assert says in caught.value.message
    if path.startswith("placements/0/"):
        assert caught.value.piece == "front"


@pytest.mark.parametrize(
    "content,says",
    [
        (b"", "not a lay file"),
        (b"{", "not a lay file"),
        (b"[1, 2]", "an object"),
        (b"\xff\xfe\x00", "not text in UTF-8"),
        (b"<svg/>", "not a lay file"),
        (b'{"schema": "lay/1", "lay_length": NaN}', "NaN stands where a number"),
        (b'{"schema": "lay/1", "schema": "lay/1"}', "given twice"),
        (b'{"a":' * 100_000, "not a lay file"),
    ],
)
def test_other_files_are_refused(tmp_path: Path, content: bytes, says: str) -> None:
    """What is no lay file is said to be none, with the file's name."""
    path = tmp_path / "lay-main.json"
    path.write_bytes(content)
    with pytest.raises(OrderError) as caught:
        read_lay(path)
    assert says in caught.value.message
    assert caught.value.file == str(path)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    """A file that is not there, and a folder given for one."""
    with pytest.raises(OrderError, match="no such lay file"):
        read_lay(tmp_path / "lay-none.json")
    with pytest.raises(OrderError, match="this is a folder"):
        read_lay(tmp_path)


def test_mutilated_documents_are_refused_or_read() -> None:
    """Whatever is put in place of any value: a lay or an order error, never anything else."""
    dice = random.Random(7)
    strange = [None, True, -1, 0, 1e308, "x", [], {}, [[]], [[0, 0]], {"a": 1}, float("inf"), 10**400]
    document = json.loads(lay_as_bytes(small_lay()))

    def paths(part: Any, way: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        items = part.items() if isinstance(part, dict) else enumerate(part) if isinstance(part, list) else ()
        return [found for key, value in items for found in [(*way, key), *paths(value, (*way, key))]]

    places = paths(document)
    refused = 0
    for _ in range(600):
        spoiled = copy.deepcopy(document)
        *way, last = dice.choice(places)
        part = spoiled
        for key in way:
            part = part[key]
        part[last] = dice.choice(strange)
        try:
            lay_from_dict(spoiled)
        except OrderError:
            refused += 1
    assert 300 < refused < 600


def test_reasons_are_told_to_programs_and_old_files_keep_their_words() -> None:
    """Code and figures stand beside the message; a file of before gives the message alone."""
    why = Reason("2 plies asked for, but max_plies is 1", code="spread.max-plies", figures={"plies": 2})
    tried = SpreadTried("stacked face up", None, None, None, None, refused=why)
    lay = small_lay(tried=(tried,), apart=Reason("it is a tube", code="together.apart"))
    document = lay_as_dict(lay)
    assert document["tried"][0]["refused_reason"] == {"code": "spread.max-plies", "figures": {"plies": 2}}
    again = lay_from_dict(document)
    assert again == lay and again.tried[0].refused == why and again.apart is not None
    del document["tried"][0]["refused_reason"], document["apart_reason"]
    old = lay_from_dict(document)
    assert old.apart is not None and (old.apart.message, old.apart.code) == ("it is a tube", "reason.not-told")
