"""Stages of a card and their gates: the page of one stage, adding, editing, ordering, and the buttons of the bench."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from shop.kernel.errors import field_error
from shop.people.pages.who import by
from shop.ui.newer import set_beside, stale
from shop.ui.pages import next_of, page, press, status_of, submit

from .. import actions, forms, queries
from ..models import Stage
from .common import ask, card_url, found_card, found_gate, found_stage, stage_url, start_or_ask

FIELDS = (
    "name", "kind", "standard_hours", "mechanic_id", "done_by", "chargeable", "needs_go_ahead", "instructions", "cautions",
    "version",
)  # fmt: skip


@page("cards.read")
def stage(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    row = found_stage(card, pk)
    context = {
        "stage": row, "card": found_card(card), "notes": queries.notes(stage_id=pk).order_by("-id")[:50],
        "note_form": forms.NoteForm(initial={"stage_id": pk}), "gate_form": forms.GateForm(),
    }  # fmt: skip
    return render(request, "jobs_cards/stage.html", context)


@page("cards.edit", "GET", "POST")
def add_stage(request: HttpRequest, card: int) -> HttpResponse:
    row = found_card(card)
    others = list(queries.stages(card_id=card))
    form = forms.StageForm(request.POST or None, before=others)
    answer = submit(
        request, form, lambda: actions.add_stage(card, by=by(request), **form.values()),
        to=card_url(card), done=_("Stage added."),
    )  # fmt: skip
    context = {"form": form, "card": row}
    return answer or render(request, "jobs_cards/stage_form.html", context, status=status_of(form))


@page("cards.edit", "GET", "POST")
def edit_stage(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    row = found_stage(card, pk)
    # once it was started, what it waited for can't change any more
    before = [] if row.started_at else list(queries.stages(card_id=card).filter(position__lt=row.position))
    form = forms.EditStageForm(request.POST or None, before=before, initial=_stored(row))

    def work() -> Stage:
        return actions.edit_stage(pk, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, work, to=next_of(request, stage_url(card, pk)), done=_("Stage saved."))
    if answer is None and stale(form):
        set_beside(form, _stored(found_stage(card, pk)))
    context = {"form": form, "card": row.card, "stage": row}
    return answer or render(request, "jobs_cards/stage_form.html", context, status=status_of(form))


@page("cards.edit", "POST")
def move(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    found_stage(card, pk)
    back = next_of(request, card_url(card))
    typed = request.POST.get("position", "")

    def work() -> Stage:
        if not (typed.isdecimal() and len(typed) < 5):
            raise field_error("position", _("Give the place as a whole number: 1 is the first stage."))
        return actions.move_stage(pk, int(typed), by=by(request))

    return press(request, work, to=back, back=back, done=_("Stage moved."))


@page("cards.edit", "POST")
def remove_stage(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    found_stage(card, pk)
    back = next_of(request, card_url(card))
    work = partial(actions.remove_stage, pk, by=by(request))
    return press(request, work, to=back, back=back, done=_("Stage removed."))


@page("stages.work", "POST")
def start(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    row = found_stage(card, pk)
    form = forms.OverrideForm(request.POST)
    return start_or_ask(
        request, form, lambda: actions.start_stage(pk, by=by(request), **form.cleaned_data),
        title=_("Start %(stage)s") % {"stage": row}, back=stage_url(card, pk), done=_("Started."),
    )  # fmt: skip


@page("stages.work", "GET", "POST")
def unfinish(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    row = found_stage(card, pk)
    form = forms.ReasonForm(request.POST or None)
    return ask(
        request, form, lambda: actions.unfinish_stage(pk, by=by(request), **form.cleaned_data),
        title=_("Take up %(stage)s again") % {"stage": row}, go=_("Take it up again"), back=stage_url(card, pk),
        done=_("The stage is in hand again."),
    )  # fmt: skip


@page("cards.hold", "POST")
def resume_stage(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    found_stage(card, pk)
    back = next_of(request, stage_url(card, pk))
    work = partial(actions.resume_stage, pk, by=by(request))
    return press(request, work, to=back, back=back, done=_("The stage goes on."))


@page("cards.edit", "POST")
def add_gate(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    row = found_stage(card, pk)
    form = forms.GateForm(request.POST)
    return ask(
        request, form, lambda: actions.add_gate(pk, by=by(request), **form.cleaned_data),
        title=_("Add a gate to %(stage)s") % {"stage": row}, go=_("Add it"), back=stage_url(card, pk),
        done=_("Gate added."),
    )  # fmt: skip


@page("cards.edit", "POST")
def remove_gate(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    gate = found_gate(card, pk)
    back = next_of(request, stage_url(card, gate.stage_id))
    work = partial(actions.remove_gate, pk, by=by(request))
    return press(request, work, to=back, back=back, done=_("Gate removed."))


@page("stages.work", "POST")
def sign(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    gate = found_gate(card, pk)
    back = next_of(request, stage_url(card, gate.stage_id))
    note = request.POST.get("note", "")
    work = partial(actions.sign_gate, pk, by=by(request), note=note)
    return press(request, work, to=back, back=back, done=_("Signed."))


def _stored(row: Any) -> dict[str, Any]:
    return {name: getattr(row, name) for name in FIELDS} | {"after_ids": [s.pk for s in row.all_after]}
