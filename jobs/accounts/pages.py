"""Staff pages of accounts."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from jobs.invoices import queries as invoices
from shop.api.files import pdf_answer
from shop.business import queries as business
from shop.kernel import clock
from shop.people.pages.who import by
from shop.ui import drawing
from shop.ui.lists import page_of
from shop.ui.pages import ask_again, page, press, status_of, submit
from shop.ui.sheets import csv_file

from . import actions, forms, printing, queries
from .models import Dispute, Reminder

HEAD = (_("Not yet due"), _("1-30 days late"), _("31-60"), _("61-90"), _("More than 90"))


def tabs(current: str) -> list[dict[str, Any]]:
    shown = (("ages", _("What is owed")), ("letters", _("Letters")), ("storage", _("Not collected")))
    return [{"label": label, "url": reverse(f"accounts:{name}"), "current": name == current} for name, label in shown]


@page("invoices.read")
def ages(request: HttpRequest) -> HttpResponse:
    rows = queries.ages()
    columns = [sum((r.bands[n] for r in rows), queries.ZERO) for n in range(len(queries.BANDS) + 1)]
    context = {
        "tabs": tabs("ages"), "rows": rows, "columns": columns, "owed": sum(columns, queries.ZERO),
        "credit": sum((r.credit for r in rows), queries.ZERO), "currency": business.profile().currency,
        "drawing": drawing.columns([(str(head), (column,)) for head, column in zip(HEAD, columns, strict=True)]),
    }  # fmt: skip
    return render(request, "jobs_accounts/ages.html", context)


@page("invoices.read")
def ages_csv(request: HttpRequest) -> HttpResponse:
    header = [_("Customer"), *HEAD, _("Owes"), _("To their credit"), _("Balance"), _("Currency"), _("Day")]
    currency, today = business.profile().currency, clock.today()
    rows = ([a.customer.name, *a.bands, a.owed, a.credit, a.balance, currency, today] for a in queries.ages())
    return csv_file(f"aged-balances-{today:%Y-%m-%d}", header, rows)


@page("invoices.read")
def letters(request: HttpRequest) -> HttpResponse:
    """Letters that are due, those whose money is here already, overdue invoices that have none coming, and what was sent."""
    found = queries.letters()
    context = {
        "tabs": tabs("letters"), "proposals": found.due, "covered": found.covered, "waiting": found.waiting,
        "page": page_of(request, queries.reminders(), ("-id",), size=25), "currency": business.profile().currency,
    }  # fmt: skip
    return render(request, "jobs_accounts/letters.html", context)


@page("invoices.issue", "POST")
def remind(request: HttpRequest, customer: int) -> HttpResponse:
    here = reverse("accounts:letters")
    work = partial(actions.send_reminder, by=by(request), customer_id=customer)

    def done(row: Reminder) -> str:
        if row.customer.mail_consent_at and row.customer.email:
            return _("%(number)s is written and goes out by mail.") % {"number": row.number}
        return _("%(number)s is written. This customer isn't mailed: print it and post it.") % {"number": row.number}

    return press(request, work, to=here, back=here, done=done)


@page("invoices.read")
def letter_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    row = Reminder.objects.filter(pk=pk).first()
    if row is None:
        raise Http404
    return pdf_answer(printing.letter(row), f"{row.number}.pdf")


@page("invoices.issue", "GET", "POST")
def dispute(request: HttpRequest, pk: int) -> HttpResponse:
    row = invoices.invoice(pk)
    if row is None:
        raise Http404
    form = forms.DisputeForm(request.POST or None)
    back = reverse("accounts:letters")
    answer = submit(
        request, form, lambda: actions.raise_dispute(by=by(request), invoice_id=pk, **form.cleaned_data),
        to=back, done=_("Noted. No letter about it goes out until the dispute is settled."),
    )  # fmt: skip
    context = {
        "form": form, "title": _("%(number)s is disputed") % {"number": row.number or _("The draft")},
        "go": _("Note it"), "back": back,
    }  # fmt: skip
    return answer or render(request, "jobs_cards/ask.html", context, status=status_of(form))


@page("invoices.issue", "GET", "POST")
def end_dispute(request: HttpRequest, pk: int) -> HttpResponse:
    row = Dispute.objects.select_related("invoice").filter(pk=pk).first()
    if row is None:
        raise Http404
    form = forms.OutcomeForm(request.POST or None)
    back = reverse("accounts:letters")
    answer = submit(
        request, form, lambda: actions.end_dispute(pk, by=by(request), **form.cleaned_data), to=back,
        done=_("Settled. Letters about it go on as due."),
    )  # fmt: skip
    context = {
        "form": form, "title": _("The dispute about %(number)s is settled") % {"number": row.invoice.number},
        "lead": row.reason, "go": _("Note it"), "back": back,
    }  # fmt: skip
    return answer or render(request, "jobs_cards/ask.html", context, status=status_of(form))


@page("invoices.read")
def statement(request: HttpRequest, customer: int) -> HttpResponse:
    form = forms.Period(request.GET or None)
    since, until = form.days()
    found = queries.statement(customer, since, until)
    if found is None:
        raise Http404
    if not form.is_bound:
        form = forms.Period(initial={"since": since, "until": until})
    words = urlencode({"since": since.isoformat(), "until": until.isoformat()})
    context = {
        "found": found, "form": form, "words": printing.WORDS["en"],
        "rows": [(e, printing.WORDS["en"][e.what], balance) for e, balance in found.entries],
        "pdf": f"{reverse('accounts:statement-pdf', args=[customer])}?{words}",
    }  # fmt: skip
    return render(request, "jobs_accounts/statement.html", context, status=status_of(form))


@page("invoices.read")
def statement_pdf(request: HttpRequest, customer: int) -> HttpResponse:
    form = forms.Period(request.GET or None)
    since, until = form.days()
    found = queries.statement(customer, since, until)
    if found is None:
        raise Http404
    if form.errors:
        return ask_again(request, reverse("accounts:statement", args=[customer]))
    return pdf_answer(printing.statement(found), f"statement-C-{customer:04d}-{until:%Y-%m-%d}.pdf")


@page("invoices.read")
def storage(request: HttpRequest) -> HttpResponse:
    """Finished machines that nobody collected."""
    context = {
        "tabs": tabs("storage"), "rows": queries.uncollected(), "terms": business.money_terms(),
        "currency": business.profile().currency,
    }  # fmt: skip
    return render(request, "jobs_accounts/storage.html", context)


@page("invoices.issue", "POST")
def bill_storage(request: HttpRequest, card: int) -> HttpResponse:
    work = partial(actions.bill_storage, card, by=by(request))
    return press(
        request, work, to=lambda row: reverse("invoices:invoice", args=[row.pk]), back=reverse("accounts:storage"),
        done=_("A draft is made. Look it over, then issue or discard it."),
    )  # fmt: skip
