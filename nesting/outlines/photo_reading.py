"""Pictures in: JPEG, PNG, TIFF and HEIC, turned as their EXIF says, within limits.

The size is read from the header before anything is unpacked, so that a small file which unpacks to gigabytes is refused
for a few bytes of reading.
"""

from __future__ import annotations

import contextlib
import io
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from nesting.model.errors import PatternError

__all__ = ["LARGEST_PICTURE", "MOST_PIXELS", "Picture", "pictures_in", "read_picture", "small_picture"]

#: Bytes. An uncompressed TIFF of 60 million pixels.
LARGEST_PICTURE = 200 * 1024 * 1024
#: Pixels that a picture may have. Telephones make up to 50 million; a sheet of A3 at 600 dpi has 70 million.
MOST_PIXELS = 72_000_000
#: Pixels. Fewer than this show a piece too coarsely for half a millimetre.
LEAST_PIXELS = 300_000
SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif")
_FORMATS = ("JPEG", "PNG", "TIFF", "HEIF", "MPO")
_LONGEST_SIDE = 30_000
#: What files of telephones say that they are (ISO/IEC 23008-12, annex B).
_HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1")


@dataclass(frozen=True)
class Picture:
    """A picture, upright.

    ``pixels`` (height, width, 3) uint8, blue, green, red as OpenCV has them. ``dpi``: (along x, along y) where the file
    says it. ``focal_35`` mm: the focal length as for 35 mm film, where the camera says it.
    """

    name: str
    pixels: npt.NDArray[np.uint8]
    dpi: tuple[float, float] | None = None
    focal_35: float | None = None

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) in pixels."""
        return int(self.pixels.shape[1]), int(self.pixels.shape[0])


def pictures_in(paths: list[Path]) -> list[Path]:
    """The pictures named, folders replaced by the pictures in them, by name.

    Raises PatternError for a folder without pictures.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(p for p in path.iterdir() if p.suffix.lower() in SUFFIXES and p.is_file())
            if not inside:
                words = f"there is no picture in this folder; expected {', '.join(SUFFIXES)}"
                raise PatternError(words, file=path, code="picture.none")
            found.extend(inside)
        else:
            found.append(path)
    return found


def read_picture(source: Path | bytes, *, name: str | None = None) -> Picture:
    """The picture of a file, or of its bytes, turned upright by its EXIF.

    Raises PatternError: it is missing, empty, none of JPEG, PNG, TIFF and HEIC, damaged or cut short, has more than 72
    or fewer than 0.3 million pixels, or is larger than 200 MB.
    """
    from PIL import ImageOps

    shown = name or ("picture" if isinstance(source, bytes) else source.name)
    with _opened(source, shown) as image:
        dpi, focal = _dpi(image), _focal(image)
        turned: Any = ImageOps.exif_transpose(image)
        if turned.size != image.size and dpi is not None:
            dpi = (dpi[1], dpi[0])
        return Picture(shown, _as_bgr(turned), dpi, focal)


def small_picture(source: Path, longest: int) -> tuple[bytes, tuple[int, int]]:
    """An upright JPEG of at most ``longest`` pixels a side, and the (width, height) that ``read_picture`` would give.

    A photograph is unpacked no larger than that. Raises PatternError as ``read_picture`` does.
    """
    from PIL import ImageOps

    with _opened(source, source.name) as image:
        upright = image.size if image.getexif().get(0x0112, 1) < 5 else image.size[::-1]
        image.draft("RGB", (longest, longest))
        image.thumbnail((longest, longest))
        small: Any = ImageOps.exif_transpose(image)
        packed = io.BytesIO()
        small.convert("RGB").save(packed, "JPEG", quality=85)
        return packed.getvalue(), upright


