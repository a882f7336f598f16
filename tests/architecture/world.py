"""A small shop with something behind every route, and the ids that stand for its placeholders."""

from __future__ import annotations

from datetime import time, timedelta
from decimal import Decimal
from typing import Any

from django.db import models
from django.test import Client

from inventory.buying import actions as buying
from inventory.labels import actions as labels
from inventory.parts import actions as parts
from inventory.parts.models import Part
from inventory.reorder import actions as reorder_actions
from inventory.stock import actions as stock
from inventory.stock.models import Balance, Lot, Reservation, Revaluation, StockLevel
from jobs.alerts import actions as alerts
from jobs.alerts.models import Alert, DailyList
from jobs.books import actions as books
from jobs.cards import actions as cards
from jobs.cards.models import CardNote, Gate, Stage
from jobs.draws import actions as draws
from jobs.draws.models import Need
from jobs.estimates.models import Estimate, GoAhead
from jobs.exchange import actions as exchange
from jobs.invoices import actions as billing
from jobs.invoices.models import Allocation
from shop.business import actions as business
from shop.business.models import ClosedDay, LabourRate, TaxRate, WorkingHours
from shop.documents import actions as documents
from shop.documents import uploads
from shop.kernel import clock
from shop.people import tokens
from shop.people.actions import tablets
from shop.people.middleware import BY_PIN, SEEN, TABLET
from shop.people.models import ApiToken, Person, Tablet
from shop.trail.models import OutboxRow
from tests.documents import hostile
from tests.factories import (
    accounts,
    charges,
    desk,
    einvoices,
    estimates,
    invoices,
    moments,
    plans,
    reorder,
    replies,
    sublet,
)
from tests.factories import alerts as late
from tests.factories import parts as catalogue_parts
from tests.factories.timebook import a_booking, an_attendance

MISSING = 10**15
ACTORS = ("owner", "office", "mechanic", "stores", "pin", "anonymous")


def first(model: type[models.Model], **narrowed: Any) -> int:
    found = model._default_manager.filter(**narrowed).order_by("pk").values_list("pk", flat=True).first()
    assert found, f"no {model.__name__} in this world"
    return found


def _token(person: Person) -> int:
    _, prefix, digest = tokens.new_token()
    return ApiToken.objects.create(person=person, label="spare", prefix=prefix, digest=digest).pk


def _import(by: Person, kind: str) -> int:
    table = {"parts": "number;name;kind\nPKG-9;Packing;gasket\n", "customers": "name\nHale & Rowan\n"}[kind]
    return exchange.keep_file(exchange.check_file(by=by, kind=kind, name="t.csv", raw=table.encode()), by=by).pk


def reordering(by: Person) -> dict[str, int]:
    rule = reorder_actions.add_rule(by=by, kind="sundry", lead_days=9)
    proposal = reorder.a_proposal(by, "GKT-077", past=(2, 1, 3), left="0")
    return {"reorder-rules": rule.pk, "reorder-proposals": proposal.pk, "reorder-runs": proposal.run_id}


def catalogue(owner: Person, by: Person, part: Part) -> dict[str, int]:
    """What belongs to a part."""
    old = catalogue_parts.part(by, "GKT-040", "Head gasket, B2, old make")
    spare = catalogue_parts.part(by, "GKT-039", "Head gasket, B2, copper")
    return {
        "kit-parts": parts.put_in_kit(old.pk, by=by, part_id=spare.pk, quantity=Decimal(1)).pk,
        "packages": parts.add_package(part.pk, by=by, kind="XBX", content=Decimal(10)).pk,
        "price-rules": parts.add_price_rule(by=owner, name="All parts", markup_percent=Decimal(60)).pk,
        "barcodes": parts.add_barcode(old.pk, by=by, code="GH-0040", used_by="Gullhaven Seals").pk,
        "replacements": parts.replace_part(old.pk, by=by, new_part_id=part.pk).pk,
        "alternatives": parts.add_alternative(part.pk, by=by, other_part_id=spare.pk).pk,
    }


def _billed(by: Person, supplier_id: int, part_id: int, bin_id: int) -> int:
    one = Decimal(1)
    came = buying.open_receipt(by=by, supplier_id=supplier_id, delivery_note="4710", bin_id=bin_id)
    line = buying.add_receipt_line(came.pk, None, by=by, part_id=part_id, quantity=one, price=one)
    buying.accept_over(line.pk, by=by, reason="A sample")
    buying.post_receipt(came.pk, None, by=by)
    lines = [buying.Billed(line.pk)]
    return buying.record_supplier_invoice(
        by=by, supplier_id=supplier_id, number="R-1", dated_on=clock.today(), lines=lines, total=one
    ).pk


