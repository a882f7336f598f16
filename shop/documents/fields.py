"""What a field of a document shape is, and how a value given for it becomes printable text.

The shapes in `shop.documents.shapes` are frozen dataclasses whose annotations are the markers below. `fill`
walks a shape, checks that everything it asks for is there, and returns plain JSON-able data in which every
amount, quantity and date is already the text that will be printed. Nothing behind `fill` formats a number.
"""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from functools import cache
from typing import Annotated, Any

from shop.documents.formatting import Formatter
from shop.documents.printable import printable

Text = Annotated[str, "text"]
"""One line of text; line breaks become spaces."""
Prose = Annotated[str, "prose"]
"""Text that may hold several lines or paragraphs."""
Code = Annotated[str, "code"]
"""Text printed and encoded as it is (bar codes); printable ASCII only."""
Money = Annotated[Decimal, "money"]
"""An amount in the document's currency, printed with that currency's minor units."""
Price = Annotated[Decimal, "price"]
"""A unit price; may carry more decimals than the currency's minor units."""
Quantity = Annotated[Decimal, "quantity"]
Percent = Annotated[Decimal, "percent"]
"""A rate in percent: Decimal("21") prints as 21 %."""
Day = Annotated[date, "day"]
"""A date, printed in full (12 March 2026)."""
ShortDay = Annotated[date, "short_day"]
"""A date in a table column."""
Moment = Annotated[datetime, "moment"]
"""An aware point of time, printed as the shop's clock shows it."""

Length = Annotated[Decimal, "length"]
"""Millimetres on paper, 0 to 2000; handed on with a decimal point for layout, not for print."""


class DocumentDataError(ValueError):
    """The data handed over does not make the document.

    `field` is the path of the field at fault, such as `sections[1].lines[0].net`; the message names it as
    well.
    """

    def __init__(self, field: str, reason: str):
        self.field = field
        super().__init__(f"{field}: {reason}")


Convert = Callable[[Any, Formatter, str], Any]


def _decimal(value: Any, path: str) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, Decimal | int | str):
        raise DocumentDataError(path, f"expected a Decimal or its text, not {type(value).__name__}")
    try:
        number = Decimal(value)
    except InvalidOperation:
        raise DocumentDataError(path, "is not a number") from None
    if not number.is_finite():
        raise DocumentDataError(path, "is not a finite number")
    if number and not -10 <= number.adjusted() <= 15:
        raise DocumentDataError(path, "is too large or too small to print")
    return number


def _date(value: Any, path: str) -> date:
    if isinstance(value, str):
        try:
            return date.fromisoformat(value)
        except ValueError:
            raise DocumentDataError(path, "is not a date (YYYY-MM-DD)") from None
    if isinstance(value, datetime) or not isinstance(value, date):
        raise DocumentDataError(path, f"expected a date, not {type(value).__name__}")
    return value


def _moment(value: Any, path: str) -> datetime:
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            raise DocumentDataError(path, "is not a point of time (ISO 8601)") from None
    if not isinstance(value, datetime) or value.tzinfo is None:
        raise DocumentDataError(path, "expected a point of time with its zone")
    return value


def _string(value: Any, path: str) -> str:
    if not isinstance(value, str):
        raise DocumentDataError(path, f"expected text, not {type(value).__name__}")
    return value


def _code(value: Any, fmt: Formatter, path: str) -> str:
    text = _string(value, path)
    if not text or not text.isascii() or not text.isprintable():
        raise DocumentDataError(path, "a code is printable ASCII and not empty")
    if len(text) > 80:
        raise DocumentDataError(path, "a code has at most 80 characters")
    return text


def _prose(value: Any, fmt: Formatter, path: str) -> list[str]:
    lines = [printable(line) for line in _string(value, path).splitlines()]
    while lines and not lines[-1]:
        lines.pop()
    return lines


def _length(value: Any, fmt: Formatter, path: str) -> str:
    number = _decimal(value, path)
    if not 0 <= number <= 2000:
        raise DocumentDataError(path, "expected millimetres from 0 to 2000")
    return format(number, "f")


