"""Which size each line of a PDF pattern belongs to: by its layer, by how it is drawn, or by a label beside it.

A *token* is what stands for a size: S, XL, 38, "Size 12", "Größe M". A *class* is a way of drawing: dash, colour and,
where these do not differ, width.
"""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from nesting.files.drawn import outline
from nesting.files.drawn.context import Context
from nesting.files.drawn.texts import LETTER_SIZES
from nesting.files.drawn.vocabulary import Role, read_role
from nesting.outlines.pdf_sheets import PdfLine, PdfText, Style

__all__ = ["Sized", "sizes_of", "token_of"]

_PREFIX = r"(?:size|sizes|sz|gr(?:ö|oe)(?:ß|ss)en?|gr|taille|talla|maat|eu|us|uk|fr|de)"
_LETTERS = "|".join(sorted(LETTER_SIZES, key=len, reverse=True))
_TOKEN = re.compile(rf"^(?:{_PREFIX}\s*[.:_-]?\s*)?({_LETTERS}|\d{{1,3}})$", re.I)
_IN_WORDS = re.compile(rf"\b{_PREFIX}\s*[.:_-]?\s*({_LETTERS}|\d{{1,3}})\b", re.I)
_LIST = re.compile(rf"(?<![\w.,])((?:{_LETTERS}|\d{{1,3}})(?:\s*[-–—/,|·+&]\s*(?:{_LETTERS}|\d{{1,3}}))+)(?![\w.,]\w)")
#: mm. A size written on its line stands this near; a legend's words stand this near their sample.
_LABEL_MM = 8.0
_LEGEND_MM = 30.0
#: mm. Lines of a class must reach this far to be outlines and not marks; samples in a legend are shorter.
_LONG_MM = 45.0


@dataclass(frozen=True)
class Sized:
    """For each line (by index) its size, none for what is common; ``order`` the sizes from small to large, ``legend``
    the lines and ``labels`` the texts (by index) that only told the sizes, ``how`` what told them."""

    size: dict[int, str]
    order: tuple[str, ...] = ()
    legend: frozenset[int] = frozenset()
    labels: frozenset[int] = frozenset()
    how: str = ""


def token_of(words: str) -> str | None:
    """The size that words stand for and nothing else, None if they say anything else or no size."""
    found = _TOKEN.match(" ".join(words.split()))
    return found[1].upper() if found else None


def sizes_of(lines: Sequence[PdfLine], roles: Sequence[Role | None], texts: Sequence[PdfText], ctx: Context) -> Sized:
    """The size of each line, as far as anything tells it; empty where the pattern has one size."""
    by_layer = _by_layer(lines)
    if by_layer is not None:
        return by_layer
    candidates = [
        i for i, line in enumerate(lines) if roles[i] in (None, "cut") and line.style.stroked and line.round is None
    ]
    long = [i for i in candidates if _reach(lines[i]) >= _LONG_MM]
    classes = _classes(lines, long)
    if len(classes) > 1:
        found = _by_legend(lines, candidates, classes, texts) or _by_labels(lines, classes, texts)
        found = found or _by_list(lines, classes, texts, ctx)
        if found is not None:
            return found
    return _by_label_alone(lines, long, texts) or Sized({})


def _reach(line: PdfLine) -> float:
    x0, y0, x1, y1 = outline.box(line.points)
    return math.hypot(x1 - x0, y1 - y0)


