"""What may be kept as a file, decided by its bytes and not by its name. Pure: bytes in, checked bytes out."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import PurePosixPath

from shop.documents import pictures
from shop.kernel.errors import field_error
from shop.kernel.text import clean_line

MAX_BYTES = 15 * 1024 * 1024
ACCEPTED = "JPEG, PNG and WebP pictures, PDF, and plain text (.txt, .csv)"
_TEXT_NAMES = {".txt": ("text/plain", "txt"), ".csv": ("text/csv", "csv")}
_MARKUP = re.compile(
    rb"<\s*(?:!doctype|\?php|\?xml|script|html|svg|iframe|body|object|embed|img|meta)\b", re.IGNORECASE
)
_SCRIPT = re.compile(rb"<(?:!doctype html|html|script|\?php)", re.IGNORECASE)
_HEIF = re.compile(rb"....ftyp(?:heic|heix|hevc|mif1|msf1|avif)", re.DOTALL)


@dataclass(frozen=True)
class Checked:
    """An upload that passed. `data` is what is kept: a picture anew, anything else as it came."""

    original_name: str
    media_type: str
    extension: str
    data: bytes
    sha256: str
    width: int | None = None
    height: int | None = None
    thumbnail: bytes | None = None


def inspect(name: str, content: bytes) -> Checked:
    """Check and, for a picture, re-encode an upload.

    Raises BadInput on the field "file" (codes "empty-file", "too-large-file", "wrong-kind", "damaged", "too-many-pixels")
    saying what to send instead.
    """
    shown = _plain_name(name)
    if not content:
        raise field_error("file", "This file is empty. Choose it again.", code="empty-file")
    if len(content) > MAX_BYTES:
        raise field_error(
            "file",
            f"This file has {len(content) / 1048576:.1f} MB; at most {MAX_BYTES // 1048576} MB are taken. Make it smaller.",
            code="too-large-file",
        )
    kind = pictures.sniff(content)
    if kind:
        _refuse_two_in_one(content)
        picture = pictures.clean(content, kind)
        return _checked(
            shown, kind, pictures.EXTENSIONS[kind], picture.data, picture.width, picture.height, picture.thumbnail
        )
    if content.startswith(b"%PDF-"):
        _check_pdf(content)
        return _checked(shown, "application/pdf", "pdf", content)
    suffix = PurePosixPath(shown.lower()).suffix
    if suffix in _TEXT_NAMES and _is_plain_text(content):
        media_type, extension = _TEXT_NAMES[suffix]
        return _checked(shown, media_type, extension, content)
    if _HEIF.match(content[:16]):
        raise _wrong_kind("This is a HEIC picture, which not every device can show. Set the camera to JPEG")
    raise _wrong_kind("This kind of file is not taken, or it is not what its name says")


def as_xml(name: str, content: bytes) -> Checked:
    """An XML file that its caller has read and found to be what it is meant to be; only ever handed out to be saved."""
    return _checked(_plain_name(name), "application/xml", "xml", content)


def _checked(name: str, media_type: str, extension: str, data: bytes, *size: object) -> Checked:
    return Checked(name, media_type, extension, data, hashlib.sha256(data).hexdigest(), *size)  # type: ignore[arg-type]


def _refuse_two_in_one(content: bytes) -> None:
    """A picture that is also a page, an archive or a PDF was made to deceive somebody."""
    if _SCRIPT.search(content) or _is_archive(content) or b"%PDF-" in content[:1024]:
        raise _wrong_kind("This picture has something else hidden in it")


def _is_archive(content: bytes) -> bool:
    # A ZIP is read from its end record, in the last 65,557 bytes (APPNOTE 4.3.16).
    return b"PK\x05\x06" in content[-65_557:]


def _check_pdf(content: bytes) -> None:
    if b"%%EOF" not in content[-2048:]:
        raise field_error("file", "This PDF is cut off. Save it again.", code="damaged")
    if _MARKUP.search(content[:1024]) or _is_archive(content):
        raise _wrong_kind("This PDF has something else hidden in it")


def _is_plain_text(content: bytes) -> bool:
    try:
        text = content.removeprefix(b"\xef\xbb\xbf").decode("utf-8")
    except UnicodeDecodeError:
        return False
    if any((ord(c) < 32 and c not in "\t\n\r\f") or ord(c) == 127 for c in text):
        return False
    return not _MARKUP.search(content)


def _plain_name(name: str) -> str:
    """The last part of a client's file name as one clean line; only shown, never used as a path."""
    tail = re.split(r"[/\\]", name)[-1]
    if len(tail) > 160:
        tail = tail[:100] + "…" + tail[-50:]
    return clean_line(tail, field="file") or "file"


def _wrong_kind(why: str) -> Exception:
    return field_error("file", f"{why}. Send {ACCEPTED}.", code="wrong-kind")
