"""Labels as they come out of the printer: picked on the page or over the API, then scanned from the PDF."""

from __future__ import annotations

import uuid
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.labels import actions, papers, picking, printing
from inventory.labels.models import LabelPaper
from inventory.labels.papers import PRESETS, Paper
from inventory.parts import actions as catalogue
from inventory.stock import queries as shelf
from shop.kernel.errors import BadInput, Stale
from tests.documents.reading import pages, reader, scanned
from tests.factories import parts as made
from tests.factories import stock

pytestmark = pytest.mark.django_db
SHEET = {"name": "A4", "width": D(210), "height": D(297), "rows": 8, "cols": 3}


@pytest.fixture
def things(stores):
    gasket = made.part(stores, "GKT-041")
    sealant = made.sealant(stores, hazards=["H225", "H319", "P210"])
    bin_ = stock.bin_(stores, "A3-02")
    lot = stock.lot(stores, sealant.pk, "70", "0.24", at=bin_, batch="B-77")
    return gasket, sealant, bin_, lot


def paper(by, **more):
    return actions.add_paper(by=by, **SHEET | more)


@pytest.mark.parametrize("name", ["A4, 3 × 8", "A4, 2 × 7", "A4, 4 × 12", "Roll 62 × 29", "Roll 100 × 50"])
def test_what_is_printed_is_what_is_scanned(things, name, tmp_path):
    """Square code and bars of a part, a lot and a bin say what the shop's scan boxes take."""
    gasket, sealant, bin_, lot = things
    codes = ("GKT-041", lot.number, "A3-02")
    pdf = printing.pdf([picking.Pick(code, 1) for code in codes], PRESETS[name], first=1)
    found = scanned(pdf, tmp_path, dpi=400, last=3)
    assert {text for form, text in found if form == "QRCode"} == set(codes)
    assert {text for form, text in found if form == "Code128"} == set(codes)
    assert shelf.by_code(lot.number) == (sealant, lot)
    assert shelf.by_code("GKT-041")[0] == gasket
    assert shelf.bins_with_code("A3-02") == [bin_]
    words = " ".join(pages(pdf))
    for said in ("Flange sealant", "B-77", "Danger: H225 H319", "Head gasket, B2"):
        assert said in words, said


def test_a_small_roll_keeps_the_square_code(things, tmp_path):
    pdf = printing.pdf([picking.Pick("GKT-041", 2)], PRESETS["Roll 50 × 14"])
    assert scanned(pdf, tmp_path, dpi=600) == {("QRCode", "GKT-041")}
    assert len(reader(pdf).pages) == 2


def test_a_sheet_that_was_begun_is_used_up(things):
    on = PRESETS["A4, 3 × 8"]
    assert len(reader(printing.pdf([picking.Pick("GKT-041", 24)], on, first=1)).pages) == 1
    assert len(reader(printing.pdf([picking.Pick("GKT-041", 24)], on, first=2)).pages) == 2
    last = printing.pdf([picking.Pick("GKT-041", 1)], on, first=24)
    box = reader(last).pages[0]
    seen = []
    box.extract_text(
        visitor_text=lambda text, cm, tm, font, size: seen.append(cm[4] + tm[4]) if "GKT" in text else None
    )
    assert min(seen) > 140 / 25.4 * 72  # the last place is in the third column
    for wrong in (0, 25):
        with pytest.raises(BadInput, match="places 1 to 24"):
            printing.pdf([picking.Pick("GKT-041", 1)], on, first=wrong)


def test_what_is_typed():
    assert picking.read("GKT-041 × 5\n\n A2\nL-26-0001*2\nGKT 9 x 3\n") == [
        picking.Pick("GKT-041", 5), picking.Pick("A2", 1), picking.Pick("L-26-0001", 2), picking.Pick("GKT 9", 3),
    ]  # fmt: skip
    assert picking.read(picking.written([picking.Pick("A", 1), picking.Pick("B", 7)])) == [
        picking.Pick("A", 1), picking.Pick("B", 7),
    ]  # fmt: skip
    for wrong in ("", " \n ", "A × 0", "A × 501", "× 3", "\n".join(["A × 500"] * 5)):
        with pytest.raises(BadInput) as refusal:
            picking.read(wrong)
        assert list(refusal.value.fields) == ["codes"]


def test_every_unknown_code_is_named(things):
    with pytest.raises(BadInput) as refusal:
        printing.labels_of([picking.Pick(c, 1) for c in ("GKT-041", "NO-1", "NO-2")])
    assert [t.split("”")[0] for t in refusal.value.fields["codes"]] == ["“NO-1", "“NO-2"]


def test_a_number_no_barcode_can_hold(stores, things):
    odd = made.part(stores, "DICHTUNG-Ö")
    with pytest.raises(BadInput, match="can't hold"):
        printing.labels_of([picking.Pick("DICHTUNG-Ö", 1)])
    catalogue.add_barcode(odd.pk, by=stores, code="D-77")
    (label,) = printing.labels_of([picking.Pick("DICHTUNG-Ö", 1)])
    assert (label.title, label.code) == ("DICHTUNG-Ö", "D-77")


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", " "), ("rows", 0), ("rows", 51), ("cols", 21), ("width", D(-1)), ("width", D(2001)), ("top", D("0.001")),
        ("top", D("NaN")),
    ],
)  # fmt: skip
def test_paper_that_cannot_be(stores, field, value):
    with pytest.raises(BadInput) as refusal:
        paper(stores, **{field: value})
    assert list(refusal.value.fields) == [field]
    assert not LabelPaper.objects.exists()


