"""The card on paper for the bench."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from django.utils import timezone

from inventory.stock import queries as shelf
from jobs.cards import queries as cards
from jobs.cards.models import JobCard
from jobs.cards.state import StageState
from jobs.draws.lines import PartLine
from jobs.draws.picking import Pick, picking_list
from jobs.draws.templatetags.draws import told
from jobs.estimates import parties, printing
from shop.business import queries as business
from shop.documents import shapes
from shop.documents.shapes import sheets
from shop.documents.typesetting import typeset
from shop.kernel import clock

from .codes import card_code
from .queries.card import WholeCard

SENTENCES = re.compile(r"(?<=[.!?])\s+")
LANGUAGE = "en"  # the shop's own paper, not the customer's
KINDS: dict[str, sheets.StageKind] = {
    "strip": "strip", "clean": "clean", "measure": "measure", "rework": "rework", "sublet": "sublet",
    "assemble": "assemble", "fit": "fit", "test": "test",
}  # fmt: skip


def pdf(found: WholeCard) -> bytes:
    """The bench sheet as PDF, with a QR code that opens the card. Raises what `typeset` raises."""
    return typeset("job_card", job_card(found), language=LANGUAGE, timestamp=clock.now())


def job_card(found: WholeCard) -> shapes.JobCard:
    whole, card = found.whole, found.whole.card
    seller = parties.seller(business.profile())
    machine = printing.machine_of(parties.subject(card, LANGUAGE))
    bins = shelf.bins_by_part({p.part.pk for p in found.parts}, card.site_id)
    assert machine is not None  # noqa: S101 - a card has a machine
    return shapes.JobCard(
        number=card.number,
        code=card_code(card.number),
        printed_at=clock.now(),
        business=printing.business_of(seller, LANGUAGE),
        customer=printing.party_of(parties.buyer(card.customer), seller, LANGUAGE),
        machine=machine,
        stages=tuple(_stage(s) for s in whole.stages),
        promised=card.promised_on,
        booked=timezone.localdate(card.arrived_at or card.opened_at),
        waits_for=whole.standing.waits.what,
        complaint=card.complaint,
        came_with=card.came_with,
        go_ahead=_go_ahead(whole.stages),
        parts=tuple(_part(p, bins.get(p.part.pk, [])) for p in found.parts if p.need and not p.declined),
        cautions=_cautions(s.cautions for s in whole.stages),
        notes=tuple(f"{n.text} ({n.by.name})" for n in whole.notes[:12]),
    )


def _cautions(of_stages: Iterable[str]) -> tuple[str, ...]:
    """By stage, each sentence once, though several stages (or the plan and a stage) say it."""
    said: set[str] = set()
    found = []
    for text in of_stages:
        for line in text.splitlines():
            new = [s for s in dict.fromkeys(SENTENCES.split(line.strip())) if s and s not in said]
            said.update(new)
            if new:
                found.append(" ".join(new))
    return tuple(found)


def _stage(stage: Any) -> sheets.Stage:
    held = cards.stage_words(stage) if cards.stage_state(stage) is StageState.HELD else ""
    return sheets.Stage(
        position=str(stage.position),
        text=stage.name,
        kind=KINDS.get(stage.kind, "other"),
        detail=stage.instructions,
        hours=stage.standard_hours or None,
        after=", ".join(str(s.position) for s in stage.all_after if s.removed_at is None),
        assigned=stage.mechanic.name if stage.mechanic else "",
        hold=held,
        gates=tuple(
            sheets.Gate(text=g.text, when=g.when, signed=signed(g.signed_by, g.signed_at)) for g in stage.live_gates
        ),
        signed=signed(stage.finished_by, stage.finished_at),
    )


def signed(by: Any, at: Any) -> sheets.Signature | None:
    return sheets.Signature(by=by.name, at=at) if by and at else None


def _go_ahead(stages: list[Any]) -> str:
    given = dict.fromkeys(s.go_ahead_ref for s in stages if s.go_ahead_at and s.go_ahead_ref)
    return "; ".join(given)


def _part(line: PartLine, bins: list[str]) -> sheets.PartNeeded:
    return sheets.PartNeeded(
        number=line.part.number,
        text=line.part.name,
        qty=line.in_all,
        unit=line.part.unit,
        bin=", ".join(bins[:2]),
        stage=str(line.stage.position),
        drawn=line.drawn or None,
        single_use=line.part.single_use,
    )


def picking_pdf(card: JobCard) -> bytes:
    """The picking list as PDF, with a QR code that opens the card. Raises what `typeset` raises."""
    return typeset("picking_list", picking(card), language=LANGUAGE, timestamp=clock.now())


def picking(card: JobCard) -> shapes.PickingList:
    found = picking_list(card)
    return shapes.PickingList(
        number=card.number,
        code=card_code(card.number),
        printed_at=clock.now(),
        business=printing.business_of(parties.seller(business.profile()), LANGUAGE),
        card_number=card.number,
        lines=tuple(_pick(p) for p in found.picks),
        machine=printing.machine_of(parties.subject(card, LANGUAGE)),
        customer=card.customer.name,
        needed_by=card.promised_on,
        notes=tuple(
            f"Not on the shelf: {told(x.supply, x.part)}, {x.part.number} {x.part.name}, stage {x.stage.position}"
            for x in found.lacking
            if x.supply
        )
        + tuple(
            f"Waits for the go-ahead: {x.part.number} {x.part.name}, stage {x.stage.position}" for x in found.waiting
        ),
    )


def _pick(pick: Pick) -> sheets.PickLine:
    return sheets.PickLine(
        number=pick.part.number,
        text=pick.part.name,
        qty=pick.quantity,
        unit=pick.part.unit,
        bin=pick.bin,
        lot=pick.lot,
        expires=pick.use_by,
        stage=str(pick.stage.position),
        tray=", ".join(use.called for use in pick.trays),
        caution="Hazardous: see its data sheet" if pick.part.hazards else "",
    )
