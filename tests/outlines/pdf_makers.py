"""PDF patterns made by three programs from outlines that are known: reportlab, matplotlib, and content written by hand.

Shapes are lists of segments in mm: ("m", x, y), ("l", x, y), ("c", x1, y1, x2, y2, x, y); a last ("z",) closes them.
"""

from __future__ import annotations

import io
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pikepdf
import pytest
from shapely import LineString, Polygon
from shapely.geometry import box

Shape = list[tuple[Any, ...]]
MM = 72.0 / 25.4


def front(k: float = 1.0, x: float = 20.0, y: float = 20.0) -> Shape:
    """Half a front: straight centre and hem, curved side, waist. ``k`` makes it wider only."""
    w = 100.0 * k
    return [
        ("m", x, y), ("l", x + w, y), ("c", x + w + 12, y + 60, x + w - 18, y + 120, x + w + 4, y + 180),
        ("c", x + 0.7 * w, y + 186, x + 0.3 * w, y + 172, x, y + 170), ("z",),
    ]  # fmt: skip


def moved(shape: Shape, dx: float, dy: float) -> Shape:
    """The shape elsewhere."""
    return [(s[0], *(v + (dx if i % 2 == 0 else dy) for i, v in enumerate(s[1:]))) for s in shape]


def dense(shape: Shape, n: int = 400) -> list[tuple[float, float]]:
    """Points along a shape, evaluated here and not by the reader."""
    points: list[tuple[float, float]] = []
    for s in shape:
        if s[0] in "ml":
            points.append((s[1], s[2]))
        elif s[0] == "c":
            p0, p = np.array(points[-1]), np.array(s[1:]).reshape(3, 2)
            for t in np.linspace(0, 1, n)[1:]:
                q = (1 - t) ** 3 * p0 + 3 * t * (1 - t) ** 2 * p[0] + 3 * t * t * (1 - t) * p[1] + t**3 * p[2]
                points.append((float(q[0]), float(q[1])))
    return points


def deviation(ring: Sequence[tuple[float, float]], shape: Shape, align: bool = True) -> tuple[float, float]:
    """Largest distance between outline and shape both ways (mm), and the share by which their areas differ."""
    a, b = np.array(ring), np.array(dense(shape))
    if align:
        pa, pb = Polygon(a).centroid, Polygon(b).centroid
        a = a + np.array((pb.x - pa.x, pb.y - pa.y))
    one, other = Polygon(a), Polygon(b)
    away = max(max(other.exterior.distance(p) for p in _dots(one)), max(one.exterior.distance(p) for p in _dots(other)))
    return float(away), abs(one.area - other.area) / other.area


def _dots(shape: Polygon) -> list[Any]:
    ring = shape.exterior
    return [ring.interpolate(t, normalized=True) for t in np.linspace(0, 1, 600)]


def operators(shape: Shape) -> str:
    """PDF path operators in points."""
    out = []
    for s in shape:
        if s[0] == "z":
            out.append("h")
        else:
            out.append(" ".join(f"{v * MM:.6f}" for v in s[1:]) + " " + s[0])
    return " ".join(out)


Drawing = list[dict[str, Any]]
"""What to draw: {"shape": Shape, "layer", "dash", "colour", "width"} or {"text": str, "at": (x, y), "height": mm}."""


def by_hand(
    pages: Sequence[Drawing],
    size: tuple[float, float] = (210.0, 297.0),
    change: Callable[[Any, Any], None] | None = None,
) -> bytes:
    """Pages written operator by operator; layers as marked content with optional content groups."""
    pdf = pikepdf.Pdf.new()
    groups: dict[str, Any] = {}
    for drawing in pages:
        page = pdf.add_blank_page(page_size=(size[0] * MM, size[1] * MM))
        parts, properties = [], pikepdf.Dictionary()
        for thing in drawing:
            layer = thing.get("layer")
            if layer is not None:
                if layer not in groups:
                    groups[layer] = pdf.make_indirect(
                        pikepdf.Dictionary(Type=pikepdf.Name.OCG, Name=pikepdf.String(layer))
                    )
                key = f"/P{list(groups).index(layer)}"
                properties[key] = groups[layer]
                parts.append(f"/OC {key} BDC")
            if "text" in thing:
                x, y = thing["at"]
                words = thing["text"].encode("cp1252", "replace").hex()
                parts.append(
                    f"BT /F1 {thing.get('height', 4) * MM:.4f} Tf {x * MM:.4f} {y * MM:.4f} Td <{words}> Tj ET"
                )
            else:
                dash = " ".join(f"{d * MM:.4f}" for d in thing.get("dash", ()))
                colour = " ".join(str(c) for c in thing.get("colour", (0, 0, 0)))
                parts.append(
                    f"q [{dash}] 0 d {thing.get('width', 0.3) * MM:.4f} w {colour} RG {operators(thing['shape'])} S Q"
                )
            if layer is not None:
                parts.append("EMC")
        font = pikepdf.Dictionary(
            Type=pikepdf.Name.Font, Subtype=pikepdf.Name.Type1, BaseFont=pikepdf.Name.Helvetica,
            Encoding=pikepdf.Name.WinAnsiEncoding,
        )  # fmt: skip
        page.obj["/Resources"] = pikepdf.Dictionary(Font=pikepdf.Dictionary(F1=font), Properties=properties)
        page.obj["/Contents"] = pdf.make_stream("\n".join(parts).encode())
    if groups:
        every = pikepdf.Array(list(groups.values()))
        pdf.Root["/OCProperties"] = pdf.make_indirect(
            pikepdf.Dictionary(OCGs=every, D=pikepdf.Dictionary(Order=pikepdf.Array(list(groups.values()))))
        )
    if change is not None:
        change(pdf, groups)
    out = io.BytesIO()
    pdf.save(out)
    return out.getvalue()


