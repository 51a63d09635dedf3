"""Photographs of known outlines become those outlines, within the promised error; what cannot serve is refused."""

from __future__ import annotations

import io
import sys
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pikepdf
import pytest
import shapely
from shapely import affinity
from typer.testing import CliRunner

from nesting.cli.app import app
from nesting.files.patterns import read_pieces
from nesting.model.errors import InputError, PatternError
from nesting.outlines import photo_markers
from nesting.outlines.mat import Bars, corner_points
from nesting.outlines.mat_pdf import mat_pdf
from nesting.outlines.photo_bundle import _resting
from nesting.outlines.photo_markers import find_sheets
from nesting.outlines.photo_reading import Picture, read_picture
from nesting.outlines.scan import Measured
from nesting.outlines.trace import Tap, Traced, trace_photos, trace_scan
from nesting.outlines.trace_answers import Answers, questions
from nesting.outlines.trace_svg import preview_png, traced_svg
from tests.outlines.pdf_makers import by_reportlab, front
from tests.outlines.scenes import Scene, Shot, as_bytes, random_scene, render


def half_front() -> np.ndarray:
    """Half a front of 220 × 260 mm: fold, waist, side, leg curve, crotch."""
    t = np.linspace(0, 1, 120)[1:-1, None]
    a, b, c, d = (np.array(p, float) for p in ((60, -130), (70, -20), (120, 20), (180, 50)))
    leg = (1 - t) ** 3 * a + 3 * t * (1 - t) ** 2 * b + 3 * t * t * (1 - t) * c + t**3 * d
    ring = np.concatenate([[(0, -130), (60, -130)], leg, [(180, 50), (175, 130), (0, 130)]])
    return ring - (90, 0)


SCENE = Scene(half_front(), seed=5, ground="wood", tilt=12, distortion=0.03, decentre=0.008, megapixels=3, bow=0.0)


@lru_cache(maxsize=1)
def shot() -> Shot:
    """The scene's photograph."""
    return render(SCENE)


@lru_cache(maxsize=1)
def traced() -> Traced:
    """What is read of it."""
    return trace_photos([shot().jpeg], bars=Bars(), taps=[Tap(*shot().tap)])


def off(found: tuple[tuple[float, float], ...], true: np.ndarray) -> float:
    """Largest distance both ways, mm, in the best position found by turning in small steps and shifting."""
    from scipy.optimize import minimize

    target = shapely.LinearRing(true)
    ring = np.array(found) - np.array(shapely.Polygon(found).centroid.coords[0])
    at = np.array(shapely.Polygon(true).centroid.coords[0])

    def placed(v: np.ndarray) -> shapely.Polygon:
        turned = affinity.rotate(shapely.Polygon(ring), v[2], origin=(0, 0))
        return affinity.translate(turned, at[0] + v[0], at[1] + v[1])

    def cost(v: np.ndarray) -> float:
        return float((shapely.distance(target, shapely.points(placed(v).exterior.coords[::7])) ** 2).mean())

    start = min(range(0, 360, 4), key=lambda deg: cost(np.array([0, 0, deg])))
    best = minimize(cost, [0, 0, start], method="Nelder-Mead", options={"maxiter": 300, "xatol": 1e-4, "fatol": 1e-8})
    ring_found = placed(best.x).exterior
    dense = shapely.points(shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(true), 1.0)))
    other = shapely.points(shapely.get_coordinates(shapely.segmentize(ring_found, 1.0)))
    return float(max(shapely.distance(ring_found, dense).max(), shapely.distance(target, other).max()))


def test_the_mat_measures_what_its_bars_say() -> None:
    """Corners of the printed board, found in a flat rendering of the PDF, lie 30 mm apart, on Letter too."""
    import pypdfium2

    for paper in ("a4", "letter"):
        page = pypdfium2.PdfDocument(mat_pdf(paper=paper))[2]  # type: ignore[arg-type]
        grey = cv2.cvtColor(np.asarray(page.render(scale=300 / 72).to_numpy())[:, :, :3], cv2.COLOR_BGR2GRAY)
        (sheet,) = find_sheets(grey)
        assert sheet.number == 2 and len(sheet.drawn) == 35
        per = 25.4 / 300
        spans = np.ptp(sheet.pixels, axis=0) * per
        assert spans == pytest.approx(np.ptp(corner_points(), axis=0), abs=0.1)


