"""Strict serializer fields: a string is a string, a decimal comes as a string, times carry an offset, text is clean."""

from __future__ import annotations

import re
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shop.kernel import clock
from shop.kernel import text as texts
from shop.kernel.errors import BadInput

_DATETIME = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2}(\.\d{1,6})?)?(Z|[+-]\d{2}:\d{2})")


class Text(serializers.CharField):
    """Clean text in Unicode NFC without control characters; one line unless `lines`."""

    def __init__(self, *, max_length: int = 200, lines: bool = False, **kwargs: Any) -> None:
        self.lines = lines
        kwargs.setdefault("allow_blank", not kwargs.get("required", True))
        kwargs.setdefault("trim_whitespace", False)
        self.longest = max_length
        super().__init__(max_length=max_length, **kwargs)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            raise serializers.ValidationError("Send text in quotes.")
        if len(data) > self.longest:  # as sent: cleaning may shorten it, and the description says what may be sent
            raise serializers.ValidationError(
                f"This has {len(data)} characters, at most {self.longest} fit. Shorten it."
            )
        try:
            clean = texts.clean_text if self.lines else texts.clean_line
            value = clean(data, required=False)
        except BadInput as error:
            raise serializers.ValidationError(error.message) from error
        if not value and not self.allow_blank:
            raise serializers.ValidationError("Fill this in.")
        return value

    def run_validation(self, data: Any = serializers.empty) -> Any:
        # DRF would turn "  " into a blank error before the text is cleaned
        is_empty, value = self.validate_empty_values(data)
        if is_empty:
            return value
        value = self.to_internal_value(data)
        self.run_validators(value)
        return value


class Number(serializers.DecimalField):
    """A decimal, sent and answered as a string ("12.50"), so that no float rounds it on the way."""

    def __init__(self, *, places: int = 6, digits: int = 18, **kwargs: Any) -> None:
        super().__init__(max_digits=digits, decimal_places=places, **kwargs)
        low = kwargs.get("min_value")
        sign = "" if low is not None and low >= 0 else "-?"
        part = rf"(\.[0-9]{{1,{places}}})?" if places else ""
        self.pattern = f"^{sign}[0-9]{{1,{min(14, digits - places)}}}{part}$"  # also stands in the description

    def validate_empty_values(self, data: Any) -> tuple[bool, Any]:
        # DRF would take "" for null
        return serializers.Field.validate_empty_values(self, data)

    def to_internal_value(self, data: Any) -> Decimal:
        if not isinstance(data, str):
            raise serializers.ValidationError('Send the number as a string, such as "12.50".')
        if not re.fullmatch(self.pattern, data):
            raise serializers.ValidationError(
                f"Use digits with a point as decimal mark, such as 12.50; at most {self.decimal_places} decimals"
                + ("." if self.pattern.startswith("^-") else ", not below zero.")
            )
        return super().to_internal_value(data)

    def to_representation(self, value: Any) -> str | None:
        if value is None:
            return None
        value = Decimal(value)
        return f"{value.normalize():f}" if value else "0"


class Money(Number):
    """An amount in the currency that the document or the business names; answered with its cents."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("places", 4)
        super().__init__(**kwargs)

    def to_representation(self, value: Any) -> str | None:
        if value is None:
            return None
        value = Decimal(value)
        plain = value.normalize()
        places = max(2, -int(plain.as_tuple().exponent))
        return f"{value:.{places}f}"


class Int(serializers.IntegerField):
    """A whole number; within 32 bits unless bounds are given, as most columns are."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("min_value", -(2**31))
        kwargs.setdefault("max_value", 2**31 - 1)
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, bool) or not isinstance(data, int):
            raise serializers.ValidationError("Send a whole number.")
        return super().to_internal_value(data)


class Id(Int):
    """The id of another record."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=1, max_value=2**63 - 1, **kwargs)


class Flag(serializers.BooleanField):
    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            raise serializers.ValidationError("Send true or false.")
        return data


class Day(serializers.DateField):
    """A date of a body or a query, within the years that can be meant."""

    def to_internal_value(self, data: Any) -> date:
        if not isinstance(data, str) or not re.fullmatch(r"\d{4}-\d{2}-\d{2}", data):
            raise serializers.ValidationError("Send a date as YYYY-MM-DD.")
        value = super().to_internal_value(data)
        if not clock.can_be_meant(value):
            raise serializers.ValidationError("This date is out of range; use a year from 1900 to 2200.")
        return value


class Moment(serializers.DateTimeField):
    """A date and time with its offset (RFC 3339)."""

    def to_internal_value(self, data: Any) -> datetime:
        if not isinstance(data, str) or not _DATETIME.fullmatch(data):
            raise serializers.ValidationError("Send a time with its offset, such as 2026-11-25T09:30:00Z.")
        value = super().to_internal_value(data)
        if not clock.can_be_meant(value):
            raise serializers.ValidationError("This time is out of range; use a year from 1900 to 2200.")
        return value


@extend_schema_field({"type": "string", "pattern": "^([01][0-9]|2[0-3]):[0-5][0-9]$", "examples": ["07:30"]})
class TimeOfDay(serializers.TimeField):
    """A time of the shop's clock, "07:30"."""

    def to_internal_value(self, data: Any) -> time:
        if not isinstance(data, str) or not re.fullmatch(r"([01][0-9]|2[0-3]):[0-5][0-9]", data):
            raise serializers.ValidationError("Send a time as HH:MM, such as 07:30.")
        return super().to_internal_value(data)

    def to_representation(self, value: Any) -> str | None:
        return None if value is None else value.isoformat("minutes")


class Choice(serializers.ChoiceField):
    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str):
            raise serializers.ValidationError("Send one of: " + ", ".join(map(str, self.choices)))
        if data == "" and self.allow_blank:
            return ""
        if data not in self.choices:
            raise serializers.ValidationError(f"“{data[:40]}” is not one of: " + ", ".join(map(str, self.choices)))
        return data


class Email(serializers.EmailField):
    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            raise serializers.ValidationError("Send text in quotes.")
        return super().to_internal_value(data)


@extend_schema_field({"type": "object", "additionalProperties": True})
class AnyJson(serializers.JSONField):
    """An object whose keys vary (answers only)."""


class Body(serializers.Serializer):
    """A request body: unknown fields are refused, so that a typing error is not silently lost."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, dict):
            unknown = [k for k in data if k not in self.fields]
            if unknown:
                raise serializers.ValidationError({k: ["This field is not known here."] for k in unknown})
        return super().to_internal_value(data)


class Out(serializers.Serializer):
    """An answer."""


class Query(serializers.Serializer):
    """The query string of a list: filters of a room on top of these. Values arrive as text."""

    limit = serializers.IntegerField(min_value=1, max_value=200, default=50, help_text="How many, at most 200.")
    cursor = serializers.CharField(max_length=400, required=False, help_text="From `next` or `previous` of a page.")


class DayQuery(serializers.Serializer):
    day = Day(required=False, help_text="The end of this day; left out or later than today: now.")
