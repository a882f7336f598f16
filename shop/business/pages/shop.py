"""Letterhead and sites."""

from __future__ import annotations

from decimal import Decimal
from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from shop.business import actions, forms, queries
from shop.business.models import Site
from shop.kernel.countries import country_name
from shop.people.pages.who import by
from shop.ui.pages import page, press

from .common import ask, tabs


@page("business.read")
def profile(request: HttpRequest) -> HttpResponse:
    row = queries.profile()
    language = (get_language() or "en").split("-")[0]
    context = {
        "tabs": tabs("profile"), "row": row, "began": row.version > 0, "country": country_name(row.country, language),
    }  # fmt: skip
    return render(request, "shop_business/profile.html", context)


def _stored() -> dict[str, Any]:
    row = queries.profile()
    found = {name: getattr(row, name) for name in forms.ProfileForm.base_fields}
    return found | {"sundries_percent": f"{Decimal(row.sundries_percent).normalize():f}"}


@page("business.edit", "GET", "POST")
def edit_profile(request: HttpRequest) -> HttpResponse:
    settled = queries.profile().version > 0
    form = forms.ProfileForm(request.POST or None, initial=_stored(), settled=settled)
    return ask(
        request, form, lambda: actions.edit_profile(form.cleaned_data["version"], by=by(request), **form.values()),
        to="profile", done=_("Saved."), title=_("Letterhead"), stored=_stored, template="shop_business/profile_form.html",
    )  # fmt: skip


@page("business.read")
def terms(request: HttpRequest) -> HttpResponse:
    context = {"tabs": tabs("terms"), "row": queries.money_terms(), "currency": queries.profile().currency}
    return render(request, "shop_business/terms.html", context)


def _stored_terms() -> dict[str, Any]:
    row = queries.money_terms()
    found = {name: getattr(row, name) for name in forms.TermsForm.base_fields if name != "interest_since"}
    return {k: f"{Decimal(v).normalize():f}" if isinstance(v, Decimal) else v for k, v in found.items()}


@page("business.edit", "GET", "POST")
def edit_terms(request: HttpRequest) -> HttpResponse:
    form = forms.TermsForm(request.POST or None, initial=_stored_terms())
    return ask(
        request, form, lambda: actions.edit_money_terms(form.cleaned_data["version"], by=by(request), **form.values()),
        to="terms", done=_("Saved. What is issued keeps the terms it states."), title=_("Payment terms"),
        stored=_stored_terms,
        caution=_(
            "Which discount, fee, interest and storage you may ask for, and from whom, is local law and differs for "
            "consumers. All figures are examples until an adviser has confirmed them."
        ),
    )  # fmt: skip


@page("business.read")
def sites(request: HttpRequest) -> HttpResponse:
    context = {"tabs": tabs("sites"), "sites": queries.sites(), "closed": queries.sites(archived=True)}
    return render(request, "shop_business/sites.html", context)


@page("business.edit", "GET", "POST")
def add_site(request: HttpRequest) -> HttpResponse:
    form = forms.SiteForm(request.POST or None)
    work = lambda: actions.open_site(by=by(request), **form.values())  # noqa: E731
    return ask(request, form, work, to="sites", done=_("Site added."), title=_("Add a site"))


@page("business.edit", "GET", "POST")
def edit_site(request: HttpRequest, pk: int) -> HttpResponse:
    def stored() -> dict[str, Any]:
        row = _site(pk)
        return {"code": row.code, "name": row.name, "version": row.version}

    form = forms.SiteEditForm(request.POST or None, initial=stored())
    work = lambda: actions.edit_site(pk, form.cleaned_data["version"], by=by(request), **form.values())  # noqa: E731
    return ask(request, form, work, to="sites", done=_("Site saved."), title=_site(pk).name, stored=stored)


@page("business.edit", "POST")
def archive_site(request: HttpRequest, pk: int) -> HttpResponse:
    here = reverse("business:sites")
    return press(
        request, partial(actions.archive_site, pk, None, by=by(request)), to=here, back=here, done=_("Put away.")
    )


def _site(pk: int) -> Site:
    found = queries.site(pk)
    if found is None:
        raise Http404
    return found
