"""A machine comes over the counter: whose it is, which one, what is wrong with it. One address, a step at a time; each step
stands by itself without a script, by keyboard alone, and keeps what was typed."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from jobs.cards import queries as cards
from jobs.machines import actions as machine_actions
from jobs.machines import entries
from jobs.machines import forms as machine_forms
from jobs.machines import queries as machines
from jobs.plans.models import WorkPlan
from shop.kernel.rights import require
from shop.people.pages.who import by
from shop.ui.pages import page, status_of, submit

from .. import actions, forms

FOUND = 12


@page("cards.edit", "GET", "POST")
def intake(request: HttpRequest) -> HttpResponse:
    """?machine= the card; ?customer= which of their machines, or a new one; ?new= a new customer; else a search."""
    machine, customer = _number(request, "machine"), _number(request, "customer")
    if machine is not None:
        return _card(request, machine)
    if customer is not None:
        return _which(request, customer)
    if "new" in request.GET:
        return _new_owner(request)
    return _whose(request)


def _whose(request: HttpRequest) -> HttpResponse:
    text = " ".join(request.GET.get("q", "").split())[:80]
    context: dict[str, Any] = {"q": text}
    if text:
        context["machines"] = machines.find_machines(text, FOUND)
        context["customers"] = machines.find_customers(text, FOUND)
    return render(request, "jobs_desk/intake_whose.html", context)


def _new_owner(request: HttpRequest) -> HttpResponse:
    require(by(request), "customers.edit")
    form = forms.NewOwnerForm(request.POST or None, initial={"name": request.GET.get("new", "")[:160]})
    answer = submit(
        request, form,
        lambda: machine_actions.add_customer(**form.values(), by=by(request), despite_duplicates=_despite(request)),
        to=lambda row: _at(customer=row.pk), done=_("Customer added."),
    )  # fmt: skip
    context = {"form": form, "alike": _alike(form, "customer")}
    return answer or render(request, "jobs_desk/intake_owner.html", context, status=status_of(form))


def _which(request: HttpRequest, customer: int) -> HttpResponse:
    """The customer's machines, and the form for another one."""
    owner = machines.customer(customer)
    if owner is None:
        raise Http404
    require(by(request), "machines.edit")
    form = forms.NewMachineForm(
        request.POST or None, others=machines.possible_parents(owner.pk),
        initial={"serial_no": request.GET.get("serial", "")[:60]},
    )  # fmt: skip

    def work() -> Any:
        return machine_actions.add_machine(
            **form.values(), customer_id=owner.pk, by=by(request), despite_duplicates=_despite(request)
        )

    answer = submit(request, form, work, to=lambda row: _at(machine=row.pk), done=_("Machine added."))
    context = {
        "owner": owner, "form": form, "alike": _alike(form, "machine"), "kinds": machine_forms.KINDS,
        "theirs": machines.machines(customer_id=owner.pk).order_by("sort_name", "id")[:100],
    }  # fmt: skip
    return answer or render(request, "jobs_desk/intake_machine.html", context, status=status_of(form))


def _card(request: HttpRequest, pk: int) -> HttpResponse:
    machine: Any = machines.machine(pk)
    if machine is None:
        raise Http404
    plans = _plans_for(machine)
    unit = entries.USAGE_UNITS[machine.usage_unit]
    form = forms.TakeInForm(request.POST or None, plans=plans, unit=unit)
    answer = submit(
        request, form, lambda: actions.take_in(by=by(request), machine_id=pk, **form.values()),
        to=lambda card: reverse("cards:card", args=[card.pk]), done=_("Card opened. Add photos of its condition below."),
    )  # fmt: skip
    context = {
        "machine": machine, "form": form, "unit": unit,
        "earlier": list(cards.cards(machine_id=pk, open=True).order_by("-id")[:5]),
    }  # fmt: skip
    return answer or render(request, "jobs_desk/intake_card.html", context, status=status_of(form))


def _plans_for(machine: Any) -> list[WorkPlan]:
    """Plans in use, those for this model first, then those for its maker and its kind."""

    def distance(plan: WorkPlan) -> int:
        same = [
            bool(theirs) and theirs.casefold() == own.casefold()
            for theirs, own in (
                (plan.model, machine.model), (plan.maker, machine.maker), (plan.machine_kind, machine.kind),
            )
        ]  # fmt: skip
        return next((n for n, hit in enumerate(same) if hit), len(same))

    return sorted(WorkPlan.objects.filter(archived_at__isnull=True), key=lambda p: (distance(p), p.name))


def _number(request: HttpRequest, name: str) -> int | None:
    text = request.GET.get(name, "")
    return int(text) if text.isdecimal() and len(text) < 19 else None


def _at(**step: str | int) -> str:
    return f"{reverse('cards:open')}?{urlencode(step)}"


def _despite(request: HttpRequest) -> bool:
    return request.POST.get("despite_duplicates") == "1"


def _alike(form: Any, step: str) -> list[dict[str, Any]]:
    """What the refusal found to be like it, each with the step that goes on with that one."""
    refusal = getattr(form, "refusal", None)
    if refusal is None or refusal.code != "duplicate":
        return []
    return [{**found, "url": _at(**{step: found["id"]})} for found in refusal.facts["found"]]
