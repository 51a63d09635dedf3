"""The report page, the terminal summary, the JSON summary and the names of the files."""

from __future__ import annotations

import io
import json
import re
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pdfplumber
import pytest
from rich.console import Console

from nesting.model.errors import InputError
from nesting.model.findings import Finding
from nesting.model.lay import Lay
from nesting.model.order import Cloth, CutPiece, Garment, Order
from nesting.model.units import parse_length
from nesting.proof.verdict import Failure, Verdict
from nesting.report.html.shopping import shopping
from nesting.report.html.summary import above_bound, above_words, cost, summary_dict
from nesting.report.print.drawn_files import KINDS, lay_outputs, print_outputs, sheet_output
from nesting.report.terminal.terminal import summary
from nesting.report.words import TRIED_WORDS, least_length, reason_words, shop_length, slug
from nesting.resolving.resolve import resolve
from tests.report import samples
from tests.report.html.pages import report_page

_VOID = {"meta", "br", "link", "img", "input", "hr"}


class _Balanced(HTMLParser):
    """Checks that elements are closed in order; collects headings, text and attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.headings: list[str] = []
        self.text = ""
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in _VOID:
            self.open.append(tag)
        if tag == "h2":
            self.headings.append("")
        self.links += [v or "" for k, v in attrs if k in ("src", "href", "xlink:href")]

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        pass

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data
        if self.open and self.open[-1] == "h2":
            self.headings[-1] += data


#: what a plan of leftovers shows, with next to nothing in it
PLAN = {"head": "The plan", "made": [], "proof": "", "reason": "", "uses": [], "unbound": [], "unused": "",
        "pictures": [], "to_buy": [], "refused": []}  # fmt: skip


def parsed(page: bytes) -> _Balanced:
    """The page's headings and text; fails if an element is not closed."""
    found = _Balanced()
    found.feed(page.decode("utf-8"))
    assert found.open == []
    return found


def order_for(lay: Lay, price: float | None = None, nap: str = "none") -> Order:
    """An order just large enough for what the report reads from it."""
    pieces = {(p.piece, p.size) for p in lay.placements}
    return Order(
        title=lay.title,
        units="cm",
        path=None,
        sha256="",
        pieces=tuple(CutPiece(samples.band(n, s, 100.0, 40.0), None) for n, s in sorted(pieces, key=str)),
        cloths=(Cloth("main", 1500.0, price=price, nap=nap),),  # type: ignore[arg-type]
        garments=tuple(
            Garment("g", size, 1, tuple(n for n, s in sorted(pieces, key=str) if s == size))
            for size in {s for _, s in pieces}
        ),
        findings=(
            Finding("repaired", "two ends 0.3 mm apart were joined", "front.svg", "front", code="outline.gap-closed"),
        ),
    )


def test_report_says_the_answer_first_then_in_order() -> None:
    """Buy this much and cut this way, then lay, sheet, what was considered and refused, findings and cautions."""
    lay = samples.lengthwise_lay()
    page = report_page([lay], order_for(lay, 14.9), extra=[("trims", {"needs": [], "practice": False})])
    found = parsed(page)
    assert found.headings == [
        "By garment", "The lay: main", "Placement sheet: main", "Trims", "Considered and refused",
        "Findings and cautions",
    ]  # fmt: skip
    body = found.text[found.text.index("</style>") if "</style>" in found.text else 0 :]
    assert body.index("Buy 1.5 m") < body.index("lengthwise fold") < body.index("By garment")
    assert "22.35" in body  # 1.5 m at 14.90 a metre
    assert "refused: the nap would run against itself" in body
    assert "two ends 0.3 mm apart were joined" in body and "maker's manual" in body


def test_report_is_self_contained() -> None:
    """Nothing is fetched: no scripts, no links, no fonts, no images from elsewhere."""
    text = report_page([samples.partial_lay(), samples.remnant_lay()], None).decode()
    assert parsed(text.encode()).links == []
    assert "<script" not in text and "@import" not in text and "url(" not in text
    assert set(re.findall(r"https?://[^\"'\s<]+", text)) <= {"http://www.w3.org/2000/svg"}
    assert "@media print" in text
    ids = re.findall(r'\bid="([^"]+)"', text)
    assert len(ids) == len(set(ids))


