"""What browser and server say to one another: routes, commands, events. Shapes of the documents: ``documents``.

One server shows one order (``nesting page ORDER``). The server owns all state; the browser draws documents and sends
commands. Every command that changes something is one step of undo.

Routes
    Every route but the first needs the cookie (``nesting-page-PORT``); a refusal is 403 with a plain sentence.

    ==== ======================= ==============================================================================
    GET  ``/?key=KEY``           200, sets the cookie, goes on to ``/``
    GET  ``/``                   the page: ``templates/page.html`` (Jinja2; gets ``title``)
    GET  ``/static/…``           files of ``static/`` (ES modules, style sheets, pictures)
    GET  ``/api/state``          StateDoc
    GET  ``/api/pieces``         PiecesDoc
    GET  ``/api/seams``          SeamsDoc
    GET  ``/api/alterations``    AlterationsDoc
    GET  ``/api/cloth``          ClothsDoc
    GET  ``/api/lay?cloth=``     LayDoc (``cloth`` may be left out: the first)
    GET  ``/api/buy``            BuyDoc
    GET  ``/api/remnants``       AnswerDoc
    GET  ``/api/batch``          AnswerDoc
    GET  ``/api/cut?cloth=``     CutDoc
    POST ``/api/upload``         multipart, field ``files`` (several), optional ``kind``: "pattern" (default),
                                 "remnant" or "photo" (→ ``{"ok": true, "photos": [names], "sizes": {name: [w, h]}}``);
                                 → ``{"ok": true, "files": [FileDoc], "findings": [FindingDoc]}``, or
                                 ``{"ok": false, "problem": Problem, "files": […taken…]}``; too large: 413.
                                 ``scans``: names of PDFs that are scanned pictures; sent as "photo", each page is one
    POST ``/api/trace``          TraceAsked; → ``{"ok": true, "result": {"pieces", "questions", "findings", "preview",
                                 "command", "file"}}``: ``file`` is the pattern file, null while questions are open
    POST ``/api/command``        a command as below; → its reply. For scripts and tests; the page uses the socket.
    GET  ``/photos/NAME``        a photograph that was sent, upright, small (JPEG); 404 else
    GET  ``/files/NAME``         an output of the order's results folder (print and cutter files, pictures); 404 else
    WS   ``/api/socket?tab=T``   commands in, replies and events out; ``T``: a name that the tab made up for itself
    ==== ======================= ==============================================================================

Commands (browser → server, one JSON object each)
    ``{"cmd": "piece.set", "n": 7, "piece": "front", "key": "cut", "value": 2}``

    ``n`` counts in the tab; the reply carries it. A reply is
    ``{"event": "reply", "n": 7, "ok": true, "rev": 12, "result": {…}}`` or
    ``{"event": "reply", "n": 7, "ok": false, "rev": 11, "problem": {"code": "not-a-length", "message": "…",
    "where": {…}}}``.
    What a command changed is told to all tabs by ``changed``; fetch the documents that it names and you show.
    A ``piece`` without ``size`` means every size. Lengths are sent as people write them ("1,5 cm", "3/8 in", "12"), or
    as numbers of mm where the field is called ``…_mm`` or is a coordinate. The classes below are the commands; each
    one's docstring gives its ``result`` where there is one.

Events (server → browser, one JSON object each); see the TypedDicts at the end
    hello
        ``{"event": "hello", "rev": 12, "state": StateDoc, "tab": "T"}``, once, first
    changed
        ``{"event": "changed", "rev": 13, "docs": ["state", "pieces", "seams"], "label": "cut of front", "tab": "T"}``
    moved
        ``{"event": "moved", "rev": 14, "move": 5, "cloth": "main", "tab": "T", "pieces": [{"id": …, "x": …, "y": …,
        "turn": …, "flipped": …, "kept": …}]}``, instead of ``changed`` for a move on the lay
    judged
        ``{"event": "judged", "cloth": "main", "judged": JudgedDoc}``, newest move only
    progress
        ``{"event": "progress", "run": RunDoc}``, about four a second; may be dropped
    better
        ``{"event": "better", "run": 3, "cloth": "main", "spread": "open", "length": 812.4, "lay": LayDoc}``
    ended
        ``{"event": "ended", "run": RunDoc}``: done, stopped or failed
    disk
        ``{"event": "disk", "files": ["chorus.toml"]}``: changed by another program
    tabs
        ``{"event": "tabs", "tabs": 2}``: how many tabs show this order, when that changes
    warm
        ``{"event": "warm", "ready": false, "doing": "compiling the search (about 20 s, once)", "share": 0.4}``
    bye
        ``{"event": "bye", "message": "…"}``: the server is going

A browser that has lost the socket tries again; ``hello`` brings it up to date. ``lay.move`` carries ``base``, the
``move`` of the LayDoc that it was made on: one that is out of date is refused with code "out-of-date", and the tab
fetches the lay anew.
"""

