"""What the page draws: the shapes of the JSON documents that the server gives, one for each view.

Every document carries ``rev``, the number of the change that it shows. Lengths are mm, angles degrees, shares
fractions of 1 (5 % is 0.05), money plain numbers; a point is ``[x, y]``, y growing upwards (away from the near edge
of the cloth), so that a drawing on the screen puts ``-y``. Words for people (``message``, ``words``, ``label`` …) are
ready to be shown as text, never as markup.
"""

from __future__ import annotations

from typing import Any, Literal, NotRequired, TypedDict

__all__ = [
    "AlterationDoc",
    "AlterationsDoc",
    "Anchor",
    "AnswerDoc",
    "Blocker",
    "BuyDoc",
    "CalibrationDoc",
    "ClothDoc",
    "ClothsDoc",
    "CutDoc",
    "CutRow",
    "DrillDoc",
    "EdgeDoc",
    "FieldDoc",
    "FileDoc",
    "FindingDoc",
    "FinishDoc",
    "GarmentDoc",
    "JudgedDoc",
    "LaidPiece",
    "LayDoc",
    "LaySection",
    "NotchDoc",
    "OpenOutline",
    "OpeningDoc",
    "PieceDoc",
    "PiecesDoc",
    "Problem",
    "Proposal",
    "RemnantDoc",
    "RunDoc",
    "RunKind",
    "SeamDoc",
    "SeamSettings",
    "SeamSide",
    "SeamsDoc",
    "Shape",
    "SpreadRow",
    "StateDoc",
    "Step",
    "TogetherDoc",
    "WearerDoc",
    "Where",
]

XY = list[float]
Line = list[XY]
#: a corner number, a notch name, or a place such as "3 + 40 %" (40 % of the way from corner 3 to corner 4)
Anchor = int | str
RunKind = Literal["lay", "buy", "remnants", "batch"]


class Where(TypedDict, total=False):
    """Where a problem, a finding or a reason belongs: the view, and what in it to light. Absent keys are not known."""

    view: Literal["pieces", "seams", "alterations", "cloth", "lay", "buy", "cut"]
    piece: str
    size: str
    edge: str
    seam: int
    alteration: int
    cloth: str
    garment: str
    laid: str
    field: str
    file: str


class OpenOutline(TypedDict):
    """An outline that does not close: ``lines`` as SVG path data, each of its ``gaps`` from point to point, mm, y
    upwards."""

    lines: str
    gaps: list[Line]


class Problem(TypedDict):
    """Why something was refused, in one sentence, and where to say so. ``code`` is stable, such as "not-a-length";
    ``choices`` are words that would have done, ``open`` the outline that does not close."""

    code: str
    message: str
    where: Where
    choices: NotRequired[list[str]]
    open: NotRequired[OpenOutline]


class FindingDoc(TypedDict):
    """Something noticed. ``kind``: repaired, ignored, ambiguous, question, warning, note."""

    kind: str
    message: str
    where: Where
    code: NotRequired[str | None]
    open: NotRequired[OpenOutline]


class Blocker(TypedDict):
    """A reason not to cut yet; stands at the top of every view and leads to ``where``."""

    message: str
    where: Where


class Step(TypedDict):
    """What undo or redo would do, for the button's label: "name the edge side of front"."""

    label: str


class RunDoc(TypedDict):
    """A search, buying table, remnant plan or batch at work or ended. ``state``: starting, running, stopping, done,
    stopped, failed. ``share`` 0 to 1; ``length`` mm of the best so far; ``found``: whether there is anything to keep;
    ``elapsed`` seconds; ``command``: what would do the same on the command line."""

    id: int
    kind: RunKind
    state: Literal["starting", "running", "stopping", "done", "stopped", "failed"]
    cloth: str | None
    doing: str
    share: float
    length: float | None
    found: bool
    elapsed: float
    seconds: float | None
    rounds: int | None
    seed: int
    command: str
    problem: Problem | None


