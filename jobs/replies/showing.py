"""An estimate as its customer sees it by a link: text in the document's language, from what was issued."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from jobs.estimates import printing
from jobs.estimates import showing as estimates
from jobs.estimates.models import Estimate, EstimateLine
from shop.documents.formatting import Formatter, strings
from shop.kernel.money import Money, format_money

from . import wording as texts


@dataclass(frozen=True)
class Line:
    pk: int
    text: str
    detail: str
    quantity: str
    net: str
    notes: tuple[str, ...]
    said: str
    """What was said to it, in words; "" while it is open."""
    chosen: str
    """yes, no or open: what a page sent back with a mistake had."""
    asked: bool = True
    """Not for a charge, which goes with its part."""


@dataclass(frozen=True)
class Section:
    title: str
    lines: tuple[Line, ...]


def called(estimate: Estimate) -> str:
    return printing.called(estimate.number, estimate.revision, estimate.language)


def title(estimate: Estimate) -> str:
    return str(strings(estimate.language)["kinds"][printing.KINDS[estimate.kind]]["title"])


def money(amount: Decimal, estimate: Estimate) -> str:
    """With the minus of the document."""
    return format_money(Money(amount, estimate.currency), strings(estimate.language)["locale"]).replace("-", "\u2212")


def moment(at: datetime, estimate: Estimate) -> str:
    return Formatter(estimate.language, estimate.currency).moment(at)


def statement(estimate: Estimate) -> str:
    """What the customer says with a yes."""
    said = texts.words(estimate.language)[f"statement-{estimate.kind}"]
    return said.format(shop=estimate.seller["name"], title=title(estimate), number=called(estimate))


def wording(estimate: Estimate, lines: Sequence[EstimateLine], answers: Mapping[int, bool]) -> dict[str, Any]:
    """What was shown and asked, and each answered line with its word, as it is kept."""
    words = texts.words(estimate.language)
    return {
        "language": estimate.language,
        "title": f"{title(estimate)} {called(estimate)}",
        "kind": words[f"kind-{estimate.kind}"],
        "statement": statement(estimate),
        "told": [words["kept"], words["rights"]],
        "currency": estimate.currency,
        "total_gross": str(estimate.total_gross),
        "lines": [
            {
                "line_id": x.pk, "text": x.text, "detail": x.detail, "quantity": f"{x.quantity.normalize():f}", "unit": x.unit,
                "net": str(x.net), "accepted": answers[x.pk],
            }
            for x in lines
            if x.pk in answers
        ],
    }  # fmt: skip


def sections(
    estimate: Estimate,
    lines: Sequence[EstimateLine],
    said: Mapping[int, str],
    before: Mapping[int, str],
    chosen: Mapping[int, str],
) -> list[Section]:
    """Lines by kind, in the order and under the titles of the document."""
    text, form = strings(estimate.language), Formatter(estimate.language, estimate.currency)
    words = texts.words(estimate.language)

    def line(row: EstimateLine) -> Line:
        notes = [words["firm"]] if row.pricing == EstimateLine.Pricing.FIXED and estimate.kind == "estimate" else []
        notes += [off] if (off := printing.discount_of(row, form)) else []
        notes += [words["optional"]] if row.optional else []
        notes += [words["with-part"]] if row.accompanies_id else []
        notes += [words[f"before-{before[row.pk]}"]] if row.pk in before and said.get(row.pk, "open") == "open" else []
        word = said.get(row.pk, "open")
        return Line(
            row.pk, row.text, row.detail, f"{form.quantity(row.quantity)} {text['units'].get(row.unit, row.unit)}",
            money(row.net, estimate), tuple(notes), "" if word == "open" else words[word], chosen.get(row.pk, "open"), row.accompanies_id is None,
        )  # fmt: skip

    printed = printing.sections(lines, form)
    shown = estimates.sections(lines, estimate.currency)
    return [
        Section(text["sections"][paper.kind], tuple(line(row.line) for row in group.rows))
        for paper, group in zip(printed, shown, strict=True)
    ]


def totals(estimate: Estimate, lines: Sequence[EstimateLine]) -> list[tuple[str, str, bool]]:
    """(label, amount, whether it is the sum), as on the document."""
    text, form = strings(estimate.language), Formatter(estimate.language, estimate.currency)
    found = [(a.text, money(a.net, estimate), False) for a in printing.allowances(estimate, lines)]
    found.append((text["net_total"], money(estimate.total_net, estimate), False))
    for group in estimate.tax_groups:
        rate = text["percent"].format(n=form.percent(Decimal(group["percent"])))
        why = text["vat_categories"].get(group["category"], "")
        found.append(
            (f"{text['vat']} {rate}" + (f", {why}" if why else ""), money(Decimal(group["tax"]), estimate), False)
        )
    return [*found, (text["total"], money(estimate.total_gross, estimate), True)]


def document(estimate: Estimate, lines: Sequence[EstimateLine]) -> dict[str, Any]:
    """What stands above and below the lines."""
    text, form = strings(estimate.language), Formatter(estimate.language, estimate.currency)
    words, subject = texts.words(estimate.language), estimate.subject
    spread = printing.range_of(estimate, lines)
    facts = [
        (words["for"], estimate.buyer["name"]),
        (words["machine"], subject.get("machine", "")),
        (text["serial"], subject.get("serial", "")),
        (text["job_card"], subject.get("card", "")),
        (text["date"], form.day(estimate.issued_on) if estimate.issued_on else ""),
        (text["valid_until"], form.day(estimate.valid_until) if estimate.valid_until else ""),
    ]
    return {
        "title": title(estimate),
        "number": called(estimate),
        "facts": [(label, value) for label, value in facts if value],
        "complaint": (text["complaint"], subject.get("complaint", "")),
        "intro": text["kinds"][printing.KINDS[estimate.kind]]["intro"],
        "kind": words[f"kind-{estimate.kind}"],
        "totals": totals(estimate, lines),
        "range": spread
        and (text["range_text"], text["likely"], money(spread.likely, estimate), text["careful"], money(spread.careful, estimate)),
        "notes": [x for x in (estimate.note, estimate.seller.get("note", "")) if x],
        "cautions": [
            printing.said(printing.CAUTION, estimate.language), *printing.example(estimate.seller, estimate.language),
        ],
        "statement": statement(estimate),
        "optional": any(x.optional for x in lines),
    }  # fmt: skip
