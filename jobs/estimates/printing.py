"""The estimate as a PDF, from its rows alone, so that an issued one always comes out the same."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any, Literal

from django.utils import timezone

from shop.business import queries as business
from shop.documents import shapes
from shop.documents.formatting import Formatter, strings
from shop.documents.typesetting import typeset

from . import outlook, parties, pricing
from .models import Estimate, EstimateLine, LineKind, MoneyDocument, PricedLine
from .queries import answers

SECTIONS: dict[str, shapes.priced.SectionKind] = {
    LineKind.LABOUR: "labour",
    LineKind.PART: "parts",
    LineKind.SUBLET: "sublet",
    LineKind.SUNDRY: "sundries",
    LineKind.FREIGHT: "freight",
    LineKind.STORAGE: "storage",
    LineKind.ENVIRONMENTAL: "environmental",
    LineKind.CORE: "core",
}
KINDS: dict[str, Literal["estimate", "quotation", "additional_work"]] = {
    Estimate.Kind.ESTIMATE: "estimate",
    Estimate.Kind.QUOTATION: "quotation",
    Estimate.Kind.ADDITIONAL: "additional_work",
}
Decision = Literal["", "accepted", "declined", "open", "optional"]
CAUTION = {
    "en": "Prices hold for what could be seen on this day. What the maker's manual and the law ask for comes first.",
    "de": "Die Preise gelten für das, was an diesem Tag zu sehen war. Herstellerhandbuch und Gesetz gehen vor.",
}
EXAMPLE = {
    "en": "Tax and consumer rules differ by country: the rates and terms here are examples, an adviser confirms yours.",
    "de": "Steuer- und Verbraucherrecht sind von Land zu Land verschieden: Sätze und Bedingungen hier sind Beispiele, "
    "die eigenen bestätigt ein Berater.",
}
WORDS = {
    "en": {
        "draft": "Draft",
        "discount": "Discount",
        "discount_on": "Discount on {rate} % VAT",
        "apart": "not on core deposits",
    },
    "de": {
        "draft": "Entwurf",
        "discount": "Rabatt",
        "discount_on": "Rabatt auf {rate} % USt",
        "apart": "nicht auf Altteilpfand",
    },
}


def words(language: str) -> Mapping[str, str]:
    return WORDS.get(language, WORDS["en"])


def said(texts: Mapping[str, str], language: str) -> str:
    return texts.get(language, texts["en"])


def example(seller: dict[str, Any], language: str) -> tuple[str, ...]:
    """Sample data says that its tax rates are no advice."""
    return (said(EXAMPLE, language),) if seller["is_sample"] else ()


def pdf(estimate: Estimate) -> bytes:
    """The document; marked DRAFT until it is issued. Raises what `typeset` raises."""
    return typeset(
        "estimate", shape(estimate), language=estimate.language, timestamp=estimate.issued_at or estimate.created_at
    )


def writer(document: MoneyDocument) -> Formatter:
    """Numbers and days as this document has them."""
    return Formatter(document.language, document.currency)


def file_name(estimate: Estimate) -> str:
    if not estimate.issued_at:
        return f"draft-{estimate.pk}.pdf"
    return f"{estimate.number}-rev{estimate.revision}.pdf" if estimate.revision > 1 else f"{estimate.number}.pdf"


def shape(estimate: Estimate) -> shapes.Estimate:
    lines = list(estimate.lines.select_related("stage__plan_stage"))
    live = states_now(estimate, estimate.card, estimate.card.customer)
    standing = answers(estimate) if estimate.issued_at and estimate.revision > 1 else {}
    decisions: dict[int, Decision] = {}
    for line in lines:
        if line.optional:
            decisions[line.pk] = "optional"
        # what an earlier revision already settled; answers to this one never change its paper
        elif line.pk in standing and standing[line.pk].line not in (None, line.pk):
            decisions[line.pk] = "accepted" if standing[line.pk].accepted else "declined"
    before = None
    if estimate.revision > 1:
        old = Estimate.objects.filter(number=estimate.number, revision=estimate.revision - 1).first()
        if old:
            before = shapes.Reference(number=called(old.number, old.revision, estimate.language), date=old.issued_on)
    return shapes.Estimate(
        kind=KINDS[estimate.kind],
        number=estimate.number or words(estimate.language)["draft"],
        revision=estimate.revision,
        date=estimate.issued_on or timezone.localdate(estimate.created_at),
        currency=estimate.currency,
        business=business_of(live["seller"], estimate.language),
        customer=party_of(live["buyer"], live["seller"], estimate.language),
        sections=sections(lines, writer(estimate), decisions),
        vat=vat_rows(estimate),
        totals=totals_of(estimate),
        allowances=allowances(estimate, lines),
        valid_until=estimate.valid_until,
        replaces=before,
        card_number=live["subject"].get("card", ""),
        contact=live["seller"].get("contact", ""),
        machine=machine_of(live["subject"]),
        complaint=live["subject"].get("complaint", ""),
        notes=tuple(x for x in (estimate.note, live["seller"].get("note", "")) if x),
        cautions=(said(CAUTION, estimate.language), *example(live["seller"], estimate.language)),
        mark="" if estimate.issued_at else "draft",
        range=range_of(estimate, lines),
    )


def range_of(estimate: Estimate, lines: Sequence[EstimateLine]) -> shapes.Range | None:
    """A firm quotation has none: its price is its price."""
    found = outlook.standing(estimate, lines)
    if found is None or estimate.kind == Estimate.Kind.QUOTATION:
        return None
    return shapes.Range(
        likely=found.likely, careful=found.careful, likely_hours=found.likely_hours, careful_hours=found.careful_hours
    )


def states_now(document: MoneyDocument, card: Any, customer: Any) -> dict[str, dict[str, Any]]:
    """Seller, buyer and subject: as frozen, or for a draft as they are at this moment."""
    if document.issued_at:
        return {"seller": document.seller, "buyer": document.buyer, "subject": document.subject}
    return {
        "seller": parties.seller(business.profile()),
        "buyer": parties.buyer(customer),
        "subject": parties.subject(card, document.language),
    }


def business_of(seller: dict[str, Any], language: str) -> shapes.Business:
    return shapes.Business(
        name=seller["name"], address=tuple(seller["address"]), country=parties.country_name(seller["country"], language),
        strapline=seller.get("strapline", ""), phone=seller["phone"], email=seller["email"], website=seller["website"],
        vat_no=seller["vat_no"], registration=seller["registration"],
        bank=shapes.Bank(iban=grouped(seller["iban"]), bic=seller["bic"]) if seller["iban"] else None,
        is_demo=seller["is_sample"],
    )  # fmt: skip


def grouped(iban: str) -> str:
    return " ".join(iban[i : i + 4] for i in range(0, len(iban), 4))


def party_of(buyer: dict[str, Any], seller: dict[str, Any], language: str) -> shapes.Party:
    address = list(buyer["address"])
    if buyer["country"] and buyer["country"] != seller["country"]:
        address.append(parties.country_name(buyer["country"], language))
    return shapes.Party(
        name=buyer["name"], address=tuple(address), contact=buyer["contact"], vat_no=buyer["vat_no"],
        number=buyer["number"], phone=buyer["phone"], email=buyer["email"],
    )  # fmt: skip


def machine_of(subject: dict[str, Any]) -> shapes.Machine | None:
    if not subject:
        return None
    return shapes.Machine(
        name=subject["machine"], serial=subject["serial"], year=subject["year"], meter=subject["meter"]
    )


def sections(
    lines: Sequence[PricedLine],
    write: Formatter,
    decisions: Mapping[int, Decision] | None = None,
    *,
    headed: bool = True,
) -> tuple[shapes.Section, ...]:
    """Lines by kind with the sum of each, optional ones last and not counted. Not `headed`: all of them under no heading."""
    if not headed:
        return (shapes.Section(lines=tuple(_line(x, str(n), write, "") for n, x in enumerate(lines, start=1))),)
    found: list[tuple[shapes.priced.SectionKind, list[PricedLine], bool]] = []
    for kind in LineKind:
        inside = [x for x in lines if x.kind == kind and pricing.is_counted(x)]
        if inside:
            found.append((SECTIONS[kind], inside, True))
    optional = [x for x in lines if not pricing.is_counted(x)]
    if optional:
        found.append(("optional", optional, False))
    return tuple(
        shapes.Section(
            kind=title,
            lines=tuple(
                _line(x, f"{n}.{i}", write, (decisions or {}).get(x.pk, "")) for i, x in enumerate(inside, start=1)
            ),
            net=sum((x.net for x in inside), Decimal(0)),
            counted=counted,
        )
        for n, (title, inside, counted) in enumerate(found, start=1)
    )


def _line(row: PricedLine, position: str, write: Formatter, decision: Decision) -> shapes.Line:
    number, text = row.basis.get("part_number", ""), row.text
    if number and text.startswith(f"{number} "):
        text = text[len(number) + 1 :]
    else:
        number = ""
    return shapes.Line(
        text=text, net=row.net, vat_rate=row.tax_percent, position=position, number=number, detail=row.detail,
        qty=row.quantity, unit=row.unit, unit_price=row.unit_price,
        discount_percent=None,
        discount=pricing.before_discount(row, write.currency) - row.net if row.discount_percent else None,
        discount_reason=discount_of(row, write),
        decision=decision,
    )  # fmt: skip


def discount_of(row: PricedLine, write: Formatter) -> str:
    """A line's discount in words; "" without one."""
    return f"{write.percent(row.discount_percent)} %: {row.discount_reason}" if row.discount_percent else ""


