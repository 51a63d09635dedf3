"""What checking found, for people: a page, a labelled picture of the drawings, and a summary for the terminal."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from nesting.checking.fit import opening_words
from nesting.checking.judging import Check, PieceLine, SeamLine, small_length
from nesting.model.order import Order
from nesting.model.units import format_fraction
from nesting.report.backends.to_svg import svg, svg_bytes
from nesting.report.drawing.fonts import shown
from nesting.report.html.check_drawing import (
    alterations_of,
    corner_sheet,
    in_rows,
    marks_of,
    piece_scene,
    together_scene,
)
from nesting.report.html.drawn import part_html
from nesting.report.words import measure, unit_name
from nesting.resolving.cutting_list import Agreed

__all__ = ["alterations_shown", "check_page", "check_summary", "verdict", "write_check"]

#: mm. Outlines on the page may lose points this near to the rest, to keep the file small.
_THIN_DECIMALS = 2


def write_check(
    check: Check, order: Order, *, picture: bool = False, every_corner: bool = False
) -> dict[str, bytes]:
    """File name to content: ``check.html``, and with ``picture`` the drawings with their corners numbered
    (``every_corner``: and every bend) as ``corners.svg`` and ``corners.png``, and what is altered, before and after, as
    ``alterations.svg`` and ``alterations.png``."""
    outputs = {"check.html": check_page(check, order)}
    if picture and any(cut.drawn is not None for cut in order.pieces):
        from nesting.report.backends.to_png import png_bytes

        sheet = corner_sheet(order.pieces, f"{check.title}: corners and notches", every=every_corner)
        outputs["corners.svg"] = svg_bytes(sheet)
        outputs["corners.png"] = png_bytes(sheet, pixels=3000, em=9.0)
        altered = alterations_of(order.pieces)
        if altered:
            sheet = in_rows(altered, f"{check.title}: alterations, before (dashed) and after")
            outputs["alterations.svg"] = svg_bytes(sheet)
            outputs["alterations.png"] = png_bytes(sheet, pixels=3000, em=9.0)
    return outputs


def verdict(check: Check) -> tuple[str, tuple[str, ...]]:
    """The verdict in one sentence, and its reasons."""
    reasons: list[str] = []
    for line in check.seams:
        if not line.walked.agrees:
            told = line.walked.told(lambda mm: small_length(mm, check.imperial))
            size = f"Size {line.size}: " if line.size else ""
            reasons += [f"{size}{one.message}." for one in told if one.forbids]
    for pair in check.together:
        if not pair.fits.agrees:
            size = f"Size {pair.size}: " if pair.size else ""
            reasons += [f"{size}{words}." for words in pair.fits.messages]
    wrong = sum(not s.walked.agrees for s in check.seams)
    apart = sum(not t.fits.agrees for t in check.together)
    if wrong or apart:
        parts = []
        if wrong:
            parts.append("1 seam does not fit" if wrong == 1 else f"{wrong} seams do not fit")
        if apart:
            parts.append(
                "1 piece cannot be cut together with its leader"
                if apart == 1
                else f"{apart} pieces cannot be cut together with their leaders"
            )
        return "Do not cut yet: " + " and ".join(parts) + ".", tuple(reasons)
    open_ones = [f for f in check.findings if f.forbids]
    if open_ones:
        first = "1 question is" if len(open_ones) == 1 else f"{len(open_ones)} questions are"
        return f"Do not cut yet: {first} not answered, see above.", ()
    # what some piece cannot lie on; where that is told, it is told above
    nowhere = any(f.code == "cloth.cannot-lie" for f in check.findings)
    if check.seams:
        walked = len({s.walked.titles for s in check.seams})
        agree = "lengths and notches agree"
        if not any(s.walked.notches for s in check.seams):
            lone = any(s.walked.lone for s in check.seams)
            agree = f"lengths agree; {'no notch has a partner' if lone else 'there are no notches'} to compare"
        lies = " But they cannot be laid on this cloth, see above." if nowhere else ""
        return f"These pieces will sew together: {_count(walked, 'seam')} walked, {agree}.{lies}", ()
    if nowhere:
        return "These pieces cannot be laid on this cloth, see above. No seams are stated in the order.", ()
    return "The pieces can be laid. No seams are stated in the order, so none were walked.", ()


def _count(n: int, what: str) -> str:
    return f"{n} {what}" if n == 1 else f"{n} {what}s"


_OPENING_COLUMNS = ("opening", "garment", "edge", "at rest", "stretched", "sits on", "passes", "rest to sits")


def check_page(check: Check, order: Order) -> bytes:
    """The page, one self-contained HTML file that prints well."""
    from jinja2 import Environment, StrictUndefined, select_autoescape

    folder = files("nesting.report.html") / "templates"
    environment = Environment(
        autoescape=select_autoescape(default=True), undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["shown"] = lambda value: shown(str(value))
    template = environment.from_string((folder / "check.html.jinja").read_text(encoding="utf-8"))
    marks = marks_of(check)
    altered = alterations_shown(order)
    cuts = {(cut.name, cut.size): cut for cut in order.pieces}
    words, reasons = verdict(check)
    pieces = []
    for line in check.pieces:
        told = marks.get((line.name, line.size), [])
        scene = piece_scene(cuts[line.name, line.size], told)
        pieces.append({**_piece_row(line, check.imperial), "drawing": svg(scene, decimals=_THIN_DECIMALS, inline=True)})
    tolerances = sorted({s.walked.tolerance for s in check.seams})
    text = template.render(
        title=check.title,
        css=(folder / "report.css").read_text(encoding="utf-8"),
        verdict=words,
        reasons=reasons,
        seams=[_seam_row(line, check.imperial) for line in check.seams],
        together=[_together_row(line, check.imperial) for line in check.together],
        openings=[opening_words(line, check.imperial) for line in check.openings],
        opening_columns=_OPENING_COLUMNS,
        tolerance="Allowed: " + " or ".join(small_length(t, check.imperial) for t in tolerances) + "."
        if tolerances
        else "",
        pieces=pieces,
        alterations=part_html("alterations", altered) if altered else "",
        squares=[_square(name, side, check.imperial) for name, side in check.test_squares],
        unit=unit_name(check.imperial),
        area_unit="sq in" if check.imperial else "cm²",
        findings=[{"kind": f.kind, "where": _where(f.file, f.piece), "message": f.message} for f in check.findings],
    )
    return text.encode("utf-8")


def alterations_shown(order: Order) -> dict[str, Any]:
    """What is altered, before and after, as drawings; empty where nothing is."""
    drawings = [svg(scene, decimals=_THIN_DECIMALS, inline=True) for scene in alterations_of(order.pieces)]
    return {"drawings": drawings} if drawings else {}


def _where(file: str | None, piece: str | None) -> str:
    where = ", ".join(part for part in (file, piece) if part)
    return f"{where}: " if where else ""


def _area(mm2: float, imperial: bool) -> str:
    return f"{mm2 / 645.16:.1f}" if imperial else f"{mm2 / 100.0:.1f}"


def _piece_row(line: PieceLine, imperial: bool) -> dict[str, Any]:
    cut = f"{line.cut}"
    if not line.in_garment:
        cut = "not cut: in no garment"
    elif line.on_fold:
        cut += " on the fold"
    elif line.mirrored:
        cut += ", left and right"
    note = ""
    if line.drawn_area is not None and abs(line.area - line.drawn_area) > 1e-4 * line.drawn_area:
        change = line.area - line.drawn_area
        sign = "+" if change > 0 else "−"
        note = f": {sign}{_area(abs(change), imperial)} {'sq in' if imperial else 'cm²'} against the drawing"
    return {
        "name": line.name,
        "label": line.label,
        "size": line.size or "",
        "measure": f"{measure(line.width, imperial)} × {measure(line.height, imperial)}",
        "area": _area(line.area, imperial),
        "grain": f"{line.grain:.1f}".rstrip("0").rstrip(".") + "°",
        "notches": line.notches,
        "drills": line.drills,
        "cut": cut,
        "cloth": line.cloth,
        "note": note,
    }


def _difference(mm: float, imperial: bool) -> str:
    sign = "−" if mm < 0 else "+"
    if imperial:
        words = format_fraction(abs(mm) / 25.4, 16)
        return "0" if words == "0" else f"{sign}{words} in"
    return "0" if abs(mm) < 0.05 else f"{sign}{abs(mm):.1f} mm"


def _square(name: str, side: float, imperial: bool) -> str:
    """What a test square measures, fine enough to compare it with a ruler."""
    size = f"{side / 25.4:.2f} in ({side:.1f} mm)" if imperial else f"{side:.1f} mm"
    return f"{name}: the test square measures {size}"


def _seam_row(line: SeamLine, imperial: bool) -> dict[str, Any]:
    walked = line.walked
    met = sum(abs(n.difference) <= walked.tolerance for n in walked.notches)
    notches = f"{met} of {len(walked.notches)} meet" if walked.notches else "none"
    if walked.lone:
        notches += f", {len(walked.lone)} without partner"
    return {
        "name": " – ".join(walked.titles) + _ease_words(line, imperial),
        "size": line.size or "",
        "lengths": " / ".join(_length(x, imperial) for x in walked.lengths),
        "difference": _difference(walked.difference, imperial),
        "notches": notches,
        "agrees": walked.agrees,
    }


def _ease_words(line: SeamLine, imperial: bool) -> str:
    """How a seam is eased: how much, and where."""
    ease, ratio, between = line.seam.ease, line.seam.ratio, line.seam.ease_between
    words = []
    if ratio != 1.0:
        words.append(f"at {ratio:g} of the first")
    if ease != 0.0:
        way = "eased in" if ease > 0 else "shorter, the first side eased in"
        where = f" between {between[0]} and {between[1]}" if between else ""
        words.append(f"{small_length(ease, imperial)} {way}{where}")
    return f" ({', '.join(words)})" if words else ""


def _length(mm: float, imperial: bool) -> str:
    """A seam's length: cm to a tenth of a millimetre, or inches to the sixteenth."""
    return measure(mm, True) if imperial else f"{mm / 10.0:.2f}"


