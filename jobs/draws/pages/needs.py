"""What a stage needs: listed, changed, kept on the shelf, let go."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.stock import queries as shelf
from jobs.cards.pages.common import found_card, found_stage, stage_url
from shop.people.pages.who import by
from shop.ui.newer import set_beside, stale
from shop.ui.pages import next_of, page, press, status_of, submit

from .. import actions, forms
from ..models import Need
from .common import found_need, line_of, next_given, tidy, which


@page("draws.plan", "GET", "POST")
def add_need(request: HttpRequest, card: int, stage: int) -> HttpResponse:
    """Without ?part= which part; with it how much."""
    row = found_stage(card, stage)
    text = request.GET.get("part", "").strip()[:200]
    part, _lot = shelf.by_code(text)
    if part is None:
        return which(request, row, text, "jobs_draws/need_what.html", {"next": next_given(request)})
    form = forms.NeedForm(request.POST or None, part=part)
    answer = submit(
        request, form,
        lambda: actions.add_need(by=by(request), stage_id=row.pk, part_id=part.pk, **form.cleaned_data),
        to=next_of(request, stage_url(card, stage)), done=_("Listed as needed."),
    )  # fmt: skip
    context = {
        "stage": row, "part": part, "form": form, "line": line_of(row, part), "next": next_given(request),
        "free": shelf.free(part.pk, row.card.site_id),
    }  # fmt: skip
    return answer or render(request, "jobs_draws/need_form.html", context, status=status_of(form))


@page("draws.plan", "GET", "POST")
def edit_need(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_need(pk)
    form = forms.EditNeedForm(request.POST or None, part=row.part, initial=_stored(row))

    def work() -> Need:
        values = dict(form.cleaned_data)
        return actions.edit_need(pk, values.pop("version"), by=by(request), **values)

    back = next_of(request, stage_url(row.stage.card_id, row.stage_id))
    answer = submit(request, form, work, to=back, done=_("Changed."))
    if answer is None and stale(form):
        set_beside(form, _stored(found_need(pk)))
    context = {
        "stage": row.stage, "part": row.part, "form": form, "need": row, "line": line_of(row.stage, row.part),
        "next": next_given(request), "free": shelf.free(row.part_id, row.stage.card.site_id),
    }  # fmt: skip
    return answer or render(request, "jobs_draws/need_form.html", context, status=status_of(form))


@page("draws.plan", "POST")
def keep(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_need(pk)
    back = next_of(request, stage_url(row.stage.card_id, row.stage_id))
    return press(request, partial(actions.keep, pk, by=by(request)), to=back, back=back, done=_("Kept on the shelf."))


@page("draws.plan", "POST")
def let_go(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_need(pk)
    back = next_of(request, stage_url(row.stage.card_id, row.stage_id))
    work = partial(actions.let_go, pk, by=by(request))
    return press(request, work, to=back, back=back, done=_("Free on the shelf again."))


@page("draws.plan", "POST")
def remove_need(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_need(pk)
    back = next_of(request, stage_url(row.stage.card_id, row.stage_id))
    work = partial(actions.remove_need, pk, None, by=by(request))
    return press(request, work, to=back, back=back, done=_("Taken off the list."))


@page("draws.plan", "POST")
def keep_all(request: HttpRequest, card: int) -> HttpResponse:
    """Keep on the shelf what the whole card still needs, as far as it is free."""
    found_card(card)
    back = next_of(request, reverse("cards:card", args=[card]))
    work = partial(actions.keep_for_card, card, by=by(request))
    return press(request, work, to=back, back=back, done=_("Kept what is free on the shelf."))


def _stored(row: Any) -> dict[str, Any]:
    return {"quantity": tidy(row.quantity), "note": row.note, "version": row.version}
