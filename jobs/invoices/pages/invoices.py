"""Staff pages of invoices and credit notes."""

from __future__ import annotations

from decimal import Decimal
from functools import partial
from typing import Any

from django import forms as django_forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.cards.models import JobCard
from jobs.cards.wording import entry
from jobs.estimates import explaining, showing
from jobs.estimates.pages import stored_line, whole_values
from shop.api.files import file_answer, pdf_answer
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit, told

from .. import actions, cores, einvoice, forms, prepaid, printing, queries
from ..models import Invoice, InvoiceLine
from .common import account_url, customer_or_404, to_invoice, with_state
from .common import invoice_or_404 as _found
from .common import invoice_url as _url


@page("invoices.read")
def invoices(request: HttpRequest) -> HttpResponse:
    form = forms.InvoiceFilter(request.GET)
    given = {k: v for k, v in form.cleaned_data.items() if v} if form.is_valid() else {}
    found = page_of(request, queries.invoices(**given), ("-id",))
    context = {"page": found, "rows": with_state(found.items), "form": form}
    return render(request, "jobs_invoices/invoices.html", context)


@page("invoices.issue", "POST")
def draft(request: HttpRequest, card: int) -> HttpResponse:
    work = partial(actions.draft_invoice, by=by(request), card_id=card)
    back = reverse("cards:card", args=[card])
    return press(
        request, work, to=to_invoice, back=back, done=_("Drafted from what was agreed and done. Look it over.")
    )


@page("invoices.issue", "GET", "POST")
def deposit(request: HttpRequest, card: int) -> HttpResponse:
    """Ask for a deposit or stage payment on a card."""
    row = JobCard.objects.filter(pk=card).first()
    if row is None:
        raise Http404
    return _deposit(request, reverse("cards:card", args=[card]), row.number, True, card_id=card)


@page("invoices.issue", "GET", "POST")
def deposit_sale(request: HttpRequest, customer: int) -> HttpResponse:
    """Ask a customer for a deposit on something that has no card."""
    return _deposit(request, account_url(customer), customer_or_404(customer).name, False, customer_id=customer)


def _deposit(request: HttpRequest, back: str, name: str, agreed: bool, **named: Any) -> HttpResponse:
    form = forms.DepositForm(request.POST or None, agreed=agreed)
    answer = submit(
        request, form, lambda: actions.draft_deposit(by=by(request), **named, **form.cleaned_data),
        to=to_invoice, done=_("Drafted. Look it over, then issue it."),
    )  # fmt: skip
    lead = _("It charges VAT now; the invoice that follows takes it off, rate by rate.")
    context = {
        "form": form,
        "title": _("Deposit for %(name)s") % {"name": name},
        "go": _("Draft it"),
        "back": back,
        "lead": lead,
    }
    return answer or render(request, "jobs_cards/ask.html", context, status=status_of(form))


