"""Every error the program raises on purpose.

::

    NestingError                       exit code
     ├── InputError                    2   something the user wrote or drew is wrong
     │    ├── OrderError                   the cutting order (TOML) or a lay file
     │    ├── PatternError                 a pattern or remnant file (SVG, DXF)
     │    └── UnitsError                   a length, share or price that cannot be read
     ├── CannotLayError                3   the request is sound but cannot be laid
     └── InternalError                 1   our fault: please report it
          └── ProofError                   a lay that failed its proof; it was not written

A message says which file, piece or key, what was found, what was expected, and what to do.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from nesting.model.findings import Figure, Reason

__all__ = [
    "CannotLayError",
    "InputError",
    "InternalError",
    "NestingError",
    "OrderError",
    "PatternError",
    "ProofError",
    "UnitsError",
]


class NestingError(Exception):
    """Root of all errors raised on purpose.

    ``code`` says which refusal it is ("outline.open"), ``figures`` what was found; ``file``, ``line`` (from 1),
    ``piece`` and ``key`` say where it is, when that is known, and are put before the message. The message is for
    people: no decision reads it.
    """

    exit_code = 1
    default_code = "program.fault"

    def __init__(
        self,
        message: str,
        *,
        file: str | Path | None = None,
        piece: str | None = None,
        key: str | None = None,
        code: str | None = None,
        figures: Mapping[str, Figure] | None = None,
        line: int | None = None,
    ) -> None:
        self.message = message
        self.file = str(file) if file is not None else None
        self.line = line
        self.piece = piece
        self.key = key
        self.code = code or self.default_code
        self.figures = dict(figures or {})
        where = []
        if self.file:
            where.append(self.file)
        if line:
            where.append(f"line {line}")
        if piece:
            where.append(f"piece '{piece}'")
        if key:
            where.append(f"key '{key}'")
        super().__init__(", ".join(where) + ": " + message if where else message)

    @property
    def reason(self) -> Reason:
        """Why it was refused, with what tells where it is in front of the message."""
        return Reason(str(self), code=self.code, figures=self.figures)

    def as_dict(self) -> dict[str, Any]:
        """The refusal as the JSON documents show it."""
        return {
            "kind": type(self).__name__,
            "code": self.code,
            "file": self.file,
            "line": self.line,
            "piece": self.piece,
            "key": self.key,
            "figures": self.figures,
            "message": self.message,
        }

    def __reduce__(self) -> tuple[object, ...]:
        # Keyword-only arguments are lost by the default pickling; worker processes raise these.
        told = (self.message, self.file, self.piece, self.key, self.code, self.figures, self.line)
        return (_rebuild, (type(self), *told))


def _rebuild(
    kind: type[NestingError],
    message: str,
    file: str | None,
    piece: str | None,
    key: str | None,
    code: str,
    figures: Mapping[str, Figure],
    line: int | None,
) -> NestingError:
    return kind(message, file=file, piece=piece, key=key, code=code, figures=figures, line=line)


class InputError(NestingError):
    """Something the user wrote or drew is wrong."""

    exit_code = 2
    default_code = "option.value"


class OrderError(InputError):
    """A cutting order or a lay file is wrong."""

    default_code = "order.value"


class PatternError(InputError):
    """A pattern or remnant drawing is wrong."""

    default_code = "file.damaged"


class UnitsError(InputError):
    """A length, share or price cannot be read."""

    default_code = "value.length"


class CannotLayError(NestingError):
    """The request is sound, but the pieces cannot be laid on that cloth."""

    exit_code = 3
    default_code = "cloth.no-layout"


class InternalError(NestingError):
    """The program is at fault."""

    exit_code = 1
    default_code = "program.fault"


class ProofError(InternalError):
    """A lay failed its independent proof, so it was not written."""

    default_code = "program.proof"
