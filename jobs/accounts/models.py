from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import Q

from jobs.estimates.models import MONEY

PERSON = settings.AUTH_USER_MODEL


class Reminder(models.Model):
    """A letter about overdue invoices of one customer, as it was sent. Append-only. Fee and interest are asked for by it; they
    stand on no invoice."""

    number = models.CharField(max_length=20, unique=True)
    customer = models.ForeignKey("jobs_machines.Customer", on_delete=models.PROTECT, related_name="reminders")
    level = models.PositiveSmallIntegerField()  # 1 friendly, 2 firm, 3 the last
    language = models.CharField(max_length=8)
    currency = models.CharField(max_length=3)
    issued_on = models.DateField()
    issued_at = models.DateTimeField()
    pay_by = models.DateField()
    open_total = models.DecimalField(**MONEY)
    interest = models.DecimalField(**MONEY, default=0)
    interest_percent = models.DecimalField(max_digits=6, decimal_places=3, default=0)
    fee = models.DecimalField(**MONEY, default=0)
    seller = models.JSONField(encoder=DjangoJSONEncoder)
    buyer = models.JSONField(encoder=DjangoJSONEncoder)
    by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = (models.Index(fields=("customer", "-id"), name="accounts_letters_of"),)
        constraints = (models.CheckConstraint(condition=Q(level__gte=1, level__lte=3), name="accounts_letter_level"),)

    @property
    def total(self) -> Any:
        """All that the letter asks for."""
        return self.open_total + self.interest + self.fee


class ReminderLine(models.Model):
    """An invoice that a letter names, at its own level. Append-only; never twice at one level."""

    reminder = models.ForeignKey(Reminder, on_delete=models.PROTECT, related_name="lines")
    invoice = models.ForeignKey("jobs_invoices.Invoice", on_delete=models.PROTECT, related_name="reminded")
    level = models.PositiveSmallIntegerField()
    open = models.DecimalField(**MONEY)
    days_late = models.PositiveSmallIntegerField()
    interest = models.DecimalField(**MONEY, default=0)

    class Meta:
        constraints = (models.UniqueConstraint(fields=("invoice", "level"), name="accounts_level_once"),)


class Dispute(models.Model):
    """The customer says that an invoice is wrong: no letter goes out while it isn't settled."""

    invoice = models.ForeignKey("jobs_invoices.Invoice", on_delete=models.PROTECT, related_name="disputes")
    reason = models.CharField(max_length=300)
    raised_at = models.DateTimeField()
    raised_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    outcome = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=("invoice",), condition=Q(ended_at__isnull=True), name="accounts_one_dispute"
            ),
        )


class StorageCharge(models.Model):
    """Days that a finished machine stood here and an invoice line charges. Goes with its line when a draft is discarded."""

    card = models.ForeignKey("jobs_cards.JobCard", on_delete=models.PROTECT, related_name="storage_charges")
    line = models.OneToOneField("jobs_invoices.InvoiceLine", on_delete=models.CASCADE, related_name="storage")
    first_day = models.DateField()
    last_day = models.DateField()

    class Meta:
        constraints = (
            models.CheckConstraint(condition=Q(last_day__gte=models.F("first_day")), name="accounts_storage_order"),
        )
