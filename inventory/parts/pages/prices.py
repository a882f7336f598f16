"""The table of price rules."""

from __future__ import annotations

from decimal import Decimal
from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from shop.business.queries import profile
from shop.kernel import clock
from shop.kernel.decimals import plain
from shop.people.pages.who import by
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit

from .. import actions, forms, queries
from ..models import PriceRule


@page("prices.read")
def price_rules(request: HttpRequest) -> HttpResponse:
    context = {"rules": queries.price_rules(), "currency": profile().currency, "today": clock.today()}
    return render(request, "inventory_parts/price_rules.html", context)


@page("prices.edit", "GET", "POST")
def add_price_rule(request: HttpRequest) -> HttpResponse:
    form = forms.PriceRuleForm(request.POST or None)
    work = lambda: actions.add_price_rule(by=by(request), **form.values())  # noqa: E731
    answer = submit(request, form, work, to=reverse("parts:prices"), done=_("Price rule added."))
    return answer or render(request, "inventory_parts/price_rule.html", {"form": form}, status=status_of(form))


@page("prices.edit", "GET", "POST")
def edit_price_rule(request: HttpRequest, pk: int) -> HttpResponse:
    row = _rule(pk)
    form = forms.PriceRuleEditForm(request.POST or None, initial=_stored(row))

    def work() -> Any:
        return actions.edit_price_rule(pk, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, work, to=reverse("parts:prices"), done=_("Price rule saved."))
    if answer is None and stale(form):
        set_beside(form, _stored(_rule(pk)))
    context = {"form": form, "rule": row}
    return answer or render(request, "inventory_parts/price_rule.html", context, status=status_of(form))


@page("prices.edit", "POST")
def archive_price_rule(request: HttpRequest, pk: int) -> HttpResponse:
    back = reverse("parts:prices")
    work = partial(actions.archive_price_rule, pk, None, by=by(request))
    return press(request, work, to=back, back=back, done=_("Price rule archived."))


def _rule(pk: int) -> PriceRule:
    found = queries.price_rule(pk)
    if found is None or found.archived_at:
        raise Http404
    return found


def _stored(row: PriceRule) -> dict[str, Any]:
    values = {name: getattr(row, name) for name in forms.PriceRuleEditForm.base_fields}
    tidy = {
        k: Decimal(plain(v))
        for k, v in values.items()
        if k in ("cost_from", "cost_below", "markup_percent") and v is not None
    }
    return values | tidy | {"step": str(next(s for s in forms.pricing.STEPS if s == row.step))}
