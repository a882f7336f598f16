"""What comes in: deliveries, kits that are broken open, orders that arrive."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from inventory.buying import actions as orders
from inventory.stock import actions
from inventory.stock.models import Balance, Lot
from tests.factories import buying
from tests.properties.paper import ANY, Paper


class Incoming(Paper):
    """What is received, by hand and against an order."""

    @rule(n=ANY, where=ANY, life=st.none() | st.integers(0, 8), cost=st.integers(0, 5000), data=st.data())
    def receive(self, n, where, life, cost, data) -> None:
        part, bin_ = self.parts[n % 2], self.bins[where % 5]
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
        self.comes_in(lot, bin_.pk, quantity, last)
        assert lot.unit_cost == D(cost) / 1000
        self.rows += 1

    @rule(where=ANY, life=st.none() | st.integers(0, 8), cost=st.integers(0, 5000))
    def receive_kits(self, where, life, cost) -> None:
        bin_, last = self.bins[where % 5], None if life is None else self.today + timedelta(days=life)
        lot = self.does(
            True,
            lambda: actions.receive(
                by=self.by, part_id=self.kit.pk, bin_id=bin_.pk, quantity=D(4), unit_cost=D(cost) / 100, expires_on=last
            ),
        )
        self.comes_in(lot, bin_.pk, D(4), last, of_kit=True)
        self.rows += 1

    @precondition(lambda self: any(f["part"] == self.kit.pk for f in self.lots.values()))
    @rule(n=ANY, into=ANY, many=st.integers(1, 5))
    def break_kits_open(self, n, into, many) -> None:
        places = [p for p in sorted(self.stock) if self.lots[p[0]]["part"] == self.kit.pk]
        lot, bin_ = places[n % len(places)]
        to = self.bins[into % 5].pk
        before = Lot.objects.order_by("-pk").values_list("pk", flat=True).first()
        made = self.does(
            many <= self.stock[lot, bin_] and self.site_of[to] == self.site_of[bin_],
            lambda: actions.break_open(by=self.by, lot_id=lot, bin_id=bin_, quantity=D(many), to_bin_id=to),
        )
        if made is None:
            return
        assert [x.pk for x in made] == list(
            Lot.objects.filter(pk__gt=before).order_by("pk").values_list("pk", flat=True)
        )
        got, worth_of = dict.fromkeys(self.inside, D(0)), D(0)
        for piece in made:
            quantity = Balance.objects.get(lot=piece, bin=to).on_hand
            got[piece.part_id] += quantity
            worth_of += quantity * piece.unit_cost
            self.comes_in(piece, to, quantity, self.lots[lot]["last"], of_kit=True, at=self.lots[lot]["at"])
        assert got == {part: each * many for part, each in self.inside.items()}
        assert abs(worth_of - self.lots[lot]["cost"] * many) <= D("0.000001") * len(made) * 100 + D("0.005")
        self.add(lot, bin_, -D(many))
        self.rows += 1 + len(made)

    @rule(n=ANY, where=ANY, many=st.integers(1, 12), short=st.booleans())
    def an_order_comes_in(self, n, where, many, short) -> None:
        part, bin_ = self.parts[n % 2], self.bins[where % 5]
        before = Lot.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
        came = D(many) - 1 if short and many > 1 else D(many)

        def work() -> None:
            order = buying.sent(self.by, part, str(many))
            receipt = orders.open_receipt(by=self.by, order_id=order.pk, delivery_note=f"N{before}", bin_id=bin_.pk)
            line = order.lines.get()
            orders.add_receipt_line(receipt.pk, None, by=self.by, order_line_id=line.pk, quantity=came)
            orders.post_receipt(receipt.pk, None, by=self.by)

        self.does(True, work)
        for lot in Lot.objects.filter(pk__gt=before):
            self.comes_in(lot, bin_.pk, came, lot.last_day)
            self.rows += 1

    def comes_in(self, lot, bin_, quantity, last, *, of_kit=False, at=None) -> None:
        self.lots[lot.pk] = {
            "part": lot.part_id, "last": last, "at": at or self.now, "opened": False, "cost": lot.unit_cost, "root": lot.pk,
            "kit": of_kit,
        }  # fmt: skip
        self.add(lot.pk, bin_, quantity)
