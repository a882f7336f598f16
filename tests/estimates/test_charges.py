"""Charges follow their part: onto an estimate, in quantity, through revisions, and with the customer's word."""

from __future__ import annotations

from decimal import Decimal as D

import pytest
from django.urls import reverse

from inventory.parts import actions as parts
from jobs.estimates import actions, queries
from jobs.estimates.models import EstimateLine
from jobs.replies import actions as replies
from jobs.replies import tokens
from jobs.replies.models import Reply
from shop.kernel import clock
from shop.kernel.errors import BadInput
from tests.documents import reading
from tests.factories import charges as made
from tests.factories import estimates as quote

pytestmark = pytest.mark.django_db


def lines(estimate):
    return [(x.kind, x.quantity, x.net) for x in estimate.lines.all()]


def by_kind(estimate) -> dict[str, EstimateLine]:
    return {x.kind: x for x in estimate.lines.all()}


def test_gathered_with_the_part(owner):
    card, fit, part = made.job(owner)
    found = quote.draft(owner, card)
    assert lines(found) == [
        ("labour", 1, D("68.00")), ("part", 2, D("176.00")), ("sundry", 1, D("6.10")),
        ("environmental", 2, D("0.80")), ("core", 2, D("25.00")),
    ]  # fmt: skip
    kinds = by_kind(found)
    for kind in ("core", "environmental"):
        assert kinds[kind].accompanies_id == kinds["part"].pk
        assert (kinds[kind].stage_id, kinds[kind].part_id) == (fit.pk, part.pk)
        assert kinds[kind].detail == "INJ-521 Injector nozzle, B2"
    assert found.total_net == D("275.90")


def test_by_hand_in_the_parts_quantity_and_gone_with_it(owner):
    card, _, part = made.job(owner)
    found = quote.draft(owner, card)
    for line in found.lines.filter(kind="part"):
        actions.remove_line(line.pk, None, by=owner)
    assert set(by_kind(found)) == {"labour", "sundry"}
    line = actions.add_line(found.pk, None, by=owner, part_id=part.pk, quantity=D(3), optional=True)
    charges = list(line.charges.order_by("position"))
    assert [(x.kind, x.quantity, x.optional, x.net) for x in charges] == [
        ("environmental", 3, True, D("1.20")), ("core", 3, True, D("37.50")),
    ]  # fmt: skip
    actions.edit_line(line.pk, None, by=owner, quantity=D(1), optional=False, pricing="fixed")
    charges = list(line.charges.order_by("position"))
    assert [(x.quantity, x.optional, x.pricing) for x in charges] == [(1, False, "fixed")] * 2
    for name, value in {"quantity": D(2), "optional": True, "pricing": "as-done", "kind": "sundry"}.items():
        with pytest.raises(BadInput) as refusal:
            actions.edit_line(charges[0].pk, None, by=owner, **{name: value})
        assert refusal.value.code == "goes-with-part"
    with pytest.raises(BadInput, match="go together"):
        actions.edit_line(line.pk, None, by=owner, kind="sundry")
    actions.edit_line(charges[0].pk, None, by=owner, unit_price=D(2), text="Disposal, agreed")
    actions.remove_line(charges[1].pk, None, by=owner)  # no deposit from this customer
    assert list(line.charges.values_list("net", flat=True)) == [D(2)]


def test_a_discount_on_the_whole_is_not_of_core_deposits(owner):
    found = quote.draft(owner, made.job(owner)[0])
    before = found.total_net
    actions.edit_estimate(found.pk, None, by=owner, discount_percent=D(10), discount_reason="Old customer")
    found.refresh_from_db()
    # 10 % of 275.90 - 25.00 = 25.09
    assert before - found.total_net == D("25.09")
    (group,) = found.tax_groups
    assert (D(group["lines"]), D(group["discount"]), D(group["base"])) == (D("275.90"), D("25.09"), D("250.81"))


def test_the_word_on_a_part_is_the_word_on_its_charges(owner):
    found = quote.issued(owner, made.job(owner)[0])
    kinds = by_kind(found)
    core, part = kinds["core"], kinds["part"]
    for answers in ({core.pk: True}, {core.pk: True, part.pk: False}):
        with pytest.raises(BadInput) as refusal:
            quote.say(owner, found, answers)
        assert refusal.value.code == "goes-with-part"
    assert not found.go_aheads.exists()
    quote.say(owner, found, {part.pk: False, kinds["labour"].pk: True})
    words = {x.kind: queries.word(queries.answers(found)[x.pk]) for x in kinds.values()}
    declined = dict.fromkeys(("part", "core", "environmental"), "declined")
    assert words == {"labour": "accepted", "sundry": "open"} | declined
    quote.say(owner, found, {part.pk: True, core.pk: True})
    assert queries.word(queries.answers(found)[kinds["environmental"].pk]) == "accepted"