def old_parts(by: Person) -> dict[str, int]:
    """A charge of a part, an invoice with its deposit, and an old part that was refused."""
    card, _fit, part = charges.done(by)
    invoice = billing.issue_invoice(billing.draft_invoice(by=by, card_id=card.pk).pk, None, by=by)
    line = invoice.lines.get(kind="core")
    refused = billing.take_core(
        line.pk, by=by, quantity=Decimal(1), condition="Cracked", accepted=False, reason="Can't be rebuilt"
    )
    charge = part.charges.filter(kind="core").get()
    return {"part-charges": charge.pk, "cores-out": line.pk, "core-returns": refused.pk}


def alerting(part: Part, stages: list[Stage], by: Person) -> int:
    """A promised day in danger: what is missing for it is on its way and late. It concerns the mechanic by the stage, and
    whoever may do something about it by the right."""
    for stage in stages:
        draws.add_need(by=by, stage_id=stage.pk, part_id=part.pk, quantity=Decimal(500))
    late.ordered(by, part, 90, "9000", site_id=stages[0].card.site_id)
    alerts.look()
    return first(Alert, kind="danger", mechanic=stages[0].mechanic)


class World:
    """`ids` by the name of the place in the API ("plan-stages"); `other_...` is a parent that has none of them."""

    def __init__(self) -> None:
        cast = desk.people()
        self.people: dict[str, Person] = {**cast, "pin": cast["mechanic"]}
        owner, mechanic, stores = cast["owner"], cast["mechanic"], cast["stores"]
        tablets.enrol(label="Bench 2", digest="0" * 64, by=owner)
        estimates.shop(owner)
        business.set_hours(weekday=6, starts=time(8), ends=time(12), by=owner)
        business.close_day(day=clock.today() + timedelta(days=30), reason="Regatta", by=owner)
        scene = desk.scene()
        drawn = draws.draw(by=mechanic, stage_id=scene.fit.pk, part_id=scene.gasket.pk, quantity=Decimal(1))
        need = Need.objects.get(stage=scene.fit, part=scene.tube)
        draws.keep(need.pk, by=owner)
        cards.hold_stage(scene.measure.pk, by=owner, reason="tool", note="")
        plan = plans.plan(by=owner)
        plan_stage = plan.stages.get(name="Fit head")
        draft = estimates.draft(owner, estimates.card_with_work(owner, 2))
        link = replies.link(owner, estimates.issued(owner, estimates.card_with_work(owner, 3)))
        answered = replies.answered(owner, estimates.issued(owner, estimates.card_with_work(owner, 4)))
        bill = invoices.draft(owner)
        paid = invoices.sale(owner)
        asked = invoices.deposit(owner, bill.card)
        letter, dispute = accounts.letter(owner), accounts.dispute(owner)
        self.links = catalogue(owner, stores, scene.gasket)
        self.links["label-papers"] = labels.add_paper(
            by=stores, name="A4, 3 × 8", width=Decimal(210), height=Decimal(297), rows=8, cols=3
        ).pk
        supplier = buying.add_supplier(name="Tern & Daughter Marine Spares", by=owner)
        offer = buying.add_offer(by=owner, supplier_id=supplier.pk, part_id=scene.gasket.pk)
        wanted = buying.add_to_order(by=owner, supplier_id=supplier.pk, part_id=scene.gasket.pk, quantity=Decimal(2))
        came = buying.open_receipt(by=owner, supplier_id=supplier.pk, delivery_note="4711", bin_id=scene.shelf.pk)
        arrived = buying.add_receipt_line(
            came.pk, None, by=owner, part_id=scene.gasket.pk, quantity=Decimal(1), price=Decimal(20)
        )
        charged = _billed(owner, supplier.pk, scene.gasket.pk, scene.shelf.pk)
        found = uploads.inspect("photo.jpg", hostile.picture())
        (photo,) = documents.add_files("jobcard", scene.card.pk, [found], by=owner)
        ended = moments.away(-1)
        self.bookings = {
            who: a_booking(person, scene.strip, ended - timedelta(minutes=5), ended).pk
            for who, person in (("mechanic", mechanic), ("owner", owner))
        }
        self.attendances = {
            who: an_attendance(person, ended - timedelta(hours=4), ended).pk
            for who, person in (("mechanic", mechanic), ("owner", owner))
        }
        stock.revalue(
            by=owner, lot_id=first(Lot, part=scene.gasket), new_unit_cost=Decimal("4.75"), reason="Invoice 4711"
        )
        counted = stock.start_count(by=owner, site_id=scene.shelf.site_id, bin_ids=[scene.shelf.pk])
        line = counted.lines.get()
        said = stock.tally(by=owner, line_id=line.pk, lot_id=first(Lot, part=scene.gasket), counted=Decimal(1))
        self.tokens = {name: _token(person) for name, person in cast.items()}
        self.runs = {name: _import(by, kind) for name, by, kind in (
            ("owner", owner, "parts"), ("office", cast["office"], "customers"), ("stores", stores, "parts"),
        )}  # fmt: skip
        self.other_card = bill.card_id
        self.other = {"estimates": first(Estimate, card=bill.card_id), "invoices": paid.pk}
        self.ids: dict[str, Any] = {
            "people": cast["mechanic2"].pk, "tablets": first(Tablet), "files": photo.pk, "outbox": first(OutboxRow),
            "sites": scene.shelf.site_id, "working-hours": first(WorkingHours), "closed-days": first(ClosedDay),
            "tax-rates": first(TaxRate, code="S13"), "labour-rates": first(LabourRate),
            **self.links,


            "parts": scene.gasket.pk, "suppliers": supplier.pk, "supplier-invoices": charged, "incoming-invoices": einvoices.kept(owner, einvoices.xml(einvoices.line("214.00"))).pk, "goods-receipts": came.pk,
            "goods-receipt-lines": arrived.pk, "offers": offer.pk,
            "purchase-orders": wanted.order_id, "purchase-order-lines": wanted.pk, "bins": scene.shelf.pk,
            "lots": first(Lot, part=scene.gasket), "movements": drawn.rows[0].movement_id,
            "stock": first(StockLevel), "places": first(Balance), "reservations": first(Reservation),
            "revaluations": first(Revaluation), "counts": counted.pk, "count-lines": line.pk, "count-tallies": said.pk,
            "customers": scene.card.customer_id, "machines": scene.card.machine_id,
            "plans": plan.pk, "plan-stages": plan_stage.pk, "plan-gates": plan_stage.gates.first().pk,
            "plan-parts": plans.part_line(plan_stage, scene.gasket.pk, by=owner).pk,
            "cards": scene.card.pk, "stages": scene.fit.pk, "gates": first(Gate, stage=scene.fit), "notes": first(CardNote),
            "needs": need.pk, "draws": drawn.pk,
            "estimates": draft.pk, "estimate-lines": draft.lines.first().pk, "go-aheads": first(GoAhead),
            "customer-links": link.pk, "replies": answered.pk,
            "invoices": bill.pk, "issued-invoices": paid.pk, "deposits": asked.pk, "reminders": letter.pk,
            "disputes": dispute.pk, "statements": scene.card.customer_id,
            "invoice-lines": bill.lines.first().pk,
            "payments": invoices.pay(owner, paid, "20").pk, "allocations": first(Allocation),
        }  # fmt: skip
        self.ids |= reordering(owner) | old_parts(owner)
        self.ids["month-closings"] = books.close_month(by=owner, month=clock.today() - timedelta(days=62)).pk
        self.ids["sublet-bills"] = sublet.bill(owner, sublet.stage(owner)).pk
        self.ids["trays"] = draws.put_in_tray(scene.fit.pk, by=owner, number="12").pk
        self.ids["balances"] = self.ids["customers"]
        self.ids["card-outcomes"] = self.ids["cards"]
        self.alerts = alerting(catalogue_parts.part(stores, "FLT-400"), [scene.fit], stores)
        self.lists = {name: first(DailyList, person=person) for name, person in cast.items()}

    def here(self, place: str, actor: str) -> Any:
        """The id of one at this place that the actor may see, where that depends on whose it is."""
        if place == "tokens":
            return self.tokens.get(actor, self.tokens["mechanic"])
        if place == "time-bookings":
            return self.bookings["mechanic" if actor in ("mechanic", "pin") else "owner"]
        if place == "attendances":
            return self.attendances["mechanic" if actor in ("mechanic", "pin") else "owner"]
        if place == "imports":
            return self.runs.get(actor, self.runs["owner"])
        if place in ("alerts", "alert-lists"):
            who = {"pin": "mechanic", "anonymous": "owner"}.get(actor, actor)
            return self.alerts if place == "alerts" else self.lists[who]
        return self.ids[place]

    def client(self, actor: str) -> Client:
        client = Client(raise_request_exception=False)
        if actor != "anonymous":
            client.force_login(self.people[actor])
        if actor == "pin":
            session = client.session
            session.update({BY_PIN: True, TABLET: first(Tablet), SEEN: clock.now().timestamp()})
            session.save()
        return client

    def rights(self, actor: str) -> frozenset[str]:
        if actor == "anonymous":
            return frozenset()
        person = self.people[actor]
        person = Person.objects.get(pk=person.pk)
        person.by_pin = actor == "pin"
        return person.rights
