from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from .bills import SupplierInvoice
from .receipts import MONEY
from .suppliers import Supplier

PERSON = settings.AUTH_USER_MODEL


class IncomingInvoice(models.Model):
    """An electronic invoice that came and waits to be recorded as a supplier's bill. Its file is kept with it; what a list
    shows is copied out of it, all else is read from the file again."""

    sha256 = models.CharField(max_length=64, unique=True)  # of the file: the same one comes once
    supplier = models.ForeignKey(Supplier, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    seller = models.CharField(max_length=200, blank=True)  # as it states, BT-27
    number = models.CharField(max_length=60)  # BT-1
    dated_on = models.DateField()
    currency = models.CharField(max_length=3)
    total_net = models.DecimalField(**MONEY)
    at = models.DateTimeField()
    by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    bill = models.OneToOneField(
        SupplierInvoice, null=True, blank=True, on_delete=models.PROTECT, related_name="incoming"
    )  # once it was taken
    set_aside_at = models.DateTimeField(null=True, blank=True)  # not ours, or recorded by hand

    class Meta:
        indexes = (
            models.Index(
                fields=("-id",), condition=Q(bill__isnull=True, set_aside_at__isnull=True), name="buying_incoming_open"
            ),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(bill__isnull=True) | Q(supplier__isnull=False), name="buying_incoming_whose"
            ),
        )

    def __str__(self) -> str:
        return self.number
