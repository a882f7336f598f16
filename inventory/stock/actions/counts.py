"""Count lists: bins counted blind, differences looked at twice and posted, while the shop goes on drawing."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from decimal import Decimal

from django.db.models import Max

from shop.business.queries import site
from shop.kernel import clock
from shop.kernel.decimals import as_decimal
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.quantity import check
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.numbering.actions import number
from shop.people.models import Person
from shop.trail.record import record

from .. import counts
from ..due import due
from ..models import Balance, Bin, CountLine, CountList, CountTally, Lot, Movement, StockLevel
from ..posting import Entry, hold_bins, lock, post
from ..refusing import kept
from .moving import left_after, the_lot
from .reserving import cut

ZERO = Decimal(0)
LIMIT_VALUE = Decimal(25)  # in the shop's currency
LIMIT_PERCENT = Decimal(10)
MOST_LINES = 500


@writes
def start_count(
    *,
    by: Person,
    site_id: int,
    bin_ids: Sequence[int],
    note: str = "",
    limit_value: Decimal = LIMIT_VALUE,
    limit_percent: Decimal = LIMIT_PERCENT,
) -> CountList:
    """A list of bins to be counted, all that lies in each. A difference worth `limit_value` (shop's currency) or
    `limit_percent` of what was expected needs a second look.

    Raises NotFound (site, bin), BadInput (no bins, one that stands elsewhere or is no longer used, a limit below zero).
    """
    bins = list(Bin.objects.filter(pk__in=bin_ids, site_id=site_id, archived_at__isnull=True).order_by("code"))
    if not bin_ids:
        raise field_error("bin_ids", "Name at least one bin of this site.", code="bins-missing")
    if missing := set(bin_ids) - {b.pk for b in bins}:
        code = Bin.objects.filter(pk__in=missing).values_list("code", flat=True).first()
        raise NotFound(f"Bin {code} is no longer used or stands at another site." if code else "There is no such bin.")
    return _started(by, site_id, [(b.pk, None) for b in bins], note, limit_value, limit_percent)


@writes
def start_cycle(
    *,
    by: Person,
    site_id: int,
    most: int = 20,
    note: str = "",
    limit_value: Decimal = LIMIT_VALUE,
    limit_percent: Decimal = LIMIT_PERCENT,
) -> CountList:
    """A list of what is due to be counted at the site: at most `most` places, each one part in one bin.

    Raises NotFound (site), BadInput (a limit below zero, `most` beyond 1 to 500), Refused when nothing is due.
    """
    if not 1 <= most <= MOST_LINES:
        raise field_error("most", f"Give 1 to {MOST_LINES} places.", code="out-of-range")
    places = due(counts.places(site_id), counts.used_in_a_year(), clock.today(), most=most)
    if not places:
        raise Refused("Nothing is due to be counted. A list of bins can be counted at any time.", code="nothing-due")
    wanted = [(d.place.bin_id, d.place.part_id) for d in places]
    return _started(by, site_id, wanted, note or "What is due", limit_value, limit_percent)


def _started(
    by: Person,
    site_id: int,
    places: Iterable[tuple[int, int | None]],
    note: str,
    limit_value: Decimal,
    limit_percent: Decimal,
) -> CountList:
    at = site(site_id)
    if at is None or at.archived_at:
        raise NotFound("There is no such site.")
    row = CountList(
        site_id=site_id, note=clean_line(note, field="note", max_length=200),
        limit_value=_limit(limit_value, "limit_value", Decimal(10) ** 9), created_at=clock.now(), created_by=by,
        limit_percent=_limit(limit_percent, "limit_percent", Decimal(1000)),
    )  # fmt: skip
    row.number = number("K", "count", clock.today().year)
    row.save(force_insert=True)
    lines = [CountLine(count=row, bin_id=bin_id, part_id=part_id) for bin_id, part_id in places]
    if len(lines) > MOST_LINES:
        raise field_error("bin_ids", f"Count at most {MOST_LINES} bins on one list.", code="too-many")
    CountLine.objects.bulk_create(lines)
    record(by, "count.started", row, lines=len(lines), note=row.note)
    return row


def _limit(value: Decimal, name: str, most: Decimal) -> Decimal:
    limit = as_decimal(value, name)
    if not 0 <= limit < most:
        raise field_error(name, f"Give a limit from 0 to less than {most}.", code="out-of-range")
    return limit


@writes
def cancel_count(count_id: int, *, by: Person) -> CountList:
    """Give a list up. What was posted from it stays; what was only counted is not posted. Raises NotFound, Refused."""
    row = CountList.objects.select_for_update(no_key=True).filter(pk=count_id).first()
    if row is None:
        raise NotFound("There is no such count.")
    if row.cancelled_at or not CountLine.objects.filter(count=row, closed_at__isnull=True).exists():
        raise Refused(f"Count {row.number} has ended already.", code="count-ended")
    row.cancelled_at = clock.now()
    row.save(update_fields=["cancelled_at"])
    record(by, "count.cancelled", row)
    return row


@writes
def tally(*, by: Person, line_id: int, lot_id: int, counted: Decimal) -> CountTally:
    """`counted` of the lot lie in the bin (part's unit, zero or more). Said again, the last word counts. After the whole line
    was looked at, it is the second look.

    What the ledger expects at this moment is kept beside it: draws and receipts after it change nothing about the difference.
    Raises NotFound, BadInput (below zero, another part than the line's), Refused (the line has ended).
    """
    line = _line(line_id)
    lot = the_lot(lot_id)
    if line.part_id not in (None, lot.part_id):
        raise field_error("lot_id", f"Here only {_called(line)} is counted.", code="other-part")
    level = lock([(lot.part_id, line.bin.site_id)], create=True)[lot.part_id, line.bin.site_id]
    counted = check(as_decimal(counted, "counted"), level.part.unit, field="counted")
    if counted < 0:
        raise field_error("counted", "Count what lies there: zero or more.", code="negative")
    return _tallied(by, line, lot.pk, counted)


def _tallied(by: Person, line: CountLine, lot_id: int, counted: Decimal) -> CountTally:
    """Inside the lock of the level."""
    expected = Balance.objects.filter(lot_id=lot_id, bin_id=line.bin_id).values_list("on_hand", flat=True).first()
    seen = Movement.objects.filter(lot_id=lot_id, bin_id=line.bin_id).aggregate(last=Max("id"))["last"]
    row = CountTally.objects.create(
        line=line, lot_id=lot_id, counted=counted, expected=expected or ZERO, seen=seen or 0,
        again=line.finished_at is not None, at=clock.now(), by=by,
    )  # fmt: skip
    record(by, "count.tallied", row, root=line.count, lot=lot_id, bin=line.bin_id, counted=counted, again=row.again)
    return row


@writes
def finish_line(*, by: Person, line_id: int, gone_lot_ids: Collection[int] = ()) -> CountLine:
    """The whole bin was looked at. Lots of the ledger that weren't seen stand in `gone_lot_ids`: nothing of them lies there.
    Where all agrees, the line is closed at once.

    Raises NotFound, and Refused when it ended or was finished before, or when lots are neither counted nor said to be gone.
    """
    line = _line(line_id)
    if line.finished_at:
        raise Refused(f"{_called(line)} was looked at already. Count again what differs.", code="finished")
    seen = set(line.tallies.values_list("lot_id", flat=True))
    there = {b.lot_id: b for b in _lying(line) if b.lot_id not in seen}
    lock({(b.part_id, line.bin.site_id) for b in there.values()})
    if left := [b for b in _lying(line) if b.lot_id not in seen and b.lot_id not in set(gone_lot_ids)]:
        named = ", ".join(f"{b.part.number} (lot {b.lot.number})" for b in left[:4])
        raise Refused(
            f"Not counted yet: {named}{' and more' if len(left) > 4 else ''}. Look for it, or say that it is gone.",
            code="not-counted",
            lot_ids=[b.lot_id for b in left],
        )
    for lot_id in sorted(set(there) & set(gone_lot_ids)):
        _tallied(by, line, lot_id, ZERO)
    line.finished_at, line.finished_by = clock.now(), by
    line.save(update_fields=["finished_at", "finished_by"])
    record(by, "count.finished", line, root=line.count, bin=line.bin.code)
    if not any(t.difference for t in counts.last_tallies(line)):
        _close(by, line, "")
    return line


@writes
def close_line(*, by: Person, line_id: int, reason: str) -> CountLine:
    """Post what differs, each lot by the difference of the moment it was counted. `reason` says why it differs.

    Raises NotFound, BadInput (no reason), Refused: not yet looked at in full, a difference beyond the limits not looked at
    twice, or a lot that was counted elsewhere meanwhile or of which less lies there by now than is missing (count it again).
    """
    line = _line(line_id)
    if not line.finished_at:
        raise Refused(f"{_called(line)} is not counted in full yet.", code="not-finished")
    reason = clean_line(reason, field="reason", required=True, max_length=200)
    tallies = counts.last_tallies(line)
    if again := counts.to_look_at_again(line, tallies):
        named = ", ".join(f"{t.lot.part.number} (lot {t.lot.number})" for t in again[:4])
        raise Refused(
            f"Look at these a second time first: {named}.", code="second-look", lot_ids=[t.lot_id for t in again]
        )
    different = [t for t in tallies if t.difference]
    levels = lock({(t.lot.part_id, line.bin.site_id) for t in different}, create=True)
    hold_bins(line.bin_id)
    entries = [_entry(by, line, t, levels[t.lot.part_id, line.bin.site_id], reason) for t in different]
    if entries:
        post(by, entries)
    _close(by, line, reason)
    return line


def _entry(by: Person, line: CountLine, found: CountTally, level: StockLevel, reason: str) -> Entry:
    """The difference of one lot. Inside the lock of its level."""
    counted_since = Movement.objects.filter(
        lot_id=found.lot_id, bin_id=line.bin_id, kind=Movement.Kind.COUNT, pk__gt=found.seen
    )
    if counted_since.exists():
        raise _again(found, "was counted by somebody else meanwhile")
    balance = Balance.objects.select_related("lot", "bin").filter(lot_id=found.lot_id, bin_id=line.bin_id).first()
    on_hand = balance.on_hand if balance else ZERO
    if on_hand + found.difference < 0:
        raise _again(found, "has been drawn meanwhile beyond what you saw")
    if found.difference < 0 and balance is not None and level.reserved:
        left = left_after(level, balance, -found.difference, leaves=True)
        if left < level.reserved:
            cut(level, kept(level.part, level.site_id), left, by)
    cost = Lot.objects.get(pk=found.lot_id).cost
    return Entry(
        Movement.Kind.COUNT, level, found.lot_id, line.bin_id, found.difference, cost, reason=reason,
        label=f"count {line.count.number}", balance_id=balance.pk if balance else None, on_hand=on_hand,
    )  # fmt: skip


def _again(found: CountTally, what: str) -> Refused:
    return Refused(
        f"{found.lot.part.number} (lot {found.lot.number}) {what}. Count it again.", code="count-again",
        lot_ids=[found.lot_id],
    )  # fmt: skip


def _close(by: Person, line: CountLine, reason: str) -> None:
    line.closed_at, line.closed_by, line.reason = clock.now(), by, reason
    line.save(update_fields=["closed_at", "closed_by", "reason"])
    lots = line.tallies.values("lot_id")
    Balance.objects.filter(bin_id=line.bin_id, lot__in=lots).update(counted_at=clock.now())
    record(by, "count.closed", line, root=line.count, bin=line.bin.code, reason=reason)


def _line(line_id: int) -> CountLine:
    """The line, locked, of a list that goes on. Raises NotFound, Refused."""
    rows = CountLine.objects.select_for_update(of=("self",), no_key=True).select_related("count", "bin", "part")
    line = rows.filter(pk=line_id).first()
    if line is None:
        raise NotFound("There is no such line of a count.")
    if line.closed_at or line.count.cancelled_at:
        raise Refused(f"The count of {_called(line)} has ended. Start a new one.", code="count-ended")
    return line


def _lying(line: CountLine) -> list[Balance]:
    return list(counts.lying(line))


def _called(line: CountLine) -> str:
    return f"{line.part.number} in bin {line.bin.code}" if line.part else f"bin {line.bin.code}"
