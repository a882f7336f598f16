"""Staff pages of attendance: Here and Gone, the office's list, noting and correcting by hand."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.cards import forms as card_forms
from jobs.cards.pages.common import ask
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.pages import next_of, page, press, status_of, submit

from .. import actions, forms, presence
from ..models import Attendance, TimeBooking

COLUMNS = ["Came", "Went", "Who", "#Break", "#Hours", "!Change"]


def tabs(current: str) -> list[dict[str, Any]]:
    shown = (("list", _("On stages")), ("attendance", _("At work")))
    return [{"label": label, "url": reverse(f"timebook:{name}"), "current": name == current} for name, label in shown]


def rows(items: list[Attendance]) -> list[dict[str, Any]]:
    return [{"row": row, "attended": presence.attended(row)} for row in items]


@page("time.own", "POST")
def here(request: HttpRequest) -> HttpResponse:
    back = next_of(request, reverse("timebook:mine"))
    return press(request, partial(actions.arrive, by=by(request)), to=back, back=back, done=_("You are here."))


def _gone(found: tuple[Attendance, TimeBooking | None]) -> str:
    clock = found[1]
    if clock is None:
        return _("Gone.")
    what = f"{clock.stage.card.number} · {clock.stage}"
    return _("Gone. The clock on %(what)s was still running: it stopped at the same moment.") % {"what": what}


@page("time.own", "POST")
def gone(request: HttpRequest) -> HttpResponse:
    back = next_of(request, reverse("timebook:mine"))
    return press(request, partial(actions.leave, by=by(request)), to=back, back=back, done=_gone)


@page("time.book", "POST")
def went(request: HttpRequest, pk: int) -> HttpResponse:
    """Somebody who forgot to press Gone."""
    row = _attendance(request, pk)
    back = next_of(request, _week_url(request, row))
    return press(request, partial(actions.leave, by=by(request), attendance_id=pk), to=back, back=back, done=_gone)


@page("time.read")
def attendance(request: HttpRequest) -> HttpResponse:
    form = forms.AttendanceFilter(request.GET)
    found = page_of(request, presence.attendances(**form.filters()), ("-arrived_at", "-id"))
    context = {
        "page": found, "form": form, "here": presence.here(), "flagged": presence.attendances(flagged=True).count(),
        "attended": rows(found.items), "columns": COLUMNS, "tabs": tabs("attendance"),
    }  # fmt: skip
    return render(request, "jobs_timebook/attendance.html", context)


@page("time.book", "GET", "POST")
def note(request: HttpRequest) -> HttpResponse:
    others = "time.edit" in by(request).rights
    form = forms.AttendanceForm(request.POST or None, others=others, initial={"person_id": by(request).pk})

    def work() -> Attendance:
        return actions.note_attendance(by=by(request), **({"person_id": by(request).pk} | form.cleaned_data))

    answer = submit(request, form, work, to=partial(_to_week, request), done=_("Noted."))
    context = {"form": form, "back": _start(request)}
    return answer or render(request, "jobs_timebook/note_attendance.html", context, status=status_of(form))


@page("time.book", "GET", "POST")
def correct(request: HttpRequest, pk: int) -> HttpResponse:
    row = _attendance(request, pk)
    usual = presence.usual_break(row)
    initial = {
        "arrived_at": row.arrived_at, "left_at": row.left_at,
        "break_minutes": row.break_minutes if row.break_minutes != usual else None,
    }  # fmt: skip
    form = forms.CorrectAttendanceForm(request.POST or None, initial=initial)
    work = partial(_correct, request, pk, form)
    answer = submit(request, form, work, to=partial(_to_week, request), done=_("Corrected. What stood there is kept."))
    context = {"form": form, "row": row, "attended": presence.attended(row)}
    return answer or render(request, "jobs_timebook/correct_attendance.html", context, status=status_of(form))


def _correct(request: HttpRequest, pk: int, form: forms.CorrectAttendanceForm) -> Attendance:
    return actions.correct_attendance(pk, by=by(request), **form.cleaned_data)


@page("time.book", "GET", "POST")
def take_out(request: HttpRequest, pk: int) -> HttpResponse:
    row = _attendance(request, pk)
    form = card_forms.ReasonForm(request.POST or None)
    return ask(
        request, form, lambda: actions.take_attendance_out(pk, by=by(request), **form.cleaned_data),
        title=_("Take out this attendance"), go=_("Take it out"), back=_week_url(request, row),
        done=_("Taken out. What stood there is kept."), lead=row.person.name,
    )  # fmt: skip


def _attendance(request: HttpRequest, pk: int) -> Attendance:
    row = presence.attendance(pk, reader=by(request))
    if row is None:
        raise Http404
    return row


def _start(request: HttpRequest) -> str:
    return reverse("timebook:mine" if "time.own" in by(request).rights else "timebook:attendance")


def _week_url(request: HttpRequest, row: Attendance) -> str:
    own = row.person_id == by(request).pk and "time.own" in by(request).rights
    start = reverse("timebook:mine") if own else reverse("timebook:week-of", args=[row.person_id])
    return f"{start}?week={row.arrived_at.date().isoformat()}"


def _to_week(request: HttpRequest, row: Attendance) -> str:
    return next_of(request, _week_url(request, row))
