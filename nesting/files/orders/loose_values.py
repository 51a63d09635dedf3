"""Values as people write them by hand, read loosely: what TOML a list, a table or a single value was meant to be.

Nothing is decided here: each function gives what may have been meant, the likeliest first, and words that say what was
changed. Whoever asks tries them.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator

__all__ = ["as_list", "as_table", "as_value"]

#: A quoted text, a mark, or a run of words up to the next of these.
_TOKEN = re.compile(
    r"""\s*("[^"]*" | '[^']*' | [\[\]{}(),;=] | :(?=\s|$|["'])
    | [^\s\[\]{}(),;="'] [^\[\]{}(),;="']*? (?=\s*(?:[\[\]{}(),;="']|:\s|$)))""",
    re.VERBOSE,
)
#: What no text of an order holds: a quote put in the wrong place leaves these in one.
_BREAKS = re.compile(r"[\[\]{}=,\"]")
_NUMBER = re.compile(r"[-+]?(?:\d+(?:[.,]\d+)?|[.,]\d+)")
_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
#: Longer values are no slips, and every place of a quote is tried.
_LONGEST = 400


def as_list(value: str) -> Iterator[tuple[str, str]]:
    """A list: brackets, quotes and commas put where they are missing."""
    if value[0] == "[" and (closed := requoted(value)):
        yield closed, ", with the quote that was missing"
    tokens = _tokens(value)
    if tokens is None:
        return
    items, depth = "", 0
    after = False  # an item stands before, so that a comma goes between
    for k, token in enumerate(tokens):
        if token in "[({":
            items += (", " if after else "") + "["
            depth, after = depth + 1, False
        elif token in "])}":
            if depth:
                items, depth = items + "]", depth - 1
            after = True
        elif token in ",;=:" or (token.lower() in ("and", "und", "or") and 0 < k < len(tokens) - 1):
            continue
        else:
            items += (", " if after else "") + _item(token)
            after = True
    items += "]" * depth
    if not items.startswith("[") or (depth == 0 and _closes_early(items)):
        items = f"[{items.rstrip(']') if items.count(']') > items.count('[') else items}]"
    yield items, ", in square brackets, each in quotes, with commas between"


def as_table(value: str) -> Iterator[tuple[str, str]]:
    """A table such as { waist = "raw" }."""
    if value[0] == "{" and (closed := requoted(value)):
        yield closed, ", with the quote that was missing"
    tokens = _tokens(value.strip("[](){} "))
    if not tokens:
        return
    tokens = [token for token in tokens if token not in ",;=:"]
    if len(tokens) % 2 or any(token in "[](){}" for token in tokens):
        return
    pairs = [
        (key if re.fullmatch(r"[\w-]+", key) else _item(key), _item(one))
        for key, one in zip(tokens[::2], tokens[1::2], strict=True)
    ]
    yield "{ " + ", ".join(f"{key} = {one}" for key, one in pairs) + " }", ", on one line, with commas between"


def as_value(value: str, *, number: bool, flag: bool) -> Iterator[tuple[str, str]]:
    """A single value: a number without what stands around it, true or false, or a text in quotes."""
    bare = value.strip(" ,;=").strip()
    word = bare.strip("\"'. ").lower()
    if word in ("true", "yes", "on", "y", "ja", "1") and (flag or word == "true"):
        yield "true", ", in small letters, without quotes"
    if word in ("false", "no", "off", "n", "nein", "0") and (flag or word == "false"):
        yield "false", ", in small letters, without quotes"
    yield from _numbers(bare, word, alone=number)
    if re.fullmatch(r"\"[^\"]*\"|'[^']*'", bare):
        if "\\" in bare and bare[0] == '"':
            yield bare.replace("\\", "/"), ", with / for each \\"
        yield bare, ""
        return
    if re.fullmatch(r"[\"'].*[\"']", bare) and not number:
        inner = bare[1:-1].strip("\"'") if bare[-2] == bare[-1] else bare[1:-1]
        if re.fullmatch(r"[\d ./,½¼¾⅛⅜⅝⅞]+", inner):
            yield f'"{inner} in"', ", with in for inches"
        yield '"' + inner.replace('"', "'").replace("\\", "/") + '"', ", in one pair of quotes"
    inches = re.fullmatch(r"\"?([-+]?[\d ./,½¼¾⅛⅜⅝⅞]+)(?:\"|''|″)", bare)
    if inches and bare[0] != '"':
        yield f'"{inches[1].strip()} in"', ", in quotes, with in for inches"
    text = re.sub(r"\s*(//|\s#).*$", "", bare)
    text = re.sub(r"\"|\B'|'\B", "", text).replace("\\", "/").strip(" ;,")
    quotes = len(re.findall(r"[\"']", bare))
    if text and not re.search(r"[\"']\s*(//|#)", bare):
        yield f'"{text}"', ", with the quote that was missing" if quotes == 1 else ", in quotes"
    # words behind a value that is whole: "150 cm" narrow
    whole = re.match(r"(\"[^\"]*\"|'[^']*')\s*(\S.*)", bare)
    if whole:
        yield f"{whole[1]}   # {whole[2].lstrip('/#*;, ')}", ": a remark begins with #"


def _numbers(bare: str, word: str, *, alone: bool) -> Iterator[tuple[str, str]]:
    """A plain number: decimal comma, currency, thousands, zeros, words."""
    if not alone and not re.fullmatch(r"[-+]?[\d.,]+", bare):
        return
    if word in _WORDS[1:]:
        yield str(_WORDS.index(word)), ", as a figure"
    figures = re.sub(r"[^\d.,+-]", " ", re.sub(r"//.*|#.*", "", bare)).split()
    if not figures or not re.search(r"\d", figures[0]):
        return
    found = figures[0].strip(".,") if not re.match(r"[.,]\d", figures[0]) else figures[0].rstrip(".,")
    if found.count(",") and found.count("."):
        thousands = min(found.find(","), found.find("."))
        found = found.replace(found[thousands], "")
    found = found.replace(",", ".")
    sign, found = (found[0], found[1:]) if found[:1] in "+-" else ("", found)
    found = re.sub(r"^0+(?=\d)", "", f"0{found}" if found.startswith(".") else found)
    if _NUMBER.fullmatch(found):
        point = ", with a point" if "," in bare and "." in found else ""
        yield f"{'-' if sign == '-' else ''}{found}", point or ", with nothing around the number"


def _item(token: str) -> str:
    if token[0] in "\"'":
        return token
    if _NUMBER.fullmatch(token) and "," not in token:
        return token
    return '"' + token.strip().replace("\\", "/") + '"'


def _tokens(value: str) -> list[str] | None:
    """Quoted texts, brackets, marks and runs of words; None where a quote is open."""
    found: list[str] = []
    at, value = 0, value.strip()
    if len(value) > _LONGEST:
        return None
    while at < len(value):
        match = _TOKEN.match(value, at)
        if match is None:
            return None
        found.append(match[1].strip())
        at = match.end()
        while at < len(value) and value[at].isspace():
            at += 1
    return found


def _closes_early(items: str) -> bool:
    """Whether the first bracket closes before the end, so that the list around all is missing."""
    depth = 0
    for k, sign in enumerate(re.sub(r"\"[^\"]*\"", lambda text: "x" * len(text[0]), items)):
        depth += (sign == "[") - (sign == "]")
        if depth == 0:
            return k < len(items) - 1
    return True


def requoted(value: str) -> str | None:
    """A list or table with the one quote that it lacks, where a text then ends as people would have it."""
    if len(value) > _LONGEST or value.count('"') % 2 == 0:
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
