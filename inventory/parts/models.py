from __future__ import annotations

from django.db import models
from django.db.models.functions import Lower


class PartKind(models.TextChoices):
    COMPONENT = "component", "Component"
    GASKET = "gasket", "Gasket or seal"
    FASTENER = "fastener", "Fastener"
    MEASURED = "measured", "Drawn by measure"
    SUNDRY = "sundry", "Sundry"


class Part(models.Model):
    """A catalogue entry. Quantities of it are in `unit`, a UN/ECE Recommendation 20 code (C62 piece, MLT millilitre)."""

    number = models.CharField(max_length=40)
    name = models.CharField(max_length=160)
    kind = models.CharField(max_length=12, choices=PartKind.choices)
    unit = models.CharField(max_length=3, default="C62")
    unit_fixed = models.BooleanField(default=False, editable=False)  # something was counted in it
    single_use = models.BooleanField(default=False)  # once fitted it does not come back
    sale_price = models.DecimalField(max_digits=16, decimal_places=6, null=True, blank=True)  # per unit, before tax
    tax_code = models.CharField(max_length=20, blank=True)  # blank: the shop's default rate
    barcode = models.CharField(max_length=48, blank=True)
    shelf_life_days = models.PositiveIntegerField(null=True, blank=True)  # closed, from receipt
    open_life_days = models.PositiveIntegerField(null=True, blank=True)  # once opened
    hazards = models.JSONField(default=list, blank=True)  # GHS H and P codes
    storage_note = models.CharField(max_length=200, blank=True)
    reorder_point = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True)
    note = models.TextField(blank=True)
    find_text = models.TextField(default="", editable=False)  # folded number, name and barcode, to search in
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("number", "id")
        indexes = (models.Index(fields=("number", "id"), name="parts_by_number"),)
        constraints = (
            models.UniqueConstraint(Lower("number"), name="parts_number_once"),
            models.UniqueConstraint(fields=("barcode",), condition=~models.Q(barcode=""), name="parts_barcode_once"),
            models.CheckConstraint(
                condition=models.Q(sale_price__isnull=True) | models.Q(sale_price__gte=0),
                name="parts_price_not_negative",
            ),
        )

    def __str__(self) -> str:
        return f"{self.number} {self.name}"
