"""Text as the shipped fonts can print it: literal, bounded in width, and never a crash.

A document must be typeset whatever somebody typed. Control characters go, characters without a glyph become
a box, words longer than a column get invisible places to break.
"""

from __future__ import annotations

import re
import struct
import unicodedata
from collections.abc import Iterable
from functools import cache
from pathlib import Path

FONTS = Path(__file__).parent / "fonts"
BOX = "\u25a1"
BREAK = "\u200b"
_LONG_WORD = re.compile(r"\S{25,}")
_RUN = 12
# Overrides and embeddings can make an amount read backwards, so they are dropped; letters of right-to-left
# scripts order themselves. ZWNJ and ZWJ shape Persian and stay.
_ALIKE = str.maketrans({"\u2300": "\u00d8", "\u2010": "-", "\u2011": "-"})
_DROPPED = re.compile(
    "[\u0000-\u0008\u000e-\u001f\u007f-\u009f\u00ad\u200b\u200e\u200f\u202a-\u202e\u2060-\u206f"
    "\ufe00-\ufe0f\ufeff\ufff9-\ufffb\U0001f3fb-\U0001f3ff\U000e0000-\U000e01ef]"
)
_SPACE = re.compile(r"[\s\u2028\u2029\x85]+")
_BOXES = re.compile(f"{BOX}(?:\u200d+{BOX})+")
_MARK = r"[\u0300-\u036f\u0483-\u0489\u1ab0-\u1aff\u1dc0-\u1dff\u20d0-\u20ff]"
_MARKS = re.compile(f"({_MARK}{{4}}){_MARK}+")


def codepoints(font: bytes) -> set[int]:
    """Code points that a TrueType/OpenType font maps to a glyph (cmap formats 4 and 12, OpenType
    specification).
    """
    tables = {}
    for i in range(struct.unpack_from(">H", font, 4)[0]):
        tag, _, offset, _ = struct.unpack_from(">4sLLL", font, 12 + 16 * i)
        tables[tag] = offset
    base = tables[b"cmap"]
    found: set[int] = set()
    for i in range(struct.unpack_from(">H", font, base + 2)[0]):
        platform, _, offset = struct.unpack_from(">HHL", font, base + 4 + 8 * i)
        if platform not in (0, 3):
            continue
        at = base + offset
        kind = struct.unpack_from(">H", font, at)[0]
        if kind == 12:
            for g in range(struct.unpack_from(">L", font, at + 12)[0]):
                first, last, _ = struct.unpack_from(">LLL", font, at + 16 + 12 * g)
                found.update(range(first, last + 1))
        elif kind == 4:
            doubled = struct.unpack_from(">H", font, at + 6)[0]
            n = doubled // 2
            ends = struct.unpack_from(f">{n}H", font, at + 14)
            starts = struct.unpack_from(f">{n}H", font, at + 16 + doubled)
            for start, end in zip(starts, ends, strict=True):
                found.update(range(start, end + 1))
    return found - {0xFFFF}


def font_files(folders: Iterable[Path]) -> list[Path]:
    """Font files in `folders`, in a stable order."""
    return sorted(p for folder in folders for p in folder.iterdir() if p.suffix.lower() in (".ttf", ".otf"))


_folders: tuple[Path, ...] = (FONTS,)


def font_folders() -> tuple[Path, ...]:
    """Folders whose fonts documents may use: the shipped ones, then the shop's own."""
    return _folders


def use_fonts(folders: Iterable[Path]) -> None:
    """Add the shop's own font folders (DOCUMENT_FONT_DIRS). Called once, before the first document."""
    global _folders
    _folders = (FONTS, *folders)
    _faces.cache_clear()
    covered.cache_clear()
    _printable_char.cache_clear()


@cache
def covered() -> frozenset[int]:
    """Code points some font in use has a glyph for."""
    return frozenset().union(*_faces())


@cache
def _faces() -> tuple[frozenset[int], ...]:
    """What each family holds in all its faces (files "Family-Face"): a letter must not be missing in the italic."""
    families: dict[str, set[int]] = {}
    for path in font_files(_folders):
        family, held = path.stem.partition("-")[0], codepoints(path.read_bytes())
        families[family] = families[family] & held if family in families else held
    return tuple(map(frozenset, families.values()))


@cache
def _printable_char(char: str) -> str:
    category = unicodedata.category(char)
    if category in ("Co", "Cs", "Cn"):
        return BOX
    if char in "\u200c\u200d" or ord(char) in covered():
        return char
    if category in ("Mn", "Me", "Cf"):
        return ""
    return BOX


def printable(text: str) -> str:
    """`text` as one line that can be printed: spaces folded, boxes for what no font holds, long words
    breakable.
    """
    if not text.isascii():
        text = unicodedata.normalize("NFC", text).translate(_ALIKE)
        text = _MARKS.sub(r"\1", _DROPPED.sub("", _SPACE.sub(" ", text)))
        text = _seat_marks("".join(map(_printable_char, text)))
        text = _BOXES.sub(BOX, text)
    elif not text.isprintable():
        text = _DROPPED.sub("", _SPACE.sub(" ", text))
    text = _SPACE.sub(" ", text).strip()
    if len(text) > 24:
        text = _LONG_WORD.sub(_breakable, text)
    return text


def _seat_marks(text: str) -> str:
    """Without marks that no face can put onto the character before them: one face must hold both."""
    if not any(unicodedata.category(c)[0] == "M" for c in text):
        return text
    kept: list[str] = []
    base = ""
    for char in text:
        if unicodedata.category(char)[0] != "M":
            base = char if char not in "\u200c\u200d" else base
        elif base in ("", " ", BOX) or not any(ord(base) in face and ord(char) in face for face in _faces()):
            continue
        kept.append(char)
    return "".join(kept)


def _breakable(match: re.Match[str]) -> str:
    word = match.group()
    return BREAK.join(word[i : i + _RUN] for i in range(0, len(word), _RUN))