from __future__ import annotations

from typing import Any, Literal, TypedDict

import msgspec

from nesting.page.documents import JudgedDoc, LayDoc, Problem, RunDoc, StateDoc

__all__ = [
    "BetterEvent",
    "ByeEvent",
    "ChangedEvent",
    "Command",
    "DiskEvent",
    "DocName",
    "EndedEvent",
    "Event",
    "HelloEvent",
    "JudgedEvent",
    "MovedEvent",
    "ProgressEvent",
    "ReplyEvent",
    "TabsEvent",
    "TraceAsked",
    "WarmEvent",
    "commands",
]

DocName = Literal["state", "pieces", "seams", "alterations", "cloth", "lay", "buy", "remnants", "batch", "cut"]
Value = str | int | float | bool | list[Any] | dict[str, Any] | None
Anchor = int | str


class Command(msgspec.Struct, tag_field="cmd", forbid_unknown_fields=True, kw_only=True):
    """``n``: the number under which the reply comes back."""

    n: int = 0


class _Indexed(Command):
    """A command for entry ``index`` of its list."""

    index: int


class _Set(_Indexed):
    """Sets ``key`` of entry ``index``."""

    key: str
    value: Value


class _Search(Command):
    """Starts a search: ``rounds`` repeats exactly, else ``seconds``; null: as long as usual."""

    seconds: float | None = None
    rounds: int | None = None
    seed: int = 0


def commands() -> tuple[type[Command], ...]:
    """Every command: the kinds that no other is a kind of."""
    found: list[type[Command]] = [Command]
    while any(one.__subclasses__() for one in found):
        found = [kind for one in found for kind in (one.__subclasses__() or [one])]
    return tuple(found)


# --- whole order ------------------------------------------------------------------------------------------------------


class Undo(Command, tag="undo"):
    """Take back the last step, of the order or of a lay."""


class Redo(Command, tag="redo"):
    """Do again what was taken back last."""


class DiskReload(Command, tag="disk.reload"):
    """Take over what another program wrote into the order; the page's own last state stays one undo away."""


class DiskKeep(Command, tag="disk.keep_mine"):
    """Write the page's state over what another program wrote; that text is kept beside it (result: {"kept": file
    name})."""


class OrderSet(Command, tag="order.set"):
    """Set a key at the top of the order: title, units, fibre_stretch."""

    key: str
    value: Value


class OrderNew(Command, tag="order.new"):
    """A new order from this one in the same folder: same pattern, other cloth and counts. Result: {"order": file name,
    "command": "nesting page …", "address": address of the page of the new order}. ``counts``: by garment index."""

    name: str
    counts: dict[str, int] = {}
    cloth: dict[str, Value] = {}
    open: bool = True


class GarmentSet(_Set, tag="garment.set"):
    """Set a key (name, size, count, ratio, pieces, cloth, value, same_cloth, wearer) of garment ``index``; value null
    takes the key away."""


class GarmentAdd(Command, tag="garment.add"):
    """Add a garment. Result: {"index": 3}."""

    name: str
    size: str | None = None
    count: int | str = 1
    pieces: list[str] | None = None
    wearer: str | None = None


class GarmentCounts(Command, tag="garment.counts"):
    """How many of each, in one step: ``counts`` by garment index; one of which there are none is taken out."""

    counts: dict[str, int]