def by_reportlab(pages: Sequence[Drawing], size: tuple[float, float] = (210.0, 297.0)) -> bytes:
    """The same through reportlab (it has no layers)."""
    from reportlab.pdfgen import canvas

    out = io.BytesIO()
    c = canvas.Canvas(out, pagesize=(size[0] * MM, size[1] * MM))
    for drawing in pages:
        for thing in drawing:
            if "text" in thing:
                c.setFont("Helvetica", thing.get("height", 4) * MM)
                c.drawString(thing["at"][0] * MM, thing["at"][1] * MM, thing["text"])
                continue
            c.saveState()
            c.setLineWidth(thing.get("width", 0.3) * MM)
            c.setStrokeColorRGB(*thing.get("colour", (0, 0, 0)))
            c.setDash([d * MM for d in thing.get("dash", ())])
            path = c.beginPath()
            for s in thing["shape"]:
                v = [n * MM for n in s[1:]]
                {"m": path.moveTo, "l": path.lineTo, "c": path.curveTo, "z": path.close}[s[0]](*v)
            c.drawPath(path, stroke=1, fill=0)
            c.restoreState()
        c.showPage()
    c.save()
    return out.getvalue()


def by_matplotlib(pages: Sequence[Drawing], size: tuple[float, float] = (210.0, 297.0)) -> bytes:
    """The same through matplotlib's PDF backend."""
    from matplotlib.backends.backend_pdf import PdfPages
    from matplotlib.figure import Figure
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path as Drawn

    out = io.BytesIO()
    with PdfPages(out) as book:
        for drawing in pages:
            figure = Figure(figsize=(size[0] / 25.4, size[1] / 25.4))
            axes = figure.add_axes((0, 0, 1, 1))
            axes.set_xlim(0, size[0])
            axes.set_ylim(0, size[1])
            axes.axis("off")
            for thing in drawing:
                if "text" in thing:
                    axes.text(*thing["at"], thing["text"], fontsize=thing.get("height", 4) * MM)
                    continue
                vertices, codes = [], []
                for s in thing["shape"]:
                    pairs = np.array(s[1:]).reshape(-1, 2).tolist() or [[0, 0]]
                    vertices += pairs
                    kind = {"m": Drawn.MOVETO, "l": Drawn.LINETO, "c": Drawn.CURVE4, "z": Drawn.CLOSEPOLY}[s[0]]
                    codes += [kind] * len(pairs)
                dash = thing.get("dash", ())
                width = thing.get("width", 0.3) * MM
                style: Any = (0, tuple(d * MM / width for d in dash)) if dash else "solid"
                axes.add_patch(
                    PathPatch(Drawn(vertices, codes), fill=False, lw=width, ls=style, ec=thing.get("colour", (0, 0, 0)),
                              snap=False, clip_on=False)
                )  # fmt: skip
            book.savefig(figure)
    return out.getvalue()


def by_cairo(pages: Sequence[Drawing], size: tuple[float, float] = (210.0, 297.0)) -> bytes:
    """The same written anew by cairo, through poppler's pdftocairo; the test is skipped where that is not installed."""
    if shutil.which("pdftocairo") is None:
        pytest.skip("pdftocairo is not installed")
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder) / "in.pdf", Path(folder) / "out.pdf"
        source.write_bytes(by_hand(pages, size))
        subprocess.run(
            ["pdftocairo", "-pdf", "-origpagesizes", "-noshrink", "-nocenter", str(source), str(target)],
            check=True,
            timeout=60,
            capture_output=True,
        )
        return target.read_bytes()


