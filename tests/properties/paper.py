"""The shelf on paper: what a plain dictionary says of stock, promises and counts, beside the ledger."""

from __future__ import annotations

from datetime import date, datetime, timezone
from decimal import Decimal as D

from django.db import transaction
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize

from inventory.parts import actions as catalogue
from inventory.stock import ledger
from inventory.stock.models import Reservation
from shop.kernel import clock
from shop.kernel.errors import DomainError
from tests.factories import parts as made_parts
from tests.factories import stock as made
from tests.factories.people import person

START = datetime(2026, 3, 2, 9, tzinfo=timezone.utc)  # noqa: UP017
ANY = st.integers(0, 10**6)
WHOLE = st.integers(1, 12).map(D)
MEASURED = st.integers(1, 900).map(lambda n: D(n) / 10)


class Paper(RuleBasedStateMachine):
    """`stock` (lot, bin) -> quantity, `kept` reservation -> [part, site, quantity], `drawn` movement -> [quantity, back],
    `line` the bin that is being counted with what was said of its lots, `posted` (lot, bin) -> count differences."""

    def __init__(self) -> None:
        super().__init__()
        self.outer = transaction.atomic()
        self.outer.__enter__()
        self.now = START
        self.stock: dict[tuple[int, int], D] = {}
        self.lots: dict[int, dict] = {}
        self.kept: dict[int, list] = {}
        self.drawn: dict[int, list] = {}
        self.line: dict | None = None
        self.posted: dict[tuple[int, int], int] = {}
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
        self.kit = made_parts.part(self.by, "KIT-1", "Gasket and sealant kit")
        self.inside = {self.parts[0].pk: D(2), self.parts[1].pk: D(25)}
        for part, many in self.inside.items():
            catalogue.put_in_kit(self.kit.pk, by=self.by, part_id=part, quantity=many)
        here, there = made.site("QUAY"), made.site("FARM")
        self.sites = [here.pk, there.pk]
        self.bins = [
            made.bin_(self.by, "A1"), made.bin_(self.by, "B1"), made.bin_(self.by, "Q1", "quarantine"),
            made.bin_(self.by, "F1", at=there), made.bin_(self.by, "BOX-J", "box"),
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
        return data.draw(MEASURED if part == self.parts[1].pk else WHOLE)

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

    def difference(self, lot: int, bin_: int, quantity: D) -> None:
        self.add(lot, bin_, quantity)
        self.posted[lot, bin_] = self.posted.get((lot, bin_), 0) + 1
        self.rows += 1

    def promises_were_cut(self) -> None:
        before = {pk: q for pk, (_, _, q) in self.kept.items()}
        now = dict(Reservation.objects.filter(ended_at__isnull=True).values_list("pk", "quantity"))
        assert all(now.get(pk, 0) <= q for pk, q in before.items())
        self.kept = {pk: [*v[:2], now[pk]] for pk, v in self.kept.items() if pk in now}
