"""An estimate with nothing on it, with markup in every field, with words that would break a page, with a discount that
can't be; and every sum on its page opens to how it came about."""

import re
import uuid
from decimal import Decimal as D

import pytest
from lxml import html

from jobs.estimates import actions, printing, queries
from jobs.estimates.models import EstimateLine
from jobs.machines import actions as machines
from shop.kernel.errors import BadInput, Refused
from tests.documents.reading import text as text_of_pdf
from tests.factories import estimates as make
from tests.factories import replies

pytestmark = pytest.mark.django_db

SCRIPT = "<script>alert('{0}')</script>"
MARKUP = (
    "</td></table><h1>",
    "<img src=x onerror=alert(1)>",
    "{{ 7|add:7 }}",
    '#import "x.typ"',
    "$1/0$",
    "&lt;b&gt;",
    "'\"><svg onload=x>",
)


@pytest.fixture(autouse=True)
def store(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def browser(client, owner):
    client.force_login(owner)
    return client


def empty(owner):
    draft = make.draft(owner)
    for line in draft.lines.all():
        actions.remove_line(line.pk, None, by=owner)
    draft.refresh_from_db()
    return draft


def test_without_a_line_it_is_shown_and_not_issued(browser, owner, api):
    draft = empty(owner)
    assert (draft.total_net, draft.total_gross, draft.tax_groups) == (0, 0, [])
    page = browser.get(f"/estimates/{draft.pk}/")
    assert page.status_code == 200
    assert "No lines yet" in page.content.decode()
    assert browser.get(f"/estimates/{draft.pk}/pdf/").content.startswith(b"%PDF-")
    with pytest.raises(Refused) as refused:
        actions.issue_estimate(draft.pk, None, by=owner)
    assert refused.value.code == "no-lines"
    form = {"once": str(uuid.uuid4()), "valid_until": draft.created_at.date(), "version": draft.version}
    said = browser.post(f"/estimates/{draft.pk}/issue/", form)
    assert (said.status_code, "It has no lines yet." in said.content.decode()) == (422, True)
    assert api(owner).post(f"estimates/{draft.pk}/issue/").status_code == 409


def spoiled(owner):
    """An issued estimate with markup and script wherever somebody can type."""
    customer = make.customer(name=SCRIPT.format("name"), contact=MARKUP[0])
    machines.edit_customer(customer.pk, None, by=owner, street=MARKUP[1], city=MARKUP[6])
    draft = make.draft(owner, make.job(owner, customer)[0])
    for n, odd in enumerate(MARKUP):
        actions.add_line(
            draft.pk, None, by=owner, text=f"{SCRIPT.format(n)} {odd}", detail=odd, unit_price=D(1),
            discount_percent=D(5), discount_reason=odd,
        )  # fmt: skip
    actions.edit_estimate(
        draft.pk, None, by=owner, note=SCRIPT.format("note"), discount_percent=D(1), discount_reason=MARKUP[1]
    )
    return actions.issue_estimate(draft.pk, None, by=owner)


def test_markup_in_any_field_stays_text_on_every_page(browser, owner):
    issued = spoiled(owner)
    link = replies.link(owner, issued)
    pages = [
        browser.get(path)
        for path in (
            f"/estimates/{issued.pk}/", "/estimates/", f"/estimates/{issued.pk}/go-ahead/", f"/estimates/{issued.pk}/links/",
            f"/cards/{issued.card_id}/", f"/cards/{issued.card_id}/history/",
        )
    ]  # fmt: skip
    for page in [*pages, replies.Phone(link).open()]:
        assert page.status_code == 200
        tree = html.fromstring(page.content.decode())
        own = [s for s in tree.iter("script") if not s.get("src") and s.get("type") != "application/json"]
        assert own == [], "a script of somebody's own"
        assert not tree.xpath("//*[@onerror or @onload]")
        assert not tree.xpath("//img[@src='x']")
        assert "14" not in tree.text_content().split(), "no template was run"
    printed = " ".join(text_of_pdf(printing.pdf(queries.estimate(issued.pk))).split())
    assert "alert('note')" in printed
    assert "{{ 7|add:7 }}" in printed


@pytest.mark.parametrize(
    "name", ["W" * 160, "Ä" * 160, "x" * 80 + " " + "y" * 79, "שלום " * 32, "👩🏽‍🔧" * 30, "Ze\u0301\u0302\u0303" * 20]
)
def test_a_name_that_breaks_the_layout_is_set_and_shown(browser, owner, name):
    customer = make.customer(name=name[:160].strip())
    draft = make.draft(owner, make.job(owner, customer)[0])
    actions.add_line(draft.pk, None, by=owner, text=name[:240], unit_price=D(1))
    issued = actions.issue_estimate(draft.pk, None, by=owner)
    assert browser.get(f"/estimates/{issued.pk}/").status_code == 200
    assert browser.get(f"/estimates/{issued.pk}/pdf/").content.startswith(b"%PDF-")
    assert replies.Phone(replies.link(owner, issued)).open().status_code == 200


@pytest.mark.parametrize("percent", ["100.001", "101", "1000", "-0.001", "-5", "12.3456", "NaN", "Infinity"])
def test_a_discount_that_cannot_be_is_refused_everywhere(browser, owner, api, percent):
    draft = make.draft(owner)
    line = draft.lines.first()
    before = (line.net, draft.total_gross)
    if percent not in ("NaN", "Infinity"):
        for act in (
            lambda: actions.edit_line(line.pk, None, by=owner, discount_percent=D(percent), discount_reason="x"),
            lambda: actions.edit_estimate(draft.pk, None, by=owner, discount_percent=D(percent), discount_reason="x"),
        ):
            with pytest.raises(BadInput) as refused:
                act()
            assert "discount_percent" in refused.value.fields
    body = {"discount_percent": percent, "discount_reason": "x"}
    assert api(owner).patch(f"estimate-lines/{line.pk}/", body).status_code == 400
    assert api(owner).patch(f"estimates/{draft.pk}/", body).status_code == 400
    form = {"once": str(uuid.uuid4()), "version": draft.version, **body}
    assert browser.post(f"/estimates/{draft.pk}/whole/", form).status_code == 422
    line.refresh_from_db()
    draft.refresh_from_db()
    assert (line.net, draft.total_gross) == before


def test_all_of_it_for_nothing_is_an_estimate_too(owner):
    draft = make.draft(owner)
    for line in EstimateLine.objects.filter(estimate=draft):
        actions.edit_line(line.pk, None, by=owner, discount_percent=D(100), discount_reason="Warranty")
    issued = actions.issue_estimate(draft.pk, None, by=owner)
    assert (issued.total_net, issued.total_tax, issued.total_gross) == (0, 0, 0)


def test_every_sum_opens_to_how_it_came_about(browser, owner):
    draft = make.draft(owner)
    line = draft.lines.first()
    actions.edit_line(line.pk, None, by=owner, discount_percent=D(10), discount_reason="Regular")
    actions.edit_estimate(draft.pk, None, by=owner, discount_percent=D(5), discount_reason="Season")
    tree = html.fromstring(browser.get(f"/estimates/{draft.pk}/").content.decode())
    main = tree.get_element_by_id("main")
    columns = {"Net", "Margin"}
    cells = [td for td in main.xpath(".//td") if td.get("data-label") in columns and "€" in td.text_content()]
    sums = [dd for dd in main.xpath(".//dl//dd") if "€" in dd.text_content()]
    assert len(cells) >= 6, "lines with net and margin, and sums of sections"
    assert len(sums) >= 7, "totals, discount, VAT, margin, likely and careful"
    for found in [*cells, *sums]:
        (opens,) = found.xpath("./details[@class='how']")
        said = " ".join(p.text_content() for p in opens.xpath("./p"))
        assert len(said) > 20, f"{found.text_content()}: {said!r}"
    told = re.sub(r"\s+", " ", main.text_content())
    assert "less 10 % discount" in told
    net = next(dd for dd in sums if "less the discount" in dd.text_content())
    draft.refresh_from_db()
    assert net.text_content().count(f"€{draft.total_net:.2f}") == 2, "the sum ends in what is shown"
