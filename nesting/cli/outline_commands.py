"""What the commands about pictures do: trace, the mat, and a scrap for the stash."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from nesting.model.errors import InputError

if TYPE_CHECKING:
    from nesting.outlines.mat import Bars
    from nesting.outlines.trace import Tap, Traced
    from nesting.outlines.trace_answers import Answers

__all__ = ["mat_file", "read_bars", "read_tap", "scrap_into_stash", "trace_files"]


def mat_file(folder: Path, paper: str | None, sheets: int) -> tuple[dict[str, Any], list[object]]:
    """Write the mat, ``mat.pdf``. Raises InputError for another paper than a4 or letter."""
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.outlines.mat_pdf import mat_pdf

    chosen: Literal["a4", "letter"] = "letter" if (paper or "").lower() == "letter" else "a4"
    if paper is not None and paper.lower() != chosen:
        raise InputError(
            f"--paper: found '{paper}', expected a4 or letter: the mat is made for these", code="option.value"
        )
    data = mat_pdf(sheets=sheets, paper=chosen)
    ready_folder(folder)
    path = folder / "mat.pdf"
    write_outputs({path: data})
    words = (
        f"written to {path}: print it at 100 %, measure both bars of a sheet, lay the sheets around the piece, and: "
        "nesting trace PHOTO --bars 180.0x240.0 -o pieces.svg"
    )
    return {"files": [str(path)]}, [words]


def read_bars(text: str) -> Bars:
    """ "180.2x240.4": the bars as measured, level x upright, mm unless units are given. Raises InputError."""
    from nesting.model.errors import UnitsError
    from nesting.model.units import parse_length
    from nesting.outlines.mat import Bars

    parts = text.lower().replace("×", "x").split("x")
    try:
        level, upright = (parse_length(part.strip(), "mm") for part in parts)
        return Bars(level, upright)
    except UnitsError as error:
        raise InputError(f"--bars: {error.message}", code="option.value") from None
    except ValueError as error:
        why = str(error) if len(parts) == 2 else f"found '{text}'"
        raise InputError(
            f"--bars: {why}; expected them as measured, level x upright: 180.2x240.4", code="option.value"
        ) from None


def read_tap(text: str) -> Tap:
    """ "1980,1410" or "2:1980,1410", the second picture. Raises InputError."""
    from nesting.outlines.trace import Tap

    number, _, place = text.rpartition(":")
    try:
        x, y = (float(v) for v in place.split(","))
        return Tap(x, y, int(number) - 1 if number else 0)
    except ValueError:
        raise InputError(
            f"--tap: found '{text}', expected a pixel in the piece: 1980,1410 or 2:1980,1410", code="option.value"
        ) from None


def trace_files(
    photos: Sequence[Path],
    output: Path,
    *,
    bars: str | None,
    taps: Sequence[str],
    measured: Sequence[str],
    said: dict[str, Sequence[str]],
    lift_mm: float | None,
    ask: Callable[[str], str] | None = None,
) -> tuple[bool, dict[str, Any], list[object]]:
    """Trace pictures into ``output`` (SVG) once all questions are answered, with a preview beside it.

    ``said``: answers by option ("name", "size", "line", "fold", "notches", "grain"), one for all pieces or one each.
    ``ask``: asks a person, where one is there. Returns whether the pieces were written.
    """
    # curves are fitted last, and what fits them takes long to load: meanwhile the pictures are read
    threading.Thread(target=import_module, args=("scipy.interpolate",), name="loading", daemon=True).start()
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.outlines.scan import read_measured
    from nesting.outlines.trace import trace_photos, trace_scan
    from nesting.outlines.trace_answers import questions
    from nesting.outlines.trace_promise import USUAL_LIFT_MM
    from nesting.outlines.trace_svg import preview_png, traced_svg

    if output.suffix.lower() != ".svg":
        raise InputError(
            "pieces are written as SVG: give a name that ends in .svg with -o", file=output, code="option.value"
        )
    scan = bool(measured)
    if scan:
        if len(photos) != 1:
            raise InputError(
                f"--measured goes with one scan at a time; {len(photos)} pictures were given", code="option.value"
            )
        traced = trace_scan(photos[0], measured=[read_measured(m) for m in measured], taps=[read_tap(t) for t in taps])
    else:
        if bars is None:
            raise InputError(
                "how long did the printer make the mat's bars? Measure both on a sheet, tick to tick, and say --bars "
                "180.0x240.0 (level x upright, mm); for a scan, say --measured",
                code="trace.bars",
            )
        lift = USUAL_LIFT_MM if lift_mm is None else lift_mm
        traced = trace_photos(photos, bars=read_bars(bars), taps=[read_tap(t) for t in taps], lift_mm=lift)
    answers = _answers(traced, said)
    if ask is not None:
        answers = [_asked(traced, k, one, ask) for k, one in enumerate(answers)]
    asked = [q for piece, one in zip(traced.pieces, answers, strict=True) for q in questions(piece, one)]
    preview = output.with_name(f"{output.stem}-seen.png")
    svg = traced_svg(traced, answers, scan=scan) if not asked else None
    ready_folder(output.parent)
    files = {preview: preview_png(traced)}
    if svg is not None:
        files[output] = svg.encode("utf-8")
    write_outputs(files)
    findings = [*traced.findings, *asked]
    document = {
        "pieces": _traced_pieces(traced, answers),
        "findings": [f.as_dict() for f in findings],
        "files": [str(path) for path in files],
    }
    words: list[object] = [
        f"{one.name}: outline {piece.promise.text()}" for piece, one in zip(traced.pieces, answers, strict=True)
    ]
    words += [str(f) for f in findings]
    words.append(f"edges, notches and lines are numbered in {preview}")
    words.append(f"written to {output}" if svg else "no pieces are written before these questions are answered")
    return svg is not None, document, words


def _traced_pieces(traced: Traced, answers: Sequence[Answers]) -> list[dict[str, Any]]:
    """The traced pieces as the JSON document shows them, mm."""
    return [
        {
            "name": one.name, "error_mm": piece.error, "outline": piece.outline,
            "edges": [{"straight": line, "start": p[0], "end": p[-1]} for p, line in piece.runs],
            "notches": [{"at": n.at, "depth": n.depth, "width": n.width} for n in piece.notches],
            "lines": [{"start": g.start, "end": g.end} for g in piece.grain],
        }
        for piece, one in zip(traced.pieces, answers, strict=True)
    ]  # fmt: skip


def _answers(traced: Traced, said: dict[str, Sequence[str]]) -> list[Answers]:
    from nesting.outlines.trace_answers import Answers

    count = len(traced.pieces)

    def of(option: str, k: int) -> str | None:
        values = said.get(option) or ()
        if len(values) not in (0, 1, count):
            raise InputError(
                f"--{option} was given {len(values)} times, expected one, or one for each of {count} pieces",
                code="option.value",
            )
        return values[k if len(values) > 1 else 0] if values else None

    found = []
    for k in range(count):
        line = of("line", k)
        if line not in (None, "cut", "sewn"):
            raise InputError(f"--line: found '{line}', expected cut or sewn", code="option.value")
        name = of("name", k) or (Path(traced.pictures[0]).stem if count == 1 else f"traced-{k + 1}")
        if count > 1 and len(said.get("name") or ()) == 1:
            name = f"{name}-{k + 1}"
        kept: Literal["cut", "sewn"] | None = "cut" if line == "cut" else "sewn" if line == "sewn" else None
        found.append(Answers(name, of("size", k), kept, of("fold", k), of("notches", k), of("grain", k)))
    return found


def _asked(traced: Traced, k: int, one: Answers, ask: Callable[[str], str]) -> Answers:
    """The answers completed by asking; an empty answer leaves the question open."""
    from nesting.outlines.trace_answers import questions

    for question in questions(traced.pieces[k], one):
        field = question.code.rpartition(".")[2]
        said = ask(f"{one.name}: {question.message}\n> ").strip().lower()
        if field == "line" and said not in ("", "cut", "sewn"):
            sys.stderr.write("expected cut or sewn\n")
            continue
        if said:
            one = replace(one, **{field: said})  # type: ignore[arg-type]
    return one


def scrap_into_stash(
    path: Path,
    photos: Sequence[Path],
    *,
    cloth: str | None,
    size: str | None,
    name: str | None,
    bars: str | None,
    tap: str | None,
    grain: str,
) -> list[object]:
    """Add one scrap to the stash: by photographs over the mat, or by its measures (along x across the grain).

    Its picture goes to the folder "pictures" beside the stash. Raises InputError for what is missing or contradicts.
    """
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.model.order import Remnant
    from nesting.outlines.scrap import scrap_from_photo
    from nesting.planning.leftovers.stash import add, read_stash, write_stash

    if not cloth or not cloth.strip():
        raise InputError('which cloth is it? Say --cloth "grey jersey", as your orders call it', code="option.value")
    if bool(photos) == bool(size):
        raise InputError("give either --photo or --size for a scrap, not both", code="option.value")
    stash = read_stash(path)
    title = name or cloth.strip().replace(" ", "-")
    if size:
        along, across = _sides(size)
        outline = ((0.0, 0.0), (along, 0.0), (along, across), (0.0, across))
        changed = add(stash, [Remnant(title, cloth.strip(), outline)], note=f"measured {size}")
        write_stash(path, changed)
        return [f"added {changed.items[-1].remnant.name}: {size}, the first along the grain"]
    if bars is None:
        raise InputError("measure the mat's bars and say --bars 180.0x240.0 (level x upright, mm)", code="trace.bars")
    scrap = scrap_from_photo(photos, bars=read_bars(bars), tap=read_tap(tap) if tap is not None else None, grain=grain)
    remnant = Remnant(title, cloth.strip(), scrap.outline, scrap.flaws)
    fresh = add(stash, [remnant]).items[-1].remnant.name
    stem = "".join(c if c.isalnum() or c in "-_" else "-" for c in fresh)
    picture = Path("pictures") / f"{stem}.jpg"
    changed = add(
        stash, [remnant], note=", ".join(p.name for p in photos), error=scrap.error, picture=picture.as_posix()
    )
    ready_folder(path.parent / "pictures")
    write_outputs({path.parent / picture: scrap.picture})
    write_stash(path, changed)
    unseen = (
        ["the cloth is patterned: holes and tape on it could not be told, so look it over before you lay it"]
        if scrap.patterned
        else []
    )
    holes = f", {len(scrap.flaws)} holes or flaws" if scrap.flaws else ""
    return [
        f"added {fresh}{holes}: its usable outline is made smaller by ± {scrap.error:.1f} mm and fraying; grain from "
        f"{scrap.grain_from}; picture {path.parent / picture}",
        *unseen,
    ]


def _sides(size: str) -> tuple[float, float]:
    """ "42 x 70 cm": mm along and across the grain; a unit at the end counts for both. Raises InputError."""
    from nesting.model.errors import UnitsError
    from nesting.model.units import parse_length

    parts = [part.strip() for part in size.lower().replace("×", "x").split("x")]
    unit = "".join(c for c in parts[-1] if c.isalpha() or c == '"') or "cm"
    try:
        along, across = (parse_length(p if any(c.isalpha() for c in p) else f"{p} {unit}", "cm") for p in parts)
    except (UnitsError, ValueError):
        raise InputError(
            f"--size: found '{size}', expected along x across the grain, like 42 x 70 cm", code="option.value"
        ) from None
    if not (along > 0.0 and across > 0.0):
        raise InputError(f"--size: '{size}' is no cloth: both sides must be above 0", code="option.value")
    return along, across