def test_several_lays_and_a_leftover() -> None:
    """Each cloth has its own answer, lay and sheet; a leftover costs nothing."""
    found = parsed(report_page([samples.partial_lay(), samples.remnant_lay()], None))
    assert [h for h in found.headings if h.startswith("The lay")] == ["The lay: main", "The lay: scrap-1"]
    assert "From scrap-1" in found.text and "leftover scrap-1" in found.text


def test_a_plan_from_leftovers_says_the_plan_first() -> None:
    """Where all lays are on leftovers the plan's section is the first thing on the page, and no yardage is shown."""
    found = parsed(report_page([samples.remnant_lay()], None, extra=[("plan of leftovers", PLAN)]))
    assert found.headings[:3] == ["From leftovers", "The lays", "The lay: scrap-1"]
    assert found.text.index("The plan") < found.text.index("The lays")
    assert "cloth each" not in found.text and "Nothing to buy" not in found.text


def test_a_printed_lay_fits_the_page(tmp_path: Path) -> None:
    """A lay of over 6 m, printed by a browser: its farther edge is on the page (a PDF page's right end in points)."""
    browser = shutil.which("chromium")
    if browser is None:
        pytest.skip("no chromium here to print with")
    lay = samples.hundred_lay()
    (tmp_path / "report.html").write_bytes(report_page([lay], None))
    out = tmp_path / "report.pdf"
    command = [browser, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path / 'profile'}"]
    command += [f"--print-to-pdf={out}", (tmp_path / "report.html").as_uri()]
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    with pdfplumber.open(out) as pdf:
        page = next(p for p in pdf.pages if "The lay: main" in (p.extract_text() or ""))
        assert page.width > page.height
        right = [item["x1"] for kind in (page.rects, page.curves, page.lines) for item in kind]
        assert 0.85 * page.width < max(right) < page.width


def test_a_weak_bound_is_not_shown() -> None:
    """A lay more than 60 % above its lower bound says nothing about it; one nearer tells by how much at most."""
    lay = samples.open_lay()
    weak, strong = (replace(lay, lower_bound=lay.lay_length / share) for share in (1.61, 1.25))
    assert above_bound(weak) is None and above_bound(strong) == pytest.approx(0.25)
    assert "no lay is shorter" not in parsed(report_page([weak], None)).text
    assert "at most 25.0 % longer" in parsed(report_page([strong], None)).text
    best = parsed(report_page([replace(lay, lower_bound=lay.lay_length)], None)).text
    assert "this one is as short" in best and "% longer" not in best


@pytest.mark.parametrize("imperial", [False, True])
@pytest.mark.parametrize("bound", [591.6, 1000.0, 999.9999999, 0.99 * 25.4, 812.8, 1234.56])
def test_what_is_said_to_be_least_is_no_more_than_was_proved(bound: float, imperial: bool) -> None:
    """As printed it is never above the bound, and less than a millimetre, or a sixteenth of an inch, below."""
    said = least_length(bound, imperial)
    mm = parse_length(said, "mm")
    step = 25.4 / 16 if imperial else 1.0
    assert bound - step < mm <= bound + 1e-5


def test_at_most_so_much_longer_holds_as_printed() -> None:
    """1031.4 over 1000 mm is 3.14 %: "at most 3.1 %" would be false. As short is only what is as short."""
    base = replace(samples.open_lay(), lower_bound=1000.0)
    for length, words in (
        (1031.4, "at most 3.2 % longer"), (1030.0, "at most 3.0 % longer"), (1000.3, "at most 0.1 % longer"),
        (1000.01, "as short"), (1700.0, ""),
    ):  # fmt: skip
        said = above_words(replace(base, lay_length=length))
        assert words in said and bool(said) == bool(words)