class FileDoc(TypedDict):
    """A pattern file of the order. ``index`` is its number in the order, from 0; ``units`` null means that nobody
    said. ``pages`` and ``layers``: those chosen from a PDF, null: all."""

    index: int
    file: str
    size: str | None
    units: str | None
    pages: list[int] | None
    layers: list[str] | None
    pieces: int
    findings: list[FindingDoc]


class GarmentDoc(TypedDict):
    """One garment to cut. ``index`` from 0; ``pieces`` null means all of its size. ``ratio``: so many to so many of the
    others, where as many as fit are asked for; ``same_cloth``: all its pieces from one piece of cloth."""

    index: int
    name: str
    size: str | None
    wearer: str | None
    count: int | str
    pieces: list[str] | None
    cloth: dict[str, str]
    value: float
    ratio: int | None
    same_cloth: bool


class StateDoc(TypedDict):
    """GET /api/state: what stands round every view.

    ``order.file`` is the path as people know it; ``order.exists`` false means that nothing has been dropped yet.
    ``readable`` false: the order cannot be read, ``problem`` says why; views show what they last could. ``garments``
    and ``sizes`` are the order's. ``results`` is the folder that outputs go to. ``warm``: whether the search is
    compiled. ``disk``: files that another program changed meanwhile (then every edit is refused until ``disk.reload``
    or ``disk.keep_mine``). ``tabs`` counts the tabs that show this order. ``command`` is the command line for the
    last thing done, ``demo`` tells that this is the demo's copy.
    """

    rev: int
    order: dict[str, Any]
    readable: bool
    problem: Problem | None
    title: str
    units: str
    files: list[FileDoc]
    garments: list[GarmentDoc]
    sizes: list[str]
    wearers: list[str]
    cloths: list[str]
    undo: Step | None
    redo: Step | None
    blockers: list[Blocker]
    run: RunDoc | None
    warm: dict[str, Any]
    disk: dict[str, Any]
    tabs: int
    command: str
    results: str
    demo: bool
    version: str


# --- pieces -----------------------------------------------------------------------------------------------------------


class NotchDoc(TypedDict):
    """``direction`` points into the piece."""

    at: XY
    direction: float
    depth: float
    kind: str
    name: str | None


class DrillDoc(TypedDict):
    """A drill mark."""

    at: XY
    diameter: float
    name: str | None


class EdgeDoc(TypedDict):
    """A stretch of the outline that can be clicked, in the drawing's frame, anticlockwise.

    ``name`` as the order knows it ("1-2" where nobody gave one: ``named`` false). ``from``/``to`` are its anchors.
    ``line`` runs along the seam line where one is known, ``cut`` along the cut line. ``length`` mm. ``finish`` as
    written ("fold back 2 cm") or null; ``allowance`` what the drawn cut line includes there, ``trim_short`` by how
    much a lining ends short of it, both as written or null. ``fold``: it lies on the fold. ``fold_side``: the side
    (left, right, top, bottom) to send with ``piece.fold`` to make it so, null where it cannot be one, then
    ``why_no_fold`` says why.
    ``source``: order, file, corners.
    """

    name: str
    named: bool
    source: Literal["order", "file", "corners"]
    start: Anchor
    end: Anchor
    line: Line
    cut: Line
    length: float
    finish: str | None
    allowance: str | None
    trim_short: str | None
    fold: bool
    fold_side: str | None
    why_no_fold: str | None


class FieldDoc(TypedDict):
    """A value with where it comes from: ``given`` in the order, else from the file or a default."""

    value: Any
    given: bool


