"""Where the parts of a need come from: ordered for it, or moved to it from another card."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.cards.pages.common import found_card, stage_url
from shop.kernel.errors import DomainError
from shop.people.pages.who import by
from shop.ui.pages import next_of, page, press, show, status_of, submit

from .. import actions, forms, queries
from .common import found_need, line_of, next_given, tidy


@page("draws.order", "POST")
def order_for(request: HttpRequest, pk: int) -> HttpResponse:
    """What this need lacks, onto the draft order of who sells it."""
    row = found_need(pk)
    back = next_of(request, stage_url(row.stage.card_id, row.stage_id))
    done = _("Put onto the draft order of its supplier. Send it from there.")
    return press(request, partial(actions.order_for, pk, by=by(request)), to=back, back=back, done=done)


@page("draws.order", "POST")
def order_missing(request: HttpRequest, card: int) -> HttpResponse:
    """All that the card lacks, onto the draft orders of who sells it."""
    found_card(card)
    back = next_of(request, reverse("cards:card", args=[card]))

    def to(ordered: actions.Ordered) -> str:
        if ordered.nobody:
            named = ", ".join(part.number for part in ordered.nobody)
            messages.warning(request, _("Nobody is noted to sell %(parts)s: add an offer first.") % {"parts": named})
        return back

    done = _("Put onto the draft orders of the suppliers. Send them from there.")
    return press(request, partial(actions.order_missing, card, by=by(request)), to=to, back=back, done=done)


@page("draws.move", "GET", "POST")
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """Which card gives it up, how much; then, before the button, what that does to whom."""
    row: Any = found_need(pk)
    rivals = queries.rivals(row)
    line = line_of(row.stage, row.part)
    typed = request.POST or (request.GET if "source" in request.GET else None)
    initial = {"quantity": tidy(line.missing) if line and line.missing else None}
    form = forms.MoveForm(typed, part=row.part, rivals=rivals, initial=initial)
    back = next_of(request, stage_url(row.stage.card_id, row.stage_id))
    answer = submit(
        request, form, lambda: actions.move(pk, by=by(request), **form.values(), reason=form.cleaned_data["reason"]),
        to=back, done=_("Moved. Both cards say so."),
    )  # fmt: skip
    context = {
        "need": row, "stage": row.stage, "part": row.part, "line": line, "rivals": rivals, "form": form,
        "effects": [] if answer else _effects(form, pk), "next": next_given(request), "back": back,
    }  # fmt: skip
    return answer or render(request, "jobs_draws/move.html", context, status=status_of(form))


def _effects(form: forms.MoveForm, pk: int) -> list[Any]:
    if not form.is_bound or not form.is_valid():
        return []
    try:
        return queries.look_at_move(pk, **form.values())
    except DomainError as error:
        show(form, error)
        return []
