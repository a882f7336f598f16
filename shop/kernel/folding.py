"""Text reduced to what people mean by "the same": for finding, sorting and pointing out doubles, never for showing."""

from __future__ import annotations

import unicodedata


def fold(text: str) -> str:
    """Without case, accents and surplus space: "  Ødegård  & SØN" and "ødegard & søn" are alike.

    Done here and not by the database, since SQLite ignores case for ASCII letters only.
    """
    if not text.isascii():
        text = "".join(c for c in unicodedata.normalize("NFKD", text.casefold()) if not unicodedata.combining(c))
    return " ".join(text.casefold().replace("\x00", " ").split())


def key(text: str) -> str:
    """Folded letters and digits only: "B2-40417", "b2 40417" and "B2/40417" are one serial number."""
    return "".join(c for c in fold(text) if c.isalnum())


def digits(text: str) -> str:
    """The ASCII digits only: one telephone number however it is spaced."""
    return "".join(c for c in text if c in "0123456789")
