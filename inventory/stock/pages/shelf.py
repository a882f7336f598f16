"""Staff pages of the shelf: what there is, receiving, bins, lots, counts, the ledger."""

from __future__ import annotations

from datetime import timedelta
from functools import partial
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse

from inventory.parts import queries as catalogue
from inventory.parts.models import Part
from shop.business.queries import profile, sites
from shop.kernel import clock
from shop.kernel.units import unit
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit

from .. import actions, forms, queries
from ..models import Balance, Bin, Lot, Reservation
from .common import given, tabs, there

SOON = timedelta(days=60)
SHOWN = 20


def _movement_columns(request: HttpRequest, *without: str) -> list[str]:
    """Headings of a table of movements; the cost only for those who may see it."""
    if "costs.read" not in by(request).rights:
        without = (*without, "#At cost")
    heads = ("When", "What", "Part", "Lot", "Bin", "#Quantity", "#At cost", "What for, and why", "By")
    return [head for head in heads if head not in without]


@page("stock.read")
def stock(request: HttpRequest) -> HttpResponse:
    form = forms.StockFilter(request.GET)
    found = page_of(request, queries.levels(**given(form)), ("part__number", "id"))
    several = sites().count() > 1
    columns = ["Part", "Name", *(["Site"] if several else []), "#On hand", "#Kept", "#Free"]
    if "costs.read" in by(request).rights:
        columns.append("#At cost")
    context = {
        "page": found, "form": form, "tabs": tabs(request, "list"), "currency": profile().currency, "columns": columns,
        "several_sites": several,
    }  # fmt: skip
    return render(request, "inventory_stock/stock.html", context)


@page("stock.receive", "GET", "POST")
def receive(request: HttpRequest) -> HttpResponse:
    initial = {name: request.GET.get(name, "")[:60] for name in ("part", "bin", "source")}
    form = forms.ReceiveForm(request.POST or None, initial=initial)

    def to(lot: Lot) -> str:
        return reverse("stock:lot", args=[lot.pk])

    work = lambda: actions.receive(by=by(request), **form.values())  # noqa: E731
    answer = submit(request, form, work, to=to, done="Received. The next one can be entered from here.")
    context = {"form": form, "currency": profile().currency}
    return answer or render(request, "inventory_stock/receive.html", context, status=status_of(form))


@page("stock.read")
def movements(request: HttpRequest) -> HttpResponse:
    form = forms.MovementFilter(request.GET)
    narrowed = given(form)
    part = narrowed.pop("part", None)
    rows = queries.movements(part_id=part.pk if part else None, **narrowed)
    context = {
        "page": page_of(request, rows, ("-id",)), "form": form, "tabs": tabs(request, "movements"), "currency": profile().currency,
        "columns": _movement_columns(request),
    }  # fmt: skip
    return render(request, "inventory_stock/movements.html", context)


@page("stock.read")
def expiring(request: HttpRequest) -> HttpResponse:
    today = clock.today()
    rows = list(queries.expiring(today + SOON)[:200])
    return render(
        request, "inventory_stock/expiring.html", {"rows": rows, "today": today, "tabs": tabs(request, "expiring")}
    )


# --- lots -------------------------------------------------------------------------------------------


@page("stock.read")
def lot(request: HttpRequest, pk: int) -> HttpResponse:
    row = there(queries.lot(pk))
    context = {
        "lot": row, "places": queries.balances(lot_id=pk).order_by("bin__code"), "today": clock.today(),
        "page": page_of(request, queries.movements(lot_id=pk), ("-id",), size=SHOWN), "currency": row.currency,
        "columns": _movement_columns(request, "Part", "Lot"), "part": row.part, "revaluations": queries.revaluations(pk),
    }  # fmt: skip
    return render(request, "inventory_stock/lot.html", context)


@page("stock.read")
def place(request: HttpRequest, lot_id: int, bin_id: int) -> HttpResponse:
    """Some of one lot in one bin, and what can be done with it."""
    return _place_page(request, _place(lot_id, bin_id))