class GarmentRemove(_Indexed, tag="garment.remove"):
    """Take a garment out of the order."""


# --- pieces -----------------------------------------------------------------------------------------------------------


class BandAdd(Command, tag="band.add"):
    """A piece without a drawing: a band joined in the round (``round``: the edges "piece.edge" of its opening,
    ``height``, ``ratio``, ``join``), or a strip by its measures (``rectangle``: along × across the grain). Result:
    {"index": 0}, counting such pieces only."""

    name: str
    size: str | None = None
    round: list[str] = []
    height: str | None = None
    ratio: str | float | None = None
    join: str | None = None
    rectangle: list[str] = []


class BandSet(_Set, tag="band.set"):
    """Set height, ratio, join, rectangle or round of band ``index``; null takes the key away."""


class BandRemove(_Indexed, tag="band.remove"):
    """Take a band out of the order."""


class FileRemove(_Indexed, tag="file.remove"):
    """Take pattern file ``index`` out of the order (the file itself stays)."""


class FileSet(_Set, tag="file.set"):
    """Set size, units or join_gap of pattern file ``index``."""


class FileContents(_Indexed, tag="file.contents"):
    """What a PDF holds to choose from. Result: {"pages": [{number, width, height, read, words, drawing: SVG path data
    in mm, y down}], "layers": [{name, shown, read, count}]}; ``read``: taken as the order stands now."""


class FileChoose(_Indexed, tag="file.choose"):
    """Pages (from 1) and layers of PDF ``index`` that are read; null: those that show a pattern, or are shown."""

    pages: list[int] | None
    layers: list[str] | None


class PieceSet(Command, tag="piece.set"):
    """Set a key of a piece: cut, mirrored, cloth, turn, tilt, needs_stretch, unfold, alike_ok, grain (degrees; a drag
    of the grain sends this at its end), or of one of its edges: "allowance.EDGE" (what the drawn cut line includes
    there), "trim_short.EDGE" (a lining ends short by this). Null takes the key away."""

    piece: str
    key: str
    value: Value
    size: str | None = None


class PieceRename(Command, tag="piece.rename"):
    """Call a piece otherwise than its drawing does, in every file and size that has it under the name that it has now
    (a piece that nobody named: in its own file only). Empty: as in the drawing again. Result: {"name", "sizes"}."""

    piece: str
    name: str
    size: str | None = None


class PieceFold(Command, tag="piece.fold"):
    """The side that lies on the fold (left, right, top, bottom as drawn; null: none). Refused with the reason and the
    sides that would do, code "not-a-fold"."""

    piece: str
    side: str | None
    size: str | None = None


class PieceFinish(Command, tag="piece.finish"):
    """How an edge is finished: "raw", "fold back 2 cm", "elastic 8 mm", "bound", "lace 6 mm", "seam 1 cm"; null:
    none."""

    piece: str
    edge: str
    finish: str | None
    size: str | None = None


class EdgeName(Command, tag="edge.name"):
    """Name the stretch between two anchors (EdgeDoc.start, EdgeDoc.end). Seams, finishes, trims and alterations that
    used the old name follow, where ``old`` gives it."""

    piece: str
    start: Anchor
    end: Anchor
    name: str
    old: str | None = None
    size: str | None = None


class EdgeSplit(Command, tag="edge.split"):
    """Divide an edge where the user clicked: the click counts as a corner, however slight the bend. ``at``: the
    point, in the drawing's frame. The nearest bend within ``reach_mm`` is taken, else the place itself. Names for
    both parts may come along. Result: {"anchor": "3 + 40 %", "at": [x, y]}."""

    piece: str
    size: str | None
    edge: str
    at: list[float]
    names: list[str | None] = []
    reach_mm: float = 6.0
    every_size: bool = True


class EdgeJoin(Command, tag="edge.join"):
    """Name several edges that follow one another as one."""

    piece: str
    edges: list[str]
    name: str
    size: str | None = None


class EdgeUnname(Command, tag="edge.unname"):
    """Take away a name that the order gave."""

    piece: str
    name: str
    size: str | None = None


