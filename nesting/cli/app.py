"""The command line: thin, and quick to answer; everything heavy is imported by the command that needs it.

Exit codes: 0 done, 1 our fault, 2 the input is wrong, 3 it cannot be laid.
"""

from __future__ import annotations

import atexit
import json
import os
import signal
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from nesting.model.errors import InputError, InternalError, NestingError, OrderError

if TYPE_CHECKING:
    from nesting.model.order import Order, SpreadName
    from nesting.planning.layout.options import SearchOptions
    from nesting.resolving.cutting_list import CuttingList
    from nesting.session.events import Result, Work

__all__ = ["app", "main"]

app = typer.Typer(
    name="nesting",
    help="Fabric layout for people who sew: what to buy, how to fold it, where each piece goes.\n\n"
    "Begin with 'nesting new' in the folder of your pattern files; it writes a cutting order to fill in. "
    "'nesting check' judges it, 'nesting lay' lays it, 'nesting print' makes paper and cutter files of a lay.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

OrderArg = Annotated[Path, typer.Argument(metavar="ORDER", help="The cutting order (TOML).")]
Json = Annotated[bool, typer.Option("--json", help="One JSON document on standard output; words go to standard error.")]
Out = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="DIR", help="Folder for the results; default: one named after the order."),
]
Seconds = Annotated[
    float | None, typer.Option("--seconds", min=0.1, help="Time for the whole (20), all cloths together.")
]
Rounds = Annotated[
    int | None, typer.Option("--rounds", min=1, help="Search by rounds instead of time: repeats exactly.")
]
Seed = Annotated[int, typer.Option("--seed", help="Another seed, another search.")]
Workers = Annotated[int | None, typer.Option("--workers", min=1, help="Processes to search with (all cores).")]
ClusterOpt = Annotated[
    str | None,
    typer.Option("--cluster", metavar="ADDRESS", help="Search on the workers of a Dask scheduler: tcp://host:8786."),
]
Stash = Annotated[
    Path | None, typer.Option("--stash", metavar="FILE", help="Also use the leftovers kept in this stash (TOML).")
]
Anyway = Annotated[bool, typer.Option("--anyway", help="Lay it for a look, though a finding forbids cutting.")]
SpreadOpt = Annotated[
    str | None, typer.Option("--spread", help="Force one spread, for example 'open' or 'lengthwise fold'.")
]


def _options(
    seconds: float | None, rounds: int | None, seed: int, workers: int | None, cluster: str | None = None
) -> SearchOptions:
    from nesting.planning.layout.options import SearchOptions
    from nesting.session import processes

    if seconds is not None and rounds is not None:
        raise InputError(
            "--seconds and --rounds exclude each other: give one of them", code="option.seconds-and-rounds"
        )
    there = None
    if cluster is None:
        processes.ready()  # the search is loaded while the order is read
    else:
        from nesting.session.cluster import Cluster

        there = Cluster(cluster)
    return SearchOptions(
        seconds=None if rounds is not None else (20.0 if seconds is None else seconds),
        rounds=rounds,
        seed=seed,
        workers=workers or (os.cpu_count() or 1 if there is None else there.workers),
        executor=there,
        begun=time.monotonic() - time.process_time(),
    )


#: seconds (or that share of them) which may go by beyond those asked for; and for each cloth piece, to draw it
_BEYOND, _BEYOND_SHARE, _TO_DRAW = 3.0, 0.1, 0.015


def _with_time_to_draw(options: SearchOptions, listed: CuttingList) -> SearchOptions:
    """The options, with less time for the search where there is so much to draw that the command would end late."""
    from dataclasses import replace

    if options.seconds is None:
        return options
    pieces = sum(len(entry.hands) * garment.count for garment in listed.garments for entry in garment.pieces)
    late = _TO_DRAW * pieces - max(_BEYOND, _BEYOND_SHARE * options.seconds)
    return replace(options, seconds=max(options.seconds / 2.0, options.seconds - max(0.0, late)))


