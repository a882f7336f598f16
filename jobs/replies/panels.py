"""What this room shows on the page of an estimate: the way to its links, and what proves an answer given by one."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string

from . import queries


def of_estimate(request: HttpRequest, row: Any) -> str:
    links = list(queries.links(estimate_id=row.pk).order_by("-id")[:20])
    context = {
        "estimate": row,
        "links": [(link, *queries.STATES[queries.state_of(link)]) for link in links],
        "replies": list(queries.replies(estimate_id=row.pk).order_by("-id")[:20]) if links else [],
        "rights": request.user.rights,  # type: ignore[union-attr]
    }
    return render_to_string("jobs_replies/panel.html", context, request)


def buttons_of_estimate(request: HttpRequest, row: Any) -> str:
    """The way to a link while the customer's word is wanted."""
    if not row.issued_at or row.superseded_at or row.withdrawn_at:
        return ""
    return render_to_string("jobs_replies/button.html", {"estimate": row}, request)
