"""Three years of the invented shop, and its present: a card in each situation a shop knows. Same seed, same story; only
the dates move with the day it is loaded, and what is near counts in working days."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from django.utils import timezone

from inventory.parts.models import Part
from inventory.stock import actions as stock
from inventory.stock.models import Balance, Bin, Lot
from jobs.alerts import actions as alerts
from jobs.alerts import gathering
from jobs.alerts.models import Alert
from jobs.cards import actions as cards
from jobs.cards.models import JobCard, Stage
from jobs.draws import actions as draws
from jobs.draws.models import Draw, Need
from jobs.estimates import actions as estimates
from jobs.machines import actions as machines
from jobs.machines.models import Machine
from jobs.plans.models import WorkPlan
from jobs.replies import actions as replies
from jobs.timebook import actions as time
from shop.kernel import clock
from shop.people.models import Person

from . import attending, buying, ground, ordering, paying, shelves
from .jobs import Bench, Story

PAST_JOBS = 20
PAST_DAYS = 3 * 365
SEED = 26


def tell(*, site_id: int) -> None:
    """Lay the ground and work the jobs, past and present. Only on an empty shop."""
    who = {p.username: p for p in Person.objects.all()}
    today = ground.workday(clock.now().astimezone(timezone.get_current_timezone()))
    first = ground.opening(today - timedelta(days=PAST_DAYS))
    with clock.at(first):
        ground.lay(site_id=site_id, owner=who["maren"], office=who["pim"], stores=who["tamsin"])
        ground.fill(None, Decimal(2), by=who["tamsin"], note="opening stock")
    story = Story(office=who["pim"], stores=who["tamsin"], owner=who["maren"], seed=SEED)
    _past(story, first, today, who)
    _restock(story, today - timedelta(days=55), who["tamsin"])
    paying.leave_one_unpaid(story, ground.opening(today - timedelta(days=50)))
    paying.remind(story, ground.workday(today, 2))
    with clock.at(ground.workday(today, 30)):
        ground.charge_beside(who["tamsin"])
    _present(story, today, who)
    attending.keep((who["jory"], who["brann"]), today)
    buying.order(today, stores=who["tamsin"], office=who["pim"])
    _price_risen(who["maren"])
    shelves.count(site_id, stores=who["tamsin"], owner=who["maren"])
    ordering.propose(moment=clock.now(), owner=who["maren"], stores=who["tamsin"])
    _kits(who["tamsin"], who["maren"])
    stock.close_months()
    _alerts(clock.now(), who["tamsin"])


def _kits(stores: Person, owner: Person) -> None:
    """A kit waits in a tray, and a long wanted part of work that isn't agreed yet was ordered all the same."""
    stage = Stage.objects.filter(started_at__isnull=True, needs__reservation__ended_at__isnull=True).filter(
        needs__reservation__isnull=False, removed_at__isnull=True
    )
    draws.put_in_tray(stage.order_by("pk")[0].pk, by=stores, number="12")
    sold = Need.objects.filter(
        part__number="VLV-502", stage__finished_at__isnull=True, drawn=0, reservation__isnull=True
    )
    for need in sold.filter(declined_at__isnull=True, removed_at__isnull=True).order_by("pk")[:1]:
        draws.order_for(need.pk, by=owner, quantity=Decimal(2))


def _alerts(moment: datetime, stores: Person) -> None:
    """Yesterday's lists knew of all but two things; one of those on them was set aside."""
    found = gathering.gather(clock.today())
    with clock.at(moment - timedelta(days=1)):
        alerts.keep(found[2:])
        if row := Alert.objects.filter(kind="low").first():
            alerts.set_aside(row.pk, by=stores)
    alerts.keep(found)


def _past(story: Story, first: datetime, today: datetime, who: dict[str, Person]) -> None:
    benches = [Bench(who["jory"], first), Bench(who["brann"], first)]
    fleet = list(Machine.objects.exclude(kind__in=("gearbox", "generator set")).order_by("pk"))
    step = (PAST_DAYS - 60) / PAST_JOBS
    for n in range(PAST_JOBS):
        opened = ground.opening(first + timedelta(days=20 + n * step))
        machine = fleet[(n * 7) % len(fleet)]
        plan = ground.plan_for(machine, n)
        bench = benches[n % 2]
        bench.free = max(bench.free, opened + timedelta(hours=2))
        card = story.open(machine, plan, opened, promised_on=(opened + timedelta(days=21)).date())
        estimate = story.estimate(card, opened + timedelta(hours=3))
        story.agree(estimate, opened + timedelta(hours=5), how=("phone", "in-person", "letter")[n % 3])
        bench.free = max(bench.free, ground.opening(opened + timedelta(days=1)))
        for stage in Stage.objects.filter(card=card, removed_at__isnull=True).order_by("position"):
            bench.free = story.work(stage, bench)
            if stage.kind == "sublet":
                story.charged(stage, bench.free + timedelta(minutes=10))
        done = bench.free + timedelta(minutes=20)
        with clock.at(done):
            cards.finish_card(card.pk, by=story.office)
        paying.bill_and_hand_over(story, card, done, late=story.dice.randrange(3, 30))


