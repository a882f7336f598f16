"""Reads of the stock room."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from decimal import Decimal

from django.db.models import DecimalField, F, Max, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce, Greatest, Upper

from inventory.parts import codes
from inventory.parts import queries as parts
from inventory.parts.models import Part
from shop.kernel import clock

from .choosing import Place, order
from .models import Balance, Bin, Lot, Movement, Reservation, Revaluation, StockLevel
from .posting import place

ZERO = Decimal(0)
_QUANTITY: DecimalField = DecimalField(max_digits=18, decimal_places=6)
_VALUE: DecimalField = DecimalField(max_digits=20, decimal_places=6)
COST_NOW = Coalesce(F("lot__cost_now"), F("lot__unit_cost"))
LAST_DAY = Coalesce(F("lot__opened_expires_on"), F("lot__expires_on"))


def free(part_id: int, site_id: int) -> Decimal:
    """What may be drawn or promised: on hand outside quarantine and not expired, less what is promised. In the part's
    unit; never below zero. True at this moment; the actions check it again under their lock."""
    usable = sum(_usable(Balance.objects.filter(part_id=part_id, bin__site_id=site_id)), ZERO)
    reserved = StockLevel.objects.filter(part_id=part_id, site_id=site_id).values_list("reserved", flat=True).first()
    return max(usable - (reserved or ZERO), ZERO)


def free_by_part(part_ids: Collection[int]) -> dict[tuple[int, int], Decimal]:
    """`free` of many parts by (part, site), in two queries. Where there is none the pair is left out."""
    if not part_ids:
        return {}
    found: dict[tuple[int, int], Decimal] = {}
    lying = _good(Balance.objects.filter(part__in=part_ids)).values_list("part_id", "bin__site_id", "on_hand")
    for part, site, quantity in lying:
        found[part, site] = found.get((part, site), ZERO) + quantity
    promised = StockLevel.objects.filter(part__in=part_ids, reserved__gt=0)
    for part, site, reserved in promised.values_list("part_id", "site_id", "reserved"):
        found[part, site] = found.get((part, site), ZERO) - reserved
    return {at: quantity for at, quantity in found.items() if quantity > 0}


def _usable(rows: QuerySet[Balance]) -> QuerySet[Balance, Decimal]:
    return _good(rows).values_list("on_hand", flat=True)


def _good(rows: QuerySet[Balance]) -> QuerySet[Balance]:
    good = rows.annotate(last_day=LAST_DAY).filter(Q(last_day__isnull=True) | Q(last_day__gte=clock.today()))
    return good.filter(on_hand__gt=0).exclude(bin__kind=Bin.Kind.QUARANTINE)


def places(part_id: int, site_id: int | None = None) -> list[Balance]:
    """Where a part lies, in the order in which it would be drawn; expired and quarantined lots are among them."""
    rows = Balance.objects.filter(part_id=part_id, on_hand__gt=0).select_related("lot", "bin__site")
    if site_id is not None:
        rows = rows.filter(bin__site_id=site_id)
    by_id = {row.pk: row for row in rows}
    return [by_id[p.balance_id] for p in order(place(row) for row in by_id.values())]


def bins_by_part(part_ids: Collection[int], site_id: int) -> dict[int, list[str]]:
    """Codes of the bins where these parts lie at a site, in the order in which they would be drawn; in one query."""
    rows = Balance.objects.filter(part__in=part_ids, on_hand__gt=0, bin__site_id=site_id)
    by_part: dict[int, list[Balance]] = {}
    for row in rows.select_related("lot", "bin"):
        by_part.setdefault(row.part_id, []).append(row)
    return {
        part: list(dict.fromkeys(p.bin for p in order(place(row) for row in found))) for part, found in by_part.items()
    }


def usable_places(part_ids: Collection[int], site_id: int) -> dict[int, list[Place]]:
    """Where these parts lie at a site and may be drawn (not in quarantine, not expired), in the order in which they are drawn;
    in one query. What is promised isn't taken off."""
    rows = _good(Balance.objects.filter(part__in=part_ids, bin__site_id=site_id)).select_related("lot", "bin")
    by_part: dict[int, list[Place]] = {}
    for row in rows:
        by_part.setdefault(row.part_id, []).append(place(row))
    return {part: order(found) for part, found in by_part.items()}


def kept_for(part_id: int, site_id: int | None = None) -> QuerySet[Reservation]:
    """Open reservations, the soonest wanted first."""
    rows = Reservation.objects.filter(part_id=part_id, ended_at__isnull=True).select_related("site")
    if site_id is not None:
        rows = rows.filter(site_id=site_id)
    return rows.order_by(F("wanted_on").asc(nulls_last=True), "id")


