"""What this room shows on the pages of customers and machines: their cards."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from . import queries

SHOWN = 50


def of_customer(request: HttpRequest, row: Any) -> str:
    return _cards(request, queries.cards(customer_id=row.pk).order_by("-id")[:SHOWN], _("Cards of this customer"))


def of_machine(request: HttpRequest, row: Any) -> str:
    return _cards(request, queries.cards(machine_id=row.pk).order_by("-id")[:SHOWN], _("Cards of this machine"), row)


def _cards(request: HttpRequest, rows: Any, caption: str, machine: Any = None) -> str:
    context = {"rows": rows, "caption": caption, "machine": machine, "rights": request.user.rights}  # type: ignore[union-attr]
    return render_to_string("jobs_cards/panel.html", context)