def _restock(story: Story, moment: datetime, stores: Person) -> None:
    with clock.at(moment):
        ground.fill(None, Decimal(1), by=stores, note="yearly order")
        old = Part.objects.get(number="CON-802")
        shelf = Bin.objects.get(code="D1")
        stock.receive(
            by=stores, part_id=old.pk, bin_id=shelf.pk, quantity=Decimal(50), unit_cost=Decimal("0.29"),
            batch="802-OLD", expires_on=(moment + timedelta(days=48)).date(), source="Marram Lubricants, last of a batch",
        )  # fmt: skip
    with clock.at(moment + timedelta(days=1)):
        for row in Balance.objects.filter(on_hand__gt=0, lot__expires_on__lt=clock.today()).select_related("lot"):
            stock.scrap(by=stores, lot_id=row.lot_id, bin_id=row.bin_id, quantity=row.on_hand, reason="Out of date")
    with clock.at(moment + timedelta(days=2)):
        short = Part.objects.get(number="GKT-041")
        for row in Balance.objects.filter(part=short, on_hand__gt=0).select_related("lot", "bin"):
            stock.count(by=stores, lot_id=row.lot_id, bin_id=row.bin_id, counted=Decimal(1), reason="Yearly count")


def _price_risen(owner: Person) -> None:
    """The invoice came after some of the lot was drawn."""
    lots = Lot.objects.filter(source__endswith="yearly order", movements__kind="draw", balances__on_hand__gt=0)
    dear = lots.order_by("-unit_cost", "id")[0]
    stock.revalue(
        by=owner, lot_id=dear.pk, new_unit_cost=dear.unit_cost + Decimal("0.85"),
        reason="Invoice came later: price risen since the order",
    )  # fmt: skip


