"""VAT rates and labour rates."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from shop.business import actions, forms, queries
from shop.business.models import LabourRate, TaxRate
from shop.business.rates import CATEGORIES
from shop.kernel import clock
from shop.people.pages.who import by
from shop.ui.pages import page, press

from .common import ask, tabs


def _confirm() -> str:
    return _(
        "Rates, categories and the words for “no VAT” are yours to get right. Have a tax adviser confirm them, and again "
        "whenever the law changes."
    )


# --- VAT rates -----------------------------------------------------------------------------------


@page("business.read")
def vat(request: HttpRequest) -> HttpResponse:
    context = {
        "tabs": tabs("vat"), "rates": queries.tax_rates(), "today": clock.today(), "categories": CATEGORIES,
        "caution": _confirm(),
    }  # fmt: skip
    return render(request, "shop_business/vat.html", context)


def _tax(pk: int) -> TaxRate:
    found = queries.tax_rates().filter(pk=pk).first()
    if found is None:
        raise Http404
    return found


def _called(rate: TaxRate) -> str:
    return f"{rate.code} {rate.name}"


@page("business.edit", "GET", "POST")
def add_vat(request: HttpRequest) -> HttpResponse:
    form = forms.TaxForm(request.POST or None, initial={"valid_from": clock.today()})
    work = lambda: actions.add_tax_rate(by=by(request), **form.values())  # noqa: E731
    return ask(request, form, work, to="vat", done=_("VAT rate added."), title=_("Add a VAT rate"), caution=_confirm())


@page("business.edit", "GET", "POST")
def edit_vat(request: HttpRequest, pk: int) -> HttpResponse:
    def stored() -> dict[str, Any]:
        row = _tax(pk)
        own = {f"reason_{code}": text for code, text in row.reasons.items()}
        return {"name": row.name, "reason": row.reason, "version": row.version} | own

    form = forms.TaxEditForm(request.POST or None, initial=stored())
    work = lambda: actions.edit_tax_rate(pk, form.cleaned_data["version"], by=by(request), **form.values())  # noqa: E731
    return ask(
        request, form, work, to="vat", done=_("VAT rate saved."), title=_called(_tax(pk)), stored=stored,
        caution=_confirm(),
    )  # fmt: skip


@page("business.edit", "GET", "POST")
def change_vat(request: HttpRequest, pk: int) -> HttpResponse:
    row = _tax(pk)
    form = forms.TaxChangeForm(request.POST or None, initial={"version": row.version})
    work = lambda: actions.change_tax_rate(pk, form.cleaned_data["version"], by=by(request), **form.values())  # noqa: E731
    title = _("%(rate)s: another percentage") % {"rate": _called(row)}
    return ask(
        request, form, work, to="vat", done=_("The new rate is noted."), title=title, caution=_confirm(),
        stored=lambda: {"version": _tax(pk).version},
    )  # fmt: skip


@page("business.edit", "GET", "POST")
def end_vat(request: HttpRequest, pk: int) -> HttpResponse:
    row = _tax(pk)
    form = forms.TaxEndForm(request.POST or None, initial={"version": row.version})
    work = lambda: actions.end_tax_rate(pk, form.cleaned_data["version"], by=by(request), **form.values())  # noqa: E731
    title = _("%(rate)s: until when") % {"rate": _called(row)}
    return ask(
        request, form, work, to="vat", done=_("Its last day is noted."), title=title, caution=_confirm(),
        stored=lambda: {"version": _tax(pk).version},
    )  # fmt: skip


@page("business.edit", "POST")
def default_vat(request: HttpRequest, pk: int) -> HttpResponse:
    here = reverse("business:vat")
    work = partial(actions.make_default_tax, pk, None, by=by(request))
    return press(request, work, to=here, back=here, done=_("It is the usual rate now."))


# --- labour rates --------------------------------------------------------------------------------


@page("business.read")
def labour(request: HttpRequest) -> HttpResponse:
    context = {
        "tabs": tabs("labour"), "rates": queries.labour_rows(), "today": clock.today(),
        "currency": queries.profile().currency,
    }  # fmt: skip
    return render(request, "shop_business/labour.html", context)


def _labour(pk: int) -> LabourRate:
    found = queries.labour_rows().filter(pk=pk).first()
    if found is None:
        raise Http404
    return found


@page("business.edit", "GET", "POST")
def add_labour(request: HttpRequest) -> HttpResponse:
    currency = queries.profile().currency
    form = forms.LabourForm(request.POST or None, initial={"valid_from": clock.today()}, currency=currency)
    work = lambda: actions.add_labour_rate(by=by(request), **form.values())  # noqa: E731
    return ask(request, form, work, to="labour", done=_("Labour rate added."), title=_("Add a labour rate"))


@page("business.edit", "GET", "POST")
def edit_labour(request: HttpRequest, pk: int) -> HttpResponse:
    def stored() -> dict[str, Any]:
        row = _labour(pk)
        return {"per_hour": row.per_hour, "minimum_hours": row.minimum_hours.normalize(), "version": row.version}

    currency = queries.profile().currency
    form = forms.LabourEditForm(request.POST or None, initial=stored(), currency=currency)
    work = lambda: actions.edit_labour_rate(pk, form.cleaned_data["version"], by=by(request), **form.values())  # noqa: E731
    title = _("Put a labour rate right")
    return ask(request, form, work, to="labour", done=_("Labour rate saved."), title=title, stored=stored)


@page("business.edit", "POST")
def remove_labour(request: HttpRequest, pk: int) -> HttpResponse:
    here = reverse("business:labour")
    work = partial(actions.remove_labour_rate, pk, None, by=by(request))
    return press(request, work, to=here, back=here, done=_("Taken away."))