def test_papers(stores):
    row = paper(stores)
    assert (row.label_size, row.paper.places) == ("70 × 37.1 mm", 24)
    with pytest.raises(BadInput, match="already a paper"):
        paper(stores, name="a4")
    with pytest.raises(BadInput, match=r"labels of 4\.2 × 37\.1 mm"):
        paper(stores, name="B", cols=20, gap_x=D("6.63"))
    assert actions.edit_paper(row.pk, 1, by=stores, rows=7).version == 2
    with pytest.raises(Stale):
        actions.edit_paper(row.pk, 1, by=stores, rows=7)
    with pytest.raises(BadInput, match="needs at least"):
        actions.edit_paper(row.pk, None, by=stores, top=D(148))
    actions.archive_paper(row.pk, None, by=stores)
    paper(stores)  # its name is free again
    assert Paper(True, D(62), D(29)).places == 1


def test_on_the_page(client, stores, things, tmp_path):
    row = paper(stores)
    client.force_login(stores)
    where = reverse("labels:labels")
    begun = client.get(where, {"code": "GKT-041"}).content.decode()
    assert ">GKT-041</textarea>" in begun.replace("\n", "")
    assert "A3-02" in client.get(where, {"all": "bins"}).content.decode()
    assert things[3].number in client.get(where, {"all": "today"}).content.decode()
    assert things[3].number in client.get(where, {"bin": "a3-02"}).content.decode()
    sent = {"paper": row.pk, "first": "3", "codes": f"GKT-041 × 2\r\n{things[3].number}", "once": str(uuid.uuid4())}
    answer = client.post(where, sent)
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert {text for _, text in scanned(answer.content, tmp_path)} == {"GKT-041", things[3].number}
    for wrong in ({"codes": "NO-1"}, {"first": "25"}, {"codes": ""}, {"paper": "999"}):
        assert client.post(where, sent | wrong).status_code == 422, wrong
    for page in (things[0], things[1]):
        assert "Print a label" in client.get(reverse("parts:part", args=[page.pk])).content.decode()
    assert "Print a label" in client.get(reverse("stock:lot", args=[things[3].pk])).content.decode()
    assert "all lots in this bin" in client.get(reverse("stock:bin", args=[things[2].pk])).content.decode()


def test_over_the_api(api, stores, mechanic, things, tmp_path):
    body = {"name": "Roll", "is_roll": True, "width": "62", "height": "29"}
    made_ = api(stores).post("label-papers/", body)
    assert made_.status_code == 201, made_.content
    assert api(mechanic).post("label-papers/", body | {"name": "x"}).status_code == 403
    pk = made_.json()["id"]
    printed = api(mechanic).get(f"label-papers/{pk}/pdf/", codes="GKT-041*2,A3-02")
    assert (printed.status_code, printed["Content-Type"]) == (200, "application/pdf")
    assert len(reader(printed.content).pages) == 3
    assert {text for _, text in scanned(printed.content, tmp_path, last=3)} == {"GKT-041", "A3-02"}
    wrong = api(mechanic).get(f"label-papers/{pk}/pdf/", codes="NO-1")
    assert (wrong.status_code, wrong.json()["errors"][0]["pointer"]) == (400, "/codes")
    assert api(mechanic).get("label-papers/999/pdf/").status_code == 404
    assert api(mechanic).get(f"label-papers/{pk}/pdf/", codes="A3-02", size="9").status_code == 400
    small = api(stores).post("label-papers/", body | {"name": "y", "height": "5"})
    assert (small.status_code, small.json()["type"]) == (400, "/api/problems/label-too-small")


def test_labels_of_all_bins_take_no_more_queries(api, stores, things):
    sheet = paper(stores)
    stock.bin_(stores, "A3-03")

    def count():
        with CaptureQueriesContext(connection) as seen:
            assert api(stores).get(f"/api/v1/label-papers/{sheet.pk}/pdf/").status_code == 200
        return len(seen)

    few = count()
    for n in range(10, 20):
        stock.bin_(stores, f"b{n}")
    assert count() == few


def test_presets_hold_a_code():
    for like in PRESETS.values():
        papers.check_size(like)


@pytest.mark.parametrize(
    ("name", "lowest"),
    # millimetres from the lower edge to where the bars begin: below that a name would be cut off
    [("Roll 62 × 29", 10.9), ("Roll 100 × 50", 18.3), ("Roll 50 × 14", 1.0)],
)
def test_a_long_name_is_set_smaller_until_it_fits(stores, name, lowest):
    long = "Head gasket for the two-cylinder marine diesel Brindlecote B2, copper, 0.20 mm thicker than standard"
    made.part(stores, "GKT-041-B2-COPPER-0.20", long, storage_note="Flat and dry, away from the light; upper row")
    page = reader(printing.pdf([picking.Pick("GKT-041-B2-COPPER-0.20", 1)], PRESETS[name])).pages[0]
    seen: list[tuple[str, float]] = []
    page.extract_text(visitor_text=lambda text, cm, tm, *_: seen.append((text, (cm[5] + tm[5] * cm[3]) / 72 * 25.4)))
    heights = [y for text, y in seen if any(word in text for word in ("thicker", "standard", "light", "row", "gasket"))]
    assert heights
    assert min(heights) > lowest