def _place(lot_id: int, bin_id: int) -> Balance:
    rows = Balance.objects.select_related("lot", "bin__site", "part").filter(lot_id=lot_id, bin_id=bin_id)
    return there(rows.first())


def _place_page(request: HttpRequest, row: Balance, **filled: Any) -> HttpResponse:
    sign = unit(row.part.unit).symbol
    context: dict[str, Any] = {
        "place": row, "lot": row.lot, "today": clock.today(), "move": forms.MoveForm(unit=sign, prefix="move"),
        "scrap": forms.ScrapForm(unit=sign, prefix="scrap"), "open": forms.OpenForm(unit=sign, prefix="open"),
        "apart": forms.BreakForm(prefix="apart"), "kit": catalogue.kit_parts(kit_id=row.part_id),
    } | filled  # fmt: skip
    status = max((status_of(f) for f in filled.values()), default=200)
    return render(request, "inventory_stock/place.html", context, status=status)


def _at_place(row: Balance) -> str:
    return reverse("stock:place", args=[row.lot_id, row.bin_id])


@page("stock.move", "GET", "POST")
def transfer(request: HttpRequest, lot_id: int, bin_id: int) -> HttpResponse:
    row = _place(lot_id, bin_id)
    if request.method != "POST":  # somebody loaded the page again that a refusal had shown
        return redirect(_at_place(row))
    form = forms.MoveForm(request.POST, unit=unit(row.part.unit).symbol, prefix="move")

    def work() -> Any:
        typed = form.cleaned_data
        return actions.transfer(
            by=by(request), lot_id=lot_id, from_bin_id=bin_id, to_bin_id=typed["to_bin"].pk,
            quantity=typed["quantity"], reason=typed["reason"],
        )  # fmt: skip

    to = lambda pair: reverse("stock:place", args=[lot_id, pair[1].bin_id])  # noqa: E731
    return submit(request, form, work, to=to, done="Moved. It lies here now.") or _place_page(request, row, move=form)


@page("stock.scrap", "GET", "POST")
def scrap(request: HttpRequest, lot_id: int, bin_id: int) -> HttpResponse:
    row = _place(lot_id, bin_id)
    if request.method != "POST":  # somebody loaded the page again that a refusal had shown
        return redirect(_at_place(row))
    form = forms.ScrapForm(request.POST, unit=unit(row.part.unit).symbol, prefix="scrap")
    work = lambda: actions.scrap(by=by(request), lot_id=lot_id, bin_id=bin_id, **form.cleaned_data)  # noqa: E731
    answer = submit(request, form, work, to=_at_place(row), done="Scrapped, and taken off the stock.")
    return answer or _place_page(request, row, scrap=form)


@page("stock.move", "GET", "POST")
def open_lot(request: HttpRequest, lot_id: int, bin_id: int) -> HttpResponse:
    row = _place(lot_id, bin_id)
    if request.method != "POST":  # somebody loaded the page again that a refusal had shown
        return redirect(_at_place(row))
    form = forms.OpenForm(request.POST, unit=unit(row.part.unit).symbol, prefix="open")
    work = lambda: actions.open_lot(by=by(request), lot_id=lot_id, bin_id=bin_id, **form.cleaned_data)  # noqa: E731
    to = lambda opened: reverse("stock:place", args=[opened.pk, bin_id])  # noqa: E731
    answer = submit(request, form, work, to=to, done="Opened. Its shorter life counts from now.")
    return answer or _place_page(request, row, open=form)


@page("stock.move", "GET", "POST")
def break_open(request: HttpRequest, lot_id: int, bin_id: int) -> HttpResponse:
    row = _place(lot_id, bin_id)
    if request.method != "POST":  # somebody loaded the page again that a refusal had shown
        return redirect(_at_place(row))
    form = forms.BreakForm(request.POST, prefix="apart")
    work = lambda: actions.break_open(by=by(request), lot_id=lot_id, bin_id=bin_id, **form.values())  # noqa: E731
    answer = submit(request, form, work, to=_at_place(row), done="Broken open: its parts are in stock one by one.")
    return answer or _place_page(request, row, apart=form)


# --- bins -------------------------------------------------------------------------------------------


