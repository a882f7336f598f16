"""What this room shows on the page of a plan and of a card."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string

from . import queries


def of_plan(request: HttpRequest, row: Any) -> str:
    lines = queries.of_plan(row.pk)
    if not lines:
        return ""
    context = {"plan": row, "lines": lines, "any": any(x.seen for x in lines), "rights": request.user.rights}  # type: ignore[union-attr]
    return render_to_string("jobs_learning/plan_panel.html", context, request)


def of_card(request: HttpRequest, row: Any) -> str:
    """Once the card is finished: what was planned and what it took."""
    lines = queries.of_card(row.pk) if row.finished_at else []
    if not lines:
        return ""
    context = {
        "card": row, "lines": lines, "rights": request.user.rights,  # type: ignore[union-attr]
        "standard": sum((x.standard for x in lines), Decimal(0)), "booked": sum((x.booked for x in lines), Decimal(0)),
    }  # fmt: skip
    return render_to_string("jobs_learning/card_panel.html", context, request)
