"""The text of a cutting order from its bytes; what is no plain text is refused with what to do about it."""

from __future__ import annotations

from pathlib import Path
from typing import NoReturn

from nesting.model.errors import OrderError

__all__ = ["text_of"]

#: How files of other kinds begin, and what they are.
_KINDS = (
    (b"PK\x03\x04", "a zipped file or a word processor's document"),
    (b"{\\rtf", "a word processor's document"),
    (b"\xd0\xcf\x11\xe0", "a word processor's document"),
    (b"%PDF", "a PDF"),
    (b"<!DOCTYPE", "a web page"),
    (b"<html", "a web page"),
    (b"<?xml", "an XML file"),
    (b"<svg", "a drawing"),
)
_UTF_16 = (b"\xff\xfe", b"\xfe\xff")


def text_of(content: bytes, path: Path) -> str:
    """The text. OrderError where the bytes are another kind of file, in another encoding, or have no lines."""
    for begins, kind in _KINDS:
        if content.lstrip().startswith(begins):
            _refuse(f"this is {kind}; plain text was expected: save the order as plain text (UTF-8), named .toml", path)
    if content.startswith(_UTF_16) or content[:400].count(b"\0") > len(content[:400]) // 4:
        _refuse(
            "the text is saved as UTF-16 (some editors call it Unicode); UTF-8 was expected: save it again and choose "
            "UTF-8 as its encoding",
            path,
        )
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        near = content[max(0, error.start - 12) : error.start + 12].decode("latin-1").splitlines()
        _refuse(
            f"not UTF-8 text (byte {error.start + 1}), where the line has `{' '.join(near).strip()}`; a cutting order "
            "in TOML was expected: save it again and choose UTF-8 as its encoding",
            path,
            line,
        )
    if "\r" in text.replace("\r\n", ""):
        _refuse(
            "a line ends with a lone carriage return; save the text again and choose the line ends of Windows or Unix",
            path,
            text.replace("\r\n", "\n").replace("\r", "\n\r").split("\r")[0].count("\n"),
        )
    return text


def _refuse(message: str, path: Path, line: int | None = None) -> NoReturn:
    raise OrderError(message, file=path, code="file.not-text", line=line)
