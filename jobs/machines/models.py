from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q

from shop.kernel.folding import digits, fold, key

FOLDED = 200  # folding can lengthen a text: one Arabic ligature becomes 18 letters


def _save(save: Callable[..., None], kwargs: dict[str, Any], *derived: str) -> None:
    """Save, and with only some fields named the derived ones too."""
    if kwargs.get("update_fields") is not None:
        kwargs["update_fields"] = {*kwargs["update_fields"], *derived}
    save(**kwargs)


class Customer(models.Model):
    """Who owns machines and pays. `sort_name` and `find_text` follow from the rest on every save."""

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
    sort_name = models.CharField(max_length=FOLDED, default="", editable=False, db_index=True)
    email_key = models.CharField(max_length=254, default="", editable=False, db_index=True)
    phone_digits = models.CharField(max_length=40, default="", editable=False, db_index=True)
    find_text = models.TextField(default="", editable=False)

    class Meta:
        indexes = (
            models.Index(fields=("sort_name", "id"), name="machines_customer_name"),
            models.Index(fields=("vat_no",), name="machines_customer_vat"),
        )

    def __str__(self) -> str:
        return self.name

    def save(self, **kwargs: Any) -> None:
        self.sort_name = fold(self.name)[:FOLDED]
        self.email_key = fold(self.email)[:254]
        self.phone_digits = digits(self.phone)
        words = (self.name, self.contact, self.email, self.phone, self.phone_digits, self.city, self.vat_no)
        self.find_text = fold(" ".join(w for w in words if w))
        _save(super().save, kwargs, "sort_name", "email_key", "phone_digits", "find_text")


class UsageUnit(models.TextChoices):
    """What the meter counts, as UN/ECE Recommendation 20 codes."""

    HOURS = "HUR", "Hours"
    KILOMETRES = "KMT", "Kilometres"
    MILES = "SMI", "Miles"


class Machine(models.Model):
    """The thing that is worked on. Two may carry the same serial number; the counter is warned, not stopped."""

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="machines")
    kind = models.CharField(max_length=40)  # "engine", "gearbox", "pump", "generator set", in the shop's words
    maker = models.CharField(max_length=80, blank=True)
    model = models.CharField(max_length=80, blank=True)
    serial_no = models.CharField(max_length=60, blank=True)
    year = models.PositiveSmallIntegerField(null=True, blank=True)
    usage_unit = models.CharField(max_length=3, choices=UsageUnit.choices, default=UsageUnit.HOURS)
    parent = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="components")
    note = models.TextField(blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)
    serial_key = models.CharField(
        max_length=FOLDED, default="", editable=False, db_index=True
    )  # letters and digits only, folded
    sort_name = models.CharField(max_length=FOLDED, default="", editable=False, db_index=True)  # maker and model
    find_text = models.TextField(default="", editable=False)

    class Meta:
        indexes = (models.Index(fields=("sort_name", "id"), name="machines_machine_name"),)

    def __str__(self) -> str:
        return " ".join(w for w in (self.title, self.serial_no) if w)

    def save(self, **kwargs: Any) -> None:
        self.serial_key = key(self.serial_no)[:FOLDED]
        self.sort_name = fold(self.title)[:FOLDED]
        words = (self.maker, self.model, self.kind, self.serial_no, self.serial_key)
        self.find_text = fold(" ".join(w for w in words if w))
        _save(super().save, kwargs, "serial_key", "sort_name", "find_text")

    @property
    def title(self) -> str:
        """Maker and model, else what kind of machine it is."""
        return " ".join(w for w in (self.maker, self.model) if w) or self.kind


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
