"""The catalogue and a part itself."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from shop.business.queries import profile
from shop.kernel.units import unit
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit

from .. import actions, forms, queries
from ..models import Part
from .common import found_part, part_url


def _stored(part: Part) -> dict[str, Any]:
    values = {name: getattr(part, name) for name in forms.PartEditForm.base_fields}
    return values | {"hazards": " ".join(part.hazards)}


@page("parts.read")
def parts(request: HttpRequest) -> HttpResponse:
    """The catalogue. A scanned code that is one part's leads straight to it."""
    form = forms.PartFilter(request.GET)
    given = {k: v for k, v in form.cleaned_data.items() if v} if form.is_valid() else {}
    if (text := given.get("text")) and (found := _scanned(request, text)):
        return redirect(part_url(found))
    rows = page_of(request, queries.parts(**given).prefetch_related(None), ("number", "id"))
    context = {"page": rows, "form": form, "currency": profile().currency, "prices": queries.prices(rows.items)}
    return render(request, "inventory_parts/parts.html", context)


def _scanned(request: HttpRequest, text: str) -> Part | None:
    """The part whose barcode was scanned, or what replaced the part whose whole number or barcode this is."""
    exact = queries.by_code(text)
    if exact is None:
        return None
    now = queries.newest(exact)
    if now != exact:
        said = _("%(old)s is replaced by %(new)s.") % {"old": exact.number, "new": now.number}
        messages.info(request, said)
        return now
    return exact if exact.number.lower() != text.strip().lower() else None


@page("parts.read")
def part(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_part(pk)
    context = {
        "part": row, "currency": profile().currency, "unit": unit(row.unit), "instead": queries.instead(row),
        "packages": queries.packages(part_id=pk), "price": queries.prices([row])[pk],
        "charges": queries.charges(part_id=pk), "contents": queries.kit_parts(kit_id=pk), "kits": queries.kit_parts(part_id=pk),
    }  # fmt: skip
    return render(request, "inventory_parts/part.html", context)


@page("parts.edit", "GET", "POST")
def add_part(request: HttpRequest) -> HttpResponse:
    form = forms.PartForm(request.POST or None, initial={"number": request.GET.get("number", "")[:40]})
    answer = submit(
        request, form, lambda: actions.add_part(by=by(request), **form.values()), to=part_url, done="Part added."
    )
    return answer or render(request, "inventory_parts/part_form.html", {"form": form}, status=status_of(form))


@page("parts.edit", "GET", "POST")
def edit_part(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_part(pk)
    form = forms.PartEditForm(request.POST or None, initial=_stored(row))

    def work() -> Part:
        return actions.edit_part(pk, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, work, to=part_url, done="Part saved.")
    if answer is None and stale(form):
        set_beside(form, _stored(found_part(pk)))
    context = {"form": form, "part": row}
    return answer or render(request, "inventory_parts/part_form.html", context, status=status_of(form))


@page("parts.edit", "POST")
def archive_part(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.archive_part, pk, None, by=by(request))
    return press(request, work, to=part_url, back=part_url(pk), done="Part archived.")


@page("parts.edit", "POST")
def restore_part(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.restore_part, pk, by=by(request))
    return press(request, work, to=part_url, back=part_url(pk), done="Part taken back.")