class PieceDoc(TypedDict):
    """A piece as drawn (frame of the drawing) and what the order asks of it. ``id`` is "name|size".

    ``outline`` the cut line, ``seam`` the seam line where drawn; ``inside`` lines; ``corners``: (number, point) of
    every corner that has one; ``grain``: two points, tail first, null where there is none; ``grain_deg`` 0 to the
    right, 90 up. ``open``: how many edges are without name of their own. ``usable`` false: it cannot be used as it
    is, ``problem`` says why (and where: ``places`` to light). ``settings`` keys: cut, mirrored, cloth, turn, tilt,
    needs_stretch, unfold, grain, fold, alike_ok, each a FieldDoc. ``bounds`` [x0, y0, x1, y1]. ``in_order`` false: no
    garment uses it. ``unnamed``: neither the drawing nor the order has a name for it.
    """

    id: str
    name: str
    size: str | None
    file: str | None
    label: str
    outline: Line
    seam: Line | None
    inside: list[Line]
    cutouts: list[Line]
    notches: list[NotchDoc]
    drills: list[DrillDoc]
    corners: list[list[Any]]
    grain: Line | None
    grain_deg: float | None
    fold: Line | None
    edges: list[EdgeDoc]
    settings: dict[str, FieldDoc]
    findings: list[FindingDoc]
    usable: bool
    problem: Problem | None
    places: list[XY]
    bounds: list[float]
    in_order: bool
    unnamed: bool
    text: list[str]


class Proposal(TypedDict):
    """Something likely that one click accepts. ``kind``: name (an edge), fold, grain, cut, seam, garment. ``why`` in
    words. ``pieces``: the ids that it concerns (each size alike). ``about``: what to light (edge names). ``sure`` 0
    to 1. ``guess``: nothing in the drawing says so, so accepting all leaves it out."""

    id: str
    kind: Literal["name", "fold", "grain", "cut", "seam", "garment"]
    pieces: list[str]
    edges: list[str]
    value: Any
    message: str
    why: str
    sure: float
    guess: bool


class FinishDoc(TypedDict):
    """A finish to choose: ``example`` is what is written, ``needs`` whether a length follows."""

    kind: str
    example: str
    needs_length: bool
    words: str


class PiecesDoc(TypedDict):
    """GET /api/pieces. ``unsaid``: pieces with one outline of which nobody has said whether it is cut or sewn along."""

    rev: int
    pieces: list[PieceDoc]
    proposals: list[Proposal]
    unsaid: list[str]
    finishes: list[FinishDoc]
    turns: list[str]
    edge_names: list[str]


# --- seams ------------------------------------------------------------------------------------------------------------


class SeamSide(TypedDict):
    """One side of a seam: one edge, or several in a row. Straightened along x from the common end at 0.

    ``edges`` "piece.edge"; ``length`` mm as compared, ``wanted`` what the first side asks of it. ``drawn``: each
    edge's own line laid side by side for drawing: its points moved and turned so that the side starts at (0, 0) and
    its chord runs along +x (``mirrored`` sides are flipped, as they lie right sides together). ``joins`` mm along
    where one edge of a row ends. ``marks``: notches {along, x, y, name, partner: null | along on the first side,
    misses: mm, agrees}. ``pieces``: ids. ``parts``: the edge line of each piece in that piece's own drawing frame, to
    light it there.
    """

    edges: list[str]
    pieces: list[str]
    length: float
    wanted: float
    drawn: list[Line]
    joins: list[float]
    marks: list[dict[str, Any]]
    half: bool
    mirrored: bool
    centre: bool
    parts: list[Line]


class SeamDoc(TypedDict):
    """A seam walked in one size. ``index`` in the order, -1 for a trial (``seam.try``). ``difference`` mm, the
    largest."""

    index: int
    size: str | None
    sides: list[SeamSide]
    difference: float
    tolerance: float
    agrees: bool
    messages: list[str]
    no_centre: list[str]
    ease: float
    ratio: float


class SeamSettings(TypedDict):
    """What the order says of a seam beside its edges. ``in_row``: whether a side has several edges."""

    index: int
    ease_between: list[str] | None
    match: bool
    add_centre_notches: bool
    add_join_notches: bool
    in_row: bool


class TogetherDoc(TypedDict):
    """Two pieces cut in one go. ``shape``: "leader", "own", or null where nothing is said."""

    index: int
    leader: str
    follower: str
    faces: str
    shape: str | None


class SeamsDoc(TypedDict):
    """GET /api/seams. ``proposals`` of kind seam; ``loose``: named edges ("piece.edge") in no seam."""

    rev: int
    seams: list[SeamDoc]
    settings: list[SeamSettings]
    together: list[TogetherDoc]
    proposals: list[Proposal]
    loose: list[str]


