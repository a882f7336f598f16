"""Letters, bench sheets and labels."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from shop.documents import shapes as sh
from shop.documents.formatting import STRINGS, languages
from shop.documents.typesetting import DocumentDataError
from tests.documents import samples, samples_letters, samples_sheets
from tests.documents.reading import made, pages, pictures, plain, reader, scanned, text, without_spaces

EVERY = {
    "estimate": samples.estimate,
    "invoice": samples.invoice,
    "deposit_invoice": lambda n: samples.invoice(n, kind="deposit_invoice"),
    "credit_note": lambda n: samples.invoice(n, kind="credit_note"),
    "debit_note": lambda n: samples.invoice(n, kind="debit_note"),
    "statement": samples_sheets.statement,
    "reminder": lambda n: samples_sheets.reminder(2, n),
    "recall": samples_letters.recall,
    "job_card": lambda n: samples_sheets.job_card(n, n),
    "build_record": samples_sheets.build_record,
    "picking_list": samples_sheets.picking_list,
    "purchase_order": samples_sheets.purchase_order,
    "labels": samples_sheets.labels,
}


def test_every_template_has_a_sample_here():
    assert set(EVERY) == set(sh.SHAPES)


@pytest.mark.parametrize("template", EVERY)
@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("rows", [0, 1, 12, 300])
def test_any_number_of_rows_in_any_language_tagged_and_numbered(template, language, rows):
    pdf = made(template, EVERY[template](rows), language)
    doc = reader(pdf)
    assert doc.trailer["/Root"]["/MarkInfo"]["/Marked"]
    assert doc.trailer["/Root"]["/Lang"].startswith(language)
    if template != "labels":
        word, of = ("Page", "of") if language == "en" else ("Seite", "von")
        assert f"{word} {len(doc.pages)} {of} {len(doc.pages)}" in text(pdf)


@pytest.mark.parametrize("template", EVERY)
def test_the_same_bytes_twice(template):
    assert made(template, EVERY[template](5)) == made(template, EVERY[template](5))


def keys(node, at=""):
    if not isinstance(node, dict):
        return {at}
    return set().union(*(keys(v, f"{at}.{k}") for k, v in node.items()))


def test_every_language_has_every_string():
    tables = {p.stem: json.loads(p.read_text("utf-8")) for p in Path(STRINGS).glob("*.json")}
    assert len(tables) >= 2
    for name, table in tables.items():
        assert keys(table) == keys(tables["en"]), name
        assert all(value.strip() for value in flat(table)), name


def flat(node):
    if isinstance(node, dict):
        for v in node.values():
            yield from flat(v)
    else:
        yield node


def test_placeholders_are_the_same_in_every_language():
    english = json.loads((STRINGS / "en.json").read_text("utf-8"))
    for language in languages():
        other = json.loads((STRINGS / f"{language}.json").read_text("utf-8"))
        for a, b in zip(flat(english), flat_like(other, english), strict=True):
            assert sorted(re.findall(r"\{\w+\}", a)) == sorted(re.findall(r"\{\w+\}", b))


def flat_like(node, model):
    if isinstance(model, dict):
        for k in model:
            yield from flat_like(node[k], model[k])
    else:
        yield node


def test_job_card_shows_stages_gates_parts_and_a_code_that_scans(tmp_path):
    pdf = made("job_card", samples_sheets.job_card())
    seen = text(pdf)
    for stage in samples_sheets.STAGES:
        assert stage.text in seen
        assert all(gate.text in seen for gate in stage.gates)
    assert "On hold: sublet work, back 24 March" in seen
    assert "after 2, 3" in seen
    assert "12.5 ml" in seen
    assert "Cylinder head 38 kg: use the hoist" in seen
    assert ("QRCode", "JC-26-0031") in scanned(pdf, tmp_path)


def test_a_stage_never_parts_from_its_gates():
    for count in range(5, 30):
        for page in pages(made("job_card", samples_sheets.job_card(count, 0), standard="plain")):
            for stage in samples_sheets.STAGES:
                expected = page.count(stage.text)
                assert all(page.count(g.text) == expected for g in stage.gates), (count, stage.text)


def test_signed_gates_are_told_from_open_ones_by_words():
    seen = text(made("build_record", samples_sheets.build_record()))
    assert "No leaks after 30 min at load Una Kerr, 20 Mar 2026, 15:40" in seen
    assert "Oil pressure warm, idle not signed" in seen
    assert "86.049 mm" in seen
    assert "inside the uncertainty of the limit" in seen
    assert "L-0412" in seen


def test_statement_carries_the_balance_forward():
    data = samples_sheets.statement(5)
    seen = text(made("statement", data))
    assert "Brought forward 120.00" in seen
    assert f"EUR {data.closing:,.2f}" in seen
    assert "not yet due 431.25" in seen


@pytest.mark.parametrize(
    ("level", "words"),
    [
        (1, "friendly reminder"),
        (2, "written to you about the invoices below, and they are still open"),
        (3, "further steps"),
    ],
)
def test_reminders_grow_firmer(level, words):
    seen = text(made("reminder", samples_sheets.reminder(level)))
    assert words in seen
    assert "26 March 2026" in seen
    assert ("Reminder fee 5.00" in seen) == (level > 1)


def test_picking_list_and_purchase_order_say_what_and_where():
    seen = text(made("picking_list", samples_sheets.picking_list()))
    assert "C1 SLT-70 Liquid sealant" in seen
    assert "31 Aug 2026" in seen
    assert "Caution: gloves; see its data sheet" in seen
    seen = text(made("purchase_order", samples_sheets.purchase_order()))
    assert "TD-99041" in seen
    assert "EUR 198.90" in seen


@pytest.mark.parametrize("paper", ["sheet", "roll"])
def test_every_label_scans_both_ways(paper, tmp_path):
    roll = sh.Roll(width="62", height="29") if paper == "roll" else None
    data = samples_sheets.labels(24 if not roll else 3, roll)
    found = scanned(made("labels", data), tmp_path, dpi=300, last=len(data.labels))
    codes = {label.code for label in data.labels}
    assert {content for kind, content in found if kind == "QRCode"} == codes
    assert {content for kind, content in found if kind == "Code128"} == codes


def test_labels_start_where_the_sheet_was_left_and_go_on_over_sheets():
    data = samples_sheets.labels(24, sheet=sh.Sheet(rows=4, cols=2, top="10", left="10", start=3))
    seen = pages(made("labels", data))
    assert len(seen) == 4
    assert sum(page.count("BIN-") for page in seen) == 8


def test_a_small_roll_label_keeps_only_the_square_code(tmp_path):
    data = samples_sheets.labels(1, sh.Roll(width="30", height="14"))
    assert scanned(made("labels", data), tmp_path, dpi=600) == {("QRCode", data.labels[0].code)}


def test_roll_pages_have_the_size_of_the_label():
    page = reader(made("labels", samples_sheets.labels(2, sh.Roll(width="62", height="29")))).pages[1]
    assert round(float(page.mediabox.width) / 72 * 25.4) == 62
    assert round(float(page.mediabox.height) / 72 * 25.4) == 29


@pytest.mark.parametrize(
    ("paper", "field"),
    [
        ({"sheet": None}, "sheet"),
        ({"roll": sh.Roll(width="62", height="29")}, "sheet"),
        ({"sheet": sh.Sheet(rows=0, cols=3)}, "sheet.rows"),
        ({"sheet": sh.Sheet(rows=8, cols=3, start=24)}, "sheet.start"),
        ({"sheet": sh.Sheet(rows=50, cols=3, gap_y="5")}, "sheet"),
        ({"sheet": sh.Sheet(rows=2, cols=2, width="-1")}, "sheet.width"),
        ({"sheet": sh.Sheet(rows=2, cols=2, width="9000")}, "sheet.width"),
    ],
)
def test_paper_that_cannot_be_is_refused(paper, field):
    with pytest.raises(DocumentDataError) as caught:
        made("labels", replace(samples_sheets.labels(3), **paper))
    assert caught.value.field == field


def test_a_payment_code_scans(tmp_path):
    content = "BCD-002-1-SCT-SALTIE00-Saltmarsh Engine Works-EUR1743.43"
    pdf = made("invoice", samples.invoice(1, payment_code=content))
    assert ("QRCode", content) in scanned(pdf, tmp_path)


@pytest.mark.parametrize("value", ["#eval(1) *x* $y$", "<b>&amp;</b>", "\U0001f600 \u202eabc", "W" * 400])
@pytest.mark.parametrize("template", ["job_card", "picking_list", "build_record", "statement", "reminder", "recall"])
def test_hostile_words_in_sheets_and_letters(template, value):
    data = EVERY[template](3)
    machine = sh.Machine(name=value, serial=value[:60], note=value)
    change = {"notes": (value,)}
    if template in ("job_card", "picking_list", "build_record"):
        change["machine"] = machine
    if template == "job_card":
        change["stages"] = (
            sh.Stage(text=value, detail=value, hold=value, assigned=value, gates=(sh.Gate(text=value),)),
        )
        change["parts"] = (sh.PartNeeded(number=value, text=value, qty=Decimal(1), unit=value[:20], bin=value),)
    seen = without_spaces(text(made(template, type(data)(**{**vars(data), **change}))))
    shown = without_spaces(value.replace("\u202e", ""))
    assert shown in seen


def test_labels_take_hostile_words_and_stay_in_their_box(tmp_path):
    label = sh.Label(title="W" * 300, code="PART-1", text="#eval(1) *x*", detail="x" * 500, caution="\U0001f600")
    data = samples_sheets.labels(3)
    pdf = made("labels", sh.Labels(labels=(label, *data.labels), sheet=data.sheet))
    assert len(reader(pdf).pages) == 1
    assert {label.code for label in data.labels} <= {content for _, content in scanned(pdf, tmp_path)}
    assert pictures(pdf, tmp_path, dpi=30)


def test_ten_thousand_lines_are_a_document_and_a_hundred_thousand_are_refused():
    data = samples.invoice(10_000)
    doc = reader(made("invoice", data, standard="plain"))
    assert len(doc.pages) > 200
    assert f"EUR {data.totals.due:,.2f}" in plain("".join(page.extract_text() for page in doc.pages[-2:]))
    line = samples.sections(1)[0].lines[0]
    with pytest.raises(DocumentDataError, match="split the document"):
        made("invoice", samples.invoice(1, sections=(sh.Section(lines=(line,) * 30_000),)))