@contextlib.contextmanager
def _opened(source: Path | bytes, shown: str) -> Iterator[Any]:
    """The picture by Pillow, its size judged before anything is unpacked; what goes wrong within is a PatternError."""
    from PIL import Image, UnidentifiedImageError

    data = source if isinstance(source, bytes) else _bytes_of(source)
    if len(data) > LARGEST_PICTURE:
        most = LARGEST_PICTURE // 1024**2
        raise PatternError(
            f"the picture is larger than {most} MB: save it as JPEG", file=shown, code="picture.too-large"
        )
    if not data:
        raise PatternError("the picture is empty: copy it again from the camera", file=shown, code="picture.damaged")
    _allow_heic()
    try:
        with warnings.catch_warnings():
            # Our own limit is stricter and comes with words; Pillow only warns below twice its own.
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data)) as image:
                if image.format not in _FORMATS:
                    raise PatternError(
                        f"this is a {image.format} picture; expected JPEG, PNG, TIFF or HEIC: save it as one of these",
                        file=shown,
                        code="picture.kind",
                    )
                _judge_size(image.size, shown)
                yield image
    except PatternError:
        raise
    except UnidentifiedImageError:
        if data[4:8] == b"ftyp" and data[8:12] in _HEIC_BRANDS:
            raise _no_heic(shown) from None
        raise PatternError(
            "this is no picture that can be read; expected JPEG, PNG, TIFF or HEIC", file=shown, code="picture.kind"
        ) from None
    except (Image.DecompressionBombError, MemoryError):
        raise PatternError(
            "the picture unpacks to more than can be held: make it smaller", file=shown, code="picture.too-large"
        ) from None
    except Exception as error:
        # Decoders raise whatever they come upon in damaged files: OSError, SyntaxError, struct.error, ValueError.
        said = str(error).split("\n")[0][:100] or type(error).__name__
        raise PatternError(
            f"the picture is damaged or cut short ({said}): copy it again", file=shown, code="picture.damaged"
        ) from None


def _bytes_of(path: Path) -> bytes:
    try:
        if path.exists() and not path.is_file():
            raise PatternError("this is no regular file: name a picture", file=path, code="picture.kind")
        with path.open("rb") as stream:
            return stream.read(LARGEST_PICTURE + 1)
    except FileNotFoundError:
        raise PatternError(
            "there is no such picture: check the name and the folder", file=path, code="file.missing"
        ) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", error)
        raise PatternError(f"the picture cannot be read ({why})", file=path, code="file.unreadable") from None


def _no_heic(shown: str) -> PatternError:
    """Why a HEIC picture is not read."""
    if _allow_heic():
        words = "the picture is damaged or cut short: copy it again"
        return PatternError(words, file=shown, code="picture.damaged")
    return PatternError(
        "this is a HEIC picture, whose reader is installed by itself: pip install 'nesting[heic]'. Or send it as JPEG",
        file=shown,
        code="picture.heic",
    )


def _allow_heic() -> bool:
    """Let Pillow read HEIC, where a reader is installed; whether one is."""
    try:
        from pi_heif import register_heif_opener
    except ImportError:  # an extra, as it is not under a permissive licence
        return False
    register_heif_opener(thumbnails=False)
    return True


def _judge_size(size: tuple[int, int], shown: str) -> None:
    width, height = size
    if width * height > MOST_PIXELS or max(size) > _LONGEST_SIDE:
        raise PatternError(
            f"the picture has {width} × {height} pixels; up to {MOST_PIXELS // 10**6} million are read. Make it "
            "smaller: 12 million are enough",
            file=shown,
            code="picture.too-large",
        )
    if width * height < LEAST_PIXELS or min(size) < 200:
        raise PatternError(
            f"the picture has {width} × {height} pixels, too few to measure in: send the original, not a preview",
            file=shown,
            code="picture.too-small",
        )


def _dpi(image: Any) -> tuple[float, float] | None:
    try:
        x, y = (float(v) for v in image.info["dpi"])
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return None
    # 72 and 96 are what programs write that know nothing.
    return (x, y) if 100.0 <= x <= 5000.0 and 100.0 <= y <= 5000.0 else None


def _focal(image: Any) -> float | None:
    try:
        value = float(image.getexif().get_ifd(0x8769).get(0xA405))
    except (TypeError, ValueError, AttributeError, KeyError, SyntaxError):
        return None
    return value if 10.0 <= value <= 300.0 else None


def _as_bgr(image: Any) -> npt.NDArray[np.uint8]:
    if image.mode in ("I;16", "I;16B", "I", "F"):
        values = np.asarray(image, dtype=np.float64)
        top = 65535.0 if values.max(initial=0.0) > 255.0 else 255.0
        grey = np.clip(values / top * 255.0, 0, 255).astype(np.uint8)
        return np.ascontiguousarray(np.repeat(grey[:, :, None], 3, axis=2))
    if image.mode in ("RGBA", "LA", "PA") or (image.mode == "P" and "transparency" in image.info):
        from PIL import Image

        over = image.convert("RGBA")
        ground = Image.new("RGBA", over.size, (255, 255, 255, 255))
        image = Image.alpha_composite(ground, over)
    return np.ascontiguousarray(np.asarray(image.convert("RGB"))[:, :, ::-1])
