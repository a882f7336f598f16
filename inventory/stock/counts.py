"""Reads of the count lists."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import timedelta
from decimal import Decimal

from django.db.models import Count, F, Min, Q, QuerySet, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone

from shop.kernel import clock

from .due import Counted, needs_second_look
from .models import Balance, Bin, CountLine, CountList, CountTally, Movement

ZERO = Decimal(0)
YEAR = timedelta(days=365)
ARRIVALS = (Movement.Kind.RECEIPT, Movement.Kind.REVALUE)  # nobody put a hand into the bin


def lists(*, open_only: bool = False) -> QuerySet[CountList]:
    """Count lists with `todo` (lines still open) and `of` (all lines)."""
    rows = CountList.objects.select_related("site", "created_by").annotate(
        of=Count("lines"), todo=Count("lines", filter=Q(lines__closed_at__isnull=True))
    )
    return rows.filter(todo__gt=0, cancelled_at__isnull=True) if open_only else rows


def one(pk: int) -> CountList | None:
    return lists().filter(pk=pk).first()


def lines(count_id: int | None = None) -> QuerySet[CountLine]:
    rows = CountLine.objects.select_related("count", "bin", "part", "finished_by", "closed_by")
    return rows if count_id is None else rows.filter(count_id=count_id)


def line(pk: int) -> CountLine | None:
    return lines().filter(pk=pk).first()


def tallies(line_id: int | None = None) -> QuerySet[CountTally]:
    """All that was said, of one line or of all, also what was said again later."""
    rows = CountTally.objects.select_related("line")
    return rows if line_id is None else rows.filter(line_id=line_id)


def last_tallies(line: CountLine) -> list[CountTally]:
    """The last word on each lot, by part and lot."""
    last = {t.lot_id: t for t in CountTally.objects.filter(line=line).select_related("lot__part", "by").order_by("id")}
    return sorted(last.values(), key=lambda t: (t.lot.part.number, t.lot_id))


def to_look_at_again(line: CountLine, found: Iterable[CountTally]) -> list[CountTally]:
    """Those beyond the limits of the list that were looked at only once."""
    limits = {"limit_value": line.count.limit_value, "limit_percent": line.count.limit_percent}
    return [t for t in found if not t.again and needs_second_look(t.counted, t.expected, t.lot.cost, **limits)]


def lying(line: CountLine) -> QuerySet[Balance]:
    """What lies in the bin of a line by the ledger, as far as it is to be counted."""
    rows = Balance.objects.filter(bin_id=line.bin_id, on_hand__gt=0).select_related("part", "lot")
    rows = rows.filter(part_id=line.part_id) if line.part_id else rows
    return rows.order_by("part__number", "lot_id")


def uncounted(line: CountLine) -> list[Balance]:
    """What lies there by the ledger and nobody has spoken of."""
    seen = set(CountTally.objects.filter(line=line).values_list("lot_id", flat=True))
    return [b for b in lying(line) if b.lot_id not in seen]


def used_in_a_year() -> dict[int, Decimal]:
    """Value of what was drawn in the last year less what came back, by part. Reads a year of the ledger."""
    rows = Movement.objects.filter(at__gte=clock.now() - YEAR, kind__in=("draw", "return"))
    sums = rows.order_by().values_list("part_id").annotate(Sum("value"))
    return {part: max(-value, ZERO) for part, value in sums}


def places(site_id: int) -> list[Counted]:
    """Each part in each bin of the site where some lies, with its last count and the movements since (of at most a year)."""
    there = Balance.objects.filter(on_hand__gt=0, bin__site_id=site_id, bin__archived_at__isnull=True)
    known = (
        there.order_by()
        .values("part_id", "bin_id")
        .annotate(last=Min(Coalesce(F("counted_at"), F("lot__received_at"))))
    )
    last = {(row["part_id"], row["bin_id"]): row["last"] for row in known}
    open_ = _on_open_lists(site_id)
    moves: dict[tuple[int, int], int] = defaultdict(int)
    recent = Movement.objects.filter(at__gte=clock.now() - YEAR, site_id=site_id).exclude(kind__in=ARRIVALS)
    for part, bin_, at in recent.order_by().values_list("part_id", "bin_id", "at").iterator(chunk_size=5000):
        if (since := last.get((part, bin_))) is not None and at > since:
            moves[part, bin_] += 1
    return [
        Counted(part, bin_, timezone.localdate(at), moves[part, bin_])
        for (part, bin_), at in last.items()
        if (bin_, part) not in open_ and (bin_, None) not in open_
    ]


def _on_open_lists(site_id: int) -> set[tuple[int, int | None]]:
    rows = CountLine.objects.filter(count__site_id=site_id, count__cancelled_at__isnull=True, closed_at__isnull=True)
    return set(rows.values_list("bin_id", "part_id"))


def bins(site_id: int, *, rack: str = "") -> QuerySet[Bin]:
    """Bins in use at a site, of one rack if it is named."""
    rows = Bin.objects.filter(site_id=site_id, archived_at__isnull=True).order_by("code")
    return rows.filter(rack__iexact=rack) if rack else rows
