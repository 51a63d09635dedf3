"""A cutting order to start from: everything that the pattern files say, and a question where they say too little."""

from __future__ import annotations

import itertools
import json
import math
import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from nesting.files.drawn.texts import size_at_end
from nesting.files.reading import Reading
from nesting.model.errors import OrderError, PatternError
from nesting.model.findings import Finding
from nesting.model.piece import Piece
from nesting.model.units import format_length

__all__ = ["names_without_size", "size_in_name", "size_of_names", "starter_order"]

_SUFFIXES = (".svg", ".dxf", ".pdf")
#: share of its area by which a piece differs from its mirror image if it is meant to be one-sided.
_ONE_SIDED = 0.02
#: Size letters that a file's name may carry: "front-m.svg".
_SIZE_IN_NAME = re.compile(r"(?:^|[\s_.-])((?:[2-6]?X{0,3}[SL])|M)(?:$|[\s_.-])", re.I)


@dataclass(frozen=True)
class _File:
    """One pattern file as far as it can be read. ``size`` comes from its name; ``twin`` holds the same pieces."""

    name: str
    reading: Reading | None = None
    error: str | None = None
    size: str | None = None
    twin: str | None = None

    @property
    def used(self) -> bool:
        return self.reading is not None and self.twin is None

    @property
    def pieces(self) -> list[Piece]:
        if self.reading is None:
            return []
        if not self.size:
            return list(self.reading.pieces)
        return [replace(p, size=self.size, name=self.names.get(p.name, p.name)) for p in self.reading.pieces]

    @property
    def names(self) -> dict[str, str]:
        """What its pieces are called in the order, by their names in the file, where that is something else."""
        return {} if self.reading is None else names_without_size(self.reading, self.size)


def starter_order(paths: str | Path | Sequence[str | Path], *, folder: str | Path | None = None) -> str:
    """The text of a commented cutting order (TOML) for the pattern files in ``paths``, files or folders of them.

    File names in it are written as seen from ``folder``, where the order will stand (default: the folder of the first
    path). It can be loaded as it is whenever the files say enough; else what is missing stands there as a comment with
    a question. Raises OrderError where there is no pattern file, PatternError where none of them can be used.
    """
    sources = [Path(p) for p in ([paths] if isinstance(paths, str | Path) else paths)]
    if not sources:
        raise OrderError(
            "no file was given; pattern files (SVG, DXF or PDF) or a folder of them were expected", code="file.missing"
        )
    base = Path(folder) if folder is not None else (sources[0] if sources[0].is_dir() else sources[0].parent)
    files = _without_twins(_sized([_read(path, base) for path in _pattern_files(sources)]))
    if not any(file.reading for file in files):
        raise PatternError(
            f"none of the pattern files can be used: {files[0].error}"
            + (f"; and {len(files) - 1} more" if len(files) > 1 else ""),
            file=files[0].name,
            code="file.none-usable",
        )
    title = _title(sources, files)
    pieces = [piece for file in files if file.used for piece in file.pieces]
    return "\n".join(
        [
            *_head(title),
            *(line for file in files for line in _pattern_lines(file)),
            *_piece_lines(pieces),
            *_seam_lines(pieces),
            *_cloth_lines(_materials(pieces)),
            *_garment_lines(title, pieces),
        ]
    )


def _pattern_files(sources: Iterable[Path]) -> list[Path]:
    found: list[Path] = []
    for source in sources:
        if source.is_dir():
            inside = sorted(p for p in source.iterdir() if p.suffix.lower() in _SUFFIXES and p.is_file())
            if not inside:
                raise OrderError(
                    "there is no pattern file (*.svg, *.dxf, *.pdf) in this folder; name one that has some",
                    file=source,
                    code="file.missing",
                )
            found += inside
        elif source.is_file():
            found.append(source)
        else:
            raise OrderError(
                "there is no such file; a pattern file (SVG, DXF or PDF) or a folder of them was expected",
                file=source,
                code="file.missing",
            )
    return list(dict.fromkeys(found))


