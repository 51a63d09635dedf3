"""The results of a command, written to its folder: its own files, and its part of the one report there."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from nesting.model.lay import Lay
    from nesting.model.order import Order

__all__ = ["order_seen_from", "write_first", "write_with_report"]


def order_seen_from(folder: Path, order: Order) -> str | None:
    """The order's file as seen from the folder of the results, by which a lay file finds it again."""
    if order.path is None:
        return None
    return Path(os.path.relpath(order.path.resolve(), folder.resolve())).as_posix()


def write_first(folder: Path, lays: Sequence[Lay]) -> None:
    """Lay files and placement sheets at once; drawings and the report, which take longer, follow. Raises InputError if
    something cannot be written."""
    from nesting.files.lays.layfile import lay_as_bytes
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.report.print.drawn_files import lay_stem
    from nesting.report.sheet.sheet_pdf import sheet_pdf

    ready_folder(folder)
    files: dict[Path, bytes] = {}
    for lay in lays:
        files[folder / f"lay-{lay_stem(lay)}.json"] = lay_as_bytes(lay)
        files[folder / f"sheet-{lay_stem(lay)}.pdf"] = sheet_pdf(lay, "letter" if lay.imperial else "a4")
    write_outputs(files)


def write_with_report(
    folder: Path,
    order: Order,
    files: Mapping[str, bytes],
    parts: Mapping[str, str],
    document: dict[str, Any],
    *,
    trims: Sequence[Mapping[str, Any]] | None = None,
    spare: Mapping[str, str] | None = None,
) -> list[object]:
    """Write ``files`` and the report with these parts, all or nothing; the document gets their names. Returns words.

    See ``report.sections.report_with`` for parts, trims and spare. Raises InputError if something cannot be written.
    """
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.report.html.folder_report import PARTS, report_with

    ready_folder(folder)
    names = sorted({*files, "report.html", "report.json"})
    document["files"] = [str(folder / name) for name in names]
    report = report_with(folder, order, parts, document, trims=trims, spare=spare)
    write_outputs({**{folder / name: content for name, content in files.items()}, **report.files})
    words: list[object] = [f"written to {folder}: {', '.join(names)}"]
    if report.kept:
        kept = ", ".join(f"“{PARTS[name]}”" for name in report.kept)
        words.append(f"report.html also keeps what it told of this order before: {kept}")
    if report.replaced:
        words.append("the report that was there was not of this order as it is now, so it was replaced")
    return words
