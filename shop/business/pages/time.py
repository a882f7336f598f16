"""Working hours and closed days."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext as _

from shop.business import actions, forms, queries
from shop.business.working import Hours
from shop.people.pages.who import by
from shop.ui.pages import page, press

from .common import ask, tabs


def _at_the_list(request: HttpRequest, work: Any, done: str) -> HttpResponse:
    here = reverse("business:hours")
    return press(request, work, to=here, back=here, done=done)


@page("business.read")
def hours(request: HttpRequest) -> HttpResponse:
    calendar = queries.calendar()
    rows = {h.weekday: h.pk for h in queries.working_hours()}
    week = [
        {"number": n, "name": WEEKDAYS[n - 1], "hours": calendar.week.get(n), "pk": rows.get(n)} for n in range(1, 8)
    ]
    context = {
        "tabs": tabs("hours"), "week": week, "set": bool(rows), "coming": queries.closed_days(),
    }  # fmt: skip
    return render(request, "shop_business/hours.html", context)


@page("business.edit", "GET", "POST")
def set_hours(request: HttpRequest, weekday: int) -> HttpResponse:
    if not 1 <= weekday <= 7:
        raise Http404
    now: Hours | None = queries.calendar().week.get(weekday)
    names = forms.HoursForm.base_fields
    form = forms.HoursForm(request.POST or None, initial={n: getattr(now, n) for n in names} if now else {})
    return ask(
        request, form, lambda: actions.set_hours(weekday=weekday, by=by(request), **form.values()),
        to="hours", done=_("Hours saved."), title=str(WEEKDAYS[weekday - 1]),
    )  # fmt: skip


@page("business.edit", "POST")
def close_weekday(request: HttpRequest, pk: int) -> HttpResponse:
    return _at_the_list(request, partial(actions.close_weekday, pk, by=by(request)), _("Closed on this weekday."))


@page("business.edit", "GET", "POST")
def close_day(request: HttpRequest) -> HttpResponse:
    form = forms.ClosedForm(request.POST or None)
    work = lambda: actions.close_day(by=by(request), **form.values())  # noqa: E731
    return ask(request, form, work, to="hours", done=_("Closed on that day."), title=_("Close a day"))


@page("business.edit", "POST")
def open_day(request: HttpRequest, pk: int) -> HttpResponse:
    return _at_the_list(request, partial(actions.open_day, pk, by=by(request)), _("Open on that day after all."))
