from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower

from .orders import OrderLine, PurchaseOrder
from .suppliers import PRICE, QTY, Supplier

PERSON = settings.AUTH_USER_MODEL
MONEY = {"max_digits": 18, "decimal_places": 4}


class GoodsReceipt(models.Model):
    """What one delivery brought. Being counted until it is posted; then a trigger refuses every change. Freight and duty are in
    its currency, before tax; `rate` is what one unit of it is in the shop's."""

    number = models.CharField(max_length=20, blank=True)  # when posted
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="receipts")
    order = models.ForeignKey(
        PurchaseOrder, null=True, blank=True, on_delete=models.PROTECT, related_name="receipts"
    )  # what it was opened for; a delivery may bring of several
    delivery_note = models.CharField(max_length=60)  # the supplier's
    delivered_on = models.DateField()
    bin = models.ForeignKey(
        "inventory_stock.Bin", on_delete=models.PROTECT, related_name="+"
    )  # unless a line says another
    currency = models.CharField(max_length=3)
    rate = models.DecimalField(max_digits=18, decimal_places=8, default=Decimal(1))
    freight = models.DecimalField(**MONEY, default=Decimal(0))
    duty = models.DecimalField(**MONEY, default=Decimal(0))
    note = models.CharField(max_length=200, blank=True)
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    posted_at = models.DateTimeField(null=True, blank=True)
    posted_by = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        indexes = (models.Index(fields=("supplier", "-id"), name="buying_receipt_supplier"),)
        constraints = (
            models.UniqueConstraint("supplier", Lower("delivery_note"), name="buying_delivery_note_once"),
            models.UniqueConstraint(fields=("number",), condition=~Q(number=""), name="buying_receipt_number"),
            models.CheckConstraint(
                condition=Q(number="", posted_at__isnull=True) | (~Q(number="") & Q(posted_at__isnull=False)),
                name="buying_receipt_number_when_posted",
            ),
            models.CheckConstraint(condition=Q(freight__gte=0, duty__gte=0, rate__gt=0), name="buying_receipt_amounts"),
        )

    def __str__(self) -> str:
        return self.number or f"Delivery note {self.delivery_note}"


class ReceiptLine(models.Model):
    """Some of a part out of a delivery, one batch in one bin. `price` is for each `price_per` of the part's unit, before tax, in
    the receipt's currency. What it is worth is filled in when the receipt is posted."""

    receipt = models.ForeignKey(GoodsReceipt, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    order_line = models.ForeignKey(
        OrderLine, null=True, blank=True, on_delete=models.PROTECT, related_name="receipt_lines"
    )
    part = models.ForeignKey("inventory_parts.Part", on_delete=models.PROTECT, related_name="+")
    bin = models.ForeignKey("inventory_stock.Bin", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    quantity = models.DecimalField(**QTY)
    price = models.DecimalField(**PRICE)
    price_per = models.DecimalField(**QTY, default=Decimal(1))
    batch = models.CharField(max_length=40, blank=True)
    expires_on = models.DateField(null=True, blank=True)
    serial_no = models.CharField(max_length=60, blank=True)
    quarantine_reason = models.CharField(max_length=200, blank=True)  # why an expired batch is taken in
    over_reason = models.CharField(max_length=200, blank=True)  # why more than was ordered is taken in
    over_by = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    net = models.DecimalField(**MONEY, null=True, blank=True)  # in the receipt's currency
    freight = models.DecimalField(**MONEY, null=True, blank=True)  # its share
    duty = models.DecimalField(**MONEY, null=True, blank=True)  # its share
    value = models.DecimalField(**MONEY, null=True, blank=True)  # landed, in the shop's currency
    lot = models.OneToOneField(
        "inventory_stock.Lot", null=True, blank=True, on_delete=models.PROTECT, related_name="receipt_line"
    )

    class Meta:
        ordering = ("position", "id")
        constraints = (
            models.CheckConstraint(
                condition=Q(quantity__gt=0, price__gte=0, price_per__gt=0), name="buying_receipt_line_sense"
            ),
        )

    @property
    def version(self) -> int:
        """That of its receipt."""
        return self.receipt.version


class SentBack(models.Model):
    """Some of a receipt's line went back to the supplier. Append-only. `replace`: it is awaited again."""

    receipt_line = models.ForeignKey(ReceiptLine, on_delete=models.PROTECT, related_name="sent_back")
    quantity = models.DecimalField(**QTY)
    reason = models.CharField(max_length=200)
    replace = models.BooleanField()
    movement = models.OneToOneField("inventory_stock.Movement", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = (models.CheckConstraint(condition=Q(quantity__gt=0), name="buying_sent_back_quantity"),)