def test_a_sheet_seen_in_part_is_looked_at_again_where_it_lies(monkeypatch: pytest.MonkeyPatch) -> None:
    """On checked cloth a scrap hides a third of a sheet: what is left is found without the whole picture once more."""
    import pypdfium2

    document = pypdfium2.PdfDocument(mat_pdf(paper="a4"))
    sheets = [
        cv2.cvtColor(np.asarray(document[k].render(scale=150 / 72).to_numpy())[:, :, :3], cv2.COLOR_BGR2GRAY)
        for k in range(4)
    ]
    h, w = sheets[0].shape
    rows, columns = np.mgrid[0 : 3 * h, 0 : 4 * w] // 18
    cloth = (120 + 90 * ((rows + columns) % 2)).astype(np.uint8)
    for k, sheet in enumerate(sheets):
        top, left = (k // 2) * (2 * h - 40) + 20, (k % 2) * (3 * w - 40) + 20
        cloth[top : top + h, left : left + w] = sheet
    cloth[20 : 20 + h // 2, 20 : 20 + w * 2 // 3] = 200
    looked: list[int] = []
    plain = photo_markers._markers

    def counted(grey: np.ndarray, *rest: object, **more: object) -> object:
        looked.append(grey.size)
        return plain(grey, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(photo_markers, "_markers", counted)
    seen = find_sheets(cloth)
    assert [s.number for s in seen] == [0, 1, 2, 3]
    assert all(len(s.drawn) == 35 for s in seen[1:]) and 12 <= len(seen[0].drawn) < 30
    assert looked[0] == cloth.size and 0 < sum(looked[1:]) < cloth.size / 5


def test_the_outline_lies_within_half_a_millimetre_and_the_promise_holds() -> None:
    """A wooden table, 12° aside, 3 % distortion off the middle: within the bars and within what is promised."""
    (piece,) = traced().pieces
    error = off(piece.outline, SCENE.outline)
    assert error <= min(0.5, piece.error)
    assert piece.error <= max(4 * error, 1.2)
    assert piece.area == pytest.approx(shapely.Polygon(SCENE.outline).area, rel=0.003)
    assert sorted(straight for _, straight in piece.runs) == [False, True, True, True, True]


def test_sheets_that_are_bowed_rest_on_the_table_with_their_lowest_place() -> None:
    """A dome's middle is as high as its rim lies lower, a bowl's on the table; worked by hand: 0.9 mm by the square
    of 1.2, half the sheet in halves of the board. A piece between domes 2 mm high then comes out no smaller than it is:
    by 0.35 % while sheets were thought to lie as deep as high."""
    dome, bowl, tilted = ((0, 0, 0, 0, by, 0) for by in (-0.9, 0.9, 0.0))
    assert _resting(np.array(dome)) == pytest.approx(0.9 * 1.2**2)
    assert _resting(np.array(bowl)) == pytest.approx(0.0)
    assert _resting(np.array((0, 0.5, *tilted[2:]))) == pytest.approx(0.5 * 1.15)
    scene = replace(SCENE, bow=2.0, tilt=6, seed=7, ground="plain")
    bowed = render(scene)
    (piece,) = trace_photos([bowed.jpeg], bars=Bars(), taps=[Tap(*bowed.tap)]).pieces
    assert piece.area == pytest.approx(shapely.Polygon(scene.outline).area, rel=0.002)
    assert off(piece.outline, scene.outline) <= 0.2


def test_a_wrong_bar_is_a_wrong_size() -> None:
    """The scale comes from the bars: half a percent more makes the piece half a percent larger."""
    (more,) = trace_photos([shot().jpeg], bars=Bars(180.9, 241.2), taps=[Tap(*shot().tap)], marks=False).pieces
    assert more.area == pytest.approx(traced().pieces[0].area * 1.005**2, rel=5e-4)


def test_it_is_found_without_a_tap() -> None:
    """The one piece between the sheets is found alone."""
    found = trace_photos([shot().jpeg], bars=Bars(), marks=False)
    assert len(found.pieces) == 1
    assert off(found.pieces[0].outline, SCENE.outline) <= 0.5


def test_questions_are_asked_and_the_drawing_is_read_with_its_error(tmp_path: Path) -> None:
    """Line, fold and grain are asked; once answered, the reader finds the piece, its fold and its error."""
    (piece,) = traced().pieces
    codes = [q.code for q in questions(piece, Answers("front"))]
    assert codes[:2] == ["trace.line", "trace.fold"] and codes[-1] == "trace.grain"
    fold = max(range(len(piece.runs)), key=lambda k: np.ptp(piece.runs[k][0], axis=0).max() * piece.runs[k][1])
    said = Answers("front", "M", "cut", str(fold + 1), "none", "fold")
    assert questions(piece, said) == ()
    path = tmp_path / "pieces.svg"
    path.write_text(traced_svg(traced(), [said]), "utf-8")
    reading = read_pieces(path)
    (read,) = reading.pieces
    assert (read.name, read.size) == ("front", "M")
    assert read.error == pytest.approx(piece.error, abs=0.011) and read.error >= piece.error - 1e-9
    assert read.origin == "photograph picture 1"
    assert read.fold is not None and np.linalg.norm(np.subtract(*read.fold)) == pytest.approx(260, abs=1.0)
    assert any(f.code == "piece.traced" for f in reading.findings)
    with pytest.raises(InputError):
        traced_svg(traced(), [replace(said, fold="99")])
    assert preview_png(traced())[:4] == b"\x89PNG"


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"blur": 7.0}, "picture.blurred"),
        ({"ground": "white", "paper": "white", "shadow": 0.0}, "trace.no-piece"),
        ({"ground": "checks"}, "trace.no-piece"),
        ({"tilt": 60.0}, "picture.tilted"),
        ({"sheets": 0}, "mat.not-seen"),
    ],
)
def test_what_cannot_serve_is_refused(change: dict[str, object], code: str) -> None:
    """Blur, paper on like ground, from too far aside, no mat: refused with what to do."""
    scene = replace(SCENE, megapixels=3, **change)  # type: ignore[arg-type]
    bad = render(scene)
    with pytest.raises(PatternError) as caught:
        trace_photos([bad.jpeg], bars=Bars(), taps=[Tap(*bad.tap)])
    assert caught.value.code in (code, "mat.not-seen", "picture.blurred", "trace.error-too-large")


