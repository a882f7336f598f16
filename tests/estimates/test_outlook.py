"""Likely and careful figures of an estimate: page, API and PDF say the same, and they are kept when it is issued."""

import io
from decimal import Decimal as D

import pytest
from pypdf import PdfReader

from jobs.cards import actions as cards
from jobs.estimates import actions, outlook
from jobs.estimates.models import Estimate
from jobs.learning import actions as learning
from jobs.plans import actions as plans
from jobs.plans.drafts import StageDraft
from tests.factories import estimates as make
from tests.factories.cards import a_card
from tests.factories.plans import plan
from tests.factories.timebook import Stopped, a_booking, working_hours

pytestmark = pytest.mark.django_db


@pytest.fixture
def now(monkeypatch) -> Stopped:
    working_hours()
    return Stopped(monkeypatch)


@pytest.fixture
def overhaul(owner, now):
    """A plan of two stages, priced by the hour."""
    make.job(owner)  # rates and taxes
    now.at(17)
    return plan(
        stages=(
            StageDraft("Strip", "strip", D("2"), needs_go_ahead=False),
            StageDraft("Fit", "fit", D("4"), needs_go_ahead=False, after=(1,)),
        )
    )


def draft(office, overhaul, kind="estimate") -> Estimate:
    card = a_card(plan_ids=[overhaul.pk])
    return actions.draft_estimate(by=office, card_id=card.pk, kind=kind)


def ran(mechanic, overhaul, now, day: int, hours: int) -> None:
    """A card by the plan whose first stage took so many hours on a day."""
    now.at(8, day=day)
    card = a_card(plan_ids=[overhaul.pk])
    stage = card.stages.get(name="Strip")
    start, end = now.at(8, day=day), now.at(8 + hours, day=day)
    now.at(17, day=day)
    a_booking(mechanic, stage, start, end)
    cards.finish_stage(stage.pk, by=mechanic)


def of(row: Estimate) -> outlook.Outlook:
    return outlook.of(row, list(row.lines.select_related("stage__plan_stage")))


def text_of(answer) -> str:
    content = b"".join(answer) if answer.streaming else answer.content
    pages = PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(p.extract_text() for p in pages).replace("\u00a0", " ").split())


def test_before_any_job_the_likely_figure_is_the_estimate_itself(office, overhaul):
    row = draft(office, overhaul)
    found = of(row)
    assert abs(found.likely - row.total_net) < row.total_net * D("0.05")
    assert found.careful > row.total_net * D("1.1")
    assert D("5.8") < found.likely_hours < D("6.5") < found.careful_hours
    assert found.jobs == 0


def test_jobs_that_ran_long_move_it(office, mechanic, overhaul, now):
    before = of(draft(office, overhaul))
    for day in (23, 24, 25):
        ran(mechanic, overhaul, now, day, hours=4)
    now.at(17)
    after = of(draft(office, overhaul))
    assert after.likely_hours > before.likely_hours + D("0.7")
    assert after.likely > before.likely
    assert after.jobs == 3


def test_an_open_card_is_not_moved_by_taking_the_likely_hours(office, mechanic, overhaul, now):
    """Three jobs of 4 h on a plan of 2 h say 3.03 h, to a card that copied 2 h as to one that copies the 3 h taken since."""
    for day in (23, 24, 25):
        ran(mechanic, overhaul, now, day, hours=4)
    now.at(17)
    row = draft(office, overhaul)
    for line in row.lines.exclude(stage__name="Strip"):
        actions.remove_line(line.pk, None, by=office)
    row.refresh_from_db()
    before = of(row)
    assert before.likely_hours == D("3.03")
    stage = overhaul.stages.get(name="Strip")
    learning.take_likely(stage.pk, None, by=office)
    assert of(row) == before
    later = draft(office, overhaul)
    for line in later.lines.exclude(stage__name="Strip"):
        actions.remove_line(line.pk, None, by=office)
    later.refresh_from_db()
    assert later.lines.get().quantity == 3
    assert of(later).likely_hours == D("3.03")
    plans.edit_stage(stage.pk, None, by=office, standard_hours=D(9))
    assert of(row) == before, "a plan changed later changes no card"


def test_it_is_kept_when_issued_and_the_same_everywhere(office, mechanic, overhaul, now, api):
    row = draft(office, overhaul)
    client = api(office)
    assert client.get(f"estimates/{row.pk}/").json()["outlook"] is None
    row = actions.issue_estimate(row.pk, row.version, by=office)
    stated = client.get(f"estimates/{row.pk}/").json()["outlook"]
    found = outlook.read(row.outlook)
    assert (D(stated["likely"]), D(stated["careful_hours"])) == (found.likely, found.careful_hours)
    text = text_of(client.client.get(f"/api/v1/estimates/{row.pk}/pdf/", headers=client.headers))
    assert f"{found.likely:,}" in text
    assert f"{found.careful:,}" in text
    stage = row.card.stages.get(name="Strip")
    start, end = now.at(8), now.at(12)
    now.at(17)
    a_booking(mechanic, stage, start, end)
    cards.finish_stage(stage.pk, by=mechanic)
    row.refresh_from_db()
    assert outlook.read(row.outlook) == found == outlook.standing(row, list(row.lines.all()))


