"""Slips that people make when they write TOML by hand: which line, and what to write there.

What is advised is tried first: the line is put in place of the one written, the text must then be readable further than
before, and the value must be one that its key takes. Where nothing comes through, the message says so much only as is
known.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass

from nesting.files.orders.loose_values import as_list, as_table, as_value
from nesting.files.orders.order_schema import BLOCKS, TOP, Key
from nesting.files.orders.order_values import Place, nearest
from nesting.model.errors import NestingError

__all__ = ["line_of", "toml_hint"]

#: Quotes that word processors put in place of the plain one.
_CURLY = str.maketrans(dict.fromkeys("“”„‟″«»", '"') | dict.fromkeys("‘’‚", "'"))
#: Spaces that only look like one, and marks that cannot be seen at all.
_SPACES = str.maketrans(
    dict.fromkeys("\u00a0\u2007\u202f\u2009\u3000", " ") | dict.fromkeys("\u200b\u200e\ufeff\u0000")
)
_HEADER = re.compile(r"\[\[?\s*([\w-]+)\s*\]\]?")
_SETS = re.compile(r"([\w-]+)\s*=")


@dataclass(frozen=True)
class _Slip:
    """The text of an order that cannot be read, and where it stopped: ``stop`` counts from 0."""

    lines: tuple[str, ...]
    stop: int


def toml_hint(text: str, said: str) -> str:
    """The line where TOML stopped (``said``: its own words), and what to write there if it is a slip that people make.
    """
    lines = tuple(text.splitlines())
    if not lines:
        return "correct the text there"
    slip = _Slip(lines, _stop(said, len(lines)))
    if "overwrite" in said or "already" in said or "twice" in said:
        found = f"line {slip.stop + 1} says `{lines[slip.stop].strip():.80}`"
        return f"{found}. This key is given twice in one block: take one away, or begin a new block for the second"
    if joined := _table_on_one_line(slip):
        return joined
    for number in _suspects(slip):
        for written, why in _mends(slip, number):
            if _goes_on(slip, number, written):
                found = f"line {number + 1} says `{lines[number].strip():.80}`"
                first, *rest = written.strip().split("\n")
                behind = f", and `{rest[0]}` on the line after it" if rest else ""
                return f"{found}. Write `{first}`{why}{behind}" if written else f"{found}. {why}"
    number = next(iter(_suspects(slip)), slip.stop)
    return f"line {number + 1} says `{lines[number].strip():.80}`. {_expected(slip, number)}"


def _stop(said: str, count: int) -> int:
    at = re.search(r"line (\d+)", said)
    return max(0, min(int(at[1]) if at else count, count) - 1)


def _suspects(slip: _Slip) -> list[int]:
    """Lines that may be wrong: where reading stopped, and where something that is not closed began."""
    back = [n for n in range(slip.stop, -1, -1) if slip.lines[n].strip() and not _reads(slip.lines[n])]
    return back[:4]


def _goes_on(slip: _Slip, number: int, written: str) -> bool:
    """Whether the text can be read beyond ``number`` and where it stopped before, with ``written`` in its place."""
    lines = [*slip.lines[:number], written, *slip.lines[number + 1 :]]
    try:
        tomllib.loads("\n".join(lines))
    except RecursionError:
        return False
    except ValueError as error:
        # the document may hold more slips, further on
        said = str(error)
        if "Unclosed" in said or ("\n" in written and "overwrite" in said):
            return False
        return _stop(said, len(lines)) > max(slip.stop, number)
    return True


def _mends(slip: _Slip, number: int) -> Iterator[tuple[str, str]]:
    """What may have been meant by a line, with words that go behind it; the likeliest first."""
    line = slip.lines[number]
    indent = line[: len(line) - len(line.lstrip())].translate(_SPACES)
    plain = line.translate(_SPACES).translate(_CURLY).strip()
    if plain != line.strip():
        why = ", with plain quotes" if line.translate(_SPACES) != line.translate(_SPACES).translate(_CURLY) else (
            ", with plain spaces")  # fmt: skip
        if _reads(plain) and _fits(slip, number, plain):
            yield indent + plain, why
    for marker in ("//", "/*", ";", "--", "%", "'", "<!--"):
        if plain.startswith(marker):
            yield f"# {plain.strip('/*;-%!<> ')}", ": a remark begins with #"
    if plain.startswith("```"):
        yield "", "Take the line away: it is no part of an order"
    yield from _headers(plain)
    for written, why in _settings(slip, number, plain):
        if _reads(written) and _fits(slip, number, written):
            yield indent + written, why
    # a list over several lines: the comma that is missing stands at the end of the line before
    bare = plain.rstrip(",; ")
    if not _SETS.match(plain) and re.fullmatch(r"\"[^\"]*\"|'[^']*'|[\d.]+", bare):
        yield f"{indent}{bare},", ", with a comma at its end"


def _table_on_one_line(slip: _Slip) -> str | None:
    """A table in braces that goes on over several lines, which TOML does not take."""
    start = slip.stop
    begins = re.match(r"\s*([\w-]+)\s*=\s*(\{[^{}]*)$", slip.lines[start])
    end = next((n for n in range(start, min(start + 12, len(slip.lines))) if "}" in slip.lines[n]), None)
    if begins is None or end is None:
        return None
    inside = ", ".join(line.strip(" ,\t") for line in slip.lines[start + 1 : end + 1])
    for meant, _ in as_table(f"{begins[2].rstrip(' ,')}, {inside}"):
        written = f"{begins[1]} = {meant}"
        lines = [*slip.lines[:start], written, *[""] * (end - start), *slip.lines[end + 1 :]]
        if _fits(slip, start, written) and _goes_on(_Slip(tuple(lines), end), start, written):
            found = f"line {start + 1} says `{slip.lines[start].strip():.80}`, and goes on to line {end + 1}"
            return f"{found}. Write `{written}`, on one line"
    return None


def _headers(plain: str) -> Iterator[tuple[str, str]]:
    """What a line that was meant to begin a block should be."""
    both = re.fullmatch(r"(\[\[\s*[\w-]+\s*\]\])\s*([\w-]+\s*=.*)", plain)
    if both and _reads(both[2]):
        yield f"{both[1]}\n{both[2]}", ""
    if not re.match(r"[\[({<]", plain) and not re.fullmatch(r"[\w-]+\s*:?", plain):
        return
    words = re.findall(r"[\w-]+", plain.split("#")[0].split("=")[0])
    if not words:
        return
    kind = next((b for b in BLOCKS if b == words[0].lower().rstrip("s")), None) or nearest(words[0], BLOCKS)
    if kind is None:
        return
    rest = " ".join(words[1:])
    if rest and any(key.name == "name" for key in BLOCKS[kind]):
        yield f'[[{kind}]]\nname = "{rest}"', ", with two brackets on either side"
    yield f"[[{kind}]]", ", with two brackets on either side"


def _settings(slip: _Slip, number: int, plain: str) -> Iterator[tuple[str, str]]:
    """What a line that was meant to be ``key = value`` should be."""
    split = _key_and_value(slip, number, plain)
    if split is None:
        return
    key, value, sign = split
    equals = "" if sign == "=" else ", with an equals sign"
    remark = _remark(value)
    value = value[: len(value) - len(remark)].strip()
    behind = f"   {remark}" if remark else ""
    two = re.fullmatch(r"(.+?)[\s,;]+([\w-]+\s*=(?!=).+)", value) or _from(key, value)
    if two and not re.match(r"[\[({]", value):
        first, rest = _of_a_kind(slip, number, key, two[1]), two[2]
        if first is not None:
            yield f"{key} = {first}{behind}\n{rest}", ""
    for meant, why in _values(slip, number, key, value):
        yield f"{key} = {meant}{behind}", equals or why


def _from(key: str, value: str) -> re.Match[str] | None:
    """`at = "12 cm" from "waist"` in two parts, the second as its own line would be."""
    found = re.fullmatch(r"[\"']?(\d[^\"']*?)[\"']?[\s,;]+from\s+(?:the\s+)?[\"']?([\w -]+?)[\"']?", value)
    if key != "at" or found is None:
        return None
    return re.fullmatch(r"(.+)\n(.+)", f'"{found[1].strip()}"\nfrom = "{found[2]}"')


def _key_and_value(slip: _Slip, number: int, plain: str) -> tuple[str, str, str] | None:
    """Key, value and what stands between them; the key as the block knows it, where it was written in several words."""
    split = re.fullmatch(r"[-*+•]?\s*([A-Za-z][\w -]*?)\s*(:=|=+(?:\s*=+)*|:|->|→)\s*(.*)", plain)
    if split is None:
        split = re.fullmatch(r"([A-Za-z][\w-]*)(\s+)([\d.$€£\"'\[{(].*)", plain)
    if split is None or not split[3].strip():
        return None
    key, sign = split[1], split[2]
    known = _keys(slip, number)
    if " " in key:
        joined = re.sub(r"[ -]+", "_", key)
        near = joined if joined in known else next((w for w in reversed(key.split()) if w in known), None)
        return None if near is None else (near, split[3].strip(), sign)
    return key, split[3].strip(), sign


def _remark(value: str) -> str:
    """A remark behind a value that is not within quotes: "# washed"."""
    found = re.search(r"\s#.*$", value)
    return found[0].strip() if found and value[: found.start()].count('"') % 2 == 0 else ""


def _values(slip: _Slip, number: int, key: str, value: str) -> Iterator[tuple[str, str]]:
    """Values that may have been meant, with why."""
    value = value.translate(_CURLY)
    known = _keys(slip, number).get(key)
    sample = known.read if known else None
    kind = getattr(sample, "__qualname__", "").split(".")[0]
    if kind in ("list_of", "seam_sides", "pair_of", "one_or_more") or value[0] in "[(":
        yield from as_list(value)
    if kind == "mapping_of" or value[0] == "{":
        yield from as_table(value)
    yield from as_value(value, number=kind in ("number", "count"), flag=kind == "flag")


def _of_a_kind(slip: _Slip, number: int, key: str, value: str) -> str | None:
    for meant in (value, *(m for m, _ in _values(slip, number, key, value))):
        if _reads(f"{key} = {meant}") and _fits(slip, number, f"{key} = {meant}"):
            return meant
    return None


def _block(slip: _Slip, number: int) -> str | None:
    """The kind of block that a line stands in, None above the first."""
    for line in reversed(slip.lines[:number]):
        if header := _HEADER.match(line.strip()):
            return header[1]
    return None


def _keys(slip: _Slip, number: int) -> dict[str, Key]:
    kind = _block(slip, number)
    return {key.name: key for key in (TOP if kind is None else BLOCKS.get(kind, ()))}


def _fits(slip: _Slip, number: int, written: str) -> bool:
    """Whether the value of ``written`` is one that its key takes; a key that is not known takes anything."""
    return _refusal(slip, number, written) is None


def _refusal(slip: _Slip, number: int, written: str) -> str | None:
    known = _keys(slip, number)
    for key, value in tomllib.loads(written.split("\n")[0]).items():
        if key in known:
            try:
                known[key].read(value, Place("", key, "cm"))
            except NestingError as error:
                return error.message
    return None


def _expected(slip: _Slip, number: int) -> str:
    """What belongs there, where no mend came through."""
    plain = slip.lines[number].translate(_SPACES).translate(_CURLY).strip()
    known = _keys(slip, number)
    split = _key_and_value(slip, number, plain)
    empty = re.fullmatch(r"([\w-]+)\s*=\s*(#.*)?", plain)
    if empty:
        return f"Nothing stands behind the equals sign: write {empty[1]} = and a value, or take the line away"
    if split is None:
        return 'A line is key = value, as in `width = "150 cm"`, or begins a block, as in `[[piece]]`'
    key, value, _ = split
    for meant, _ in _values(slip, number, key, value):
        if _reads(f"{key} = {meant}") and (refused := _refusal(slip, number, f"{key} = {meant}")):
            return f"A text stands in quotes, a number or true or false without; and: {refused}"
    meaning = f" ({key}: {known[key].meaning})" if key in known else ""
    return f"A text stands in quotes, a list in [ ] with commas, a number alone{meaning}"


def _reads(line: str) -> bool:
    try:
        tomllib.loads(line)
    except (ValueError, RecursionError):
        return False
    return True


def line_of(text: str, key: str) -> int | None:
    """The line, counted from 1, on which the key of an error stands ("cloth[main].width", "units"); the line that its
    block begins on, if the key is not there itself. None where it cannot be told."""
    way = re.match(r"(\w+)(?:\[(.*?)\])?(?:\.([\w-]+))?", key)
    lines = text.splitlines()
    if re.fullmatch(r"[\w-]+", key):
        return _top_line(lines, key)
    if way is None or way[2] is None:
        return None
    starts = [n for n, line in enumerate(lines) if line.lstrip().startswith("[[")]
    mine = [n for n in starts if (found := _HEADER.match(lines[n].strip())) and found[1] == way[1]]
    parts = [lines[a : next((b for b in starts if b > a), len(lines))] for a in mine]
    named = [k for k, part in enumerate(parts) if any(_named(line) == way[2] for line in part)]
    if len(named) != 1:
        named = [int(way[2]) - 1] if way[2].isdigit() and 1 <= int(way[2]) <= len(parts) else []
    if not named:
        return None
    start, part = mine[named[0]], parts[named[0]]
    at = next((k for k, line in enumerate(part) if re.match(rf"\s*{re.escape(way[3] or '')}\s*=", line)), 0)
    return start + at + 1


def _top_line(lines: list[str], key: str) -> int | None:
    """The line of a key above the first block, else of the first headline of that name."""
    for number, line in enumerate(lines, 1):
        if line.lstrip().startswith("["):
            break
        if re.match(rf"\s*{re.escape(key)}\s*=", line):
            return number
    return next((n for n, line in enumerate(lines, 1) if (h := _HEADER.match(line.strip())) and h[1] == key), None)


def _named(line: str) -> str | None:
    found = re.match(r"\s*name\s*=\s*(\"[^\"]*\"|'[^']*')", line)
    return found[1][1:-1].strip() if found else None