def _spread(name: str | None) -> SpreadName | None:
    from difflib import get_close_matches

    from nesting.cloth.spreads import ALL_SPREADS

    if name is None:
        return None
    found = next((one for one in ALL_SPREADS if one == " ".join(name.casefold().split())), None)
    if found is None:
        near = get_close_matches(name.casefold(), ALL_SPREADS, 1)
        hint = f" (did you mean '{near[0]}'?)" if near else ""
        raise InputError(
            f"--spread: '{name}' is not a spread{hint}; expected one of: {', '.join(ALL_SPREADS)}",
            code="option.spread-unknown",
        )
    return found


def _load(path: Path) -> Order:
    from nesting.files.orders.order import load_order

    return load_order(path)


def _resolved(order: Order) -> CuttingList:
    from nesting.resolving.resolve import resolve

    return resolve(order)


def _may_be_cut(order: Order, anyway: bool) -> tuple[Order, CuttingList]:
    """The order and its cutting list, marked where it must not be cut yet and is laid ``anyway``. Raises OrderError
    where it is not."""
    from dataclasses import replace

    from nesting.checking.judging import forbidding

    listed = _resolved(order)
    found = forbidding(order, listed)
    if not found:
        return order, listed
    reasons = tuple(f"{f'{f.piece}: ' if f.piece else ''}{f.message}" for f in found)
    if not anyway:
        raise OrderError(
            "Do not cut yet: " + "; ".join(reasons) + ". Nothing was laid; --anyway lays it for a look",
            code="order.do-not-cut",
            figures={"codes": tuple(f.code for f in found), "reasons": reasons},
        )
    _show(True, *(f"Do not cut yet: {reason}" for reason in reasons))
    return replace(order, do_not_cut=reasons), replace(listed, do_not_cut=reasons)


def _folder(output: Path | None, path: Path) -> Path:
    """The folder for the results: the one asked for, else one beside the order, named after it."""
    if output is not None:
        return output
    return path.with_suffix("") if path.suffix else path.with_name(path.name + " results")


def _emit(document: object) -> None:
    json.dump(document, sys.stdout, indent=1, ensure_ascii=False)
    sys.stdout.write("\n")


def _show(stderr: bool, *renderables: object) -> None:
    """Words and tables: on standard output, or on standard error where a JSON document goes to the other."""
    from rich.console import Console

    console = Console(stderr=stderr)
    for one in renderables:
        console.print(one, highlight=False, markup=False)  # file names may hold brackets


def _answer(
    as_json: bool, document: dict[str, Any], renderables: Iterable[object], do_not_cut: Sequence[str] = ()
) -> None:
    """What a command has found: the document where one is asked for, and the words. ``do_not_cut``: why not, said first
    of all."""
    if do_not_cut:
        document = {"do_not_cut": list(do_not_cut), **document}
        renderables = [*(f"Do not cut yet: {reason}" for reason in do_not_cut), *renderables]
    if as_json:
        _emit(document)
    _show(as_json, *renderables)


def _tell_findings(order: Order, listed: CuttingList) -> None:
    from nesting.planning.layout.feasible import unusual_widths

    shown = [str(f) for f in (*order.findings, *unusual_widths(listed)) if f.kind != "note"]
    more = [f"… and {len(shown) - 12} more: 'nesting check' shows all"] if len(shown) > 12 else []
    _show(True, *shown[:12], *more)


def _session(
    options: SearchOptions, imperial: bool, *, steps: bool = False, quiet: bool = False
) -> Callable[[Order, CuttingList, Work], Result]:
    """What runs a session with a progress line on standard error while a person may be watching, unless ``quiet``.
    ``steps``: the work tells how far it is, by its steps; else that is seen from its time. Ctrl-C stops the session and
    does nothing else; what was best is then written. typer.Exit(130) where there is nothing yet."""
    from nesting.cli.watching import Watching

    def run(order: Order, listed: CuttingList, work: Work) -> Result:
        watching = Watching(options, imperial, steps=steps, quiet=quiet)
        result = watching.run(order, listed, work)
        if result is None:
            sys.stderr.write("\nstopped before there was a first lay; nothing was written\n")
            raise typer.Exit(130)
        return result

    return run


