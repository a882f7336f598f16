from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from shop.ui.newer import set_beside, stale
from shop.ui.pages import status_of, submit


def tabs(current: str) -> list[dict[str, Any]]:
    shown = (
        ("profile", _("Letterhead")), ("terms", _("Payment terms")), ("sites", _("Sites")), ("hours", _("Working time")), ("vat", _("VAT rates")),
        ("labour", _("Labour rates")),
    )  # fmt: skip
    return [{"label": label, "url": reverse(f"business:{name}"), "current": name == current} for name, label in shown]


def ask(
    request: HttpRequest,
    form: forms.Form,
    work: Callable[[], Any],
    *,
    to: str,
    done: str,
    title: str,
    stored: Callable[[], Mapping[str, Any]] | None = None,
    caution: str = "",
    template: str = "shop_business/form.html",
) -> HttpResponse:
    """A form on a page of its own. `to`: name of the list it goes back to; `stored`: what to show beside a stale form."""
    back = reverse(f"business:{to}")
    answer = submit(request, form, work, to=back, done=done)
    if answer is None and stored is not None and stale(form):
        set_beside(form, stored())
    context = {"form": form, "title": title, "back": back, "caution": caution}
    return answer or render(request, template, context, status=status_of(form))
