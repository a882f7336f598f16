from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest
from django.urls import reverse

from shop.people.pages.who import by


def there(found: Any) -> Any:
    if found is None:
        raise Http404
    return found


def given(form: Any) -> dict[str, Any]:
    return {k: v for k, v in form.cleaned_data.items() if v} if form.is_valid() else {}


def tabs(request: HttpRequest, current: str) -> list[dict[str, Any]]:
    """The views of the stock room that this person may see."""
    views = (
        ("list", "On the shelf", "stock.read"), ("bins", "Bins", "stock.read"), ("expiring", "Use soon", "stock.read"),
        ("counts", "Counts", "stock.count"),
        ("movements", "Movements", "stock.read"), ("value", "Value", "stock.value"),
    )  # fmt: skip
    return [
        {"label": label, "url": reverse(f"stock:{name}"), "current": name == current}
        for name, label, right in views
        if right in by(request).rights
    ]
