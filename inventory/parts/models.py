from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.db.models.functions import Lower

from shop.kernel.decimals import plain

from . import packing, pricing


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
    shelf_life_days = models.PositiveIntegerField(null=True, blank=True)  # closed, from receipt
    open_life_days = models.PositiveIntegerField(null=True, blank=True)  # once opened
    hazards = models.JSONField(default=list, blank=True)  # GHS H and P codes
    storage_note = models.CharField(max_length=200, blank=True)
    reorder_point = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True)
    note = models.TextField(blank=True)
    find_text = models.TextField(default="", editable=False)  # folded number, name and barcodes, to search in
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("number", "id")
        indexes = (models.Index(fields=("number", "id"), name="parts_by_number"),)
        constraints = (
            models.UniqueConstraint(Lower("number"), name="parts_number_once"),
            models.CheckConstraint(
                condition=models.Q(sale_price__isnull=True) | models.Q(sale_price__gte=0),
                name="parts_price_not_negative",
            ),
        )

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class Barcode(models.Model):
    """A code that means this part and no other: the maker's GTIN, a supplier's, one of the shop's own."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="barcodes")
    code = models.CharField(max_length=48)  # as it was given
    key = models.CharField(max_length=48, unique=True)  # a GTIN with 14 digits, else the code
    is_gtin = models.BooleanField(default=False)  # its check digit was found right
    used_by = models.CharField(max_length=80, blank=True)  # who prints it, in words: a supplier; blank: everybody
    added_at = models.DateTimeField()

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return self.code


class Replacement(models.Model):
    """`new` is bought instead of `old` from now on. `either_way`: the old one does for the new one as well."""

    old = models.OneToOneField(Part, on_delete=models.PROTECT, related_name="replaced_by")
    new = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="replaces")
    either_way = models.BooleanField(default=False)
    since = models.DateField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("-since", "-id")
        constraints = (
            models.CheckConstraint(condition=~models.Q(old=models.F("new")), name="parts_replacement_of_itself"),
        )


class Alternative(models.Model):
    """Two parts of which one does for the other. Kept once, the older part first."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+")
    other = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=200, blank=True)  # what to mind: "0.2 mm thicker"
    added_at = models.DateTimeField()

    class Meta:
        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(fields=("part", "other"), name="parts_alternative_once"),
            models.CheckConstraint(condition=models.Q(part__lt=models.F("other")), name="parts_alternative_order"),
        )


class Package(models.Model):
    """So much of a part's unit comes as one: a box of 50, a tube of 70 ml. Never changes: what was typed in it counts."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="packages")
    kind = models.CharField(max_length=3, choices=packing.CHOICES)
    content = models.DecimalField(max_digits=18, decimal_places=6)  # in the part's unit
    gtin = models.CharField(max_length=14, blank=True)  # printed on the package itself, with 14 digits
    added_at = models.DateTimeField()

    class Meta:
        ordering = ("content", "id")
        constraints = (
            models.UniqueConstraint(fields=("part", "kind", "content"), name="parts_package_once"),
            models.CheckConstraint(condition=models.Q(content__gt=0), name="parts_package_content"),
            models.UniqueConstraint(fields=("gtin",), condition=~models.Q(gtin=""), name="parts_package_gtin"),
        )

    def __str__(self) -> str:
        return str(self.pack)

    @property
    def pack(self) -> packing.Pack:
        return packing.Pack(self.get_kind_display(), self.content, self.part.unit)


class PriceRule(models.Model):
    """A markup on a band of cost, for one kind of part or class of customer, or for all; see `pricing.Rule`."""

    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=12, choices=PartKind.choices, blank=True)
    customer_class = models.CharField(max_length=40, blank=True)  # in the shop's words, as on the customer
    cost_from = models.DecimalField(max_digits=16, decimal_places=6, default=Decimal(0))
    cost_below = models.DecimalField(max_digits=16, decimal_places=6, null=True, blank=True)
    markup_percent = models.DecimalField(max_digits=8, decimal_places=3)
    step = models.DecimalField(max_digits=8, decimal_places=4, default=Decimal("0.01"))
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("customer_class", "kind", "cost_from", "id")
        constraints = (
            models.CheckConstraint(condition=models.Q(markup_percent__gte=0), name="parts_rule_markup"),
            models.CheckConstraint(
                condition=models.Q(cost_from__gte=0)
                & (models.Q(cost_below__isnull=True) | models.Q(cost_below__gt=models.F("cost_from"))),
                name="parts_rule_band",
            ),
            models.CheckConstraint(
                condition=models.Q(valid_to__isnull=True) | models.Q(valid_to__gte=models.F("valid_from")),
                name="parts_rule_days",
            ),
        )

    def __str__(self) -> str:
        return self.name

    @property
    def rule(self) -> pricing.Rule:
        return pricing.Rule(
            self.pk or 0, self.name, Decimal(plain(self.markup_percent)), self.cost_from, self.cost_below, self.valid_from, self.valid_to,
            self.kind, self.customer_class, self.step,
        )  # fmt: skip

    @property
    def band(self) -> str:
        """ "5 to below 20" """
        end = f"to below {plain(self.cost_below)}" if self.cost_below is not None else "and more"
        return f"{plain(self.cost_from)} {end}"


class ChargeKind(models.TextChoices):
    CORE = "core", "Core deposit"
    ENVIRONMENTAL = "environmental", "Environmental charge"


class PartCharge(models.Model):
    """What is charged beside the price of one unit of a part: a deposit on the old part, which comes back when it is handed
    in, or an environmental charge. Put away, it goes with nothing new; documents keep what they were written with."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="charges")
    kind = models.CharField(max_length=13, choices=ChargeKind.choices)
    text = models.CharField(max_length=120)  # as it stands on documents
    amount = models.DecimalField(max_digits=16, decimal_places=6)  # for one unit of the part, before tax
    tax_code = models.CharField(max_length=20, blank=True)  # blank: the part's
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(condition=models.Q(amount__gt=0), name="parts_charge_amount"),
            models.UniqueConstraint(
                fields=("part",),
                condition=models.Q(kind="core", archived_at__isnull=True),
                name="parts_charge_one_core",
            ),
            models.UniqueConstraint(
                "part",
                "kind",
                Lower("text"),
                condition=models.Q(archived_at__isnull=True),
                name="parts_charge_text_once",
            ),
        )

    def __str__(self) -> str:
        return self.text


class KitPart(models.Model):
    """So many of a part are in one kit."""

    kit = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="contents")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="kits")
    quantity = models.DecimalField(max_digits=18, decimal_places=6)  # in the part's unit
    share = models.DecimalField(max_digits=9, decimal_places=3, null=True, blank=True)  # of the kit's cost, any scale

    class Meta:
        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(fields=("kit", "part"), name="parts_kit_part_once"),
            models.CheckConstraint(condition=~models.Q(kit=models.F("part")), name="parts_kit_in_itself"),
            models.CheckConstraint(condition=models.Q(quantity__gt=0), name="parts_kit_quantity"),
        )
