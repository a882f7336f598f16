"""The main job as it happens: a machine comes over the counter, is worked on by gates and go-ahead, and goes out with an
invoice that is paid. Four people at their own screens: the office at a desk, stores at a tablet, the bench on a phone.

Pictures of every step are kept in $TALLYBENCH_OUT/screenshots/main-job.
"""

from __future__ import annotations

import io
from datetime import timedelta
from decimal import Decimal

import pytest
from pypdf import PdfReader

from inventory.parts.models import Part
from inventory.stock.models import Balance, Movement
from jobs.cards.models import JobCard, Stage
from jobs.draws.models import Draw
from jobs.estimates.models import Estimate
from jobs.invoices.models import Invoice, Payment
from jobs.machines.models import Customer
from jobs.plans.drafts import GateDraft, PartDraft, StageDraft
from jobs.timebook.models import TimeBooking
from shop.kernel import clock
from shop.trail import outbox
from tests.factories import estimates as quote
from tests.factories import moments, plans, stock
from tests.factories.desk import catalogue, people
from tests.factories.timebook import Stopped, working_hours

from .chromium import chromium  # noqa: F401
from .people import Album, Seat

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def cast(transactional_db):
    """The shop before the job: rates, hours, a plan, a tube of sealant on the shelf and no head gasket."""
    cast = people()
    gasket, tube, shelf = catalogue(cast["stores"])
    quote.shop(cast["owner"])
    working_hours()
    for lying in Balance.objects.filter(part=gasket):
        stock.actions.count(
            by=cast["stores"], lot_id=lying.lot_id, bin_id=shelf.pk, counted=Decimal(0), reason="Yearly count"
        )
    plans.plan(
        name="Head gasket, Brindlecote B2", maker="Brindlecote", model="B2",
        stages=(
            StageDraft("Take off the head", "strip", Decimal("1.5"), gates=(GateDraft("Ports covered"),)),
            StageDraft(
                "Fit the head with a new gasket", "assemble", Decimal(2), after=(1,),
                cautions="The head weighs 38 kg: use the hoist.",
                gates=(GateDraft("Joint faces clean and dry", "start"), GateDraft("Head nuts tightened and signed")),
                parts=(PartDraft(gasket.pk, Decimal(1)), PartDraft(tube.pk, Decimal(12))),
            ),
            StageDraft("Paint it harbour grey", "rework", Decimal(1), after=(2,)),
        ),
    )  # fmt: skip
    return cast


@pytest.fixture
def seats(chromium, live_server, cast, monkeypatch):  # noqa: F811
    """Four screens and one clock on the wall."""
    wall, album = Stopped(monkeypatch), Album("main-job")
    made = {
        who: Seat(chromium, live_server.url, cast[who], album, width=width)
        for who, width in (("office", 1366), ("mechanic", 360), ("stores", 820))
    }

    def it_is(hour: int, minute: int = 0) -> None:
        moment = wall.at(hour, minute)
        for seat in made.values():
            seat.at(moment)

    it_is(9)
    yield made["office"], made["mechanic"], made["stores"], it_is
    for seat in made.values():
        seat.context.close()


