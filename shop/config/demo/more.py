"""What belongs to the parts of the invented shop: barcodes, packages, replacements, alternatives,
price rules, kits, paper for labels."""

from __future__ import annotations

from decimal import Decimal

from inventory.labels import actions as labels
from inventory.labels import papers
from inventory.parts import actions as parts
from inventory.parts.models import Part
from shop.people.models import Person

# GS1 keeps prefixes 952 free for examples: no real article has these numbers
BARCODES = (
    ("GKT-041", "9520041000414", "Brindlecote Spares Depot"), ("GKT-041", "GS-B2-HG-12", "Gullhaven Seals"),
    ("GKT-042", "9520041000421", ""), ("GKT-050", "9520041000506", "Brindlecote Spares Depot"),
    ("RNG-301", "9520041003019", ""), ("FIL-612", "9520041006126", ""), ("FAS-706", "9520041007062", ""),
    ("CON-801", "9520041008014", "Marram Lubricants"), ("CON-802", "9520041008021", "Marram Lubricants"),
)  # fmt: skip

# old number, name, what came after it, whether the old does for the new, what to mind
REPLACED = (
    (
        "GKT-040",
        "Cylinder head gasket, B2, fibre",
        "GKT-041",
        False,
        "The fibre gasket settles: never on a skimmed head.",
    ),
    ("GKT-038", "Cylinder head gasket, B2, first make", "GKT-040", False, ""),
    ("FIL-602", "Oil filter, B2, short can", "FIL-612", True, "Longer can; check the clearance to the mount."),
)
ALTERNATIVES = (
    ("BRG-421", "BRG-411", "Open on both sides; pack it with grease."),
    ("SEA-206", "SEA-207", "Only where 7.5 mm bore is right."),
)


# number, kind (UN/ECE Recommendation 21 with an X in front), content, its unit
PACKAGES = (
    ("CON-801", "XTU", "70", "MLT"), ("CON-802", "XTU", "50", "MLT"), ("CON-803", "XBO", "50", "MLT"),
    ("CON-804", "XBO", "400", "MLT"), ("OIL-811", "XDR", "60", "LTR"), ("OIL-811", "XJY", "20", "LTR"),
    ("CLN-821", "XCI", "5000", "MLT"), ("FAS-704", "XBX", "100", "C62"), ("FAS-706", "XBX", "200", "C62"),
    ("SEA-204", "XBG", "50", "C62"), ("SEA-204", "XBG", "10", "C62"),
)  # fmt: skip

# name, kind, class of customer, cost from, below, markup in percent, step
RULES = (
    ("Small parts", "", "", "0", "2", "180", "0.01"), ("Parts from 2 euro", "", "", "2", "20", "95", "0.05"),
    ("Parts from 20 euro", "", "", "20", "100", "70", "0.10"), ("Dear parts", "", "", "100", None, "45", "0.50"),
    ("Gaskets", "gasket", "", "0", None, "90", "0.10"), ("By measure", "measured", "", "0", None, "100", "0.01"),
    ("Trade, parts from 20 euro", "", "trade", "20", None, "40", "0.10"),
)  # fmt: skip
# kit, what is in it and how much
KITS = (
    (
        "GKT-050",
        (("GKT-041", "1"), ("GKT-042", "1"), ("GKT-043", "1"), ("GKT-044", "1"), ("SEA-203", "4"), ("SEA-207", "2")),
    ),
)
BY_RULE = ("PMP-603", "BRG-404", "GKT-112", "SUN-832", "FAS-707", "LIN-341")  # priced by the rules

PAPERS = ("A4, 3 × 8", "A4, 2 × 7", "Roll 62 × 29")


def lay(*, owner: Person, by: Person) -> None:
    for name, kind, customer_class, low, high, markup, step in RULES:
        parts.add_price_rule(
            by=owner, name=name, kind=kind, customer_class=customer_class, cost_from=Decimal(low),
            cost_below=Decimal(high) if high else None, markup_percent=Decimal(markup), step=Decimal(step),
        )  # fmt: skip
    known = dict(Part.objects.values_list("number", "pk"))
    for name in PAPERS:
        like = papers.PRESETS[name]
        values = {n: getattr(like, n) for n in ("is_roll", "rows", "cols", *papers.MEASURES)}
        labels.add_paper(by=by, name=name, **values)
    for number, code, used_by in BARCODES:
        parts.add_barcode(known[number], by=by, code=code, used_by=used_by)
    for number, pack, content, unit in PACKAGES:
        parts.add_package(known[number], by=by, kind=pack, content=Decimal(content), unit=unit)
    for number, name, new, either_way, note in REPLACED:
        kind = "gasket" if number.startswith("GKT") else "component"
        part = parts.add_part(by=by, number=number, name=name, kind=kind, single_use=kind == "gasket")
        known[number] = part.pk
        parts.replace_part(part.pk, by=by, new_part_id=known[new], either_way=either_way, note=note)
    for kit, contents in KITS:
        for number, quantity in contents:
            parts.put_in_kit(known[kit], by=by, part_id=known[number], quantity=Decimal(quantity))
    for number, other, note in ALTERNATIVES:
        parts.add_alternative(known[number], by=by, other_part_id=known[other], note=note)
