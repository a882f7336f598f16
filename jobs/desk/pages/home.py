"""The first page: what today asks of this person."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from jobs.timebook import queries as hours
from shop.kernel import clock
from shop.people.pages.who import by
from shop.trail import queries as trail
from shop.ui.pages import page

from ..queries import today as queries
from ..queries.bench import bench


@page("home.read")
def today(request: HttpRequest) -> HttpResponse:
    """Each part for those who act on it; a person with several roles sees several."""
    person = by(request)
    rights = person.rights
    context: dict[str, Any] = {"day": clock.today()}
    if "cards.edit" in rights or "stock.move" in rights:
        context["floor"] = queries.floor()
    if "cards.edit" in rights:
        context["office"] = _office(rights)
    if "stages.work" in rights:
        context |= {"bench": bench(person), "hidden": {"next": reverse("home")}}
    if "stock.move" in rights:
        context["stores"] = {
            "waiting": context["floor"].waiting_on("stores"), "wanted": queries.wanted(),
            "low": queries.low(), "expiring": queries.expiring(),
        }  # fmt: skip
    return render(request, "jobs_desk/today.html", context)


def _office(rights: frozenset[str]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if "estimates.read" in rights:
        found["unanswered"] = queries.unanswered()
    if "invoices.read" in rights:
        found |= {"not_invoiced": queries.not_invoiced(), "overdue": queries.overdue()}
    if "time.read" in rights:
        found["flagged"] = list(hours.flagged()[: queries.SHOWN])
    if "outbox.read" in rights:
        found["undelivered"] = list(trail.failed().order_by("-id")[:5])
    return found
