"""Staff pages: what a stage of a plan really takes."""

from __future__ import annotations

from functools import partial

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from jobs.cards.models import Stage
from jobs.cards.pages.common import found_stage, stage_url
from shop.people.pages.who import by
from shop.ui.pages import page, press, status_of, submit, version_of

from . import actions, forms, queries


@page("time.read")
def stage(request: HttpRequest, pk: int) -> HttpResponse:
    line = queries.plan_stage(pk)
    if line is None:
        raise Http404
    weight = line.learned.weight * 100 if line.learned else 0
    context = {"line": line, "stage": line.stage, "plan": line.stage.plan, "weight": f"{weight:.0f}"}
    return render(request, "jobs_learning/stage.html", context)


@page("plans.edit", "POST")
def take(request: HttpRequest, pk: int) -> HttpResponse:
    here = reverse("learning:stage", args=[pk])
    work = partial(actions.take_likely, pk, version_of(request), by=by(request))
    return press(request, work, to=here, back=here, done="The likely hours are the standard hours now.")


def _back(row: Stage) -> str:
    """Where a stage's hours stand beside those of other jobs; its own page when it came from no plan."""
    return reverse("learning:stage", args=[row.plan_stage_id]) if row.plan_stage_id else stage_url(row.card_id, row.pk)


@page("time.edit", "GET", "POST")
def set_aside(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    row = found_stage(card, pk)
    form = forms.SetAsideForm(request.POST or None)
    to = _back(row)
    answer = submit(
        request, form, lambda: actions.set_aside(pk, by=by(request), **form.cleaned_data),
        to=to, done="Set aside: these hours no longer count.",
    )  # fmt: skip
    context = {"form": form, "stage": row, "back": to}
    return answer or render(request, "jobs_learning/set_aside.html", context, status=status_of(form))


@page("time.edit", "POST")
def bring_back(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    row = found_stage(card, pk)
    to = _back(row)
    return press(
        request, partial(actions.bring_back, pk, by=by(request)), to=to, back=to, done="These hours count again."
    )
