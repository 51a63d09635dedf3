"""A page of labels to cut apart: one for each garment and wearer, with its pieces from all cloths and its cut trims."""

from __future__ import annotations

from collections.abc import Sequence

from nesting.report.backends.to_pdf import MM, PAPERS, canvas_for, draw_items, finished
from nesting.report.bundles.gathered import GarmentBundle, PieceOf
from nesting.report.drawing import looks
from nesting.report.drawing.fonts import shown, text_width
from nesting.report.drawing.scene import Item, Scene, Shape, Stroke, Text, moved
from nesting.report.drawing.shapes import box_of
from nesting.report.words import long_length

__all__ = ["label_pages", "labels_pdf"]

#: labels on a page: across, down. On A4 each is an A7 (105 × 74 mm, ISO 216).
_ACROSS, _DOWN = 2, 4
#: mm: room inside a label's cutting line
_PAD = 6.0
#: mm: size of the words, and what they may shrink to before the bundle goes on on a second label
_SIZE, _LEAST = 3.5, 2.4


def labels_pdf(
    bundles: Sequence[GarmentBundle], title: str, paper: str, *, imperial: bool, do_not_cut: Sequence[str] = ()
) -> bytes:
    """The labels on pages of ``paper``, to be cut apart along the dashed lines."""
    pages = label_pages(bundles, title, paper, imperial=imperial, do_not_cut=do_not_cut)
    w, h = PAPERS[paper]
    canvas, stream = canvas_for(f"Labels: {title}", w, h)
    for scene in pages:
        canvas.setPageSize((w * MM, h * MM))
        draw_items(canvas, scene)
        canvas.showPage()
    return finished(canvas, stream)


def label_pages(
    bundles: Sequence[GarmentBundle], title: str, paper: str, *, imperial: bool, do_not_cut: Sequence[str] = ()
) -> tuple[Scene, ...]:
    """The pages as scenes, mm, true to size."""
    w, h = PAPERS[paper]
    wide, tall = w / _ACROSS, h / _DOWN
    stop = bool(do_not_cut)
    labels = [part for b in bundles for part in _label(b, title, wide, tall, imperial, stop)]
    pages = []
    each = _ACROSS * _DOWN
    for start in range(0, len(labels), each):
        items: list[Item] = []
        for k, label in enumerate(labels[start : start + each]):
            left, top = (k % _ACROSS) * wide, h - (k // _ACROSS) * tall
            items += [moved(item, left, top) for item in label]
        lines = [((k * wide, 0.0), (k * wide, h)) for k in range(1, _ACROSS)]
        lines += [((0.0, k * tall), (w, k * tall)) for k in range(1, _DOWN)]
        items.append(Shape("square", "measure", tuple(lines), stroke=Stroke("#777777", 0.2, (2.0, 2.0))))
        pages.append(Scene(f"Labels: {title}", (0.0, 0.0, w, h), tuple(items)))
    return tuple(pages)


def _label(b: GarmentBundle, title: str, wide: float, tall: float, imperial: bool, stop: bool) -> list[list[Item]]:
    """The label of a bundle, or several where one does not hold it; each in a frame with its upper left at 0."""
    entries = [_piece_words(p) for p in b.pieces]
    entries += [f"{t.name}: cut {t.count} × {long_length(t.length, imperial)}" for t in b.trims]
    room = wide - 2 * _PAD
    size = _SIZE
    while size > _LEAST and _height(entries, size, room) > _room_down(b, tall, stop):
        size -= 0.1
    pages: list[list[str]] = [[]]
    for entry in entries:
        if pages[-1] and _height([*pages[-1], entry], size, room) > _room_down(b, tall, stop):
            pages.append([])
        pages[-1].append(entry)
    return [_drawn(b, title, wide, tall, lines, size, stop, (n, len(pages))) for n, lines in enumerate(pages, start=1)]


def _piece_words(p: PieceOf) -> str:
    numbers = ", ".join(map(str, p.numbers))
    hand = f" {p.hand}" if p.hand else ""
    return f"{p.count} × {p.piece}{hand}: {p.where}, no. {numbers}"


def _room_down(b: GarmentBundle, tall: float, stop: bool) -> float:
    head = 8.0 + (5.5 if b.wearer else 0.0) + (5.0 if stop else 0.0)
    return tall - 2 * _PAD - head - 4.0


def _height(entries: Sequence[str], size: float, room: float) -> float:
    return sum(len(_wrapped(e, size, room - 1.4 * size)) for e in entries) * 1.25 * size + 0.25 * size * len(entries)


def _wrapped(words: str, size: float, room: float) -> list[str]:
    """Lines no wider than ``room`` mm, broken between words where there are any."""
    lines = [""]
    for word in shown(words).split(" "):
        longer = f"{lines[-1]} {word}" if lines[-1] else word
        if lines[-1] and text_width(longer, size) > room:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def _drawn(
    b: GarmentBundle,
    title: str,
    wide: float,
    tall: float,
    entries: Sequence[str],
    size: float,
    stop: bool,
    part: tuple[int, int],
) -> list[Item]:
    items: list[Item] = []
    room = wide - 2 * _PAD
    y = -_PAD

    def say(words: str, at: float, height: float, bold: bool = False, anchor: str = "start", x: float = _PAD) -> None:
        fitted = min(height, height * room / max(text_width(shown(words), height, bold), 0.1))
        items.append(Text("label", "text", (x, at), shown(words), fitted, anchor=anchor, bold=bold))  # type: ignore[arg-type]

    if stop:
        say("DO NOT CUT YET", y - 3.5, 4.2, True)
        y -= 5.0
    count = f"no. {b.copy} of {b.of}"
    beside = text_width(count, 3.6, True) + 3.0
    name = 5.0 * min(1.0, (room - beside) / max(text_width(shown(b.title), 5.0, True), 0.1))
    items.append(Text("label", "text", (_PAD, y - 4.5), shown(b.title), name, anchor="start", bold=True))
    items.append(Text("label", "text", (wide - _PAD, y - 4.5), count, 3.6, anchor="end", bold=True))
    y -= 8.0
    if b.wearer:
        say(f"for {b.wearer}", y - 2.8, 4.4, True)
        y -= 5.5
    for entry in entries:
        box = box_of(_PAD, y - 0.95 * size, _PAD + 0.85 * size, y - 0.1 * size)
        items.append(Shape("square", "measure", (box,), True, Stroke(looks.INK, 0.25)))
        for line in _wrapped(entry, size, room - 1.4 * size):
            y -= 1.25 * size
            say(line, y + 0.35 * size, size, x=_PAD + 1.4 * size)
        y -= 0.25 * size
    foot = title if part[1] == 1 else f"{title}, label {part[0]} of {part[1]}"
    say(foot, -tall + _PAD - 1.5, 2.4)
    return items
