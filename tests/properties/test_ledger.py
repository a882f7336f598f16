"""Any order of postings, with refusals, against a plain dictionary: the ledger never says anything else.

TALLYBENCH_STEPS sets how many steps are taken (default 300; CI takes 10,000).
"""

from __future__ import annotations

import os
from datetime import date, datetime, timedelta, timezone
from decimal import Decimal as D

import pytest
from django.db import connection, transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from inventory.stock import actions, ledger, queries
from inventory.stock.models import Balance, Lot, Movement, Reservation, StockLevel
from shop.kernel import clock
from shop.kernel.errors import DomainError
from tests.factories import parts as made_parts
from tests.factories import stock as made
from tests.factories.people import person

STEPS = int(os.environ.get("TALLYBENCH_STEPS", "300"))
LENGTH = 50
START = datetime(2026, 3, 2, 9, tzinfo=timezone.utc)  # noqa: UP017

WHOLE = st.integers(1, 12).map(D)
MEASURED = st.integers(1, 900).map(lambda n: D(n) / 10)
ANY = st.integers(0, 10**6)


class Shelf(RuleBasedStateMachine):
    """`stock` (lot, bin) -> quantity, `kept` reservation -> [part, site, quantity], `drawn` movement -> [quantity, back]."""

    def __init__(self) -> None:
        super().__init__()
        self.outer = transaction.atomic()
        self.outer.__enter__()
        self.now = START
        self.stock: dict[tuple[int, int], D] = {}
        self.lots: dict[int, dict] = {}
        self.kept: dict[int, list] = {}
        self.drawn: dict[int, list] = {}
        self.rows = 0

    def teardown(self) -> None:
        try:
            assert [str(w) for w in ledger.wrong()] == []
        finally:
            transaction.set_rollback(True)
            self.outer.__exit__(None, None, None)

    @initialize()
    def furnish(self) -> None:
        self.by = person("maren", "Maren Holt", "owner")
        self.parts = [made_parts.part(self.by), made_parts.sealant(self.by, shelf_life_days=None, open_life_days=5)]
        here, there = made.site("QUAY"), made.site("FARM")
        self.sites = [here.pk, there.pk]
        self.bins = [
            made.bin_(self.by, "A1"), made.bin_(self.by, "B1"), made.bin_(self.by, "Q1", "quarantine"),
            made.bin_(self.by, "F1", at=there),
        ]  # fmt: skip
        self.site_of = {b.pk: b.site_id for b in self.bins}
        self.quarantine = {b.pk for b in self.bins if b.is_quarantine}
        self.code_of = {b.pk: b.code for b in self.bins}

    # what the dictionary says

    @property
    def today(self) -> date:
        return self.now.date()

    def good(self, part: int, site: int) -> list[tuple[int, int]]:
        """Usable places in the order of drawing."""
        places = [
            (lot, bin_)
            for (lot, bin_), q in self.stock.items()
            if q > 0 and self.lots[lot]["part"] == part and self.site_of[bin_] == site
            and bin_ not in self.quarantine and self.last_day(lot) >= self.today
        ]  # fmt: skip
        key = lambda p: (self.last_day(p[0]), self.lots[p[0]]["at"], p[0], self.code_of[p[1]])  # noqa: E731
        return sorted(places, key=key)

    def last_day(self, lot: int) -> date:
        return self.lots[lot]["last"] or date.max

    def reserved(self, part: int, site: int) -> D:
        return sum((q for p, s, q in self.kept.values() if (p, s) == (part, site)), D(0))

    def usable(self, part: int, site: int) -> D:
        return sum((self.stock[p] for p in self.good(part, site)), D(0))

    def on_hand(self, part: int, site: int) -> D:
        return sum(
            (q for (lot, b), q in self.stock.items() if self.lots[lot]["part"] == part and self.site_of[b] == site),
            D(0),
        )

    def add(self, lot: int, bin_: int, quantity: D) -> None:
        self.stock[lot, bin_] = self.stock.get((lot, bin_), D(0)) + quantity

    def quantity(self, part: int, data) -> D:
        return data.draw(WHOLE if part == self.parts[0].pk else MEASURED)

    def any_place(self, n: int) -> tuple[int, int]:
        places = sorted(self.stock)
        return places[n % len(places)]

    def keeps_promises(self, lot: int, bin_: int, quantity: D, *, leaves: bool) -> bool:
        """Whether the promises can be kept when `quantity` is gone from there."""
        part, site = self.lots[lot]["part"], self.site_of[bin_]
        reserved = self.reserved(part, site)
        if not reserved:
            return True
        if (lot, bin_) in self.good(part, site):
            return self.usable(part, site) - quantity >= reserved
        return self.on_hand(part, site) - (quantity if leaves else 0) >= reserved

    def does(self, allowed: bool, work):
        """Run `work` at the machine's time; it must be refused exactly when the dictionary says so."""
        result, refusal = None, None
        with clock.at(self.now):
            try:
                result = work()
            except DomainError as error:
                refusal = error
        assert (refusal is None) == allowed, refusal.message if refusal else "allowed although the dictionary refuses"
        assert refusal is None or refusal.message
        return result

    # what people do

    @rule(n=ANY, where=ANY, life=st.none() | st.integers(0, 8), cost=st.integers(0, 5000), data=st.data())
    def receive(self, n, where, life, cost, data) -> None:
        part, bin_ = self.parts[n % 2], self.bins[where % 4]
        quantity = self.quantity(part.pk, data)
        last = None if life is None else self.today + timedelta(days=life)
        lot = self.does(
            True,
            lambda: actions.receive(
                by=self.by,
                part_id=part.pk,
                bin_id=bin_.pk,
                quantity=quantity,
                unit_cost=D(cost) / 1000,
                expires_on=last,
            ),
        )
        self.lots[lot.pk] = {"part": part.pk, "last": last, "at": self.now, "opened": False, "cost": D(cost) / 1000}
        self.add(lot.pk, bin_.pk, quantity)
        self.rows += 1

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
    @rule(n=ANY, elsewhere=st.none() | ANY, data=st.data())
    def put_back(self, n, elsewhere, data) -> None:
        pk = sorted(self.drawn)[n % len(self.drawn)]
        quantity, back, lot, bin_ = self.drawn[pk]
        into = self.bins[elsewhere % 4].pk if elsewhere is not None else bin_
        returned = self.quantity(self.lots[lot]["part"], data)
        done = self.does(
            returned <= quantity - back,
            lambda: actions.put_back(by=self.by, movement_id=pk, quantity=returned, bin_id=into),
        )
        if done:
            self.drawn[pk][1] += returned
            self.add(lot, into, returned)
            self.rows += 1

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
        into = self.bins[where % 4].pk
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
    @rule(n=ANY, data=st.data())
    def scrap(self, n, data) -> None:
        lot, bin_ = self.any_place(n)
        quantity = self.quantity(self.lots[lot]["part"], data)
        allowed = quantity <= self.stock[lot, bin_] and self.keeps_promises(lot, bin_, quantity, leaves=True)
        if self.does(
            allowed, lambda: actions.scrap(by=self.by, lot_id=lot, bin_id=bin_, quantity=quantity, reason="spoiled")
        ):
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
            self.add(lot, bin_, -gone)
            self.rows += 1
        if not kept:  # promises were shortened: read how, and check that it was just as far as needed
            before = {pk: q for pk, (_, _, q) in self.kept.items()}
            now = dict(Reservation.objects.filter(ended_at__isnull=True).values_list("pk", "quantity"))
            assert all(now.get(pk, 0) <= q for pk, q in before.items())
            self.kept = {pk: [*v[:2], now[pk]] for pk, v in self.kept.items() if pk in now}
            part, site = self.lots[lot]["part"], self.site_of[bin_]
            left = (
                self.usable(part, site)
                if bin_ not in self.quarantine and self.last_day(lot) >= self.today
                else self.on_hand(part, site)
            )
            assert self.reserved(part, site) == left

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
