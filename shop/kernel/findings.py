"""Collects what is wrong with a whole form, so that everything is told at once and not one thing per try."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from decimal import Decimal
from typing import Any

from shop.kernel.errors import BadInput
from shop.kernel.text import clean_line, clean_text


class Findings:
    """Clean `values` in place; end with `raise_any`. Fields that are not among the values are left alone."""

    def __init__(self) -> None:
        self.fields: dict[str, list[str]] = {}

    def add(self, field: str, text: str) -> None:
        self.fields.setdefault(field, []).append(text)

    def note(self, error: BadInput) -> None:
        for field, texts in error.fields.items():
            self.fields.setdefault(field, []).extend(texts)

    def lines(self, values: dict[str, Any], lengths: Mapping[str, int], *required: str) -> None:
        """One-line texts, with the longest that fits; the `required` ones may not be empty."""
        for name in [n for n in lengths if n in values]:
            try:
                values[name] = clean_line(values[name], field=name, required=name in required, max_length=lengths[name])
            except BadInput as error:
                self.note(error)

    def texts(self, values: dict[str, Any], lengths: Mapping[str, int]) -> None:
        """Texts of several lines."""
        for name in [n for n in lengths if n in values]:
            try:
                values[name] = clean_text(values[name], field=name, max_length=lengths[name])
            except BadInput as error:
                self.note(error)

    def choice(self, values: Mapping[str, Any], field: str, allowed: Collection[str]) -> None:
        if field in values and values[field] not in allowed:
            self.add(field, f"“{str(values[field])[:40]}” is not one of: {', '.join(sorted(allowed))}.")

    def amount(self, values: Mapping[str, Any], field: str, highest: Decimal, places: int, otherwise: str) -> None:
        """A finite Decimal from 0 to `highest` with at most so many places, or None."""
        value: Decimal | None = values.get(field)
        if value is None:
            return
        if not (value.is_finite() and 0 <= value <= highest and value == round(value, places)):
            self.add(field, otherwise)

    def raise_any(self) -> None:
        """Raise BadInput naming every wrong field, if there is one."""
        if self.fields:
            first = next(iter(self.fields.values()))[0]
            more = len(self.fields) - 1
            raise BadInput(f"{first} ({more} more to put right.)" if more else first, fields=self.fields)
