"""/api/v1/journal/, /journal-totals/, /month-closings/, /accounts/, /account-choices/, /work-in-progress/,
/jobs-earned/"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from shop.api.fields import Body, Day, DayQuery, Id, Int, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, lists, posts, reads, verb
from shop.business.queries import profile
from shop.kernel import clock

from . import actions, earned, journal, progress, queries
from .accounts import BY_KEY
from .forms import LONGEST, last_of


class SpanQuery(serializers.Serializer):
    since = Day(required=False, help_text="The first day; left out: the first of this month.")
    until = Day(required=False, help_text="The last day; left out: the last of the month of `since`.")


class JournalQuery(SpanQuery):
    limit = serializers.IntegerField(min_value=1, max_value=200, default=50, help_text="How many, at most 200.")
    cursor = serializers.CharField(max_length=400, required=False, help_text="`next` of a page of the same days.")
    account = serializers.CharField(
        max_length=20, required=False, help_text="Only postings to this account, by number."
    )
    purpose = serializers.ChoiceField(choices=list(BY_KEY), required=False, help_text="Only postings of this purpose.")
    tax = serializers.CharField(max_length=12, required=False, help_text="Only those at this VAT rate, such as S 23.")


def days(query: dict[str, Any], longest: int, too_long: str) -> tuple[date, date]:
    """The first day and the last, at most so many apart."""
    first = query.get("since") or clock.today().replace(day=1)
    last = query.get("until") or last_of(first)
    if last < first:
        raise ValidationError({"until": ["This lies before the first day."]})
    if (last - first).days > longest:
        raise ValidationError({"until": [too_long]})
    return first, last


def span(query: dict[str, Any]) -> tuple[date, date]:
    """The first day and the day after the last, at most a year."""
    first, last = days(query, LONGEST, "Take at most a year at once.")
    return first, last + timedelta(days=1)


class LineOut(Out):
    purpose = serializers.CharField(help_text="What the account stands for, whatever its number.")
    account = serializers.CharField()
    account_name = serializers.CharField()
    tax = serializers.CharField(help_text="VAT category and rate, such as S 23; empty where none matters.")
    debit = Money(places=6)
    credit = Money(places=6)


class EntryOut(Out):
    day = Day()
    document = serializers.CharField()
    what = serializers.CharField()
    currency = serializers.CharField()
    subject = serializers.CharField(help_text="What it comes from: invoice, payment, lot, card, bill or sublet-bill.")
    subject_id = Id()
    lines = LineOut(many=True)


class JournalOut(Out):
    since = Day()
    until = Day()
    items = EntryOut(many=True)
    next = serializers.CharField(allow_null=True, help_text="The cursor of the next page; null at the end.")


class Journal(Resource):
    kind = "journal"
    out = JournalOut
    single = True

    @reads("books.read", query=JournalQuery)
    def retrieve(self, request: Any, query: dict[str, Any]) -> Any:
        """Postings of some days, by document; the lines of each sum to zero. Of one account or purpose only its own lines. Amounts
        are exact, not rounded; a closed month has the accounts it was closed with."""
        first, until = span(query)
        sought = queries.Sought(**{name: query[name] for name in ("account", "purpose", "tax") if name in query})
        charts = queries.Charts(first, until)
        page = queries.page(first, until, charts, limit=query["limit"], cursor=query.get("cursor"), sought=sought)
        items = [_told(entry, charts.on(entry.on)) for entry in page.items]
        return {"since": first, "until": until - timedelta(days=1), "items": items, "next": page.next}


def _told(entry: journal.Entry, chart: queries.Chart) -> dict[str, Any]:
    lines = []
    for line in entry.lines:
        account = chart.of(line.purpose, line.tax)
        lines.append(
            {
                "purpose": line.purpose, "account": account.number, "account_name": account.name, "tax": line.tax,
                "debit": line.debit, "credit": line.credit,
            }
        )  # fmt: skip
    kind, pk = entry.subject
    return {
        "day": entry.on, "document": entry.document, "what": entry.what, "currency": entry.currency, "subject": kind,
        "subject_id": pk, "lines": lines,
    }  # fmt: skip


class TotalOut(Out):
    purpose = serializers.CharField()
    account = serializers.CharField()
    account_name = serializers.CharField()
    tax = serializers.CharField()
    currency = serializers.CharField()
    debit = Money(places=6)
    credit = Money(places=6)


class TotalsOut(Out):
    since = Day()
    until = Day()
    entries = Int(max_value=2**53)
    totals = TotalOut(many=True)


class JournalTotals(Resource):
    kind = "journal-totals"
    out = TotalsOut
    single = True

    @reads("books.read", query=SpanQuery)
    def retrieve(self, request: Any, query: dict[str, Any]) -> Any:
        """What each account came to in some days, rounded to the cent; both sides come to the same in each currency. A closed
        month has the accounts it was closed with."""
        first, until = span(query)
        found, count = queries.by_account(first, until)
        totals = [
            {
                "purpose": x.purpose, "account": account.number, "account_name": account.name, "tax": x.tax,
                "currency": x.currency, "debit": x.debit, "credit": x.credit,
            }
            for account, x in found
        ]  # fmt: skip
        return {"since": first, "until": until - timedelta(days=1), "entries": count, "totals": totals}


class KeptTotalOut(Out):
    purpose = serializers.CharField()
    account = serializers.CharField(source="number", help_text="As it was called then.")
    account_name = serializers.CharField(source="name")
    tax = serializers.CharField()
    currency = serializers.CharField()
    debit = Money(places=6, help_text="Exact.")
    credit = Money(places=6, help_text="Exact.")


class ClosingOut(Out):
    id = Id()
    month = Day(help_text="Its first day.")
    entries = Int()
    at = Moment()
    by_id = Id()
    reopened_at = serializers.SerializerMethodField(help_text="Empty while the month is closed.")
    reopened_why = serializers.SerializerMethodField()

    def get_reopened_at(self, row: Any) -> str | None:
        again = getattr(row, "reopening", None)
        return Moment().to_representation(again.at) if again else None

    def get_reopened_why(self, row: Any) -> str:
        again = getattr(row, "reopening", None)
        return again.reason if again else ""


class ClosedOut(ClosingOut):
    totals = KeptTotalOut(many=True)


class CloseIn(Body):
    month = Day(help_text="Any day of it.")


class ReopenIn(Body):
    reason = Text(max_length=200)


class MonthClosings(Resource):
    kind = "month-closing"
    out = ClosedOut

    @lists("books.read", query=Query, orders={"newest": ("-month", "-id")}, out=ClosingOut)
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.closings()

    @reads("books.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.closing(pk)

    @posts("books.close", body=CloseIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """Close a month that is over: from then on nothing is dated back into it or before."""
        return queries.closing(actions.close_month(by=request.user, **body).pk)

    @verb("books.close", path="reopen", body=ReopenIn)
    def reopen(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Open the last closed month again, with a reason that is kept."""
        actions.reopen_month(pk, by=request.user, **body)
        return queries.closing(pk)


