"""The stash file: what is written is read again, and what is not sound is refused by name."""

from __future__ import annotations

from dataclasses import replace

import pytest

from nesting.model.errors import InputError, OrderError
from nesting.model.order import Cloth, Remnant
from nesting.planning.leftovers.stash import (
    Stash,
    add,
    already_there,
    read_stash,
    remove,
    used_by,
    with_stash,
    write_stash,
)
from tests.planning.area_lays import order_of, rectangle, scrap

ODD = Remnant(
    "odd",
    "navy",
    ((0.0, 0.0), (300.0, 0.0), (300.0, 120.5), (0.0, 80.25)),
    (((10.0, 10.0), (20.0, 10.0), (20.0, 20.0)),),
)


def test_what_is_written_is_read_again(tmp_path):
    """A rectangle, an odd shape with a flaw, names, cloths and notes."""
    path = tmp_path / "stash.toml"
    stash = add(add(Stash(), [scrap("a", 450.0, 600.0, "navy")]), [ODD], note="from the chorus shorts")
    write_stash(path, stash)
    again = read_stash(path)
    assert again.remnants == stash.remnants
    assert [item.note for item in again.items] == ["", "from the chorus shorts"]
    assert again.remnants[0].rectangular and not again.remnants[1].rectangular


def test_no_file_is_an_empty_stash(tmp_path):
    """The first leftover starts the file."""
    assert read_stash(tmp_path / "none.toml") == Stash()


def test_a_taken_name_gets_a_number():
    """navy, navy-2, navy-3: nothing is replaced in silence."""
    stash = add(Stash(), [scrap("navy", 1.0, 1.0)] * 3)
    assert [r.name for r in stash.remnants] == ["navy", "navy-2", "navy-3"]


def test_what_a_lay_left_is_not_kept_twice(tmp_path):
    """The same outline with the same note is there already, also when read back from the file; of two equal ones each
    answers for one; another note, cloth or size is another leftover."""
    path = tmp_path / "stash.toml"
    odd = replace(ODD, outline=tuple((x / 3.0, y / 3.0) for x, y in ODD.outline), flaws=())
    two = [scrap("a", 450.0, 600.0, "navy"), scrap("b", 450.0, 600.0, "navy"), replace(odd, name="c"), ODD]
    write_stash(path, add(Stash(), [two[0], *two[2:]], note="shorts"))
    stash = read_stash(path)
    assert already_there(stash, two, note="shorts") == {"a": "a", "c": "c", "odd": "odd"}
    assert already_there(stash, two, note="briefs") == {}
    other = [scrap("a", 450.0, 600.0, "red"), scrap("a", 450.0, 601.0, "navy"), replace(ODD, flaws=())]
    assert already_there(stash, other, note="shorts") == {}


def test_removing_names_only_what_is_there():
    """A name that is not there is an error with the nearest known one, and nothing is removed."""
    stash = add(Stash(), [scrap("navy", 1.0, 1.0), scrap("red", 1.0, 1.0)])
    assert [r.name for r in remove(stash, ["navy"]).remnants] == ["red"]
    with pytest.raises(OrderError, match="did you mean 'navy'"):
        remove(stash, ["nevy"])


def test_hand_written_lengths_carry_their_units(tmp_path):
    """Bare numbers in the file's units, others in their own; the box begins at the origin."""
    path = tmp_path / "stash.toml"
    path.write_text(
        'schema = "stash/1"\nunits = "cm"\n'
        '[[remnant]]\nname = "a"\ncloth = "main"\nwidth = 60\nlength = "1/2 yd"\n'
        '[[remnant]]\nname = "b"\ncloth = "main"\noutline = [[-10, 5], [-10, 15], [10, 15], [10, 5]]\n'
    )
    a, b = read_stash(path).remnants
    assert a.outline == ((0.0, 0.0), (457.2, 0.0), (457.2, 600.0), (0.0, 600.0))
    assert set(b.outline) == {(0.0, 0.0), (200.0, 0.0), (200.0, 100.0), (0.0, 100.0)} and b.rectangular


def test_an_order_takes_what_is_of_its_cloth():
    """Other cloths stay in the stash; the order's own remnants keep their names."""
    order = order_of([rectangle("body", 1.0, 1.0)], [], [Cloth("main", 1.0)], remnants=(scrap("a", 5.0, 5.0),))
    stash = add(Stash(), [scrap("a", 9.0, 9.0), scrap("b", 2.0, 2.0), scrap("c", 3.0, 3.0, "velvet")])
    assert [(r.name, r.outline[1][0]) for r in with_stash(order, stash).remnants] == [("a", 5.0), ("b", 2.0)]


