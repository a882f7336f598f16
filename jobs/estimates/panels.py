"""What this room shows on the page of a card: its estimates, and the way to a new one."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string

from . import queries


def of_card(request: HttpRequest, row: Any) -> str:
    found = queries.estimates(card_id=row.pk).order_by("-id")[:50]
    context = {
        "card": row, "rows": queries.with_words(found),
        "rights": request.user.rights, "closed": bool(row.handed_over_at or row.cancelled_at),  # type: ignore[union-attr]
    }  # fmt: skip
    return render_to_string("jobs_estimates/card_panel.html", context, request)
