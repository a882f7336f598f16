"""How the ledger is written: the one lock of the room, and movements with the balances that follow from them.

Only the actions of this room use it. Everything that changes what a part has on hand or promised at a site holds the
lock on its StockLevel row, so that what is read after the lock stays true until the commit.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from inventory.parts.actions import fix_units
from inventory.parts.models import Part
from shop.kernel import clock
from shop.kernel.errors import BadInput, NotFound
from shop.kernel.quantity import LIMIT
from shop.kernel.rounding import EXACT, round_to
from shop.kernel.statements import Joined
from shop.trail.record import record

from . import tables
from .choosing import Place
from .models import VALUE, Balance, Bin, Lot, Movement, Reservation, StockLevel

Pair = tuple[int, int]  # part, site
VALUE_LIMIT = Decimal(10) ** 9  # with six decimals 15 digits, which SQLite keeps exactly


def lock(pairs: Iterable[Pair], *, create: bool = False) -> dict[Pair, StockLevel]:
    """Lock the levels of these parts at these sites, by primary key, and read them with their part.

    With `create`, levels that aren't there are made (and the unit of the part is fixed); without, the answer lacks
    them: nothing of the part ever lay there.
    """
    wanted = set(pairs)
    levels = _locked(wanted)
    missing = sorted(wanted - set(levels))
    if missing and create:
        fix_units({part_id for part_id, _ in missing})
        StockLevel.objects.bulk_create(
            [StockLevel(part_id=part_id, site_id=site_id) for part_id, site_id in missing], ignore_conflicts=True
        )
        levels = _locked(wanted)
    return levels


_LEVEL = Joined(
    "SELECT {v}, {p} FROM inventory_stock_stocklevel v JOIN inventory_parts_part p ON p.id = v.part_id"
    " WHERE v.part_id = %s AND v.site_id = %s {lock}",
    lock="FOR NO KEY UPDATE OF v", v=StockLevel, p=Part,
)  # fmt: skip


def _locked(wanted: set[Pair]) -> dict[Pair, StockLevel]:
    if len(wanted) == 1:
        pair = next(iter(wanted))
        for level, part in _LEVEL.rows(pair):
            level.part = part
            return {pair: level}
        return {}
    rows = StockLevel.objects.select_for_update(of=("self",), no_key=True).select_related("part").order_by("pk")
    rows = rows.filter(part_id__in={p for p, _ in wanted}, site_id__in={s for _, s in wanted})
    return {pair: row for row in rows if (pair := (row.part_id, row.site_id)) in wanted}


# Asked inside the lock and apart from it: rows joined to the lock's own statement would be those from before it waited.
_LYING = Joined(
    "SELECT {r}, {b}, {n}, {l}, {key} FROM inventory_stock_stocklevel v"
    " LEFT JOIN inventory_stock_reservation r ON r.id = %s"
    " LEFT JOIN (inventory_stock_balance b JOIN inventory_stock_lot l ON l.id = b.lot_id"
    " JOIN inventory_stock_bin n ON n.id = b.bin_id)"
    " ON b.part_id = v.part_id AND n.site_id = v.site_id AND b.on_hand > 0 WHERE v.id = %s",
    key=Movement, r=Reservation, b=Balance, n=(Bin, "id", "site_id", "code", "kind"),
    l=(Lot, "id", "number", "received_at", "expires_on", "opened_expires_on", "unit_cost", "cost_now"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Lying:
    """Where a part lies at a site, the reservation that was asked for, and the key of a movement that takes from it."""

    places: list[Place]
    reservation: Reservation | None
    next_movement: int
    lots: dict[int, Lot]
    bins: dict[int, Bin]


def lying(level: StockLevel, reservation_id: int | None = None) -> Lying:
    """As of now; inside the lock of the level it stays so."""
    found, lots, bins = [], {}, {}
    for reservation, balance, bin_, lot, key in _LYING.rows([reservation_id, level.pk]):  # noqa: B007
        if balance is not None:
            balance.lot, balance.bin = lot, bin_
            lots[lot.pk], bins[bin_.pk] = lot, bin_
            found.append(place(balance))
    return Lying(found, reservation, key, lots, bins)


def place(row: Balance) -> Place:
    lot, bin_ = row.lot, row.bin
    return Place(
        balance_id=row.pk, lot_id=row.lot_id, lot=lot.number, bin_id=row.bin_id, bin=bin_.code, on_hand=row.on_hand,
        unit_cost=lot.cost, received_at=lot.received_at, expires_on=lot.last_day, quarantine=bin_.is_quarantine,
    )  # fmt: skip


@dataclass
class Entry:
    """One movement to be written. `quantity` is signed; `unit_cost` what the lot costs now."""

    kind: str
    level: StockLevel
    lot_id: int
    bin_id: int
    quantity: Decimal
    unit_cost: Decimal
    label: str = ""
    reason: str = ""
    override: str = ""
    holder: str = ""
    reverses_id: int | None = None
    balance_id: int | None = None  # when known, with what lay there before
    on_hand: Decimal = field(default=Decimal(0))
    fresh: bool = False  # a new lot: it lies nowhere yet
    key: int | None = None  # of the movement, when known beforehand
    value: Decimal | None = None  # of a cost difference, which has no quantity


def post(
    by: Any, entries: list[Entry], *, posting: uuid.UUID | None = None, used: Reservation | None = None
) -> list[Movement]:
    """Write movements with their balances and levels, and the reservation a draw `used`. The levels must be locked and the
    quantities checked.

    Balances are computed here as exact decimals and written as values: SQLite would add them as binary floats.
    """
    now = clock.now()
    posting = posting or uuid.uuid4()
    _find_balances(entries)
    movements = [
        Movement(
            pk=e.key, kind=e.kind, posting=posting, part_id=e.level.part_id, lot_id=e.lot_id, bin_id=e.bin_id,
            site_id=e.level.site_id, quantity=e.quantity, at=now, by=by,
            value=value_of(e.quantity, e.unit_cost) if e.value is None else e.value,
            label=e.label, reason=e.reason, override=e.override, holder=e.holder, reverses_id=e.reverses_id,
        )
        for e in entries
    ]  # fmt: skip
    tables.write(movements, *_balances(entries), _levels(entries), used)
    for e, movement in zip(entries, movements, strict=True):
        record(by, f"stock.{movement.kind}", movement, root=e.level.part, **_told(movement))
    return movements


def value_of(quantity: Decimal, unit_cost: Decimal) -> Decimal:
    """Quantity times unit cost at six decimals, half away from zero. Raises BadInput when absurdly large."""
    value = round_to(EXACT.multiply(quantity, unit_cost), VALUE["decimal_places"])
    if value.copy_abs() >= VALUE_LIMIT:
        raise BadInput("Quantity times cost is too large to be right.", code="too-large")
    return value


def _told(movement: Movement) -> dict[str, Any]:
    told: dict[str, Any] = {"quantity": movement.quantity, "lot": movement.lot_id, "bin": movement.bin_id}
    told |= {k: v for k in ("label", "reason", "override") if (v := getattr(movement, k))}
    return told


def _find_balances(entries: list[Entry]) -> None:
    """Fill in the balance of entries that come without one, and refuse to go beyond what can be kept exactly."""
    open_ = [e for e in entries if e.balance_id is None and not e.fresh]
    if open_:
        found = {
            (b.lot_id, b.bin_id): b
            for b in Balance.objects.filter(lot_id__in={e.lot_id for e in open_}, bin_id__in={e.bin_id for e in open_})
        }
        for e in open_:
            if balance := found.get((e.lot_id, e.bin_id)):
                e.balance_id, e.on_hand = balance.pk, balance.on_hand
    for e in entries:
        if e.on_hand + e.quantity >= LIMIT:
            raise BadInput("There would be more in this bin than can be right.", code="too-large")


def _balances(entries: list[Entry]) -> tuple[dict[int, Decimal], list[Balance]]:
    """What balances come to, by id, and those that are new."""
    after: dict[int, Decimal] = {}
    new: list[Balance] = []
    for e in entries:
        if e.balance_id is None:
            new.append(Balance(part_id=e.level.part_id, lot_id=e.lot_id, bin_id=e.bin_id, on_hand=e.quantity))
        else:
            after[e.balance_id] = after.get(e.balance_id, e.on_hand) + e.quantity
    return after, new


def _levels(entries: list[Entry]) -> list[StockLevel]:
    """The levels with the entries added."""
    changed: dict[int, StockLevel] = {}
    for e in entries:
        e.level.on_hand += e.quantity
        changed[e.level.pk] = e.level
        if e.level.on_hand >= LIMIT:
            raise BadInput("There would be more in stock than can be right.", code="too-large")
    return list(changed.values())


def site_of(bin_id: int) -> int:
    """The site a bin stands at, which never changes. Raises NotFound."""
    site_id = Bin.objects.filter(pk=bin_id).values_list("site_id", flat=True).first()
    if site_id is None:
        raise NotFound("There is no such bin.")
    return site_id


def hold_bins(*ids: int) -> dict[int, Bin]:
    """Bins that something is put into, held so that nobody archives them or makes them a quarantine meanwhile.

    After the levels are locked. Raises NotFound for a bin that is no longer used.
    """
    found = Bin.objects.select_for_update(no_key=True).filter(pk__in=ids, archived_at__isnull=True).order_by("pk")
    bins = {b.pk: b for b in found}
    if missing := set(ids) - set(bins):
        code = Bin.objects.filter(pk__in=missing).values_list("code", flat=True).first()
        raise NotFound(f"Bin {code} is no longer used. Choose another." if code else "There is no such bin.")
    return bins
