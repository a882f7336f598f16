from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q


class Customer(models.Model):
    class Kind(models.TextChoices):
        PERSON = "person", "Person"
        FIRM = "firm", "Firm"

    kind = models.CharField(max_length=6, choices=Kind.choices, default=Kind.PERSON)
    name = models.CharField(max_length=160)
    contact = models.CharField(max_length=120, blank=True)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    street = models.CharField(max_length=160, blank=True)
    postcode = models.CharField(max_length=20, blank=True)
    city = models.CharField(max_length=80, blank=True)
    country = models.CharField(max_length=2, blank=True)  # ISO 3166-1 alpha-2
    vat_no = models.CharField(max_length=20, blank=True)
    language = models.CharField(max_length=8, default="en")
    customer_class = models.CharField(max_length=40, blank=True)
    payment_days = models.PositiveSmallIntegerField(null=True, blank=True)  # blank: the shop's own
    extra_work_limit = models.DecimalField(max_digits=14, decimal_places=4, null=True, blank=True)  # without asking
    mail_consent_at = models.DateTimeField(null=True, blank=True)  # agreed to be mailed
    note = models.TextField(blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        indexes = (models.Index(fields=("name", "id"), name="machines_customer_name"),)

    def __str__(self) -> str:
        return self.name


class Machine(models.Model):
    """The thing that is worked on. Two may carry the same serial number; the counter is warned, not stopped."""

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="machines")
    kind = models.CharField(max_length=40)  # "engine", "gearbox", "pump", "generator set", in the shop's words
    maker = models.CharField(max_length=80, blank=True)
    model = models.CharField(max_length=80, blank=True)
    serial_no = models.CharField(max_length=60, blank=True)
    year = models.PositiveSmallIntegerField(null=True, blank=True)
    usage_unit = models.CharField(max_length=3, default="HUR")  # HUR hours, KMT kilometres, SMI miles
    parent = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="components")
    note = models.TextField(blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        indexes = (
            models.Index(fields=("serial_no",), name="machines_serial", condition=~Q(serial_no="")),
            models.Index(fields=("maker", "model", "id"), name="machines_model"),
        )

    def __str__(self) -> str:
        return " ".join(w for w in (self.maker, self.model, self.serial_no) if w) or self.kind


class UsageReading(models.Model):
    """Hours or distance read off a machine at a moment. Append-only; a lower reading needs a reason (new meter)."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="readings")
    value = models.DecimalField(max_digits=12, decimal_places=1)
    read_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("-read_at", "-id")
        constraints = (models.CheckConstraint(condition=Q(value__gte=0), name="machines_usage_not_negative"),)
