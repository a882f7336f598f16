"""Staff pages of the reports an owner reads, and the page from which all of them are reached."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from jobs.books import forms as books_forms
from jobs.books.pages import plain
from shop.business.queries import profile
from shop.people.models import Person
from shop.people.pages.who import by
from shop.ui.drawing import columns
from shop.ui.lists import page_of
from shop.ui.pages import ask_again, page, status_of
from shop.ui.sheets import csv_file

from . import accuracy, forms, hours
from .shares import NOBODY

SHOWN = 50
DRAWN = 36  # months of the picture; all stand in the table


@page("time.read")
def hub(request: HttpRequest) -> HttpResponse:
    """All reports in one place, each for whoever may read it."""
    rights = by(request).rights
    listed = (
        ("time.read", "reports:hours", _("Hours"), _("At work, on stages, sold: by person, with their ratios and the months.")),
        ("margin.read", "reports:accuracy", _("How near estimates come"), _("Agreed against billed, hours estimated against hours taken, by card.")),
        ("margin.read", "books:earned", _("What jobs earned"), _("Invoiced less what parts, work sent out and hours cost, by card.")),
        ("invoices.read", "accounts:ages", _("Who owes what"), _("Open invoices by customer and by how late they are.")),
        ("stock.value", "stock:value", _("Value of the stock"), _("At the end of any day, by part and by kind, and at the ends of the last twelve months.")),
        ("books.read", "books:progress", _("Work in progress"), _("What cards that are not invoiced have cost by the end of any day.")),
        ("books.read", "books:totals", _("By account"), _("What each account came to in some days.")),
    )  # fmt: skip
    found = [
        {"url": reverse(name), "name": title, "what": what} for right, name, title, what in listed if right in rights
    ]
    return render(request, "jobs_reports/hub.html", {"reports": found})


def _asked(request: HttpRequest, kind: type[books_forms.SpanFilter]) -> tuple[Any, date, date, str]:
    """The filter with what was left out filled in, first and last day, and both as a query."""
    given = kind(request.GET)
    ok = given.is_valid()
    first, last = given.span()
    query = {"since": first.isoformat(), "until": last.isoformat()}
    return kind(query) if ok else given, first, last, urlencode(query)


def _from(request: HttpRequest) -> int:
    typed = request.GET.get("from", "")
    return int(typed) if typed.isdecimal() and len(typed) < 8 else 0


@page("time.read")
def hours_page(request: HttpRequest) -> HttpResponse:
    form, first, last, span = _asked(request, forms.LongSpan)
    found = hours.report(first, last)
    shown = found.months[-DRAWN:]
    drawing = columns([(f"{m.month:%m/%y}", (m.attended, m.worked, m.sold)) for m in shown])
    context = {
        "form": form, "report": found, "span": span, "drawing": drawing,
        "days": urlencode({"first": first.isoformat(), "last": last.isoformat()}),
        "months": [(m, _month_query(m.month)) for m in reversed(found.months)],
    }  # fmt: skip
    return render(request, "jobs_reports/hours.html", context, status=status_of(form))


def _month_query(month: date) -> str:
    return urlencode({"since": month.isoformat(), "until": books_forms.last_of(month).isoformat()})


@page("time.read")
def hours_csv(request: HttpRequest) -> HttpResponse:
    form, first, last, _span = _asked(request, forms.LongSpan)
    if form.errors:
        return ask_again(request, reverse("reports:hours"))
    found = hours.report(first, last)
    header = [
        _("Who"), _("At work"), _("On stages"), _("On stages on days with attendance that are over"),
        _("At work on days that are over"), _("Days on stages"), _("Days without attendance"),
        _("Days still at work"), _("Sold"), _("On stages of 100 at work"), _("Sold of 100 on stages"),
        _("Sold of 100 at work"), _("From"), _("To"),
    ]  # fmt: skip

    def row(name: str, x: hours.Hours) -> list[Any]:
        ratios = (x.worked_of_attended, x.sold_of_worked, x.sold_of_attended)
        return [
            name, plain(x.attended), plain(x.worked), plain(x.kept), plain(x.over), x.days, x.days_without,
            x.days_running, plain(x.sold),
            *("" if r is None else plain(r) for r in ratios), first.isoformat(), last.isoformat(),
        ]  # fmt: skip

    rows = [row(x.name, x) for x in found.people]
    if found.nobody:
        rows.append(row(_("Nobody booked for it"), hours.Hours(sold=found.nobody)))
    return csv_file(f"hours-{first:%Y-%m-%d}-{last:%Y-%m-%d}", header, [*rows, row(_("All"), found.whole)])


@page("time.read")
def sold(request: HttpRequest) -> HttpResponse:
    """The invoice lines behind a person's sold hours, and which share of each is theirs."""
    form = forms.SoldFilter(request.GET)
    if not form.is_valid():
        raise Http404
    first, last = form.span()
    pk = form.cleaned_data["person"]
    person = Person.objects.filter(pk=pk).first()
    if person is None and pk not in (None, NOBODY):
        raise Http404
    lines = hours.sold_lines(first, last, pk).select_related("invoice__card", "stage")
    found = page_of(request, lines, ("-id",))
    span = {"since": first.isoformat(), "until": last.isoformat()}
    context = {
        "person": person, "everybody": pk is None, "page": found, "rows": hours.sold_by(pk, found.items), "first": first, "last": last,
        "back": f"{reverse('reports:hours')}?{urlencode(span)}", "invoices": "invoices.read" in by(request).rights,
    }  # fmt: skip
    return render(request, "jobs_reports/sold.html", context)