def test_the_main_job(seats, mailoutbox):
    office, bench, stores, it_is = seats

    # 9:00, the counter: a man who was never here, with a machine that was never here
    office.sign_in()
    office.look("today on a quiet morning")
    office.follow("Take a machine in")
    office.type("Serial number, machine, or the customer's name, phone or town", "Osk Vane")
    office.press("Find")
    office.reads("No machine and no customer fits “Osk Vane”.")
    office.follow("A new customer")
    office.type("Phone", "+353 00 555 0177")
    office.type("E-mail", "osk@vane.example")
    office.tick("Agrees to be mailed")
    office.type("Street and number", "3 Slip Road")
    office.type("Town", "Saltmarsh Quay")
    office.look("a new customer")
    office.press("Save and go on")
    office.reads("Which machine of Osk Vane?")
    office.type("What it is", "engine")
    office.type("Maker", "Brindlecote")
    office.type("Model", "B2")
    office.type("Serial or engine number", "B2-40992")
    office.look("a new machine")
    office.press("Save and go on")
    office.type("Complaint", "Loses coolant, none on the floor. Oil looks like milk.")
    office.type("What came with it", "Exhaust elbow, the handbook")
    office.tick("Head gasket, Brindlecote B2")
    office.look("what is wrong")
    office.press("Open the card")
    office.reads(
        "Card opened.",
        f"{clock.today():%y}-0001",
        "Loses coolant, none on the floor.",
        "Waits for the customer's go-ahead",
    )
    office.look("the card")
    card = office.page.url

    # 9:30, the bench: strip it
    it_is(9, 30)
    bench.sign_in()
    bench.reads("Free to take")
    bench.look("today at the bench")
    bench.follow("Take off the head")
    bench.press("Start and clock on")
    bench.page.locator("button.clock.running").wait_for()
    bench.look("the clock runs on the strip")
    it_is(11)
    bench.press("Finish the stage")
    bench.reads("Ports covered")
    bench.look("not before the gate is signed")
    assert not Stage.objects.get(position=1).finished_at
    bench.press("Sign", "Ports covered")
    bench.press("Finish the stage")
    bench.reads("Finished")
    bench.look("the strip is finished")

    # what costs the customer money waits for the customer, and says so
    fit = f"{card}stages/{Stage.objects.get(position=2).pk}/"
    bench.page.goto(fit)
    bench.reads("Waits for the customer's go-ahead")
    assert "Start and clock on" not in bench.text()
    bench.look("the next stage waits for the go-ahead")

    # 11:15, the office: what it will cost, and the customer's word by phone
    it_is(11, 15)
    office.page.goto(card)
    office.follow("Write an estimate")
    office.look("what kind of estimate")
    office.press("Draft it from the card")
    office.reads("Take off the head", "GKT-041 Head gasket, B2", "Paint it harbour grey", "€437.95")
    office.look("the draft estimate")
    office.press("Issue")
    office.reads("Issued.", moments.numbered("EST", 1), "Waits for the customer's word")
    office.look("the estimate is issued")
    printed = read_pdf(office)
    assert all(words in printed for words in (moments.numbered("EST", 1), "Osk Vane", "437.95")), printed
    office.follow("Record the customer's word")
    for line in Estimate.objects.get().lines.all():
        answer = "no" if line.text.startswith("Paint") else "yes"
        office.page.get_by_role("group", name=line.text).get_by_label(answer, exact=True).check()
    office.tick("By phone")
    office.look("the customer says yes and no")
    office.press("Record these answers")
    office.reads("Recorded. What was agreed may start.", "Paint it harbour grey: no", "5 yes, 1 no")
    office.look("what the customer said")

    # 11:40, stores: three gaskets come in, and what the card needs is put aside for it
    it_is(11, 40)
    stores.sign_in()
    stores.reads("Short: needed, and not on the shelf", "GKT-041")
    stores.look("today in the stores")
    stores.go("/stock/receive/")
    stores.type("Part", "gkt-041")
    stores.type("Into bin", "a3-02")
    stores.type("Quantity", "3")
    stores.type("Cost per unit", "21,40")
    stores.type("From", "Gullhaven Seals, note 4471")
    stores.look("three gaskets come in")
    stores.press("Receive")
    stores.page.goto(card)
    stores.reads("not kept, 3 free")
    stores.press("Keep what is free")
    stores.reads("kept for it")
    stores.look("kept for the card")

    # 13:00, the bench: gates, clock, parts by scan; the head goes on for trial, comes off and goes on for good
    it_is(13)
    bench.page.goto(fit)
    bench.reads("Sign first: Joint faces clean and dry")
    bench.look("sign first")
    bench.press("Sign", "Joint faces clean")
    bench.press("Start and clock on")
    bench.page.locator("button.clock.running").wait_for()
    bench.follow("Draw parts")
    bench.look("which part")
    draw(bench, "gkt-041", "1", "Drew 1 of GKT-041 Head gasket, B2 from bin A3-02.")
    bench.look("a gasket is drawn")
    bench.follow("Back to the stage")
    bench.follow("Fit or return lot", "GKT-041")
    bench.look("the gasket in hand")
    bench.press("Fitted for trial")
    bench.reads("Noted as fitted for trial.", "1 of 2 drawn, 1 spent", "not kept, 2 free")
    bench.look("the trial fit spent it and asks for another")
    bench.follow("Draw parts")
    draw(bench, "4006381333931", "1", "Drew 1 of GKT-041 Head gasket, B2 from bin A3-02.")
    draw(bench, "SEA-070", "15", "Drew 15 ml of SEA-070 Flange sealant from bin A3-02.")
    bench.follow("Back to the stage")
    bench.look("gasket and sealant in hand")
    bench.follow("Fit or return lot", "GKT-041")
    bench.press("Fitted", "It stays")
    bench.follow("Fit or return lot", "SEA-070")
    bench.page.fill("#id_quantity", "12")
    bench.press("Fitted", "It stays")
    bench.follow("Fit or return lot", "SEA-070")
    bench.page.fill("#id_quantity", "3")
    bench.press("Return unused")
    bench.reads("2 of 2 drawn, 1 fitted, 1 spent", "12 ml of 12 ml drawn, 12 ml fitted")
    it_is(15)
    bench.press("Sign", "Head nuts")
    bench.press("Finish the stage")
    bench.reads("Finished.", "2.00 h")
    bench.look("the head is on")

    # 15:30, the office: the bill, the money, the hand-over
    it_is(15, 30)
    office.page.goto(card)
    office.reads("Declined by the customer")
    office.press("Finish the card")
    office.reads("Card finished.", "Hand over")
    office.look("the card is finished")
    office.press("Draft an invoice")
    office.reads("Draft", "GKT-041 Head gasket, B2", "€400.77")
    office.look("the draft invoice")
    office.press("Issue")
    office.reads("Issued.", moments.numbered("INV", 1), "To be paid")
    office.look("the invoice is issued")
    printed = read_pdf(office)
    wanted = (
        moments.numbered("INV", 1),
        "Osk Vane",
        "3 Slip Road",
        "IE1234567FA",
        "Take off the head",
        "325.83",
        "74.94",
        "400.77",
    )
    assert all(words in printed for words in wanted), printed
    assert "Paint" not in printed
    office.follow("Record a payment")
    office.look("a payment comes in")
    office.press("Record the payment")
    office.reads("Payment recorded.", "Paid", "€0.00")
    office.look("the invoice is paid")
    office.page.goto(card)
    office.follow("Hand over")
    office.reads("Everything drawn is fitted, spent or returned", "The invoices are settled")
    office.look("before it goes out")
    office.press("Hand the machine over")
    office.reads("Handed over. The card is closed.", "Handed the machine over")
    office.look("the machine is out")

    assert [flaw for seat in (office, bench, stores) for flaw in seat.flaws] == []
    what_is_left()
    what_was_mailed(mailoutbox)


