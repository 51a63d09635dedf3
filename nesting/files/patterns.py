"""Reading a pattern file of any kind."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from nesting.files.drawn.context import Context
from nesting.files.drawn.sketch import Group
from nesting.files.reading import LARGEST_FILE, Reading
from nesting.model.tolerances import CHORD_MM, JOIN_GAP_MM

__all__ = ["LARGEST_FILE", "open_drawing", "read_pieces"]


def read_pieces(
    path: str | Path,
    *,
    size: str | None = None,
    units: str | None = None,
    chord: float = CHORD_MM,
    join_gap: float = JOIN_GAP_MM,
    pages: Sequence[int] | None = None,
    layers: Sequence[str] | None = None,
) -> Reading:
    """The pieces of a pattern file, SVG, DXF or PDF, and everything that was put right, left out or unclear.

    The kind is told by the content, not by the name. ``size``: only pieces of that size and those without one; where
    the file has no sizes, all its pieces are of that size. ``units``: the unit of a drawing that does not state its own
    ("mm", "in"). ``chord`` mm: no chord leaves its curve by more. ``join_gap`` mm: outlines are closed over
    gaps up to this wide, with a finding. ``pages`` (from 1) and ``layers`` choose from a PDF. Pieces are in the drawing
    frame: mm, y up, outlines anticlockwise.

    Raises PatternError: the file is missing, unreadable, too large, neither SVG, DXF nor PDF or cut off; an outline is
    open, crosses itself or has no area; a coordinate is not finite or beyond 100 m; the size is not in the file.
    UnitsError:
    ``units`` is no unit.
    """
    from nesting.files.drawn.gather import gather
    from nesting.files.drawn.make import make_pieces

    if not (chord > 0 and join_gap >= 0):
        raise ValueError(f"chord must be above 0 and join_gap at least 0 mm, got {chord} and {join_gap}")
    if units is not None:
        from nesting.files.svg.svgunits import unit_mm

        unit_mm(units)
    path = Path(path)
    ctx = Context(path.name, chord, join_gap)
    root, known = open_drawing(path, ctx, units, pages, layers)
    found, square = gather(root, ctx)
    pieces = make_pieces(found, ctx, size)
    return Reading(pieces, tuple(ctx.findings), square, known)


def open_drawing(
    path: Path,
    ctx: Context,
    units: str | None,
    pages: Sequence[int] | None = None,
    layers: Sequence[str] | None = None,
) -> tuple[Group, bool]:
    """The strokes and texts of a drawing, and whether its units are known. Raises PatternError as ``read_pieces``."""
    data = _read(path, ctx)
    if b"%PDF-" in data[:1024]:
        from nesting.outlines.pdf import read_pdf

        return read_pdf(data, ctx, pages, layers), True
    if pages is not None or layers is not None:
        raise ctx.error("pages and layer choose from a PDF file, and this is none; remove these keys", code="pdf.keys")
    head = data[:4096]
    text = head.decode("utf-16", "ignore") if head[:2] in (b"\xff\xfe", b"\xfe\xff") else head.decode("latin-1")
    start = text.lstrip("\ufeff\xef\xbb\xbf \t\r\n\0")
    if start.startswith("<"):
        from nesting.files.svg.svg import read_svg

        return read_svg(data, ctx, units), True
    from nesting.files.dxf.dxf import read_dxf
    from nesting.files.dxf.dxffile import looks_like_dxf

    if looks_like_dxf(data):
        return read_dxf(data, ctx, units)
    kind = path.suffix.lower()
    expected = {".svg": "an SVG drawing (XML text)", ".dxf": "a DXF drawing", ".pdf": "a PDF file"}.get(
        kind, "an SVG, DXF or PDF drawing"
    )
    raise ctx.error(
        f"this is not {expected}: it begins with {start[:20]!r}. Save the drawing again from your program",
        code="file.not-pattern",
    )


def _read(path: Path, ctx: Context) -> bytes:
    try:
        if path.is_dir():
            raise ctx.error(
                "this is a folder, but a pattern file was expected: name the SVG, DXF or PDF file in it",
                code="file.folder",
            )
        if path.exists() and not path.is_file():
            raise ctx.error("this is no regular file: name an SVG, DXF or PDF file", code="file.not-regular")
        with path.open("rb") as stream:
            data = stream.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        raise ctx.error(f"there is no such file ({path}): check the name and the folder", code="file.missing") from None
    except (OSError, ValueError) as error:
        raise ctx.error(
            f"the file cannot be read ({getattr(error, 'strerror', None) or error})", code="file.unreadable"
        ) from None
    if len(data) > LARGEST_FILE:
        raise ctx.error(
            f"the file is larger than {LARGEST_FILE // 1024**2} MB; save only the pattern pieces", code="file.too-large"
        )
    if not data.strip(b"\0 \t\r\n"):
        raise ctx.error("the file is empty: save the drawing again from your program", code="file.empty")
    return data