def movements(
    *, part_id: int | None = None, lot_id: int | None = None, bin_id: int | None = None, kind: str = ""
) -> QuerySet[Movement]:
    """Ledger rows, to be read as a keyset page."""
    rows = Movement.objects.select_related("part", "lot", "bin", "by")
    for name, value in (("part_id", part_id), ("lot_id", lot_id), ("bin_id", bin_id)):
        if value is not None:
            rows = rows.filter(**{name: value})
    return rows.filter(kind=kind) if kind else rows


def sent_back(lots: QuerySet[Lot]) -> QuerySet[Movement]:
    """What of these lots went back to the supplier, the oldest first."""
    rows = Movement.objects.filter(kind=Movement.Kind.SENT_BACK, lot__in=lots.values("pk"))
    return rows.annotate(quantity_out=-F("quantity")).select_related("part", "lot").order_by("id")


def movement(pk: int) -> Movement | None:
    return Movement.objects.select_related("part", "lot", "bin", "by").filter(pk=pk).first()


def returned(movement_id: int) -> Decimal:
    """How much of a draw came back."""
    rows = Movement.objects.filter(reverses_id=movement_id, kind=Movement.Kind.RETURN)
    return sum(rows.values_list("quantity", flat=True), ZERO)


def levels(*, part_id: int | None = None, site_id: int | None = None, text: str = "") -> QuerySet[StockLevel]:
    """What there is of each part at each site, with `free` (as in the function of that name) and `worth` (at cost)."""
    lying = Balance.objects.filter(part_id=OuterRef("part_id"), bin__site_id=OuterRef("site_id"), on_hand__gt=0)
    usable = _good(lying).values("part_id").annotate(q=Sum("on_hand")).values("q")
    worth = lying.values("part_id").annotate(q=Sum(F("on_hand") * COST_NOW, output_field=_VALUE)).values("q")
    left = Coalesce(Subquery(usable), ZERO, output_field=_QUANTITY) - F("reserved")
    rows = StockLevel.objects.select_related("part", "site").annotate(
        free=Greatest(left, ZERO, output_field=_QUANTITY),
        worth=Coalesce(Subquery(worth), ZERO, output_field=_VALUE),
    )
    if part_id is not None:
        rows = rows.filter(part_id=part_id)
    if text.strip():
        rows = rows.filter(part__in=parts.parts(text=text).values("pk"))
    return rows.filter(site_id=site_id) if site_id is not None else rows


def bins(*, site_id: int | None = None, kind: str = "", code: str = "", archived: bool = False) -> QuerySet[Bin]:
    rows = Bin.objects.filter(archived_at__isnull=not archived).select_related("site", "keeper")
    if site_id is not None:
        rows = rows.filter(site_id=site_id)
    if kind:
        rows = rows.filter(kind=kind)
    return rows.filter(code__icontains=code) if code else rows


def bin_(pk: int) -> Bin | None:
    return Bin.objects.select_related("site", "keeper").filter(pk=pk).first()


def balances(
    *, part_id: int | None = None, bin_id: int | None = None, lot_id: int | None = None, site_id: int | None = None
) -> QuerySet[Balance]:
    """What lies where, as far as something is left."""
    rows = Balance.objects.filter(on_hand__gt=0).select_related("part", "lot", "bin")
    given = {"part_id": part_id, "bin_id": bin_id, "lot_id": lot_id, "bin__site_id": site_id}
    return rows.filter(**{name: value for name, value in given.items() if value is not None})


def bins_with_code(code: str) -> list[Bin]:
    """Bins in use with this code, whatever its case; "QUAY/A3-02" means that site's."""
    return bins_coded([code]).get(code.strip().upper(), [])


def bins_coded(codes: Collection[str]) -> dict[str, list[Bin]]:
    """Bins in use by each of these codes in capitals, in one query; "QUAY/A3-02" means that site's."""
    wanted = {code.strip().upper() for code in codes}
    tails = {code.rpartition("/")[2] for code in wanted}
    as_typed = {code.strip().rpartition("/")[2] for code in codes}
    rows = Bin.objects.filter(archived_at__isnull=True).annotate(capitals=Upper("code"))
    rows = rows.filter(Q(capitals__in=tails) | Q(code__in=as_typed))  # SQLite knows capitals of plain letters only
    found: dict[str, list[Bin]] = {}
    for row in rows.select_related("site").order_by("site_id"):
        for code in (row.code.upper(), f"{row.site.code}/{row.code}".upper()):
            if code in wanted:
                found.setdefault(code, []).append(row)
    return found


def lots_numbered(numbers: Collection[str]) -> dict[str, Lot]:
    """Lots by our numbers in capitals, in one query."""
    rows = Lot.objects.filter(number__in={n.strip().upper() for n in numbers}).select_related("part")
    return {row.number.upper(): row for row in rows}


def lying_in(bin_id: int) -> QuerySet[Balance]:
    """What lies in a bin, by part number."""
    return balances(bin_id=bin_id).order_by("part__number", "lot_id")