def _flag(value: Any, fmt: Formatter, path: str) -> bool:
    if not isinstance(value, bool):
        raise DocumentDataError(path, "expected true or false")
    return value


def _count(value: Any, fmt: Formatter, path: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise DocumentDataError(path, "expected a whole number")
    return value


_BY_MARKER: dict[str, Convert] = {
    "text": lambda v, fmt, p: printable(_string(v, p)),
    "prose": _prose,
    "code": _code,
    "money": lambda v, fmt, p: fmt.money(_decimal(v, p)),
    "price": lambda v, fmt, p: fmt.price(_decimal(v, p)),
    "quantity": lambda v, fmt, p: fmt.quantity(_decimal(v, p)),
    "percent": lambda v, fmt, p: fmt.percent(_decimal(v, p)),
    "day": lambda v, fmt, p: fmt.day(_date(v, p)),
    "short_day": lambda v, fmt, p: fmt.short_day(_date(v, p)),
    "length": _length,
    "moment": lambda v, fmt, p: fmt.moment(_moment(v, p)),
}


def _converter(hint: Any) -> Convert:
    origin = typing.get_origin(hint)
    if origin is Annotated:
        return _BY_MARKER[typing.get_args(hint)[1]]
    if origin in (typing.Union, types.UnionType):
        (inner,) = (a for a in typing.get_args(hint) if a is not type(None))
        convert = _converter(inner)
        return lambda v, fmt, p: None if v is None else convert(v, fmt, p)
    if origin is tuple:
        inner = _converter(typing.get_args(hint)[0])

        def sequence(value: Any, fmt: Formatter, path: str) -> list[Any]:
            if not isinstance(value, list | tuple):
                raise DocumentDataError(path, "expected a list")
            return [inner(item, fmt, f"{path}[{i}]") for i, item in enumerate(value)]

        return sequence
    if origin is typing.Literal:
        allowed = typing.get_args(hint)

        def choice(value: Any, fmt: Formatter, path: str) -> Any:
            if value not in allowed:
                raise DocumentDataError(path, "expected one of " + ", ".join(map(repr, allowed)))
            return value

        return choice
    if hint is bool:
        return _flag
    if hint is int:
        return _count
    if dataclasses.is_dataclass(hint):
        return lambda v, fmt, p: fill(typing.cast(type, hint), v, fmt, p)
    raise TypeError(f"no printable form for {hint!r}")


@cache
def _plan(shape: type) -> tuple[tuple[str, Convert, Any], ...]:
    hints = typing.get_type_hints(shape, include_extras=True)
    return tuple((f.name, _converter(hints[f.name]), f.default) for f in dataclasses.fields(shape))


def fill(shape: type, data: Any, fmt: Formatter, path: str = "") -> dict[str, Any]:
    """Plain JSON-able data of `shape`, every value formatted for print.

    `data` is an instance of the shape or a mapping with its field names. Raises `DocumentDataError` naming
    the field that is missing, of the wrong kind, or not part of the shape.
    """
    if isinstance(data, shape):
        given: Mapping[str, Any] = {f.name: getattr(data, f.name) for f in dataclasses.fields(shape)}
    elif isinstance(data, Mapping):
        given = data
    else:
        raise DocumentDataError(path or shape.__name__, f"expected {shape.__name__} or a mapping")
    prefix = f"{path}." if path else ""
    out: dict[str, Any] = {}
    plan = _plan(shape)
    for name, convert, default in plan:
        value = given.get(name, default)
        if value is dataclasses.MISSING:
            raise DocumentDataError(prefix + name, "is missing")
        out[name] = convert(value, fmt, prefix + name)
    if len(given) > len(out) or any(name not in out for name in given):
        unknown = next(name for name in given if name not in out)
        raise DocumentDataError(f"{prefix}{unknown}", f"is not a field of {shape.__name__}")
    return out
