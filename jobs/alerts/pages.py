"""Staff pages: one's list of the day, and whether it comes as a mail."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from shop.people.pages.who import by
from shop.ui.pages import page, press, status_of, submit

from . import actions, forms, queries, words
from .models import Alert

SHOWN = 200


@page("alerts.own")
def alerts(request: HttpRequest) -> HttpResponse:
    person = by(request)
    listed = queries.last_list(person)
    rows = list(queries.of(person).order_by("rank", "due_on", "id")[: SHOWN + 1])
    here = [_line(row) for row in rows[:SHOWN]]
    context = {
        "listed": listed, "looked_at": queries.looked_at(), "more": len(rows) > SHOWN,
        "fresh": [x for x in here if x["alert"].fresh and not x["alert"].is_aside],
        "known": [x for x in here if not x["alert"].fresh and not x["alert"].is_aside],
        "aside": [x for x in here if x["alert"].is_aside],
        "mail": queries.mail_choice(person),
    }  # fmt: skip
    return render(request, "jobs_alerts/alerts.html", context)


def _line(alert: Alert) -> dict[str, Any]:
    mark, said = words.MARKS[alert.kind]
    return {"alert": alert, "text": words.sentence(alert), "url": words.link(alert), "mark": mark, "said": said}


@page("alerts.own", "POST")
def look(request: HttpRequest) -> HttpResponse:
    here = reverse("alerts:list")
    return press(
        request, lambda: actions.look(by=by(request)), to=here, back=here, done="Looked: the list is as of now."
    )


@page("alerts.own", "GET", "POST")
def aside(request: HttpRequest, pk: int) -> HttpResponse:
    row = queries.one(by(request), pk)
    if row is None:
        raise Http404
    form = forms.AsideForm(request.POST or None)
    answer = submit(
        request, form, lambda: actions.set_aside(pk, by=by(request), **form.cleaned_data),
        to=reverse("alerts:list"), done="Set aside.",
    )  # fmt: skip
    context = {"form": form, "line": _line(row)}
    return answer or render(request, "jobs_alerts/aside.html", context, status=status_of(form))


@page("alerts.own", "POST")
def back(request: HttpRequest, pk: int) -> HttpResponse:
    here = reverse("alerts:list")
    return press(
        request, partial(actions.bring_back, pk, by=by(request)), to=here, back=here, done="It is on your list again."
    )


@page("own.edit", "GET", "POST")
def mail(request: HttpRequest) -> HttpResponse:
    choice = queries.mail_choice(by(request))
    form = forms.MailForm(request.POST or None, initial={"mail": choice.mail, "version": choice.version})

    def work() -> Any:
        return actions.choose_mail(form.cleaned_data["mail"], form.cleaned_data["version"], by=by(request))

    answer = submit(request, form, work, to=reverse("people:me"), done="Saved. It counts from the next list on.")
    return answer or render(request, "jobs_alerts/mail.html", {"form": form}, status=status_of(form))
