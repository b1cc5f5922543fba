"""What somebody sends as a picture becomes pixels, and the pixels a picture of our own writing.

Nothing of the bytes that were sent is kept: neither where and with what it was taken, nor what else may hide
in them.
"""

import hashlib
import io
import warnings
from dataclasses import dataclass
from typing import Literal

from PIL import Image, ImageOps

from graftbook.problems import TooLarge, UnsupportedMedia

LARGEST_FILE = 12_000_000
"""Bytes of a picture as it is sent."""
MOST_PIXELS = 50_000_000
LONGEST_SIDE = 2_000
"""Pixels of a picture as it is kept; a larger one is made smaller."""
LONGEST_SMALL_SIDE = 320
LARGEST_DRAWING = 1_500_000
"""Bytes of a kept PNG; one that takes more is a photograph, and kept as JPEG."""

MediaType = Literal["image/jpeg", "image/png", "image/webp"]
MEDIA_TYPES: dict[MediaType, str] = {"image/jpeg": "JPEG", "image/png": "PNG", "image/webp": "WEBP"}
_MEDIA_TYPE = {form: media for media, form in MEDIA_TYPES.items()}
TAKEN = "a photograph or sketch as JPEG, PNG or WebP"


@dataclass(frozen=True, slots=True)
class KeptPicture:
    """A picture as it is kept: its bytes, a small one of it, and what they are."""

    content: bytes
    small: bytes
    media_type: MediaType
    width: int
    height: int

    @property
    def digest(self) -> str:
        """SHA-256 of the bytes, as hexadecimal digits."""
        return hashlib.sha256(self.content).hexdigest()


def kept_of(sent: bytes) -> KeptPicture:
    """A picture as it is kept, upright, without any metadata. Of several frames the first counts.

    Raises UnsupportedMedia when it is none of the formats or broken, TooLarge beyond the bounds.
    """
    if len(sent) > LARGEST_FILE:
        raise TooLarge(
            f"A picture has at most {LARGEST_FILE // 1_000_000} MB here; send a smaller one",
            limit_bytes=LARGEST_FILE,
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of a doubtful file; what cannot be read raises
            form, pixels = _format_and_pixels(sent)
    except (OSError, SyntaxError, ValueError, EOFError, Image.DecompressionBombError) as error:
        raise UnsupportedMedia(f"That cannot be read as a picture. Send {TAKEN}.") from error
    small = pixels.copy()
    small.thumbnail((LONGEST_SMALL_SIDE, LONGEST_SMALL_SIDE))
    content = _encoded(pixels, form)
    if form == "PNG" and len(content) > LARGEST_DRAWING:
        form = "JPEG"
        content, small = _encoded(_on_white(pixels), form), _on_white(small)
    return KeptPicture(content, _encoded(small, form), _MEDIA_TYPE[form], *pixels.size)


def _format_and_pixels(sent: bytes) -> tuple[str, Image.Image]:
    """The format and the pixels, upright and no larger than what is kept."""
    image = Image.open(io.BytesIO(sent), formats=tuple(MEDIA_TYPES.values()))
    form = image.format or ""
    if image.width * image.height > MOST_PIXELS:
        raise TooLarge(f"A picture has at most {MOST_PIXELS // 1_000_000} million pixels here")
    image.draft(None, (LONGEST_SIDE, LONGEST_SIDE))  # of JPEG no more is decoded than is kept
    image.load()
    pixels = ImageOps.exif_transpose(image)
    pixels = pixels.convert(
        "RGBA" if pixels.has_transparency_data else "L" if pixels.mode in ("1", "L") else "RGB"
    )
    if form == "JPEG":
        pixels = _on_white(pixels)
    pixels.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    pixels.info.clear()  # a writer takes comments and profiles from there
    return form, pixels


def _on_white(pixels: Image.Image) -> Image.Image:
    if pixels.mode != "RGBA":
        return pixels
    ground = Image.new("RGB", pixels.size, "white")
    ground.paste(pixels, mask=pixels.getchannel("A"))
    return ground


def _encoded(pixels: Image.Image, form: str) -> bytes:
    into = io.BytesIO()
    more = {"optimize": True} if form == "PNG" else {"quality": 85}
    pixels.save(into, form, **more)
    return into.getvalue()