def _read(path: Path, base: Path) -> _File:
    from nesting.files import read_pieces  # the drawing libraries load slowly

    name = Path(os.path.relpath(path, base)).as_posix()
    try:
        reading = read_pieces(path)
    except PatternError as error:
        where = f"piece '{error.piece}': " if error.piece else ""
        return _File(name, error=where + error.message)
    size = None
    if all(p.size is None for p in reading.pieces):
        size = size_in_name(path.stem)
    return _File(name, reading, size=size)


def size_in_name(stem: str) -> str | None:
    """The size that a file's name carries, as in "front-m" (its name without the ending); None where there is none."""
    match = _SIZE_IN_NAME.search(stem)
    return match[1].upper() if match else None


def names_without_size(reading: Reading, size: str | None) -> dict[str, str]:
    """Names of pieces that end with the size that the file is in ("front M"), without it, so that all sizes of a piece
    bear one name. None of them where two pieces would be called alike."""
    if size is None:
        return {}
    ends = re.compile(rf"(.*\w)[\s_/(-]+{re.escape(size)}\)?", re.I)
    shorter = {p.name: found[1] for p in reading.pieces if (found := ends.fullmatch(p.name)) is not None}
    after = [shorter.get(p.name, p.name) for p in reading.pieces]
    return shorter if len(set(after)) == len(after) else {}


def _sized(files: list[_File]) -> list[_File]:
    """Files of pieces without a size that all end with the same one ("Back M") are in that size if another file is: a
    pattern often comes as a file for each piece. One such name by itself may mean anything."""
    own = [None if file.reading is None or file.size else size_of_names(file.reading) for file in files]
    every = [
        {size for size in (file.size, end, *(p.size for p in file.pieces)) if size}
        for file, end in zip(files, own, strict=True)
    ]
    sized = []
    for k, (file, end) in enumerate(zip(files, own, strict=True)):
        elsewhere = set().union(*(sizes for j, sizes in enumerate(every) if j != k))
        sized.append(replace(file, size=end) if end in elsewhere else file)
    return sized


def size_of_names(reading: Reading) -> str | None:
    """The size that the names of all its pieces end with, where the file itself tells none; else None."""
    ends = {None if p.size or not (found := size_at_end(p.name)) else found[1].upper() for p in reading.pieces}
    return ends.pop() if len(ends) == 1 else None


def _without_twins(files: Sequence[_File]) -> list[_File]:
    """Files that hold pieces of the same name and size as one before are marked, as only one of them can be cut."""
    holder: dict[tuple[str, str | None], str] = {}
    kept: list[_File] = []
    for file in files:
        twin = next((holder[p.key] for p in file.pieces if p.key in holder), None)
        kept.append(replace(file, twin=twin))
        if twin is None:
            holder.update((p.key, file.name) for p in file.pieces)
    return kept


#: words that tell where a piece sits, or nothing, and so name no garment
_NO_GARMENT = {
    "front", "back", "left", "right", "side", "upper", "lower", "inner", "outer", "top", "bottom", "centre", "center",
    "middle", "the", "a", "piece", "pattern", "cut", "size",
    "vorderteil", "rückenteil", "vorn", "hinten", "links", "rechts", "teil",
}  # fmt: skip


def _common_word(pieces: Iterable[Piece]) -> str | None:
    """The word that every piece's name begins with, as in "Lyra front" and "Lyra back"; None where there is none."""
    names = {piece.name for piece in pieces}
    first = {name.split()[0].casefold() for name in names if len(name.split()) > 1}
    if len(names) < 2 or len(first) != 1 or any(len(name.split()) < 2 for name in names):
        return None
    word = min(names).split()[0]
    return word if word.isalpha() and len(word) > 1 and word.casefold() not in _NO_GARMENT else None


