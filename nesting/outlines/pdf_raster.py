"""Pages of a PDF that are scanned pictures, as pictures, at the resolution that they were scanned at."""

from __future__ import annotations

import base64
import ctypes
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from nesting.outlines.pdf_pages import read_sheets
from nesting.outlines.pdf_prepare import Prepared, Refused
from nesting.outlines.pdf_sheets import Sheet

__all__ = ["PageSeen", "is_scan", "pages_seen", "scanned_pages"]

#: Share of a page that a picture covers where the page is a scan.
_COVERED = 0.4
#: Pixels drawn of one page, as many as of any picture (photo_reading.MOST_PIXELS); and pages of a file.
_MOST_PIXELS = 72_000_000
_MOST_PAGES = 12
_LEAST_DPI, _MOST_DPI = 72.0, 1200.0


@dataclass(frozen=True)
class PageSeen:
    """A page as it looks: ``png`` bytes, which state their resolution, ``number`` from 1, ``dpi`` of its pixels."""

    number: int
    dpi: float
    png: bytes


def is_scan(sheet: Sheet) -> bool:
    """Whether a picture covers much of the page."""
    covered = max(((p.box[2] - p.box[0]) * (p.box[3] - p.box[1]) for p in sheet.pictures), default=0.0)
    return covered > _COVERED * sheet.width * sheet.height


def scanned_pages(prepared: Prepared) -> list[dict[str, Any]]:
    """The scanned pages of a prepared file as plain values, for ``pages_seen``. Raises Refused where there is none, or
    far too many."""
    import pypdfium2.raw as raw

    sheets = read_sheets(prepared, 1.0)
    scans = [(k, s) for k, s in enumerate(sheets.sheets) if is_scan(s)]
    if not scans:
        raise Refused(
            "no page of the PDF is a scanned picture; if it is drawn in lines, take it as a pattern file: it needs no "
            "tracing"
        )
    if len(scans) > _MOST_PAGES:
        raise Refused(f"{len(scans)} of its pages are scanned pictures; up to {_MOST_PAGES} are read at once")
    buffer = ctypes.create_string_buffer(prepared.data, len(prepared.data))
    document = raw.FPDF_LoadMemDocument64(buffer, len(prepared.data), None)
    if not document:
        raise Refused("the PDF cannot be opened: it is damaged; get it again or export it anew")
    try:
        return [_drawn(document, k, sheet, prepared.pages[k].rotate) for k, sheet in scans]
    finally:
        raw.FPDF_CloseDocument(document)


def _drawn(document: Any, index: int, sheet: Sheet, turned: int) -> dict[str, Any]:
    """The page drawn with as many pixels as its largest picture has, ``turned`` degrees clockwise as it is shown."""
    import pypdfium2.raw as raw
    from PIL import Image

    largest = max(sheet.pictures, key=lambda p: (p.box[2] - p.box[0]) * (p.box[3] - p.box[1]))
    x0, y0, x1, y1 = largest.box
    area = max((x1 - x0) * (y1 - y0), 1.0)
    # whichever way it is turned, the picture's own pixels over its own area
    dpi = 25.4 * (largest.pixels[0] * largest.pixels[1] / area) ** 0.5
    dpi = min(max(dpi, _LEAST_DPI), _MOST_DPI)
    w, h = (max(1, round(v * dpi / 25.4)) for v in (sheet.width, sheet.height))
    if w * h > _MOST_PIXELS:
        raise Refused(
            f"page {sheet.number} is a picture of {w} × {h} pixels; up to {_MOST_PIXELS // 10**6} million are read. "
            "Scan it at 300 dpi"
        )
    page = raw.FPDF_LoadPage(document, index)
    if not page:
        raise Refused(f"page {sheet.number} cannot be read: it is damaged; get the file again or scan it anew")
    bitmap = raw.FPDFBitmap_Create(w, h, 0)
    try:
        if not bitmap:
            raise MemoryError
        raw.FPDFBitmap_FillRect(bitmap, 0, 0, w, h, 0xFFFFFFFF)
        # what is prepared may have lost its turn
        quarters = (turned // 90 - raw.FPDFPage_GetRotation(page)) % 4
        raw.FPDF_RenderPageBitmap(bitmap, page, 0, 0, w, h, quarters, 0)
        stride = raw.FPDFBitmap_GetStride(bitmap)
        pixels = ctypes.string_at(raw.FPDFBitmap_GetBuffer(bitmap), stride * h)
        image = Image.frombuffer("RGB", (w, h), pixels, "raw", "BGRX", stride, 1)
        out = io.BytesIO()
        image.save(out, "PNG", compress_level=1, dpi=(dpi, dpi))
    finally:
        raw.FPDFBitmap_Destroy(bitmap)
        raw.FPDF_ClosePage(page)
    return {"page": sheet.number, "dpi": dpi, "png": base64.b64encode(out.getvalue()).decode("ascii")}


def pages_seen(told: Sequence[dict[str, Any]]) -> list[PageSeen]:
    """The pages out of plain values."""
    return [PageSeen(int(one["page"]), float(one["dpi"]), base64.b64decode(one["png"])) for one in told]