def test_a_revision_keeps_them_together(owner):
    old = quote.agreed(owner, made.job(owner)[0])
    new = actions.new_revision(old.pk, by=owner)
    kinds = by_kind(new)
    assert {x.accompanies_id for x in kinds.values() if x.kind in ("core", "environmental")} == {kinds["part"].pk}
    actions.edit_line(kinds["part"].pk, None, by=owner, quantity=D(4))
    actions.issue_estimate(new.pk, None, by=owner)
    assert by_kind(new)["core"].quantity == 4
    assert queries.word(queries.answers(new)[kinds["core"].pk]) == "accepted"  # as before, until answered anew
    with pytest.raises(BadInput):
        quote.say(owner, new, {kinds["core"].pk: False})


def test_a_draft_can_be_discarded(owner):
    found = quote.draft(owner, made.job(owner)[0])
    actions.discard_estimate(found.pk, None, by=owner)
    assert not EstimateLine.objects.exists()


def test_api_states_what_a_charge_goes_with(owner, api):
    found = quote.issued(owner, made.job(owner)[0])
    rows = api(owner).get("estimate-lines/", estimate_id=found.pk).json()["items"]
    part = next(x["id"] for x in rows if x["kind"] == "part")
    assert {x["kind"]: x["accompanies_id"] for x in rows if x["accompanies_id"]} == {
        "environmental": part, "core": part,
    }  # fmt: skip
    core = next(x for x in rows if x["kind"] == "core")
    assert core["how"][:2] == [
        "Quantity: that of its part INJ-521.",
        f"Price: what the catalogue says is charged with one INJ-521, as of {clock.today()}.",
    ]  # fmt: skip
    said = {"how": "phone", "said_by": "Niamh Tolan", "said_at": found.issued_at.isoformat()}
    alone = api(owner).post(
        f"estimates/{found.pk}/go-ahead/", said | {"answers": [{"line_id": core["id"], "accepted": True}]}
    )
    assert (alone.status_code, alone.json()["type"]) == (400, "/api/problems/goes-with-part")


def test_pages_ask_for_the_part_alone(client, owner, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    found = quote.issued(owner, made.job(owner)[0])
    kinds = by_kind(found)
    client.force_login(owner)
    page = client.get(reverse("estimates:go-ahead", args=[found.pk])).content.decode()
    assert f'name="line_{kinds["part"].pk}"' in page
    assert f'name="line_{kinds["core"].pk}"' not in page
    assert "with it: Deposit on the old nozzle" in page
    link = replies.make_link(found.pk, by=owner)
    client.logout()
    address = reverse("replies:document", args=[tokens.token(link.nonce, found.pk)])
    shown = client.get(address).content.decode()
    assert f'name="line_{kinds["core"].pk}"' not in shown
    assert "goes with the part, with the same answer" in shown
    key = shown.split('name="key" value="')[1].split('"')[0]
    sent = {f"line_{kinds['part'].pk}": "yes", f"line_{kinds['core'].pk}": "no", "name": "Niamh Tolan", "key": key}
    assert client.post(address, sent).status_code == 303
    words = {x.kind: queries.word(queries.answers(found)[x.pk]) for x in kinds.values()}
    assert (words["part"], words["core"], words["environmental"]) == ("accepted",) * 3
    kept = Reply.objects.get().wording["lines"]
    assert {x["line_id"] for x in kept} == {kinds[k].pk for k in ("part", "core", "environmental")}


@pytest.mark.parametrize(("language", "words"), [("en", "Core deposits"), ("de", "Altteilpfand")])
def test_on_paper_in_sections_of_their_own(owner, language, words):
    from jobs.estimates import printing

    found = quote.draft(owner, made.job(owner)[0])
    actions.add_line(found.pk, None, by=owner, kind="freight", text="Van to the quay", unit_price=D(18))
    found.refresh_from_db()
    found.language = language
    paper = reading.text(printing.pdf(found))
    for text in (words, "Deposit on the old nozzle", {"en": "Freight", "de": "Fracht"}[language], "Van to the quay"):
        assert text in paper


def test_an_archived_charge_comes_with_nothing_new(owner):
    card, _, part = made.job(owner)
    found = quote.draft(owner, card)
    for row in part.charges.all():
        parts.archive_charge(row.pk, None, by=owner)
    assert by_kind(found)["core"].net == D("25.00")
    line = actions.add_line(found.pk, None, by=owner, part_id=part.pk)
    assert not line.charges.exists()
