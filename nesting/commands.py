"""What the commands do, apart from the command line itself: files in, files out, documents and words to show."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nesting.errors import InputError

if TYPE_CHECKING:
    from nesting.order import Order, SpreadName
    from nesting.planning.options import SearchOptions

__all__ = [
    "check_lay_file",
    "check_order_file",
    "lay_order_file",
    "print_lay_file",
]

#: runs a piece of work with search options, showing progress
WithOptions = Callable[[Callable[["SearchOptions"], Any]], Any]


def lay_order_file(
    order: Order,
    folder: Path,
    searching: WithOptions,
    *,
    spread: SpreadName | None = None,
    begin: Path | None = None,
    keep: tuple[tuple[str, int], ...] = (),
) -> tuple[dict[str, Any], list[object]]:
    """Lay, prove and write everything: lay file, drawings, sheet and report for each cloth."""
    from nesting.api import lay_proved
    from nesting.files.layfile import lay_as_bytes, read_lay
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.report.outputs import lay_outputs, lay_stem
    from nesting.report.page import report_page
    from nesting.report.summary import summary_dict
    from nesting.report.terminal import summary

    ready_folder(folder)
    start = read_lay(begin) if begin is not None else None
    if keep and start is None:
        raise InputError("--keep needs --from LAY.json: the lay that has the pieces where they shall stay")
    if start is not None and all(start.cloth != cloth.name for cloth in order.cloths):
        raise InputError(f"this lay is of cloth '{start.cloth}', which the order does not have", file=begin)
    lays = searching(lambda options: lay_proved(order, options, spread=spread, start=start, keep=keep))
    files: dict[Path, bytes] = {}
    for one in lays:
        files[folder / f"lay-{lay_stem(one)}.json"] = lay_as_bytes(one)
        for name, content in lay_outputs(one, order).items():
            files[folder / name] = content
    extra = _trims_section(order)
    files[folder / "report.html"] = report_page(lays, order, extra=extra)
    document = summary_dict(lays, order)
    document["files"] = [str(path) for path in files] + [str(folder / "report.json")]
    import json

    files[folder / "report.json"] = json.dumps(document, indent=1, ensure_ascii=False).encode("utf-8")
    write_outputs(files)
    return document, [summary(lays, order), f"written to {folder}: " + ", ".join(sorted(p.name for p in files))]


def _trims_section(order: Order) -> tuple[str, ...]:
    if not order.trims:
        return ()
    from nesting.planning.trims import trim_needs
    from nesting.report.buy_page import trims_section

    return (trims_section(trim_needs(order), order),)


def print_lay_file(path: Path, folder: Path, kinds: str, paper: str) -> tuple[dict[str, Any], list[object]]:
    """Paper, projector and cutter files of a lay."""
    from nesting.files.layfile import read_lay
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.report.outputs import KINDS, print_outputs

    wanted = tuple(part.strip() for part in kinds.split(",") if part.strip())
    unknown = [kind for kind in wanted if kind not in KINDS]
    if unknown or not wanted:
        raise InputError(f"--as: found '{kinds}', expected any of {', '.join(KINDS)} with commas between")
    if paper.lower() not in ("a4", "a3", "letter"):
        raise InputError(f"--paper: found '{paper}', expected a4, letter or a3")
    one = read_lay(path)
    ready_folder(folder)
    files = {folder / name: content for name, content in print_outputs(one, wanted, paper.lower()).items()}
    write_outputs(files)
    names = sorted(str(p) for p in files)
    return {"files": names}, [f"written to {folder}: " + ", ".join(Path(n).name for n in names)]


def check_order_file(path: Path, folder: Path, *, picture: bool) -> tuple[bool, dict[str, Any], list[object]]:
    """Read and judge an order; ``check.html`` goes to ``folder``."""
    from nesting.checking import check_order
    from nesting.files.order import load_order
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.report.check_page import check_summary, write_check

    order = load_order(path)
    result = check_order(order)
    ready_folder(folder)
    files = {folder / name: content for name, content in write_check(result, order, picture=picture).items()}
    write_outputs(files)
    document = result.as_dict()
    document["files"] = sorted(str(p) for p in files)
    words = [check_summary(result, order), f"written to {folder}: " + ", ".join(sorted(p.name for p in files))]
    return result.ok, document, words


def check_lay_file(path: Path) -> tuple[bool, dict[str, Any], list[object]]:
    """Judge a lay file, edited by hand or not, against the order that it names."""
    from nesting.proof.edited import judge_lay_file

    lay, verdict, notes = judge_lay_file(path)
    document = {"lay": str(path), "cloth": lay.cloth, "notes": list(notes), **verdict.as_dict()}
    words: list[object] = list(notes)
    if verdict.ok:
        words.append(
            f"{path}: holds. {verdict.placements} placements give {verdict.cloth_pieces} cloth pieces; "
            "nothing overlaps, every piece is there and lies right"
        )
    else:
        words.append(f"{path}: does not hold:")
        words += [f"  {failure}" for failure in verdict.failures[:20]]
        if len(verdict.failures) > 20:
            words.append(f"  … and {len(verdict.failures) - 20} more")
    return verdict.ok, document, words