@page("margin.read")
def accuracy_page(request: HttpRequest) -> HttpResponse:
    form, first, last, span = _asked(request, books_forms.SpanFilter)
    found = accuracy.report(first, last, profile().currency)
    start = _from(request)
    lines = found.lines[start : start + SHOWN]
    drawing = columns([(x.card.number, (x.agreed, x.billed)) for x in lines[:30]])
    context = {
        "form": form, "report": found, "lines": lines, "span": span, "drawing": drawing if lines else None,
        "older": f"?{span}&from={start + SHOWN}" if start + SHOWN < len(found.lines) else "",
        "newer": f"?{span}&from={max(start - SHOWN, 0)}" if start else "",
    }  # fmt: skip
    return render(request, "jobs_reports/accuracy.html", context, status=status_of(form))


@page("margin.read")
def accuracy_csv(request: HttpRequest) -> HttpResponse:
    form, first, last, _span = _asked(request, books_forms.SpanFilter)
    if form.errors:
        return ask_again(request, reverse("reports:accuracy"))
    found = accuracy.report(first, last, profile().currency)
    header = [
        _("Card"), _("Machine"), _("Customer"), _("Agreed"), _("Billed"), _("Billed of 100 agreed"), _("Hours agreed"),
        _("Hours taken"), _("Likely price"), _("Careful price"), _("Likely hours"), _("Careful hours"),
        _("Core deposits agreed"), _("Core deposits billed"), _("Currency"),
    ]  # fmt: skip
    rows = (
        [
            x.card.number, str(x.card.machine), x.card.customer.name, plain(x.agreed), plain(x.billed),
            "" if x.percent is None else plain(x.percent), plain(x.hours_agreed), plain(x.hours_taken),
            *(
                ["", "", "", ""]
                if x.outlook is None
                else [
                    plain(v)
                    for v in (x.outlook.likely, x.outlook.careful, x.outlook.likely_hours, x.outlook.careful_hours)
                ]
            ),
            plain(x.cores_agreed), plain(x.cores_billed), found.currency,
        ]
        for x in found.lines
    )  # fmt: skip
    return csv_file(f"estimates-{first:%Y-%m-%d}-{last:%Y-%m-%d}", header, rows)
