"""Staff pages of ordering: what is proposed and why, and by which rules."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from shop.business.queries import profile, sites
from shop.kernel.units import unit
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit

from . import actions, forms, picture, queries, words
from .models import Proposal, ReorderRule
from .rules import NAMES, USUAL

SAID = {"open": _("to be decided"), "put-off": _("put off"), "ordered": _("ordered")}


def _proposal(pk: int) -> Proposal:
    found = queries.proposal(pk)
    if found is None:
        raise Http404
    return found


@page("reorder.read")
def proposals(request: HttpRequest) -> HttpResponse:
    """What is proposed, the most urgent first."""
    form = forms.ProposalFilter(request.GET)
    given = {k: v for k, v in form.cleaned_data.items() if v} if form.is_valid() else {}
    order = ("rank", "id") if given.get("state", "open") == "open" else ("-id",)
    context = {
        "page": page_of(request, queries.proposals(**given), order), "form": form, "run": queries.last_run(),
        "state": given.get("state", "open"), "currency": profile().currency, "several_sites": sites().count() > 1,
        "filtered": bool(given.get("kind") or given.get("state")),
    }  # fmt: skip
    return render(request, "inventory_reorder/proposals.html", context)


@page("reorder.edit", "POST")
def run(request: HttpRequest) -> HttpResponse:
    here = reverse("reorder:list")
    done = str(_("It is being worked out. Load this page again in a moment."))
    return press(request, lambda: actions.ask_for_run(by=by(request)), to=here, back=here, done=done)


@page("reorder.read")
def proposal(request: HttpRequest, pk: int) -> HttpResponse:
    """One proposal: its sentence, its picture, its figures, and the two buttons."""
    return _shown(request, _proposal(pk))


def _shown(
    request: HttpRequest, row: Proposal, order: Any = None, put_off: Any = None, status: int = 200
) -> HttpResponse:
    start = {"version": row.version, "quantity": row.quantity.normalize(), "supplier": row.supplier_id}
    context = {
        "proposal": row, "part": row.part, "unit": unit(row.part.unit), "currency": profile().currency,
        "figures": row.figures, "picture": picture.draw(row.quantity, row.figures), "said": SAID[row.state],
        "asked": words.CLASS_WORDS[row.figures["class"]], "method": words.METHOD_WORDS[row.figures["method"]],
        "order": order or forms.OrderForm(initial=start, unit=unit(row.part.unit).symbol),
        "put_off": put_off or forms.PutOffForm(initial={"version": row.version}),
    }  # fmt: skip
    return render(request, "inventory_reorder/proposal.html", context, status=status)


@page("reorder.edit", "POST")
def order(request: HttpRequest, pk: int) -> HttpResponse:
    row = _proposal(pk)
    form = forms.OrderForm(request.POST, unit=unit(row.part.unit).symbol)

    def work() -> Proposal:
        given = form.cleaned_data
        supplier = given["supplier"]
        return actions.order(
            pk, given["version"], by=by(request), quantity=given["quantity"], supplier_id=supplier and supplier.pk
        )

    answer = submit(request, form, work, to=reverse("reorder:list"), done=str(_("Ordered.")))
    return answer or _shown(request, _proposal(pk), order=form, status=status_of(form))


@page("reorder.edit", "POST")
def put_off(request: HttpRequest, pk: int) -> HttpResponse:
    _proposal(pk)
    form = forms.PutOffForm(request.POST)

    def work() -> Proposal:
        given = form.cleaned_data
        return actions.put_off(pk, given["version"], by=by(request), note=given["note"], until=given["until"])

    answer = submit(request, form, work, to=reverse("reorder:list"), done=str(_("Put off.")))
    return answer or _shown(request, _proposal(pk), put_off=form, status=status_of(form))


# --- rules ------------------------------------------------------------------------------------------


def _stored(rule: ReorderRule) -> dict[str, Any]:
    only = {None: "", True: "yes", False: "no"}[rule.for_cards_only]
    values = {name: getattr(rule, name) for name in (*NAMES, "budget", "version") if name != "for_cards_only"}
    return values | {"cards_only": only}


@page("reorder.read")
def rules(request: HttpRequest) -> HttpResponse:
    """Rules of ordering: the shop's, of kinds, of parts."""
    found = page_of(request, queries.rules(), ("id",))
    context = {"page": found, "usual": USUAL, "currency": profile().currency}
    return render(request, "inventory_reorder/rules.html", context)


@page("reorder.edit", "GET", "POST")
def add_rule(request: HttpRequest) -> HttpResponse:
    form = forms.RuleAddForm(request.POST or None, whole_shop=True, initial={"part": request.GET.get("part", "")[:40]})

    def work() -> ReorderRule:
        scope = form.cleaned_data["scope"]
        part = form.cleaned_data["part"] if scope == "part" else None
        values = form.values()
        if scope:
            values.pop("budget", None)
        kind = "" if scope == "part" else scope
        return actions.add_rule(by=by(request), part_id=part and part.pk, kind=kind, **values)

    answer = submit(request, form, work, to=reverse("reorder:rules"), done=str(_("Rule added.")))
    context = {"form": form, "rule": None, "usual": USUAL}
    return answer or render(request, "inventory_reorder/rule_form.html", context, status=status_of(form))


@page("reorder.edit", "GET", "POST")
def edit_rule(request: HttpRequest, pk: int) -> HttpResponse:
    row = queries.rule(pk)
    if row is None:
        raise Http404
    whole = not row.kind and row.part_id is None
    form = forms.RuleEditForm(request.POST or None, initial=_stored(row), whole_shop=whole)
    answer = submit(
        request, form,
        lambda: actions.edit_rule(pk, form.cleaned_data["version"], by=by(request), **form.values()),
        to=reverse("reorder:rules"), done=str(_("Saved.")),
    )  # fmt: skip
    if answer:
        return answer
    if stale(form):
        row = queries.rule(pk) or row
        set_beside(form, _stored(row))
    context = {"form": form, "rule": row, "usual": USUAL}
    return render(request, "inventory_reorder/rule_form.html", context, status=status_of(form))
