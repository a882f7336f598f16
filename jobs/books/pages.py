"""Staff pages of the books: the journal, totals, months, accounts, work in progress."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, TypeVar

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from shop.business.queries import profile
from shop.kernel import clock
from shop.kernel.errors import BadInput
from shop.people.pages.who import by
from shop.ui.drawing import columns
from shop.ui.lists import page_of
from shop.ui.pages import ask_again, page, status_of, submit
from shop.ui.sheets import csv_file

from . import actions, earned, forms, journal, queries
from . import progress as wip
from .accounts import BY_KEY

SHOWN = 50
Filter = TypeVar("Filter", bound=forms.SpanFilter)
LINKS = {
    "invoice": "invoices:invoice", "card": "cards:card", "lot": "stock:lot", "bill": "buying:bill", "sublet-bill": "sublet:bill",
}  # fmt: skip


def tabs(current: str, rights: Collection[str] = ()) -> list[dict[str, Any]]:
    views = (
        ("journal", _("Journal")), ("totals", _("By account")), ("months", _("Months")),
        ("progress", _("Work in progress")), ("accounts", _("Accounts")),
        *([("earned", _("What jobs earned"))] if "margin.read" in rights else []),
    )  # fmt: skip
    return [{"label": label, "url": reverse(f"books:{name}"), "current": name == current} for name, label in views]


def plain(amount: Decimal) -> str:
    """For a file: a decimal point, no grouping, at least two decimals, nothing rounded."""
    text = f"{amount.normalize():f}"
    whole, _point, cents = text.partition(".")
    return f"{whole}.{cents:0<2}"


def _span(form: forms.SpanFilter) -> tuple[date, date, str]:
    """First day, the day after the last, and both as a query."""
    first, last = form.span()
    return first, last + timedelta(days=1), urlencode({"since": first.isoformat(), "until": last.isoformat()})


def _filter(request: HttpRequest, kind: type[Filter]) -> Filter:
    """What was asked for, shown with the days that were left out filled in."""
    given = kind(request.GET)
    if not given.is_valid():
        return given
    first, last = given.span()
    return kind(given.cleaned_data | {"since": first.isoformat(), "until": last.isoformat()})


@page("books.read")
def entries(request: HttpRequest) -> HttpResponse:
    """The journal of some days, by default of this month; or of one account in them."""
    form = _filter(request, forms.JournalFilter)
    first, until, days = _span(form)
    only = form.sought()
    sought, charts = queries.Sought(**only), queries.Charts(first, until)
    cursor = request.GET.get("cursor", "")[:400] or None
    try:
        found = queries.page(first, until, charts, limit=SHOWN, cursor=cursor, sought=sought)
    except BadInput:  # an old or mangled cursor
        cursor, found = None, queries.page(first, until, charts, limit=SHOWN, sought=sought)
    payers = queries.payers(found.items)
    rows = [
        {
            "entry": entry, "url": _link(entry, payers),
            "lines": [
                (charts.on(entry.on).of(x.purpose, x.tax), x, x.debit.normalize(), x.credit.normalize())
                for x in entry.lines
            ],
        }
        for entry in found.items
    ]  # fmt: skip
    span = f"{days}&{urlencode(only)}" if only else days
    context = {
        "form": form, "rows": rows, "tabs": tabs("journal", by(request).rights), "span": span,
        "only": _told(**only), "all": f"?{days}", "totals": f"{reverse('books:totals')}?{days}",
        "older": f"?{span}&{urlencode({'cursor': found.next})}" if found.next else "",
        "newer": f"?{span}" if cursor else "", "open_from": queries.open_from(),
    }  # fmt: skip
    return render(request, "jobs_books/journal.html", context, status=status_of(form))


def _told(account: str = "", purpose: str = "", tax: str = "") -> str:
    name = BY_KEY[purpose].name if purpose else ""
    return " ".join(x for x in (account, name, f"({tax})" if tax else "") if x)


def _link(entry: journal.Entry, payers: Mapping[int, int]) -> str:
    """Where it can be looked at; a payment on the account of its day."""
    kind, pk = entry.subject
    if kind == "payment":
        day = entry.on.isoformat()
        return f"{reverse('accounts:statement', args=[payers[pk]])}?{urlencode({'since': day, 'until': day})}"
    return reverse(LINKS[kind], args=[pk]) if kind in LINKS else ""


@page("books.read")
def entries_csv(request: HttpRequest) -> HttpResponse:
    form = forms.JournalFilter(request.GET)
    first, until, _query = _span(form)
    if form.errors:
        return ask_again(request, reverse("books:journal"))
    header = [
        _("Date"), _("Document"), _("What"), _("Account"), _("Account name"), _("VAT"), _("Debit"), _("Credit"),
        _("Currency"),
    ]  # fmt: skip
    sought, charts = queries.Sought(**form.sought()), queries.Charts(first, until)

    def rows() -> Iterator[list[Any]]:
        for entry in queries.entries(first, until, charts, sought):
            chart = charts.on(entry.on)
            for line in entry.lines:
                account = chart.of(line.purpose, line.tax)
                yield [
                    entry.on.isoformat(), entry.document, entry.what, account.number, account.name, line.tax,
                    plain(line.debit) if line.debit else "", plain(line.credit) if line.credit else "", entry.currency,
                ]  # fmt: skip

    return csv_file(f"journal-{first:%Y-%m-%d}-{until - timedelta(days=1):%Y-%m-%d}", header, rows())


@page("books.read")
def totals(request: HttpRequest) -> HttpResponse:
    """What each account came to in some days, rounded to the cent."""
    form = _filter(request, forms.SpanFilter)
    first, until, span = _span(form)
    found, count = queries.by_account(first, until)
    rows = [
        (account, x, urlencode({"account": account.number, "purpose": x.purpose, "tax": x.tax})) for account, x in found
    ]
    currency = profile().currency
    drawn = [(account.number, (x.balance,)) for account, x in found if x.currency == currency]
    context = {
        "form": form, "rows": rows, "count": count, "tabs": tabs("totals", by(request).rights), "span": span,
        "drawing": columns(drawn) if drawn else None, "journal": f"{reverse('books:journal')}?{span}",
    }  # fmt: skip
    return render(request, "jobs_books/totals.html", context, status=status_of(form))


@page("books.read")
def totals_csv(request: HttpRequest) -> HttpResponse:
    form = forms.SpanFilter(request.GET)
    first, until, _query = _span(form)
    if form.errors:
        return ask_again(request, reverse("books:totals"))
    found, _count = queries.by_account(first, until)
    header = [_("Account"), _("Account name"), _("VAT"), _("Debit"), _("Credit"), _("Balance"), _("Currency")]
    rows = (
        [account.number, account.name, x.tax, plain(x.debit), plain(x.credit), plain(x.balance), x.currency]
        for account, x in found
    )
    return csv_file(f"totals-{first:%Y-%m-%d}-{until - timedelta(days=1):%Y-%m-%d}", header, rows)


@page("books.read")
def months(request: HttpRequest) -> HttpResponse:
    """Months that were closed, and what comes next."""
    found = page_of(request, queries.closings(), ("-month", "-id"), size=24)
    rows = [
        (x, urlencode({"since": x.month.isoformat(), "until": forms.last_of(x.month).isoformat()}))
        for x in found.items
    ]  # fmt: skip
    context = {
        "rows": rows, "page": found, "tabs": tabs("months", by(request).rights), "open_from": queries.open_from(),
        "next": queries.next_to_close(), "standing": queries.standing(),
    }  # fmt: skip
    return render(request, "jobs_books/months.html", context)


@page("books.close", "GET", "POST")
def close(request: HttpRequest) -> HttpResponse:
    month = queries.next_to_close()
    form = forms.CloseForm(request.POST or None, initial={"month": month.isoformat() if month else ""})
    answer = submit(
        request, form, lambda: actions.close_month(by=by(request), month=form.cleaned_data["month"]),
        to=reverse("books:months"), done=_("Closed."),
    )  # fmt: skip
    span = urlencode({"since": month.isoformat(), "until": forms.last_of(month).isoformat()}) if month else ""
    context = {"form": form, "month": month, "span": span, "first": queries.open_from() is None}
    return answer or render(request, "jobs_books/close.html", context, status=status_of(form))


@page("books.close", "GET", "POST")
def reopen(request: HttpRequest) -> HttpResponse:
    last = queries.standing()
    form = forms.ReopenForm(request.POST or None, initial={"closing": last.pk if last else ""})
    answer = submit(
        request, form,
        lambda: actions.reopen_month(form.cleaned_data["closing"], by=by(request), reason=form.cleaned_data["reason"]),
        to=reverse("books:months"), done=_("Open again."),
    )  # fmt: skip
    return answer or render(request, "jobs_books/reopen.html", {"form": form, "last": last}, status=status_of(form))


@page("books.read")
def accounts(request: HttpRequest) -> HttpResponse:
    return render(
        request,
        "jobs_books/accounts.html",
        {"rows": list(queries.Chart().all()), "tabs": tabs("accounts", by(request).rights)},
    )


@page("books.edit", "GET", "POST")
def choose(request: HttpRequest) -> HttpResponse:
    """Another account for a purpose; ?purpose= and ?tax= fill in what stands now."""
    purpose = request.GET.get("purpose", "")
    initial: dict[str, Any] = {}
    if purpose in BY_KEY:
        now = queries.Chart().of(purpose, request.GET.get("tax", "")[:12])
        initial = {"purpose": purpose, "tax": now.tax, "number": now.number, "name": now.name}
    form = forms.AccountForm(request.POST or None, initial=initial)
    back = reverse("books:accounts")
    answer = submit(
        request, form, lambda: actions.choose_account(by=by(request), **form.cleaned_data), to=back,
        done=_("Chosen. Closed months keep what they were closed with."),
    )  # fmt: skip
    context = {"form": form, "title": _("Which account"), "go": _("Choose it"), "back": back}
    return answer or render(request, "jobs_cards/ask.html", context, status=status_of(form))


def _progress(form: forms.DayFilter) -> wip.Report:
    day = (form.cleaned_data.get("day") if form.is_valid() else None) or clock.today()
    return wip.report(min(day, clock.today()), profile().currency)


@page("books.read")
def progress(request: HttpRequest) -> HttpResponse:
    """What cards that are not invoiced have cost by the end of a day."""
    form = forms.DayFilter(request.GET)
    found = _progress(form)
    typed = request.GET.get("from", "")
    start = int(typed) if typed.isdecimal() and len(typed) < 8 else 0
    day = urlencode({"day": found.day.isoformat()})
    ends = wip.month_ends(found.day, found.currency)
    context = {
        "form": form, "report": found, "lines": found.lines[start : start + SHOWN], "tabs": tabs("progress", by(request).rights),
        "today": clock.today(), "csv": f"{reverse('books:progress-csv')}?{day}",
        "older": f"?{day}&from={start + SHOWN}" if start + SHOWN < len(found.lines) else "",
        "newer": f"?{day}&from={max(start - SHOWN, 0)}" if start else "",
        "ends": list(reversed(ends)), "drawing": columns([(f"{d:%m/%y}", (cost,)) for d, cost in ends]),
    }  # fmt: skip
    return render(request, "jobs_books/progress.html", context, status=status_of(form) if request.GET else 200)


@page("books.read")
def progress_csv(request: HttpRequest) -> HttpResponse:
    form = forms.DayFilter(request.GET)
    found = _progress(form)
    if form.errors:
        return ask_again(request, reverse("books:progress"))
    header = [
        _("Card"), _("Machine"), _("Customer"), _("Parts"), _("Sent out"), _("Hours"), _("Hours at cost"), _("Cost"),
        _("Currency"), _("Day"),
    ]  # fmt: skip
    rows = (
        [
            x.card.number, str(x.card.machine), x.card.customer.name, plain(x.parts), plain(x.sent_out), plain(x.hours),
            plain(x.labour), plain(x.cost), found.currency, found.day.isoformat(),
        ]
        for x in found.lines
    )  # fmt: skip
    return csv_file(f"work-in-progress-{found.day:%Y-%m-%d}", header, rows)


@page("margin.read")
def jobs(request: HttpRequest) -> HttpResponse:
    """What the cards first invoiced in some days brought and cost."""
    form = _filter(request, forms.SpanFilter)
    first, until, span = _span(form)
    found = earned.report(first, until - timedelta(days=1), profile().currency)
    typed = request.GET.get("from", "")
    start = int(typed) if typed.isdecimal() and len(typed) < 8 else 0
    lines = found.lines[start : start + SHOWN]
    bars, nought, height = earned.picture(lines)
    context = {
        "form": form, "report": found, "lines": lines, "bars": bars, "nought": nought, "height": height, "span": span,
        "tabs": tabs("earned", by(request).rights),
        "older": f"?{span}&from={start + SHOWN}" if start + SHOWN < len(found.lines) else "",
        "newer": f"?{span}&from={max(start - SHOWN, 0)}" if start else "",
    }  # fmt: skip
    return render(request, "jobs_books/earned.html", context, status=status_of(form))


@page("margin.read")
def jobs_csv(request: HttpRequest) -> HttpResponse:
    form = forms.SpanFilter(request.GET)
    first, until, _query = _span(form)
    if form.errors:
        return ask_again(request, reverse("books:earned"))
    found = earned.report(first, until - timedelta(days=1), profile().currency)
    header = [
        _("Card"), _("Machine"), _("Customer"), _("Invoiced"), _("Parts"), _("Sent out"), _("Hours"), _("Hours sold"),
        _("Labour charged"), _("Hours at cost"), _("Earned"), _("Currency"),
    ]  # fmt: skip
    rows = (
        [
            x.card.number, str(x.card.machine), x.card.customer.name, plain(x.net), plain(x.parts), plain(x.sent_out),
            plain(x.hours), plain(x.sold), plain(x.labour_net), plain(x.labour), plain(x.earned), found.currency,
        ]
        for x in found.lines
    )  # fmt: skip
    return csv_file(f"earned-{first:%Y-%m-%d}-{found.until:%Y-%m-%d}", header, rows)
