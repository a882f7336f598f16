"""Suppliers' electronic invoices: send the file, look at it, record it."""

from __future__ import annotations

import hashlib
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from shop.kernel.errors import BadInput
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.pages import page, press, show, status_of, submit

from .. import actions, incoming
from ..forms import incoming as forms
from ..models import IncomingInvoice, SupplierInvoice
from .shared import tabs


@page("buying.bill", "GET", "POST")
def waiting(request: HttpRequest) -> HttpResponse:
    """What came and isn't recorded yet; and a box for a file."""
    form = forms.FileForm(request.POST or None, request.FILES or None)
    answer = None
    if request.method == "POST" and form.is_valid():
        upload = form.cleaned_data["file"]
        raw = upload.read()
        # a fingerprint of the form alone would take another file for the same posting
        request.POST = request.POST.copy()  # type: ignore[assignment]
        request.POST["digest"] = hashlib.sha256(raw).hexdigest()
        try:
            found = actions.read_einvoice(upload.name, raw)
        except BadInput as error:
            show(form, error)
        else:

            def to(row: IncomingInvoice) -> str:
                return reverse("buying:incoming-look", args=[row.pk])

            answer = submit(request, form, lambda: actions.keep_einvoice(found, by=by(request)), to=to)
    if answer:
        return answer
    shown = page_of(request, incoming.waiting(), ("-id",))
    context = {"form": form, "page": shown, "tabs": tabs("bills")}
    return render(request, "inventory_buying/incoming.html", context, status=status_of(form))


@page("buying.bill", "GET", "POST")
def look(request: HttpRequest, pk: int) -> HttpResponse:
    """What was understood of one and what was not; recorded from here."""
    found = incoming.look(pk)
    if found is None:
        raise Http404
    if request.method == "GET" and found.incoming.bill_id:
        return redirect("buying:bill", found.incoming.bill_id)
    form = forms.TakeForm(request.POST or None, look=found)

    def work() -> SupplierInvoice:
        return actions.take_einvoice(pk, by=by(request), **form.values())

    def to(row: SupplierInvoice) -> str:
        return reverse("buying:bill", args=[row.pk])

    answer = submit(request, form, work, to=to, done="Recorded, with its file.")
    context: dict[str, Any] = {
        "form": form,
        "look": found,
        "kicker": _("Electronic credit note, not recorded yet")
        if found.stated.is_credit
        else _("Electronic invoice, not recorded yet"),
        "owner": forms.WhoseForm(),
        "file": incoming.file_of(found.incoming),
    }
    return answer or render(request, "inventory_buying/incoming_look.html", context, status=status_of(form))


@page("buying.bill", "POST")
def name_supplier(request: HttpRequest, pk: int) -> HttpResponse:
    if not incoming.there(pk):
        raise Http404
    here = reverse("buying:incoming-look", args=[pk])
    form = forms.WhoseForm(request.POST)

    def work() -> IncomingInvoice:
        if not form.is_valid():
            raise BadInput("Choose a supplier.")
        return actions.name_supplier(pk, by=by(request), supplier_id=form.cleaned_data["supplier"].pk)

    return press(request, work, to=here, back=here)


@page("buying.bill", "POST")
def set_aside(request: HttpRequest, pk: int) -> HttpResponse:
    back = reverse("buying:incoming-look", args=[pk])
    return press(
        request, lambda: actions.set_aside_einvoice(pk, by=by(request)), to=reverse("buying:incoming"), back=back,
        done="Set aside. Its file stays in store.",
    )  # fmt: skip
