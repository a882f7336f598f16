from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from shop.kernel import clock
from shop.kernel.decimals import as_decimal
from shop.kernel.errors import BadInput, field_error
from shop.kernel.quantity import check
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..models import Balance, Lot, Movement, StockLevel
from ..posting import Entry, hold_bins, lock, post, site_of
from ..refusing import kept, words
from .moving import left_after, the_lot
from .reserving import cut

ZERO = Decimal(0)


@writes
def count(*, by: Person, lot_id: int, bin_id: int, counted: Decimal, reason: str = "") -> Movement | None:
    """Somebody looked: `counted` of the lot lie in the bin. Posts the difference with its reason; None when it agrees.

    What was promised and isn't there shortens promises, those last wanted first, and the trail says whose.
    Raises NotFound, BadInput (below zero, or a difference without a reason).
    """
    reason = clean_line(reason, field="reason", max_length=200)
    lot = the_lot(lot_id)
    site_id = site_of(bin_id)
    level = lock([(lot.part_id, site_id)], create=True)[lot.part_id, site_id]
    hold_bins(bin_id)
    return _counted(by, lot, bin_id, level, counted, reason)


@writes
def count_bin(*, by: Person, bin_id: int, counted: Mapping[int, Decimal], reason: str = "") -> list[Movement]:
    """A whole bin was counted, `counted` by lot: all differences are posted, or none.

    Raises NotFound and BadInput: its `fields` name as "lot_7" what is wrong with lot 7, and when a reason is missing
    every lot that differs, so that somebody looks again.
    """
    reason = clean_line(reason, field="reason", max_length=200)
    site_id = site_of(bin_id)
    lots = {lot.pk: lot for lot in Lot.objects.select_related("part").filter(pk__in=counted)}
    for lot_id in counted:
        lots.get(lot_id) or the_lot(lot_id)
    levels = lock({(lot.part_id, site_id) for lot in lots.values()}, create=True)
    hold_bins(bin_id)
    movements: list[Movement] = []
    wrong: dict[str, list[str]] = {}
    for lot_id, quantity in counted.items():
        lot = lots[lot_id]
        try:
            movement = _counted(by, lot, bin_id, levels[lot.part_id, site_id], quantity, reason)
        except BadInput as error:
            wrong[f"lot_{lot_id}"] = [error.message]
            continue
        if movement:
            movements.append(movement)
    if wrong:
        raise BadInput("Some lines differ from the ledger or can't be right. Look at them again.", fields=wrong)
    return movements


def _counted(by: Person, lot: Lot, bin_id: int, level: StockLevel, counted: Decimal, reason: str) -> Movement | None:
    """Inside the lock of the level."""
    counted = check(as_decimal(counted, "counted"), level.part.unit, field="counted")
    if counted < 0:
        raise field_error("counted", "Count what lies there: zero or more.", code="negative")
    Balance.objects.filter(lot=lot, bin_id=bin_id).update(counted_at=clock.now())
    balance = Balance.objects.select_related("lot", "bin").filter(lot=lot, bin_id=bin_id).first()
    before = balance.on_hand if balance else ZERO
    difference = counted - before
    if not difference:
        record(by, "stock.counted", lot, root=level.part, bin=bin_id, quantity=counted)
        return None
    if not reason:
        raise field_error(
            "reason",
            f"By the ledger {words(before, level.part)} lie there. Look again; if it stays, say why.",
            code="reason-missing",
        )
    if difference < 0 and balance is not None and level.reserved:
        left = left_after(level, balance, -difference, leaves=True)
        if left < level.reserved:
            cut(level, kept(level.part, level.site_id), left, by)
    entry = Entry(
        Movement.Kind.COUNT, level, lot.pk, bin_id, difference, Lot.objects.get(pk=lot.pk).cost, reason=reason,
        balance_id=balance.pk if balance else None, on_hand=before,
    )  # fmt: skip
    return post(by, [entry])[0]