def test_the_reason_of_a_fold_tells_of_cloth_opened_out() -> None:
    """On a crosswise fold half of a piece's length bounds the lay: no piece is as short as that."""
    lay = replace(samples.open_lay(), bound_reason="“panel 1” alone is that long, however it may lie")
    assert reason_words(lay) == "“panel 1” alone is that long, however it may lie"
    (one,) = lay.sections
    crosswise = replace(one, spread=replace(one.spread, kind="crosswise fold", layers=2))
    told = reason_words(replace(lay, sections=(crosswise,)))
    assert told == "its 2 lengths of cloth opened out: “panel 1” alone is that long, however it may lie"


def test_the_shop_list_adds_up() -> None:
    """Two cloths at 14.90 and 10.00 a metre: 1.5 m are 22.35 and 15.00, in all 37.35; one without a price is named."""
    lay = replace(samples.lengthwise_lay(), buy_length=1500.0)
    order = replace(order_for(lay), cloths=(Cloth("main", 1500.0, price=14.9), Cloth("lining", 1400.0, price=10.0)))
    lays = [lay, replace(lay, cloth="lining")]
    text = " ".join(parsed(report_page(lays, order)).text.split())
    assert "Take to the shop: 1.5 m of main, 1.5 m of lining; in all 37.35." in text
    order = replace(order, cloths=(order.cloths[0], Cloth("lining", 1400.0)))
    found = shopping(lays, resolve(order))
    assert found is not None and (found.total, found.unpriced) == ("22.35", ("lining",))
    assert shopping(lays[:1], resolve(order)) is None and shopping(lays, None) is None


def test_names_cannot_break_the_page_or_the_drawing() -> None:
    """Markup and control characters in names are shown as text, in the page and in the drawing inside it."""
    lay = samples.open_lay()
    bad = '<b>&"x"</b>\x07 $1$'
    section = lay.sections[0]
    placements = tuple(replace(p, piece=bad) for p in section.placements)
    lay = replace(lay, title=bad, cloth=bad, sections=(replace(section, placements=placements),))
    page = report_page([lay], None)
    parsed(page)
    assert b'<b>&"x"' not in page and b"\x07" not in page
    files = {**lay_outputs(lay), **sheet_output(lay)}
    assert set(files) == {"lay-b-x-b-1.svg", "lay-b-x-b-1.png", "sheet-b-x-b-1.pdf"}
    from xml.etree import ElementTree

    ElementTree.fromstring(files["lay-b-x-b-1.svg"])


def test_verdict_is_told() -> None:
    """A passed proof is said; a failed one is named, and such a lay is not drawn."""
    lay = samples.open_lay()
    good = Verdict((), 22, 22, lay.lay_length, lay.buy_length, lay.utilisation)
    assert "passed" in parsed(report_page([lay], None, verdicts={0: good})).text
    bad = replace(good, failures=(Failure("overlap", "two pieces share cloth", "front leg M"),))
    assert "two pieces share cloth" in parsed(report_page([lay], None, verdicts={0: bad})).text
    with pytest.raises(ValueError, match="failed its proof"):
        lay_outputs(lay, None, bad)


def test_arrows_show_whether_a_piece_may_lie_either_way() -> None:
    """Two heads where the order allows both ways (the second hollow), one with nap or without an order."""
    from nesting.report.drawing.drawing import lay_scene
    from nesting.report.drawing.scene import Shape

    lay = samples.open_lay()

    def tails(order: Order | None) -> int:
        listed = resolve(order) if order else None
        return sum(isinstance(s, Shape) and s.kind == "tail" for s in lay_scene(lay, None, listed).items)

    assert tails(order_for(lay)) == len(lay.placements)
    assert tails(order_for(lay, nap="one way")) == tails(None) == 0


def test_terminal_summary() -> None:
    """Length to buy, per garment, for the batch, used share, bound, and the spreads that were tried or refused."""
    lay = samples.lengthwise_lay()
    stream = io.StringIO()
    Console(file=stream, width=100).print(summary([lay, samples.remnant_lay()], resolve(order_for(lay, 14.9))))
    text = " ".join(stream.getvalue().split())
    for words in ("Buy 1.5 m of main", "71.0 %", "no lay is shorter than 1.156 m", "31.0 cm", "batch", "155.0 cm",
                  "costs 22.35",
                  "← taken", "refused: the nap would run against itself", "Leftover scrap-1"):  # fmt: skip
        assert words in text, words