@page("stock.read")
def bins(request: HttpRequest) -> HttpResponse:
    form = forms.BinFilter(request.GET)
    found = page_of(request, queries.bins(**given(form)), ("code", "id"))
    return render(request, "inventory_stock/bins.html", {"page": found, "form": form, "tabs": tabs(request, "bins")})


@page("stock.read")
def bin_(request: HttpRequest, pk: int) -> HttpResponse:
    row = there(queries.bin_(pk))
    context = {"bin": row, "lying": queries.lying_in(pk), "today": clock.today()}
    return render(request, "inventory_stock/bin.html", context)


def _to_bin(row: Bin) -> str:
    return reverse("stock:bin", args=[row.pk])


@page("stock.move", "GET", "POST")
def add_bin(request: HttpRequest) -> HttpResponse:
    form = forms.BinForm(request.POST or None)
    work = lambda: actions.add_bin(by=by(request), **form.values())  # noqa: E731
    answer = submit(request, form, work, to=_to_bin, done="Bin added.")
    return answer or render(request, "inventory_stock/bin_form.html", {"form": form}, status=status_of(form))


@page("stock.move", "GET", "POST")
def edit_bin(request: HttpRequest, pk: int) -> HttpResponse:
    row = there(queries.bin_(pk))
    form = forms.BinEditForm(request.POST or None, initial=_stored(row))
    work = lambda: actions.edit_bin(pk, form.cleaned_data["version"], by=by(request), **form.values())  # noqa: E731
    answer = submit(request, form, work, to=_to_bin, done="Bin saved.")
    if answer is None and stale(form):
        set_beside(form, _stored(there(queries.bin_(pk))))
    context = {"form": form, "bin": row}
    return answer or render(request, "inventory_stock/bin_form.html", context, status=status_of(form))


def _stored(row: Bin) -> dict[str, Any]:
    return {name: getattr(row, name) for name in forms.BinEditForm.base_fields}


@page("stock.move", "POST")
def archive_bin(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.archive_bin, pk, None, by=by(request))
    return press(request, work, to=_to_bin, back=reverse("stock:bin", args=[pk]), done="Bin put away.")


@page("stock.count", "GET", "POST")
def count(request: HttpRequest, pk: int) -> HttpResponse:
    """Count a bin without seeing what the ledger expects; what differs is looked at again."""
    row = there(queries.bin_(pk))
    lying = list(queries.lying_in(pk))
    if not lying:
        return redirect(_to_bin(row))
    form = forms.CountForm(request.POST or None, lying=lying)

    def work() -> Any:
        reason = form.cleaned_data["reason"]
        return actions.count_bin(by=by(request), bin_id=pk, counted=form.counted(), reason=reason)

    answer = submit(request, form, work, to=_to_bin(row), done="Counted.")
    return answer or render(request, "inventory_stock/count.html", {"form": form, "bin": row}, status=status_of(form))


@page("stock.move", "POST")
def release(request: HttpRequest, pk: int) -> HttpResponse:
    row = there(queries.reservation(pk))
    back = reverse("parts:part", args=[row.part_id])

    def work() -> Reservation:
        return actions.release(pk, by=by(request))

    return press(request, work, to=back, back=back, done="Freed. It can be drawn for something else now.")


# --- on the page of a part --------------------------------------------------------------------------


def of_part(request: HttpRequest, part: Part) -> str:
    """What there is of a part, where, for whom, and its last movements."""
    costs = "costs.read" in by(request).rights
    context = {
        "part": part, "levels": queries.levels(part_id=part.pk).order_by("site_id"), "places": queries.places(part.pk),
        "kept": queries.kept_for(part.pk)[:50], "today": clock.today(), "currency": profile().currency,
        "movements": queries.movements(part_id=part.pk).order_by("-id")[:SHOWN],
        "columns": _movement_columns(request, "Part"),
        "place_columns": ["Bin", "Lot", "#On hand", "Use until", *(["#Cost per unit"] if costs else [])],
    }  # fmt: skip
    return render_to_string("inventory_stock/part_panel.html", context, request)
