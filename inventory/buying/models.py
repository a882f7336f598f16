from __future__ import annotations

from django.db import models
from django.db.models.functions import Lower


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
