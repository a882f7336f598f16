"""What this room shows on the pages of a card, a stage and a supplier."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string

from shop.business.queries import profile

from . import queries

SHOWN = 50


def of_card(request: HttpRequest, row: Any) -> str:
    """Stages that are sent out with what was expected and charged; nothing where there is none."""
    return _sent_out(request, row, queries.of_card(row.pk))


def of_stage(request: HttpRequest, row: Any) -> str:
    if row.kind != queries.SENT_OUT and not row.sublet_bills.exists():
        return ""
    return _sent_out(request, row.card, queries.of_card(row.card_id, row.pk))


def of_supplier(request: HttpRequest, row: Any) -> str:
    """The newest of what they charged for stages."""
    found = list(queries.bills(supplier_id=row.pk).order_by("-id")[:SHOWN])
    if not found:
        return ""
    context = {"bills": found, "currency": profile().currency}
    return render_to_string("jobs_sublet/supplier_panel.html", context, request)


def _sent_out(request: HttpRequest, card: Any, found: list[queries.SentOut]) -> str:
    if not found:
        return ""
    rights = request.user.rights  # type: ignore[union-attr]
    context = {
        "card": card, "found": found, "currency": profile().currency, "margin": "margin.read" in rights,
        "may_record": "buying.bill" in rights,
    }  # fmt: skip
    return render_to_string("jobs_sublet/panel.html", context, request)
