"""Staff pages of estimates."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from functools import partial
from typing import Any

from django import forms as django_forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.cards.pages.common import found_card
from jobs.cards.wording import entry
from shop.api.files import pdf_answer
from shop.business import queries as business
from shop.kernel import clock
from shop.kernel.decimals import plain
from shop.people.models import Person
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit, told

from . import actions, explaining, forms, outlook, printing, queries, showing, todays
from .models import Estimate


def _found(pk: int) -> Estimate:
    row = queries.estimate(pk)
    if row is None:
        raise Http404
    return row


def _url(pk: int, name: str = "estimate") -> str:
    return reverse(f"estimates:{name}", args=[pk])


def _to(row: Any) -> str:
    return _url(getattr(row, "estimate_id", None) or row.pk)


@page("estimates.read")
def estimates(request: HttpRequest) -> HttpResponse:
    form = forms.EstimateFilter(request.GET)
    given = {k: v for k, v in form.cleaned_data.items() if v} if form.is_valid() else {}
    found = page_of(request, queries.estimates(**given), ("-id",))
    rows = queries.with_words(found.items)
    return render(request, "jobs_estimates/estimates.html", {"page": found, "rows": rows, "form": form})


@page("estimates.edit", "GET", "POST")
def draft(request: HttpRequest, card: int) -> HttpResponse:
    """From a card: which kind of document."""
    row = found_card(card)
    form = forms.KindForm(request.POST or None, initial={"kind": request.GET.get("kind", "estimate")})
    answer = submit(
        request, form, lambda: actions.draft_estimate(by=by(request), card_id=card, **form.cleaned_data),
        to=_to, done=_("Drafted from the card. Look it over, then issue it."),
    )  # fmt: skip
    context = {"form": form, "card": row, "open": queries.estimates(card_id=card).order_by("-id")[:10]}
    return answer or render(request, "jobs_estimates/draft.html", context, status=status_of(form))


@page("estimates.read")
def estimate(request: HttpRequest, pk: int) -> HttpResponse:
    return show(request, _found(pk))


def show(request: HttpRequest, row: Estimate, **forms_with_errors: Any) -> HttpResponse:
    """The page; a form that was refused stands where it was filled in."""
    person = by(request)
    lines = list(queries.lines(estimate_id=row.pk))
    standing = {pk: queries.word(a) for pk, a in queries.answers(row).items()} if row.issued_at else None
    may_edit = "estimates.edit" in person.rights and not row.issued_at
    may_discount = "estimates.discount" in person.rights
    context: dict[str, Any] = {
        "estimate": row,
        "state": queries.state_of(row),
        "word": queries.with_words([row])[0][1:],
        "sections": showing.sections(lines, row.currency, standing),
        "totals": showing.totals(row),
        "missing": [x for x in lines if x.basis.get("price") == "missing"],
        "said": list(queries.go_aheads(row.pk)) if row.issued_at else [],
        "revisions": queries.with_words(queries.revisions(row)) if row.number else [],
        "history": [entry(t, row.currency) for t in queries.history(row)[:50]],
        "margin": showing.margin(lines, row) if "margin.read" in person.rights else None,
        "may_edit": may_edit,
        "outlook": outlook.standing(row, lines),
        "outlook_how": {"likely": explaining.outlook(False), "careful": explaining.outlook(True)},
        "limit": _limit(row),
        "may_revise": "estimates.edit" in person.rights and queries.may_be_revised(row),
    }
    if may_edit:
        chosen = request.GET.get("line", "")
        edited = next((x for x in lines if str(x.pk) == chosen), None)
        if edited is not None:
            context |= {"line_form": _line_form(edited, person), "edited": edited.pk}
        if "add" in request.GET:
            context["add_form"] = _add_form(row, person)
        changed = todays.changes(row, lines, todays.prices_for(row))
        context |= {
            "changed": [x for x in changed if not x.carried],
            "carried": [x for x in changed if x.carried],
        }
        days = business.profile().estimate_days
        until = clock.today() + timedelta(days=days)
        context["issue_form"] = forms.IssueForm(initial={"valid_until": until, "version": row.version})
        context["whole_form"] = forms.WholeForm(may_discount=may_discount, initial=_whole(row))
    context |= forms_with_errors
    if "issue_form" in context and not context.get("changed"):
        context["issue_form"].fields.pop("keep_prices", None)
    status = max((status_of(f) for f in forms_with_errors.values() if isinstance(f, django_forms.Form)), default=200)
    return render(request, "jobs_estimates/estimate.html", context, status=status)


def _limit(row: Estimate) -> dict[str, Any] | None:
    """Of an open notice of additional work: whether it may go on without asking."""
    if row.kind != Estimate.Kind.ADDITIONAL or queries.state_of(row) not in ("open", "answered"):
        return None
    limit, lines = queries.limit_on(row.card), queries.within_limit(row)
    if limit.amount is None or not lines:
        return None
    amount = sum((x.net for x in lines), queries.ZERO)
    return {"limit": limit, "amount": amount, "enough": 0 < amount <= limit.left}


def _whole(row: Estimate) -> dict[str, Any]:
    return whole_values(row)


def whole_values(row: Any) -> dict[str, Any]:
    """What belongs to a draft as a whole, as its form shows it."""
    found = {name: getattr(row, name) for name in ("note", "discount_reason", "version")}
    return found | {"discount_percent": row.discount_percent.normalize() if row.discount_percent else None}


def _new_line(row: Estimate) -> dict[str, Any]:
    firm = row.kind == Estimate.Kind.QUOTATION
    return {"version": row.version, "pricing": "fixed" if firm else "as-done", "kind": "part"}


_LINE = (
    "kind", "text", "detail", "quantity", "unit", "unit_price", "discount_percent", "discount_reason", "tax_code",
    "version", "pricing", "optional", "stage_id",
)  # fmt: skip


def _line_form(line: Any, person: Person, data: Any = None) -> forms.EstimateLineForm:
    firm, may_discount = line.estimate.kind == Estimate.Kind.QUOTATION, "estimates.discount" in person.rights
    stages = queries.stages_for(line.estimate.card_id, line.stage_id)
    initial = _stored(line, person)
    return forms.EstimateLineForm(data, may_discount=may_discount, firm=firm, stages=stages, initial=initial)


def _add_form(row: Estimate, person: Person, data: Any = None) -> forms.EstimateLineForm:
    return forms.EstimateLineForm(
        data, new=True, may_discount="estimates.discount" in person.rights, firm=row.kind == Estimate.Kind.QUOTATION,
        stages=queries.stages_for(row.card_id), initial=_new_line(row),
    )  # fmt: skip


def _stored(line: Any, person: Person) -> dict[str, Any]:
    """With the cost and markup that were put in; another cost is for those who may see margins."""
    marked = line.basis.get("price") == "markup"
    found: dict[str, Any] = {"cost": None, "markup": None}
    if line.cost is not None and (marked or "margin.read" in person.rights):
        found["cost"] = Decimal(plain(line.cost))
    if marked:
        found["markup"] = Decimal(line.basis["markup"])
    if line.basis.get("price") == "missing":
        found["unit_price"] = None  # not 0, which would say that it is free
    return stored_line(line, _LINE) | found


def stored_line(line: Any, names: tuple[str, ...]) -> dict[str, Any]:
    """The values of a line as a form shows them."""
    found = {name: getattr(line, name) for name in names}
    plain = {k: Decimal(f"{v.normalize():f}") for k, v in found.items() if isinstance(v, Decimal)}
    return found | plain | {"discount_percent": plain["discount_percent"] or None}


@page("estimates.edit", "POST")
def add_line(request: HttpRequest, pk: int) -> HttpResponse:
    form = _add_form(_found(pk), by(request), request.POST)

    def work() -> Any:
        return actions.add_line(pk, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, work, to=_url(pk) + "?add=#add", done=_("Line added."))
    if answer is None and stale(form):
        set_beside(form, {"version": _found(pk).version})
    return answer or show(request, _found(pk), add_form=form)


@page("estimates.edit", "POST")
def edit_line(request: HttpRequest, pk: int, line: int) -> HttpResponse:
    found = queries.line(line)
    if found is None or found.estimate_id != pk:
        raise Http404
    if request.POST.get("go") == "remove":
        work = partial(actions.remove_line, line, None, by=by(request))
        return press(request, work, to=_url(pk), back=_url(pk), done=_("Line removed."))
    if request.POST.get("go") in ("up", "down"):
        up = request.POST["go"] == "up"
        work = partial(actions.move_line, line, None, by=by(request), up=up)
        return press(request, work, to=f"{_url(pk)}#line-{line}", back=_url(pk))
    form = _line_form(found, by(request), request.POST)

    def save() -> Any:
        return actions.edit_line(line, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, save, to=f"{_url(pk)}#line-{line}", done=_("Line saved."))
    if answer is None and stale(form):
        now = queries.line(line)
        set_beside(form, _stored(now, by(request)) if now else {"version": _found(pk).version})
    return answer or show(request, _found(pk), line_form=form, edited=line)


@page("estimates.edit", "POST")
def edit_whole(request: HttpRequest, pk: int) -> HttpResponse:
    form = forms.WholeForm(request.POST, may_discount="estimates.discount" in by(request).rights)

    def work() -> Any:
        return actions.edit_estimate(pk, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, work, to=_url(pk), done=_("Saved."))
    if answer is None and stale(form):
        set_beside(form, _whole(_found(pk)))
    return answer or show(request, _found(pk), whole_form=form)


@page("estimates.edit", "POST")
def issue(request: HttpRequest, pk: int) -> HttpResponse:
    shown, form = _found(pk), forms.IssueForm(request.POST)

    def work() -> Any:
        given = dict(form.cleaned_data)
        return actions.issue_estimate(pk, given.pop("version"), by=by(request), **given)

    def done(now: Estimate) -> str:
        rates = showing.other_rates(shown.tax_groups, now, now.total_gross)
        return " ".join(x for x in (_("Issued."), rates, _("Hand it over, then record the customer's word.")) if x)

    answer = submit(request, form, work, to=_url(pk), done=done)
    now = _found(pk)
    if answer is None and now.issued_at:  # its page has no form any more that could say it
        return told(request, form, _url(pk))
    if answer is None and stale(form):
        set_beside(form, {"version": now.version})
    return answer or show(request, now, issue_form=form)


@page("estimates.edit", "POST")
def todays_prices(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.take_todays_prices, pk, None, by=by(request))
    return press(request, work, to=_url(pk), back=_url(pk), done=_("The prices are those of today."))


@page("estimates.edit", "POST")
def discard(request: HttpRequest, pk: int) -> HttpResponse:
    card = _found(pk).card_id
    work = partial(actions.discard_estimate, pk, None, by=by(request))
    return press(request, work, to=reverse("cards:card", args=[card]), back=_url(pk), done=_("The draft is gone."))


@page("estimates.edit", "POST")
def revise(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.new_revision, pk, by=by(request))
    return press(request, work, to=_to, back=_url(pk), done=_("A new revision, as a draft. Change it, then issue it."))


@page("estimates.edit", "GET", "POST")
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    row = _found(pk)
    form = forms.ReasonForm(request.POST or None)
    answer = submit(
        request, form, lambda: actions.withdraw_estimate(pk, by=by(request), **form.cleaned_data),
        to=_to, done=_("Withdrawn: it can no longer be agreed to."),
    )  # fmt: skip
    context = {
        "form": form,
        "title": _("Withdraw %(number)s") % {"number": row.number},
        "go": _("Withdraw it"),
        "back": _url(pk),
    }
    return answer or render(request, "jobs_cards/ask.html", context, status=status_of(form))


@page("goahead.record", "GET", "POST")
def go_ahead(request: HttpRequest, pk: int) -> HttpResponse:
    row = _found(pk)
    words = {"accepted": "yes", "declined": "no"}
    standing = {
        line: words.get(queries.word(a), "open") for line, a in queries.answers(row).items() if a.line in (None, line)
    }
    lines = list(queries.lines(estimate_id=pk))
    contact = row.card.customer.contact or row.card.customer.name
    form = forms.GoAheadForm(request.POST or None, lines=lines, standing=standing, initial={"said_by": contact})

    def work() -> Any:
        given = {k: form.cleaned_data[k] for k in ("how", "said_by", "said_at", "note")}
        answers = form.answers(request.POST.get("every", ""))
        return actions.record_go_ahead(pk, by=by(request), answers=answers, **given)

    answer = submit(request, form, work, to=_url(pk), done=_("Recorded. What was agreed may start."))
    context = {"form": form, "estimate": row, "customer": row.card.customer}
    return answer or render(request, "jobs_estimates/go_ahead.html", context, status=status_of(form))


@page("goahead.record", "POST")
def within_limit(request: HttpRequest, pk: int) -> HttpResponse:
    _found(pk)
    work = partial(actions.go_on_within_limit, pk, by=by(request))
    return press(request, work, to=_url(pk), back=_url(pk), done=_("It goes on within the customer's limit."))


@page("estimates.read")
def pdf(request: HttpRequest, pk: int) -> HttpResponse:
    row = _found(pk)
    return pdf_answer(printing.pdf(row), printing.file_name(row))
