"""What every template knows of the business."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from . import queries


def business(request: HttpRequest) -> dict[str, Any]:
    return {"shop_name": queries.profile().name}
