"""What the commands do, apart from the command line itself: files in, files out, documents and words to show."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nesting.model.errors import InputError, NestingError

if TYPE_CHECKING:
    from nesting.model.findings import Finding
    from nesting.model.lay import Lay
    from nesting.model.order import Order, SpreadName
    from nesting.resolving.cutting_list import CuttingList
    from nesting.session.events import Result, Work

__all__ = [
    "check_lay_file",
    "check_order_file",
    "draw_report",
    "lay_order_file",
    "order_keys",
    "print_lay_file",
    "start_of",
]

#: runs the work of a session, showing progress
Searching = Callable[["Order", "CuttingList", "Work"], "Result"]


# long: one step of the command after another, each told before the next
def lay_order_file(
    order: Order,
    listed: CuttingList,
    folder: Path,
    searching: Searching,
    *,
    spread: SpreadName | None = None,
    start: Lay | None = None,
    keep: tuple[str, ...] = (),
    told: tuple[Finding, ...] = (),
) -> tuple[dict[str, Any], list[object]]:
    """Lay, prove and write everything: lay file, drawings, sheet and report for each cloth.

    ``start``, ``keep``: see ``start_of``; ``told``: findings that people have read already, for the report.
    """
    from rich.text import Text

    from nesting.checking.judging import check_order
    from nesting.cli.writing import (
        STOPPED,
        Drawing,
        drawn_unless_stopped,
        order_seen_from,
        write_first,
        write_with_report,
    )
    from nesting.files.outputs import ready_folder
    from nesting.model.as_laid import order_as_laid
    from nesting.planning.as_many.filling import settled_by
    from nesting.planning.buying.trims import trim_needs
    from nesting.report.html.buy_page import trims_section
    from nesting.report.html.check_page import alterations_shown
    from nesting.report.html.lay_part import care_part, lay_part
    from nesting.report.html.summary import summary_dict
    from nesting.report.print.drawn_files import bundle_outputs
    from nesting.report.terminal.buy_terminal import trims_summary
    from nesting.report.terminal.terminal import summary
    from nesting.session.events import LayWork

    ready_folder(folder)
    result = searching(order, listed, LayWork(spread, start, keep))
    order, listed = order_as_laid(order, result.lays), settled_by(listed, result.lays)
    lays = tuple(replace(one, order_file=order_seen_from(folder, order)) for one in result.lays)
    verdicts = dict(enumerate(result.verdicts))
    with Drawing(lays, listed) as drawing:
        files = write_first(folder, lays)
        needs = trim_needs(listed)
        judged = check_order(order, listed)
        more = (*told, *(f for f in judged.findings if f not in order.findings))
        altered = alterations_shown(order)
        sections = (
            *((("trims", trims_section(needs, imperial=order.imperial)),) if needs else ()),
            *((("alterations", altered),) if altered else ()),
        )

        def draw() -> tuple[dict[str, bytes], dict[str, Any]]:
            labels = bundle_outputs(lays, listed, paper="letter" if order.imperial else "a4")
            pictures, scenes = drawing.pictures()
            shown = lay_part(lays, listed, extra=sections, verdicts=verdicts, scenes=scenes)
            return {**files, **pictures, **labels}, {"lay": shown, "care": care_part((*order.findings, *more))}

        drawn = drawn_unless_stopped(draw)
    document = summary_dict(lays, listed, findings=(*order.findings, *more), verdicts=verdicts)
    document["trims"] = [need.as_dict() for need in needs]
    if drawn is None:
        document["files"] = [str(folder / name) for name in sorted(files)]
        return document, [summary(lays, listed), STOPPED]
    written = write_with_report(folder, order, *drawn, document, trims=document["trims"])
    warned = [Text(str(f)) for f in more if f.kind in ("warning", "question") and f not in told]
    trims = [trims_summary(needs, order.imperial)] if needs else []
    return document, [summary(lays, listed), *trims, *warned, *written]


def start_of(
    order: Order, begin: Path | None, keep: tuple[str, ...]
) -> tuple[Lay | None, tuple[Finding, ...], tuple[str, ...]]:
    """The lay in ``begin`` to continue from, if one was given, what there is to tell about it, and the ids of what
    ``keep`` names in it."""
    if begin is None:
        if keep:
            raise InputError(
                "--keep needs --from LAY.json: the lay that has the pieces where they shall stay", code="option.keep"
            )
        return None, (), ()
    from nesting.files.lays.layfile import read_lay
    from nesting.model.identity import chosen
    from nesting.proof.begun import lay_to_continue
    from nesting.session.numbering import numbered

    lay = read_lay(begin)
    if keep and any(p.number is None for p in lay.placements):
        lay = numbered(lay, order)
    ids = chosen(lay, keep) if keep else ()
    start, told = lay_to_continue(begin, order, ids)
    return start, told, ids


def print_lay_file(
    path: Path, folder: Path, kinds: str, paper: str | None, *, join: bool = True
) -> tuple[dict[str, Any], list[object]]:
    """Paper, projector and cutter files of a lay; ``paper`` None is A4, or Letter where inches are read. ``join``: the
    cutter goes the shortest way found, not in the order of the placement sheet."""
    from nesting.files.lays.layfile import read_lay
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.report.print.drawn_files import KINDS, print_outputs
    from nesting.resolving.resolve import resolve

    wanted = tuple(part.strip().casefold() for part in kinds.split(",") if part.strip())
    if path.suffix.lower() == ".toml":
        return _print_order_file(path, folder, wanted, paper)
    if "pattern" in wanted:
        raise InputError(
            "--as pattern: the pattern comes from the cutting order: name the order (*.toml), not a lay",
            code="option.print-kind",
        )
    unknown = [kind for kind in wanted if kind not in KINDS]
    if unknown or not wanted:
        raise InputError(
            f"--as: found '{kinds}', expected any of {', '.join(KINDS)} with commas between", code="option.print-kind"
        )
    if paper is not None and paper.lower() not in ("a4", "a3", "letter"):
        raise InputError(f"--paper: found '{paper}', expected a4, letter or a3", code="option.paper")
    one = read_lay(path)
    sheets = paper.lower() if paper is not None else "letter" if one.imperial else "a4"
    ready_folder(folder)
    beside: tuple[Lay, ...] = ()
    listed: CuttingList | None = None
    told: list[object] = []
    if {"labels", "list"} & set(wanted):
        beside, order, told = _with_its_kin(path, one)
        listed = None if order is None else resolve(order)
    made = print_outputs(one, wanted, sheets, join=join, beside=beside, listed=listed)
    files = {folder / name: content for name, content in made.items()}
    write_outputs(files)
    names = sorted(str(p) for p in files)
    told += [f"written to {folder}: " + ", ".join(Path(n).name for n in names)]
    if _changed_since(path, one):
        told.insert(
            0,
            "warning: the order was changed after this lay was made, so this is not what the order says now: lay it "
            "again ('nesting lay', --from this file to go on from it)",
        )
    if one.do_not_cut:
        told.insert(0, f"Do not cut yet: {'; '.join(one.do_not_cut)}")
    return {"files": names, "do_not_cut": list(one.do_not_cut)}, told


def _changed_since(path: Path, lay: Lay) -> bool:
    """Whether the order that the lay names is there, and is another than the one that was laid. By its bytes alone, as
    its patterns may take seconds to read."""
    if lay.order_file is None or lay.order_sha256 is None:
        return False
    try:
        content = (path.parent / lay.order_file).read_bytes()
    except OSError:
        return False
    return hashlib.sha256(content).hexdigest() != lay.order_sha256


def _with_its_kin(path: Path, lay: Lay) -> tuple[tuple[Lay, ...], Order | None, list[object]]:
    """The lays of the same order beside a lay file that give the rest of its garments, the order, and words: a bought
    lay goes with those of the other cloths, a leftover's with the other leftovers', a part of a batch with the other
    parts. No order where it cannot be read or was changed since."""
    from nesting.files.lays.layfile import read_lay
    from nesting.files.orders.order import load_order

    def kind(one: Lay) -> tuple[bool, bool]:
        return one.remnant is not None, one.part is not None

    found: dict[tuple[str, str | None, int | None], Lay] = {}
    mine = (lay.cloth, lay.remnant, lay.part.number if lay.part else None)
    for other in sorted(path.parent.glob("lay-*.json")):
        if other.resolve() == path.resolve():
            continue
        try:
            one = read_lay(other)
        except NestingError:
            continue
        key = (one.cloth, one.remnant, one.part.number if one.part else None)
        if one.order_sha256 == lay.order_sha256 and kind(one) == kind(lay) and key != mine:
            found[key] = one
    names = ", ".join(one.where for one in found.values())
    told: list[object] = [f"with the lays beside it: {names}"] if found else []
    order = None
    if lay.order_file is not None:
        try:
            order = load_order(path.parent / lay.order_file)
        except NestingError:
            order = None
        if order is not None and order.sha256 != lay.order_sha256:
            order = None
    if order is None:
        told.append("the order is not there, or was changed after this lay was made: no trims are on labels and list")
    return tuple(found.values()), order, told


def _print_order_file(
    path: Path, folder: Path, wanted: Sequence[str], paper: str | None
) -> tuple[dict[str, Any], list[object]]:
    """The pattern of an order, as it will be cut."""
    from datetime import date

    from nesting.files.orders.order import load_order
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.report.print.pattern import pattern_outputs

    if tuple(wanted) != ("pattern",):
        raise InputError(
            "--as: from a cutting order only its pattern can be printed (--as pattern); the rest is printed from a lay",
            code="option.print-kind",
        )
    if paper is not None and paper.lower() not in ("a4", "a3", "letter"):
        raise InputError(f"--paper: found '{paper}', expected a4, letter or a3", code="option.paper")
    order = load_order(path)
    sheets = paper.lower() if paper is not None else "letter" if order.imperial else "a4"
    ready_folder(folder)
    today = date.today().isoformat()
    files = {folder / name: content for name, content in pattern_outputs(order, sheets, today).items()}
    write_outputs(files)
    names = sorted(str(p) for p in files)
    return {"files": names}, [f"written to {folder}: " + ", ".join(Path(n).name for n in names)]


def check_order_file(
    path: Path, folder: Path | None, *, picture: bool, corners: str | None = None
) -> tuple[bool, dict[str, Any], list[object]]:
    """Read and judge an order; ``check.html`` goes to ``folder``, if there is one: else nothing is written.
    ``corners`` "all": the picture numbers every bend."""
    from nesting.checking.judging import check_order
    from nesting.files.orders.order import load_order
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.model.findings import in_order_of_weight
    from nesting.planning.layout.feasible import laying_findings
    from nesting.report.html.check_page import check_summary, write_check
    from nesting.resolving.resolve import resolve

    order = load_order(path)
    listed = resolve(order)
    laying = laying_findings(listed)
    judged = check_order(order, listed)
    result = replace(judged, findings=in_order_of_weight((*judged.findings, *laying)))
    files: dict[Path, bytes] = {}
    if folder is not None:
        ready_folder(folder)
        made = write_check(result, order, picture=picture, every_corner=corners == "all")
        files = {folder / name: content for name, content in made.items()}
        write_outputs(files)
    document = result.as_dict()
    document["files"] = sorted(str(p) for p in files)
    names = ", ".join(sorted(p.name for p in files))
    words: list[object] = [check_summary(result, order)]
    if files:
        words.append(f"written to {folder}: {names}")
    lies = not any(f.code == "cloth.cannot-lie" for f in laying)
    document["can_be_laid"] = lies
    answered = not any(f.forbids for f in result.findings)
    return result.ok and lies and answered, document, words


def check_lay_file(path: Path) -> tuple[bool, dict[str, Any], list[object]]:
    """Judge a lay file, edited by hand or not, against the order that it names."""
    from nesting.checking.lays import judge_file
    from nesting.report.words import counted

    judged = judge_file(path)
    lay, verdict, notes = judged.lay, judged.verdict, tuple(f.message for f in judged.findings)
    document = {"lay": str(path), "cloth": lay.cloth, "notes": list(notes), **verdict.as_dict()}
    words: list[object] = list(notes)
    if verdict.ok:
        words.append(
            f"{path}: holds. {counted(verdict.placements, 'placement')} "
            f"{'gives' if verdict.placements == 1 else 'give'} {counted(verdict.cloth_pieces, 'cloth piece')}; "
            "nothing overlaps, every piece is there and lies right"
        )
    else:
        words.append(f"{path}: does not hold:")
        words += [f"  {failure}" for failure in verdict.failures[:20]]
        if len(verdict.failures) > 20:
            words.append(f"  … and {len(verdict.failures) - 20} more")
    return verdict.ok, document, words


def draw_report(path: Path, folder: Path | None) -> tuple[dict[str, Any], list[object]]:
    """The page of a report's document (or of the one in a folder), drawn into ``folder``, or beside it."""
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.report.html.folder_report import redrawn

    document = path / "report.json" if path.is_dir() else path
    page = redrawn(document)
    target = ready_folder(folder or document.parent) / "report.html"
    write_outputs({target: page})
    return {"files": [str(target)]}, [f"written: {target}"]


def order_keys() -> tuple[dict[str, Any], list[object]]:
    """Every key of the cutting order, its meaning and its default."""
    from rich.table import Table
    from rich.text import Text

    from nesting.files.orders.order_schema import BLOCKS, REQUIRED, TOP

    document: dict[str, Any] = {}
    tables: list[object] = []
    for title, rows in (("", TOP), *((name, keys) for name, keys in BLOCKS.items())):
        heading = f"[[{title}]]" if title else "the order itself"
        # a title in brackets would be taken for markup
        table = Table(title=heading.replace("[", "\\["), title_justify="left", box=None, pad_edge=False)
        for column in ("key", "meaning", "default"):
            table.add_column(column, no_wrap=column == "key")
        for key in rows:
            words = f"; one of: {', '.join(key.allowed)}" if key.allowed else ""
            table.add_row(key.name, Text(key.meaning + words), key.default_shown)
        tables += [table, ""]
        document[title or "order"] = [
            {
                "key": key.name,
                "meaning": key.meaning,
                "required": key.default is REQUIRED,
                **({"allowed": list(key.allowed)} if key.allowed else {}),
            }
            for key in rows
        ]
    return document, tables
