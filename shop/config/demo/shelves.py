"""Counting at the invented shop: a rack counted last week, one list half done today, and a mechanic's box."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from inventory.stock import actions as stock
from inventory.stock import counts
from inventory.stock.models import Balance, Bin, CountLine
from shop.kernel import clock
from shop.people.models import Person


def count(site_id: int, *, stores: Person, owner: Person) -> None:
    """Tell it at the present end of the story: what is counted is what the ledger says, but for what somebody finds."""
    bins = dict(Bin.objects.filter(site_id=site_id).values_list("code", "pk"))
    _fill_box(bins["D1"], site_id, stores)
    with clock.at(clock.now() - timedelta(minutes=50)):
        done = stock.start_count(by=owner, site_id=site_id, bin_ids=[bins["C2"], bins["C3"]], note="Fasteners")
    for n, line in enumerate(done.lines.order_by("bin__code")):
        with clock.at(clock.now() - timedelta(minutes=40 - 10 * n)):
            _look(line, stores, short=n == 0)
    with clock.at(clock.now() - timedelta(minutes=15)):
        going = stock.start_cycle(by=stores, site_id=site_id, most=6, note="What is due this week")
        first, second, third, *_ = going.lines.order_by("bin__code", "id")
        _look(first, stores, short=False)
        _look(second, stores, short=True, leave=True)
        for place in list(counts.lying(third))[:1]:
            stock.tally(by=stores, line_id=third.pk, lot_id=place.lot_id, counted=place.on_hand)


def _look(line: CountLine, by: Person, *, short: bool, leave: bool = False) -> None:
    """Count all that lies there; `short`: one of the first is missing. `leave`: the second look is still to come."""
    places = list(counts.lying(line))
    for n, place in enumerate(places):
        missing = Decimal(1) if short and n == 0 else Decimal(0)
        stock.tally(by=by, line_id=line.pk, lot_id=place.lot_id, counted=place.on_hand - missing)
    line = stock.finish_line(by=by, line_id=line.pk)
    if leave or line.closed_at:
        return
    for said in counts.to_look_at_again(line, counts.last_tallies(line)):
        stock.tally(by=by, line_id=line.pk, lot_id=said.lot_id, counted=said.counted)
    stock.close_line(by=by, line_id=line.pk, reason="Fell behind the rack, not to be found")


def _fill_box(cupboard: int, site_id: int, stores: Person) -> None:
    """Jory keeps a tube of thread locking liquid in his own box."""
    jory = Person.objects.get(username="jory")
    box = stock.add_bin(
        by=stores, site_id=site_id, code="BOX-J", name="Jory's box", kind=Bin.Kind.BOX, keeper_id=jory.pk
    )
    tube = Balance.objects.filter(bin_id=cupboard, part__number="CON-803", on_hand__gte=50).order_by("-lot_id").first()
    if tube is not None:
        stock.transfer(
            by=stores, lot_id=tube.lot_id, from_bin_id=cupboard, to_bin_id=box.pk, quantity=Decimal(50),
            reason="For the bench",
        )  # fmt: skip
