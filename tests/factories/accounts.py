"""What is late at Saltmarsh: invoices past their day, letters, disputes."""

from __future__ import annotations

from typing import Any

from jobs.accounts import actions
from jobs.accounts.models import Dispute, Reminder
from jobs.invoices.models import Invoice
from jobs.machines.models import Customer
from shop.kernel import clock
from shop.people.models import Person

from . import estimates, invoices, moments


def overdue(by: Person, to: Customer | None = None, days: int = 20, price: str = "100") -> Invoice:
    """A sale issued so long ago that it is `days` late; 30 days to pay."""
    with clock.at(moments.away(-(days + 30))):
        return invoices.sale(by, to or estimates.customer(), price)


def letter(by: Person, **more: Any) -> Reminder:
    """The first letter about an invoice 20 days late."""
    return actions.send_reminder(by=by, customer_id=overdue(by, **more).customer_id)


def dispute(by: Person) -> Dispute:
    return actions.raise_dispute(by=by, invoice_id=overdue(by).pk, reason="The pump leaked again")