@page("invoices.issue", "POST")
def take_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Take what deposits charged off a draft, anew."""
    _found(pk)
    work = partial(actions.take_off_deposits, pk, None, by=by(request))
    return press(request, work, to=_url(pk), back=_url(pk), done=_("Deposits are taken off."))


@page("invoices.override", "GET", "POST")
def close_card(request: HttpRequest, card: int) -> HttpResponse:
    """The card will not be billed."""
    row = JobCard.objects.filter(pk=card).first()
    if row is None:
        raise Http404
    form = forms.CloseCardForm(request.POST or None)
    back = reverse("cards:card", args=[card])
    answer = submit(
        request, form, lambda: actions.close_without_invoice(card, by=by(request), **form.cleaned_data), to=back,
        done=_("Closed without an invoice. What it cost has left work in progress."),
    )  # fmt: skip
    context = {
        "form": form, "title": _("Close card %(number)s without an invoice") % {"number": row.number}, "back": back,
        "lead": _("For warranty, goodwill or a machine of your own. What its parts cost is an expense from now on."),
        "go": _("Close it"),
    }  # fmt: skip
    return answer or render(request, "jobs_cards/ask.html", context, status=status_of(form))


@page("invoices.issue", "POST")
def draft_sale(request: HttpRequest, customer: int) -> HttpResponse:
    work = partial(actions.draft_invoice, by=by(request), customer_id=customer)
    return press(
        request, work, to=lambda row: _url(row.pk) + "?add=#add", back=account_url(customer), done=_("An empty draft.")
    )


@page("invoices.read")
def invoice(request: HttpRequest, pk: int) -> HttpResponse:
    return show(request, _found(pk))


def show(request: HttpRequest, row: Invoice, **forms_with_errors: Any) -> HttpResponse:
    """The page; a form that was refused stands where it was filled in."""
    person = by(request)
    lines = list(queries.lines(invoice_id=row.pk))
    may_edit = "invoices.issue" in person.rights and not row.issued_at
    rights = {
        "may_discount": "estimates.discount" in person.rights,
        "may_override": "invoices.override" in person.rights,
    }
    state = queries.state_of(row)
    context: dict[str, Any] = {
        "invoice": row, "state": state, "word": queries.STATES[state], "outstanding": queries.outstanding(row),
        "sections": sections(row, lines), "totals": showing.totals(row),
        "settled_by": list(queries.allocations(invoice_id=row.pk).order_by("id")),
        "notes": row.credit_notes.order_by("id"),
        "history": [entry(t, row.currency) for t in queries.history(row)[:50]],
        "margin": (
            showing.margin([x for x in lines if not x.deducts_id], row) if "margin.read" in person.rights else None
        ),
        "may_edit": may_edit,
        "electronic": einvoice.possible(row), "may_override": rights["may_override"],
    }  # fmt: skip
    if row.issued_at and row.kind in (Invoice.Kind.INVOICE, Invoice.Kind.DEPOSIT):
        context["creditable"] = any(quantity > 0 for quantity, _net in queries.creditable(row, lines).values()) or (
            row.kind == Invoice.Kind.DEPOSIT and prepaid.left([row])
        )
    if row.kind == Invoice.Kind.DEPOSIT and row.issued_at:
        context |= {"left_of_it": prepaid.left([row]), "deducted_on": list(prepaid.users(row))}
    if row.kind == Invoice.Kind.INVOICE and row.issued_at:
        out = cores.charged().filter(invoice=row).order_by("position")
        context["cores_out"] = [(x, cores.left_of(x)) for x in out]
    if row.kind == Invoice.Kind.INVOICE:
        mine = Invoice.objects.filter(pk__in={x.deducts_id for x in lines if x.deducts_id}).order_by("pk")
        context["left_deposits"] = prepaid.left(mine) if row.issued_at else prepaid.left_for(row)
    if row.kind == Invoice.Kind.CREDIT:
        context["free"] = queries.unused(row) if row.issued_at else 0
    elif row.issued_at and context["outstanding"] > 0:
        context["stands_free"] = max(0, queries.free_credit(row.customer_id))
    if may_edit:
        left_out = queries.left_out_page(row.pk)
        context["left_out"] = left_out.items if left_out else []
        chosen = request.GET.get("line", "")
        edited = next((x for x in lines if str(x.pk) == chosen), None)
        if edited is not None:
            context |= {"line_form": _line_form(edited, rights), "edited": edited.pk}
        if "add" in request.GET:
            initial = {"version": row.version, "kind": "part"}
            context["add_form"] = forms.InvoiceLineForm(new=True, initial=initial, **rights)
        context["issue_form"] = forms.InvoiceIssueForm(
            initial={"version": row.version},
            may_override=rights["may_override"],
            deposit=row.kind == Invoice.Kind.DEPOSIT,
        )
        context["whole_form"] = forms.WholeForm(may_discount=rights["may_discount"], initial=whole_values(row))
    context |= forms_with_errors
    status = max((status_of(f) for f in forms_with_errors.values() if isinstance(f, django_forms.Form)), default=200)
    return render(request, "jobs_invoices/invoice.html", context, status=status)


def sections(row: Invoice, lines: list[InvoiceLine]) -> list[showing.Section]:
    """Lines by kind; deposits that are taken off last."""
    currency, whole = row.currency, row.get_kind_display() if row.states_sums else ""
    found = showing.sections((x for x in lines if not x.deducts_id), currency, whole=whole)
    taken = [x for x in lines if x.deducts_id]
    if taken:
        rows = [showing.Row(x, explaining.line(x, currency)) for x in taken]
        found.append(showing.Section(_("Deposits taken off"), rows, sum((x.net for x in taken), Decimal(0))))
    return found


def _rights(request: HttpRequest) -> dict[str, bool]:
    held = by(request).rights
    return {"may_discount": "estimates.discount" in held, "may_override": "invoices.override" in held}


_LINE = (
    "kind", "text", "detail", "quantity", "unit", "unit_price", "discount_percent", "discount_reason", "tax_code",
    "version",
)  # fmt: skip


def _line_form(line: Any, rights: dict[str, bool], data: Any = None) -> forms.InvoiceLineForm:
    return forms.InvoiceLineForm(data, initial=stored_line(line, _LINE), **rights)


@page("invoices.issue", "POST")
def add_line(request: HttpRequest, pk: int) -> HttpResponse:
    _found(pk)
    form = forms.InvoiceLineForm(request.POST, new=True, **_rights(request))

    def work() -> Any:
        return actions.add_line(pk, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, work, to=_url(pk) + "?add=#add", done=_("Line added."))
    if answer is None and stale(form):
        set_beside(form, {"version": _found(pk).version})
    return answer or show(request, _found(pk), add_form=form)


@page("invoices.issue", "POST")
def edit_line(request: HttpRequest, pk: int, line: int) -> HttpResponse:
    found = queries.line(line)
    if found is None or found.invoice_id != pk:
        raise Http404
    if request.POST.get("go") == "remove":
        work = partial(actions.remove_line, line, None, by=by(request))
        return press(request, work, to=_url(pk), back=_url(pk), done=_("Line removed; it can be billed later."))
    form = _line_form(found, _rights(request), request.POST)

    def save() -> Any:
        return actions.edit_line(line, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, save, to=f"{_url(pk)}#line-{line}", done=_("Line saved."))
    if answer is None and stale(form):
        now = queries.line(line)
        set_beside(form, stored_line(now, _LINE) if now else {"version": _found(pk).version})
    return answer or show(request, _found(pk), line_form=form, edited=line)


@page("invoices.issue", "POST")
def edit_whole(request: HttpRequest, pk: int) -> HttpResponse:
    form = forms.WholeForm(request.POST, may_discount="estimates.discount" in by(request).rights)

    def work() -> Any:
        return actions.edit_invoice(pk, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, work, to=_url(pk), done=_("Saved."))
    if answer is None and stale(form):
        set_beside(form, whole_values(_found(pk)))
    return answer or show(request, _found(pk), whole_form=form)


@page("invoices.override", "POST")
def charge(request: HttpRequest, pk: int) -> HttpResponse:
    """Put what was never agreed onto the draft, with the owner's reason."""
    _found(pk)
    form = forms.ChargeForm(request.POST)
    answer = submit(
        request, form, lambda: actions.charge_unagreed(pk, None, by=by(request), **form.cleaned_data),
        to=_url(pk), done=_("Put onto the invoice, with your reason."),
    )  # fmt: skip
    context = {"form": form, "title": _("Charge what was never agreed"), "go": _("Charge it"), "back": _url(pk)}
    return answer or render(request, "jobs_cards/ask.html", context, status=status_of(form))