@app.command()
def new(
    sources: Annotated[list[Path], typer.Argument(metavar="DIR-or-FILES…", help="Pattern files, or a folder of them.")],
    output: Annotated[Path, typer.Option("-o", "--output", metavar="FILE", help="The order to write.")] = Path(
        "order.toml"
    ),
    as_json: Json = False,
) -> None:
    """Write a commented starter order from the pattern files found."""
    from nesting.files.orders.starter import starter_order
    from nesting.files.outputs import ready_folder, write_outputs

    if output.exists():
        raise InputError(
            "there is such a file already, and it is left as it is: give another with -o",
            file=output,
            code="file.exists",
        )
    text = starter_order(sources, folder=output.parent)
    ready_folder(output.parent)
    write_outputs({output: text.encode("utf-8")})
    words = f"wrote {output}: read it, fill in cloth and counts, then: nesting check {output}"
    _answer(as_json, {"order": str(output)}, [words])


@app.command()
def check(
    path: Annotated[Path, typer.Argument(metavar="ORDER-or-LAY", help="A cutting order (TOML) or a lay file (JSON).")],
    output: Out = None,
    picture: Annotated[
        bool,
        typer.Option("--picture", help="Also draw every piece with its corners numbered, and what is altered."),
    ] = False,
    corners: Annotated[
        str | None,
        typer.Option("--corners", metavar="sharp|all", help="With --picture: number what is sharp, or every bend."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Read and judge an order without laying it, or judge a lay file that was edited by hand."""
    from nesting.cli.commands import check_lay_file, check_order_file

    if corners not in (None, "sharp", "all"):
        raise typer.BadParameter(
            f"'{corners}' is none of sharp, all: all numbers every bend of the drawings", param_hint="--corners"
        )
    picture = picture or corners is not None
    if path.suffix.lower() == ".json":
        ok, document, renderables = check_lay_file(path)
    else:
        ok, document, renderables = check_order_file(
            path, _folder(output, path) if output is not None or picture else None, picture=picture, corners=corners
        )
    _answer(as_json, document, renderables)
    if not ok:
        raise typer.Exit(2)


@app.command()
def lay(
    path: OrderArg,
    output: Out = None,
    seconds: Seconds = None,
    rounds: Rounds = None,
    seed: Seed = 0,
    workers: Workers = None,
    cluster: ClusterOpt = None,
    spread: SpreadOpt = None,
    begin: Annotated[
        Path | None, typer.Option("--from", metavar="LAY.json", help="Continue from this lay of the same order.")
    ] = None,
    keep: Annotated[
        str | None,
        typer.Option(
            "--keep", metavar="NUMBER,…", help="With --from: pieces that stay, by number on the drawing or id."
        ),
    ] = None,
    anyway: Anyway = False,
    as_json: Json = False,
) -> None:
    """Lay the order: search, prove, and write the lay, its drawing, the placement sheet and the report."""
    from nesting.cli.commands import lay_order_file, start_of

    options = _options(seconds, rounds, seed, workers, cluster)
    forced = _spread(spread)
    kept = _kept(keep)
    order, listed = _may_be_cut(_load(path), anyway)
    _tell_findings(order, listed)
    start, told, ids = start_of(order, begin, kept)
    _show(True, *map(str, told))
    options = _with_time_to_draw(options, listed)
    document, renderables = lay_order_file(
        order,
        listed,
        _folder(output, path),
        _session(options, order.imperial),
        spread=forced,
        start=start,
        keep=ids,
        told=told,
    )
    _answer(as_json, document, renderables)


def _kept(text: str | None) -> tuple[str, ...]:
    return tuple(part.strip() for part in (text or "").split(",") if part.strip())


@app.command("print")
def print_(
    path: Annotated[
        Path | None,
        typer.Argument(
            metavar="LAY.json", help="A lay file; a cutting order (*.toml) with --as pattern; none for --as mat."
        ),
    ] = None,
    output: Out = None,
    kinds: Annotated[
        str,
        typer.Option(
            "--as",
            help="Any of sheet, whole, tiles, projector, cutter, labels (all cloths, to cut apart), list (by garment, "
            "CSV), with commas between; from an order: pattern; or mat, the sheets to lie around what is photographed.",
        ),
    ] = "sheet,whole,tiles,projector,cutter,labels,list",
    paper: Annotated[
        str | None,
        typer.Option("--paper", help="a4, letter or a3: sheet, tiles, labels (a4; letter where inches are read)."),
    ] = None,
    sheet_order: Annotated[
        bool, typer.Option("--sheet-order", help="Cutter files: keep the sheet's order, not the tool's shortest way.")
    ] = False,
    sheets: Annotated[int, typer.Option("--sheets", help="With --as mat: how many sheets.")] = 4,
    as_json: Json = False,
) -> None:
    """Make a placement sheet, true-scale PDFs, a projector page or cutter files from a lay; an order's pattern; or the
    mat for photographs."""
    from nesting.cli.commands import print_lay_file

    if kinds.strip().casefold() == "mat":
        from nesting.cli.outline_commands import mat_file

        document, renderables = mat_file(output or Path("."), paper, sheets)
        _answer(as_json, document, renderables)
        return
    if path is None:
        raise InputError("no lay file was named: nesting print LAY.json; only --as mat needs none", code="option.value")
    document, renderables = print_lay_file(path, output or path.parent, kinds, paper, join=not sheet_order)
    _answer(as_json, document, renderables)


@app.command()
def buy(
    path: OrderArg,
    widths: Annotated[
        str | None, typer.Option("--widths", help="Widths to compare, for example 90cm,115cm,150cm.")
    ] = None,
    output: Out = None,
    seconds: Annotated[
        float | None,
        typer.Option(
            "--seconds",
            min=0.1,
            help="Time for the whole, all rows of the table and the curve together (about 35).",
        ),
    ] = None,
    what_if: Annotated[
        bool, typer.Option("--what-if", help="Also try what would save: grain tolerance, a join, other widths, more.")
    ] = False,
    rounds: Rounds = None,
    seed: Seed = 0,
    workers: Workers = None,
    cluster: ClusterOpt = None,
    every: Annotated[
        bool, typer.Option("--all", help="Show every row: each spread, and naps that the cloth has not.")
    ] = False,
    as_json: Json = False,
) -> None:
    """What to buy: widths, spreads and nap compared, the curve for one garment more, and the trims."""
    from nesting.cli.buying_commands import BUDGET, buy_order_file

    options = _options(5.0 if seconds is None and rounds is None else seconds, rounds, seed, workers, cluster)
    order = _load(path)
    listed = _resolved(order)
    _tell_findings(order, listed)
    document, renderables = buy_order_file(
        order,
        listed,
        widths,
        _folder(output, path),
        _session(options, order.imperial, steps=True, quiet=as_json),
        what_if=what_if,
        budget=None if rounds is not None else BUDGET if seconds is None else seconds,
        every=every,
    )
    _answer(as_json, document, renderables)


@app.command()
def remnants(
    path: OrderArg,
    output: Out = None,
    stash: Stash = None,
    seconds: Annotated[
        float | None,
        typer.Option(
            "--seconds",
            min=1.0,
            help="Search time in all (60): three quarters for the leftovers, the rest for what must still be bought.",
        ),
    ] = None,
    rounds: Rounds = None,
    seed: Seed = 0,
    workers: Workers = None,
    cluster: ClusterOpt = None,
    anyway: Anyway = False,
    as_json: Json = False,
) -> None:
    """Which whole garments the leftovers give, which piece goes where, and what must still be bought."""
    from nesting.cli.buying_commands import remnants_of_order

    options = _options(60.0 if seconds is None and rounds is None else seconds, rounds, seed, workers, cluster)
    order, listed = _may_be_cut(_load(path), anyway)
    _tell_findings(order, listed)
    document, renderables = remnants_of_order(
        order,
        listed,
        _folder(output, path),
        stash,
        _session(options, order.imperial, steps=True, quiet=as_json),
    )
    _answer(as_json, document, renderables, order.do_not_cut)


@app.command()
def batch(
    path: OrderArg,
    output: Out = None,
    stash: Stash = None,
    seconds: Annotated[
        float | None,
        typer.Option("--seconds", min=0.1, help="Time for the whole, all lays that are measured together (about 35)."),
    ] = None,
    rounds: Rounds = None,
    seed: Seed = 0,
    workers: Workers = None,
    cluster: ClusterOpt = None,
    anyway: Anyway = False,
    as_json: Json = False,
) -> None:
    """Plan a batch in sections and plies, leftovers first, so that exactly the counts come out of the least cloth."""
    from nesting.cli.buying_commands import BUDGET, batch_order_file

    options = _options(5.0 if seconds is None and rounds is None else seconds, rounds, seed, workers, cluster)
    order, listed = _may_be_cut(_load(path), anyway)
    _tell_findings(order, listed)
    document, renderables = batch_order_file(
        order,
        listed,
        _folder(output, path),
        _session(options, order.imperial, steps=True, quiet=as_json),
        budget=None if rounds is not None else BUDGET if seconds is None else seconds,
        stash=stash,
    )
    _answer(as_json, document, renderables, order.do_not_cut)


@app.command()
def report(
    path: Annotated[Path, typer.Argument(metavar="REPORT.json", help="A report.json, or the folder that holds it.")],
    output: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="DIR", help="Folder for report.html; default: beside it.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Draw report.html again from report.json alone."""
    from nesting.cli.commands import draw_report

    document, renderables = draw_report(path, output)
    _answer(as_json, document, renderables)


@app.command()
def stash(
    file: Annotated[Path, typer.Argument(metavar="STASH", help="The stash (TOML); it is made if it is not there.")],
    add: Annotated[
        list[Path] | None,
        typer.Option(
            "--add",
            metavar="LAY.json",
            help="Add the usable offcuts of this lay, once it is cut; a leftover that it was cut from is taken out. "
            "May be given several times.",
        ),
    ] = None,
    least: Annotated[str, typer.Option("--least", help="With --add: smallest offcut to keep, length × width.")] = (
        "20 cm x 20 cm"
    ),
    remove: Annotated[str | None, typer.Option("--remove", metavar="NAME", help="Take a leftover out.")] = None,
    photo: Annotated[
        list[Path] | None, typer.Option("--photo", help="Add a scrap from a photograph of it over the mat.")
    ] = None,
    size: Annotated[
        str | None, typer.Option("--size", help="Add a scrap by its measures, along x across the grain: '42 x 70 cm'.")
    ] = None,
    cloth: Annotated[str | None, typer.Option("--cloth", help="With --photo or --size: its cloth.")] = None,
    name: Annotated[str | None, typer.Option("--name", help="With --photo or --size: what to call it.")] = None,
    bars: Annotated[str | None, typer.Option("--bars", help="With --photo: the mat's bars as measured.")] = None,
    tap: Annotated[str | None, typer.Option("--tap", metavar="X,Y", help="With --photo: a pixel in the scrap.")] = None,
    grain: Annotated[
        str, typer.Option("--grain", help="With --photo: longest (straight edge), marked, or two pixels 'X1,Y1 X2,Y2'.")
    ] = "longest",
    as_json: Json = False,
) -> None:
    """Show the leftovers kept at home, add the offcuts of a lay or a scrap, or take one out."""
    from nesting.cli.buying_commands import stash_file

    if photo or size:
        from nesting.cli.outline_commands import scrap_into_stash

        words = scrap_into_stash(
            file, photo or [], cloth=cloth, size=size, name=name, bars=bars, tap=tap, grain=grain
        )
        _show(as_json, *words)
    document, renderables = stash_file(file, add or [], least, remove)
    _answer(as_json, document, renderables)


@app.command()
def page(
    place: Annotated[
        Path | None,
        typer.Argument(
            metavar="FOLDER-or-ORDER", help="A folder of pattern files, or an order; none: the demo's copy."
        ),
    ] = None,
    port: Annotated[
        int | None, typer.Option("--port", min=1, max=65535, help="The port to answer on; else one that is free.")
    ] = None,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open the browser.")] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the address as JSON, as soon as the page answers.")
    ] = False,
) -> None:
    """Open the page: everything by click, in a browser on this machine only."""
    from nesting.page.demo import copy_of_demo
    from nesting.page.server import serve
    from nesting.page.workspace import order_in

    demo = place is None
    order = copy_of_demo(Path.cwd()) if place is None else order_in(place)
    if demo:
        _show(True, f"the demo's copy is in {order.parent}")
    serve(order, port=port, open_browser=not no_open and not as_json, as_json=as_json, demo=demo)


@app.command()
def trace(
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO…", help="Photographs over one mat, or a scan.")],
    output: Annotated[Path, typer.Option("-o", "--output", metavar="FILE", help="The drawing to write (SVG).")] = Path(
        "pieces.svg"
    ),
    bars: Annotated[
        str | None, typer.Option("--bars", help="The mat's bars as measured, level x upright: 180.2x240.4.")
    ] = None,
    tap: Annotated[
        list[str] | None, typer.Option("--tap", metavar="X,Y", help="A pixel inside a piece; once for each piece.")
    ] = None,
    measured: Annotated[
        list[str] | None,
        typer.Option("--measured", help="A scan: two pixels and the length between them, '120,80 120,2900 = 240 mm'."),
    ] = None,
    name: Annotated[list[str] | None, typer.Option("--name", help="The piece's name.")] = None,
    size: Annotated[list[str] | None, typer.Option("--size", help="Its size.")] = None,
    line: Annotated[list[str] | None, typer.Option("--line", help="Its outline is: cut or sewn.")] = None,
    fold: Annotated[list[str] | None, typer.Option("--fold", help="The edge on the fold: its number, or none.")] = None,
    notches: Annotated[
        list[str] | None, typer.Option("--notches", help="Which proposals are notches: all, none, or 1,3.")
    ] = None,
    grain: Annotated[
        list[str] | None, typer.Option("--grain", help="marked, 'marked 2', fold, 'edge 3' or none.")
    ] = None,
    lift: Annotated[
        float | None,
        typer.Option("--lift", min=0.0, max=20.0, help="mm by which the piece may lie above the mat (0.3)."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Trace paper pieces from photographs over the mat, or from a scan, with the error promised."""
    from nesting.cli.outline_commands import trace_files

    said = {"name": name, "size": size, "line": line, "fold": fold, "notches": notches, "grain": grain}
    watched = sys.stdin.isatty() and sys.stderr.isatty() and not as_json
    done, document, renderables = trace_files(
        photos,
        output,
        bars=bars,
        taps=tap or [],
        measured=measured or [],
        said={key: value or [] for key, value in said.items()},
        lift_mm=lift,
        ask=(lambda words: typer.prompt(words, default="", show_default=False, err=True)) if watched else None,
    )
    _answer(as_json, document, renderables)
    if not done:
        raise typer.Exit(2)


@app.command()
def keys(as_json: Json = False) -> None:
    """List every key of a cutting order: what it means and its default."""
    from nesting.cli.commands import order_keys

    document, renderables = order_keys()
    if as_json:
        _emit(document)
    else:
        _show(as_json, *renderables)


def main() -> None:
    """Run the command line; every error becomes one clear message and its exit code."""
    as_json = "--json" in sys.argv
    try:
        app(standalone_mode=True)
    except NestingError as error:
        _fail(error, as_json)
        sys.exit(error.exit_code)
    except KeyboardInterrupt:
        sys.stderr.write("\nstopped before there was a first lay; nothing was written\n")
        sys.exit(130)
    except BrokenPipeError:
        sys.exit(0)
    except Exception as error:
        if os.environ.get("NESTING_DEBUG"):
            raise
        _fail(
            InternalError(
                f"{type(error).__name__}: {error}. This is our fault, not yours; nothing was written. "
                "Set NESTING_DEBUG=1 to see where it happened",
                code="program.fault",
            ),
            as_json,
        )
        sys.exit(1)
    finally:
        # All is said and written. While Python takes itself down it has no handlers, and Ctrl-C would kill it.
        atexit.register(signal.signal, signal.SIGINT, signal.SIG_IGN)


def _fail(error: NestingError, as_json: bool) -> None:
    sys.stderr.write(f"nesting: {error}\n")
    if as_json:
        _emit({"error": error.as_dict()})


if __name__ == "__main__":
    main()