class AccountOut(Out):
    purpose = serializers.CharField(source="purpose.key")
    meaning = serializers.CharField(source="purpose.meaning")
    tax = serializers.CharField()
    number = serializers.CharField()
    name = serializers.CharField()
    example = serializers.BooleanField(help_text="Nobody has chosen it: an example, for an adviser to confirm.")


class AccountsOut(Out):
    accounts = AccountOut(many=True)


class Accounts(Resource):
    kind = "accounts"
    out = AccountsOut
    single = True

    @reads("books.read")
    def retrieve(self, request: Any) -> Any:
        """Which account stands for what."""
        return {"accounts": list(queries.Chart().all())}


class ChoiceIn(Body):
    purpose = Text(max_length=20, help_text="As /accounts/ names it.")
    tax = Text(max_length=12, required=False, help_text="VAT category and rate, such as S 23: only at this rate.")
    number = Text(max_length=20)
    name = Text(max_length=80)


class ChoiceOut(Out):
    id = Id()
    purpose = serializers.CharField()
    tax = serializers.CharField()
    number = serializers.CharField()
    name = serializers.CharField()
    by_id = Id()
    at = Moment()


class AccountChoices(Resource):
    kind = "account-choice"
    out = ChoiceOut

    @lists("books.read", query=Query, orders={"newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.choices()

    @posts("books.edit", body=ChoiceIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """From now on this account stands for the purpose."""
        return actions.choose_account(by=request.user, **body)


class CardCostOut(Out):
    card_id = Id(source="card.pk")
    card_number = serializers.CharField(source="card.number")
    parts = Money(places=2)
    sent_out = Money(places=2, help_text="What outside firms charged.")
    hours = Number(places=4)
    labour = Money(places=2, help_text="Hours at cost.")
    unpriced = Number(places=4, help_text="Hours of people whose hour has no cost; they count as nothing.")
    cost = Money(places=2)


class ProgressOut(Out):
    day = Day()
    currency = serializers.CharField()
    parts = Money(places=2)
    sent_out = Money(places=2)
    labour = Money(places=2)
    cost = Money(places=2)
    lines = CardCostOut(many=True)


class WorkInProgress(Resource):
    kind = "work-in-progress"
    out = ProgressOut
    single = True

    @reads("books.read", query=DayQuery)
    def retrieve(self, request: Any, query: dict[str, Any]) -> Any:
        """Cost so far of cards that are not invoiced, at the end of a day, by card."""
        day = query.get("day") or clock.today()
        return progress.report(min(day, clock.today()), profile().currency)


class MonthEndOut(Out):
    day = Day()
    cost = Money(places=2)


class ProgressMonthsOut(Out):
    currency = serializers.CharField()
    ends = MonthEndOut(many=True)


class WorkInProgressMonths(Resource):
    kind = "work-in-progress-months"
    out = ProgressMonthsOut
    single = True

    @reads("books.read", query=DayQuery)
    def retrieve(self, request: Any, query: dict[str, Any]) -> Any:
        """Cost of cards that are not invoiced at the ends of the last months before a day, and on that day."""
        day, currency = min(query.get("day") or clock.today(), clock.today()), profile().currency
        ends = [{"day": on, "cost": cost} for on, cost in progress.month_ends(day, currency)]
        return {"currency": currency, "ends": ends}


class JobOut(Out):
    card_id = Id(source="card.pk")
    card_number = serializers.CharField(source="card.number")
    net = Money(places=2, help_text="Invoices less credit notes, before tax.")
    parts = Money(places=2)
    sent_out = Money(places=2, help_text="What outside firms charged.")
    hours = Number(places=4)
    sold = Number(places=6, help_text="Hours on labour lines that are charged by the hour.")
    labour_net = Money(places=2, help_text="What labour lines charge, after their share of all discounts, before tax.")
    labour = Money(places=2, help_text="Hours at cost.")
    unpriced = Number(places=4, help_text="Hours of people whose hour has no cost; they count as nothing.")
    earned = Money(places=2, help_text="Net less parts, work sent out and labour.")


class EarnedOut(Out):
    since = Day()
    until = Day()
    currency = serializers.CharField()
    net = Money(places=2)
    parts = Money(places=2)
    sent_out = Money(places=2)
    labour = Money(places=2)
    earned = Money(places=2)
    hours = Number(places=4)
    sold = Number(places=6)
    labour_net = Money(places=2)
    sold_of_worked = Number(places=2, allow_null=True, help_text="Hours sold in per cent of hours worked.")
    rate = Money(places=2, allow_null=True, help_text="`labour_net` for each hour worked.")
    lines = JobOut(many=True)


class JobsEarned(Resource):
    kind = "jobs-earned"
    out = EarnedOut
    single = True

    @reads("margin.read", query=SpanQuery)
    def retrieve(self, request: Any, query: dict[str, Any]) -> Any:
        """What the cards first invoiced in some days brought and cost, by card, as known now."""
        first, until = span(query)
        return earned.report(first, until - timedelta(days=1), profile().currency)


def register(router: Any) -> None:
    router.register("journal", Journal, basename="journal")
    router.register("journal-totals", JournalTotals, basename="journal-totals")
    router.register("month-closings", MonthClosings, basename="month-closings")
    router.register("accounts", Accounts, basename="accounts")
    router.register("account-choices", AccountChoices, basename="account-choices")
    router.register("jobs-earned", JobsEarned, basename="jobs-earned")
    router.register("work-in-progress", WorkInProgress, basename="work-in-progress")
    router.register("work-in-progress-months", WorkInProgressMonths, basename="work-in-progress-months")