def test_a_quotation_shows_it_to_the_shop_alone(office, overhaul, api):
    row = draft(office, overhaul, kind="quotation")
    row = actions.issue_estimate(row.pk, row.version, by=office)
    client = api(office)
    stated = client.get(f"estimates/{row.pk}/").json()["outlook"]
    assert D(stated["likely"]) == D(stated["careful"]) == row.total_net, "the price is agreed"
    assert D(stated["careful_hours"]) > D(stated["likely_hours"])
    assert "four cases of five" not in text_of(
        client.client.get(f"/api/v1/estimates/{row.pk}/pdf/", headers=client.headers)
    )


@pytest.mark.parametrize(
    ("currency", "price", "shown"),
    [("KWD", "508.207", "KWD 508.207"), ("JPY", "508", "JP¥508"), ("EUR", "508.21", "€508.21")],
)
def test_it_has_the_decimals_of_its_currency(owner, office, monkeypatch, api, client, currency, price, shown):
    monkeypatch.setitem(make.PROFILE, "currency", currency)
    monkeypatch.setitem(make.PROFILE, "sundries_percent", D(0))
    card = make.card(owner)
    make.stage(owner, card, standard_hours=D(1))
    row = make.draft(office, card, kind="quotation")
    line = row.lines.get()
    actions.edit_line(line.pk, None, by=office, unit_price=D(price))
    row = actions.issue_estimate(row.pk, None, by=office)
    found = outlook.read(row.outlook)
    assert row.total_net == found.likely == found.careful == D(price)
    assert found.likely.as_tuple().exponent == D(price).as_tuple().exponent
    assert D(api(office).get(f"estimates/{row.pk}/").json()["outlook"]["likely"]) == D(price)
    client.force_login(office)
    page = client.get(f"/estimates/{row.pk}/").content.decode().replace("\u00a0", " ")
    assert page.split("What it may come to")[1].count(f"<summary>{shown} <small>") == 2


def test_discount_and_sundries_are_in_it(owner, office, overhaul):
    row = draft(office, overhaul)
    plain = of(row)
    row = actions.edit_estimate(
        row.pk, row.version, by=owner, discount_percent=D("10"), discount_reason="Regular customer"
    )
    cut = of(row)
    assert abs(cut.likely - plain.likely * D("0.9")) <= D("0.02")
    assert cut.likely_hours == plain.likely_hours


def test_a_firm_price_is_the_likely_one_to_the_cent(owner, office, overhaul):
    """However the document rounds its discount and its sundries."""
    row = draft(office, overhaul, kind="quotation")
    for price in ("0.33", "17.77", "5.19"):
        actions.add_line(
            row.pk, None, by=office, kind="part", text="Clip", quantity=D(1), unit="C62", unit_price=D(price)
        )
        for percent in ("7.5", "3.3"):
            row = actions.edit_estimate(
                row.pk, None, by=owner, discount_percent=D(percent), discount_reason="Regular customer"
            )
            found = of(row)
            assert found.likely == found.careful == row.total_net


def test_optional_work_counts_with_its_chance(office, overhaul):
    row = draft(office, overhaul)
    plain = of(row)
    line = row.lines.get(stage__name="Fit")
    actions.edit_line(line.pk, None, by=office, optional=True)
    row.refresh_from_db()
    found = of(row)
    assert found.options == 1
    assert found.likely_hours < plain.likely_hours
    assert found.careful > row.total_net, "the chance of one half reaches the careful figure"


def test_many_options_are_reckoned_in_bounded_time(office, overhaul):
    row = draft(office, overhaul)
    for n in range(12):
        actions.add_line(
            row.pk, None, by=office, kind="sundry", text=f"Option {n}", quantity=D(1), unit="LS", unit_price=D(100 + n),
            optional=True,
        )  # fmt: skip
    row.refresh_from_db()
    found = of(row)
    assert found.options == 12
    assert row.total_net < found.likely < row.total_net + 1300


def test_nothing_varies_nothing_said(office, overhaul):
    row = draft(office, overhaul)
    for line in row.lines.all():
        actions.remove_line(line.pk, None, by=office)
    actions.add_line(
        row.pk, None, by=office, kind="sundry", text="Transport", quantity=D(1), unit="LS", unit_price=D(90)
    )
    row.refresh_from_db()
    assert of(row) is None
    assert actions.issue_estimate(row.pk, row.version, by=office).outlook == {}
