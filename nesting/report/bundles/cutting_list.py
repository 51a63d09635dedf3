"""The cutting list by bundle as CSV (RFC 4180): a line for each kind of piece and each trim of each garment's copy."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from nesting.report.bundles.gathered import GarmentBundle
from nesting.report.words import measure, unit_name

__all__ = ["COLUMNS", "cutting_list_csv"]

COLUMNS = ("garment", "size", "wearer", "copy", "of", "item", "name", "hand", "count", "from", "numbers", "cut length")


def cutting_list_csv(
    bundles: Sequence[GarmentBundle], *, imperial: bool, do_not_cut: Sequence[str] = ()
) -> bytes:
    """The list in UTF-8, with a mark so that spreadsheets read it as such. ``do_not_cut``: why not, in a line first."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    if do_not_cut:
        writer.writerow([_safe(f"DO NOT CUT YET: {'; '.join(do_not_cut)}")])
    writer.writerow([*COLUMNS[:-1], f"{COLUMNS[-1]} ({unit_name(imperial)})"])
    for b in bundles:
        head = (b.garment, b.size or "", b.wearer or "", str(b.copy), str(b.of))
        for p in b.pieces:
            numbers = " ".join(map(str, p.numbers))
            writer.writerow(map(_safe, (*head, "piece", p.piece, p.hand, str(p.count), p.where, numbers, "")))
        for t in b.trims:
            length = measure(t.length, imperial)
            writer.writerow(map(_safe, (*head, t.kind, t.name, "", str(t.count), "", "", length)))
    return stream.getvalue().encode("utf-8-sig")


def _safe(cell: str) -> str:
    """A cell that a spreadsheet does not take for a formula (OWASP, "CSV Injection")."""
    return f"'{cell}" if cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell
