from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from django.utils.timezone import localdate

from shop.kernel import clock
from shop.kernel.decimals import as_decimal
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.quantity import positive
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..choosing import opened_expiry
from ..models import Balance, Lot, Movement, StockLevel
from ..posting import Entry, hold_bins, lock, lying, post, site_of
from ..refusing import breaks_promises, words

ZERO = Decimal(0)


@writes
def transfer(
    *, by: Person, lot_id: int, from_bin_id: int, to_bin_id: int, quantity: Decimal, reason: str = ""
) -> tuple[Movement, Movement]:
    """Move some of a lot into another bin, also at another site; its cost goes with it.

    Raises NotFound, BadInput, Refused (more than lies there; into quarantine or away from a site what is kept there).
    """
    if from_bin_id == to_bin_id:
        raise field_error("to_bin_id", "It lies there already. Choose another bin.", code="same-bin")
    lot = the_lot(lot_id)
    here, there = site_of(from_bin_id), site_of(to_bin_id)
    levels = lock({(lot.part_id, here), (lot.part_id, there)}, create=True)
    source, target = levels[lot.part_id, here], levels[lot.part_id, there]
    into = hold_bins(to_bin_id)[to_bin_id]
    balance, quantity = lying_there(source, lot, from_bin_id, quantity)
    if here != there or into.is_quarantine:
        keep_promises(source, balance, quantity, leaves=here != there)
    reason = clean_line(reason, field="reason", max_length=200)
    cost = balance.lot.cost
    out = Entry(
        Movement.Kind.TRANSFER, source, lot_id, from_bin_id, -quantity, cost, reason=reason,
        balance_id=balance.pk, on_hand=balance.on_hand,
    )  # fmt: skip
    moved = post(by, [out, Entry(Movement.Kind.TRANSFER, target, lot_id, to_bin_id, quantity, cost, reason=reason)])
    return moved[0], moved[1]


@writes
def scrap(*, by: Person, lot_id: int, bin_id: int, quantity: Decimal, reason: str) -> Movement:
    """Throw away some of a lot: broken, spoiled, expired. Raises NotFound, BadInput, and Refused for more than lies there
    or what is kept for somebody."""
    return _out(Movement.Kind.SCRAP, by, lot_id, bin_id, quantity, reason, "")


@writes
def send_back(*, by: Person, lot_id: int, bin_id: int, quantity: Decimal, reason: str, label: str) -> Movement:
    """Some of a lot goes back to who sold it, at what it cost; `label` says to whom and of which delivery. Raises as `scrap`."""
    label = clean_line(label, field="label", required=True, max_length=120)
    return _out(Movement.Kind.SENT_BACK, by, lot_id, bin_id, quantity, reason, label)


def _out(kind: str, by: Person, lot_id: int, bin_id: int, quantity: Decimal, reason: str, label: str) -> Movement:
    reason = clean_line(reason, field="reason", required=True, max_length=200)
    lot = the_lot(lot_id)
    level = _level(lot, bin_id)
    balance, quantity = lying_there(level, lot, bin_id, quantity)
    keep_promises(level, balance, quantity, leaves=True)
    entry = Entry(
        kind, level, lot_id, bin_id, -quantity, balance.lot.cost, reason=reason, label=label, balance_id=balance.pk,
        on_hand=balance.on_hand,
    )  # fmt: skip
    return post(by, [entry])[0]


@writes
def open_lot(*, by: Person, lot_id: int, bin_id: int | None = None, quantity: Decimal | None = None) -> Lot:
    """A container was opened: from now on the time it keeps open counts as well.

    With `quantity` and `bin_id` only that much of the lot was opened (one tube of six): it becomes a lot of its own, with
    the same cost and batch. Answers the opened lot. Raises NotFound, BadInput, Refused (opened before, nothing left).
    """
    lot = the_lot(lot_id)
    sites = set(Balance.objects.filter(lot=lot, on_hand__gt=0).values_list("bin__site_id", flat=True))
    levels = lock({(lot.part_id, site_id) for site_id in sites})
    lot = Lot.objects.select_related("part").get(pk=lot_id)  # again: inside the lock
    if lot.opened_at is not None:
        raise Refused(f"Lot {lot.number} was opened on {localdate(lot.opened_at)}.", code="opened")
    lying = list(Balance.objects.filter(lot=lot, on_hand__gt=0))
    if not lying:
        raise Refused(f"Nothing of lot {lot.number} is left.", code="empty")
    now = clock.now()
    expiry = opened_expiry(lot.expires_on, clock.today(), lot.part.open_life_days)
    if quantity is None or (len(lying) == 1 and as_decimal(quantity) == lying[0].on_hand):
        lot.opened_at, lot.opened_expires_on = now, expiry
        lot.save(update_fields=["opened_at", "opened_expires_on"])
        record(by, "lot.opened", lot, root=lot.part, keeps_until=expiry)
        return lot
    if bin_id is None:
        raise field_error("bin_id", "Say from which bin it was taken.", code="bin-missing")
    level = levels.get((lot.part_id, site_of(bin_id)))
    if level is None:
        raise Refused(f"Nothing of lot {lot.number} lies in that bin.", code="not-there")
    balance, quantity = lying_there(level, lot, bin_id, quantity)
    hold_bins(bin_id)
    return split_off(by, level, balance, lot, quantity, now, expiry)