def _by_layer(lines: Sequence[PdfLine]) -> Sized | None:
    names = list(dict.fromkeys(name for line in lines for name in line.layers))
    known: dict[str, str] = {}
    for name in names:
        words = " ".join(re.split(r"[\s_]+", name.strip()))
        if read_role(words) is not None:
            continue
        token = token_of(words)
        if token is None and (found := _IN_WORDS.search(words)):
            token = found[1].upper()
        if token is not None:
            known[name] = token
    if not known:
        # "front-38", "front-40": layers that differ in one word only, which could be a size
        apart: dict[str, dict[str, str]] = defaultdict(dict)
        for name in names:
            found = re.match(rf"^(.*?)[\s_.-]+({_LETTERS}|\d{{2,3}})$", name.strip())
            if found:
                apart[found[1]][name] = found[2].upper()
        for same in apart.values():
            if len(same) > 1:
                known.update(same)
    if not known or (
        len(known) == 1 and all(n in known or read_role(n) for n in names) and next(iter(known)).isdigit()
    ):
        return None
    size: dict[int, str] = {}
    for i, line in enumerate(lines):
        mine = [known[name] for name in line.layers if name in known]
        if mine:
            size[i] = mine[-1]
    return Sized(size, _sorted(set(size.values())), how="their layers") if size else None


def _sorted(sizes: set[str]) -> tuple[str, ...]:
    def key(size: str) -> tuple[int, float, str]:
        letters = re.fullmatch(r"(\d?)(X*)([SML])", size)
        if letters:
            steps = (int(letters[1]) if letters[1] else len(letters[2])) + 1
            return (0, 0.0 if letters[3] == "M" else steps * (1.0 if letters[3] == "L" else -1.0), size)
        return (1, float(size) if size.isdigit() else 0.0, size)

    return tuple(sorted(sizes, key=key))


