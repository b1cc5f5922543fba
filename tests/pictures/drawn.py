"""Pictures as a telephone, a scanner and a fool send them."""

import io
from typing import Any

from PIL import Image, ImageDraw
from PIL.PngImagePlugin import PngInfo

SECRET = "taken at 51.5 north by nobody's telephone"


def photograph(size: tuple[int, int] = (640, 480), *, turned: bool = False, form: str = "JPEG") -> bytes:
    """A photograph with a place, a comment and a colour profile inside: red on its left, blue on its right.

    `turned`: the camera was held upright and says so.
    """
    image = Image.new("RGB", size, "blue")
    ImageDraw.Draw(image).rectangle((0, 0, size[0] // 2, size[1]), fill="red")
    exif = Image.Exif()
    exif[0x010E] = SECRET
    exif[0x0110] = SECRET
    exif[0x0112] = 6 if turned else 1
    exif.get_ifd(0x8825)[1] = "N"
    more: dict[str, Any] = {"comment": SECRET.encode()} if form == "JPEG" else {"xmp": SECRET.encode()}
    return written(image, form, exif=exif, icc_profile=SECRET.encode(), **more)


def sketch() -> bytes:
    """A line on clear ground, with words behind it."""
    image = Image.new("RGBA", (200, 100), (0, 0, 0, 0))
    ImageDraw.Draw(image).line((0, 0, 199, 99), fill="black", width=3)
    text = PngInfo()
    text.add_text("Comment", SECRET)
    text.add_itxt("XML:com.adobe.xmp", SECRET)
    return written(image, "PNG", pnginfo=text, icc_profile=SECRET.encode())


def written(image: Image.Image, form: str, **more: Any) -> bytes:
    into = io.BytesIO()
    image.save(into, form, **more)
    return into.getvalue()


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
