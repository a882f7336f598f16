"""Whole seconds between two moments, counted by the database exactly as `jobs.timebook.hours.seconds_worked` does."""

from __future__ import annotations

from typing import Any

from django.db.models import BigIntegerField, F, Func
from django.db.models.functions import Greatest


class WholeSeconds(Func):
    """From the second moment to the first, fractions cut off."""

    arity = 2
    output_field = BigIntegerField()

    def as_sqlite(self, compiler: Any, connection: Any, **more: Any) -> Any:
        # what Django itself counts with: microseconds
        return self.as_sql(compiler, connection, template="(django_timestamp_diff(%(expressions)s) / 1000000)", **more)

    def as_postgresql(self, compiler: Any, connection: Any, **more: Any) -> Any:
        template = "FLOOR(EXTRACT(EPOCH FROM (%(expressions)s)))::bigint"
        return self.as_sql(compiler, connection, template=template, arg_joiner=" - ", **more)


def worked(start: str, end: str) -> Any:
    """Seconds without the break, never below zero."""
    length = WholeSeconds(F(end), F(start)) - F("break_minutes") * 60
    return Greatest(length, 0, output_field=BigIntegerField())