@page("invoices.issue", "POST")
def issue(request: HttpRequest, pk: int) -> HttpResponse:
    shown = _found(pk)
    deposit = shown.kind == Invoice.Kind.DEPOSIT
    may_override = "invoices.override" in by(request).rights
    form = forms.InvoiceIssueForm(request.POST, may_override=may_override, deposit=deposit)

    def work() -> Any:
        return actions.issue_invoice(pk, form.cleaned_data["version"], by=by(request), **form.values())

    def done(now: Invoice) -> str:
        return f"{_('Issued.')} {showing.other_rates(shown.tax_groups, now, now.payable)}".strip()

    answer = submit(request, form, work, to=_url(pk), done=done)
    now = _found(pk)
    if answer is None and now.issued_at:  # its page has no form any more that could say it
        return told(request, form, _url(pk))
    if answer is None and stale(form):
        set_beside(form, {"version": now.version})
    return answer or show(request, now, issue_form=form)


@page("invoices.issue", "POST")
def discard(request: HttpRequest, pk: int) -> HttpResponse:
    row = _found(pk)
    to = reverse("cards:card", args=[row.card_id]) if row.card_id else account_url(row.customer_id)
    work = partial(actions.discard_invoice, pk, None, by=by(request))
    return press(request, work, to=to, back=_url(pk), done=_("The draft is gone."))


@page("invoices.credit", "GET", "POST")
def credit(request: HttpRequest, pk: int) -> HttpResponse:
    row = _found(pk)
    lines = list(queries.lines(invoice_id=pk))
    form = forms.CreditForm(
        request.POST or None, lines=lines, left=queries.creditable(row, lines), deposit=row.kind == Invoice.Kind.DEPOSIT
    )

    def work() -> Any:
        given = form.quantities()
        return actions.credit_note(pk, by=by(request), reason=form.cleaned_data["reason"], quantities=given)

    answer = submit(request, form, work, to=to_invoice, done=_("The credit note is issued."))
    context = {"form": form, "invoice": row, "charges": any(x.accompanies_id for x in lines)}
    if row.kind == Invoice.Kind.DEPOSIT and not form.lines:
        context["cents"] = sum((x.tax for x in prepaid.left([row])), Decimal(0))
    return answer or render(request, "jobs_invoices/credit.html", context, status=status_of(form))


@page("invoices.read")
def pdf(request: HttpRequest, pk: int) -> HttpResponse:
    row = _found(pk)
    return pdf_answer(printing.pdf(row), printing.file_name(row))


@page("invoices.read")
def electronic(request: HttpRequest, pk: int, syntax: str) -> HttpResponse:
    """The electronic invoice as a file of its own."""
    row = _found(pk)
    if not einvoice.possible(row):
        raise Http404
    make = {"cii": einvoice.cii, "ubl": einvoice.ubl}[syntax]
    return file_answer(make(row), einvoice.file_name(row, syntax), "application/xml")
