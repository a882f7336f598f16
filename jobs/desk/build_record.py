"""The record that is handed over with the machine: what was done by whom, which gates were signed, which lots went in."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from jobs.draws.models import Draw
from jobs.estimates import parties, printing
from shop.business import queries as business
from shop.documents import shapes
from shop.documents.shapes import sheets
from shop.documents.typesetting import typeset
from shop.kernel import clock

from .queries.card import WholeCard
from .sheets import KINDS, signed

CAUTION = {
    "en": "The maker's manual rules on every value, interval and procedure. Check oil, coolant and leaks before the first "
    "start, and again after the first hours.",
    "de": "Für jeden Wert, jede Frist und jedes Vorgehen gilt das Handbuch des Herstellers. Vor dem ersten Start Öl, "
    "Kühlmittel und Dichtheit prüfen und nach den ersten Stunden noch einmal.",
}


def pdf(found: WholeCard) -> bytes:
    """In the customer's language; marked as a draft until the card is finished. Raises what `typeset` raises."""
    card = found.whole.card
    language = parties.language_of(card.customer)
    made = card.handed_over_at or card.finished_at or clock.now()
    return typeset("build_record", record(found, language), language=language, timestamp=made)


def record(found: WholeCard, language: str) -> shapes.BuildRecord:
    card = found.whole.card
    seller = parties.seller(business.profile())
    machine = printing.machine_of(parties.subject(card, language))
    assert machine is not None  # noqa: S101 - a card has a machine
    day = timezone.localdate(card.handed_over_at or card.finished_at or clock.now())
    return shapes.BuildRecord(
        number=card.number,
        date=day,
        business=printing.business_of(seller, language),
        customer=printing.party_of(parties.buyer(card.customer), seller, language),
        machine=machine,
        card_number=card.number,
        work_done=tuple(_stage(s) for s in found.whole.stages if s.finished_at),
        lots=tuple(fitted(Draw.objects.filter(card=card, fitted__gt=0))),
        cautions=(CAUTION.get(language, CAUTION["en"]),),
        mark="" if card.finished_at else "draft",
    )


def _stage(stage: Any) -> sheets.Stage:
    """Without notes: those are the shop's own."""
    return sheets.Stage(
        position=str(stage.position),
        text=stage.name,
        kind=KINDS.get(stage.kind, "other"),
        gates=tuple(
            sheets.Gate(text=g.text, when=g.when, signed=signed(g.signed_by, g.signed_at)) for g in stage.live_gates
        ),
        signed=signed(stage.finished_by, stage.finished_at),
    )


def fitted(draws: QuerySet[Draw]) -> list[sheets.LotFitted]:
    """What is in the machine, by part and lot; what was spent on trial fits or came back is not."""
    rows: dict[tuple[int, int], list[Any]] = {}
    for draw in draws.select_related("part", "movement__lot").order_by("part__number", "id"):
        lot = draw.movement.lot
        rows.setdefault((draw.part_id, lot.pk), [draw.part, lot, Decimal(0)])[2] += draw.fitted
    return [
        sheets.LotFitted(
            number=part.number, text=part.name, qty=quantity, unit=part.unit, lot=lot.batch or lot.number,
            serial=lot.serial_no,
        )
        for part, lot, quantity in rows.values()
    ]  # fmt: skip