def split_off(
    by: Person,
    level: StockLevel,
    balance: Balance,
    lot: Lot,
    quantity: Decimal,
    opened_at: datetime,
    expiry: date | None,
) -> Lot:
    """`quantity` of the lot at this place becomes an opened lot of its own: the one opened from it at the same moment, if
    there is one. Inside the lock."""
    opened = lot.opened.filter(part_id=lot.part_id, opened_at=opened_at).first() or Lot.objects.create(
        part=lot.part, number=f"{lot.number}-{lot.opened.count() + 1}", batch=lot.batch, source=lot.source,
        received_at=lot.received_at, expires_on=lot.expires_on, opened_at=opened_at, opened_expires_on=expiry,
        opened_from=lot, unit_cost=lot.cost, currency=lot.currency, serial_no=lot.serial_no,
    )  # fmt: skip
    label = f"opened from {lot.number}"
    out = Entry(
        Movement.Kind.TRANSFER, level, lot.pk, balance.bin_id, -quantity, lot.cost, label=label, balance_id=balance.pk,
        on_hand=balance.on_hand,
    )  # fmt: skip
    post(
        by,
        [out, Entry(Movement.Kind.TRANSFER, level, opened.pk, balance.bin_id, quantity, lot.cost, label=label)],
    )
    record(by, "lot.opened", opened, root=lot.part, opened_from=lot.pk, quantity=quantity, keeps_until=expiry)
    return opened


def the_lot(lot_id: int) -> Lot:
    lot = Lot.objects.select_related("part").filter(pk=lot_id).first()
    if lot is None:
        raise NotFound("There is no such lot.")
    return lot


def _level(lot: Lot, bin_id: int) -> StockLevel:
    site_id = site_of(bin_id)
    level = lock([(lot.part_id, site_id)]).get((lot.part_id, site_id))
    if level is None:
        raise Refused(f"Nothing of lot {lot.number} lies in that bin.", code="not-there")
    return level


def lying_there(level: StockLevel, lot: Lot, bin_id: int, quantity: Decimal) -> tuple[Balance, Decimal]:
    """The balance and the checked quantity, which isn't more than lies there. Inside the lock."""
    quantity = positive(as_decimal(quantity, "quantity"), level.part.unit)
    balance = Balance.objects.select_related("lot", "bin").filter(lot=lot, bin_id=bin_id).first()
    if balance is None or balance.on_hand == 0:
        raise Refused(f"Nothing of lot {lot.number} lies in that bin.", code="not-there")
    if quantity > balance.on_hand:
        raise Refused(
            f"Only {words(balance.on_hand, level.part)} of lot {lot.number} lie in {balance.bin.code}. Take that, or count "
            "the bin.",
            code="not-enough",
            on_hand=balance.on_hand,
        )
    return balance, quantity


def left_after(level: StockLevel, balance: Balance, quantity: Decimal, *, leaves: bool) -> Decimal:
    """What promises could be kept from after `quantity` is gone from this place: what is usable, if the place was."""
    today = clock.today()
    last = balance.lot.last_day
    on_hand = level.on_hand - quantity if leaves else level.on_hand
    if balance.bin.is_quarantine or (last is not None and last < today):
        return on_hand
    usable = sum((p.on_hand for p in lying(level).places if not p.quarantine and not p.expired(today)), ZERO)
    return usable - quantity


def keep_promises(level: StockLevel, balance: Balance, quantity: Decimal, *, leaves: bool) -> None:
    if not level.reserved:
        return
    left = left_after(level, balance, quantity, leaves=leaves)
    if left < level.reserved:
        raise breaks_promises(level.part, level.site_id, left, level.reserved)
