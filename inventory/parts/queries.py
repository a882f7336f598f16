"""Reads of the catalogue."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Case, Exists, IntegerField, OuterRef, Q, QuerySet, Value, When
from django.db.models.functions import Lower
from django.db.models.lookups import Exact

from shop.kernel import clock
from shop.kernel.folding import fold
from shop.kernel.searching import containing

from . import pricing
from .barcodes import keys
from .costs import last_costs
from .models import Alternative, Barcode, KitPart, Package, Part, PartCharge, PriceRule, Replacement
from .packing import Pack

LONGEST_CHAIN = 50


def part(pk: int) -> Part | None:
    return Part.objects.prefetch_related("barcodes").filter(pk=pk).first()


def parts(*, text: str = "", code: str = "", kind: str = "", archived: bool = False) -> QuerySet[Part]:
    """Parts of the catalogue with their barcodes; archived ones only when asked for. `text`: every word of it stands in
    number, name or a barcode; `code` is the whole number or a barcode."""
    found = Part.objects.filter(archived_at__isnull=not archived).prefetch_related("barcodes")
    if code:
        found = found.filter(_coded(code))
    if kind:
        found = found.filter(kind=kind)
    return containing(found, text) if text.strip() else found


def find(text: str) -> QuerySet[Part]:
    """For a search box: parts in whose number, name or barcodes every word of `text` stands, in any case; those whose
    number or a barcode begins with it first. Slice it."""
    folded = fold(text)
    coded = Barcode.objects.filter(part=OuterRef("pk"), code__startswith=text.strip())
    rank = Case(When(Q(find_text__startswith=folded) | Exists(coded), then=0), default=1, output_field=IntegerField())
    return containing(Part.objects.filter(archived_at__isnull=True), text).order_by(rank, "number", "id")


def by_code(code: str) -> Part | None:
    """The part whose barcode, or else number, was scanned or typed; for one that was put away, what replaced it."""
    code = code.strip()
    found = list(Part.objects.filter(_coded(code)).order_by("pk")) if code else []
    there = [p for p in found if p.archived_at is None]
    if there:
        return next((p for p in there if p.number.lower() != code.lower()), there[0])
    for gone in found:
        if (now := newest(gone)) != gone and now.archived_at is None:
            return now
    return None


def current(code: str) -> Part | None:
    """As `by_code`; for a part that is replaced, what replaced it last."""
    found = by_code(code)
    return newest(found) if found else None


def _coded(code: str) -> Q:
    coded = Barcode.objects.filter(key__in=keys(code)).values("part_id")
    packed = Package.objects.filter(gtin__in=keys(code)).exclude(gtin="").values("part_id")
    return Q(pk__in=coded) | Q(pk__in=packed) | Q(Exact(Lower("number"), Lower(Value(code))))


# --- what stands for what ---------------------------------------------------------------------------


def replaced_by(part_id: int) -> Part | None:
    """What replaced a part, next."""
    link = Replacement.objects.select_related("new").filter(old_id=part_id).first()
    return link.new if link else None


def newest(part: Part) -> Part:
    """What is used now where `part` was: the end of the chain of replacements, itself when it isn't replaced."""
    for _ in range(LONGEST_CHAIN):
        following = replaced_by(part.pk)
        if following is None:
            break
        part = following
    return part


@dataclass(frozen=True, slots=True)
class Instead:
    """What can be taken instead of a part: its replacements in their order, the last of which is used now; what it
    replaces; alternatives."""

    replaced: list[Replacement]
    replaces: list[Replacement]
    alternatives: list[tuple[Part, Alternative]]

    @property
    def now(self) -> Part | None:
        """What is used instead now."""
        return self.replaced[-1].new if self.replaced else None

    @property
    def others(self) -> list[tuple[Part, str]]:
        """All that does for it, with what to mind: the present replacement, alternatives, older ones that do as well."""
        found = {self.now: self.replaced[-1].note} if self.now else {}
        found |= {other: link.note for other, link in self.alternatives}
        found |= {link.old: link.note for link in self.replaces if link.either_way}
        return [(p, note) for p, note in found.items() if p and p.archived_at is None]


def instead(part: Part) -> Instead:
    """Three queries, and one for each link of a chain."""
    replaced: list[Replacement] = []
    at = part.pk
    while len(replaced) < LONGEST_CHAIN:
        link = Replacement.objects.select_related("old", "new").filter(old_id=at).first()
        if link is None:
            break
        replaced.append(link)
        at = link.new_id
    replaces = list(Replacement.objects.filter(new=part).select_related("old", "new"))
    rows = alternatives(part_id=part.pk)
    pairs = [(row.other if row.part_id == part.pk else row.part, row) for row in rows]
    return Instead(replaced, replaces, sorted(pairs, key=lambda pair: pair[0].number))


