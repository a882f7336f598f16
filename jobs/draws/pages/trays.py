"""Which tray holds the parts for a stage."""

from __future__ import annotations

from functools import partial

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from jobs.cards.pages.common import found_stage, stage_url
from shop.people.pages.who import by
from shop.ui.pages import next_of, page, press, status_of, submit

from .. import actions, forms, queries
from .common import next_given


@page("draws.plan", "GET", "POST")
def put_in(request: HttpRequest, card: int, stage: int) -> HttpResponse:
    """Its number; when the parts for another stage are in it, whether they share it."""
    row = found_stage(card, stage)
    form = forms.TrayForm(request.POST or None)
    back = next_of(request, stage_url(card, stage))
    answer = submit(
        request, form, lambda: actions.put_in_tray(row.pk, by=by(request), **form.cleaned_data),
        to=back, done=_("Noted: its parts are in that tray."),
    )  # fmt: skip
    if answer is None and not _in_use(form) and not request.POST.get("shared"):
        form.fields.pop("shared", None)
    context = {
        "stage": row, "form": form, "uses": queries.trays(stage_id=row.pk), "next": next_given(request), "back": back,
    }  # fmt: skip
    return answer or render(request, "jobs_draws/tray.html", context, status=status_of(form))


def _in_use(form: forms.TrayForm) -> bool:
    return getattr(getattr(form, "refusal", None), "code", "") == "tray-in-use"


@page("draws.plan", "POST")
def clear(request: HttpRequest, pk: int) -> HttpResponse:
    row = queries.tray_use(pk)
    if row is None:
        raise Http404
    back = next_of(request, stage_url(row.stage.card_id, row.stage_id))
    return press(
        request, partial(actions.clear_tray, pk, by=by(request)), to=back, back=back, done=_("Noted as empty.")
    )
