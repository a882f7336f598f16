"""Staff pages of work plans."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from inventory.parts import queries as catalogue
from shop.kernel.errors import field_error
from shop.kernel.units import unit
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit, version_of

from . import actions, forms, queries
from .models import PlanGate, PlanPart, PlanStage, WorkPlan


def _there(found: Any) -> Any:
    if found is None:
        raise Http404
    return found


def _to_plan(row: WorkPlan) -> str:
    return reverse("plans:plan", args=[row.pk])


def _to_stage(row: PlanStage) -> str:
    return reverse("plans:stage", args=[row.pk])


# --- plans ------------------------------------------------------------------------------------------


@page("plans.read")
def plans(request: HttpRequest) -> HttpResponse:
    form = forms.PlanFilter(request.GET)
    given = {k: v for k, v in form.cleaned_data.items() if v} if form.is_valid() else {}
    found = page_of(request, queries.plans(**given), ("name", "id"))
    return render(request, "jobs_plans/plans.html", {"page": found, "form": form})


@page("plans.read")
def plan(request: HttpRequest, pk: int) -> HttpResponse:
    row = _there(queries.plan(pk))
    stages = row.stages.all()
    hours, chain = queries.longest(stages)
    context = {"plan": row, "stages": stages, "longest": hours, "chain": {s.key for s in chain}}
    return render(request, "jobs_plans/plan.html", context)


@page("plans.edit", "GET", "POST")
def add_plan(request: HttpRequest) -> HttpResponse:
    form = forms.PlanForm(request.POST or None)
    work = lambda: actions.add_plan(**form.values(), by=by(request))  # noqa: E731
    answer = submit(request, form, work, to=_to_plan, done="Plan added. Add its stages.")
    return answer or render(request, "jobs_plans/plan_form.html", {"form": form}, status=status_of(form))


@page("plans.edit", "GET", "POST")
def edit_plan(request: HttpRequest, pk: int) -> HttpResponse:
    row = _there(queries.plan(pk))
    form = forms.PlanEditForm(request.POST or None, initial=_head(row))
    work = lambda: actions.edit_plan(pk, form.cleaned_data["version"], **form.values(), by=by(request))  # noqa: E731
    answer = submit(request, form, work, to=_to_plan, done="Plan saved.")
    if answer is None and stale(form):
        set_beside(form, _head(_there(queries.plan(pk))))
    context = {"form": form, "plan": row}
    return answer or render(request, "jobs_plans/plan_form.html", context, status=status_of(form))


@page("plans.edit", "GET", "POST")
def copy_plan(request: HttpRequest, pk: int) -> HttpResponse:
    row = _there(queries.plan(pk))
    form = forms.CopyForm(request.POST or None, initial={"name": row.name})
    work = lambda: actions.copy_plan(pk, **form.cleaned_data, by=by(request))  # noqa: E731
    answer = submit(request, form, work, to=_to_plan, done="Plan copied.")
    return answer or render(request, "jobs_plans/copy.html", {"form": form, "plan": row}, status=status_of(form))


@page("plans.edit", "POST")
def archive_plan(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.archive_plan, pk, None, by=by(request))
    return press(request, work, to=_to_plan, back=reverse("plans:plan", args=[pk]), done="Plan archived.")


@page("plans.edit", "POST")
def restore_plan(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.restore_plan, pk, by=by(request))
    return press(request, work, to=_to_plan, back=reverse("plans:plan", args=[pk]), done="Plan taken back.")


def _head(row: WorkPlan) -> dict[str, Any]:
    return {name: getattr(row, name) for name in forms.PlanEditForm.base_fields}


# --- stages -----------------------------------------------------------------------------------------


@page("plans.edit", "GET", "POST")
def add_stage(request: HttpRequest, pk: int) -> HttpResponse:
    row = _there(queries.plan(pk))
    stages = list(row.stages.all())
    # a new stage mostly follows the last one
    initial = {"after_ids": [stages[-1].pk] if stages else []}
    form = forms.StageForm(request.POST or None, others=stages, places=len(stages) + 1, initial=initial)
    work = lambda: actions.add_stage(pk, None, **form.values(), by=by(request))  # noqa: E731
    answer = submit(request, form, work, to=_to_stage, done="Stage added. Add its gates and parts.")
    context = {"form": form, "plan": row, "stages": stages}
    return answer or render(request, "jobs_plans/stage_new.html", context, status=status_of(form))


@page("plans.edit", "GET", "POST")
def stage(request: HttpRequest, pk: int) -> HttpResponse:
    row = _there(queries.stage(pk))
    if request.method == "GET":
        return _stage_page(request, row)
    form = _stage_form(row, request.POST)
    work = lambda: actions.edit_stage(pk, form.cleaned_data["version"], **form.values(), by=by(request))  # noqa: E731
    answer = submit(request, form, work, to=_to_stage, done="Stage saved.")
    if answer is None and stale(form):
        set_beside(form, _stage_values(_there(queries.stage(pk))))
    return answer or _stage_page(request, row, form=form)


def _stage_values(row: PlanStage) -> dict[str, Any]:
    names = forms.StageEditForm.base_fields
    given = {n: getattr(row, n) for n in names if n not in ("after_ids", "needs_go_ahead")}
    return given | {"after_ids": sorted(a.pk for a in row.after.all()), "needs_go_ahead": str(row.needs_go_ahead)}


def _stage_form(row: PlanStage, data: Any = None) -> forms.StageEditForm:
    stages = list(queries.stages(plan_id=row.plan_id))
    others = [s for s in stages if s.pk != row.pk]
    return forms.StageEditForm(data, others=others, places=len(stages), initial=_stage_values(row))


def _stage_page(request: HttpRequest, row: PlanStage, **bound: Any) -> HttpResponse:
    """The stage with its three forms; `bound` is the one that was refused."""
    shown = {
        "form": bound.get("form") or _stage_form(row),
        "gate_form": bound.get("gate_form") or forms.GateForm(prefix="gate"),
        "part_form": bound.get("part_form") or forms.PartForm(prefix="part"),
    }
    status = max(status_of(form) for form in shown.values())
    return render(request, "jobs_plans/stage.html", shown | {"stage": row, "plan": row.plan}, status=status)


@page("plans.edit", "POST")
def move_stage(request: HttpRequest, pk: int) -> HttpResponse:
    """One place up or down."""
    row = _there(queries.stage(pk))
    to = row.position + (-1 if request.POST.get("way") == "up" else 1)
    work = partial(actions.move_stage, pk, version_of(request), position=to, by=by(request))
    back = reverse("plans:plan", args=[row.plan_id])
    return press(request, work, to=back, back=back)


@page("plans.edit", "POST")
def remove_stage(request: HttpRequest, pk: int) -> HttpResponse:
    row = _there(queries.stage(pk))
    work = partial(actions.remove_stage, pk, version_of(request), by=by(request))
    return press(request, work, to=_to_plan, back=_to_stage(row), done="Stage taken out.")


# --- gates and parts --------------------------------------------------------------------------------


def _add_to_stage(
    request: HttpRequest, pk: int, form: Any, name: str, work: Callable[[], Any], done: str
) -> HttpResponse:
    answer = submit(request, form, work, to=reverse("plans:stage", args=[pk]), done=done)
    return answer or _stage_page(request, _there(queries.stage(pk)), **{name: form})


@page("plans.edit", "GET", "POST")
def add_gate(request: HttpRequest, pk: int) -> HttpResponse:
    if request.method == "GET":
        return redirect(_to_stage(_there(queries.stage(pk))))
    form = forms.GateForm(request.POST, prefix="gate")
    work = lambda: actions.add_gate(pk, None, **form.values(), by=by(request))  # noqa: E731
    return _add_to_stage(request, pk, form, "gate_form", work, "Gate added.")


@page("plans.edit", "GET", "POST")
def edit_gate(request: HttpRequest, pk: int) -> HttpResponse:
    row: PlanGate = _there(queries.gate(pk))
    stored = {"text": row.text, "when": row.when, "version": row.version}
    form = forms.GateEditForm(request.POST or None, initial=stored)
    work = lambda: actions.edit_gate(pk, form.cleaned_data["version"], **form.values(), by=by(request))  # noqa: E731
    answer = submit(request, form, work, to=_to_stage(row.stage), done="Gate saved.")
    if answer is None and stale(form):
        fresh = _there(queries.gate(pk))
        set_beside(form, {"text": fresh.text, "when": fresh.when, "version": fresh.version})
    context = {"form": form, "stage": row.stage, "title": row.text}
    return answer or render(request, "jobs_plans/line_form.html", context, status=status_of(form))


@page("plans.edit", "POST")
def remove_gate(request: HttpRequest, pk: int) -> HttpResponse:
    row: PlanGate = _there(queries.gate(pk))
    work = partial(actions.remove_gate, pk, version_of(request), by=by(request))
    return press(request, work, to=_to_stage, back=_to_stage(row.stage), done="Gate taken out.")


@page("plans.edit", "GET", "POST")
def add_part(request: HttpRequest, pk: int) -> HttpResponse:
    if request.method == "GET":
        return redirect(_to_stage(_there(queries.stage(pk))))
    form = forms.PartForm(request.POST, prefix="part")

    def work() -> PlanPart:
        given = form.cleaned_data
        part = catalogue.current(given["part"])
        if part is None:
            raise field_error("part", "There is no such part number or barcode. Look it up in the catalogue.")
        return actions.add_part(pk, None, part_id=part.pk, quantity=given["quantity"], by=by(request))

    return _add_to_stage(request, pk, form, "part_form", work, "Part added.")


@page("plans.edit", "GET", "POST")
def edit_part(request: HttpRequest, pk: int) -> HttpResponse:
    row: PlanPart = _there(queries.part(pk))
    stored = {"quantity": _plain(row.quantity), "version": row.version}
    form = forms.QuantityForm(request.POST or None, unit=unit(row.part.unit).symbol, initial=stored)
    work = lambda: actions.edit_part(pk, form.cleaned_data["version"], **form.values(), by=by(request))  # noqa: E731
    answer = submit(request, form, work, to=_to_stage(row.stage), done="Quantity saved.")
    if answer is None and stale(form):
        fresh = _there(queries.part(pk))
        set_beside(form, {"quantity": _plain(fresh.quantity), "version": fresh.version})
    context = {"form": form, "stage": row.stage, "title": str(row.part)}
    return answer or render(request, "jobs_plans/line_form.html", context, status=status_of(form))


@page("plans.edit", "POST")
def remove_part(request: HttpRequest, pk: int) -> HttpResponse:
    row: PlanPart = _there(queries.part(pk))
    work = partial(actions.remove_part, pk, version_of(request), by=by(request))
    return press(request, work, to=_to_stage, back=_to_stage(row.stage), done="Part taken out.")


def _plain(value: Decimal) -> Decimal:
    """Without the zeros the column adds."""
    return value.quantize(Decimal(1)) if value == value.to_integral_value() else value.normalize()
