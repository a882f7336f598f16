from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower

QTY = {"max_digits": 18, "decimal_places": 6}
PRICE = {"max_digits": 16, "decimal_places": 6}


class Supplier(models.Model):
    name = models.CharField(max_length=160)
    account_no = models.CharField(max_length=40, blank=True)  # ours with them
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    street = models.CharField(max_length=160, blank=True)
    postcode = models.CharField(max_length=20, blank=True)
    city = models.CharField(max_length=80, blank=True)
    country = models.CharField(max_length=2, blank=True)
    vat_no = models.CharField(max_length=20, blank=True)
    currency = models.CharField(max_length=3, default="EUR")
    lead_days = models.PositiveSmallIntegerField(null=True, blank=True)  # as promised
    note = models.TextField(blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("name", "id")
        constraints = (models.UniqueConstraint(Lower("name"), name="buying_supplier_name"),)

    def __str__(self) -> str:
        return self.name


class Offer(models.Model):
    """How a supplier sells a part: under which number, in what package, for how much. `content` of `content_unit` is what
    one package holds; `per_package` the same in the part's unit, exactly. Without a `package` it is sold by the unit."""

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="offers")
    part = models.ForeignKey("inventory_parts.Part", on_delete=models.PROTECT, related_name="offers")
    number = models.CharField(max_length=60, blank=True)  # the supplier's
    name = models.CharField(max_length=160, blank=True)  # in the supplier's words
    package = models.CharField(max_length=40, blank=True)  # "box", "tube"
    content = models.DecimalField(**QTY, default=Decimal(1))
    content_unit = models.CharField(max_length=3)  # UN/ECE Recommendation 20
    per_package = models.DecimalField(**QTY)
    gtin = models.CharField(max_length=14, blank=True)  # of the package, filled up to 14 digits
    currency = models.CharField(max_length=3)
    min_packages = models.DecimalField(**QTY, default=Decimal(1))
    lead_days = models.PositiveSmallIntegerField(null=True, blank=True)  # as promised; null: the supplier's
    preferred = models.BooleanField(default=False)  # where the part is ordered when nobody says otherwise
    note = models.CharField(max_length=200, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("part__number", "id")
        indexes = (
            models.Index(fields=("part", "supplier"), name="buying_offer_part"),
            models.Index(fields=("gtin",), name="buying_offer_gtin", condition=~Q(gtin="")),
        )
        constraints = (
            models.UniqueConstraint(
                "supplier", Lower("number"), condition=~Q(number="") & Q(archived_at__isnull=True),
                name="buying_offer_number",
            ),
            models.UniqueConstraint(
                fields=("part",), condition=Q(preferred=True, archived_at__isnull=True), name="buying_offer_preferred"
            ),
            models.CheckConstraint(
                condition=Q(content__gt=0, per_package__gt=0, min_packages__gt=0), name="buying_offer_package"
            ),
        )  # fmt: skip

    def __str__(self) -> str:
        return self.number or self.name or str(self.part)


class PriceBreak(models.Model):
    """From so many packages on a package costs `price`, before tax, in the offer's currency."""

    offer = models.ForeignKey(Offer, on_delete=models.CASCADE, related_name="prices")
    from_packages = models.DecimalField(**QTY)
    price = models.DecimalField(**PRICE)

    class Meta:
        ordering = ("from_packages",)
        constraints = (
            models.UniqueConstraint(fields=("offer", "from_packages"), name="buying_break_once"),
            models.CheckConstraint(condition=Q(from_packages__gt=0, price__gte=0), name="buying_break_sense"),
        )
