"""Reading a finished PDF the way a person, a screen reader or a scanner would."""

from __future__ import annotations

import io
import re
import subprocess
import unicodedata
from datetime import UTC, datetime

import pypdf
import zxingcpp
from PIL import Image

from shop.documents.printable import BREAK
from shop.documents.typesetting import typeset
from tests.documents import samples


def made(template, data, language="en", standard="ua-1", timestamp=samples.AT) -> bytes:
    return typeset(template, data, language=language, timestamp=timestamp, standard=standard)


def reader(pdf: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(pdf))


def pages(pdf: bytes) -> list[str]:
    """Text page by page, places to break taken out, white space folded."""
    return [plain(page.extract_text()) for page in reader(pdf).pages]


def text(pdf: bytes) -> str:
    return " ".join(pages(pdf))


def plain(value: str) -> str:
    return re.sub(r"\s+", " ", unicodedata.normalize("NFC", value.replace(BREAK, "")))


def without_spaces(value: str) -> str:
    return re.sub(r"\s+", "", plain(value))


def pictures(pdf: bytes, tmp_path, dpi: int = 200, last: int = 1) -> list[Image.Image]:
    source = tmp_path / "document.pdf"
    source.write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-r", str(dpi), "-gray", "-png", "-l", str(last), str(source), str(tmp_path / "page")],
        check=True,
    )
    return [Image.open(p) for p in sorted(tmp_path.glob("page*.png"))]


def scanned(pdf: bytes, tmp_path, dpi: int = 300, last: int = 1) -> set[tuple[str, str]]:
    """(format, content) of every code a scanner finds on the first pages."""
    return {
        (code.format.name, code.text)
        for picture in pictures(pdf, tmp_path, dpi, last)
        for code in zxingcpp.read_barcodes(picture)
    }


LATER = datetime(2027, 1, 1, tzinfo=UTC)
