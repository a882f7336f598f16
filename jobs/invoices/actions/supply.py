"""The day of supply, whose VAT rates an invoice has (Art. 63 and 93 of Directive 2006/112/EC); a deposit has those of the day it
is asked for."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from django.db.models import Max
from django.utils import timezone

from jobs.cards.models import Stage
from jobs.estimates.gathering import Prices, apply_taxes
from shop.kernel import clock
from shop.kernel.errors import Refused, field_error

from ..models import Invoice, InvoiceLine

OLDEST = 366  # days that a supply may lie back


def known(card_id: int | None) -> date:
    """The day of supply as far as it is known: that on which the last stage was finished, else today."""
    ends = Stage.objects.filter(card=card_id, removed_at__isnull=True) if card_id else Stage.objects.none()
    last = ends.aggregate(last=Max("finished_at"))["last"]
    return timezone.localdate(last) if last else clock.today()


def checked(given: date | None, card_id: int | None) -> date:
    """The day to state (Art. 226 (7)): what was given, or what is known. Raises BadInput."""
    today = clock.today()
    if given is None:
        return known(card_id)
    if given > today:
        raise field_error(
            "supplied_on", "This lies in the future. Give the day the work was done.", code="in-the-future"
        )
    if (today - given).days > OLDEST:
        raise field_error("supplied_on", "This lies more than a year back. Check the year.", code="too-far")
    return given


def rate(invoice: Invoice, lines: Sequence[InvoiceLine]) -> Prices:
    """Give the lines of a draft the VAT of its day of supply, as far as that is known; deposits that are taken off keep theirs.
    Answers whose rates they are: today's, when the shop knows none of that day (issuing says so). Raises Refused."""
    day = clock.today() if invoice.kind == Invoice.Kind.DEPOSIT else known(invoice.card_id)
    prices = Prices(day)
    try:
        for code in {x.tax_code for x in lines}:
            prices.tax(code)
    except Refused:
        prices = Prices()
    apply_taxes([x for x in lines if x.deducts_id is None], prices)
    return prices