def test_fewer_sheets_promise_less_or_nothing() -> None:
    """With two sheets the promise is wider than with four, or the picture is refused; it holds."""
    two = render(replace(SCENE, drop=(2, 3)))
    try:
        found = trace_photos([two.jpeg], bars=Bars(), taps=[Tap(*two.tap)])
    except PatternError as error:
        assert error.code == "trace.error-too-large"
        return
    (piece,) = found.pieces
    assert piece.error > traced().pieces[0].error
    assert off(piece.outline, SCENE.outline) <= piece.error
    assert [f.code for f in found.findings] == ["mat.few-sheets"]


def test_a_scan_is_measured_not_believed() -> None:
    """A scan that states 300 dpi but is stretched by 1 % along x: the measured lengths count, and it is told."""
    per = 25.4 / 300
    ring = half_front() * 0.7
    w, h = 2400, 2700
    image = np.full((h, w, 3), 90, np.uint8)
    stretched = ring * (1.01, 1.0)
    pixels = np.column_stack([stretched[:, 0] / per + w / 2, h / 2 - stretched[:, 1] / per])
    cv2.fillPoly(image, [np.round(pixels * 16).astype(np.int32)], (235, 238, 240), cv2.LINE_AA, 4)
    image = cv2.GaussianBlur(image, (0, 0), 1.0)
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(image[:, :, ::-1]).save(out, "PNG", dpi=(300, 300))
    measured = [
        Measured((100, 100), (100 + 150 * 1.01 / per, 100), 150.0),
        Measured((100, 100), (100, 100 + 180 / per), 180.0),
    ]
    found = trace_scan(out.getvalue(), measured=measured, taps=[Tap(w / 2, h / 2)])
    (piece,) = found.pieces
    assert off(piece.outline, ring) <= min(0.3, piece.error)
    assert "scan.resolution" in [f.code for f in found.findings]
    with pytest.raises(PatternError) as caught:
        trace_scan(out.getvalue(), measured=measured[:1])
    assert caught.value.code == "scan.not-measured"