HEAD = 'schema = "stash/1"\n[[remnant]]\nname = "a"\ncloth = "main"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("not toml", "not sound TOML"),
        ('schema = "stash/9"', r"schema.*'stash/1'"),
        ('schema = "stash/1"\nunits = "ell"', r"units.*expected one of mm"),
        ('schema = "stash/1"\nremnants = 1', r"'remnants'.*unknown key"),
        ('schema = "stash/1"\n[remnant]\nname = "a"', "two brackets"),
        (HEAD + "width = 10", r"remnant 1\.length.*missing"),
        (HEAD + 'width = "ten"\nlength = 1', r"remnant 1\.width.*'ten'"),
        (HEAD + "width = -3\nlength = 1", r"remnant 1\.width"),
        (HEAD + "width = 0\nlength = 1", "no area"),
        (HEAD + "width = nan\nlength = 1", r"remnant 1\.width"),
        (HEAD + "widht = 3\nlength = 1", r"remnant 1\.widht.*did you mean width"),
        (HEAD + "width = 3\noutline = [[0,0],[1,0],[1,1]]", "not both"),
        (HEAD + "outline = [[0,0],[1,0]]", "at least three points"),
        (HEAD + "outline = [[0,0],[1,0],[1]]", r"expected \[x, y\]"),
        (HEAD + "outline = [[0,0],[1,1],[1,0],[0,1]]", "crosses itself"),
        (HEAD + "width = 1\nlength = 1\nflaws = 3", r"remnant 1\.flaws"),
        (
            HEAD + "width = 1\nlength = 1\n[[remnant]]\nname = 'a'\ncloth = 'main'\nwidth = 1\nlength = 1",
            "two remnants",
        ),
        (HEAD + "width = 1\nlength = 1\nnote = 3", r"remnant 1\.note"),
        ('schema = "stash/1"\n[[remnant]]\ncloth = "main"\nwidth = 1\nlength = 1', r"remnant 1\.name"),
    ],
)
def test_what_is_not_sound_is_refused(tmp_path, text, says):
    """One clear error with the file and the key."""
    path = tmp_path / "stash.toml"
    path.write_text(text)
    with pytest.raises(OrderError, match=says) as caught:
        read_stash(path)
    assert str(path) in str(caught.value)


def test_what_is_no_text_or_no_file_is_refused(tmp_path):
    """A folder, and bytes that are not UTF-8."""
    with pytest.raises(OrderError, match="folder"):
        read_stash(tmp_path)
    path = tmp_path / "stash.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(OrderError, match="UTF-8"):
        read_stash(path)


def test_a_stash_that_cannot_be_written_leaves_the_old_one(tmp_path):
    """Whole or not at all."""
    path = tmp_path / "stash.toml"
    path.mkdir()
    with pytest.raises(InputError, match="nothing was changed"):
        write_stash(path, Stash())
    assert path.is_dir() and not list(path.iterdir())
    assert [p.name for p in tmp_path.iterdir()] == ["stash.toml"]


def test_the_command_says_what_it_added(tmp_path):
    """Added by name; the second time nothing; where nothing is large enough, the largest there is."""
    from nesting.cli.buying_commands import stash_file
    from nesting.files.lays.layfile import lay_as_bytes
    from tests.report import samples

    lay, path = tmp_path / "lay.json", tmp_path / "stash.toml"
    lay.write_bytes(lay_as_bytes(samples.open_lay()))
    document, words = stash_file(path, [lay], "10 cm x 10 cm", None)
    names = document["added"]
    assert names and words[0] == f"added {len(names)} leftover{'s' if len(names) > 1 else ''}: {', '.join(names)}"
    kept = path.read_bytes()
    document, words = stash_file(path, [lay], "10 cm x 10 cm", None)
    assert document["added"] == [] and document["already_there"] == names
    assert str(words[0]).startswith("not added again") and path.read_bytes() == kept
    document, words = stash_file(path, [lay], "9 m x 9 m", None)
    assert document["added"] == [] and "nothing added: no leftover holds 9 m x 9 m; the largest" in str(words[0])


def test_a_leftover_that_was_cut_makes_way_for_its_offcuts(tmp_path):
    """Adding a lay on a leftover takes that leftover out; doing it again changes nothing. One of the same name that is
    another piece of cloth stays, and that is said; so does one of another cloth."""
    from nesting.cli.buying_commands import stash_file
    from nesting.files.lays.layfile import lay_as_bytes
    from tests.report import samples

    lay = samples.remnant_lay()
    ply = lay.sections[0].spread.plies[0]
    cut = Remnant("scrap-1", lay.cloth, ply.region, ply.flaws)
    file, path = tmp_path / "lay.json", tmp_path / "stash.toml"
    file.write_bytes(lay_as_bytes(lay))
    write_stash(path, add(Stash(), [cut, scrap("scrap-2", 450.0, 600.0, lay.cloth)]))
    document, words = stash_file(path, [file], "8 cm x 8 cm", None)
    assert document["taken_out"] == ["scrap-1"] and words[0] == "taken out, as this lay was cut from it: scrap-1"
    names = [r.name for r in read_stash(path).remnants]
    assert names[0] == "scrap-2" and len(names) > 1 and names[1:] == document["added"]
    kept = path.read_bytes()
    document, _ = stash_file(path, [file, file], "8 cm x 8 cm", None)
    assert document["taken_out"] == [] and document["added"] == [] and path.read_bytes() == kept
    for other in (replace(cut, flaws=()), replace(cut, cloth="lining"), scrap("scrap-1", 820.0, 640.0, lay.cloth)):
        write_stash(path, add(Stash(), [other]))
        document, words = stash_file(path, [file], "8 cm x 8 cm", None)
        assert document["taken_out"] == [] and "scrap-1" in [r.name for r in read_stash(path).remnants]
        assert ("is of another shape" in str(words[0])) == (other.cloth == lay.cloth)


def test_a_folded_leftover_is_known_by_what_the_lay_says_of_it():
    """Folded, its outline does not show: the one that the lay carries is compared, else the name is enough."""
    from tests.report import samples

    lay = replace(samples.lengthwise_lay(), remnant="r")
    own = scrap("r", 900.0, 700.0, lay.cloth)
    stash = add(Stash(), [own])
    assert used_by(stash, lay) == ("r", None)
    assert used_by(stash, replace(lay, leftover=own)) == ("r", None)
    name, doubt = used_by(stash, replace(lay, leftover=scrap("r", 900.0, 650.0, lay.cloth)))
    assert name is None and doubt is not None and "another shape" in doubt
    assert used_by(stash, replace(lay, remnant=None)) == (None, None)
