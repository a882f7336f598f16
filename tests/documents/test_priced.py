"""Estimate, invoice and their kin as a reader meets them."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from shop.documents import shapes as sh
from shop.documents.typesetting import DocumentDataError, UnknownLanguage, typeset
from tests.documents import samples
from tests.documents.reading import LATER, made, pages, reader, text, without_spaces


@pytest.mark.parametrize("count", [0, 1, 12, 300])
@pytest.mark.parametrize(("template", "build"), [("estimate", samples.estimate), ("invoice", samples.invoice)])
def test_every_line_and_every_sum_stands_on_paper(template, build, count):
    data = build(count)
    seen = text(made(template, data))
    for sec in data.sections:
        for ln in sec.lines:
            assert re.search(rf"(?<!\d){re.escape(ln.position)} .*?{ln.net:,.2f}", seen), ln
    for amount in (data.totals.net, data.totals.vat, data.totals.gross):
        assert f"{amount:,.2f}" in seen
    assert f"EUR {data.totals.due:,.2f}" in seen
    assert data.number in seen


def test_german_digits_dates_and_words():
    data = samples.invoice(12)
    seen = text(made("invoice", data, "de"))
    assert "Rechnung" in seen
    assert "2. April 2026" in seen
    swapped = f"{data.totals.due:,.2f}".translate(str.maketrans(",.", ".,"))
    assert f"EUR {swapped}" in seen
    assert "0,2857" in seen
    assert "Seite 1 von" in seen


def test_a_heading_is_never_parted_from_its_first_line():
    words = {"1": "Labour", "2": "Parts", "3": "Work sent out", "4": "Sundries"}
    for count in range(22, 48):
        for page in pages(made("estimate", samples.estimate(count), standard="plain")):
            table = page.split("VAT rate Taxable")[0]
            for n, word in words.items():
                for heading in re.finditer(word, table):
                    assert re.match(rf" {n}\.\d+ ", table[heading.end() :]), (count, word)


def test_the_totals_keep_the_last_line_beside_them():
    for count in range(14, 40):
        data = samples.invoice(count)
        last = data.sections[-1].lines[-1]
        page = next(p for p in pages(made("invoice", data, standard="plain")) if "Total without VAT" in p)
        assert f"{last.position} " in page, count


def test_table_and_section_heads_repeat_on_every_page_of_the_table():
    seen = pages(made("invoice", samples.invoice(300)))
    with_rows = [p for p in seen if re.search(r"\b[1-4]\.\d+ ", p)]
    assert len(with_rows) > 5
    for page in with_rows:
        assert "Pos. Description Qty Unit Unit price VAT % Net EUR" in page
        first = re.search(r"\b([1-4])\.\d+ ", page)
        word = {"1": "Labour", "2": "Parts", "3": "Work sent out", "4": "Sundries"}[first[1]]
        assert word in page[: first.start()]
    for n, page in enumerate(seen, 1):
        assert f"Page {n} of {len(seen)}" in page


HOSTILE = [
    '#import "x": *',
    '$x^2$ *bold* _it_ `raw` #eval("1") \\ // not a comment',
    "<script>alert(1)</script>",
    "=SUM(A1)",
    "@label <label> [content] {code} ~ -- --- ... 'quoted' \"double\"",
    "https://saltmarsh.example/a?b=c",
    "= Heading",
    "+ item",
    "Łódź Ünïcödé Ψυχή Юрий",
]


@pytest.mark.parametrize("value", HOSTILE)
def test_markup_in_any_field_is_printed_as_it_is(value):
    data = replace(
        samples.estimate(1),
        number=value,
        customer=replace(samples.CUSTOMER, name=value, address=(value,)),
        machine=replace(samples.MACHINE, name=value),
        complaint=value,
        intro=value,
        notes=(value,),
        cautions=(value,),
        terms=value,
        sections=(
            sh.Section(
                title=value,
                lines=(samples.line("1", value, "1", "H87", "1", "23", number=value, detail=value),),
            ),
        ),
    )
    seen = without_spaces(text(made("estimate", data)))
    assert seen.count(without_spaces(value)) >= 12


@pytest.mark.parametrize("standard", ["ua-1", "a-3b", "plain"])
@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("Motor \U0001f600 pump", "Motor \U0001f600 pump"),
        ("\u6f22\u5b57", "\u25a1\u25a1"),
        ("a\x00b\x07c", "abc"),
        ("\u202e00.001\u202c", "00.001"),
        ("x\ud800y", "x\u25a1y"),
        ("\ue000", "\u25a1"),
        ("bore \u2300 86 mm", "bore \u00d8 86 mm"),
        ("A" * 500, "A" * 500),
        ("   ", ""),
    ],
)
def test_what_no_font_holds_becomes_a_box_and_nothing_crashes(value, shown, standard):
    data = samples.invoice(1, notes=(value,), customer=replace(samples.CUSTOMER, name="N " + value))
    seen = without_spaces(text(made("invoice", data, standard=standard)))
    assert without_spaces("N " + shown) in seen


@pytest.mark.parametrize(
    "value",
    ["\u05e9\u05dc\u05d5\u05dd", "\u0645\u062d\u0631\u0643 \u0627\u0644\u0645\u064a\u0646\u0627\u0621"],
)
def test_right_to_left_names_have_their_letters(value):
    data = samples.invoice(1, customer=replace(samples.CUSTOMER, name=value, address=()))
    seen = text(made("invoice", data))
    assert "\u25a1" not in seen
    assert set(value) - {" "} <= set(seen)


def test_a_name_that_would_break_the_layout_leaves_the_amounts_alone():
    data = samples.invoice(
        12,
        business=replace(samples.BUSINESS, name="W" * 200),
        machine=replace(samples.MACHINE, name="M" * 300, serial="S" * 80),
    )
    seen = text(made("invoice", data))
    assert f"EUR {data.totals.due:,.2f}" in seen


def test_the_same_data_and_time_give_the_same_bytes_and_another_time_does_not():
    data = samples.invoice(12)
    assert made("invoice", data) == made("invoice", data)
    assert made("invoice", data) != made("invoice", data, timestamp=LATER)
    between = made("estimate", samples.estimate(3))
    assert made("invoice", data) == made("invoice", data)
    assert between == made("estimate", samples.estimate(3))


def test_tagged_titled_and_in_its_language():
    for language, lang in (("en", "en-GB"), ("de", "de-DE")):
        root = reader(made("invoice", samples.invoice(2), language)).trailer["/Root"]
        assert root["/MarkInfo"]["/Marked"]
        assert root["/Lang"] == lang
        assert root["/ViewerPreferences"]["/DisplayDocTitle"]
        assert "/StructTreeRoot" in root
        xmp = root["/Metadata"].get_data().decode()
        assert "<pdfuaid:part>1</pdfuaid:part>" in xmp
        assert "26-00017" in xmp


def test_pdf_a_3_for_the_electronic_invoice():
    root = reader(made("invoice", samples.invoice(2), standard="a-3b")).trailer["/Root"]
    xmp = root["/Metadata"].get_data().decode()
    assert "<pdfaid:part>3</pdfaid:part>" in xmp
    assert "<pdfaid:conformance>B</pdfaid:conformance>" in xmp
    assert root["/MarkInfo"]["/Marked"]


def test_every_article_226_field_has_its_place():
    data = samples.invoice(
        2,
        supplied_from=date(2026, 3, 20),
        paid_on=date(2026, 3, 25),
        vat=(
            sh.VatRow(rate=Decimal("23"), taxable=Decimal("172.80"), vat=Decimal("39.74")),
            sh.VatRow(
                rate=Decimal("0"),
                taxable=Decimal("10.00"),
                vat=Decimal("0.00"),
                category="E",
                reason="Exempt, provision X",
            ),
        ),
        statutory=sh.Statutory(
            cash_accounting=True,
            self_billing=True,
            reverse_charge=True,
            new_transport="launched 2026-01-02, 40 h under way",
            travel_agents=True,
            second_hand="goods",
            representative=sh.TaxRepresentative(name="Rep Example", address=("Rep Street 1",), vat_no="XX 7654321"),
            vat_in_national_currency="VAT GBP 34.00 at 0.8555",
        ),
    )
    seen = text(made("invoice", data))
    expected = {
        "1": "2 April 2026",
        "2": "26-00017",
        "3": "IE 0000000X",
        "4": "IE 1111111Y",
        "5a": "Old Slipway 3",
        "5b": "The Boathouse, East Pier",
        "6": "RNG-B2-STD Piston ring set, standard bore 2 pcs",
        "7": "20 March 2026 – 1 April 2026",
        "7 paid": "25 March 2026",
        "7a": "Cash accounting",
        "8 taxable": "23% 172.80 39.74",
        "8 unit price": "86.40",
        "9": "13.5",
        "10": "39.74",
        "10a": "Self-billing",
        "11": "Exempt, provision X",
        "11a": "Reverse charge",
        "12": "launched 2026-01-02, 40 h under way",
        "13": "Margin scheme — Travel agents",
        "14": "Margin scheme — Second-hand goods",
        "15": "Rep Example, Rep Street 1, VAT no. XX 7654321",
        "Art. 230": "VAT GBP 34.00 at 0.8555",
    }
    assert {point: words for point, words in expected.items() if words not in seen} == {}


def test_discounts_deductions_and_the_document_they_correct():
    ln = samples.line(
        "1",
        "Bench hour",
        "2",
        "HUR",
        "50",
        "23",
        discount_percent=Decimal("10"),
        discount_reason="Regular customer",
    )
    data = samples.invoice(
        1,
        sections=(sh.Section(kind="labour", lines=(ln,)),),
        allowances=(sh.Allowance(text="Discount on the whole", net=Decimal("-12.00"), percent=Decimal("5")),),
        deductions=(
            sh.Deduction(
                text="Deposit",
                number="26-00009",
                date=date(2026, 3, 15),
                gross=Decimal("500"),
                vat_rate=Decimal("23"),
                vat=Decimal("93.50"),
            ),
        ),
        kind="corrected_invoice",
        corrects=sh.Reference(number="26-00011", date=date(2026, 3, 1)),
    )
    seen = text(made("invoice", data))
    assert "10%" in seen
    assert "Regular customer" in seen
    assert "Discount on the whole 5% −12.00" in seen
    assert "Deposit 26-00009 15 Mar 2026" in seen
    assert "−500.00" in seen
    assert "of which VAT 23% 93.50" in seen
    assert "26-00011, 1 March 2026" in seen
    assert "Still to pay" in seen


@pytest.mark.parametrize(
    ("currency", "shown"), [("JPY", "1,235"), ("KWD", "1,234.500"), ("EUR", "1,234.50"), ("CHF", "1,234.50")]
)
def test_minor_units_follow_iso_4217(currency, shown):
    amount = Decimal("1234.5")
    totals = sh.Totals(net=amount, vat=Decimal(0), gross=amount, due=amount)
    seen = text(made("invoice", samples.invoice(0, currency=currency, totals=totals, vat=())))
    assert f"{currency} {shown}" in seen


@pytest.mark.parametrize("kind", ["estimate", "quotation", "additional_work"])
def test_three_kinds_of_offer_say_different_words(kind):
    words = {
        "estimate": "not a fixed price",
        "quotation": "which are firm",
        "additional_work": "We have stopped there",
    }
    assert words[kind] in text(made("estimate", samples.estimate(2, kind=kind)))


@pytest.mark.parametrize("mark", ["draft", "copy", "cancelled"])
def test_marked_on_every_page(mark):
    seen = pages(made("invoice", samples.invoice(60, mark=mark)))
    assert len(seen) > 1
    assert all(mark.upper() in without_spaces(page) for page in seen)


def test_demo_business_says_so_and_another_does_not():
    assert "Sample data" in text(made("invoice", samples.invoice(1)))
    own = samples.invoice(1, business=replace(samples.BUSINESS, is_demo=False))
    assert "Sample data" not in text(made("invoice", own))


def stored(value):
    """As an issued document is kept: JSON, Decimals and dates as text."""
    if isinstance(value, dict):
        return {k: stored(v) for k, v in value.items()}
    if isinstance(value, tuple | list):
        return [stored(v) for v in value]
    if hasattr(value, "__dataclass_fields__"):
        return {k: stored(v) for k, v in vars(value).items()}
    return str(value) if isinstance(value, Decimal | date) else value


def test_kept_json_prints_the_same_document():
    data = samples.invoice(12)
    assert made("invoice", stored(data)) == made("invoice", data)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        (lambda d: d.pop("number"), "number"),
        (lambda d: d["sections"][0]["lines"][0].pop("net"), "sections[0].lines[0].net"),
        (lambda d: d["totals"].update(gross=1.5), "totals.gross"),
        (lambda d: d["totals"].update(gross="NaN"), "totals.gross"),
        (lambda d: d["totals"].update(gross="1e40"), "totals.gross"),
        (lambda d: d.update(date="12/03/2026"), "date"),
        (lambda d: d.update(currency="XQX"), "currency"),
        (lambda d: d.update(kind="letter"), "kind"),
        (lambda d: d.update(colour="red"), "colour"),
        (lambda d: d.update(sections="none"), "sections"),
        (lambda d: d["business"].update(name=None), "business.name"),
        (lambda d: d.update(payment_code="żółw"), "payment_code"),
    ],
)
def test_a_wrong_field_is_named(change, field):
    data = stored(samples.invoice(1))
    change(data)
    with pytest.raises(DocumentDataError, match=re.escape(field)) as caught:
        made("invoice", data)
    assert caught.value.field == field


def test_unknown_language_template_and_naive_time_are_refused():
    with pytest.raises(UnknownLanguage, match="de, en"):
        made("invoice", samples.invoice(1), "xx")
    with pytest.raises(ValueError, match="No document 'letter'"):
        made("letter", samples.invoice(1))
    with pytest.raises(ValueError, match="time zone"):
        typeset("invoice", samples.invoice(1), timestamp=samples.AT.replace(tzinfo=None))
