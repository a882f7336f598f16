"""Documents as PDF, by typst. Pure: data and a timestamp in, bytes out; no table, no clock, no network."""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any, Literal

import typst

from shop.documents.codes import code128_svg, qr_svg
from shop.documents.fields import DocumentDataError, fill
from shop.documents.formatting import Formatter, UnknownLanguage, languages
from shop.documents.printable import font_folders, printable
from shop.documents.shapes import SHAPES
from shop.kernel.errors import BadInput

__all__ = [
    "DocumentDataError",
    "Standard",
    "TypesettingFailed",
    "UnknownLanguage",
    "languages",
    "typeset",
]

Standard = Literal["ua-1", "a-3b", "plain"]
MOST = 6_000_000
"""Characters of a document's data: about 20,000 lines. 10,000 take some 8 s and 1.2 GB."""
_LARGE = 50_000
_SOURCES = Path(__file__).parent / "typst"
_PICTOGRAMS = Path(__file__).parent / "static" / "documents" / "ghs"
_FILES = {"deposit_invoice": "invoice", "credit_note": "invoice", "debit_note": "invoice"}
_STANDARDS: dict[str, list[Any]] = {"ua-1": ["ua-1"], "a-3b": ["a-3b", "ua-1"], "plain": []}


class TypesettingFailed(RuntimeError):
    """typst refused a document whose data was right: a fault of a template, not of who asked."""


_lock = threading.Lock()
_compiler: typst.Compiler | None = None


def _warm() -> typst.Compiler:
    global _compiler
    if _compiler is None:
        fonts = typst.Fonts(
            include_system_fonts=False,
            include_embedded_fonts=False,
            font_paths=[str(folder) for folder in font_folders()],
        )
        _compiler = typst.Compiler(root=str(_SOURCES), font_paths=fonts, ignore_system_fonts=True)
    return _compiler


def _after_fork() -> None:
    # A lock held by another thread at the fork would stay held for ever in the child.
    global _lock, _compiler
    _lock, _compiler = threading.Lock(), None


os.register_at_fork(after_in_child=_after_fork)


def typeset(
    template: str,
    data: Mapping[str, Any] | Any,
    *,
    language: str = "en",
    timestamp: datetime,
    standard: Standard = "ua-1",
) -> bytes:
    """The document as PDF; byte-identical for the same arguments.

    `template` is a key of `shapes.SHAPES`, `data` an instance of its shape or a mapping of the same names
    (Decimals and dates may be text). `timestamp` becomes the creation date. `standard`: `ua-1` tagged for
    screen readers, `a-3b` for an invoice that carries its XML (and ua-1 too), `plain` neither checked.

    Raises DocumentDataError naming the field that is missing or wrong, UnknownLanguage, ValueError for an
    unknown template, standard or a naive timestamp, TypesettingFailed when the template itself is at fault.
    """
    if template not in SHAPES:
        raise ValueError(f"No document {template!r}; there are: {', '.join(SHAPES)}.")
    if standard not in _STANDARDS:
        raise ValueError(f"No PDF standard {standard!r}; there are: {', '.join(_STANDARDS)}.")
    if timestamp.tzinfo is None:
        raise ValueError("The timestamp of a document needs a time zone.")
    shape = SHAPES[template]
    read = data.get if isinstance(data, Mapping) else lambda name: getattr(data, name, None)
    currency = read("currency")
    try:
        fmt = Formatter(language, currency if isinstance(currency, str) else "EUR")
    except BadInput:
        raise DocumentDataError("currency", f"{currency!r} is not an ISO 4217 code") from None
    filled = fill(shape, data, fmt)
    if template in _FILES and filled["kind"] != template:
        raise DocumentDataError("kind", f"is {filled['kind']!r}, but the template is {template!r}")
    if template == "labels":
        _check_labels(filled)
    words = fmt.strings
    payload = {
        "d": filled,
        "s": words,
        "meta": {
            "template": template,
            "lang": words["lang"],
            "region": words["region"],
            "description": None,
            "keywords": [k for k in (filled.get("number"), filled.get("card_number")) if k],
            **_codes(filled),
        },
    }
    source = _SOURCES / f"{_FILES.get(template, template)}.typ"
    content = json.dumps(payload, ensure_ascii=False)
    if len(content) > MOST:
        raise DocumentDataError(
            "data", f"has {len(content):,} characters, at most {MOST:,} can be typeset; split the document"
        )
    # Whole seconds: the PDF keeps no more, and the same instant in another zone must not change the file.
    second = int(timestamp.timestamp())
    with _lock:
        try:
            pdf = _warm().compile(
                input=str(source),
                sys_inputs={"data": content},
                format="pdf",
                pdf_standards=_STANDARDS[standard],
                timestamp=second,
            )
        except typst.TypstError as error:
            raise TypesettingFailed(f"{template}: {error.message} {error.diagnostic}") from error
        finally:
            if len(content) > _LARGE:
                _forget()
    assert isinstance(pdf, bytes)  # noqa: S101 - one format, one file
    return pdf


