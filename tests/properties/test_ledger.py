"""Any order of postings, with refusals, against a plain dictionary: the ledger never says anything else.

TALLYBENCH_STEPS sets how many steps are taken (default 300; CI takes 10,000 on SQLite).
"""

from __future__ import annotations

import os
from datetime import date, timedelta
from decimal import Decimal as D

import pytest
from django.db import connection
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from inventory.stock import actions, queries, worth
from inventory.stock.models import Balance, Lot, Movement, StockLevel
from inventory.stock.valuation import Worth
from shop.kernel import clock
from tests.properties.incoming import Incoming
from tests.properties.paper import ANY

STEPS = int(os.environ.get("TALLYBENCH_STEPS", "300"))
LENGTH = 50


class Shelf(Incoming):
    """What people do, and what must be true whatever they do."""

    # what people do

    @rule(n=ANY, site=ANY, own=ANY, use_own=st.booleans(), data=st.data())
    def draw(self, n, site, own, use_own, data) -> None:
        part, site_id = self.parts[n % 2].pk, self.sites[site % 5 == 0]
        quantity = self.quantity(part, data)
        mine = None
        if use_own and self.kept:
            mine = sorted(self.kept)[own % len(self.kept)]
            part, site_id, _ = self.kept[mine]
            quantity = self.quantity(part, data)
        promised = self.kept[mine][2] if mine else D(0)
        free = self.usable(part, site_id) - self.reserved(part, site_id) + promised
        movements = self.does(
            quantity <= free,
            lambda: actions.draw(
                by=self.by, part_id=part, site_id=site_id, quantity=quantity, label="card", reservation_id=mine
            ),
        )
        if movements is None:
            return
        missing, expected = quantity, []
        for place in self.good(part, site_id):
            taken = min(missing, self.stock[place])
            if taken:
                expected.append((*place, -taken))
                missing -= taken
        assert [(m.lot_id, m.bin_id, m.quantity) for m in movements] == expected
        for m in movements:
            self.add(m.lot_id, m.bin_id, m.quantity)
            self.drawn[m.pk] = [-m.quantity, D(0), m.lot_id, m.bin_id]
        if mine:
            self.kept[mine][2] = max(promised - quantity, D(0))
            if not self.kept[mine][2]:
                del self.kept[mine]
        self.rows += len(movements)

    @precondition(lambda self: self.drawn)
    @rule(n=ANY, elsewhere=st.none() | ANY, opened=st.booleans(), data=st.data())
    def put_back(self, n, elsewhere, opened, data) -> None:
        pk = sorted(self.drawn)[n % len(self.drawn)]
        quantity, back, lot, bin_ = self.drawn[pk]
        into = self.bins[elsewhere % 5].pk if elsewhere is not None else bin_
        facts = self.lots[lot]
        returned = self.quantity(facts["part"], data)
        opened_on = self.today if opened else None
        done = self.does(
            returned <= quantity - back,
            lambda: actions.put_back(by=self.by, movement_id=pk, quantity=returned, bin_id=into, opened_on=opened_on),
        )
        if not done:
            return
        assert done.value == (returned * facts["cost"]).quantize(D("0.000001"), "ROUND_HALF_UP")
        self.drawn[pk][1] += returned
        self.add(lot, into, returned)
        self.rows += 1
        if opened and not facts["opened"]:
            (rest,) = Lot.objects.filter(opened_from=lot, movements__posting__isnull=False).order_by("-movements__id")[
                :1
            ]
            last = facts["last"]
            if facts["part"] == self.parts[1].pk:
                last = min(self.today + timedelta(days=5), last or date.max)
            self.lots[rest.pk] = {**facts, "opened": True, "last": last}
            self.add(lot, into, -returned)
            self.add(rest.pk, into, returned)
            self.rows += 2

    @rule(n=ANY, site=ANY, data=st.data(), days=st.none() | st.integers(0, 9))
    def reserve(self, n, site, data, days) -> None:
        part, site_id = self.parts[n % 2].pk, self.sites[site % 5 == 0]
        quantity = self.quantity(part, data)
        made_ = self.does(
            quantity <= self.usable(part, site_id) - self.reserved(part, site_id),
            lambda: actions.reserve(
                by=self.by, part_id=part, site_id=site_id, quantity=quantity, label="card",
                wanted_on=None if days is None else self.today + timedelta(days=days),
            ),
        )  # fmt: skip
        if made_:
            self.kept[made_.pk] = [part, site_id, quantity]

    @precondition(lambda self: self.kept)
    @rule(n=ANY, data=st.data())
    def change_reservation(self, n, data) -> None:
        pk = sorted(self.kept)[n % len(self.kept)]
        part, site_id, before = self.kept[pk]
        quantity = self.quantity(part, data)
        free = max(self.usable(part, site_id) - self.reserved(part, site_id), D(0))
        allowed = quantity <= before or quantity - before <= free
        if self.does(allowed, lambda: actions.change_reservation(pk, quantity, by=self.by)):
            self.kept[pk][2] = quantity

    @precondition(lambda self: self.kept)
    @rule(n=ANY)
    def release(self, n) -> None:
        pk = sorted(self.kept)[n % len(self.kept)]
        self.does(True, lambda: actions.release(pk, by=self.by))
        del self.kept[pk]

    @precondition(lambda self: self.stock)
    @rule(n=ANY, where=ANY, data=st.data())
    def transfer(self, n, where, data) -> None:
        lot, bin_ = self.any_place(n)
        into = self.bins[where % 5].pk
        quantity = self.quantity(self.lots[lot]["part"], data)
        leaves = self.site_of[bin_] != self.site_of[into]
        allowed = bin_ != into and 0 < quantity <= self.stock[lot, bin_]
        if allowed and (leaves or into in self.quarantine):
            allowed = self.keeps_promises(lot, bin_, quantity, leaves=leaves)
        moved = self.does(
            allowed,
            lambda: actions.transfer(by=self.by, lot_id=lot, from_bin_id=bin_, to_bin_id=into, quantity=quantity),
        )
        if moved:
            self.add(lot, bin_, -quantity)
            self.add(lot, into, quantity)
            self.rows += 2

    @precondition(lambda self: self.stock)
    @rule(n=ANY, back=st.booleans(), data=st.data())
    def scrap_or_send_back(self, n, back, data) -> None:
        lot, bin_ = self.any_place(n)
        quantity = self.quantity(self.lots[lot]["part"], data)
        allowed = quantity <= self.stock[lot, bin_] and self.keeps_promises(lot, bin_, quantity, leaves=True)
        gone: dict = {"by": self.by, "lot_id": lot, "bin_id": bin_, "quantity": quantity, "reason": "spoiled"}
        if self.does(allowed, lambda: actions.send_back(**gone, label="Gullhaven") if back else actions.scrap(**gone)):
            self.add(lot, bin_, -quantity)
            self.rows += 1

    @precondition(lambda self: self.stock)
    @rule(n=ANY, nothing=st.booleans(), data=st.data())
    def count(self, n, nothing, data) -> None:
        lot, bin_ = self.any_place(n)
        counted = D(0) if nothing else self.quantity(self.lots[lot]["part"], data)
        gone = self.stock[lot, bin_] - counted
        kept = self.keeps_promises(lot, bin_, gone, leaves=True) if gone > 0 else True
        posted = self.does(
            True, lambda: actions.count(by=self.by, lot_id=lot, bin_id=bin_, counted=counted, reason="counted")
        )
        assert (posted is None) == (gone == 0)
        if posted:
            self.difference(lot, bin_, -gone)
        if not kept:  # promises were shortened: read how, and check that it was just as far as needed
            self.promises_were_cut()
            part, site = self.lots[lot]["part"], self.site_of[bin_]
            left = (
                self.usable(part, site)
                if bin_ not in self.quarantine and self.last_day(lot) >= self.today
                else self.on_hand(part, site)
            )
            assert self.reserved(part, site) == left

    # a count list, while all else goes on

    @precondition(lambda self: self.line is None and self.stock)
    @rule(n=ANY)
    def start_count(self, n) -> None:
        bin_ = self.bins[n % 5]
        made_ = self.does(True, lambda: actions.start_count(by=self.by, site_id=bin_.site_id, bin_ids=[bin_.pk]))
        self.line = {"pk": made_.lines.get().pk, "bin": bin_.pk, "said": {}, "finished": False}

    @precondition(lambda self: self.line is not None and self.stock)
    @rule(n=ANY, agrees=st.booleans(), data=st.data())
    def tally(self, n, agrees, data) -> None:
        line = self.line
        there = sorted(lot for (lot, b), q in self.stock.items() if b == line["bin"] and q > 0)
        lot = there[n % len(there)] if there and n % 4 else self.any_place(n)[0]
        expected = self.stock.get((lot, line["bin"]), D(0))
        counted = expected if agrees else self.quantity(self.lots[lot]["part"], data)
        self.does(True, lambda: actions.tally(by=self.by, line_id=line["pk"], lot_id=lot, counted=counted))
        self.say(lot, counted)

    def say(self, lot: int, counted: D) -> None:
        place = lot, self.line["bin"]
        self.line["said"][lot] = [
            counted, self.stock.get(place, D(0)), self.line["finished"], self.posted.get(place, 0),
        ]  # fmt: skip

    @precondition(lambda self: self.line is not None and not self.line["finished"])
    @rule(all_named=st.booleans())
    def finish_count(self, all_named) -> None:
        line = self.line
        gone = [
            lot for (lot, b), q in self.stock.items() if b == line["bin"] and q > 0 and lot not in line["said"]
        ]  # fmt: skip
        named = gone if all_named else gone[1:]
        done = self.does(named == gone, lambda: actions.finish_line(by=self.by, line_id=line["pk"], gone_lot_ids=named))
        if not done:
            return
        for lot in gone:
            self.say(lot, D(0))
        line["finished"] = True
        if all(counted == expected for counted, expected, _, _ in line["said"].values()):
            assert done.closed_at is not None
            self.line = None

    @precondition(lambda self: self.line is not None and self.line["finished"])
    @rule()
    def close_count(self) -> None:
        line, bin_ = self.line, self.line["bin"]
        differ = {lot: said for lot, said in line["said"].items() if said[0] != said[1]}
        allowed = True
        for lot, (counted, expected, again, posted) in differ.items():
            gap = counted - expected
            much = abs(gap) * self.lots[lot]["cost"] >= 25 or abs(gap) * 10 >= expected
            fits = self.stock.get((lot, bin_), D(0)) + gap >= 0 and posted == self.posted.get((lot, bin_), 0)
            allowed = allowed and fits and (again or not much)
        if self.does(allowed, lambda: actions.close_line(by=self.by, line_id=line["pk"], reason="counted")):
            for lot, (counted, expected, _, _) in differ.items():
                self.difference(lot, bin_, counted - expected)
            self.promises_were_cut()
            self.line = None

    @precondition(lambda self: any(not f["kit"] for f in self.lots.values()))
    @rule(n=ANY, cost=st.integers(0, 5000))
    def revalue(self, n, cost) -> None:
        lots = sorted(pk for pk, facts in self.lots.items() if not facts["kit"])
        lot = lots[n % len(lots)]
        facts, cost = self.lots[lot], D(cost) / 1000
        before = Movement.objects.count()
        row = self.does(
            cost != facts["cost"],
            lambda: actions.revalue(by=self.by, lot_id=lot, new_unit_cost=cost, reason="invoice"),
        )
        if row is None:
            return
        assert row.on_hand == sum((q for (of, _), q in self.stock.items() if of == lot), D(0))
        self.rows += Movement.objects.count() - before
        for other in self.lots.values():
            if other["root"] == facts["root"]:
                other["cost"] = cost

    @precondition(lambda self: self.stock)
    @rule(n=ANY, whole=st.booleans(), data=st.data())
    def open_lot(self, n, whole, data) -> None:
        lot, bin_ = self.any_place(n)
        facts = self.lots[lot]
        lying = [q for (of, _), q in self.stock.items() if of == lot and q > 0]
        quantity = None if whole else self.quantity(facts["part"], data)
        everything = quantity is None or lying == [quantity]
        allowed = not facts["opened"] and bool(lying) and (everything or quantity <= self.stock[lot, bin_])
        opened = self.does(allowed, lambda: actions.open_lot(by=self.by, lot_id=lot, bin_id=bin_, quantity=quantity))
        if not opened:
            return
        days = 5 if facts["part"] == self.parts[1].pk else None
        last = facts["last"]
        if days is not None:
            last = min(self.today + timedelta(days=days), last or date.max)
        if everything:
            facts |= {"opened": True, "last": last}
            return
        self.lots[opened.pk] = {**facts, "opened": True, "last": last}
        self.add(lot, bin_, -quantity)
        self.add(opened.pk, bin_, quantity)
        self.rows += 2

    @rule(days=st.integers(1, 4))
    def days_go_by(self, days) -> None:
        self.now += timedelta(days=days)

    @rule(months=st.integers(1, 2))
    def months_are_closed(self, months) -> None:
        self.now += timedelta(days=31 * months)
        self.does(True, actions.close_months)

    # what must always be true

    @invariant()
    def balances_agree(self) -> None:
        found = {(b.lot_id, b.bin_id): b.on_hand for b in Balance.objects.all()}
        assert found == self.stock
        assert Movement.objects.count() == self.rows

    @invariant()
    def levels_agree(self) -> None:
        for level in StockLevel.objects.all():
            pair = level.part_id, level.site_id
            assert (level.on_hand, level.reserved) == (self.on_hand(*pair), self.reserved(*pair))
            with clock.at(self.now):
                assert queries.free(*pair) == max(self.usable(*pair) - self.reserved(*pair), D(0))

    @invariant()
    def values_agree(self) -> None:
        if self.rows % 3:  # it reads the whole ledger
            return
        with clock.at(self.now + timedelta(seconds=1)):
            found = worth.at(clock.now())
        for part in (*self.parts, self.kit):
            mine = [
                (q, self.lots[lot]["cost"]) for (lot, _), q in self.stock.items() if self.lots[lot]["part"] == part.pk
            ]
            there = found.get(part.pk, Worth())
            assert there.quantity == sum((q for q, _ in mine), D(0))
            assert abs(there.value - sum((q * cost for q, cost in mine), D(0))) <= D("0.000001") * (self.rows + 1)

    @invariant()
    def lots_agree(self) -> None:
        assert {lot.pk: lot.last_day for lot in Lot.objects.all()} == {k: v["last"] for k, v in self.lots.items()}


@pytest.mark.django_db
def test_any_order_of_postings_keeps_the_ledger_right():
    assert connection.in_atomic_block
    run_state_machine_as_test(
        Shelf,
        settings=settings(
            max_examples=max(STEPS // LENGTH, 2), stateful_step_count=LENGTH, deadline=None, database=None,
            suppress_health_check=list(HealthCheck),
        ),
    )  # fmt: skip