PER = 25.4 / 300


@lru_cache(maxsize=1)
def scanned() -> tuple[np.ndarray, bytes]:
    """A piece's true outline, and a PDF page of 300 dpi with it, as scanners write them: 2400 by 2700 pixels."""
    from PIL import Image

    ring = half_front() * 0.7
    w, h = 2400, 2700
    image = np.full((h, w, 3), 90, np.uint8)
    pixels = np.column_stack([ring[:, 0] / PER + w / 2, h / 2 - ring[:, 1] / PER])
    cv2.fillPoly(image, [np.round(pixels * 16).astype(np.int32)], (235, 238, 240), cv2.LINE_AA, 4)
    out = io.BytesIO()
    scan = Image.fromarray(cv2.GaussianBlur(image, (0, 0), 1.0)[:, :, ::-1])
    scan.save(out, "PDF", resolution=300, quality=95)
    return ring, out.getvalue()


def _changed(how: str) -> bytes:
    with pikepdf.open(io.BytesIO(scanned()[1])) as pdf:
        page = pdf.pages[0]
        if how == "turned":
            page.Rotate = 90
        elif how == "cropped":  # 24 points, a hundred pixels, less at the left and at the top
            left, low, right, top = (float(v) for v in page.MediaBox)
            page.CropBox = [left + 24, low, right, top - 24]
        elif how == "units":  # of two points each (ISO 32000-1, table 30): the page half as large in its numbers
            page.UserUnit = 2
            page.MediaBox = [float(v) / 2 for v in page.MediaBox]
            page.contents_add(b"q 0.5 0 0 0.5 0 0 cm", prepend=True)
            page.contents_add(b"Q")
        out = io.BytesIO()
        pdf.save(out)
        return out.getvalue()


@pytest.mark.parametrize("how", ["as it is", "turned", "cropped", "units"])
def test_a_scanned_page_of_a_pdf_is_traced_as_a_scan(how: str, tmp_path: Path) -> None:
    """A page as scanners write them, also turned, cropped or in larger units: its pixels are those of the picture,
    and the outline is as true as that of a scan."""
    ring, _ = scanned()
    middle = {"turned": (1350.0, 1200.0), "cropped": (1100.0, 1250.0)}.get(how, (1200.0, 1350.0))
    # /Rotate turns the page clockwise when it is shown (ISO 32000-1, table 30)
    true = np.column_stack([ring[:, 1], -ring[:, 0]]) if how == "turned" else ring
    path = tmp_path / "scan.pdf"
    path.write_bytes(_changed(how))
    # 200 mm along each direction of the page as it is shown
    measured = [Measured((50, 50), (50 + 200 / PER, 50), 200.0), Measured((50, 50), (50, 50 + 200 / PER), 200.0)]
    found = trace_scan(path, measured=measured, taps=[Tap(*middle)])
    (piece,) = found.pieces
    assert off(piece.outline, true) <= min(0.3, piece.error)
    assert found.pictures == ("scan.pdf, page 1",) and not found.findings


