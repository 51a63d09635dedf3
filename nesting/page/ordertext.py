"""Changing the text of an order, and nothing of it but what is asked: comments and layout by hand stay byte for byte.

tomlkit keeps a document as it was written, but what it adds at the end of a table lands behind the comments that belong
to the next one, and what it deletes takes them along. So the text is first divided at its headers. Each ``[[block]]``
has a *body* (its header to its last key) and a *tail* (the blank lines and comments up to the next header, which speak
of what comes next). A change is made in one body by itself, by tomlkit; everything else is not even parsed anew.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Table

from nesting.model.errors import OrderError

__all__ = ["OrderText"]

_HEADER = re.compile(r"\s*\[\[?\s*([^\]]+?)\s*\]\]?\s*(#.*)?$")
#: Where a block of a kind goes that the order does not have yet: behind the last of those before it in this row.
_ROW = (
    "pattern",
    "piece",
    "edge",
    "finish",
    "seam",
    "together",
    "alter",
    "opening",
    "wearer",
    "cloth",
    "remnant",
    "trim",
    "garment",
)


@dataclass(frozen=True)
class _Part:
    """A stretch of the text: what stands before the first header (``kind`` empty), or one block."""

    kind: str
    body: str
    tail: str

    @property
    def text(self) -> str:
        return self.body + self.tail


@dataclass(frozen=True)
class OrderText:
    """An order's text. All changes return a new one; ``path`` is named in errors."""

    text: str
    path: str = "the order"

    def count(self, kind: str) -> int:
        """How many ``[[kind]]`` blocks there are."""
        return len(self._indexes(_divided(self.text), kind))

    def set_top(self, key: str, value: Any) -> OrderText:
        """Set a key at the top of the order, behind the last one there; None takes it away."""
        parts = _divided(self.text)
        top = parts[0]
        if not top.body.strip() and value is not None:
            # no key yet: behind the opening comments, before those that speak of the first block
            lead, gap, rest = top.tail.partition("\n\n")
            body = _edited("", None, (key,), value, self.path).rstrip("\n") + "\n"
            opening = lead + gap if gap and lead.lstrip().startswith("#") else ""
            rest = rest if opening else top.tail
            blank = "" if not rest.strip() and len(parts) == 1 else "\n" if not rest.startswith("\n") else ""
            parts[0] = _Part("", opening + body, blank + rest)
        else:
            parts[0] = _Part("", _edited(top.body, None, (key,), value, self.path), top.tail)
        return self._joined(parts)

    def set(self, kind: str, index: int, key: str | tuple[str, ...], value: Any) -> OrderText:
        """Set ``key`` of block ``index`` (a tuple: a key within an inline table); None takes it away.

        A table that loses its last key goes too. OrderError if there is no such block.
        """
        parts = _divided(self.text)
        at = self._at(parts, kind, index)
        keys = (key,) if isinstance(key, str) else key
        parts[at] = _Part(kind, _edited(parts[at].body, kind, keys, value, self.path), parts[at].tail)
        return self._joined(parts)

    def add(self, kind: str, values: Mapping[str, Any]) -> OrderText:
        """Add a block behind the last of its kind, or where such blocks usually stand."""
        document = tomlkit.document()
        block = tomlkit.table()
        for key, value in values.items():
            if value is not None:
                block.append(key, _item(value))
        document.append(kind, tomlkit.aot())
        cast("AoT", document[kind]).append(block)
        new = tomlkit.dumps(document).strip("\n") + "\n"
        parts = _divided(self.text)
        mine = self._indexes(parts, kind)
        if mine:
            behind = mine[-1]
        else:
            before = _ROW[: _ROW.index(kind)] if kind in _ROW else _ROW
            behind = max((i for i, part in enumerate(parts) if part.kind in before), default=0)
        last = parts[behind]
        if behind == 0 and not last.body.strip():
            # only comments so far: they open the order
            opening = last.tail.strip("\n")
            parts[0] = _Part("", (opening + "\n\n" if opening else "") + new, "" if len(parts) == 1 else "\n")
            return self._joined(parts)
        body = last.body if last.body.endswith("\n") else last.body + "\n"
        parts[behind] = _Part(last.kind, body, "\n")
        tail = last.tail
        if tail.strip("\r\n") and not tail.startswith(("\n", "\r\n")):
            tail = "\n" + tail
        elif not tail and behind + 1 < len(parts):
            tail = "\n"
        parts.insert(behind + 1, _Part(kind, new, tail))
        return self._joined(parts)

    def remove(self, kind: str, index: int) -> OrderText:
        """Take block ``index`` out; the comments that follow it stay, those that stand before it stay as well."""
        parts = _divided(self.text)
        at = self._at(parts, kind, index)
        tail, before = parts[at].tail, parts[at - 1]
        del parts[at]
        if tail.strip():
            # one blank line is enough where the block stood
            blank = re.match(r"\r?\n", tail)
            if blank is not None and re.search(r"\n\r?\n$", before.text):
                tail = tail[blank.end() :]
            parts[at - 1] = _Part(before.kind, before.body, before.tail + tail)
        elif at == len(parts):
            parts[at - 1] = _Part(before.kind, before.body, before.tail.rstrip("\r\n") + ("\n" if before.tail else ""))
            if not parts[at - 1].tail.strip():
                parts[at - 1] = _Part(before.kind, before.body, "")
        return self._joined(parts)

    def _indexes(self, parts: Sequence[_Part], kind: str) -> list[int]:
        return [i for i, part in enumerate(parts) if part.kind == kind]

    def _at(self, parts: Sequence[_Part], kind: str, index: int) -> int:
        mine = self._indexes(parts, kind)
        if not 0 <= index < len(mine):
            raise OrderError(
                f"there is no [[{kind}]] number {index + 1} any more; the order has {len(mine)}",
                file=self.path,
                key=kind,
                code="page.block-gone",
            )
        return mine[index]

    def _joined(self, parts: Sequence[_Part]) -> OrderText:
        text = "".join(part.text for part in parts)
        if "\r\n" in self.text and "\n" in text:
            # a file of the other kind of line ends keeps them on the lines that are new, too
            text = re.sub(r"(?<!\r)\n", "\r\n", text) if not re.search(r"(?<!\r)\n", self.text) else text
        return OrderText(text, self.path)


