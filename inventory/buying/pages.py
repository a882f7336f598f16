"""Staff pages of suppliers."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import get_language

from shop.kernel.countries import country_name
from shop.people.models import Person
from shop.ui.lists import page_of
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit

from . import actions, forms, queries
from .models import Supplier


def _by(request: HttpRequest) -> Person:
    assert isinstance(request.user, Person)  # noqa: S101 - @page lets nobody else in
    return request.user


def _supplier(pk: int) -> Supplier:
    found = queries.supplier(pk)
    if found is None:
        raise Http404
    return found


def _at(pk: int) -> str:
    return reverse("buying:supplier", args=[pk])


def _to(supplier: Supplier) -> str:
    return _at(supplier.pk)


def _stored(supplier: Supplier) -> dict[str, Any]:
    return {name: getattr(supplier, name) for name in forms.SupplierEditForm.base_fields}


@page("buying.read")
def suppliers(request: HttpRequest) -> HttpResponse:
    form = forms.SupplierFilter(request.GET)
    given = {k: v for k, v in form.cleaned_data.items() if v} if form.is_valid() else {}
    found = page_of(request, queries.suppliers(**given), ("name", "id"))
    return render(request, "inventory_buying/suppliers.html", {"page": found, "form": form})


@page("buying.read")
def supplier(request: HttpRequest, pk: int) -> HttpResponse:
    row = _supplier(pk)
    context = {"supplier": row, "country": country_name(row.country, (get_language() or "en").split("-")[0])}
    return render(request, "inventory_buying/supplier.html", context)


@page("buying.edit", "GET", "POST")
def add_supplier(request: HttpRequest) -> HttpResponse:
    form = forms.SupplierForm(request.POST or None, initial={"name": request.GET.get("name", "")[:160]})
    answer = submit(
        request, form, lambda: actions.add_supplier(by=_by(request), **form.values()), to=_to, done="Supplier added."
    )
    return answer or render(request, "inventory_buying/supplier_form.html", {"form": form}, status=status_of(form))


@page("buying.edit", "GET", "POST")
def edit_supplier(request: HttpRequest, pk: int) -> HttpResponse:
    row = _supplier(pk)
    form = forms.SupplierEditForm(request.POST or None, initial=_stored(row))

    def work() -> Supplier:
        return actions.edit_supplier(pk, form.cleaned_data["version"], by=_by(request), **form.values())

    answer = submit(request, form, work, to=_to, done="Supplier saved.")
    if answer is None and stale(form):
        set_beside(form, _stored(_supplier(pk)))
    context = {"form": form, "supplier": row}
    return answer or render(request, "inventory_buying/supplier_form.html", context, status=status_of(form))


@page("buying.edit", "POST")
def archive_supplier(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.archive_supplier, pk, None, by=_by(request))
    return press(request, work, to=_to, back=_at(pk), done="Supplier archived.")


@page("buying.edit", "POST")
def restore_supplier(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.restore_supplier, pk, by=_by(request))
    return press(request, work, to=_to, back=_at(pk), done="Supplier taken back.")
