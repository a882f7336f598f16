from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

MONEY = {"max_digits": 18, "decimal_places": 4}


class SubletBill(models.Model):
    """What an outside firm charges for a stage that was sent out, in the shop's currency. Append-only: a wrong one is taken
    back by a row that names it in `reverses`, with its amounts below zero and a reason."""

    stage = models.ForeignKey("jobs_cards.Stage", on_delete=models.PROTECT, related_name="sublet_bills")
    supplier = models.ForeignKey("inventory_buying.Supplier", on_delete=models.PROTECT, related_name="sublet_bills")
    number = models.CharField(max_length=60)  # the supplier's
    dated_on = models.DateField()  # as it stands on it
    net = models.DecimalField(**MONEY)  # before tax
    tax = models.DecimalField(**MONEY)  # as stated
    note = models.CharField(max_length=200, blank=True)
    reverses = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="reversal")
    reason = models.CharField(max_length=200, blank=True)  # why it was taken back
    at = models.DateTimeField()  # when it was recorded: the moment in the books
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = (
            models.Index(fields=("stage", "id"), name="sublet_stage"),
            models.Index(fields=("supplier", "-id"), name="sublet_supplier"),
            models.Index(fields=("at", "id"), name="sublet_recorded"),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(reverses__isnull=True, net__gt=0, tax__gte=0)
                | (Q(reverses__isnull=False, net__lt=0, tax__lte=0) & ~Q(reason="")),
                name="sublet_sign",
            ),
        )

    def __str__(self) -> str:
        return self.number