def vat_rows(document: MoneyDocument) -> tuple[shapes.VatRow, ...]:
    return tuple(
        shapes.VatRow(
            rate=Decimal(g["percent"]), taxable=Decimal(g["base"]), vat=Decimal(g["tax"]), category=g["category"],
            reason=g["reason"],
        )
        for g in document.tax_groups
    )  # fmt: skip


def allowances(document: MoneyDocument, lines: Iterable[PricedLine]) -> tuple[shapes.Allowance, ...]:
    """The document's discount, one row for each tax rate it was taken from; told that core deposits among `lines` are apart."""
    if not document.discount_percent:
        return ()
    given = [g for g in document.tax_groups if Decimal(g["discount"])]
    said = words(document.language)
    write = writer(document)
    word = said["discount_on" if len(given) > 1 else "discount"]
    apart = f" ({said['apart']})" if any(x.kind == LineKind.CORE and pricing.is_counted(x) for x in lines) else ""
    return tuple(
        shapes.Allowance(
            text=f"{word.format(rate=write.percent(Decimal(g['percent'])))}: {document.discount_reason}{apart}",
            net=-Decimal(g["discount"]),
            percent=document.discount_percent,
            vat_rate=Decimal(g["percent"]),
        )
        for g in given
    )


def totals_of(document: MoneyDocument) -> shapes.Totals:
    return shapes.Totals(
        net=document.total_net, vat=document.total_tax, gross=document.total_gross,
        due=document.total_gross + document.rounding, rounding=document.rounding or None,
    )  # fmt: skip


def called(number: str, revision: int, language: str) -> str:
    """A number with its revision, in the document's language."""
    return number if revision == 1 else f"{number} {strings(language)['revision'].format(n=revision)}"