def what_is_left() -> None:
    """The shop's books when the machine is out: each figure once, and everything by the one who did it."""
    on_hand = {b.part.number: b.on_hand for b in Balance.objects.filter(on_hand__gt=0).select_related("part")}
    assert on_hand == {"GKT-041": 1, "SEA-070": 58}
    for part in Part.objects.all():
        assert sum(m.quantity for m in Movement.objects.filter(part=part)) == on_hand[part.number]
    assert {(d.part.number, d.quantity, d.fitted, d.spent, d.returned) for d in Draw.objects.all()} == {
        ("GKT-041", 1, 0, 1, 0), ("GKT-041", 1, 1, 0, 0), ("SEA-070", 15, 12, 0, 3),
    }  # fmt: skip
    assert [(b.person.username, b.ended_at - b.started_at) for b in TimeBooking.objects.order_by("id")] == [
        ("jory", timedelta(hours=1.5)), ("jory", timedelta(hours=2)),
    ]  # fmt: skip
    invoice = Invoice.objects.get()
    assert JobCard.objects.get().handed_over_at
    assert (invoice.total_net, invoice.total_gross, Payment.objects.get().amount) == (
        Decimal("325.83"), Decimal("400.77"), Decimal("400.77"),
    )  # fmt: skip
    assert Customer.objects.get().name == "Osk Vane"


def what_was_mailed(mails: list) -> None:
    """The customer agreed to be mailed: estimate and invoice go out with their documents once the outbox is drained."""
    assert mails == []
    while outbox.drain():  # the document first, then the mail that carries it
        pass
    assert sorted((m.to, m.attachments[0][0]) for m in mails) == [
        (["osk@vane.example"], f"{moments.numbered('EST', 1)}.pdf"), (["osk@vane.example"], f"{moments.numbered('INV', 1)}.pdf"),
    ]  # fmt: skip


def draw(bench: Seat, code: str, quantity: str, said: str) -> None:
    bench.type("Scan or type the part, lot or barcode", code)
    bench.press("This part")
    bench.page.fill("#id_quantity", quantity)
    bench.press("Draw")
    bench.reads(said)


def read_pdf(office: Seat) -> str:
    """What the document behind the page's PDF button says."""
    link = office.page.locator("main").get_by_role("link", name="PDF").get_attribute("href")
    answer = office.context.request.get(office.site + link)
    assert answer.headers["content-type"] == "application/pdf"
    pages = PdfReader(io.BytesIO(answer.body())).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())
