"""What this room shows on the pages of a card and of a customer."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string

from shop.business import queries as business

from . import cores, outcome, queries
from .pages.common import with_state


def of_card(request: HttpRequest, row: Any) -> str:
    found = queries.invoices(card_id=row.pk).order_by("-id")[:50]
    context = {"card": row, "rows": with_state(found), "rights": request.user.rights}  # type: ignore[union-attr]
    return render_to_string("jobs_invoices/card_panel.html", context, request)


def cores_of_card(request: HttpRequest, row: Any) -> str:
    """Old parts of the card: which are asked for, what came of them; nothing where no deposit is charged."""
    wanted, said = cores.parts_with_deposit(row.pk), list(cores.returns(card_id=row.pk).order_by("id")[:50])
    if not wanted and not said:
        return ""
    context = {
        "card": row, "said": said, "wanted": list(wanted.values()),
        "rights": request.user.rights,  # type: ignore[union-attr]
    }  # fmt: skip
    return render_to_string("jobs_invoices/cores_panel.html", context, request)


def outcome_of_card(request: HttpRequest, row: Any) -> str:
    """Once the card is finished or something is billed: what was quoted, what it took, what was billed."""
    found = outcome.of_card(row.pk)
    if found is None or not found.rows or not (row.finished_at or found.sum.billed):
        return ""
    return render_to_string("jobs_invoices/outcome_panel.html", {"outcome": found}, request)


def of_customer(request: HttpRequest, row: Any) -> str:
    context = {
        "customer": row, "balance": queries.balance(row.pk), "currency": business.profile().currency,
        "rights": request.user.rights,  # type: ignore[union-attr]
    }  # fmt: skip
    return render_to_string("jobs_invoices/customer_panel.html", context, request)
