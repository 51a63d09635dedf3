"""Preparing a PDF for the reader of its pages: what pdfium does not tell is put where it does.

pdfium shows layers only as marks in page content, gives damaged names for those not in ASCII, none for membership
dictionaries, and nothing of a layer that a form or picture carries itself (``/OC``). So each property that stands for
layers is replaced by a fresh group called ``L0``, ``L1``, … with a table beside it, and a form or picture with its own
``/OC`` is drawn within marks. ``/UserUnit`` is not heeded by pdfium at all, so it is told with the page.
"""

from __future__ import annotations

import io
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

__all__ = ["MOST_PAGES", "PageFacts", "Prepared", "Refused", "prepare"]

#: Patterns printed on A4 have up to some hundred pages.
MOST_PAGES = 400
#: Bytes of one page's or form's content after decompression; 10,000 long curves take about a million.
MOST_CONTENT = 96 * 1024 * 1024
#: Objects in the file, and forms drawn, counted through forms in forms.
MOST_OBJECTS = 400_000
MOST_FORMS = 20_000
MOST_DEPTH = 24
#: Operators in a content stream that has to be written anew.
MOST_OPERATORS = 2_000_000


class Refused(Exception):
    """The file is no pattern that can be read; the message is for its owner."""


@dataclass(frozen=True)
class PageFacts:
    """What is known of a page: number from 1, its visible box in user space (x0, y0, x1, y1), the quarter turns it is
    shown by (clockwise degrees), and mm per unit of user space."""

    number: int
    box: tuple[float, float, float, float]
    rotate: int
    unit_mm: float
    user_unit: float


@dataclass(frozen=True)
class Prepared:
    """The prepared file, its chosen pages in order, and for each mark ``Lk`` the layers' names and whether shown."""

    data: bytes
    pages: tuple[PageFacts, ...]
    marks: tuple[tuple[tuple[str, ...], bool], ...]
    layers: tuple[tuple[str, bool], ...]
    count: int
    notes: tuple[tuple[str, str], ...]


def prepare(data: bytes, pages: Sequence[int] | None = None) -> Prepared:
    """Make the file ready for reading. ``pages``: numbers from 1; None for all.

    Raises Refused for what needs a password, is cut short, carries scripts, is no PDF or is far too large.
    """
    import pikepdf

    head = data[:1024].find(b"%PDF-")
    if head < 0:
        raise Refused("this is no PDF file: it does not begin with %PDF-; export the pattern again")
    _whole(data)
    try:
        pdf = pikepdf.open(io.BytesIO(data), suppress_warnings=True)
    except pikepdf.PasswordError:
        raise Refused(
            "the file is encrypted and opens with a password only: open it in a viewer with its password and save or "
            "print it to a new PDF"
        ) from None
    except Exception as error:
        raise Refused(f"the PDF cannot be read ({_short(error)}): it is damaged or cut short; get it again") from None
    with pdf:
        try:
            return _prepared(pdf, pages)
        except Refused:
            raise
        except MemoryError:
            raise Refused("reading it takes more memory than any pattern does; save only the pattern's pages") from None
        except Exception as error:
            raise Refused(f"the PDF is damaged ({_short(error)}); get it again or export it anew") from None


def _short(error: BaseException) -> str:
    words = " ".join(str(error).split()) or type(error).__name__
    return words if len(words) <= 120 else words[:119] + "…"


def _whole(data: bytes) -> None:
    """A file whose end is missing is refused before anything mends it: what is gone could be half the pattern."""
    tail = data[-2048:]
    if b"%%EOF" not in tail and b"startxref" not in tail:
        raise Refused("the file is cut short: its end mark (%%EOF) is missing; load or export it again")