class ProposalsAccept(Command, tag="proposals.accept"):
    """Accept proposals by id; empty: all of them but the guesses. One step of undo."""

    ids: list[str] = []


class ProposalsDecline(Command, tag="proposals.decline"):
    """Do not ask these again, by id; kept beside the order, whose text stays as it is. A step that can be undone."""

    ids: list[str]


class PiecesAllowance(Command, tag="pieces.allowance"):
    """What the one outline of these pieces is: the cut line, in which an allowance of ``length`` lies (``includes``),
    or the line that is sewn, to which it is added."""

    pieces: list[str]
    includes: bool
    length: str


# --- seams ------------------------------------------------------------------------------------------------------------


class SeamTry(Command, tag="seam.try"):
    """Walk edges without writing anything. ``sides``: each an edge "piece.edge" or a row of several. Result:
    {"seams": [SeamDoc]}, one for each size."""

    sides: list[str | list[str]]
    ease: str | None = None
    ratio: float | str | None = None


class SeamAdd(Command, tag="seam.add"):
    """Sew edges together. Result: {"index": 4}."""

    sides: list[str | list[str]]
    ease: str | None = None
    ratio: float | str | None = None
    match: bool = False


class SeamSet(_Set, tag="seam.set"):
    """Set ease, ease_between, ratio, tolerance, match, add_centre_notches or add_join_notches of a seam; null takes the
    key away."""


class SeamRemove(_Indexed, tag="seam.remove"):
    """Take a seam out of the order."""


class TogetherAdd(Command, tag="together.add"):
    """Two pieces are cut in one go: the follower lies where its leader lies. ``shape``: "leader", "own", or null: the
    leader's where both were drawn alike. Result: {"index": 0}."""

    leader: str
    follower: str
    shape: str | None = None


class TogetherSet(_Set, tag="together.set"):
    """Set faces, shape or tolerance of a pair cut together; null takes the key away."""


class TogetherRemove(_Indexed, tag="together.remove"):
    """Cut the two apart again."""


# --- alterations ------------------------------------------------------------------------------------------------------


class AlterTry(Command, tag="alter.try"):
    """What an alteration would do, without writing it (while dragging). Result: {"shapes": as in AlterationsDoc,
    "seams": [SeamDoc]}. ``index``: the alteration that this one would stand for."""

    kind: str
    pieces: list[str]
    by: str | float
    at: str | float | None = None
    edge: str | None = None
    hold: list[Anchor] = []
    size: str | None = None
    wearer: str | None = None
    index: int | None = None


class AlterAdd(Command, tag="alter.add"):
    """Write an alteration. ``by``, ``at``: as people write them, or numbers of mm. Result: {"index": 0}."""

    kind: str
    pieces: list[str]
    by: str | float
    at: str | float | None = None
    edge: str | None = None
    hold: list[Anchor] = []
    size: str | None = None
    wearer: str | None = None


class AlterSet(_Set, tag="alter.set"):
    """Change one key (kind, by, at, from, edge, hold, pieces, size) of alteration ``index``."""


class AlterRemove(_Indexed, tag="alter.remove"):
    """Take an alteration out of the order."""


# --- cloth and people -------------------------------------------------------------------------------------------------


class ClothSet(_Set, tag="cloth.set"):
    """Set a key of cloth ``index``; null takes it away. Renaming a cloth renames it in the pieces that use it."""


class ClothAdd(Command, tag="cloth.add"):
    """Add a cloth. Result: {"index": 1}."""

    name: str
    width: str


class ClothRemove(_Indexed, tag="cloth.remove"):
    """Take a cloth out of the order (refused while a piece is cut from it)."""


class WashTest(_Indexed, tag="cloth.wash"):
    """Lengths of a test square before and after washing → shrink_along, shrink_across. Result: {"along": "5 %",
    "across": "3 %"}. Pairs [before, after] as written; either may be null."""

    along: list[str] | None = None
    across: list[str] | None = None


class RulerTest(_Indexed, tag="cloth.ruler"):
    """Ruler test: a length at rest and stretched ("10 cm" to "16 cm" → 60 %). Result: {"along": "60 %", "across":
    …}."""

    along: list[str] | None = None
    across: list[str] | None = None


