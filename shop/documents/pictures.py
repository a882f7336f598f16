"""Photos made safe: measured before they are decoded, turned upright, written anew without what the camera added.

Re-encoding is the defence: whatever else a file carried (position, serial numbers, a second file behind the picture)
is not in the pixels and so not in what is kept.
"""

from __future__ import annotations

import contextlib
import io
import struct
from dataclasses import dataclass

from PIL import Image, ImageCms, ImageOps

from shop.kernel.errors import field_error

MAX_PIXELS = 50_000_000
MAX_SIDE = 20_000
KEPT_SIDE = 4096
"""Longest side of what is kept, in pixels: enough to read a gauge from an arm's length."""
THUMB = (480, 360)
FORMATS = {"image/jpeg": "JPEG", "image/png": "PNG", "image/webp": "WEBP"}
EXTENSIONS = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}


@dataclass(frozen=True)
class Picture:
    media_type: str
    data: bytes
    width: int
    height: int
    thumbnail: bytes
    """JPEG of at most 480 x 360 pixels."""


def sniff(content: bytes) -> str | None:
    """The media type by magic bytes, of the kinds that are taken; None for anything else."""
    if content.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "image/webp"
    return None


def dimensions(content: bytes, media_type: str) -> tuple[int, int]:
    """Width and height as the header states them; nothing is decoded. Raises ValueError for a broken header."""
    try:
        return {"image/jpeg": _jpeg_size, "image/png": _png_size, "image/webp": _webp_size}[media_type](content)
    except (struct.error, IndexError) as error:
        raise ValueError("header cut off") from error


def _png_size(b: bytes) -> tuple[int, int]:
    if b[12:16] != b"IHDR":
        raise ValueError("no IHDR")
    return struct.unpack(">LL", b[16:24])


def _jpeg_size(b: bytes) -> tuple[int, int]:
    at = 2
    while True:
        while b[at] != 0xFF:
            at += 1
        while b[at] == 0xFF:
            at += 1
        marker, at = b[at], at + 1
        if marker in (0xD9, 0xDA):
            raise ValueError("no frame header")
        if marker == 0x01 or 0xD0 <= marker <= 0xD8:
            continue
        (length,) = struct.unpack_from(">H", b, at)
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            height, width = struct.unpack_from(">HH", b, at + 3)
            return width, height
        if length < 2:
            raise ValueError("bad segment")
        at += length


def _webp_size(b: bytes) -> tuple[int, int]:
    kind = b[12:16]
    if kind == b"VP8X":
        return 1 + int.from_bytes(b[24:27], "little"), 1 + int.from_bytes(b[27:30], "little")
    if kind == b"VP8L":
        bits = int.from_bytes(b[21:25], "little")
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    if kind == b"VP8 ":
        width, height = struct.unpack_from("<HH", b, 26)
        return width & 0x3FFF, height & 0x3FFF
    raise ValueError("no picture chunk")


def clean(content: bytes, media_type: str) -> Picture:
    """The picture upright, in sRGB, at most `KEPT_SIDE` long, without any metadata, and its thumbnail.

    Raises BadInput (field "file") when it is too large in pixels or can't be read whole.
    """
    try:
        width, height = dimensions(content, media_type)
    except ValueError as error:
        raise _damaged() from error
    if width < 1 or height < 1:
        raise _damaged()
    if width > MAX_SIDE or height > MAX_SIDE or width * height > MAX_PIXELS:
        raise field_error(
            "file",
            f"This picture has {width:,} by {height:,} pixels; at most {MAX_PIXELS // 1_000_000} million are taken."
            " Make it smaller and send it again.",
            code="too-many-pixels",
        )
    try:
        with Image.open(io.BytesIO(content), formats=(FORMATS[media_type],)) as opened:
            if opened.size not in ((width, height), (height, width)):
                raise _damaged()
            # For a JPEG the decoder can halve while it reads, which saves the memory of the full size.
            opened.draft(None, (KEPT_SIDE, KEPT_SIDE))
            opened.load()
            image = ImageOps.exif_transpose(opened)
            image = _to_srgb(image)
    except (OSError, SyntaxError, ValueError, EOFError, struct.error, Image.DecompressionBombError) as error:
        raise _damaged() from error
    has_alpha = media_type != "image/jpeg" and _has_alpha(image)
    image = image.convert("RGBA" if has_alpha else "RGB")
    image.thumbnail((KEPT_SIDE, KEPT_SIDE), Image.Resampling.LANCZOS)
    small = Image.new("RGB", image.size, "white")
    small.paste(image, mask=image.getchannel("A") if has_alpha else None)
    small.thumbnail(THUMB, Image.Resampling.LANCZOS)
    return Picture(
        media_type, _written(image, FORMATS[media_type]), image.width, image.height, _written(small, "JPEG", 80)
    )


def _has_alpha(image: Image.Image) -> bool:
    return image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info


def _to_srgb(image: Image.Image) -> Image.Image:
    """In sRGB, since the colour profile is not kept. One that can't be read is taken for sRGB."""
    profile = image.info.get("icc_profile")
    if profile and image.mode in ("RGB", "RGBA", "CMYK", "L"):
        with contextlib.suppress(ImageCms.PyCMSError, OSError):
            mode = "RGBA" if image.mode == "RGBA" else "RGB"
            converted = ImageCms.profileToProfile(
                image, ImageCms.ImageCmsProfile(io.BytesIO(profile)), ImageCms.createProfile("sRGB"), outputMode=mode
            )
            if converted is not None:
                return converted
    return image


def _written(image: Image.Image, kind: str, quality: int = 88) -> bytes:
    # A fresh image from bare pixels: no comment, profile or chunk of the old one can come along.
    bare = Image.frombytes(image.mode, image.size, image.tobytes())
    out = io.BytesIO()
    if kind == "PNG":
        bare.save(out, "PNG", compress_level=6)
    elif kind == "WEBP":
        bare.save(out, "WEBP", quality=quality, method=4)
    else:
        bare.save(out, "JPEG", quality=quality, optimize=True, progressive=True)
    return out.getvalue()


def _damaged() -> Exception:
    return field_error(
        "file", "This picture is damaged or cut off and can't be read. Take or save it again.", code="damaged"
    )