def _together_row(line: Agreed, imperial: bool) -> dict[str, Any]:
    found = line.fits
    size = f" {line.size}" if line.size else ""
    if found.agrees and found.stretches:
        run = sum(s.length for s in found.stretches)
        words = (
            f"runs along its leader for {small_length(run, imperial)}, nowhere off by more than "
            f"{small_length(found.largest, imperial)}"
        )
    else:
        words = "; ".join(found.messages)
    return {
        "name": f"{line.rule.follower}{size} on {line.rule.leader}{size}",
        "agrees": found.agrees,
        "words": words,
        "drawing": svg(together_scene(line, imperial), decimals=_THIN_DECIMALS, inline=True),
    }


def check_summary(check: Check, order: Order) -> Any:
    """The check for the terminal, as a rich renderable."""
    from rich.console import Group
    from rich.table import Table
    from rich.text import Text

    imperial = check.imperial
    unit = unit_name(imperial)
    table = Table(title="Pieces as they will be cut", title_justify="left", box=None, pad_edge=False)
    table.add_column("piece")
    table.add_column(f"width × height ({unit})", justify="right", no_wrap=True)
    table.add_column(f"area ({'sq in' if imperial else 'cm²'})", justify="right")
    table.add_column("grain", justify="right")
    table.add_column("notches", justify="right")
    table.add_column("cut")
    for line in check.pieces:
        row = _piece_row(line, imperial)
        table.add_row(line.label, row["measure"], row["area"], row["grain"], str(line.notches), row["cut"])
    parts: list[Any] = [table]
    for name, side in check.test_squares:
        parts.append(Text(_square(name, side, imperial)))
    if check.seams:
        seams = Table(title="Seams", title_justify="left", box=None, pad_edge=False)
        seams.add_column("seam")
        seams.add_column("size")
        seams.add_column("difference", justify="right")
        seams.add_column("notches")
        seams.add_column("verdict")
        for walked in check.seams:
            row = _seam_row(walked, imperial)
            seams.add_row(
                row["name"],
                row["size"],
                row["difference"],
                row["notches"],
                "agrees" if row["agrees"] else "does not fit",
            )
        parts.append(seams)
    if check.openings:
        fit = Table(title="Openings", title_justify="left", box=None, pad_edge=False)
        for column in _OPENING_COLUMNS:
            named = column in ("opening", "garment")
            # heads in two lines, so that lengths are shown whole and names may take the lines that they need
            head = column if named else column.replace(" ", "\n").replace("\nto\n", " to\n")
            fit.add_column(head, justify="left" if named else "right", no_wrap=not named)
        for opening in check.openings:
            fit.add_row(*opening_words(opening, imperial).values())
        parts.append(fit)
    for pair in check.together:
        row = _together_row(pair, imperial)
        parts.append(Text(f"{row['name']}: {'' if row['agrees'] else 'does not agree: '}{row['words']}"))
    for finding in check.findings:
        told = finding.code in ("together.differs", "seam.mismatch", "seam.notch-apart", "seam.notch-alone")
        # where a distance is measured from is nothing that a table or a drawing here would show
        said = finding.kind in ("question", "ambiguous") or finding.code == "alter.from"
        if said or (finding.kind == "warning" and not told):
            parts.append(Text(str(finding)))
    words, reasons = verdict(check)
    parts.append(Text(words, style="bold"))
    parts += [Text(f"  {reason}") for reason in reasons]
    return Group(*parts)
