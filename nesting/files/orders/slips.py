"""Slips that people make when they write TOML by hand: which line, and what to write there."""

from __future__ import annotations

import re
import tomllib

__all__ = ["toml_hint"]

#: Quotes that word processors put in place of the plain one.
_CURLY = str.maketrans(dict.fromkeys("“”„‟″«»", '"') | dict.fromkeys("‘’‚", "'"))
_QUOTE = '"'
#: What no text of an order holds: a quote put in the wrong place leaves these in one.
_BREAKS = re.compile(r"[\[\]{}=,\"]")


def toml_hint(text: str, said: str) -> str:
    """The line where TOML stopped (``said``: its own words), and what to write there if it is a slip that people make.
    """
    at = re.search(r"line (\d+)", said)
    lines = text.splitlines()
    if not lines:
        return "correct the text there"
    number = min(int(at[1]) if at else len(lines), len(lines))
    line = lines[number - 1].strip()
    found = f"line {number} says: {line:.80}"
    if "overwrite" in said or "already" in said:
        return f"{found}. This key is given twice in one block: take one away, or begin a new block for the second"
    mended = _mended(line)
    return f"{found}. {mended}" if mended else f"{found}. Correct it there"


def _mended(line: str) -> str | None:
    """What to write instead of the line; None if that is not known."""
    bare = line.split("#")[0].strip()
    block = re.fullmatch(r"\[{1,2}\s*([\w-]+)\s*\]{0,2}", bare)
    if block:
        return f"Write [[{block[1]}]], with two brackets on either side"
    straight = line.translate(_CURLY)
    if straight != line and _reads(straight):
        return f"Write {straight}, with plain quotes"
    key, equals, value = (part.strip() for part in bare.partition("="))
    if not equals:
        colon, sign, rest = (part.strip() for part in bare.partition(":"))
        if sign and re.fullmatch(r"[\w-]+", colon) and rest:
            return f"Write {colon} = {_value(rest)}, with an equals sign"
        return "A line is key = value, or a block such as [[piece]]"
    if not value:
        return f"Nothing stands behind the equals sign: write {key} = and a value, or take the line away"
    commas = re.sub(r"(?<![\d\"'])(-?\d+),(\d+)(?![\d\"'])", r"\1.\2", value)
    if commas != value and not value.startswith("[") and _reads(f"{key} = {commas}"):
        return f"Write {key} = {commas}, with a point"
    if value[0] in "[{" and value.count(_QUOTE) % 2:
        closed = _requoted(key, value)
        if closed:
            return f"A quote is missing: write {key} = {closed}"
    if re.fullmatch(r"-?[\d.,/ ]+\s*[A-Za-z%\"]+", value) and not value.startswith('"'):
        return f'Write {key} = "{value.strip(chr(34)).strip()}", in quotes'
    if value.count('"') % 2 and value[0] not in "[{":
        return f'A quote is missing: write {key} = "{value.replace(chr(34), "").strip(chr(39) + " ")}"'
    if re.fullmatch(r"[^\W\d][\w -]*", value) and value not in ("true", "false"):
        return f'Write {key} = "{value}", in quotes'
    return None


def _value(rest: str) -> str:
    return rest if _reads(f"x = {rest}") else f'"{rest.strip(chr(34))}"'


def _reads(line: str) -> bool:
    try:
        tomllib.loads(line)
    except (ValueError, RecursionError):
        return False
    return True


def _requoted(key: str, value: str) -> str | None:
    """A list or table with the one quote that it lacks, where a text then ends as people would have it."""
    if len(value) > 400:
        return None
    best: tuple[int, str] | None = None
    for k in range(1, len(value) + 1):
        trial = value[:k] + '"' + value[k:]
        try:
            read = tomllib.loads(f"x = {trial}")["x"]
        except (ValueError, RecursionError):
            continue
        texts = _texts(read)
        if any(_BREAKS.search(text) for text in texts):
            continue
        spaces = sum(text != text.strip() for text in texts)
        if best is None or spaces < best[0]:
            best = (spaces, trial)
    return best[1] if best is not None else None


def _texts(value: object) -> list[str]:
    if isinstance(value, str):
        return [value]
    if isinstance(value, dict):
        return [text for one in value.values() for text in _texts(one)]
    if isinstance(value, list):
        return [text for one in value for text in _texts(one)]
    return []
