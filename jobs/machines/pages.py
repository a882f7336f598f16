"""Staff pages of customers and machines."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import get_language

from shop.business import queries as business
from shop.kernel.countries import country_name
from shop.kernel.errors import DomainError
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit

from . import actions, chart, entries, forms, queries
from .models import Customer, Machine

SHOWN_READINGS = 50


def _customer(pk: int) -> Customer:
    found = queries.customer(pk)
    if found is None:
        raise Http404
    return found


def _machine(pk: int) -> Any:
    found = queries.machine(pk)
    if found is None:
        raise Http404
    return found


def _filters(form: Any) -> dict[str, Any]:
    return {k: v for k, v in form.cleaned_data.items() if v} if form.is_valid() else {}


def _despite(request: HttpRequest) -> bool:
    return request.POST.get("despite_duplicates") == "1"


def _alike(form: Any) -> list[dict[str, Any]]:
    """What the refusal of `form` found to be like it, for the page to link to."""
    refusal: DomainError | None = getattr(form, "refusal", None)
    return refusal.facts["found"] if refusal is not None and refusal.code == "duplicate" else []  # type: ignore[return-value]


# --- customers --------------------------------------------------------------------------------------


@page("customers.read")
def customers(request: HttpRequest) -> HttpResponse:
    form = forms.CustomerFilter(request.GET)
    rows = queries.with_machine_count(queries.customers(**_filters(form)))
    found = page_of(request, rows, ("sort_name", "id"))
    return render(request, "jobs_machines/customers.html", {"page": found, "form": form})


@page("customers.edit", "GET", "POST")
def add_customer(request: HttpRequest) -> HttpResponse:
    form = forms.CustomerForm(request.POST or None, initial={"name": request.GET.get("name", "")[:160]})
    answer = submit(
        request, form,
        lambda: actions.add_customer(**form.values(), by=by(request), despite_duplicates=_despite(request)),
        to=_to_customer, done="Customer added.",
    )  # fmt: skip
    context = {"form": form, "alike": _alike(form)}
    return answer or render(request, "jobs_machines/customer_form.html", context, status=status_of(form))


@page("customers.read")
def customer(request: HttpRequest, pk: int) -> HttpResponse:
    row = _customer(pk)
    machines = queries.machines(customer_id=pk).order_by("sort_name", "id")[:100]
    context = {
        "customer": row, "machines": machines, "document_language": entries.LANGUAGES.get(row.language, row.language),
        "country": country_name(row.country, (get_language() or "en").split("-")[0]),
        "currency": business.profile().currency,
    }  # fmt: skip
    return render(request, "jobs_machines/customer.html", context)


@page("customers.edit", "GET", "POST")
def edit_customer(request: HttpRequest, pk: int) -> HttpResponse:
    row = _customer(pk)
    stored = _stored(row, forms.CustomerEditForm)
    form = forms.CustomerEditForm(request.POST or None, initial=stored)

    def work() -> Customer:
        expect = form.cleaned_data["version"]
        return actions.edit_customer(pk, expect, **form.values(), by=by(request), despite_duplicates=_despite(request))

    answer = submit(request, form, work, to=_to_customer, done="Customer saved.")
    if answer is None and stale(form):
        set_beside(form, _stored(_customer(pk), forms.CustomerEditForm))
    context = {"form": form, "customer": row, "alike": _alike(form)}
    return answer or render(request, "jobs_machines/customer_form.html", context, status=status_of(form))


@page("customers.edit", "POST")
def archive_customer(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.archive_customer, pk, None, by=by(request))
    return press(request, work, to=_to_customer, back=_at("customer", pk), done="Customer archived.")


@page("customers.edit", "POST")
def restore_customer(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.restore_customer, pk, by=by(request))
    return press(request, work, to=_to_customer, back=_at("customer", pk), done="Customer taken back.")


@page("customers.edit", "POST")
def mail_consent(request: HttpRequest, pk: int) -> HttpResponse:
    act = actions.give_mail_consent if request.POST.get("agrees") == "1" else actions.withdraw_mail_consent
    work = partial(act, pk, by=by(request))
    return press(request, work, to=_to_customer, back=_at("customer", pk), done="Noted.")


# --- machines ---------------------------------------------------------------------------------------


@page("machines.read")
def machines(request: HttpRequest) -> HttpResponse:
    form = forms.MachineFilter(request.GET)
    found = page_of(request, queries.machines(**_filters(form)), ("sort_name", "id"))
    return render(request, "jobs_machines/machines.html", {"page": found, "form": form})


@page("machines.edit", "GET", "POST")
def add_machine(request: HttpRequest) -> HttpResponse:
    """With ?customer= the form; without, whose it is comes first."""
    chosen = request.GET.get("customer", "")
    if not (chosen.isdecimal() and len(chosen) < 19):
        return _whose(request, "jobs_machines/machine_whose.html", {})
    owner = _customer(int(chosen))
    parent = request.GET.get("parent", "")
    form = forms.MachineForm(
        request.POST or None,
        others=queries.possible_parents(owner.pk),
        initial={"parent_id": parent if parent.isdecimal() else ""},
    )

    def work() -> Machine:
        person = by(request)
        machine = actions.add_machine(
            **form.values(), customer_id=owner.pk, by=person, despite_duplicates=_despite(request)
        )
        if form.cleaned_data["value"] is not None:
            actions.read_usage(machine.pk, value=form.cleaned_data["value"], by=person)
        return machine

    answer = submit(request, form, work, to=_to_machine, done="Machine added.")
    context = {"form": form, "owner": owner, "alike": _alike(form), "kinds": forms.KINDS}
    return answer or render(request, "jobs_machines/machine_form.html", context, status=status_of(form))


@page("machines.read")
def machine(request: HttpRequest, pk: int) -> HttpResponse:
    return _machine_page(request, _machine(pk))


def _machine_page(request: HttpRequest, row: Any, form: forms.ReadingForm | None = None) -> HttpResponse:
    read = list(queries.readings(row.pk)[:SHOWN_READINGS])
    unit = entries.USAGE_UNITS[row.usage_unit]
    form = form or forms.ReadingForm(unit=unit)
    context = {
        "machine": row, "readings": read, "unit": unit, "form": form,
        "components": queries.machines(parent_id=row.pk).order_by("sort_name", "id")[:100],
        "chart": chart.draw([(r.read_at, r.value) for r in reversed(read)]),
    }  # fmt: skip
    return render(request, "jobs_machines/machine.html", context, status=status_of(form))


@page("machines.edit", "GET", "POST")
def edit_machine(request: HttpRequest, pk: int) -> HttpResponse:
    row = _machine(pk)
    others = queries.possible_parents(row.customer_id, but=pk)
    form = forms.MachineEditForm(request.POST or None, others=others, initial=_stored(row, forms.MachineEditForm))

    def work() -> Machine:
        expect = form.cleaned_data["version"]
        return actions.edit_machine(pk, expect, **form.values(), by=by(request), despite_duplicates=_despite(request))

    answer = submit(request, form, work, to=_to_machine, done="Machine saved.")
    if answer is None and stale(form):
        set_beside(form, _stored(_machine(pk), forms.MachineEditForm))
    context = {"form": form, "machine": row, "owner": row.customer, "alike": _alike(form), "kinds": forms.KINDS}
    return answer or render(request, "jobs_machines/machine_form.html", context, status=status_of(form))


@page("machines.edit", "GET", "POST")
def move_machine(request: HttpRequest, pk: int) -> HttpResponse:
    row = _machine(pk)
    if request.method == "POST":
        to = request.POST.get("customer", "")
        expect = request.POST.get("version", "")
        if not (to.isdecimal() and len(to) < 19 and expect.isdecimal() and len(expect) < 10):
            raise Http404
        work = partial(actions.move_machine, pk, int(expect), customer_id=int(to), by=by(request))
        return press(request, work, to=_to_machine, back=request.get_full_path(), done="Machine moved.")
    return _whose(request, "jobs_machines/machine_move.html", {"machine": row})


@page("machines.edit", "POST")
def archive_machine(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.archive_machine, pk, None, by=by(request))
    return press(request, work, to=_to_machine, back=_at("machine", pk), done="Machine archived.")


@page("machines.edit", "POST")
def restore_machine(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.restore_machine, pk, by=by(request))
    return press(request, work, to=_to_machine, back=_at("machine", pk), done="Machine taken back.")


@page("machines.usage", "GET", "POST")
def read_usage(request: HttpRequest, pk: int) -> HttpResponse:
    """The form stands on the machine's page; a refusal shows that page again with what was typed."""
    row = _machine(pk)
    if request.method != "POST":
        return redirect(_at("machine", pk))
    form = forms.ReadingForm(request.POST, unit=entries.USAGE_UNITS[row.usage_unit])
    answer = submit(
        request, form, lambda: actions.read_usage(pk, **form.cleaned_data, by=by(request)),
        to=_at("machine", pk), done="Reading written down.",
    )  # fmt: skip
    return answer or _machine_page(request, row, form)


# --- both -------------------------------------------------------------------------------------------


def _whose(request: HttpRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    """Choose a customer: a search box and what it finds, so that it works by keyboard and without a script."""
    text = request.GET.get("q", "")[:80]
    found = queries.find_customers(text, 20) if text else []
    return render(request, template, context | {"q": text, "found": found})


def _stored(row: Any, form: type) -> dict[str, Any]:
    names = form.base_fields  # type: ignore[attr-defined]
    return {n: getattr(row, n) for n in names}


def _at(name: str, pk: int) -> str:
    return reverse(f"machines:{name}", args=[pk])


def _to_customer(row: Customer) -> str:
    return _at("customer", row.pk)


def _to_machine(row: Machine) -> str:
    return _at("machine", row.pk)
