"""Tables of the books. No posting is stored: entries follow from the rows of the other rooms (`gathering.py`). What is kept
is which account stands for what, which months are closed, and what a closed month came to."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

PERSON = settings.AUTH_USER_MODEL
AMOUNT = {"max_digits": 20, "decimal_places": 6}


class AccountChoice(models.Model):
    """From now on this account stands for a purpose (at one VAT rate, where `tax` names it). Append-only; the newest counts."""

    purpose = models.CharField(max_length=20)
    tax = models.CharField(max_length=12, blank=True)  # "S 23"; "": every rate without a choice of its own
    number = models.CharField(max_length=20)
    name = models.CharField(max_length=80)
    by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = (models.Index(fields=("purpose", "tax", "-id"), name="books_account_newest"),)


class Gate(models.Model):
    """One row: the first day that is open. It is the lock between closing a month and whatever is dated into it; kept beside
    the closings, which are the truth."""

    open_from = models.DateField(null=True, blank=True)  # nothing is closed while empty

    class Meta:
        constraints = (models.CheckConstraint(condition=Q(id=1), name="books_one_gate"),)


class MonthClosing(models.Model):
    """A month was closed. Append-only; it holds until a Reopening names it."""

    month = models.DateField()  # its first day
    entries = models.PositiveIntegerField()  # documents posted in it
    by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = (models.Index(fields=("-month", "-id"), name="books_closing_month"),)


class ClosingTotal(models.Model):
    """What an account came to in a closed month: exact sums of both sides. Append-only."""

    closing = models.ForeignKey(MonthClosing, on_delete=models.PROTECT, related_name="totals")
    purpose = models.CharField(max_length=20)
    tax = models.CharField(max_length=12, blank=True)
    number = models.CharField(max_length=20)  # the account as it was called then
    name = models.CharField(max_length=80)
    currency = models.CharField(max_length=3)
    debit = models.DecimalField(**AMOUNT)
    credit = models.DecimalField(**AMOUNT)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=("closing", "purpose", "tax", "currency"), name="books_total_once"),
        )


class Reopening(models.Model):
    """An owner opened a closed month again, and why. Append-only."""

    closing = models.OneToOneField(MonthClosing, on_delete=models.PROTECT, related_name="reopening")
    reason = models.CharField(max_length=200)
    by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