def _prepared(pdf: Any, wanted: Sequence[int] | None) -> Prepared:
    import pikepdf

    if len(pdf.objects) > MOST_OBJECTS:
        raise Refused(f"the file has more than {MOST_OBJECTS} objects, which is no pattern; save only its pages")
    notes: list[tuple[str, str]] = []
    if pdf.is_encrypted:
        notes.append(("note", "the file is encrypted, but opens without a password; it is read as viewers show it"))
    _no_scripts(pdf)
    count = len(pdf.pages)
    if count == 0:
        raise Refused("the PDF has no pages; export the pattern again")
    if wanted is None and count > MOST_PAGES:
        raise Refused(f'the PDF has {count} pages; name those of the pattern in the order, for example pages = "3-20"')
    numbers = list(wanted) if wanted is not None else list(range(1, count + 1))
    beyond = [n for n in numbers if not 1 <= n <= count]
    if beyond:
        raise Refused(f"there is no page {beyond[0]}: the file has {count} page{'s' if count > 1 else ''}")
    layers = _Layers(pdf)
    facts = []
    for number in numbers:
        page = pdf.pages[number - 1]
        facts.append(_facts(page, number))
        _annotations(page, number, notes)
        layers.rename_in(page.obj, number)
    if "/EmbeddedFiles" in pdf.Root.get("/Names", {}):
        notes.append(("ignored", "files attached to the PDF are not read"))
    out = pikepdf.Pdf.new()
    for number in numbers:
        out.pages.append(pdf.pages[number - 1])
    for page in out.pages:
        # pdfium must see plain user space: what turns and cuts the page is applied by us
        for key in ("/Annots", "/AA", "/Rotate", "/UserUnit"):
            if key in page.obj:
                del page.obj[key]
    stream = io.BytesIO()
    out.save(stream, compress_streams=False, object_stream_mode=pikepdf.ObjectStreamMode.disable)
    return Prepared(
        stream.getvalue(), tuple(facts), tuple(layers.marks), tuple(layers.listed), count, tuple(notes)
    )  # fmt: skip


def _no_scripts(pdf: Any) -> None:
    """Scripts are never run; a file that carries some may draw what it shows by them, so it is refused."""
    import pikepdf

    told = (
        "the file carries a script or starts a program, which is never run: print it to a new PDF from a viewer that "
        "you trust, and use that"
    )
    if "/XFA" in pdf.Root.get("/AcroForm", {}):
        raise Refused("the file is a form that draws itself by a program (XFA); print it to a new PDF and use that")
    if "/JavaScript" in pdf.Root.get("/Names", {}):
        raise Refused(told)
    for thing in pdf.objects:
        for held in _dictionaries(thing, pikepdf, 0):
            kind = held.get("/S")
            if "/JS" in held or (isinstance(kind, pikepdf.Name) and str(kind) in ("/JavaScript", "/Launch")):
                raise Refused(told)


def _dictionaries(thing: Any, pikepdf: Any, level: int) -> Any:
    """The direct dictionaries in an object, itself included."""
    if level > 6:
        return
    if isinstance(thing, pikepdf.Stream):
        thing = thing.stream_dict
    if isinstance(thing, pikepdf.Dictionary):
        yield thing
        for value in dict(thing.items()).values():
            if isinstance(value, pikepdf.Dictionary | pikepdf.Array) and not value.is_indirect:
                yield from _dictionaries(value, pikepdf, level + 1)
    elif isinstance(thing, pikepdf.Array) and len(thing) <= 1000:
        for value in thing:
            if isinstance(value, pikepdf.Dictionary | pikepdf.Array) and not value.is_indirect:
                yield from _dictionaries(value, pikepdf, level + 1)


def _inherited(page: Any, key: str) -> Any:
    """A page's own or inherited attribute (ISO 32000-1, table 30)."""
    node = page
    for _ in range(50):
        if key in node:
            return node[key]
        if "/Parent" not in node:
            return None
        node = node["/Parent"]
    return None


def _box(value: Any) -> tuple[float, float, float, float] | None:
    try:
        numbers = [float(v) for v in value]
    except (TypeError, ValueError):
        return None
    if len(numbers) != 4 or not all(abs(n) < 1e7 for n in numbers):
        return None
    x0, y0, x1, y1 = numbers
    return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)


def _facts(page: Any, number: int) -> PageFacts:
    media = _box(_inherited(page.obj, "/MediaBox"))
    if media is None:
        media = (0.0, 0.0, 612.0, 792.0)
    crop = _box(_inherited(page.obj, "/CropBox")) or media
    seen = max(media[0], crop[0]), max(media[1], crop[1]), min(media[2], crop[2]), min(media[3], crop[3])
    if seen[2] - seen[0] <= 0 or seen[3] - seen[1] <= 0:
        seen = media
    if seen[2] - seen[0] < 1e-3 or seen[3] - seen[1] < 1e-3:
        raise Refused(f"page {number} has no size; export the pattern again")
    rotate = _inherited(page.obj, "/Rotate")
    try:
        turn = round(float(rotate) / 90) * 90 % 360 if rotate is not None else 0
    except (TypeError, ValueError, OverflowError):
        turn = 0
    unit = page.obj.get("/UserUnit", 1)
    try:
        user_unit = float(unit)
    except (TypeError, ValueError):
        user_unit = 1.0
    if not 1e-6 < user_unit < 1e6:
        raise Refused(f"page {number} has a unit (/UserUnit) of {user_unit:g} points, which cannot be right")
    return PageFacts(number, seen, turn, user_unit * 25.4 / 72.0, user_unit)


