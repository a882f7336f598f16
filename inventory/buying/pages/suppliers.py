"""Suppliers and how they sell parts."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import get_language

from inventory.parts import queries as catalogue
from shop.kernel import clock
from shop.kernel.countries import country_name
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit

from .. import actions, queries
from ..forms import suppliers as forms
from ..leadtime import LeadTime
from ..models import Offer, Supplier
from ..packing import Step
from .shared import SHOWN, trimmed, with_state

OFFER_COLUMNS = ["Their number", "Comes in", "#Price", "#Days promised", "!Change"]


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
    offers = queries.offers(supplier_id=pk).order_by("part__number", "id")[:SHOWN]
    context = {
        "supplier": row, "country": country_name(row.country, (get_language() or "en").split("-")[0]),
        "offers": _with_lead(offers, queries.lead_times(supplier_id=pk)), "lead": queries.lead_time_of(pk),
        "awaited": queries.awaited_lines(supplier_id=pk)[:SHOWN],
        "columns": ["Part", *OFFER_COLUMNS],
        "orders": with_state(queries.orders(supplier_id=pk).order_by("-id")[:10]), "today": clock.today(),
    }  # fmt: skip
    return render(request, "inventory_buying/supplier.html", context)


@page("buying.edit", "GET", "POST")
def add_supplier(request: HttpRequest) -> HttpResponse:
    form = forms.SupplierForm(request.POST or None, initial={"name": request.GET.get("name", "")[:160]})
    answer = submit(
        request, form, lambda: actions.add_supplier(by=by(request), **form.values()), to=_to, done="Supplier added."
    )
    return answer or render(request, "inventory_buying/supplier_form.html", {"form": form}, status=status_of(form))


@page("buying.edit", "GET", "POST")
def edit_supplier(request: HttpRequest, pk: int) -> HttpResponse:
    row = _supplier(pk)
    form = forms.SupplierEditForm(request.POST or None, initial=_stored(row))

    def work() -> Supplier:
        return actions.edit_supplier(pk, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, work, to=_to, done="Supplier saved.")
    if answer is None and stale(form):
        set_beside(form, _stored(_supplier(pk)))
    context = {"form": form, "supplier": row}
    return answer or render(request, "inventory_buying/supplier_form.html", context, status=status_of(form))


@page("buying.edit", "POST")
def archive_supplier(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.archive_supplier, pk, None, by=by(request))
    return press(request, work, to=_to, back=_at(pk), done="Supplier archived.")


@page("buying.edit", "POST")
def restore_supplier(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.restore_supplier, pk, by=by(request))
    return press(request, work, to=_to, back=_at(pk), done="Supplier taken back.")


# --- offers -----------------------------------------------------------------------------------------


def _offer(pk: int) -> Offer:
    found = queries.offer(pk)
    if found is None:
        raise Http404
    return found


def _of_part(offer: Offer) -> str:
    return reverse("parts:part", args=[offer.part_id]) + "#bought"


@page("buying.edit", "GET", "POST")
def add_offer(request: HttpRequest) -> HttpResponse:
    """With ?part= or ?supplier= that one is filled in."""
    known = {name: request.GET.get(name, "")[:60] for name in ("part", "supplier")}
    initial: dict[str, Any] = {"supplier": known["supplier"]}
    if known["part"].isdecimal() and (row := catalogue.part(int(known["part"][:18]))):
        initial |= {"part": row.number, "content_unit": row.unit}
    form = forms.OfferForm(request.POST or None, initial=initial)
    work = lambda: actions.add_offer(by=by(request), **form.values())  # noqa: E731
    answer = submit(request, form, work, to=_of_part, done="Noted where it is bought.")
    return answer or render(request, "inventory_buying/offer_form.html", {"form": form}, status=status_of(form))


@page("buying.edit", "GET", "POST")
def edit_offer(request: HttpRequest, pk: int) -> HttpResponse:
    row = _offer(pk)
    form = forms.OfferEditForm(request.POST or None, initial=_offered(row))

    def work() -> Offer:
        return actions.edit_offer(pk, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, work, to=_of_part, done="Offer saved.")
    if answer is None and stale(form):
        set_beside(form, _offered(_offer(pk)))
    context = {"form": form, "offer": row}
    return answer or render(request, "inventory_buying/offer_form.html", context, status=status_of(form))


def _offered(offer: Offer) -> dict[str, Any]:
    values = {n: trimmed(getattr(offer, n)) for n in forms.OfferEditForm.base_fields if n != "prices"}
    return values | {"prices": forms.written([Step(p.from_packages, p.price) for p in offer.prices.all()])}


@page("buying.edit", "POST")
def archive_offer(request: HttpRequest, pk: int) -> HttpResponse:
    back = _of_part(_offer(pk))
    return press(
        request, partial(actions.archive_offer, pk, None, by=by(request)), to=back, back=back, done="Put away."
    )


def _with_lead(offers: Iterable[Offer], took: dict[tuple[int, int], LeadTime]) -> list[Offer]:
    """Each with `took`, how long it really took when it was ordered there."""
    found = list(offers)
    for row in found:
        row.took = took.get((row.supplier_id, row.part_id))  # type: ignore[attr-defined]
    return found


def of_part(request: HttpRequest, part: Any) -> str:
    """Where a part is bought, how long that took, and what of it is coming."""
    offers = queries.offers(part_id=part.pk).order_by("-preferred", "supplier__name", "id")[:SHOWN]
    context = {
        "part": part, "offers": _with_lead(offers, queries.lead_times(part_ids=[part.pk])),
        "columns": ["Supplier", *OFFER_COLUMNS],
        "awaited": queries.order_lines(part_id=part.pk, awaited=True).order_by("due_on", "id")[:SHOWN],
        "today": clock.today(),
    }  # fmt: skip
    return render_to_string("inventory_buying/part_panel.html", context, request)
