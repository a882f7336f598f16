"""Staff pages of hours: the office's list, one's own week, booking and correcting by hand, and the clocks of the bench."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from functools import partial
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _

from jobs.cards import forms as card_forms
from jobs.cards import queries as cards
from jobs.cards.pages.common import ask, card_url, found_card, found_stage, stage_url, start_or_ask
from shop.kernel import clock
from shop.kernel.errors import NeedsOverride
from shop.people.models import Person
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.pages import next_of, page, press, status_of, submit

from .. import actions, forms, presence, queries
from ..models import TimeBooking
from . import attendance

WHO = "Who"
COLUMNS = ["From", "To", WHO, "Card and stage", "#Break", "#Hours", "!Change"]


@page("time.read")
def hours(request: HttpRequest) -> HttpResponse:
    form = forms.HoursFilter(request.GET)
    found = page_of(request, queries.bookings(**form.filters()), ("-started_at", "-id"))
    context = {
        "page": found, "form": form, "running": queries.running(),
        "flagged": queries.flagged().count(), "rows": _rows(found.items), "columns": COLUMNS,
        "tabs": attendance.tabs("list"),
    }  # fmt: skip
    return render(request, "jobs_timebook/hours.html", context)


@page("time.own")
def mine(request: HttpRequest) -> HttpResponse:
    return _week(request, by(request))


@page("time.read")
def week_of(request: HttpRequest, pk: int) -> HttpResponse:
    person = Person.objects.filter(pk=pk).first()
    if person is None:
        raise Http404
    return _week(request, person)


def _week(request: HttpRequest, person: Person) -> HttpResponse:
    today = clock.today()
    day = _day(request.GET.get("week", "")) or today
    days = queries.week(person, day)
    monday = days[0].day
    own = person.pk == by(request).pk
    came = presence.days(person, monday)
    context = {
        "person": person, "own": own, "days": days, "monday": monday, "sunday": days[-1].day,
        "total": sum((d.hours for d in days), Decimal(0)), "running": queries.running_of(person),
        "before": (monday - timedelta(days=7)).isoformat(),
        "after": (monday + timedelta(days=7)).isoformat() if monday + timedelta(days=7) <= today else "",
        "rows": _rows([row for d in days for row in d.bookings]), "today": today,
        "columns": [c for c in COLUMNS if not own or c != WHO],
        "attended": attendance.rows([row for d in came for row in d.rows]),
        "attended_columns": [c for c in attendance.COLUMNS if not own or c != WHO],
        "both": list(zip(days, came, strict=True)), "attended_total": sum((d.hours for d in came), Decimal(0)),
    }  # fmt: skip
    return render(request, "jobs_timebook/week.html", context)


@page("time.book", "GET", "POST")
def book(request: HttpRequest) -> HttpResponse:
    """With ?card= (its number) the form; without, which card it is comes first."""
    number = request.GET.get("card", "").strip()[:12]
    card = cards.cards(number=number).filter(number=number).first() if number else None
    if card is None:
        return render(request, "jobs_timebook/which_card.html", {"number": number})
    others = "time.edit" in by(request).rights
    stages = list(cards.stages(card_id=card.pk))
    first = request.GET.get("stage", "")
    initial = {"stage_id": first if first.isdecimal() else "", "person_id": by(request).pk}
    form = forms.BookForm(request.POST or None, stages=stages, others=others, initial=initial)

    def work() -> TimeBooking:
        values = {"person_id": by(request).pk} | form.cleaned_data
        return actions.book(by=by(request), **values)

    answer = submit(request, form, work, to=partial(_to_week, request), done=_("Hours booked."))
    context = {"form": form, "card": card}
    return answer or render(request, "jobs_timebook/book.html", context, status=status_of(form))


@page("time.book", "GET", "POST")
def correct(request: HttpRequest, pk: int) -> HttpResponse:
    row = _booking(request, pk)
    stages = list(cards.stages(card_id=row.stage.card_id, removed=True))
    initial = {
        "stage_id": row.stage_id, "started_at": row.started_at, "ended_at": row.ended_at,
        "break_minutes": row.break_minutes if row.break_minutes != queries.usual_break(row) else None,
    }  # fmt: skip
    form = forms.CorrectForm(request.POST or None, stages=stages, initial=initial)
    work = partial(_correct, request, pk, form)
    answer = submit(request, form, work, to=partial(_to_week, request), done=_("Corrected. The old booking is kept."))
    context = {"form": form, "row": row, "worked": queries.worked(row), "out": card_forms.ReasonForm()}
    return answer or render(request, "jobs_timebook/correct.html", context, status=status_of(form))


def _correct(request: HttpRequest, pk: int, form: forms.CorrectForm) -> TimeBooking:
    return actions.correct(pk, by=by(request), **form.cleaned_data)


@page("time.book", "GET", "POST")
def take_out(request: HttpRequest, pk: int) -> HttpResponse:
    row = _booking(request, pk)
    form = card_forms.ReasonForm(request.POST or None)
    return ask(
        request, form, lambda: actions.take_out(pk, by=by(request), **form.cleaned_data),
        title=_("Take out these hours"), go=_("Take them out"), back=_week_url(request, row),
        done=_("Taken out. The old booking is kept."), lead=f"{row.person} · {row.stage.card} · {row.stage}",
    )  # fmt: skip


@page("time.book", "POST")
def stop(request: HttpRequest, pk: int) -> HttpResponse:
    row = _booking(request, pk)
    back = next_of(request, _week_url(request, row))
    work = partial(actions.clock_off, by=by(request), booking_id=pk)
    return press(request, work, to=back, back=back, done=_("Clocked off."))


# --- clocks and what stops them ---------------------------------------------------------------------


@page("time.own", "POST")
def clock_on(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    """A second clock asks first; starting out of order asks the owner why."""
    row = found_stage(card, pk)
    back = next_of(request, stage_url(card, pk))
    form = card_forms.OverrideForm(request.POST)
    closing = request.POST.get("close_running") == "1"

    def work() -> TimeBooking:
        reason = form.cleaned_data["override_reason"]
        return actions.clock_on(by=by(request), stage_id=pk, close_running=closing, override_reason=reason)

    if not closing:
        running = queries.running_of(by(request))
        if running and running.stage_id != pk:
            answer = submit(request, form, work, to=back, done=_("Clocked on."))
            if answer:
                return answer
            refusal = getattr(form, "refusal", None)
            if isinstance(refusal, NeedsOverride) and refusal.code == "clock-running":
                context = {"stage": row, "running": running, "back": back}
                return render(request, "jobs_timebook/close_running.html", context, status=409)
    title = _("Clock on to %(stage)s") % {"stage": row}
    return start_or_ask(request, form, work, title=title, back=stage_url(card, pk), done=_("Clocked on."))


@page("time.own", "POST")
def clock_off(request: HttpRequest) -> HttpResponse:
    back = next_of(request, reverse("timebook:mine"))
    return press(request, partial(actions.clock_off, by=by(request)), to=back, back=back, done=_("Clocked off."))


@page("stages.work", "POST")
def finish(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    found_stage(card, pk)
    back = next_of(request, stage_url(card, pk))
    work = partial(actions.finish_stage, pk, by=by(request))
    answer = press(request, work, to=back, back=back, done=_("Finished."))
    row = found_stage(card, pk)
    if queries.hours_by_stage([row])[pk].missing:
        messages.warning(
            request,
            _(
                "No time stands on this stage. Where it is billed by hours, the invoice leaves it out: "
                "book the hours by hand if there were any."
            ),
        )
    return answer


@page("cards.hold", "GET", "POST")
def hold_stage(request: HttpRequest, card: int, pk: int) -> HttpResponse:
    row = found_stage(card, pk)
    form = card_forms.HoldForm(request.POST or None)
    return ask(
        request, form, lambda: actions.hold_stage(pk, by=by(request), **form.cleaned_data),
        title=_("Put %(stage)s on hold") % {"stage": row}, go=_("Put it on hold"), back=stage_url(card, pk),
        done=_("On hold."), lead=_("Clocks that run on it stop."),
    )  # fmt: skip


@page("cards.hold", "GET", "POST")
def hold_card(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_card(pk)
    form = card_forms.HoldForm(request.POST or None)
    return ask(
        request, form, lambda: actions.hold_card(pk, by=by(request), **form.cleaned_data),
        title=_("Put card %(number)s on hold") % {"number": row.number}, go=_("Put it on hold"), back=card_url(pk),
        done=_("The card is on hold."), lead=_("Clocks that run on it stop."),
    )  # fmt: skip


def _booking(request: HttpRequest, pk: int) -> TimeBooking:
    row = queries.booking(pk, reader=by(request))
    if row is None:
        raise Http404
    return row


def _rows(items: list[TimeBooking]) -> list[dict[str, Any]]:
    return [{"row": row, "worked": queries.worked(row)} for row in items]


def _day(text: str) -> date | None:
    try:
        day = parse_date(text)
    except ValueError:
        return None
    return day if day and 2000 <= day.year <= 2199 else None


def _week_url(request: HttpRequest, row: TimeBooking) -> str:
    own = row.person_id == by(request).pk and "time.own" in by(request).rights
    start = reverse("timebook:mine") if own else reverse("timebook:week-of", args=[row.person_id])
    return f"{start}?week={row.started_at.date().isoformat()}"


def _to_week(request: HttpRequest, row: TimeBooking) -> str:
    return next_of(request, _week_url(request, row))