class RemnantAdd(Command, tag="remnant.add"):
    """A leftover: of the stash by name (``from_stash``), or by its measures."""

    name: str
    cloth: str
    width: str | None = None
    length: str | None = None
    from_stash: bool = False


class RemnantRemove(_Indexed, tag="remnant.remove"):
    """Take a leftover out of the order."""


class WearerAdd(Command, tag="wearer.add"):
    """Someone to sew for. Result: {"index": 0}."""

    name: str
    measures: dict[str, str] = {}


class WearerSet(_Set, tag="wearer.set"):
    """Set ``name`` or a measure (``key`` "measures.waist") of a wearer; null takes the measure away."""


class WearerRemove(_Indexed, tag="wearer.remove"):
    """Take a wearer out of the order."""


class OpeningAdd(Command, tag="opening.add"):
    """An opening that must go on: ``edges`` "piece.edge" that go round it; ``sits``, ``passes``: a measure by name, or
    a length. Result: {"index": 0}."""

    name: str
    edges: list[str]
    sits: str | None = None
    passes: str | None = None


class OpeningSet(_Set, tag="opening.set"):
    """Set name, edges, sits, passes, stretch, least, most or openings of an opening; null takes the key away."""


class OpeningRemove(_Indexed, tag="opening.remove"):
    """Take an opening out of the order."""


class TrimAdd(Command, tag="trim.add"):
    """Elastic, binding or lace: ``edges`` "piece.edge" that it is sewn to. Result: {"index": 0}."""

    name: str
    kind: str
    edges: list[str]


class TrimSet(_Set, tag="trim.set"):
    """Set a key of trim ``index``: name, kind, edges, ratio, openings, measure, factor, stretch, sits, passes, join,
    increment, price, or "ratios.piece.edge"; null takes the key away."""


class TrimRemove(_Indexed, tag="trim.remove"):
    """Take a trim out of the order."""


# --- lay --------------------------------------------------------------------------------------------------------------


class LayStart(Command, tag="lay.start"):
    """Search. ``go_on``: from the lay as it lies now, the kept pieces staying. ``rounds`` repeats exactly, else
    ``seconds``. ``anyway``: lay it for a look although something forbids cutting. Result: {"run": 3}."""

    seconds: float | None = 20.0
    rounds: int | None = None
    seed: int = 0
    spread: str | None = None
    cloth: str | None = None
    go_on: bool = False
    anyway: bool = False


class RunStop(Command, tag="run.stop"):
    """Stop the search, buying table, remnant plan or batch; the best stays."""

    run: int | None = None


class LayTake(Command, tag="lay.take"):
    """Take another stored lay (SpreadRow.lay) of this cloth."""

    cloth: str
    lay: str


class LayMove(Command, tag="lay.move"):
    """A piece at the end of its drag, turn or flip. The server snaps and checks; ``moved`` tells where it lies.
    Refused with code "turn-refused" and the figure that forbids it."""

    cloth: str
    base: int
    id: str
    x: float
    y: float
    turn: float
    flipped: bool


class LayKeep(Command, tag="lay.keep"):
    """Hold pieces where they are (or let them go) when the search goes on."""

    cloth: str
    ids: list[str]
    keep: bool


# --- buy, remnants, batch ---------------------------------------------------------------------------------------------


class BuyStart(_Search, tag="buy.start"):
    """What to buy, by width. ``widths`` as written; empty: the order's. ``what_if``: also what would save. Result:
    {"run": 4}."""

    widths: list[str] = []
    what_if: bool = False


class RemnantsStart(_Search, tag="remnants.start"):
    """Whole garments from the leftovers. Result: {"run": 5}."""

    stash: bool = True


class BatchStart(_Search, tag="batch.start"):
    """Many garments in sections and plies. Result: {"run": 6}."""



class StashAdd(Command, tag="stash.add"):
    """Once cut: leftovers of the lay (``leftovers``: CutDoc indexes; empty: all) go into the stash.
    Result: {"stash": file name, "added": [names]}."""

    cloth: str
    leftovers: list[int] = []


