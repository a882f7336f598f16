"""Drawing in three steps (stage, part, confirm), and what is in hand."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as later

from inventory.parts import queries as parts
from inventory.parts.models import Part
from inventory.stock import queries as shelf
from jobs.cards.pages.common import found_stage, stage_url
from shop.kernel import clock
from shop.kernel.errors import BadInput, NeedsOverride
from shop.people.pages.who import by
from shop.ui.pages import next_of, page, press, status_of, submit

from .. import actions, forms, lines, queries
from ..models import Draw
from ..templatetags.draws import many
from .common import line_of, next_given, tidy, which


def _url(stage: Any, name: str, **query: str | int) -> str:
    url = reverse(f"draws:{name}", args=[stage.card_id, stage.pk])
    return f"{url}?{urlencode(query)}" if query else url


@page("draws.draw", "GET", "POST")
def draw(request: HttpRequest, card: int, stage: int) -> HttpResponse:
    """Without ?part= the scan box and what the stage needs; with it how much and from where."""
    row = found_stage(card, stage)
    text = request.GET.get("part", "").strip()[:200]
    part, lot = shelf.by_code(text)
    if part is None:
        return which(request, row, text, "jobs_draws/draw_what.html", {"last": _last_drawn(request, row)})
    line = line_of(row, part)
    places = shelf.places(part.pk, row.card.site_id)
    source = next((f"{p.lot_id}:{p.bin_id}" for p in places if lot and p.lot_id == lot.pk), "")
    initial = {"quantity": tidy(line.to_offer) if line else 1, "source": source}
    form = forms.DrawForm(request.POST or None, part=part, places=places, initial=initial)

    def work() -> actions.Drawn:
        return actions.draw(by=by(request), stage_id=row.pk, part_id=part.pk, **form.values())

    answer = submit(request, form, work, to=lambda taken: _url(row, "draw", drawn=taken.pk))
    if answer is None:
        if _may_override(request, form):
            form.fields["override"].required = True  # asked for now: the page says so
        else:
            form.fields.pop("override", None)
    context = {
        "stage": row, "part": part, "line": line, "form": form, "places": places, "today": clock.today(),
        "kept_for": [r for r in shelf.kept_for(part.pk, row.card.site_id) if not _own(line, r.pk)],
        "back": _url(row, "draw"), "others": _others(part, row.card.site_id),
    }  # fmt: skip
    return answer or render(request, "jobs_draws/draw.html", context, status=status_of(form))


def _others(part: Part, site_id: int) -> list[dict[str, Any]]:
    """What does for the part as well, with what to mind and how much of it is free."""
    found = parts.instead(part).others
    free = shelf.free_by_part({p.pk for p, _note in found})
    return [{"part": p, "note": note, "free": free.get((p.pk, site_id), Decimal(0))} for p, note in found]


def _may_override(request: HttpRequest, form: Any) -> bool:
    """The reason for an expired lot is only asked of those who may give one, once it is needed."""
    needed = isinstance(getattr(form, "refusal", None), NeedsOverride) or request.POST.get("override")
    return bool(needed) and "stock.override" in by(request).rights


def _own(line: lines.PartLine | None, reservation: int) -> bool:
    return line is not None and line.need is not None and line.need.reservation_id == reservation


def _last_drawn(request: HttpRequest, stage: Any) -> dict[str, Any] | None:
    """What was just drawn, to be put back with one press."""
    pk = request.GET.get("drawn", "")
    if not (pk.isdecimal() and len(pk) < 19):
        return None
    rows = list(queries.posted_with(int(pk)).filter(stage=stage.pk))
    if not rows or any(r.returned or r.fitted or r.spent for r in rows):
        return None
    part = rows[0].part
    taken = many(sum(r.quantity for r in rows), part)
    where = ", ".join(dict.fromkeys(r.movement.bin.code for r in rows))
    done = _("Drew %(taken)s of %(part)s from bin %(bin)s.") % {"taken": taken, "part": part, "bin": where}
    return {"done": done, "action": reverse("draws:undo", args=[rows[0].pk])}


@page("draws.draw", "POST")
def undo(request: HttpRequest, pk: int) -> HttpResponse:
    row = _draw(pk)
    back = _url(row.stage, "draw")
    return press(
        request, partial(actions.undo_draw, pk, by=by(request)),
        to=back, back=back, done=_("Put back. Both entries stay in the history."),
    )  # fmt: skip


def _put_back_opened(pk: int, **given: Any) -> Draw:
    return actions.put_back(pk, opened_on=clock.today(), **given)


# What can be done with a draw: button, action, what is said when it is done.
DEEDS: dict[str, tuple[Callable[..., Draw], Any]] = {
    "fit": (actions.fit, later("Noted as fitted.")),
    "trial": (actions.trial_fit, later("Noted as fitted for trial.")),
    "return": (actions.put_back, later("Returned to the shelf.")),
    "rest": (_put_back_opened, later("Returned as opened; its shorter life counts from today.")),
    "spoil": (actions.spoil, later("Noted as spoiled; another is needed.")),
    "off": (actions.take_off, later("Noted as taken off again.")),
    "correct": (actions.correct_fit, later("Noted: it is in hand again.")),
}


@page("draws.draw", "GET", "POST")
def drawn(request: HttpRequest, pk: int) -> HttpResponse:
    """One draw, with what can be done with it: fitted, for trial, returned, spoiled, taken off."""
    row = _draw(pk)
    in_hand = row.quantity - row.returned - row.fitted - row.spent
    form = forms.AmountForm(request.POST or None, part=row.part, initial={"quantity": tidy(in_hand or row.fitted)})
    deed = request.POST.get("do", "")
    act, done = DEEDS.get(deed, (None, ""))

    def work() -> Any:
        if act is None:
            raise BadInput("Choose what was done with it.")
        return act(pk, by=by(request), **form.cleaned_data)

    answer = submit(request, form, work, to=next_of(request, stage_url(row.card_id, row.stage_id)), done=str(done))
    context = {
        "draw": row,
        "in_hand": in_hand,
        "form": form,
        "events": queries.events_of(pk),
        "next": next_given(request),
    }
    return answer or render(request, "jobs_draws/drawn.html", context, status=status_of(form))


@page("draws.draw", "POST")
def fit_all(request: HttpRequest, card: int, stage: int) -> HttpResponse:
    row = found_stage(card, stage)
    back = next_of(request, stage_url(card, stage))
    work = partial(actions.fit_in_hand, row.pk, by=by(request))
    return press(request, work, to=back, back=back, done=_("All that was in hand is noted as fitted."))


def _draw(pk: int) -> Draw:
    row = queries.one(pk)
    if row is None:
        raise Http404
    return row
