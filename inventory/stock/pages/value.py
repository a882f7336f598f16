"""What the stock is worth, and a lot that turned out to cost something else."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from shop.business.queries import profile
from shop.kernel import clock
from shop.people.pages.who import by
from shop.ui.drawing import columns
from shop.ui.pages import page, status_of, submit
from shop.ui.sheets import csv_file

from .. import actions, forms, queries, worth
from .common import tabs, there

SHOWN = 100


@page("stock.value")
def value(request: HttpRequest) -> HttpResponse:
    """Value of the stock at the end of a day, by part: by lots, and beside it by moving average."""
    form = forms.DayFilter(request.GET)
    found = _report(form)
    start = _number(request.GET.get("from", ""))
    ends = worth.month_ends(found.day, found.currency)
    context: dict[str, Any] = {
        "form": form, "report": found, "lines": found.lines[start : start + SHOWN], "tabs": tabs(request, "value"),
        "older": _at(found, start + SHOWN) if start + SHOWN < len(found.lines) else "",
        "newer": _at(found, max(start - SHOWN, 0)) if start else "", "today": clock.today(),
        "csv": f"{reverse('stock:value-csv')}?{urlencode({'day': found.day.isoformat()})}",
        "kinds": found.by_kind(), "ends": list(reversed(ends)),
        "drawing": columns([(f"{day:%m/%y}", (worth_then,)) for day, worth_then in ends]),
    }  # fmt: skip
    return render(request, "inventory_stock/value.html", context, status=status_of(form) if request.GET else 200)


@page("stock.value")
def value_csv(request: HttpRequest) -> HttpResponse:
    found = _report(forms.DayFilter(request.GET))
    header = [
        _("Part"), _("Name"), _("Unit"), _("Quantity"), _("Value by lots"), _("Value by moving average"),
        _("Moving average of a unit"), _("Currency"), _("Day"),
    ]  # fmt: skip
    rows = (
        [
            x.part.number, x.part.name, x.part.unit, x.quantity.normalize(), x.value, x.average_value,
            None if x.average is None else round(x.average, 6), found.currency, found.day,
        ]
        for x in found.lines
    )  # fmt: skip
    return csv_file(f"stock-value-{found.day:%Y-%m-%d}", header, rows)


def _report(form: forms.DayFilter) -> worth.Report:
    day = (form.cleaned_data.get("day") if form.is_valid() else None) or clock.today()
    return worth.report(min(day, clock.today()), profile().currency)


def _at(found: worth.Report, start: int) -> str:
    return f"?{urlencode({'day': found.day.isoformat(), 'from': str(start)})}"


def _number(text: str) -> int:
    return int(text) if text.isdecimal() and len(text) < 8 else 0


@page("stock.revalue", "GET", "POST")
def revalue(request: HttpRequest, pk: int) -> HttpResponse:
    """Another cost of a lot, by a late invoice."""
    lot = there(queries.lot(pk))
    form = forms.CostForm(request.POST or None, currency=lot.currency)

    def work() -> Any:
        return actions.revalue(by=by(request), lot_id=pk, **form.cleaned_data)

    to = reverse("stock:lot", args=[pk])
    answer = submit(request, form, work, to=to, done=_("The difference is posted. What was posted before stays."))
    context = {"lot": lot, "form": form, "back": to}
    return answer or render(request, "inventory_stock/revalue.html", context, status=status_of(form))
