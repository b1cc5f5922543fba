"""Whatever is sent, what is kept is a picture of our own writing, within its bounds."""

import io
import random
import zlib

import pytest
from PIL import Image

from graftbook.pictures.image import LARGEST_DRAWING, LARGEST_FILE, LONGEST_SIDE, KeptPicture, kept_of
from graftbook.problems import TooLarge, UnsupportedMedia
from tests.pictures.drawn import SECRET, SVG, photograph, sketch, written


def opened(content: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(content))
    image.load()
    return image


@pytest.mark.parametrize(
    ("sent", "media_type"),
    [
        (photograph(), "image/jpeg"),
        (photograph(form="WEBP"), "image/webp"),
        (sketch(), "image/png"),
        (photograph(form="PNG"), "image/png"),
    ],
)
def test_nothing_but_pixels_is_kept(sent: bytes, media_type: str):
    assert SECRET.encode() in sent
    kept = kept_of(sent)
    assert kept.media_type == media_type
    for content in (kept.content, kept.small):
        image = opened(content)
        assert SECRET.encode() not in content
        assert Image.MIME[image.format or ""] == media_type
        assert not image.getexif()
        told = set(image.info) - {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert not told & {"exif", "xmp", "icc_profile", "comment", "Comment", "photoshop"}


def test_what_hides_behind_the_pixels_goes_too():
    sent = photograph() + b"<script>alert(1)</script>PK\x03\x04"
    assert b"<script>" not in kept_of(sent).content


def test_a_photograph_stands_upright():
    """Else it would lie on its side once its metadata is gone."""
    kept = kept_of(photograph((640, 480), turned=True))
    assert (kept.width, kept.height) == (480, 640)
    red, _, blue = opened(kept.content).convert("RGB").getpixel((240, 20))
    assert red > 200 > 50 > blue, "what was on the left is on top"


def test_a_large_photograph_is_made_smaller():
    kept = kept_of(photograph((5_000, 2_500)))
    assert (kept.width, kept.height) == (LONGEST_SIDE, LONGEST_SIDE // 2) == opened(kept.content).size
    assert max(opened(kept.small).size) == 320


def test_a_sketch_keeps_its_lines_and_its_clear_ground():
    image = opened(kept_of(sketch()).content)
    assert (image.mode, image.getpixel((0, 99))) == ("RGBA", (0, 0, 0, 0))


def test_a_photograph_in_a_format_for_drawings_is_kept_as_a_photograph():
    noise = Image.frombytes("RGB", (1_500, 1_500), random.Random(4).randbytes(3 * 1_500 * 1_500))
    sent = written(noise, "PNG")
    assert LARGEST_DRAWING < len(sent) < LARGEST_FILE
    kept = kept_of(sent)
    assert kept.media_type == "image/jpeg"
    assert opened(kept.small).format == "JPEG"


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "I;16", "RGBA", "CMYK"])
def test_every_kind_of_pixel_can_be_kept(mode: str):
    form = "JPEG" if mode == "CMYK" else "PNG"
    assert kept_of(written(Image.new(mode, (30, 20)), form)).width == 30


def test_the_first_frame_counts():
    frames = [Image.new("RGB", (40, 40), colour) for colour in ("red", "blue")]
    kept = kept_of(written(frames[0], "WEBP", save_all=True, append_images=frames[1:]))
    assert getattr(opened(kept.content), "n_frames", 1) == 1


def bomb(side: int) -> bytes:
    """A PNG of a few bytes that says it has so many pixels a side."""
    header = b"IHDR" + side.to_bytes(4, "big") * 2 + b"\x08\x02\x00\x00\x00"
    rows = b"IDAT" + zlib.compress(b"\0" * 90_001)
    chunks = (len(c[4:]).to_bytes(4, "big") + c + zlib.crc32(c).to_bytes(4, "big") for c in (header, rows))
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


BROKEN = {
    "empty": b"",
    "svg": SVG,
    "page": b"<html><script>alert(1)</script></html>",
    "gif": written(Image.new("P", (9, 9)), "GIF"),
    "tiff": written(Image.new("RGB", (9, 9)), "TIFF"),
    "cut": photograph()[:900],
    "cut png": sketch()[:120],
    "no size": b"\x89PNG\r\n\x1a\n" + b"\0" * 60,
}


@pytest.mark.parametrize("what", BROKEN)
def test_what_is_no_picture_is_refused_in_words(what: str):
    with pytest.raises(UnsupportedMedia, match="JPEG, PNG or WebP"):
        kept_of(BROKEN[what])


def test_what_would_fill_the_memory_is_refused_before_it_is_unpacked():
    with pytest.raises(TooLarge, match="50 million pixels"):
        kept_of(bomb(7_100))
    with pytest.raises(UnsupportedMedia):
        kept_of(bomb(30_000))
    with pytest.raises(TooLarge):
        kept_of(photograph() + b"\0" * LARGEST_FILE)


def test_rubbish_never_ends_otherwise():
    chance = random.Random(7)
    for sent in (photograph((60, 40)), sketch(), photograph((60, 40), form="WEBP")):
        for _ in range(60):
            spoiled = bytearray(sent)
            for _ in range(chance.randrange(1, 30)):
                spoiled[chance.randrange(len(spoiled))] = chance.randrange(256)
            try:
                assert isinstance(kept_of(bytes(spoiled)), KeptPicture)
            except (UnsupportedMedia, TooLarge):
                continue
