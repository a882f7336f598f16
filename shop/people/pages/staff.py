"""Staff accounts, for the owner (the office reads them)."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from shop.people import forms, queries
from shop.people.actions import staff
from shop.people.models import Person
from shop.people.words import told
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit

from .who import by

FIELDS = ("name", "username", "email", "roles", "labour_class", "cost_per_hour", "is_active", "version")


@page("people.read")
def people(request: HttpRequest) -> HttpResponse:
    context = {
        "people": queries.people(active=None).order_by("-is_active", "name", "id"),
        "failures": told(queries.failures()) if "trail.read" in by(request).rights else [],
    }
    return render(request, "shop_people/people.html", context)


@page("people.edit", "GET", "POST")
def add(request: HttpRequest) -> HttpResponse:
    form = forms.NewPersonForm(request.POST or None)
    answer = submit(
        request, form, lambda: staff.add_person(**form.cleaned_data, by=by(request)),
        to=reverse("people:list"), done="The account is there. Tell the person user name and password.",
    )  # fmt: skip
    context = {
        "form": form,
        "title": "New member of staff",
        "button": "Add",
        "back": reverse("people:list"),
        "no_draft": 1,
    }
    return answer or render(request, "shop_people/form.html", context, status=status_of(form))


@page("people.edit", "GET", "POST")
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    person = _person(pk)
    form = forms.EditPersonForm(request.POST or None, initial={f: getattr(person, f) for f in FIELDS})

    def work() -> Person:
        values: dict[str, Any] = dict(form.cleaned_data)
        return staff.edit_person(pk, values.pop("version"), by=by(request), **values)

    answer = submit(request, form, work, to=reverse("people:list"), done=f"{person.name} is saved.")
    if answer is None and stale(form):
        set_beside(form, {f: getattr(_person(pk), f) for f in FIELDS})
    context = {
        "form": form, "person": person, "given": forms.GivenPasswordForm(), "history": told(queries.history(person)),
    }  # fmt: skip
    return answer or render(request, "shop_people/edit.html", context, status=status_of(form))


@page("people.edit", "GET", "POST")
def give_password(request: HttpRequest, pk: int) -> HttpResponse:
    person = _person(pk)
    form = forms.GivenPasswordForm(request.POST or None)
    back = reverse("people:edit", args=[pk])
    answer = submit(
        request, form, lambda: staff.give_password(pk, form.cleaned_data["password"], by=by(request)),
        to=back, done=f"{person.name} has a new password and is signed out everywhere.",
    )  # fmt: skip
    context = {
        "form": form,
        "title": f"New password for {person.name}",
        "button": "Set it",
        "back": back,
        "no_draft": 1,
    }
    return answer or render(request, "shop_people/form.html", context, status=status_of(form))


@page("people.edit", "POST")
def two_step_off(request: HttpRequest, pk: int) -> HttpResponse:
    here = reverse("people:edit", args=[pk])
    return press(
        request, lambda: staff.switch_off_two_step(pk, by=by(request)), to=here, back=here,
        done="The second step is switched off; the password alone is enough until it is set up anew.",
    )  # fmt: skip


@page("people.edit", "POST")
def sign_out_everywhere(request: HttpRequest, pk: int) -> HttpResponse:
    here = reverse("people:edit", args=[pk])
    return press(
        request, lambda: staff.sign_out_everywhere(pk, by=by(request)), to=here, back=here,
        done="All sessions and tokens of this person are ended.",
    )  # fmt: skip


def _person(pk: int) -> Person:
    person = queries.person(pk)
    if person is None:
        raise Http404
    return person
