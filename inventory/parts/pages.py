"""Staff pages of the catalogue."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from shop.business.queries import profile
from shop.kernel.identity import check_gtin
from shop.kernel.units import unit
from shop.people.models import Person
from shop.ui.lists import page_of
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit

from . import actions, forms, queries
from .models import Part


def _by(request: HttpRequest) -> Person:
    assert isinstance(request.user, Person)  # noqa: S101 - @page lets nobody else in
    return request.user


def _part(pk: int) -> Part:
    found = queries.part(pk)
    if found is None:
        raise Http404
    return found


def _to(part: Part) -> str:
    return reverse("parts:part", args=[part.pk])


def _stored(part: Part) -> dict[str, Any]:
    values = {name: getattr(part, name) for name in forms.PartEditForm.base_fields}
    return values | {"hazards": " ".join(part.hazards)}


@page("parts.read")
def parts(request: HttpRequest) -> HttpResponse:
    """The catalogue. A scanned code that is one part's leads straight to it."""
    form = forms.PartFilter(request.GET)
    given = {k: v for k, v in form.cleaned_data.items() if v} if form.is_valid() else {}
    if text := given.get("text"):
        exact = queries.by_code(text)
        if exact is not None and exact.barcode == text:
            return redirect(_to(exact))
    found = page_of(request, queries.parts(**given), ("number", "id"))
    return render(request, "inventory_parts/parts.html", {"page": found, "form": form, "currency": profile().currency})


@page("parts.read")
def part(request: HttpRequest, pk: int) -> HttpResponse:
    row = _part(pk)
    context = {
        "part": row, "currency": profile().currency, "unit": unit(row.unit),
        "barcode_check": check_gtin(row.barcode).reason if row.barcode.isdecimal() else "",
    }  # fmt: skip
    return render(request, "inventory_parts/part.html", context)


@page("parts.edit", "GET", "POST")
def add_part(request: HttpRequest) -> HttpResponse:
    form = forms.PartForm(request.POST or None, initial={"number": request.GET.get("number", "")[:40]})
    answer = submit(
        request, form, lambda: actions.add_part(by=_by(request), **form.values()), to=_to, done="Part added."
    )
    return answer or render(request, "inventory_parts/part_form.html", {"form": form}, status=status_of(form))


@page("parts.edit", "GET", "POST")
def edit_part(request: HttpRequest, pk: int) -> HttpResponse:
    row = _part(pk)
    form = forms.PartEditForm(request.POST or None, initial=_stored(row))

    def work() -> Part:
        return actions.edit_part(pk, form.cleaned_data["version"], by=_by(request), **form.values())

    answer = submit(request, form, work, to=_to, done="Part saved.")
    if answer is None and stale(form):
        set_beside(form, _stored(_part(pk)))
    context = {"form": form, "part": row}
    return answer or render(request, "inventory_parts/part_form.html", context, status=status_of(form))


@page("parts.edit", "POST")
def archive_part(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.archive_part, pk, None, by=_by(request))
    return press(request, work, to=_to, back=reverse("parts:part", args=[pk]), done="Part archived.")


@page("parts.edit", "POST")
def restore_part(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.restore_part, pk, by=_by(request))
    return press(request, work, to=_to, back=reverse("parts:part", args=[pk]), done="Part taken back.")
