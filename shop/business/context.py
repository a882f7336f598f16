"""What every template knows of the business."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from . import queries


def business(request: HttpRequest) -> dict[str, Any]:
    """Looked up once per request: panels render templates of their own with the same request."""
    if not hasattr(request, "shop_name"):
        request.shop_name = queries.profile().name  # type: ignore[attr-defined]
    return {"shop_name": request.shop_name}  # type: ignore[attr-defined]