def test_json_summary_is_plain_and_in_mm() -> None:
    """It survives JSON and holds what the lay holds."""
    lay = samples.partial_lay()
    order = order_for(lay, 10.0)
    document = json.loads(
        json.dumps(summary_dict([lay, samples.remnant_lay()], resolve(order), findings=order.findings), allow_nan=False)
    )
    first, second = document["lays"]
    assert document["units"] == "mm" and len(document["findings"]) == 1
    assert first["lay_length"] == lay.lay_length and first["buy_length"] == lay.buy_length
    assert first["cost"] == pytest.approx(lay.buy_length / 100)
    assert first["depths"] == [[260.0]] and first["placements"] == 13
    assert second["buy_length"] == 0.0 and second["cost"] is None and second["remnant"] == "scrap-1"
    assert first["offcuts"] and all(o["length"] >= 80 and o["width"] >= 80 for o in first["offcuts"])


def test_cost_by_the_yard() -> None:
    """A price per yard counts yards of 0.9144 m (international yard and pound agreement, 1959)."""
    lay = replace(samples.inches_lay(), cloth="main", buy_length=914.4 * 1.875)
    order = order_for(lay)
    order = replace(order, cloths=(Cloth("main", 1500.0, price=8.0, price_unit=914.4),))
    assert cost(lay, resolve(order)) == pytest.approx(15.0)
    assert cost(lay, None) is None


def test_shop_length_never_says_less() -> None:
    """What is said in the shop is at least what is needed."""
    assert shop_length(1500.0, False) == "1.5 m"
    assert shop_length(1506.2, False) == "1.507 m"
    assert shop_length(914.4 * 1.375, True) == "1 3/8 yd"


def test_file_names() -> None:
    """Names of cloths become safe file names; kinds and papers are checked."""
    assert slug("Main jersey / navy") == "main-jersey-navy"
    assert slug("Žerzej č. 2") == "žerzej-č-2" and slug("../..") == "cloth"
    lay = samples.inches_lay()
    assert set(lay_outputs(lay) | sheet_output(lay)) == {
        f"{k}-main-jersey-navy.{e}" for k, e in (("lay", "svg"), ("lay", "png"), ("sheet", "pdf"))
    }
    files = print_outputs(lay, KINDS, "letter")
    assert {"sheet-main-jersey-navy-letter.pdf", "whole-main-jersey-navy.pdf", "tiles-main-jersey-navy-letter.pdf",
            "projector-main-jersey-navy.pdf", "cut-main-jersey-navy.txt"} <= set(files)  # fmt: skip
    assert all(content for content in files.values())
    with pytest.raises(InputError, match="poster"):
        print_outputs(lay, ["poster"])
    with pytest.raises(InputError, match="nothing"):
        print_outputs(lay, [])
    with pytest.raises(InputError, match="a7"):
        print_outputs(lay, ["whole"], "a7")


def test_outputs_are_the_same_every_time() -> None:
    """Same lay, same bytes, in every kind."""
    a, b = (print_outputs(samples.double_lay(), KINDS) for _ in range(2))
    assert a.keys() == b.keys()
    assert [k for k in a if a[k] != b[k]] == []


def test_a_table_of_spreads_says_how_its_lengths_were_found() -> None:
    """In the report and in the terminal, once above each table: far longer rows are no facts about the spread."""
    lay = samples.open_lay()
    assert lay.tried and lay.lay_length - lay.lower_bound > 1.0
    least = "The lay that is taken cannot be shorter, but for less than a millimetre"
    # a lay that is as short as its bound is not said to become shorter; one that is 0.6 mm longer may
    for bound, words in ((lay.lower_bound, TRIED_WORDS), (lay.lay_length - 0.6, TRIED_WORDS), (lay.lay_length, least)):
        one = replace(lay, lower_bound=bound)
        assert report_page([one], None).decode("utf-8").count(words) == 1
        console = Console(width=200, record=True, file=io.StringIO())
        console.print(summary([one]))
        said = console.export_text()
        assert said.count(words) == 1 and (words == TRIED_WORDS) == (TRIED_WORDS in said)
