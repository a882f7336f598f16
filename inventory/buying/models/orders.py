from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from .suppliers import PRICE, QTY, Offer, Supplier

PERSON = settings.AUTH_USER_MODEL


class PurchaseOrder(models.Model):
    """What is ordered of one supplier. A draft until it is sent; from then on only what comes of it changes. Confirmed, part
    received, overdue are derived (`buying.states`)."""

    class How(models.TextChoices):
        MAIL = "mail", "By mail"
        PHONE = "phone", "By phone"
        PRINTED = "printed", "Printed"

    number = models.CharField(max_length=20, blank=True)  # when sent
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="orders")
    site = models.ForeignKey("shop_business.Site", on_delete=models.PROTECT, related_name="+")  # where it shall come
    currency = models.CharField(max_length=3)
    wanted_on = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)  # to the supplier
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    sent_at = models.DateTimeField(null=True, blank=True)
    sent_by = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    sent_how = models.CharField(max_length=8, choices=How.choices, blank=True)
    sent_to = models.EmailField(blank=True)
    stated = models.JSONField(default=dict)  # letterhead, supplier and place of delivery as printed
    confirmed_at = models.DateTimeField(null=True, blank=True)
    confirmation_no = models.CharField(max_length=60, blank=True)  # the supplier's
    chased_at = models.DateTimeField(null=True, blank=True)  # last asked where it stays
    closed_at = models.DateTimeField(null=True, blank=True)  # nothing of it is awaited any more
    version = models.PositiveIntegerField(default=1)

    class Meta:
        indexes = (
            models.Index(fields=("supplier", "-id"), name="buying_order_supplier"),
            models.Index(
                fields=("id",), condition=Q(sent_at__isnull=False, closed_at__isnull=True), name="buying_order_open"
            ),
        )
        constraints = (
            models.UniqueConstraint(fields=("number",), condition=~Q(number=""), name="buying_order_number"),
            models.CheckConstraint(
                condition=Q(number="", sent_at__isnull=True) | (~Q(number="") & Q(sent_at__isnull=False)),
                name="buying_order_number_when_sent",
            ),
        )

    def __str__(self) -> str:
        return self.number or f"Draft {self.pk}"


class OrderLine(models.Model):
    """Some packages of one part. Quantities are in the part's unit; `price` is for one package, before tax, in the order's
    currency. `received` counts what came less what went back to be replaced."""

    order = models.ForeignKey(PurchaseOrder, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    part = models.ForeignKey("inventory_parts.Part", on_delete=models.PROTECT, related_name="order_lines")
    offer = models.ForeignKey(Offer, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    number = models.CharField(max_length=60, blank=True)  # the supplier's
    name = models.CharField(max_length=160)
    package = models.CharField(max_length=40, blank=True)
    per_package = models.DecimalField(**QTY)
    packages = models.DecimalField(**QTY)
    quantity = models.DecimalField(**QTY)  # packages x per_package
    price = models.DecimalField(**PRICE, null=True, blank=True)  # null: not known yet
    label = models.CharField(max_length=120, blank=True)  # what for, in words: "card 26-0031"
    wanted_on = models.DateField(null=True, blank=True)
    promised_on = models.DateField(null=True, blank=True)  # as the supplier confirmed
    due_on = models.DateField(null=True, blank=True)  # promised, else wanted, else by the lead time; from sending on
    received = models.DecimalField(**QTY, default=0)
    closed_at = models.DateTimeField(null=True, blank=True)  # all of it came, or the rest never will
    closed_reason = models.CharField(max_length=200, blank=True)  # why the rest never will

    class Meta:
        ordering = ("position", "id")
        indexes = (
            models.Index(fields=("part", "due_on"), condition=Q(closed_at__isnull=True), name="buying_line_coming"),
            models.Index(fields=("due_on", "id"), condition=Q(closed_at__isnull=True), name="buying_line_due"),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(packages__gt=0, per_package__gt=0, quantity__gt=0, received__gte=0),
                name="buying_line_quantities",
            ),
            models.CheckConstraint(condition=Q(price__isnull=True) | Q(price__gte=0), name="buying_line_price"),
        )

    @property
    def version(self) -> int:
        """That of its order: a draft is edited as a whole."""
        return self.order.version

    @property
    def open(self) -> Decimal:
        """What is still awaited, in the part's unit."""
        return Decimal(0) if self.closed_at else max(self.quantity - self.received, Decimal(0))


OPEN_LINES = Q(order__sent_at__isnull=False, closed_at__isnull=True, received__lt=F("quantity"))