def _item(value: Any) -> Any:
    if isinstance(value, Mapping):
        table = tomlkit.inline_table()
        for key, one in value.items():
            table.append(key, _item(one))
        return table
    if isinstance(value, list | tuple):
        array = tomlkit.array()
        for one in value:
            array.append(_item(one))
        return array
    return tomlkit.item(value)


def _edited(body: str, kind: str | None, keys: tuple[str, ...], value: Any, path: str) -> str:
    """The body with one key set or taken away."""
    ends = body.endswith("\n") or not body
    try:
        document = tomlkit.parse(body)
    except TOMLKitError as error:
        raise OrderError(
            f"this part of the order cannot be read ({error}); correct it by hand", file=path, code="order.toml"
        ) from None
    holder: Any = document if kind is None else cast("AoT", document[kind])[0]
    inner = list(keys)
    while len(inner) > 1:
        if inner[0] not in holder:
            if value is None:
                return body
            return _edited(body, kind, keys[: len(keys) - len(inner) + 1], {inner[1]: value}, path)
        holder = holder[inner.pop(0)]
    key = inner[0]
    if value is None:
        if key not in holder:
            return body
        holder.remove(key)
        if len(keys) > 1 and not holder:
            return _edited(body, kind, keys[:-1], None, path)
    elif key in holder:
        if holder[key] == value and type(holder[key].unwrap()) is type(value):
            return body
        new = _item(value)
        old = holder[key]
        if hasattr(old, "trivia") and not isinstance(old, Table):
            new.trivia.indent, new.trivia.comment_ws = old.trivia.indent, old.trivia.comment_ws
            new.trivia.comment, new.trivia.trail = old.trivia.comment, old.trivia.trail
        holder[key] = new
    else:
        holder.append(key, _item(value))
    text = tomlkit.dumps(document)
    return text if text.endswith("\n") or not ends or not text else text + "\n"


def _divided(text: str) -> list[_Part]:
    """The text as its parts, the first being what stands before any header. Joined, they are the text again."""
    lines = text.splitlines(keepends=True)
    heads: list[tuple[int, str]] = []
    last_content: list[int] = []
    inside = _Inside()
    content = -1
    for number, line in enumerate(lines):
        if not inside.open:
            found = _HEADER.match(line.rstrip("\r\n"))
            if found is not None and line.lstrip().startswith("["):
                name = found[1].split(".")[0].strip().strip("\"'")
                same = heads and heads[-1][1] == name and not line.lstrip().startswith("[[")
                if not same and not (heads and "." in found[1] and heads[-1][1] == name):
                    last_content.append(content)
                    heads.append((number, name))
                content = number
                continue
            if not line.strip() or line.lstrip().startswith("#"):
                continue
        content = number
        inside.read(line)
    last_content.append(content)
    parts = []
    starts = [0, *(number for number, _ in heads), len(lines)]
    for k, (kind, last) in enumerate(zip(["", *(name for _, name in heads)], last_content, strict=True)):
        a, b = starts[k], starts[k + 1]
        cut = max(a, min(last + 1, b))
        parts.append(_Part(kind, "".join(lines[a:cut]), "".join(lines[cut:b])))
    return parts


class _Inside:
    """Whether the next line still belongs to the value of an earlier one: an array or a text over several lines."""

    def __init__(self) -> None:
        self.depth = 0
        self.quote = ""

    @property
    def open(self) -> bool:
        return self.depth > 0 or bool(self.quote)

    def read(self, line: str) -> None:
        i = 0
        while i < len(line):
            rest = line[i:]
            if self.quote:
                if self.quote.startswith('"') and rest.startswith("\\"):
                    i += 2
                elif rest.startswith(self.quote):
                    i += len(self.quote)
                    self.quote = ""
                else:
                    i += 1
                continue
            if rest.startswith("#"):
                break
            for quote in ('"""', "'''", '"', "'"):
                if rest.startswith(quote):
                    self.quote = quote
                    i += len(quote)
                    break
            else:
                self.depth += rest[0] in "[{"
                self.depth -= rest[0] in "]}"
                i += 1
        if len(self.quote) == 1:
            self.quote = ""  # a text of one line ends with it, well or not