def _annotations(page: Any, number: int, notes: list[tuple[str, str]]) -> None:
    """Drawn comments are no part of the page; they are told."""
    drawn = ("/Ink", "/Line", "/Square", "/Circle", "/Polygon", "/PolyLine", "/Stamp", "/FreeText")
    held = page.obj.get("/Annots")
    count = 0
    try:
        for note in held if held is not None else ():
            if str(note.get("/Subtype", "")) in drawn:
                count += 1
    except (TypeError, AttributeError, ValueError):
        return
    if count:
        many = "comment drawn on it is" if count == 1 else "comments drawn on it are"
        notes.append(("ignored", f"page {number}: {count} {many} left out; only the page itself is read"))


class _Layers:
    """Renames all layer properties, wraps forms and pictures that carry a layer, and counts what is drawn."""

    def __init__(self, pdf: Any) -> None:
        self.pdf = pdf
        self.marks: list[tuple[tuple[str, ...], bool]] = []
        self.listed: list[tuple[str, bool]] = []
        self.names: dict[tuple[int, int], tuple[str, bool]] = {}
        self.done: dict[tuple[int, int], int] = {}
        self.renamed: set[tuple[int, int]] = set()
        self.total = 0
        held = pdf.Root.get("/OCProperties")
        if held is None:
            return
        default = held.get("/D", {})
        base_off = str(default.get("/BaseState", "/ON")) == "/OFF"
        on = {g.objgen for g in default.get("/ON", [])}
        off = {g.objgen for g in default.get("/OFF", [])}
        for group in list(held.get("/OCGs", []))[:5000]:
            name = " ".join(_words(group.get("/Name", "")).split())
            shown = group.objgen in on if base_off else group.objgen not in off
            self.names[group.objgen] = (name, shown)
            self.listed.append((name, shown))

    def rename_in(self, page: Any, number: int) -> None:
        """Rename the layers of a page and of all forms it draws; refuse pages that draw far too much."""
        resources = _inherited(page, "/Resources")
        if resources is not None and "/Resources" not in page:
            page["/Resources"] = resources
        contents = page.get("/Contents")
        self._size(contents, number)
        uses = self._content(page, resources, number, 0)
        self.total += uses
        if self.total > MOST_FORMS:
            raise Refused(f"forms are drawn in forms more than {MOST_FORMS} times, which is no pattern")

    def _size(self, contents: Any, number: int) -> None:
        """Refuse content that unpacks to far more than any page holds, before it is unpacked whole."""
        import pikepdf

        parts = list(contents) if isinstance(contents, pikepdf.Array) else [contents]
        total = 0
        for part in parts:
            if not isinstance(part, pikepdf.Stream):
                continue
            kinds = part.get("/Filter")
            first = [str(k) for k in kinds] if isinstance(kinds, pikepdf.Array) else [str(kinds)]
            raw = bytes(part.read_raw_bytes())
            if first == ["/FlateDecode"]:
                total += _unpacked(raw, MOST_CONTENT - total)
            else:
                total += len(raw) * (1 if kinds is None else 60)
            if total > MOST_CONTENT:
                raise Refused(
                    f"page {number} unpacks to more than {MOST_CONTENT // 1024**2} MB of drawing, which is no pattern"
                )

    def _content(self, holder: Any, resources: Any, number: int, depth: int) -> int:
        """Rename within a page or form; how many forms are drawn in it, through all levels."""
        import pikepdf

        if depth > MOST_DEPTH:
            raise Refused(f"page {number}: forms lie in forms more than {MOST_DEPTH} levels deep, which is no pattern")
        if not isinstance(resources, pikepdf.Dictionary):
            return 0
        properties = resources.get("/Properties")
        if isinstance(properties, pikepdf.Dictionary):
            self._properties(resources, properties)
        things = resources.get("/XObject")
        if not isinstance(things, pikepdf.Dictionary):
            return 0
        weights: dict[str, int] = {}
        marked: dict[str, str] = {}
        for name, thing in list(things.items()):
            if not isinstance(thing, pikepdf.Stream):
                continue
            if "/OC" in thing:
                mark = self._mark(thing["/OC"])
                if mark is not None:
                    marked[name] = self._add(resources, mark)
            if str(thing.get("/Subtype", "")) != "/Form":
                continue
            key = thing.objgen
            if key not in self.done:
                self.done[key] = 0  # a form that draws itself ends here
                self._size(thing, number)
                own = thing.get("/Resources")
                self.done[key] = self._content(thing, own if own is not None else resources, number, depth + 1)
            weights[name] = 1 + self.done[key]
        if not marked:
            # at most as many as "Do" is written; only where that is too many are they counted one by one
            most = _written_do(holder) * max(weights.values(), default=0)
            if most <= 1000:
                return most
        return self._drawn(holder, weights, marked, number)

    def _properties(self, resources: Any, properties: Any) -> None:
        import pikepdf

        key = properties.objgen
        if key != (0, 0):
            if key in self.renamed:
                return
            self.renamed.add(key)
        elif str(next(iter(properties.keys()), "")).startswith("/NestingLayer"):
            return
        for name, value in list(properties.items()):
            mark = self._mark(value) if isinstance(value, pikepdf.Dictionary) else None
            if mark is not None:
                properties[name] = self._group(mark)

    def _group(self, index: int) -> Any:
        import pikepdf

        return self.pdf.make_indirect(pikepdf.Dictionary(Type=pikepdf.Name.OCG, Name=pikepdf.String(f"L{index}")))

    def _add(self, resources: Any, mark: int) -> str:
        import pikepdf

        if "/Properties" not in resources:
            resources["/Properties"] = pikepdf.Dictionary()
        name = f"/NestingLayer{mark}"
        resources["/Properties"][name] = self._group(mark)
        return name

    def _mark(self, value: Any) -> int | None:
        """The index of the mark for a group or a membership dictionary, None for what is no layer."""
        kind = str(value.get("/Type", ""))
        if kind == "/OCG" or value.objgen in self.names:
            known = self.names.get(value.objgen)
            if known is None:
                name = _words(value.get("/Name", ""))
                if name.startswith("L") and name[1:].isdigit() and int(name[1:]) < len(self.marks):
                    return None
                known = (" ".join(name.split()), True)
            self.marks.append(((known[0],), known[1]))
            return len(self.marks) - 1
        if kind == "/OCMD":
            import pikepdf

            held = value.get("/OCGs")
            groups = list(held) if isinstance(held, pikepdf.Array) else [held] if held is not None else []
            known_ones = [self.names[g.objgen] for g in groups if g is not None and g.objgen in self.names]
            if not known_ones:
                return None
            shown = [one[1] for one in known_ones]
            policy = str(value.get("/P", "/AnyOn"))
            visible = {"/AllOn": all(shown), "/AnyOff": not all(shown), "/AllOff": not any(shown)}.get(
                policy, any(shown)
            )
            self.marks.append((tuple(one[0] for one in known_ones), visible))
            return len(self.marks) - 1
        return None

    def _drawn(self, holder: Any, weights: dict[str, int], marked: dict[str, str], number: int) -> int:
        """Count what is drawn, and write the content anew with marks around what carries a layer."""
        import pikepdf

        operations = pikepdf.parse_content_stream(holder)
        if len(operations) > MOST_OPERATORS:
            raise Refused(f"page {number} has more than {MOST_OPERATORS} drawing commands, which is no pattern")
        total = 0
        written: list[Any] = []
        changed = False
        for operation in operations:
            name = ""
            if str(operation.operator) == "Do" and len(operation.operands) == 1:
                name = str(operation.operands[0])
                total += weights.get(name, 0)
            if name in marked:
                changed = True
                written.append(([pikepdf.Name.OC, pikepdf.Name(marked[name])], pikepdf.Operator("BDC")))
                written.append(operation)
                written.append(([], pikepdf.Operator("EMC")))
            else:
                written.append(operation)
        if changed:
            data = pikepdf.unparse_content_stream(written)
            if isinstance(holder, pikepdf.Stream):
                holder.write(data)
            else:
                holder["/Contents"] = self.pdf.make_stream(data)
        return total


def _written_do(holder: Any) -> int:
    """How often "Do" is written in the content of a page or form."""
    import pikepdf

    contents = holder if isinstance(holder, pikepdf.Stream) else holder.get("/Contents")
    parts = list(contents) if isinstance(contents, pikepdf.Array) else [contents]
    return sum(bytes(part.read_bytes()).count(b"Do") for part in parts if isinstance(part, pikepdf.Stream))


def _words(value: Any) -> str:
    try:
        return str(value)
    except Exception:
        return ""


def _unpacked(raw: bytes, most: int) -> int:
    """How much a deflated stream unpacks to, at most ``most`` + 1; what is damaged counts as far as it goes."""
    engine = zlib.decompressobj()
    total = 0
    feed = raw
    try:
        while feed and total <= most:
            total += len(engine.decompress(feed, 1024 * 1024))
            feed = engine.unconsumed_tail
    except zlib.error:
        return total
    return total