def replacements(*, part_id: int | None = None) -> QuerySet[Replacement]:
    """Replacements; with `part_id` those that the part is the old or new one of."""
    rows = Replacement.objects.select_related("old", "new")
    return rows.filter(Q(old_id=part_id) | Q(new_id=part_id)) if part_id is not None else rows


def replacement(pk: int) -> Replacement | None:
    return Replacement.objects.select_related("old", "new").filter(pk=pk).first()


def alternatives(*, part_id: int | None = None) -> QuerySet[Alternative]:
    rows = Alternative.objects.select_related("part", "other")
    return rows.filter(Q(part_id=part_id) | Q(other_id=part_id)) if part_id is not None else rows


def alternative(pk: int) -> Alternative | None:
    return Alternative.objects.select_related("part", "other").filter(pk=pk).first()


# --- barcodes ---------------------------------------------------------------------------------------


def barcodes(*, part_id: int | None = None, code: str = "") -> QuerySet[Barcode]:
    rows = Barcode.objects.select_related("part")
    if part_id is not None:
        rows = rows.filter(part_id=part_id)
    return rows.filter(key__in=keys(code)) if code else rows


def barcode(pk: int) -> Barcode | None:
    return Barcode.objects.select_related("part").filter(pk=pk).first()


# --- packages ---------------------------------------------------------------------------------------


def packages(*, part_id: int | None = None) -> QuerySet[Package]:
    rows = Package.objects.select_related("part")
    return rows.filter(part_id=part_id) if part_id is not None else rows


def package(pk: int) -> Package | None:
    return Package.objects.select_related("part").filter(pk=pk).first()


def package_with(gtin: str) -> Package | None:
    """The package that bears this number, of a part in use."""
    rows = Package.objects.select_related("part").filter(part__archived_at__isnull=True, gtin__in=keys(gtin))
    return rows.exclude(gtin="").first()


def packs(part: Part) -> list[Pack]:
    """For `packing.typed`."""
    return [row.pack for row in packages(part_id=part.pk)]


# --- prices -----------------------------------------------------------------------------------------


def price_rules(*, archived: bool = False) -> QuerySet[PriceRule]:
    return PriceRule.objects.filter(archived_at__isnull=not archived)


def price_rule(pk: int) -> PriceRule | None:
    return PriceRule.objects.filter(pk=pk).first()


def rules() -> list[pricing.Rule]:
    """All that hold at some time, for `pricing.price`."""
    return [row.rule for row in price_rules()]


def prices(rows: Iterable[Part], *, customer_class: str = "", day: date | None = None) -> dict[int, pricing.Price]:
    """What parts are sold at on a day (None: today) to a class of customer, by part id, with why. At most two queries."""
    found = list(rows)
    unpriced = {p.pk for p in found if p.sale_price is None}
    known = rules() if unpriced else []
    costs = last_costs(unpriced) if known else {}
    on = day or clock.today()
    return {
        p.pk: pricing.price(p.sale_price, costs.get(p.pk), known, kind=p.kind, customer_class=customer_class, day=on)
        for p in found
    }


# --- charges ----------------------------------------------------------------------------------------


def charges(*, part_id: int | None = None, archived: bool = False) -> QuerySet[PartCharge]:
    """What is charged beside parts; put away or not."""
    rows = PartCharge.objects.filter(archived_at__isnull=not archived)
    return rows.filter(part_id=part_id) if part_id is not None else rows


def charge(pk: int) -> PartCharge | None:
    return PartCharge.objects.select_related("part").filter(pk=pk).first()


def charges_of(part_ids: Iterable[int]) -> dict[int, list[PartCharge]]:
    """What is charged now beside each of these parts, in one query; parts without a charge are left out."""
    found: dict[int, list[PartCharge]] = {}
    for row in charges().filter(part__in=set(part_ids)):
        found.setdefault(row.part_id, []).append(row)
    return found


# --- kits -------------------------------------------------------------------------------------------


def kit_parts(*, kit_id: int | None = None, part_id: int | None = None) -> QuerySet[KitPart]:
    """What is in kits; with `kit_id` in one, with `part_id` where a part is in."""
    rows = KitPart.objects.select_related("kit", "part")
    if kit_id is not None:
        rows = rows.filter(kit_id=kit_id)
    return rows.filter(part_id=part_id) if part_id is not None else rows


def kit_part(pk: int) -> KitPart | None:
    return KitPart.objects.select_related("kit", "part").filter(pk=pk).first()
