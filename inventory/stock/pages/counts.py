"""Count lists: made at a desk, counted with a phone and a scanner. The phone never shows what the ledger expects."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from shop.business.queries import profile
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.pages import page, press, status_of, submit

from .. import actions, counts, forms, queries
from ..models import CountLine, Lot
from .common import tabs, there

RECENT = 8


@page("stock.count")
def count_lists(request: HttpRequest) -> HttpResponse:
    context = {"page": page_of(request, counts.lists(), ("-id",)), "tabs": tabs(request, "counts")}
    return render(request, "inventory_stock/counts.html", context)


@page("stock.count", "GET", "POST")
def start(request: HttpRequest) -> HttpResponse:
    """A new list: bins by their codes, a whole rack, or what is due."""
    initial = {"codes": request.GET.get("bin", "")[:40]}
    form = forms.CountStartForm(request.POST or None, initial=initial)
    to = lambda made: reverse("stock:count-list", args=[made.pk])  # noqa: E731

    def work() -> Any:
        act = actions.start_cycle if form.cleaned_data["what"] == "due" else actions.start_count
        return act(by=by(request), **form.values())

    answer = submit(request, form, work, to=to, done=_("The list is ready to be counted."))
    return answer or render(request, "inventory_stock/count_start.html", {"form": form}, status=status_of(form))


@page("stock.count")
def count_list(request: HttpRequest, pk: int) -> HttpResponse:
    row = there(counts.one(pk))
    code = request.GET.get("code", "").strip()[:60]
    rows = list(counts.lines(pk))
    if code:
        wanted = [x for x in rows if x.bin.code.lower() == code.rpartition("/")[2].lower()]
        going = [x for x in wanted if x.closed_at is None]
        if len(going) == 1:
            return redirect("stock:count-line", going[0].pk)
        rows = wanted or rows
        unknown = "" if wanted else code
    else:
        unknown = ""
    return render(request, "inventory_stock/count_list.html", {"count": row, "lines": rows, "unknown": unknown})


@page("stock.count", "POST")
def cancel(request: HttpRequest, pk: int) -> HttpResponse:
    here = reverse("stock:count-list", args=[pk])
    work = partial(actions.cancel_count, pk, by=by(request))
    return press(request, work, to=here, back=here, done=_("Given up. What was posted from it stays."))


def _line(pk: int) -> CountLine:
    return there(counts.line(pk))


def _here(line: CountLine) -> str:
    return reverse("stock:count-line", args=[line.pk])


@page("stock.count", "GET", "POST")
def count_line(request: HttpRequest, pk: int) -> HttpResponse:
    """One bin on the phone. With ?code= what was scanned, to say how much of it lies there."""
    line = _line(pk)
    if line.closed_at or line.count.cancelled_at:
        return render(request, "inventory_stock/count_closed.html", _closed(line))
    code = request.GET.get("code", "").strip()[:400]
    lots = _lots(line, code)
    if len(lots) == 1:
        return _quantity(request, line, lots[0])
    found = counts.last_tallies(line)
    again = counts.to_look_at_again(line, found) if line.finished_at else []
    context = {
        "line": line, "count": line.count, "code": code, "lots": lots, "tallies": found, "again": again,
        "left": len(counts.uncounted(line)) if not line.finished_at else 0, "here": _here(line),
    }  # fmt: skip
    return render(request, "inventory_stock/count_line.html", context)


def _lots(line: CountLine, code: str) -> list[Lot]:
    """The lot that was scanned; of a part, its lots in the bin, or where none should lie there its latest."""
    if not code:
        return []
    part, lot = queries.by_code(code)
    if lot is not None:
        return [lot]
    if part is None:
        return []
    there_ = [b.lot for b in queries.balances(part_id=part.pk, bin_id=line.bin_id).order_by("lot_id")]
    return there_ or list(queries.lots(part_id=part.pk).order_by("-id")[:RECENT])


def _quantity(request: HttpRequest, line: CountLine, lot: Lot) -> HttpResponse:
    form = forms.TallyForm(request.POST or None, part=lot.part)

    def work() -> Any:
        return actions.tally(by=by(request), line_id=line.pk, lot_id=lot.pk, counted=form.cleaned_data["counted"])

    answer = submit(request, form, work, to=_here(line), done=_("Written down. Scan the next."))
    context = {"line": line, "count": line.count, "lot": lot, "part": lot.part, "form": form, "here": _here(line)}
    return answer or render(request, "inventory_stock/count_quantity.html", context, status=status_of(form))


@page("stock.count", "GET", "POST")
def finish(request: HttpRequest, pk: int) -> HttpResponse:
    """All was looked at: what the ledger holds and nobody saw is named, and said to be gone."""
    line = _line(pk)
    if request.method != "POST":
        if line.finished_at:
            return redirect(_here(line))
        context = {"line": line, "count": line.count, "missing": counts.uncounted(line), "here": _here(line)}
        return render(request, "inventory_stock/count_finish.html", context)
    gone = [int(x) for x in request.POST.getlist("gone") if x.isdecimal() and len(x) < 19]
    work = partial(actions.finish_line, by=by(request), line_id=pk, gone_lot_ids=gone)
    to = lambda made: _here(made) if made.closed_at is None else reverse("stock:count-list", args=[made.count_id])  # noqa: E731
    return press(request, work, to=to, back=reverse("stock:count-finish", args=[pk]), done=_("Counted."))


@page("stock.count", "GET", "POST")
def close(request: HttpRequest, pk: int) -> HttpResponse:
    """What differs, after the second look: post it with a reason."""
    line = _line(pk)
    if line.closed_at or not line.finished_at:
        return redirect(_here(line))
    found = counts.last_tallies(line)
    form = forms.ReasonForm(request.POST or None)
    work = lambda: actions.close_line(by=by(request), line_id=pk, **form.cleaned_data)  # noqa: E731
    to = reverse("stock:count-list", args=[line.count_id])
    answer = submit(request, form, work, to=to, done=_("The differences are posted."))
    context = _closed(line) | {"form": form, "again": counts.to_look_at_again(line, found), "here": _here(line)}
    return answer or render(request, "inventory_stock/count_close.html", context, status=status_of(form))


def _closed(line: CountLine) -> dict[str, Any]:
    return {
        "line": line, "count": line.count, "tallies": counts.last_tallies(line), "currency": profile().currency,
        "list_url": reverse("stock:count-list", args=[line.count_id]),
    }  # fmt: skip