def test_pdfs_that_are_no_single_scan_are_told_what_to_do(tmp_path: Path) -> None:
    """Several scanned pages, and a PDF of lines, named to the tracing; a scan, named as a pattern to check and new; and
    the scan traced by the command that they name."""
    run = CliRunner()
    scan, two, lines = (tmp_path / name for name in ("scan.pdf", "two.pdf", "lines.pdf"))
    scan.write_bytes(scanned()[1])
    lines.write_bytes(by_reportlab([[{"shape": front()}]]))
    with pikepdf.open(scan) as pdf:
        pdf.pages.append(pdf.pages[0])
        pdf.save(two)
    lengths = (f"50,50 {50 + 200 / PER:.1f},50 = 200 mm", f"50,50 50,{50 + 200 / PER:.1f} = 200 mm")
    measured = [f"--measured={one}" for one in lengths]
    for path, code in ((two, "scan.several-pages"), (lines, "pdf.refused")):
        caught = run.invoke(app, ["trace", str(path), "-o", str(tmp_path / "no.svg"), *measured])
        assert isinstance(caught.exception, PatternError) and caught.exception.code == code
    order = tmp_path / "order.toml"
    order.write_text(
        'units = "mm"\n[[pattern]]\nfile = "scan.pdf"\n[[cloth]]\nname = "main"\nwidth = 1400\n'
        '[[garment]]\nname = "briefs"\ncount = 1\n'
    )
    for words in (["check", str(order)], ["new", str(scan), "-o", str(tmp_path / "new.toml")]):
        caught = run.invoke(app, words)
        assert caught.exit_code != 0 and "nesting trace" in f"{caught.output}{caught.exception}"
    said = ["--line", "cut", "--fold", "none", "--notches", "none", "--grain", "none"]
    done = run.invoke(app, ["trace", str(scan), "-o", str(tmp_path / "pieces.svg"), *measured, *said])
    assert done.exit_code == 0, done.output
    (read,) = read_pieces(tmp_path / "pieces.svg").pieces
    assert read.origin == "scan scan.pdf, page 1"
    assert shapely.Polygon(read.outline).area == pytest.approx(shapely.Polygon(scanned()[0]).area, rel=0.002)


def test_pictures_of_all_kinds_are_read_and_turned() -> None:
    """JPEG, PNG and TIFF; a picture that its EXIF turns is turned."""
    from PIL import Image

    image = np.zeros((600, 800, 3), np.uint8)
    image[:100, :100] = 255
    for kind in ("JPEG", "PNG", "TIFF"):
        assert read_picture(as_bytes(image, kind)).size == (800, 600)
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = 6  # EXIF 2.3, orientation 6: the picture is to be turned clockwise by a quarter
    Image.fromarray(image).save(out, "PNG", exif=exif)
    turned_by_a_quarter(read_picture(out.getvalue()))


def turned_by_a_quarter(picture: Picture) -> None:
    """Whether its white corner is now at the top right."""
    assert picture.size == (600, 800)
    assert picture.pixels[:90, -90:].min() > 200 and picture.pixels[:90, :90].max() < 50


HEIC = Path(__file__).parents[2] / "fixtures" / "pictures" / "turned.heic"


def test_a_heic_picture_is_turned_once() -> None:
    """That picture as telephones write it: turned by its own box (irot, ISO/IEC 23008-12), with an EXIF that says the
    same and does not count. Cut short it is damaged."""
    pytest.importorskip("pi_heif", reason="the extra 'heic' is not installed")
    turned_by_a_quarter(read_picture(HEIC))
    with pytest.raises(PatternError) as caught:
        read_picture(HEIC.read_bytes()[:900])
    assert caught.value.code == "picture.damaged"


def test_without_its_reader_a_heic_picture_is_told_to_be_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """The extra is named; what is no picture at all is not taken for one."""
    from PIL import Image

    monkeypatch.setitem(sys.modules, "pi_heif", None)
    for table in (Image.OPEN, Image.MIME, Image.EXTENSION):
        monkeypatch.delitem(table, "HEIF", raising=False)
    monkeypatch.setattr(Image, "ID", [one for one in Image.ID if one != "HEIF"])
    for data, code in ((HEIC.read_bytes(), "picture.heic"), (b"\0\0\0\x1cftypqt  " + bytes(900), "picture.kind")):
        with pytest.raises(PatternError) as caught:
            read_picture(data)
        assert caught.value.code == code