def _forget() -> None:
    """typst keeps the layout of the last ten documents; ten of 3,000 lines would hold 2.4 GB. Small ones push them
    out."""
    for age in range(11):
        _warm().compile(b"#sys.inputs.age", format="pdf", sys_inputs={"age": str(age)}, timestamp=0)


def _check_labels(filled: dict[str, Any]) -> None:
    """Labels need paper of one kind on which they can be 10 mm wide and 6 mm high."""
    if (filled["sheet"] is None) == (filled["roll"] is None):
        raise DocumentDataError("sheet", "give either a sheet or a roll")
    if filled["roll"] is not None:
        width, height = (Decimal(filled["roll"][side]) for side in ("width", "height"))
        where = "roll"
    else:
        sheet, where = filled["sheet"], "sheet"
        if not (1 <= sheet["rows"] <= 50 and 1 <= sheet["cols"] <= 20):
            raise DocumentDataError("sheet.rows", "a sheet has 1 to 50 rows and 1 to 20 columns")
        if not 0 <= sheet["start"] < sheet["rows"] * sheet["cols"]:
            raise DocumentDataError("sheet.start", "must be less than the labels on a sheet")
        mm = {k: Decimal(v) for k, v in sheet.items() if isinstance(v, str)}
        right, bottom = mm.get("right", mm["left"]), mm.get("bottom", mm["top"])
        cols, rows = sheet["cols"], sheet["rows"]
        width = (mm["width"] - mm["left"] - right - mm["gap_x"] * (cols - 1)) / cols
        height = (mm["height"] - mm["top"] - bottom - mm["gap_y"] * (rows - 1)) / rows
    if width < 10 or height < 6:
        raise DocumentDataError(where, "leaves labels smaller than 10 by 6 mm")


def _codes(filled: dict[str, Any]) -> dict[str, Any]:
    """Pictures of the codes a document carries."""
    out: dict[str, Any] = {"payment_qr": None, "qr": None}
    if filled.get("payment_code"):
        out["payment_qr"] = qr_svg(filled["payment_code"])
    if isinstance(filled.get("code"), str):
        out["qr"] = qr_svg(filled["code"])
    if "labels" in filled:
        out["labels"] = [_label_codes(label) for label in filled["labels"]]
    return out


def _label_codes(label: dict[str, Any]) -> dict[str, Any]:
    content = label["bars"] or label["code"]
    svg, modules = (None, 0) if content == "-" else code128_svg(content)
    return {
        "qr": qr_svg(label["code"]), "bars": svg, "modules": modules, "bars_text": printable(content),
        "pictograms": [_pictogram(code) for code in label["pictograms"]],
    }  # fmt: skip


@cache
def _pictogram(code: str) -> str:
    path = _PICTOGRAMS / f"{code}.svg"
    if not (code.isalnum() and path.is_file()):
        raise DocumentDataError("pictograms", f"there is no GHS pictogram {code!r}")
    return path.read_text()
