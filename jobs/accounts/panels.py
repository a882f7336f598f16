"""What this room shows on the page of a customer."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string

from . import queries


def of_customer(request: HttpRequest, row: Any) -> str:
    found = list(queries.reminders(customer_id=row.pk).order_by("-id")[:5])
    return render_to_string("jobs_accounts/customer_panel.html", {"customer": row, "letters": found}, request)