def _title(sources: Sequence[Path], files: Sequence[_File]) -> str:
    """What the order is called: as all its pieces are, else as the folder is, or as the files are or begin."""
    word = _common_word(piece for file in files if file.used for piece in file.pieces)
    if word is not None:
        return word[:1].upper() + word[1:]
    if sources[0].is_dir():
        return _words_of(sources[0].resolve().name)
    stems = [Path(file.name).stem for file in files]
    if files[0].size:
        stems[0] = _SIZE_IN_NAME.sub(" ", stems[0])
    if len(stems) > 1:
        rows = [re.split(r"[\s_-]+", stem.casefold()) for stem in stems]
        alike = list(itertools.takewhile(lambda words: len(set(words)) == 1, zip(*rows, strict=False)))
        shared = " ".join(words[0] for words in alike if words[0] not in _NO_GARMENT)
        if shared:
            return _words_of(shared)
    return _words_of(stems[0])


def _words_of(stem: str) -> str:
    return " ".join(re.split(r"[\s_-]+", stem)).strip().capitalize() or "Cutting order"


def _text(value: str) -> str:
    """A TOML string."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _comment(text: str) -> str:
    """One line of comment: control characters may not stand in one."""
    return "# " + " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _aside(setting: str, comment: str) -> str:
    """A setting with a comment behind it."""
    return f"{setting:<34} {_comment(comment)}"


def _head(title: str) -> list[str]:
    return [
        _comment(
            "Cutting order: what to cut, from what. Read it through, answer the questions, put in cloth and counts,"
        ),
        _comment("then look at it with 'nesting check' and lay it with 'nesting lay'."),
        "",
        f"title = {_text(title)}",
        _aside('units = "cm"', 'for bare numbers; a length may carry its own: "12 mm", "3/8 in", "1 1/2 yd"'),
        "",
        _comment("--- Pattern files ---"),
    ]


def _told(finding: Finding) -> str:
    word = "QUESTION" if finding.kind == "question" else finding.kind
    return _comment(f"{word}: {finding.piece + ': ' if finding.piece else ''}{finding.message}")


def _drawn_as(sizes: Sequence[Piece]) -> str:
    """ "drawn", with what straight lines inside there are: one of them may be the grainline."""
    lines = any(len(line) == 2 for piece in sizes for line in piece.inside)
    return "called one (is it the straight line inside?)" if lines else "drawn"


def _size_order(size: str | None) -> tuple[int, float, str]:
    """Letter sizes from small to large, then numbers, then whatever else."""
    word = (size or "").upper()
    if word == "M":
        return (0, 0.0, "")
    letters = re.fullmatch(r"(\d{0,2})(X*)([SL])", word)
    if letters:
        steps = 1 + (int(letters[1]) if letters[1] else len(letters[2]))
        return (0, float(steps if letters[3] == "L" else -steps), "")
    number = re.fullmatch(r"\d{1,6}(?:\.\d{1,6})?", word)
    return (1, float(number[0]), "") if number else (2, 0.0, word)


def _pattern_lines(file: _File) -> list[str]:
    lines = [""]
    off = "" if file.used else "# "
    if file.error:
        lines.append(_comment(f"QUESTION: this file cannot be used as it is: {file.error}"))
    if file.twin:
        lines.append(
            _comment(
                f"QUESTION: this file has pieces of the same name and size as {file.twin}; which of the two is "
                "right? If both are, give it another size or name its pieces in the drawing"
            )
        )
    lines += [f"{off}[[pattern]]", f"{off}file = {_text(file.name)}"]
    if file.reading is None:
        return lines
    if file.size:
        by = "file's name" if size_in_name(Path(file.name).stem) else "names in it"
        lines.append(_aside(f"{off}size = {_text(file.size)}", f"taken from the {by}"))
    if file.names:
        called = ", ".join(f"{_text(drawn)} = {_text(name)}" for drawn, name in file.names.items())
        lines.append(_aside(f"{off}names = {{ {called} }}", "called so in every size"))
    if not file.reading.units_known:
        lines.append(_aside('# units = "mm"', 'QUESTION: the file does not say its units: "mm", "cm" or "in"?'))
    if file.reading.test_square is not None:
        side = format_length(file.reading.test_square, imperial=False)
        lines.append(_comment(f"its test square measures {side}: hold a ruler to it"))
    lines += [_told(f) for f in file.reading.findings if f.kind != "note"]
    return lines


def _piece_lines(pieces: Sequence[Piece]) -> list[str]:
    lines = ["", _comment("--- Pieces: what the files say; change what should differ ---")]
    for name in dict.fromkeys(p.name for p in pieces):
        lines += ["", *_one_piece([p for p in pieces if p.name == name])]
    return lines


def _one_piece(sizes: Sequence[Piece]) -> list[str]:
    piece = sizes[0]
    about = [_measure(p) for p in sorted(sizes, key=lambda p: _size_order(p.size))]
    seen = "1 notch" if len(piece.notches) == 1 else f"{len(piece.notches)} notches"
    if piece.drills:
        seen += f", {len(piece.drills)} drill mark{'s' if len(piece.drills) > 1 else ''}"
    if piece.seam is not None:
        seen += ", seam line drawn"
    if piece.edges:
        seen += ", edges " + ", ".join(e.name for e in piece.edges)
    lines = [_comment("; ".join(about)), _comment(seen), "[[piece]]", f"name = {_text(piece.name)}"]
    lines += _cut_lines(sizes)
    lines.append(
        _aside(f"cloth = {_text(_material(piece))}", "as the file says" if piece.material else "the file does not say")
    )
    if piece.fold is not None:
        lines.append(_comment("half a piece: its fold edge is drawn"))
    else:
        asked = any("fold" in text.lower() for text in piece.text)
        question = "QUESTION: its label speaks of a fold, but no fold line is drawn: which side?" if asked else ""
        lines.append(
            _aside('# fold = "left"', question or "if it is half a piece: the side of the drawing on the fold")
        )
    if all(p.grainline is None for p in sizes):
        question = f"QUESTION: no grainline is {_drawn_as(sizes)}: 90 is up the page, 0 to the right"
        lines.append(_aside("# grain = 90", question))
    elif any(p.grainline is None for p in sizes):
        without = ", ".join(p.label for p in sizes if p.grainline is None)
        lines.append(_aside("# grain = 90", f"QUESTION: no grainline is drawn for {without}: 90 is up the page"))
    lines.append(_aside('# needs_stretch = "40 %"', "around the body, across its grain"))
    lines.append(
        _aside('# turn = "either way"', 'or "one way", "quarter turns", "bias", "any"; else as the cloth allows')
    )
    return lines


def _measure(piece: Piece) -> str:
    xs, ys = [p[0] for p in piece.outline], [p[1] for p in piece.outline]
    width = format_length(max(xs) - min(xs), imperial=False)
    height = format_length(max(ys) - min(ys), imperial=False)
    return f"{piece.label}: {width} × {height}"


def _cut_lines(sizes: Sequence[Piece]) -> list[str]:
    piece = sizes[0]
    if any((p.cut, p.mirrored) != (piece.cut, piece.mirrored) for p in sizes):
        return [_comment("cut and mirrored differ between the sizes, so the files decide")]
    mirrored = bool(piece.mirrored) and piece.fold is None
    said = "as the file says"
    asks = piece.mirrored is None and piece.fold is None and (piece.cut or 0) % 2 == 0 and (piece.cut or 0) > 0
    if asks and _one_sided(piece):
        return [
            _aside(f"cut = {piece.cut}", said),
            _aside("mirrored = true", "QUESTION: left and right (true), as it is not symmetric, or all alike (false)?"),
        ]
    if piece.cut is None:
        cut = _aside(f"cut = {2 if mirrored else 1}", "QUESTION: the file does not say how many per garment")
    elif mirrored and piece.cut % 2:
        cut = _aside(f"cut = {piece.cut + 1}", f"QUESTION: the file says {piece.cut}, but left and right: how many?")
    else:
        cut = _aside(f"cut = {piece.cut}", said)
    if piece.fold is not None:
        return [cut]
    word = "left and right" if mirrored else "all alike"
    return [
        cut,
        _aside(
            f"mirrored = {str(mirrored).lower()}", f"{word}, {said if piece.mirrored is not None else 'as it seems'}"
        ),
    ]


def _one_sided(piece: Piece) -> bool:
    """Whether the piece is plainly not its own mirror image across its grain."""
    from shapely import affinity
    from shapely.geometry import Polygon

    if piece.grainline is None:
        return False
    (ax, ay), (bx, by) = piece.grainline
    shape = Polygon(piece.outline)
    upright = affinity.rotate(shape, 90.0 - math.degrees(math.atan2(by - ay, bx - ax)), origin=(0.0, 0.0))
    x0, _, x1, _ = upright.bounds
    mirrored = affinity.scale(upright, -1.0, 1.0, origin=((x0 + x1) / 2, 0.0))
    return bool(upright.symmetric_difference(mirrored).area > _ONE_SIDED * shape.area)


def _seam_lines(pieces: Sequence[Piece]) -> list[str]:
    """Edges of one name on several pieces of a file may be a seam: offered as comments, for a person to judge."""
    groups: dict[tuple[str | None, str], list[str]] = {}
    for piece in pieces:
        for name in dict.fromkeys(e.name for e in piece.edges if e.name != "fold"):
            named = groups.setdefault((piece.file, name), [])
            if f"{piece.name}.{name}" not in named:
                named.append(f"{piece.name}.{name}")
    lines = ["", _comment("--- Seams: 'nesting check' walks them, to see that the pieces will sew together ---")]
    likely = list(dict.fromkeys(tuple(named) for named in groups.values() if len(named) > 1))
    if likely:
        lines.append(_comment("QUESTION: which of these edges are sewn to one another? Take the # away before those"))
    for edges in likely or [("front.side", "back.side")]:
        lines += ["# [[seam]]", "# edges = [" + ", ".join(_text(edge) for edge in edges) + "]"]
    return lines


def _material(piece: Piece) -> str:
    return (piece.material or "").strip() or "main"


def _materials(pieces: Sequence[Piece]) -> list[str]:
    names: dict[str, str] = {}
    for piece in pieces:
        names.setdefault(_material(piece).casefold(), _material(piece))
    return list(names.values())


def _cloth_lines(names: Sequence[str]) -> list[str]:
    lines = ["", _comment("--- Cloth, as the shop sells it, before washing ---")]
    for name in names:
        lines += [
            "",
            "[[cloth]]",
            f"name = {_text(name)}",
            _aside('width = "150 cm"', "QUESTION: how wide? Common: 90, 115, 140, 150 cm (36, 44/45, 54, 58/60 in)"),
            _aside('selvage = "1 cm"', "not to be used, at each side"),
            _aside('# nap = "one way"', 'with nap or a one-way print; or "by garment"'),
            _aside('# stretch_across = "60 %"', "measured: (stretched - at rest) / at rest"),
            '# stretch_along = "60 %"',
            _aside('# shrink_along = "5 %"', "in the first wash"),
            '# shrink_across = "3 %"',
            _aside('increment = "10 cm"', 'what the shop cuts by; or "1/8 yd"'),
            _aside("# price = 14.90", "per metre (per yard where units are inches or yards)"),
            _aside('gap = "3 mm"', "between cuts"),
            _aside('end_allowance = "2 cm"', "at each end"),
        ]
    return lines


def _garment_lines(title: str, pieces: Sequence[Piece]) -> list[str]:
    lines = ["", _comment("--- What to cut: one block for each garment and size ---")]
    sizes: list[str | None] = sorted({p.size for p in pieces if p.size is not None}, key=_size_order)
    for size in sizes or [None]:
        names = list(dict.fromkeys(p.name for p in pieces if p.size in (size, None)))
        lines += ["", "[[garment]]", f"name = {_text(title.lower())}"]
        if size is not None:
            lines.append(f"size = {_text(size)}")
        lines.append(_aside("count = 1", "QUESTION: how many?"))
        lines.append(_aside("# pieces = [" + ", ".join(_text(n) for n in names) + "]", "all of the size, if left out"))
    return [*lines, ""]
