"""Files that are not what they claim, too big, or carry more than they show. All made here, byte by byte."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib

from PIL import Image

ORIENTATION, MAKE, GPS = 0x0112, 0x010F, 0x8825


def picture(kind="JPEG", size=(640, 480), **save) -> bytes:
    """Left half dark, right half light, so that turning it shows."""
    image = Image.new("RGB", size, "white")
    image.paste((20, 40, 60), (0, 0, size[0] // 2, size[1]))
    out = io.BytesIO()
    image.save(out, kind, **save)
    return out.getvalue()


def with_position(orientation=1, size=(640, 480)) -> bytes:
    exif = Image.Exif()
    exif[MAKE] = "Invented Camera Co"
    exif[ORIENTATION] = orientation
    exif.get_ifd(GPS).update({1: "N", 2: (53.0, 20.0, 0.0), 3: "W", 4: (6.0, 15.0, 0.0)})
    return picture(size=size, exif=exif.tobytes(), comment=b"secret comment")


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">L", len(body)) + kind + body + struct.pack(">L", zlib.crc32(kind + body))


def huge_png(width=50_000, height=50_000) -> bytes:
    """A few kilobytes that would unpack to gigabytes."""
    rows = zlib.compressobj(9)
    data = rows.compress(b"\0" * 1_000_000) + rows.flush()
    head = struct.pack(">LLBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", head) + _chunk(b"IDAT", data) + _chunk(b"IEND", b"")


def huge_jpeg(width=50_000, height=50_000) -> bytes:
    """A small JPEG whose frame header claims another size."""
    raw = bytearray(picture(size=(16, 16)))
    at = raw.index(b"\xff\xc0")
    struct.pack_into(">HH", raw, at + 5, height, width)
    return bytes(raw)


def huge_webp(width=16_384, height=16_384) -> bytes:
    body = b"VP8X" + struct.pack("<L", 10) + b"\0" * 4
    body += (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    return b"RIFF" + struct.pack("<L", len(body) + 4) + b"WEBP" + body


def archive() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as z:
        z.writestr("page.html", "<script>alert(1)</script>")
    return out.getvalue()


PDF = b"%PDF-1.7\n1 0 obj\n<< /Type /Catalog >>\nendobj\ntrailer\n<< /Root 1 0 R >>\n%%EOF\n"
SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
HTML = b"<!DOCTYPE html><html><script>alert(1)</script></html>"

# name, bytes, code of the refusal
REFUSED = {
    "svg": ("drawing.svg", SVG, "wrong-kind"),
    "svg as jpg": ("photo.jpg", SVG, "wrong-kind"),
    "svg with xml head as text": ("note.txt", b'<?xml version="1.0"?>' + SVG, "wrong-kind"),
    "html": ("page.html", HTML, "wrong-kind"),
    "html as png": ("photo.png", HTML, "wrong-kind"),
    "html as text": ("note.txt", HTML, "wrong-kind"),
    "html later in text": ("note.csv", b"part;qty\n" * 900 + b"<SCRIPT src=x>", "wrong-kind"),
    "script inside picture": ("photo.jpg", picture(comment=b"<script>alert(1)</script>"), "wrong-kind"),
    "page behind picture": ("photo.jpg", picture() + HTML, "wrong-kind"),
    "archive behind picture": ("photo.png", picture("PNG") + archive(), "wrong-kind"),
    "pdf inside picture": ("photo.jpg", picture(comment=PDF), "wrong-kind"),
    "archive behind pdf": ("paper.pdf", PDF + archive() + b"%%EOF", "wrong-kind"),
    "page in pdf head": ("paper.pdf", b"%PDF-1.4\n<html><script>1</script>\n" + PDF, "wrong-kind"),
    "pdf not at the start": ("paper.pdf", b"junk\n" + PDF, "wrong-kind"),
    "cut off pdf": ("paper.pdf", PDF[:30], "damaged"),
    "archive": ("parts.zip", archive(), "wrong-kind"),
    "program": ("tool.txt", b"\x7fELF\x02\x01\x01" + bytes(64), "wrong-kind"),
    "gif": ("photo.gif", b"GIF89a" + bytes(20), "wrong-kind"),
    "heic": ("photo.heic", b"\x00\x00\x00\x18ftypheic" + bytes(40), "wrong-kind"),
    "latin-1 text": ("note.txt", "Kühlwasser".encode("latin-1"), "wrong-kind"),
    "text with another name": ("run.sh", b"echo hello", "wrong-kind"),
    "nul in text": ("note.txt", b"a\x00b", "wrong-kind"),
    "empty": ("photo.jpg", b"", "empty-file"),
    "too many bytes": ("note.txt", b"a" * (15 * 1024 * 1024 + 1), "too-large-file"),
    "cut off picture": ("photo.jpg", picture()[:-2000], "damaged"),
    "magic only": ("photo.jpg", b"\xff\xd8\xff", "damaged"),
    "magic and noise": ("photo.jpg", b"\xff\xd8\xff\xe0" + b"\xa5" * 5000, "damaged"),
    "cut off png": ("photo.png", picture("PNG")[:60], "damaged"),
    "50,000 x 50,000 png": ("photo.png", huge_png(), "too-many-pixels"),
    "50,000 x 50,000 jpeg": ("photo.jpg", huge_jpeg(), "too-many-pixels"),
    "16,384 x 16,384 webp": ("photo.webp", huge_webp(), "too-many-pixels"),
    "long and thin": ("photo.png", huge_png(40_000, 1), "too-many-pixels"),
    "no pixels": ("photo.png", huge_png(0, 10), "damaged"),
}