# --- alterations ------------------------------------------------------------------------------------------------------


class AlterationDoc(TypedDict):
    """One alteration of the order. ``index`` from 0. ``by`` as written ("1 cm"), ``by_mm``; ``at`` as written,
    ``at_mm`` along the grain from the piece's lowest end in grain direction; ``line``: two points on the drawing,
    across the grain, at which it opens or closes (for each piece by id); ``edge``, ``hold`` for add and take. ``asks``:
    ``at`` is a distance, and ``start`` says from where ("tail", "head" or an edge, of which ``edges`` names the
    choices)."""

    index: int
    kind: Literal["lengthen", "shorten", "add", "take", "take strip"]
    pieces: list[str]
    size: str | None
    wearer: str | None
    by: str
    by_mm: float
    at: str | None
    at_mm: float | None
    edge: str | None
    hold: list[Anchor]
    asks: bool
    start: str | None
    edges: list[str]
    lines: dict[str, Line]
    message: str


class AlterationsDoc(TypedDict):
    """GET /api/alterations. ``shapes``: for every piece with an alteration (and the pieces that follow it) by id:
    {before: {outline, seam}, after: {outline, seam}, grain_extent: [least, most] mm along the grain, grain_deg,
    follows: leader or null}, all in the drawing's frame, laid over one another by the tail of the grain arrow.
    ``seams``: those that these pieces take part in, walked as they are now (SeamDoc)."""

    rev: int
    alterations: list[AlterationDoc]
    shapes: dict[str, Any]
    seams: list[SeamDoc]


# --- cloth and people -------------------------------------------------------------------------------------------------


class ClothDoc(TypedDict):
    """A cloth. ``fields``: every key of [[cloth]] as written (a string such as "150 cm", a number, a flag, a list) with
    ``given``; ``meaning``: see CLOTH fields in ``help``. ``in_mm``: width, width_washed, usable_width."""

    index: int
    name: str
    fields: dict[str, FieldDoc]
    in_mm: dict[str, float]
    findings: list[FindingDoc]


class RemnantDoc(TypedDict):
    """A leftover, of the order (``index``) or of the stash (``index`` null): outline and flaws, mm. ``rectangular``: it
    can be written into an order by its measures."""

    index: int | None
    name: str
    cloth: str
    outline: Line
    flaws: list[Line]
    width: float
    length: float
    rectangular: bool
    source: Literal["order", "stash"]


class WearerDoc(TypedDict):
    """A wearer with measures as written ({"waist": "72 cm"})."""

    index: int
    name: str
    measures: dict[str, str]


class OpeningDoc(TypedDict):
    """An opening as written, ``lines``: what it comes to in each garment, in words ({"garment", "edge", "rest",
    "stretched", "sits", "passes", "ratio"}), ``findings``: whether it goes on. ``values``: its other keys as
    written."""

    index: int
    name: str
    edges: list[str]
    sits: str | None
    passes: str | None
    values: dict[str, str]
    lines: list[dict[str, str]]
    findings: list[FindingDoc]


class TrimDoc(TypedDict):
    """Elastic, binding or lace: ``values``: its other keys as written, ``ratios``: of single edges."""

    index: int
    name: str
    kind: str
    edges: list[str]
    values: dict[str, str]
    ratios: dict[str, str]


class BandDoc(TypedDict):
    """A piece without a drawing. ``index`` counts such pieces. ``round``: the edges of the opening that it goes round,
    null for a strip by its ``rectangle`` [along, across]. ``values``: height, ratio, join as written; ``words``: what
    it comes to, one for each size."""

    index: int
    name: str
    size: str | None
    round: list[str] | None
    rectangle: list[str] | None
    values: dict[str, str]
    words: list[str]