class StashRemove(Command, tag="stash.remove"):
    """Take a leftover out of the stash."""

    name: str


# --- cut --------------------------------------------------------------------------------------------------------------


class CutTick(Command, tag="cut.tick"):
    """Tick a row of the sheet, or untick it. Kept with the lay."""

    cloth: str
    laid: str
    done: bool


class CutPrint(Command, tag="cut.print"):
    """Write print and cutter files. ``kinds``: of CutDoc.kinds. Result: {"files": [{"name", "kind", "url",
    "words"}]}."""

    cloth: str
    kinds: list[str]
    paper: str = "a4"


class CalibrationSave(Command, tag="projector.save"):
    """Remember a projector's set-up by name. Result: CalibrationDoc, its matrix worked out."""

    name: str
    corners: list[list[float]]
    size: list[float]
    shift: float = 0.0
    dark: bool = True


class CalibrationRemove(Command, tag="projector.remove"):
    """Forget a set-up."""

    name: str


class TraceAsked(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """POST /api/trace: pieces from photographs. ``photos``: names as /api/upload gave them; ``bars``: both bars of the
    mat as measured, mm; or ``measured``: lengths in a scan ("120,80 120,2900 = 240 mm"). ``taps``: "x,y" pixels within
    pieces. ``answers`` by field (name, size, line, fold, notches, grain), one for each piece or one for all. The
    drawing becomes a pattern file of the order once nothing is open. ``cloth``: it is a leftover of that cloth, which
    goes into the stash; ``answers`` are not asked for then."""

    photos: list[str]
    name: str = ""
    cloth: str | None = None
    bars: list[str] = []
    measured: list[str] = []
    taps: list[str] = []
    answers: dict[str, list[str]] = {}


# --- events -----------------------------------------------------------------------------------------------------------


class HelloEvent(TypedDict):
    """The first on a socket."""

    event: Literal["hello"]
    rev: int
    state: StateDoc
    tab: str


class ReplyEvent(TypedDict, total=False):
    """The answer to one command, to the tab that sent it."""

    event: Literal["reply"]
    n: int
    ok: bool
    rev: int
    result: dict[str, Any]
    problem: Problem


class ChangedEvent(TypedDict):
    """Something changed: fetch what you show. ``tab`` is the one that did it, empty where the server did."""

    event: Literal["changed"]
    rev: int
    docs: list[DocName]
    label: str
    tab: str


class MovedEvent(TypedDict):
    """Pieces of a lay lie elsewhere now: {id, x, y, turn, flipped, kept}."""

    event: Literal["moved"]
    rev: int
    move: int
    cloth: str
    tab: str
    pieces: list[dict[str, Any]]


class JudgedEvent(TypedDict):
    """The proof has judged the newest move."""

    event: Literal["judged"]
    cloth: str
    judged: JudgedDoc


class ProgressEvent(TypedDict):
    """How far a run is. The only event that may be dropped."""

    event: Literal["progress"]
    run: RunDoc


class BetterEvent(TypedDict):
    """The best lay so far, with its places; not yet proved where ``lay.judged`` is null."""

    event: Literal["better"]
    run: int
    cloth: str
    spread: str
    length: float
    lay: LayDoc


class EndedEvent(TypedDict):
    """A run has ended."""

    event: Literal["ended"]
    run: RunDoc


class DiskEvent(TypedDict):
    """Another program changed these files."""

    event: Literal["disk"]
    files: list[str]


class TabsEvent(TypedDict):
    """How many tabs show this order."""

    event: Literal["tabs"]
    tabs: int


class WarmEvent(TypedDict):
    """Whether the search is compiled, and how far that is."""

    event: Literal["warm"]
    ready: bool
    doing: str
    share: float


class ByeEvent(TypedDict):
    """The server is going."""

    event: Literal["bye"]
    message: str


Event = (
    HelloEvent
    | ReplyEvent
    | ChangedEvent
    | MovedEvent
    | JudgedEvent
    | ProgressEvent
    | BetterEvent
    | EndedEvent
    | DiskEvent
    | TabsEvent
    | WarmEvent
    | ByeEvent
)