def lots(*, part_id: int | None = None, batch: str = "", number: str = "") -> QuerySet[Lot]:
    rows = Lot.objects.select_related("part")
    if part_id is not None:
        rows = rows.filter(part_id=part_id)
    if batch:
        rows = rows.filter(batch=batch)
    return rows.filter(number__iexact=number) if number else rows


def lot(pk: int) -> Lot | None:
    return Lot.objects.select_related("part", "opened_from").filter(pk=pk).first()


def revaluations(lot_id: int | None = None) -> QuerySet[Revaluation]:
    """What lots turned out to cost later, the newest first."""
    rows = Revaluation.objects.select_related("lot", "by").order_by("-id")
    return rows if lot_id is None else rows.filter(lot_id=lot_id)


def reservations(
    *, part_id: int | None = None, site_id: int | None = None, ended: bool = False
) -> QuerySet[Reservation]:
    rows = Reservation.objects.filter(ended_at__isnull=not ended).select_related("part", "site")
    if part_id is not None:
        rows = rows.filter(part_id=part_id)
    return rows.filter(site_id=site_id) if site_id is not None else rows


def reservation(pk: int) -> Reservation | None:
    return Reservation.objects.select_related("part", "site").filter(pk=pk).first()


def expiring(until: date) -> QuerySet[Balance]:
    """What lies here and may be used only until `until`, or no longer: the soonest first."""
    rows = Balance.objects.filter(on_hand__gt=0).annotate(last_day=LAST_DAY).filter(last_day__lte=until)
    return rows.select_related("part", "lot", "bin").order_by("last_day", "id")


def low() -> QuerySet[Part]:
    """Parts of which no more is on hand and unpromised (`left`) than their reorder point, the emptiest first."""
    left = Coalesce(Sum(F("levels__on_hand") - F("levels__reserved")), ZERO, output_field=_VALUE)
    rows = Part.objects.filter(archived_at__isnull=True, reorder_point__isnull=False).annotate(left=left)
    return rows.filter(left__lte=F("reorder_point")).order_by("left", "number")


def by_code(code: str) -> tuple[Part | None, Lot | None]:
    """The part that was scanned or typed, and the lot if the code tells it: our lot number, the serial number of a piece that
    lies here, a part's barcode or number, or a GS1 code with its batch. The number of a replaced part leads to the
    new one when nothing of the old is left."""
    code = code.strip()[:200]
    lot = _lot_by_label(code) if code else None
    if lot:
        return lot.part, lot
    wanted, batch = codes.part_codes(code, clock.today())
    part = next(filter(None, map(parts.by_code, wanted)), None)
    if part and not batch:
        part = _used_up(part)
    if part and batch:
        lot = Lot.objects.filter(part=part, batch=batch).order_by("-id").first()
    return part, lot


def same_goods(lot_id: int, *, whole_batch: bool = True) -> QuerySet[Lot]:
    """The lot with what it was opened or broken out of and all that came out of that; `whole_batch`: and the other lots of
    the same part with the same supplier's batch. Usable as a subquery."""
    me = Lot.objects.filter(pk=lot_id)
    roots = me.annotate(root=Coalesce("opened_from_id", "id")).values("root")
    same = Q(pk__in=roots) | Q(opened_from__in=roots) | Q(opened_from=lot_id)
    if whole_batch:
        batch = me.exclude(batch="")
        same |= Q(part__in=batch.values("part"), batch__in=batch.values("batch"))
    return Lot.objects.filter(same).select_related("part")


def balances_of_lots(lots: QuerySet[Lot]) -> QuerySet[Balance]:
    """Where some of these lots still lies."""
    rows = Balance.objects.filter(on_hand__gt=0, lot__in=lots.values("pk")).select_related("part", "lot", "bin")
    return rows.order_by("bin__code", "lot_id")


def _lot_by_label(code: str) -> Lot | None:
    """Our number, or a serial number that only one piece in stock bears."""
    lot = Lot.objects.filter(number__in={code, code.upper()}).select_related("part").first()
    if lot is not None:
        return lot
    bearing = Lot.objects.filter(serial_no__iexact=code, balances__on_hand__gt=0).select_related("part").distinct()[:2]
    return bearing[0] if len(bearing) == 1 else None


def _used_up(part: Part) -> Part:
    """The part itself, or what replaced it when nothing of it lies anywhere."""
    for _ in range(parts.LONGEST_CHAIN):
        following = parts.replaced_by(part.pk)
        if following is None or Balance.objects.filter(part=part, on_hand__gt=0).exists():
            break
        part = following
    return part


def last_costs(part_ids: Collection[int]) -> dict[int, Decimal]:
    """What one unit cost when it came in last, by part; what was opened or broken out of another lot doesn't count."""
    came = Lot.objects.filter(part_id__in=part_ids, opened_from__isnull=True)
    latest = came.values("part_id").annotate(last=Max("id")).values("last")
    return {lot.part_id: lot.cost for lot in Lot.objects.filter(pk__in=latest).only("part_id", "unit_cost", "cost_now")}