class ClothsDoc(TypedDict):
    """GET /api/cloth. ``fields``: what a cloth may say: {name, meaning, kind: length|share|choice|number|flag|list,
    allowed, default}. ``stash``: the stash file or null. ``measures``: names of measures one may take;
    ``edges``: named edges "piece.edge" to choose from. ``kinds``: of trims. ``top``: title, units and fibre_stretch of
    the order, as written."""

    rev: int
    cloths: list[ClothDoc]
    fields: list[dict[str, Any]]
    remnants: list[RemnantDoc]
    stash: str | None
    wearers: list[WearerDoc]
    measures: list[str]
    openings: list[OpeningDoc]
    trims: list[TrimDoc]
    bands: list[BandDoc]
    kinds: list[str]
    edges: list[str]
    garments: list[GarmentDoc]
    top: dict[str, str]


# --- lay --------------------------------------------------------------------------------------------------------------


class Shape(TypedDict):
    """A piece in its grain frame, from which every placement of it follows: flip (y → −y) if flipped, turn
    anticlockwise by ``turn``, move to (x, y). As SVG with y down: ``translate(x, -y) rotate(-turn) scale(1, flipped ?
    -1 : 1)`` over points drawn as (px, -py)."""

    outline: Line
    seam: Line | None
    inside: list[Line]
    cutouts: list[Line]
    notches: list[NotchDoc]
    drills: list[DrillDoc]
    grain: Line
    fold: Line | None
    label: str


class LaidPiece(TypedDict):
    """A piece as it lies. ``id`` keeps its meaning for the whole life of the lay; ``number`` is on drawing and sheet.

    ``shape`` is a key of ``shapes``. ``turns``: the turns allowed here; ``refused``: [turn, why with its figure];
    ``flips``: whether it may be flipped where it lies (``why_no_flip`` else). ``fixed_y``/``fixed_x``: it lies on a
    fold and slides along it only. ``snap_x``/``snap_y``: {every, offset} of a stripe or print that its motif must
    meet. ``plies`` it goes through. ``kept``: held by the user. ``tag``: what to call it on the command line,
    "front:1".
    """

    id: str
    number: int
    piece: str
    size: str | None
    garment: str
    copy: int
    label: str
    tag: str
    shape: str
    x: float
    y: float
    turn: float
    flipped: bool
    plies: list[int]
    on_fold: bool
    opened: bool
    gives: int
    follows: str | None
    kept: bool
    turns: list[float]
    refused: list[list[Any]]
    flips: bool
    why_no_flip: str | None
    fixed_x: float | None
    fixed_y: float | None
    snap_x: dict[str, float] | None
    snap_y: dict[str, float] | None
    tilt: float


class LaySection(TypedDict):
    """A stretch of the lay spread in one way; ``start``: its x on the whole lay. ``before``: what lies between the cut
    end and its x = 0, mm, which is added to measure as the sheet does (0 in a later section, which is measured from the
    line at which it begins); ``after``: what lies behind it. ``plies``: {ply, face, region, flaws}; ``folds``: {along:
    "x"|"y", at, plies}."""

    start: float
    length: float
    before: float
    after: float
    spread: str
    table_width: float
    plies: list[dict[str, Any]]
    folds: list[dict[str, Any]]
    pieces: list[LaidPiece]


class SpreadRow(TypedDict):
    """A row of the table of spreads. ``lay``: id of its stored lay, null where none is stored (``lay.take`` then
    searches it). ``refused`` says why it cannot be."""

    spread: str
    lay: str | None
    lay_length: float | None
    buy_length: float | None
    utilisation: float | None
    handling: list[int] | None
    cost: float | None
    refused: str | None
    chosen: bool
    shown: bool


class JudgedDoc(TypedDict):
    """The proof's verdict on the lay as it lies now. ``of``: the ``move`` number that was judged. ``failures``:
    {code, message, laid: [ids], at: [x, y] | null}. ``ok`` null: being judged."""

    of: int
    ok: bool | None
    failures: list[dict[str, Any]]
    lay_length: float
    buy_length: float


