"""Checking a body and showing a row, with serializers that are made once.

DRF means a serializer to be made for each request, and copies all its fields for that; with bodies as small as ours the
copying costs more than the work. What our shapes do depends on the value and on `context` alone, so each thread keeps
one of each and lends it out.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ValidationError

_kept = threading.local()

Shape = type[serializers.BaseSerializer]


def _one(shape: Shape, *, partial: bool = False) -> Any:
    known: dict[tuple[Shape, bool], Any] = _kept.__dict__.setdefault("shapes", {})
    made = known.get((shape, partial))
    if made is None:
        made = known[shape, partial] = shape(partial=partial)
    return made


def validated(shape: Shape, data: Any, *, partial: bool = False) -> dict[str, Any]:
    """What was sent, checked. Raises ValidationError. `partial`: only the fields that were sent."""
    if not isinstance(data, Mapping):
        raise ValidationError({"non_field_errors": ["Send a JSON object."]})
    return dict(_one(shape, partial=partial).run_validation(data))


def fields_of(shape: Shape) -> list[str]:
    """The fields of a shape."""
    return list(_one(shape).fields)


def shown(shape: Shape, rows: Iterable[Any], context: dict[str, Any]) -> list[Any]:
    """Each row as the API answers it."""
    made = _one(shape)
    made._context = context
    try:
        return [made.to_representation(row) for row in rows]
    finally:
        made._context = {}
