"""What is charged beside a part."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from shop.business.queries import profile
from shop.kernel.decimals import plain
from shop.people.pages.who import by
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit

from .. import actions, forms, queries
from ..models import PartCharge
from .common import found_part


@page("parts.edit", "GET", "POST")
def charges(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_part(pk)
    form = forms.ChargeForm(request.POST or None)
    work = lambda: actions.add_charge(pk, by=by(request), **form.values())  # noqa: E731
    answer = submit(request, form, work, to=_url(pk), done=_("Charge added."))
    context = {"part": row, "form": form, "rows": queries.charges(part_id=pk), "currency": profile().currency}
    return answer or render(request, "inventory_parts/charges.html", context, status=status_of(form))


@page("parts.edit", "GET", "POST")
def edit_charge(request: HttpRequest, pk: int) -> HttpResponse:
    row = _found(pk)
    form = forms.ChargeEditForm(request.POST or None, initial=_stored(row))

    def work() -> Any:
        return actions.edit_charge(pk, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, work, to=_url(row.part_id), done=_("Charge saved."))
    if answer is None and stale(form):
        set_beside(form, _stored(_found(pk)))
    context = {"form": form, "charge": row}
    return answer or render(request, "inventory_parts/charge.html", context, status=status_of(form))


@page("parts.edit", "POST")
def archive_charge(request: HttpRequest, pk: int) -> HttpResponse:
    back = _url(_found(pk).part_id)
    work = partial(actions.archive_charge, pk, None, by=by(request))
    return press(request, work, to=back, back=back, done=_("Put away: documents keep it."))


def _found(pk: int) -> PartCharge:
    row = queries.charge(pk)
    if row is None or row.archived_at:
        raise Http404
    return row


def _url(part_id: int) -> str:
    return reverse("parts:charges", args=[part_id])


def _stored(row: PartCharge) -> dict[str, Any]:
    return {"text": row.text, "amount": plain(row.amount), "tax_code": row.tax_code, "version": row.version}
