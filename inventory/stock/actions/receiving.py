from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.utils import timezone

from inventory.parts.models import Part
from shop.business.queries import profile
from shop.kernel import clock, units
from shop.kernel.closed import must_be_open
from shop.kernel.decimals import as_decimal, decimals_of
from shop.kernel.errors import BadInput, DomainError, NotFound, Refused, field_error
from shop.kernel.quantity import positive
from shop.kernel.rights import require
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.numbering.actions import numbers
from shop.people.models import Person

from ..models import Balance, Bin, Lot, Movement, StockLevel
from ..posting import Entry, Pair, lock, post, value_of

COST_LIMIT = Decimal(10) ** 9
COST_DECIMALS = 6
MOST_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class Arrival:
    """Some of one part that came in together. `unit_cost` per unit of the part, before tax, in the business's currency
    (or `currency`, which must be that one). `expires_on`: last day it may be used; left out, the part's shelf life counts
    from receipt. `accept_expired`: why an owner takes in a batch that is already expired; only into quarantine.
    `received_at`: when it came, if not now (opening stock)."""

    part_id: int
    bin_id: int
    quantity: Decimal
    unit_cost: Decimal
    currency: str | None = None
    batch: str = ""
    expires_on: date | None = None
    serial_no: str = ""
    source: str = ""
    accept_expired: str = ""
    received_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one arrival: its lot, or why not."""

    lot: Lot | None
    error: DomainError | None


@writes
def receive(
    *,
    by: Person,
    part_id: int,
    bin_id: int,
    quantity: Decimal,
    unit_cost: Decimal,
    currency: str | None = None,
    batch: str = "",
    expires_on: date | None = None,
    serial_no: str = "",
    source: str = "",
    accept_expired: str = "",
    received_at: datetime | None = None,
) -> Lot:
    """Take a lot into stock. Values as in Arrival.

    Raises NotFound (part, bin), BadInput, Refused (an archived part, an expired batch, a serial number that is there
    already), NotAllowed (an expired batch without the right to override).
    """
    arrival = Arrival(
        part_id,
        bin_id,
        quantity,
        unit_cost,
        currency,
        batch,
        expires_on,
        serial_no,
        source,
        accept_expired,
        received_at,
    )
    return receive_many(by=by, arrivals=[arrival])[0]


@writes
def receive_many(*, by: Person, arrivals: Sequence[Arrival]) -> list[Lot]:
    """Take in several lots, all or nothing. Raises as `receive`, with `facts['item']` the place of the bad one."""
    lots: list[Lot] = []
    for outcome in _receive(by, arrivals, stop=True):
        assert outcome.lot is not None  # noqa: S101  an error was raised
        lots.append(outcome.lot)
    return lots


@writes
def receive_each(*, by: Person, arrivals: Sequence[Arrival]) -> list[Outcome]:
    """Take in what can be taken in of at most 500 arrivals; each says what became of it."""
    if not 1 <= len(arrivals) <= MOST_AT_ONCE:
        raise BadInput(f"Send 1 to {MOST_AT_ONCE} items at once.", code="too-many-items")
    return _receive(by, arrivals, stop=False)


def _receive(by: Person, arrivals: Sequence[Arrival], *, stop: bool) -> list[Outcome]:
    sites = dict(Bin.objects.filter(pk__in={a.bin_id for a in arrivals}).values_list("pk", "site_id"))
    parts = set(Part.objects.filter(pk__in={a.part_id for a in arrivals}).values_list("pk", flat=True))
    known = [a for a in arrivals if a.part_id in parts and a.bin_id in sites]
    levels = lock({(a.part_id, sites[a.bin_id]) for a in known}, create=True)
    bins = {b.pk: b for b in Bin.objects.select_for_update(no_key=True).filter(pk__in=sites).order_by("pk")}
    currency = profile().currency
    outcomes: list[Outcome] = []
    entries: list[tuple[Lot, Entry]] = []
    serials: set[tuple[int, str]] = set()
    for n, arrival in enumerate(arrivals):
        try:
            pair: Pair = (arrival.part_id, sites.get(arrival.bin_id, 0))
            lot, entry = _checked(by, arrival, levels.get(pair), bins.get(arrival.bin_id), currency, serials)
        except DomainError as error:
            if stop:
                error.facts.setdefault("item", n)
                raise
            outcomes.append(Outcome(None, error))
            continue
        entries.append((lot, entry))
        outcomes.append(Outcome(lot, None))
    _write(by, entries)
    return outcomes


def _checked(
    by: Person,
    arrival: Arrival,
    level: StockLevel | None,
    bin_: Bin | None,
    currency: str,
    serials: set[tuple[int, str]],
) -> tuple[Lot, Entry]:
    """The lot and its receipt to be written, everything checked and nothing written yet."""
    if bin_ is None or bin_.archived_at:
        raise NotFound("There is no such bin, or it is no longer used.", code="no-bin")
    if level is None:
        raise NotFound("There is no such part.", code="no-part")
    part = level.part
    if part.archived_at:
        raise Refused(
            f"{part.number} was put away. Bring the part back first, or receive its successor.", code="archived"
        )
    quantity = positive(as_decimal(arrival.quantity, "quantity"), part.unit)
    cost = checked_cost(arrival.unit_cost)
    value_of(quantity, cost)
    if arrival.currency not in (None, "", currency):
        raise field_error(
            "currency", f"Stock is valued in {currency}. Give the cost in {currency}.", code="other-currency"
        )
    now = clock.now()
    received = arrival.received_at or now
    if received > now:
        raise field_error("received_at", "This is in the future.", code="future")
    must_be_open(timezone.localdate(received), field="received_at")
    expires_on = arrival.expires_on
    if expires_on is None and part.shelf_life_days:
        expires_on = timezone.localdate(received) + timedelta(days=part.shelf_life_days)
    late = expires_on is not None and expires_on < clock.today()
    if late:
        assert expires_on is not None  # noqa: S101  for the type checker
        _accept_expired(by, arrival, part, bin_, expires_on)
    serial = clean_line(arrival.serial_no, field="serial_no", max_length=60)
    if serial:
        _check_serial(part, serial, quantity, serials)
    lot = Lot(
        part=part, received_at=received, expires_on=expires_on, unit_cost=cost, currency=currency, serial_no=serial,
        batch=clean_line(arrival.batch, field="batch", max_length=40),
        source=clean_line(arrival.source, field="source", max_length=120),
    )  # fmt: skip
    override = clean_line(arrival.accept_expired, field="accept_expired") if late else ""
    entry = Entry(
        Movement.Kind.RECEIPT, level, 0, bin_.pk, quantity, cost, label=lot.source, override=override, fresh=True
    )
    return lot, entry


def checked_cost(value: Decimal, *, field: str = "unit_cost") -> Decimal:
    """A cost per unit that can be right. Raises BadInput at `field`."""
    cost = as_decimal(value, field)
    if cost < 0:
        raise field_error(field, "A cost can't be below zero. Give 0 for what was free.", code="negative")
    if cost >= COST_LIMIT:
        raise field_error(field, "This cost is too large to be right.", code="too-large")
    if decimals_of(cost) > COST_DECIMALS:
        raise field_error(field, f"A cost has at most {COST_DECIMALS} decimals.", code="too-many-decimals")
    return cost


def _accept_expired(by: Person, arrival: Arrival, part: Part, bin_: Bin, expires_on: date) -> None:
    if not clean_line(arrival.accept_expired, field="accept_expired"):
        raise Refused(
            f"This batch of {part.number} expired on {expires_on:%Y-%m-%d}. Send it back, or let an owner take it into a "
            "quarantine bin and say why.",
            code="expired",
        )
    require(by, "stock.override")
    if not bin_.is_quarantine:
        raise Refused(
            f"{bin_.code} is no quarantine bin. An expired batch is kept apart: choose a quarantine bin.",
            code="not-quarantine",
        )


def _check_serial(part: Part, serial: str, quantity: Decimal, serials: set[tuple[int, str]]) -> None:
    if quantity != 1 or not units.unit(part.unit).whole:
        raise field_error(
            "serial_no", "A serial number is for exactly one piece. Receive them one by one.", code="serial"
        )
    key = (part.pk, serial.lower())
    there = (
        Balance.objects.filter(part=part, on_hand__gt=0, lot__serial_no__iexact=serial).select_related("bin").first()
    )
    if key in serials or there is not None:
        where = f"lies in bin {there.bin.code} already" if there is not None else "is named twice"
        raise Refused(f"{part.number} with serial number {serial} {where}. Read the plate again.", code="serial-there")
    serials.add(key)


def _write(by: Person, arrived: list[tuple[Lot, Entry]]) -> None:
    if not arrived:
        return
    for (lot, _), number in zip(arrived, numbers("L", "lot", clock.today().year, len(arrived)), strict=True):
        lot.number = number
    Lot.objects.bulk_create([lot for lot, _ in arrived])
    for lot, entry in arrived:
        entry.lot_id = lot.pk
    post(by, [entry for _, entry in arrived])