def test_bombs_and_broken_pictures_are_refused(tmp_path: Path) -> None:
    """A small file of huge dimensions is refused by its header; cut-short and foreign files by name."""
    from PIL import Image

    out = io.BytesIO()
    Image.new("1", (20000, 20000)).save(out, "PNG")
    assert len(out.getvalue()) < 200_000
    good = as_bytes(np.zeros((600, 800, 3), np.uint8), "JPEG")
    gif = as_bytes(np.zeros((600, 800, 3), np.uint8), "GIF")
    for data, code in (
        (out.getvalue(), "picture.too-large"), (good[: len(good) // 2], "picture.damaged"), (b"", "picture.damaged"),
        (gif, "picture.kind"), (b"<svg/>", "picture.kind"),
        (as_bytes(np.zeros((100, 100, 3), np.uint8), "PNG"), "picture.too-small"),
    ):  # fmt: skip
        with pytest.raises(PatternError) as caught:
            read_picture(data)
        assert caught.value.code == code
    with pytest.raises(PatternError) as caught:
        read_picture(tmp_path / "none.jpg")
    assert caught.value.code == "file.missing"


def test_the_command_asks_first_and_writes_then(tmp_path: Path) -> None:
    """Without the bars, or with open questions, the command ends with 2 and writes no pieces."""
    photo = tmp_path / "front.jpg"
    photo.write_bytes(shot().jpeg)
    out = tmp_path / "pieces.svg"
    run = CliRunner()
    base = ["trace", str(photo), "-o", str(out), "--tap", f"{shot().tap[0]:.0f},{shot().tap[1]:.0f}"]
    first = run.invoke(app, base)
    assert first.exit_code != 0 and isinstance(first.exception, InputError) and "--bars" in str(first.exception)
    second = run.invoke(app, [*base, "--bars", "180x240"])
    assert second.exit_code == 2 and not out.exists() and (tmp_path / "pieces-seen.png").exists()
    said = ["--bars", "180x240", "--line", "cut", "--fold", "none", "--notches", "none", "--grain", "none"]
    third = run.invoke(app, [*base, *said])
    assert third.exit_code == 0, third.output
    assert read_pieces(out).pieces[0].name == "front"
    mat = run.invoke(app, ["print", "--as", "mat", "-o", str(tmp_path)])
    assert mat.exit_code == 0 and (tmp_path / "mat.pdf").read_bytes()[:5] == b"%PDF-"


def test_the_edges_of_the_sheets_are_no_piece() -> None:
    """Four sheets overlap around white paper on a pale ground: their edges enclose the ground as clearly as the piece
    is edged. It is found where it is tapped; where the ground is, nothing is."""
    scene = random_scene(215, megapixels=3)
    shot = render(scene)
    bars = Bars(180 * scene.scale[0], 240 * scene.scale[1])
    true = shapely.Polygon(scene.outline).area
    (piece,) = trace_photos([shot.jpeg], bars=bars, taps=(Tap(*shot.tap),)).pieces
    assert piece.area == pytest.approx(true, rel=0.01)
    # on wood, the ground that the sheets enclose is told from them by far more than from anything in it
    wooden = random_scene(257, megapixels=3)
    other = render(wooden)
    bars2 = Bars(180 * wooden.scale[0], 240 * wooden.scale[1])
    (piece,) = trace_photos([other.jpeg], bars=bars2, taps=(Tap(*other.tap),)).pieces
    assert piece.area == pytest.approx(shapely.Polygon(wooden.outline).area, rel=0.01)
    ground = shot.pixel(np.array([[-60.0, -25.0]]))[0]
    with pytest.raises(PatternError, match="ends at the sheets"):
        trace_photos([shot.jpeg], bars=bars, taps=(Tap(*ground),))