def by_chromium(pages: Sequence[Drawing], size: tuple[float, float] = (210.0, 297.0)) -> bytes:
    """The same as a page of SVG printed by Chromium, which scales and moves all that it writes.

    The tests read what this gave once (``chromium.pdf`` in fixtures/pdf): a browser takes seconds and changes.
    """
    bodies = []
    for drawing in pages:
        parts = []
        for thing in drawing:
            if "text" in thing:
                x, y = thing["at"]
                style = f"font-size:{thing.get('height', 4)}px;font-family:sans-serif"
                parts.append(f'<text x="{x}" y="{size[1] - y}" style="{style}">{thing["text"]}</text>')
                continue
            d = []
            for s in thing["shape"]:
                pairs = [f"{s[i]:.6f},{size[1] - s[i + 1]:.6f}" for i in range(1, len(s), 2)]
                d.append(s[0].upper() + " ".join(pairs))
            dash = " ".join(str(v) for v in thing.get("dash", ()))
            parts.append(
                f'<path d="{" ".join(d)}" fill="none" stroke="black" stroke-width="{thing.get("width", 0.3)}" '
                f'stroke-dasharray="{dash or "none"}"/>'
            )
        view = f'width="{size[0]}mm" height="{size[1]}mm" viewBox="0 0 {size[0]} {size[1]}"'
        bodies.append(f'<svg xmlns="http://www.w3.org/2000/svg" style="display:block" {view}>{"".join(parts)}</svg>')
    css = f"@page{{size:{size[0]}mm {size[1]}mm;margin:0}}body{{margin:0}}svg{{break-after:page}}"
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder) / "in.html", Path(folder) / "out.pdf"
        source.write_text(f"<!doctype html><meta charset=utf-8><style>{css}</style>{''.join(bodies)}", "utf-8")
        subprocess.run(
            ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
             f"--user-data-dir={folder}/profile", f"--print-to-pdf={target}", source.as_uri()],
            check=True, timeout=60, capture_output=True,
        )  # fmt: skip
        return target.read_bytes()


def cut_to_tiles(
    drawing: Drawing, columns: int, rows: int, tile: tuple[float, float] = (190.0, 277.0), overlap: float = 10.0,
    origin: tuple[float, float] = (10.0, 10.0),
) -> list[Drawing]:  # fmt: skip
    """Pages (rows from the top) that hold only their own part of each line, cut at the tile's border."""
    pages = []
    sx, sy = tile[0] - overlap, tile[1] - overlap
    top = rows * sy + overlap
    for row in range(rows):
        for column in range(columns):
            x0, y1 = column * sx, top - row * sy
            y0 = y1 - tile[1]
            page: Drawing = []
            window = box(x0, y0, x0 + tile[0], y1)
            for thing in drawing:
                if "text" in thing:
                    x, y = thing["at"]
                    if x0 <= x <= x0 + tile[0] and y0 <= y <= y1:
                        page.append({**thing, "at": (x - x0 + origin[0], y - y0 + origin[1])})
                    continue
                points = dense(thing["shape"])
                closed = thing["shape"][-1][0] == "z"
                part = LineString([*points, points[0]] if closed else points).intersection(window)
                for run in getattr(part, "geoms", [part]):
                    if run.geom_type != "LineString" or run.is_empty:
                        continue
                    shape = [("m" if i == 0 else "l", x - x0 + origin[0], y - y0 + origin[1]) for i, (x, y) in
                             enumerate(run.coords)]  # fmt: skip
                    page.append({**thing, "shape": shape})
            pages.append(page)
    return pages


def whole_on_tiles(
    drawing: Drawing, columns: int, rows: int, tile: tuple[float, float] = (190.0, 277.0), overlap: float = 10.0
) -> list[Drawing]:
    """Pages that each hold all lines whole, shown through their own window."""
    sx, sy = tile[0] - overlap, tile[1] - overlap
    top = rows * sy + overlap
    pages = []
    for row in range(rows):
        for column in range(columns):
            dx, dy = 10.0 - column * sx, 10.0 - (top - row * sy - tile[1])
            pages.append(
                [
                    {**t, "shape": moved(t["shape"], dx, dy)} if "shape" in t else
                    {**t, "at": (t["at"][0] + dx, t["at"][1] + dy)} for t in drawing
                ]
            )  # fmt: skip
    return pages
