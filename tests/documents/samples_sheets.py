"""Invented letters, bench sheets and labels of Saltmarsh Engine Works."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal

from shop.documents import shapes as sh
from tests.documents.samples import BUSINESS, CUSTOMER, MACHINE, line

SUPPLIER = sh.Party(name="Tern & Daughter Marine Spares", address=("Ropewalk 12", "4X80 Gannet Haven"), number="88-SEW")
SIGNED = sh.Signature(by="Una Kerr", at=datetime(2026, 3, 20, 15, 40, tzinfo=UTC))

STAGES = (
    sh.Stage(
        position="1",
        text="Strip cylinder head and pistons",
        kind="strip",
        hours=Decimal("3.5"),
        assigned="Una Kerr",
        detail="Mark pistons and rods by cylinder. Photograph before lifting.",
        gates=(
            sh.Gate(text="Fuel isolated, battery off", when="start"),
            sh.Gate(text="Ports covered", when="finish"),
        ),
    ),
    sh.Stage(
        position="2",
        text="Measure bores, pistons and rings",
        kind="measure",
        hours=Decimal("1.25"),
        after="1",
        gates=(sh.Gate(text="Readings entered and decided"),),
    ),
    sh.Stage(
        position="3",
        text="Crack test of cylinder head",
        kind="sublet",
        after="1",
        hold="sublet work, back 24 March",
    ),
    sh.Stage(
        position="4",
        text="Assemble pistons, rings and head",
        kind="assemble",
        hours=Decimal("4.75"),
        after="2, 3",
        gates=(
            sh.Gate(text="Bores oiled, ring gaps staggered", when="finish"),
            sh.Gate(text="New circlips fitted and seated", when="finish"),
            sh.Gate(text="Head tightened in three passes, sheet signed", when="finish"),
        ),
    ),
    sh.Stage(
        position="5",
        text="Set valve clearances, run in on the bench",
        kind="test",
        hours=Decimal("2.5"),
        after="4",
    ),
)
NEEDED = (
    sh.PartNeeded(number="RNG-B2-STD", text="Piston ring set, standard bore", qty=Decimal(2), unit="H87", bin="A2"),
    sh.PartNeeded(
        number="GKT-041",
        text="Cylinder head gasket 1.2 mm",
        qty=Decimal(1),
        unit="H87",
        bin="A3",
        stage="4",
        single_use=True,
    ),
    sh.PartNeeded(
        number="CIR-22",
        text="Gudgeon pin circlip 22 mm",
        qty=Decimal(4),
        unit="H87",
        bin="B1-04",
        stage="4",
        single_use=True,
    ),
    sh.PartNeeded(number="SLT-70", text="Liquid sealant", qty=Decimal("12.5"), unit="MLT", bin="C1", drawn=Decimal(4)),
)


def job_card(stages: int = 5, parts: int = 4, **more) -> sh.JobCard:
    base = sh.JobCard(
        number="26-0031",
        code="JC-26-0031",
        printed_at=datetime(2026, 3, 18, 7, 45, tzinfo=UTC),
        business=BUSINESS,
        customer=replace(CUSTOMER, phone="+353 00 555 0199"),
        machine=MACHINE,
        stages=tuple(STAGES[i % len(STAGES)] for i in range(stages)),
        parts=tuple(NEEDED[i % len(NEEDED)] for i in range(parts)),
        booked=date(2026, 3, 10),
        promised=date(2026, 4, 1),
        waits_for="sublet work",
        complaint="Loses power when warm, blue smoke at idle, uses a litre of oil in ten hours.",
        came_with="Exhaust elbow, tool roll. Tank a third full.",
        go_ahead="All lines but the pump, by phone, 14 March",
        cautions=("Cylinder head 38 kg: use the hoist. Tightening by the maker's manual, not from memory.",),
        notes=("Owner wants the old rings back.",),
    )
    return replace(base, **more)


def build_record(rows: int = 6, **more) -> sh.BuildRecord:
    done = tuple(
        replace(s, hold="", signed=SIGNED, gates=tuple(replace(g, signed=SIGNED) for g in s.gates), hours=None)
        for s in STAGES
    )
    readings = (
        sh.Reading(
            feature="Cylinder 1 bore, top, across",
            value="86.031 mm",
            limit="86.000–86.050 mm",
            limit_source="Maker's manual 4.2",
            instrument="Bore gauge BG-2",
            verdict="within",
        ),
        sh.Reading(
            feature="Cylinder 2 bore, top, along",
            value="86.049 mm",
            limit="86.000–86.050 mm",
            limit_source="Maker's manual 4.2",
            instrument="Bore gauge BG-2",
            verdict="uncertain",
            decision="refit",
        ),
        sh.Reading(
            feature="Ring gap, top ring",
            value="0.92 mm",
            limit="0.30–0.60 mm",
            limit_source="Maker's manual 4.3",
            instrument="Feeler FG-1",
            verdict="outside",
            decision="renew",
        ),
    )
    passes = (
        sh.TighteningPass(
            joint="Cylinder head",
            step="1",
            setting="40 Nm",
            reached="40 Nm",
            fasteners="10 × M12, from the middle out",
            lubrication="oiled",
            tool="TW-3",
            by="Una Kerr",
        ),
        sh.TighteningPass(
            joint="Cylinder head",
            step="2",
            setting="75 Nm",
            reached="75 Nm",
            lubrication="oiled",
            tool="TW-3",
            by="Una Kerr",
        ),
        sh.TighteningPass(
            joint="Cylinder head",
            step="3",
            setting="90°",
            reached="90°",
            lubrication="oiled",
            tool="AG-1",
            by="Una Kerr",
        ),
    )
    lots = (
        sh.LotFitted(
            number="GKT-041",
            text="Cylinder head gasket 1.2 mm",
            qty=Decimal(1),
            unit="H87",
            lot="L-0412",
            supplier="Tern & Daughter",
        ),
        sh.LotFitted(
            number="SLT-70",
            text="Liquid sealant",
            qty=Decimal("12.5"),
            unit="MLT",
            lot="L-0398",
            supplier="Tern & Daughter",
        ),
    )
    base = sh.BuildRecord(
        number="BR-26-0031",
        date=date(2026, 4, 1),
        business=BUSINESS,
        customer=CUSTOMER,
        machine=MACHINE,
        card_number="26-0031",
        work_done=done,
        readings=tuple(readings[i % 3] for i in range(rows)),
        tightening=passes,
        lots=tuple(lots[i % 2] for i in range(rows)),
        final_checks=(
            sh.Gate(text="No leaks after 30 min at load", signed=SIGNED),
            sh.Gate(text="Oil pressure warm, idle"),
        ),
        running_in=("First ten hours at no more than three quarters of full speed; then change oil and filter.",),
        cautions=("Retighten the head only if the maker's manual asks for it, and cold.",),
        warranty="Twelve months on the work named here, six on parts that move. Statutory rights stay as they are.",
        warranty_from=date(2026, 4, 1),
        warranty_until=date(2027, 3, 31),
        released=SIGNED,
    )
    return replace(base, **more)


def picking_list(rows: int = 4, **more) -> sh.PickingList:
    some = (
        sh.PickLine(
            number="RNG-B2-STD",
            text="Piston ring set, standard bore",
            qty=Decimal(2),
            unit="H87",
            bin="A2",
            lot="L-0401",
        ),
        sh.PickLine(
            number="GKT-041",
            text="Cylinder head gasket 1.2 mm",
            qty=Decimal(1),
            unit="H87",
            bin="A3",
            lot="L-0412",
            stage="4",
            tray="12",
        ),
        sh.PickLine(
            number="SLT-70",
            text="Liquid sealant",
            qty=Decimal("12.5"),
            unit="MLT",
            bin="C1",
            lot="L-0398",
            expires=date(2026, 8, 31),
            caution="gloves; see its data sheet",
        ),
    )
    base = sh.PickingList(
        number="PL-0077",
        code="PL-0077",
        printed_at=datetime(2026, 3, 18, 7, 50, tzinfo=UTC),
        business=BUSINESS,
        card_number="26-0031",
        lines=tuple(some[i % 3] for i in range(rows)),
        machine=MACHINE,
        customer="Maren Oyster Fishery Ltd",
        needed_by=date(2026, 3, 20),
        tray="12",
    )
    return replace(base, **more)


def purchase_order(rows: int = 3, **more) -> sh.PurchaseOrder:
    lines = tuple(
        line(
            str(i + 1),
            "Cylinder head gasket 1.2 mm",
            "3",
            "H87",
            "22.10",
            "23",
            number="TD-99041",
            detail="ours: GKT-041",
        )
        for i in range(rows)
    )
    base = sh.PurchaseOrder(
        number="PO-26-0044",
        date=date(2026, 3, 13),
        currency="EUR",
        business=BUSINESS,
        supplier=SUPPLIER,
        lines=tuple(replace(ln, vat_rate=None) for ln in lines),
        total=sum((ln.net for ln in lines), Decimal(0)),
        deliver_to=("Saltmarsh Engine Works", "Old Slipway 3, slip side"),
        wanted_by=date(2026, 3, 19),
        contact="Orla Finn",
        notes=("Please put our order number on the parcel.",),
    )
    return replace(base, **more)


def statement(rows: int = 5, **more) -> sh.Statement:
    entries, balance = [], Decimal("120.00")
    for i in range(rows):
        if i % 2:
            balance -= Decimal("200.00")
            entries.append(
                sh.AccountEntry(
                    date=date(2026, 2, 1 + i % 28),
                    text="Payment, thank you",
                    credit=Decimal("200.00"),
                    balance=balance,
                )
            )
        else:
            balance += Decimal("431.25")
            entries.append(
                sh.AccountEntry(
                    date=date(2026, 2, 1 + i % 28),
                    number=f"26-{i:05}",
                    text="Invoice, job card 26-0031",
                    debit=Decimal("431.25"),
                    balance=balance,
                )
            )
    base = sh.Statement(
        date=date(2026, 3, 1),
        currency="EUR",
        business=BUSINESS,
        customer=CUSTOMER,
        period_from=date(2026, 2, 1),
        period_to=date(2026, 2, 28),
        opening=Decimal("120.00"),
        closing=balance,
        entries=tuple(entries),
        ages=(
            sh.AgeBand(label="not yet due", amount=Decimal("431.25")),
            sh.AgeBand(label="1–30 days", amount=balance - Decimal("431.25")),
        ),
    )
    return replace(base, **more)


def reminder(level: int = 1, rows: int = 2, **more) -> sh.Reminder:
    invoices = tuple(
        sh.OpenInvoice(
            number=f"26-{i:05}",
            date=date(2026, 1, 10),
            due_date=date(2026, 2, 9),
            gross=Decimal("531.25"),
            paid=Decimal("100.00"),
            open=Decimal("431.25"),
            days_late=31,
            interest=Decimal("3.66") if level > 1 else None,
            interest_rate=Decimal("10") if level > 1 else None,
        )
        for i in range(rows)
    )
    total = sum((i.open for i in invoices), Decimal(0))
    interest = sum((i.interest or Decimal(0) for i in invoices), Decimal(0))
    fee = Decimal("5.00") if level > 1 else None
    base = sh.Reminder(
        level=level,
        number=f"R-26-000{level}",
        date=date(2026, 3, 12),
        currency="EUR",
        business=BUSINESS,
        customer=CUSTOMER,
        invoices=invoices,
        open_total=total,
        interest_total=interest or None,
        fee=fee,
        total=total + interest + (fee or 0),
        pay_by=date(2026, 3, 26),
        payment_reference="C-0117",
    )
    return replace(base, **more)


def labels(count: int = 24, roll: sh.Roll | None = None, **more) -> sh.Labels:
    made = []
    for i in range(count):
        kind = i % 3
        if kind == 0:
            made.append(sh.Label(title=f"A{i + 1}-04", code=f"BIN-A{i + 1}-04", text="Rack A, by the door"))
        elif kind == 1:
            made.append(
                sh.Label(
                    title=f"GKT-{i:03}",
                    code=f"PART-GKT-{i:03}",
                    text="Cylinder head gasket 1.2 mm",
                    detail="Brindlecote B2",
                )
            )
        else:
            made.append(
                sh.Label(
                    title=f"L-{i:04}",
                    code=f"LOT-{i:04}",
                    text="Liquid sealant 70 ml",
                    detail="use by 31 Aug 2026",
                    caution="skin and eyes: gloves",
                )
            )
    sheet = None if roll else sh.Sheet(rows=8, cols=3, top="12.9", left="7", gap_x="2.5")
    return replace(sh.Labels(labels=tuple(made), sheet=sheet, roll=roll), **more)
