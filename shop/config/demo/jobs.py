"""Jobs of the invented shop, worked through the same actions that people use, at moments of the past."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from random import Random
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from inventory.buying.models import Supplier
from inventory.stock import actions as stock
from inventory.stock import queries as shelf
from inventory.stock.models import Bin
from jobs.cards import actions as cards
from jobs.cards.models import JobCard, Stage
from jobs.draws import actions as draws
from jobs.draws.models import Draw, Need
from jobs.estimates import actions as estimates
from jobs.estimates.models import Estimate
from jobs.machines.models import Machine
from jobs.plans.models import WorkPlan
from jobs.replies import actions as replies
from jobs.sublet import actions as sublet
from jobs.timebook import actions as time
from shop.kernel import clock
from shop.kernel.rounding import round_money
from shop.people.models import Person

from .catalogue import GRINDER, PARTS
from .folk import COMPLAINTS

COSTS = {p.number: Decimal(p.cost) for p in PARTS}
BINS = {p.number: p.bin for p in PARTS}
MORNING = (timedelta(hours=8), timedelta(hours=12, minutes=30))
AFTERNOON = (timedelta(hours=13, minutes=15), timedelta(hours=17))


class Bench:
    """One mechanic's working time: hands out the next free intervals inside the shop's hours."""

    def __init__(self, person: Person, start: datetime) -> None:
        self.person = person
        self.free = start

    def spans(self, hours: Decimal) -> Iterator[tuple[datetime, datetime]]:
        left = timedelta(hours=float(hours))
        while left > timedelta(0):
            day = self.free.replace(hour=0, minute=0, second=0, microsecond=0)
            for begin, end in (MORNING, AFTERNOON):
                start, stop = max(self.free, day + begin), day + end
                if self.free.isoweekday() <= 5 and stop - start > timedelta(minutes=5):
                    stop = min(stop, start + left)
                    self.free = stop
                    left -= stop - start
                    yield start, stop
                    break
            else:
                self.free = day + timedelta(days=1, hours=8)


class Story:
    """A card as it went, told with a fixed seed."""

    def __init__(self, *, office: Person, stores: Person, owner: Person, seed: int) -> None:
        self.office, self.stores, self.owner = office, stores, owner
        self.dice = Random(seed)  # noqa: S311  a story, not a secret

    def open(self, machine: Machine, plan: WorkPlan | None, moment: datetime, **values: Any) -> JobCard:
        said = self.dice.choice(COMPLAINTS.get(machine.kind, COMPLAINTS["engine"]))
        with clock.at(moment):
            return cards.open_card(
                by=self.office, machine_id=machine.pk, complaint=values.pop("complaint", said),
                plan_ids=[plan.pk] if plan else [], **values,
            )  # fmt: skip

    def estimate(self, card: JobCard, moment: datetime, *, kind: str = "estimate") -> Estimate:
        with clock.at(moment):
            draft = estimates.draft_estimate(by=self.office, card_id=card.pk, kind=kind)
            for line in [
                x for x in draft.lines.all() if x.basis.get("price") == "missing"
            ]:  # sublet work, as it was quoted
                estimates.edit_line(line.pk, None, by=self.office, unit_price=Decimal(285), cost=Decimal(228))
            return estimates.issue_estimate(draft.pk, None, by=self.office)

    def agree(self, estimate: Estimate, moment: datetime, *, but: tuple[str, ...] = (), how: str = "phone") -> None:
        """Yes to every line but those whose text starts with one of `but`, each of which must be there."""
        answers = {line.pk: not line.text.startswith(but) if but else True for line in estimate.lines.all()}
        if list(answers.values()).count(False) != len(but):
            raise ValueError(f"{but} are not {len(but)} lines of this estimate")
        customer = estimate.card.customer
        with clock.at(moment):
            estimates.record_go_ahead(
                estimate.pk, by=self.office, answers=answers, how=how, said_by=customer.contact or customer.name,
                said_at=moment,
            )  # fmt: skip

    def agree_by_link(self, estimate: Estimate, moment: datetime) -> None:
        """Yes to every line, on the customer's phone."""
        customer = estimate.card.customer
        with clock.at(moment - timedelta(minutes=40)):
            link = replies.make_link(estimate.pk, by=self.office)
        with clock.at(moment):
            replies.note_opened(link.pk)
            replies.answer(
                link.pk, once=uuid5(NAMESPACE_URL, estimate.number), seen=0, said_by=customer.contact or customer.name,
                answers={line.pk: True for line in estimate.lines.all()}, address="192.0.2.44",
            )  # fmt: skip

    def charged(self, stage: Stage, moment: datetime) -> None:
        """The outside firm's invoice came with what was sent out."""
        firm = Supplier.objects.get(name=GRINDER)
        net = Decimal(2150 + stage.pk * 37 % 330) / 10
        with clock.at(moment):
            sublet.record_bill(
                by=self.office, stage_id=stage.pk, supplier_id=firm.pk, number=f"{moment:%y}-{stage.pk:04d}",
                dated_on=moment.date(), net=net, tax=round_money(net * 23 / 100, "EUR"), note="Bored and honed, sizes on it",
            )  # fmt: skip

    def work(self, stage: Stage, bench: Bench, *, pace: float | None = None, finish: bool = True) -> datetime:
        """Sign, clock, draw, fit and finish one stage; answers when it was done."""
        pace = pace if pace is not None else self.dice.uniform(0.8, 1.35)
        hours = (stage.standard_hours * Decimal(str(round(pace, 2)))).quantize(Decimal("0.01"))
        spans = list(bench.spans(max(hours, Decimal("0.25"))))
        by = bench.person
        self._sign(stage, "start", spans[0][0], by)
        for number, (start, stop) in enumerate(spans):
            with clock.at(start):
                time.clock_on(by=by, stage_id=stage.pk)
                if number == 0:
                    self.draw_all(stage, by)
            if number < len(spans) - 1 or not finish:
                with clock.at(stop):
                    time.clock_off(by=by)
        done = spans[-1][1]
        if finish:
            self._sign(stage, "finish", done, by)
            with clock.at(done):
                self.fit_all(stage, by)
                time.finish_stage(stage.pk, by=by)
        return done

    def _sign(self, stage: Stage, when: str, moment: datetime, by: Person) -> None:
        with clock.at(moment):
            for gate in stage.gates.filter(when=when, signed_at__isnull=True, removed_at__isnull=True):
                cards.sign_gate(gate.pk, by=by)

    def draw_all(self, stage: Stage, by: Person) -> None:
        """Draw what the stage needs; what the shelf lacks comes in first."""
        wanted = Need.objects.filter(stage=stage, removed_at__isnull=True, declined_at__isnull=True)
        needs = list(wanted.select_related("part", "reservation"))
        free = shelf.free_by_part([need.part_id for need in needs])
        for need in needs:
            left = need.quantity - need.drawn
            kept = need.reservation.quantity if need.reservation and need.reservation.ended_at is None else Decimal(0)
            short = left - kept - free.get((need.part_id, stage.card.site_id), Decimal(0))
            if short > 0:
                number = need.part.number
                stock.receive(
                    by=self.stores, part_id=need.part_id, bin_id=Bin.objects.get(code=BINS[number]).pk,
                    quantity=short * 3, unit_cost=COSTS[number], source="Rush order",
                )  # fmt: skip
            draws.draw(by=by, stage_id=stage.pk, part_id=need.part_id, quantity=left)

    def fit_all(self, stage: Stage, by: Person) -> None:
        for row in Draw.objects.filter(stage=stage):
            left = row.quantity - row.returned - row.fitted - row.spent
            if left:
                draws.fit(row.pk, by=by, quantity=left)
