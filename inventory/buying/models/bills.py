from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower

from .receipts import MONEY, ReceiptLine
from .suppliers import PRICE, QTY, Supplier

PERSON = settings.AUTH_USER_MODEL


class SupplierInvoice(models.Model):
    """What a supplier charges, as their invoice states it, or what they credit of one: then `credits` names it and the amounts
    are above zero all the same. Append-only: a wrong one is theirs to correct with another."""

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="invoices")
    credits = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="credit_notes")
    number = models.CharField(max_length=60)  # the supplier's
    dated_on = models.DateField()
    due_on = models.DateField(null=True, blank=True)
    currency = models.CharField(max_length=3)
    freight = models.DecimalField(**MONEY, default=Decimal(0))
    duty = models.DecimalField(**MONEY, default=Decimal(0))
    allowance = models.DecimalField(**MONEY, default=Decimal(0))  # taken off the whole of it, before tax
    total_net = models.DecimalField(**MONEY)  # of lines, freight and duty, less the allowance
    tax = models.DecimalField(**MONEY, default=Decimal(0))  # as stated
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = (
            models.Index(fields=("supplier", "-id"), name="buying_bill_supplier"),
            models.Index(fields=("at", "id"), name="buying_bill_recorded"),
        )
        constraints = (models.UniqueConstraint("supplier", Lower("number"), name="buying_bill_once"),)

    def __str__(self) -> str:
        return self.number


class SupplierInvoiceLine(models.Model):
    """What is charged for some of a receipt's line: `price` for each `price_per` of the part's unit, before tax. On a credit
    note what is credited of it: some that went back, at its price, or so much off the price of what is kept."""

    class Effect(models.TextChoices):
        CHARGED = "charged", "Charged"
        RETURNED = "returned", "Went back"
        PRICE = "price", "Price corrected"

    invoice = models.ForeignKey(SupplierInvoice, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    effect = models.CharField(max_length=8, choices=Effect.choices, default=Effect.CHARGED)
    receipt_line = models.ForeignKey(ReceiptLine, on_delete=models.PROTECT, related_name="billed")
    quantity = models.DecimalField(**QTY)
    price = models.DecimalField(**PRICE)
    price_per = models.DecimalField(**QTY)
    net = models.DecimalField(**MONEY)
    # what the lot turned out to cost more (or less) by it, in the shop's currency; posted as a difference
    difference = models.DecimalField(**MONEY, default=Decimal(0))

    class Meta:
        ordering = ("position", "id")
        constraints = (
            models.CheckConstraint(condition=Q(quantity__gt=0, price__gte=0, price_per__gt=0), name="buying_bill_line"),
        )