def _present(story: Story, today: datetime, who: dict[str, Person]) -> None:
    jory, brann = who["jory"], who["brann"]
    b2 = list(Machine.objects.filter(model="B2").order_by("pk"))
    o5 = list(Machine.objects.filter(maker="Ostwick").order_by("pk"))
    pumps = list(Machine.objects.filter(kind="pump").order_by("pk"))
    sets = list(Machine.objects.filter(kind="generator set").order_by("pk"))
    gearbox = Machine.objects.get(kind="gearbox")
    plan = {p.code: p for p in WorkPlan.objects.all()}

    def days(back: int) -> datetime:
        return ground.workday(today, back)

    # booked in for next week
    story.open(o5[0], plan["O5-TOP"], days(2), arrived=False, promised_on=(today + timedelta(days=30)).date())

    # just in, nothing priced yet
    story.open(sets[0], plan["INJ-SVC"], days(1), came_with="Spare injector in a jar")

    # stripped and measured; the estimate waits for the customer
    waiting = story.open(b2[0], plan["B2-FULL"], days(7), promised_on=(today + timedelta(days=24)).date(),
                         complaint="Knocks when warm, louder under load. The skipper wants it before the season.",
                         came_with="Raw water pump, a bag of bolts, the handbook")  # fmt: skip
    bench = Bench(jory, days(6))
    for stage in waiting.stages.order_by("position")[:4]:
        story.work(stage, bench)
    _measured(waiting, jory, bench.free)
    asked = story.estimate(waiting, bench.free + timedelta(minutes=30))
    with clock.at(min(bench.free + timedelta(minutes=40), today)):
        replies.make_link(asked.pk, by=story.office)

    # agreed but for one line, work going on, a trial fit behind it, clock running now
    going = story.open(b2[2], plan["B2-TOP"], days(9), promised_on=(today + timedelta(days=3)).date(),
                       complaint="Loses coolant, none on the floor. Oil looks like milk.")  # fmt: skip
    bench = Bench(brann, days(8))
    for stage in going.stages.order_by("position")[:3]:
        story.work(stage, bench)
    estimate = story.estimate(going, bench.free + timedelta(minutes=30))
    no = ("VLV-501", "VLV-502")  # the old valves are lapped in once more
    story.agree(estimate, bench.free + timedelta(hours=2), but=no)
    bench.free = max(bench.free + timedelta(hours=2), days(4))
    lap, head, *_ = going.stages.order_by("position")[3:]
    story.work(lap, bench)
    _trial_fit(story, head, bench)

    # held for parts, promised for last week
    held = story.open(b2[4], plan["B2-TOP"], days(14), promised_on=(today - timedelta(days=4)).date())
    bench = Bench(jory, days(3))
    for stage in held.stages.order_by("position")[:3]:
        story.work(stage, bench)
    story.agree(story.estimate(held, bench.free + timedelta(hours=1)), bench.free + timedelta(hours=2), how="in-person")
    with clock.at(min(bench.free + timedelta(hours=3), today)):
        time.hold_card(held.pk, by=story.office, reason="parts", note="Head gasket GKT-041 on order, due Thursday")

    # finished, to be billed
    done = story.open(pumps[0], plan["PUMP-OH"], days(5), promised_on=(today + timedelta(days=1)).date())
    story.agree_by_link(story.estimate(done, days(5) + timedelta(hours=2)), days(5) + timedelta(hours=3))
    bench = Bench(jory, days(2))
    for stage in done.stages.order_by("position"):
        story.work(stage, bench)
    with clock.at(bench.free):
        cards.finish_card(done.pk, by=story.office)

    # cancelled after the estimate was declined
    gone = story.open(gearbox, plan["INJ-SVC"], days(22), complaint="Slips going astern.")
    refused = story.estimate(gone, days(21))
    with clock.at(days(19)):
        estimates.record_go_ahead(
            refused.pk, by=story.office, answers={line.pk: False for line in refused.lines.all()}, how="phone",
            said_by="Joss Ferrier", said_at=days(19), note="Buys a used one instead",
        )  # fmt: skip
        time.cancel_card(gone.pk, by=story.office, reason="Customer buys a used gearbox")

    # a card made by hand, held for a question to the manual
    odd = story.open(sets[1], None, days(2), complaint="Hunts up and down, lights flicker.")
    with clock.at(days(2) + timedelta(hours=1)):
        look = cards.add_stage(
            odd.pk, by=story.office, name="Find out why the governor hunts", kind="measure",
            standard_hours=Decimal("1.5"), needs_go_ahead=False,
        )  # fmt: skip
        cards.add_gate(look.pk, by=story.office, text="Fuel shut off and stop device tried", when="start")
        cards.hold_stage(look.pk, by=brann, reason="manual", note="Governor spring rate for the 2012 build?")

    # the next rebuild stands ready for whoever is free, all agreed
    ready = story.open(o5[1], plan["O5-TOP"], days(4), promised_on=(today + timedelta(days=9)).date())
    story.agree(story.estimate(ready, days(4) + timedelta(hours=2)), days(3), how="letter")
    paying.deposits(story, ready, going, today)
    paying.paid_early(story, odd.customer_id, today)

    for machine in b2[:6]:
        last = machine.readings.order_by("-read_at").first()
        if last:
            machines.read_usage(machine.pk, by=story.office, value=last.value + 640, read_at=clock.now())


def _measured(card: JobCard, by: Person, moment: datetime) -> None:
    stage = Stage.objects.get(card=card, kind="measure")
    with clock.at(moment):
        cards.add_note(
            card.pk, by=by, stage_id=stage.pk,
            text="Bore 2 is 0.11 mm over at the top, limit on the sheet 0.10 mm. Bore 1 just inside. Crank is fine.",
        )  # fmt: skip


def _trial_fit(story: Story, head: Stage, bench: Bench) -> None:
    """The head went on to check a clearance and came off again: the gasket is spent, another is needed."""
    by = bench.person
    start, stop = next(bench.spans(Decimal("1.5")))
    with clock.at(start):
        for gate in head.gates.filter(when="start"):
            cards.sign_gate(gate.pk, by=by)
        time.clock_on(by=by, stage_id=head.pk)
        gasket = Part.objects.get(number="GKT-041")
        need = Need.objects.get(stage=head, part=gasket, removed_at__isnull=True)
        draws.draw(by=by, stage_id=head.pk, part_id=gasket.pk, quantity=need.quantity)
    with clock.at(stop):
        row = Draw.objects.get(stage=head, part=gasket)
        draws.trial_fit(row.pk, by=by, quantity=Decimal(1), note="Checked bump clearance with wire")
        time.clock_off(by=by)
    with clock.at(clock.now() - timedelta(minutes=35)):
        time.clock_on(by=by, stage_id=head.pk)
