"""Invented documents of Saltmarsh Engine Works, of any number of lines. Sums are added here as the callers
would.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import ROUND_HALF_UP, Decimal

from shop.documents import shapes as sh

AT = datetime(2026, 3, 12, 9, 30, tzinfo=UTC)
CENT = Decimal("0.01")

BUSINESS = sh.Business(
    name="Saltmarsh Engine Works",
    address=("Old Slipway 3", "4X71 Saltmarsh Quay"),
    country="Ireland",
    strapline="Marine diesels, pump engines and generator sets rebuilt since the tide came in",
    phone="+353 00 555 0142",
    email="office@saltmarsh.example",
    website="saltmarsh.example",
    vat_no="IE 0000000X",
    registration="Reg. no. 000000, Saltmarsh",
    bank=sh.Bank(iban="IE00 SALT 0000 0000 0000 00", bic="SALTIE00", name="Saltmarsh Savings"),
    is_demo=True,
)
CUSTOMER = sh.Party(
    name="Maren Oyster Fishery Ltd",
    contact="Niamh Tolan",
    address=("The Boathouse, East Pier", "4X72 Lower Saltmarsh"),
    number="C-0117",
    vat_no="IE 1111111Y",
)
MACHINE = sh.Machine(name="Brindlecote B2, two-cylinder marine diesel", serial="B2-04417", year="1998", meter="6,412 h")

LABOUR = (
    ("Strip cylinder head and pistons", "3.5", "68.00", "Ports covered; condition photographed"),
    ("Measure bores, pistons and rings", "1.25", "68.00", ""),
    ("Hone both bores, wash and oil", "2", "74.00", ""),
    (
        "Assemble pistons, rings and head",
        "4.75",
        "68.00",
        "Ring gaps staggered, new circlips, head tightened in three passes",
    ),
    ("Set valve clearances, run in on the bench", "2.5", "68.00", ""),
)
PARTS = (
    ("RNG-B2-STD", "Piston ring set, standard bore", "2", "H87", "86.40"),
    ("GKT-041", "Cylinder head gasket 1.2 mm", "1", "H87", "41.75"),
    ("CIR-22", "Gudgeon pin circlip 22 mm", "4", "H87", "1.15"),
    ("SLT-70", "Liquid sealant, from a 70 ml tube", "12", "MLT", "0.2857"),
    ("OIL-1540", "Engine oil 15W-40", "6.5", "LTR", "7.90"),
)


def line(pos: str, text: str, qty: str, unit: str, price: str, rate: str, **more) -> sh.Line:
    net = (Decimal(qty) * Decimal(price)).quantize(CENT, ROUND_HALF_UP)
    return sh.Line(
        position=pos,
        text=text,
        qty=Decimal(qty),
        unit=unit,
        unit_price=Decimal(price),
        vat_rate=Decimal(rate),
        net=net,
        **more,
    )


def sections(count: int) -> tuple[sh.Section, ...]:
    """`count` lines spread over labour, parts, sublet and sundries."""
    groups: list[list[sh.Line]] = [[], [], [], []]
    for i in range(count):
        kind = (0, 1, 0, 1, 0, 1, 0, 1, 2, 0, 1, 3)[i % 12]
        if kind == 0:
            text, hours, rate, detail = LABOUR[i // 2 % len(LABOUR)]
            groups[0].append(line("", text, hours, "HUR", rate, "13.5", detail=detail))
        elif kind == 1:
            number, text, qty, unit, price = PARTS[i // 2 % len(PARTS)]
            groups[1].append(line("", text, qty, unit, price, "23", number=number))
        elif kind == 2:
            groups[2].append(line("", "Crack test of cylinder head, sent out", "1", "LS", "118.00", "23"))
        else:
            groups[3].append(line("", "Rags, hand cleaner, small fixings", "1", "LS", "14.50", "23"))
    out = []
    for n, (kind, lines) in enumerate(zip(("labour", "parts", "sublet", "sundries"), groups, strict=True), 1):
        if lines:
            numbered = tuple(sh.Line(**{**vars(ln), "position": f"{n}.{i}"}) for i, ln in enumerate(lines, 1))
            out.append(sh.Section(kind=kind, lines=numbered, net=sum((ln.net for ln in lines), Decimal(0))))
    return tuple(out)


def sums(secs) -> tuple[tuple[sh.VatRow, ...], sh.Totals]:
    taxable: dict[Decimal, Decimal] = defaultdict(Decimal)
    for sec in secs:
        for ln in sec.lines:
            taxable[ln.vat_rate] += ln.net
    rows = tuple(
        sh.VatRow(rate=r, taxable=t, vat=(t * r / 100).quantize(CENT, ROUND_HALF_UP))
        for r, t in sorted(taxable.items())
    )
    net, vat = sum(taxable.values(), Decimal(0)), sum((r.vat for r in rows), Decimal(0))
    return rows, sh.Totals(net=net, vat=vat, gross=net + vat, due=net + vat)


def estimate(count: int = 12, **more) -> sh.Estimate:
    secs = sections(count)
    vat, totals = sums(secs)
    base = sh.Estimate(
        kind="estimate",
        number="E-26-0031",
        date=date(2026, 3, 12),
        currency="EUR",
        business=BUSINESS,
        customer=CUSTOMER,
        sections=secs,
        vat=vat,
        totals=totals,
        valid_until=date(2026, 4, 11),
        card_number="26-0031",
        machine=MACHINE,
        contact="Orla Finn",
        complaint="Loses power when warm, blue smoke at idle, uses a litre of oil in ten hours.",
        cautions=("Prices hold for what can be seen today. Limits are those of the maker's manual.",),
        terms="Our terms of work apply; ask for a copy. Figures and rates are examples.",
    )
    return replace(base, **more)


def invoice(count: int = 12, **more) -> sh.Invoice:
    secs = sections(count)
    vat, totals = sums(secs)
    base = sh.Invoice(
        number="26-00017",
        date=date(2026, 4, 2),
        currency="EUR",
        business=BUSINESS,
        customer=CUSTOMER,
        sections=secs,
        vat=vat,
        totals=totals,
        card_number="26-0031",
        machine=MACHINE,
        supplied_on=date(2026, 4, 1),
        due_date=date(2026, 5, 2),
        customer_reference="PO 5512",
        contact="Orla Finn",
        estimate=sh.Reference(number="E-26-0031", date=date(2026, 3, 12)),
        payment_terms="Payable within 30 days without deduction.",
        payment_reference="26-00017",
    )
    return replace(base, **more)