def _class_of(style: Style, widths: bool) -> tuple[object, ...]:
    dash = tuple(round(d, 1) for d in style.dash)
    colour = tuple(c // 8 for c in style.colour)
    return (dash, colour, round(style.width, 2)) if widths else (dash, colour)


def _classes(lines: Sequence[PdfLine], long: Sequence[int]) -> dict[tuple[object, ...], list[int]]:
    """Ways of drawing among the long lines. Widths count only where nothing else differs."""
    found: dict[tuple[object, ...], list[int]] = {}
    for widths in (False, True):
        found = defaultdict(list)
        for i in long:
            found[_class_of(lines[i].style, widths)].append(i)
        if len(found) > 1:
            break
    return dict(found)


def _class_keys(
    lines: Sequence[PdfLine], classes: dict[tuple[object, ...], list[int]], indices: Sequence[int]
) -> dict[int, tuple[object, ...]]:
    widths = len(next(iter(classes))) == 3
    return {i: key for i in indices if (key := _class_of(lines[i].style, widths)) in classes}


def _by_legend(
    lines: Sequence[PdfLine],
    candidates: Sequence[int],
    classes: dict[tuple[object, ...], list[int]],
    texts: Sequence[PdfText],
) -> Sized | None:
    """Short straight samples with a size written beside each."""
    samples = [
        i for i in candidates if not lines[i].closed and len(lines[i].points) == 2 and 4.0 <= _reach(lines[i]) <= 90.0
    ]
    tokens = [(k, t, token) for k, t in enumerate(texts) if (token := token_of(t.text) or _worded(t.text)) is not None]
    keys = _class_keys(lines, classes, samples)
    told: dict[tuple[object, ...], tuple[str, int, int, float]] = {}
    for i, key in keys.items():
        x0, y0, x1, y1 = outline.box(lines[i].points)
        for k, text, token in tokens:
            level = abs(text.at[1] - (y0 + y1) / 2) <= max(4.0, 0.9 * text.height)
            gap = max(text.box[0] - x1 - (text.box[0] + text.box[2]) / 2 + text.at[0], 0.0)
            width = text.box[2] - text.box[0]
            gap = min(abs(text.at[0] - width / 2 - x1), abs(x0 - text.at[0] - width / 2))
            if level and gap <= _LEGEND_MM and (key not in told or gap < told[key][3]):
                told[key] = (token, i, k, gap)
    if len(told) < 2 or len({one[0] for one in told.values()}) < len(told):
        return None
    legend = frozenset(one[1] for one in told.values())
    everyone = _class_keys(lines, classes, candidates)
    size = {i: told[key][0] for i, key in everyone.items() if key in told and i not in legend}
    return Sized(size, _sorted(set(size.values())), legend, frozenset(one[2] for one in told.values()), "its legend")


def _worded(words: str) -> str | None:
    found = _IN_WORDS.search(words)
    return found[1].upper() if found and len(words) < 40 and len(_IN_WORDS.findall(words)) == 1 else None


def _labels_near(
    lines: Sequence[PdfLine], indices: Sequence[int], texts: Sequence[PdfText]
) -> list[tuple[int, str, int, float]]:
    """For each size that stands on or beside a line: text, size, the nearest line, and how far off it is."""
    found = []
    for k, text in enumerate(texts):
        token = token_of(text.text)
        if token is None:
            continue
        best = min(
            ((outline.nearest(lines[i].points, text.at, lines[i].closed).away, i) for i in indices),
            default=(math.inf, -1),
        )
        if best[0] <= max(_LABEL_MM, 1.5 * text.height):
            found.append((k, token, best[1], best[0]))
    return found


def _by_labels(
    lines: Sequence[PdfLine], classes: dict[tuple[object, ...], list[int]], texts: Sequence[PdfText]
) -> Sized | None:
    """Sizes written along lines of different classes: each class has the size that most of its labels say."""
    everyone = [i for same in classes.values() for i in same]
    keys = _class_keys(lines, classes, everyone)
    votes: dict[tuple[object, ...], Counter[str]] = defaultdict(Counter)
    used = set()
    for k, token, i, _ in _labels_near(lines, everyone, texts):
        votes[keys[i]][token] += 1
        used.add(k)
    told = {key: counts.most_common(1)[0][0] for key, counts in votes.items()}
    if len(told) < 2 or len(set(told.values())) < len(told):
        return None
    size = {i: told[key] for i, key in keys.items() if key in told}
    return Sized(size, _sorted(set(size.values())), frozenset(), frozenset(used), "the sizes written along them")


def _by_list(
    lines: Sequence[PdfLine], classes: dict[tuple[object, ...], list[int]], texts: Sequence[PdfText], ctx: Context
) -> Sized | None:
    """A list of as many sizes as there are classes of closed outlines ("Sizes S-M-L"): the smaller, the smaller."""
    areas: dict[tuple[object, ...], float] = {}
    for key, same in classes.items():
        rings = [abs(outline.area(lines[i].points)) for i in same if lines[i].closed]
        if rings:
            areas[key] = sum(rings)
    for k, text in enumerate(texts):
        for found in _LIST.finditer(text.text):
            tokens = [t.upper() for t in re.split(r"\s*[-–—/,|·+&]\s*", found[1])]
            if len(tokens) != len(set(tokens)) or len(tokens) != len(areas) or len(tokens) < 2:
                continue
            order = _sorted(set(tokens))
            told = dict(zip(sorted(areas, key=lambda key: areas[key]), order, strict=True))
            size = {i: told[key] for key, same in classes.items() if key in told for i in same}
            ctx.note(
                "question",
                f"the sizes {', '.join(order)} were given to its kinds of line by how large their outlines are, as "
                f"nothing says which is which: is the smallest {order[0]}?",
                code="pdf.sizes-by-area",
            )
            return Sized(size, order, frozenset(), frozenset({k}), "a list of sizes")
    return None


def _by_label_alone(lines: Sequence[PdfLine], long: Sequence[int], texts: Sequence[PdfText]) -> Sized | None:
    """Outlines drawn alike, each with its size written on it."""
    near = _labels_near(lines, long, texts)
    if len({token for _, token, _, _ in near}) < 2:
        return None
    best: dict[int, tuple[float, str]] = {}
    for _, token, i, away in near:
        if i not in best or away < best[i][0]:
            best[i] = (away, token)
    size = {i: token for i, (_, token) in best.items()}
    if len(set(size.values())) < 2:
        return None
    used = frozenset(k for k, _, _, _ in near)
    return Sized(size, _sorted(set(size.values())), frozenset(), used, "the sizes written beside them")