class LayDoc(TypedDict):
    """GET /api/lay[?cloth=NAME]. ``lay`` null: nothing laid yet. ``move`` counts the moves, take/undo included.
    ``stale``: the order was changed after this lay was made. ``edited``: pieces were moved by hand. ``gap``: what
    must stay free between cuts, ``edge_gap`` 0. ``usable`` [y0, y1]. ``command``: gives this lay on the command line,
    empty where none does (moved by hand, taken from the table of spreads, older than the order)."""

    rev: int
    cloths: list[str]
    cloth: str
    lay: str | None
    move: int
    spread: str | None
    sections: list[LaySection]
    shapes: dict[str, Shape]
    lay_length: float
    buy_length: float
    lower_bound: float
    bound_reason: str
    utilisation: float
    gap: float
    width: float
    spreads: list[SpreadRow]
    judged: JudgedDoc | None
    stale: bool
    edited: bool
    over: str | None
    remnant: str | None
    notes: list[str]
    garments: list[dict[str, Any]]
    command: str
    colours: dict[str, int]


# --- answers ----------------------------------------------------------------------------------------------------------


class AnswerDoc(TypedDict):
    """GET /api/remnants and /api/batch: {answer: what ``nesting remnants|batch --json`` prints or null, pictures:
    [{name, title, url}], stale, command, words: list of sentences}."""

    rev: int
    answer: dict[str, Any] | None
    words: list[str]
    pictures: list[dict[str, str]]
    stale: bool
    command: str


class BuyDoc(TypedDict):
    """GET /api/buy. ``rows``: one per cloth and width: {width, cloth, length, buy, cost, per_garment, next_adds,
    next_garment, spread (in words), best (the row to go by), known (it is your
    lay's), more: rows of the other spreads and naps}; ``refused``:
    {cloth, width, spread, nap, why}; ``trims``: {name, count, total, buy, cost}; ``curves``: one per cloth, {cloth,
    width, points: [{count, length}]}; ``savings``: what changes of the order would save: {what, lengths, money,
    handling, refused}, null where nobody asked; ``shopping``: list of lines, as text to print or copy;
    ``unlisted``: what finishes take and no trim reckons, in words. Lengths mm."""

    rev: int
    answer: dict[str, Any] | None
    rows: list[dict[str, Any]]
    refused: list[dict[str, Any]]
    trims: list[dict[str, Any]]
    curves: list[dict[str, Any]]
    savings: list[dict[str, Any]] | None
    shopping: list[str]
    unlisted: list[str]
    stale: bool
    command: str


class CutRow(TypedDict):
    """A row of the placement sheet: ``laid``: id of its piece on the drawing; ``cells``: column → words."""

    laid: str
    number: int
    cells: dict[str, str]
    done: bool


class CalibrationDoc(TypedDict):
    """A projector set-up, remembered by ``name``: ``corners``: four points on the screen, CSS px, in the order (0,
    0), (w, 0), (w, h), (0, h) of a rectangle ``size`` [w, h] mm measured on the table; ``shift`` mm: how far one step
    goes along the cloth; ``dark``: light lines on dark; ``matrix``: nine numbers, row by row, table mm → screen px
    (the server works it out from the corners; the client may as well)."""

    name: str
    corners: Line
    size: list[float]
    shift: float
    dark: bool
    matrix: list[float]


class CutDoc(TypedDict):
    """GET /api/cut[?cloth=NAME]. ``columns``: (key, title) in order. ``before``: what to do first (wash, rest, fold),
    sentences. ``files``: outputs written: {name, kind, url, words}. ``kinds``: what can be printed: {kind, words,
    papers}. ``leftovers``: what the lay leaves: {index, width, length, outline, words, kept: what the stash calls it,
    null where it is not there}. ``judged``: whether the proof has been made. ``ready`` false: ``blockers`` or no proved
    lay."""

    rev: int
    cloth: str
    lay: str | None
    judged: bool
    columns: list[list[str]]
    rows: list[CutRow]
    before: list[str]
    files: list[dict[str, str]]
    kinds: list[dict[str, Any]]
    papers: list[str]
    leftovers: list[dict[str, Any]]
    calibrations: list[CalibrationDoc]
    ready: bool
    why_not: str | None
    command: str
