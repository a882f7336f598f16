"""The customer's link on a phone: the document is read, lines are answered with yes and no, and it is signed by finger."""

from __future__ import annotations

import io
import os
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.files.storage import default_storage
from PIL import Image

from jobs.estimates import actions as estimates
from jobs.estimates import outlook
from jobs.machines import actions as machines
from jobs.replies import actions
from jobs.replies.models import Reply
from shop.documents import actions as documents
from shop.documents import uploads
from tests.factories import estimates as quote
from tests.factories import replies as make

from .chromium import WIDTHS, chromium, cookies_of, visit  # noqa: F401

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PHONE = {"width": 360, "height": 740}


@pytest.fixture
def link(owner, settings, tmp_path):
    """To an estimate with a note, a long word in a line, something optional, and two photos of which one is ticked."""
    settings.MEDIA_ROOT = tmp_path
    card, *_ = quote.job(owner)
    for n, colour in enumerate(((140, 120, 90), (60, 90, 120))):
        out = io.BytesIO()
        Image.new("RGB", (800, 600), colour).save(out, "JPEG")
        (photo,) = documents.add_files(
            "jobcard", card.pk, [uploads.inspect(f"p{n}.jpg", out.getvalue())], title="Bore 2, scored", by=owner
        )
        if not n:
            documents.show_customer(photo.pk, by=owner, shown=True)
    draft = quote.draft(owner, card)
    estimates.add_line(draft.pk, None, by=owner, text="Paint it harbour grey", unit_price=Decimal(90), optional=True)
    estimates.add_line(
        draft.pk, None, by=owner, text="W" * 90, detail="سطر من اليمين\n<b>no markup</b>", unit_price=Decimal(9)
    )
    estimates.edit_estimate(draft.pk, None, by=owner, note="Payable on collection.")
    return make.link(owner, estimates.issue_estimate(draft.pk, None, by=owner))


def picture(page, name: str) -> None:
    if out := os.environ.get("TALLYBENCH_OUT"):
        folder = Path(out, "screenshots", "customer-link")
        folder.mkdir(parents=True, exist_ok=True)
        page.screenshot(path=folder / f"{name}.png", full_page=True)


def say(page, text: str, word: str) -> None:
    page.locator("fieldset", has_text=text).get_by_role("radio", name=word, exact=True).check()


def sign(page) -> None:
    page.locator("canvas").scroll_into_view_if_needed()
    box = page.locator("canvas").bounding_box()
    page.mouse.move(box["x"] + 20, box["y"] + box["height"] - 20)
    page.mouse.down()
    for n in range(1, 12):
        page.mouse.move(box["x"] + 20 + n * 22, box["y"] + (20 if n % 2 else box["height"] - 20), steps=4)
    page.mouse.up()


def test_yes_and_no_line_by_line_with_a_finger(chromium, live_server, link):  # noqa: F811
    with visit(chromium, live_server.url + make.path(link), **PHONE) as seen:
        page = seen.page
        assert seen.flaws() == []
        picture(page, "1-opened")
        assert page.locator("img").count() == 1, "the photo that was not ticked is not there"
        say(page, "Fit rings and pistons", "yes")
        say(page, "Run on the brake", "no")
        sign(page)
        page.fill("#name", "Niamh Tolan")
        picture(page, "2-signed")
        seen.weights.clear()
        page.get_by_role("button", name="Send my answer").click()
        page.get_by_text("Thank you. Your answer is with us.").wait_for()
        assert seen.flaws() == []
        picture(page, "3-answered")
        assert page.get_by_text("you said yes").count() == 1
        assert page.get_by_text("you said no").count() == 1
        assert page.locator("fieldset").count() == link.estimate.lines.count() - 2
        assert page.context.cookies() == []
    reply = Reply.objects.get()
    assert [x["accepted"] for x in reply.wording["lines"]].count(True) == 1
    with default_storage.open(reply.signature.file.name) as stored:
        ink = Image.open(stored).convert("L")
    assert ink.size == (600, 220)
    dark = sum(ink.histogram()[:128])
    assert 500 < dark < ink.width * ink.height / 4, "a line was drawn"


def test_without_javascript_a_name_is_enough(chromium, live_server, link):  # noqa: F811
    with visit(chromium, live_server.url + make.path(link), **PHONE, script=False) as seen:
        page = seen.page
        assert not page.locator("canvas").is_visible()
        page.fill("#name", "Niamh Tolan")
        page.get_by_role("button", name="Yes to everything but what is optional").click()
        page.get_by_text("Thank you. Your answer is with us.").wait_for()
        assert page.locator("fieldset").count() == 1, "what is optional is still open"
    assert Reply.objects.get().signature is None


def test_a_mistake_is_shown_and_what_was_chosen_stays(chromium, live_server, link):  # noqa: F811
    with visit(chromium, live_server.url + make.path(link), **PHONE) as seen:
        page = seen.page
        say(page, "Fit rings and pistons", "yes")
        page.evaluate("document.getElementById('reply').noValidate = true")
        seen.weights.clear()
        page.get_by_role("button", name="Send my answer").click()
        page.get_by_role("alert").wait_for()
        assert page.get_by_role("link", name="Please type your name.").is_visible()
        chosen = page.locator("fieldset", has_text="Fit rings and pistons").get_by_role("radio", name="yes", exact=True)
        assert chosen.is_checked()
        picture(page, "4-mistake")
        seen.console.clear()  # Chromium tells of the 422 it asked for
        assert seen.flaws() == []
    assert not Reply.objects.exists()


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", WIDTHS)
def test_good_in_the_hand_at_every_width(chromium, live_server, link, width, dark):  # noqa: F811
    with visit(chromium, live_server.url + make.path(link), width=width, dark=dark) as seen:
        assert seen.flaws() == []
        picture(seen.page, f"5-{width}{'-dark' if dark else ''}")


def test_a_closed_link_and_an_unknown_one(chromium, live_server, link, owner):  # noqa: F811
    actions.revoke_link(link.pk, by=owner)
    for name, path in (("closed", make.path(link)), ("unknown", f"/r/{'A' * 43}/")):
        with visit(chromium, live_server.url + path, **PHONE) as seen:
            seen.console.clear()
            assert seen.flaws() == []
            assert seen.page.get_by_role("link").all_inner_texts() == ["+353 00 555 0142"]
            picture(seen.page, f"6-{name}")


def test_where_the_office_makes_it(chromium, live_server, link, owner):  # noqa: F811
    cookies = cookies_of(owner, live_server.url)
    for width in (360, 1366):
        with visit(
            chromium, f"{live_server.url}/estimates/{link.estimate_id}/links/", width=width, cookies=cookies
        ) as seen:
            assert seen.flaws() == []
            picture(seen.page, f"7-office-{width}")
    make.Phone(link).send({x.pk: "yes" for x in link.estimate.lines.all()})
    for width in (360, 1366):
        with visit(chromium, f"{live_server.url}/estimates/{link.estimate_id}/", width=width, cookies=cookies) as seen:
            seen.page.locator("details.proof summary").click()
            assert seen.flaws() == []
            picture(seen.page, f"8-estimate-{width}")


def test_the_range_stands_on_the_page(link):
    assert outlook.standing(link.estimate, list(link.estimate.lines.all())) is not None
    assert b"How sure" not in make.Phone(link).open().content
    assert b"Careful: " in make.Phone(link).open().content


@pytest.mark.parametrize(("limit", "words"), [("300", "Go on within the limit"), ("50", "That is beyond it")])
def test_a_notice_within_the_limit_and_beyond(chromium, live_server, owner, settings, tmp_path, limit, words):  # noqa: F811
    settings.MEDIA_ROOT = tmp_path
    customer = quote.customer()
    machines.edit_customer(customer.pk, None, by=owner, extra_work_limit=Decimal(limit))
    card, *_ = quote.job(owner, customer)
    quote.agreed(owner, card)
    quote.stage(owner, card, "Weld the manifold", kind="rework", standard_hours=Decimal(1))
    notice = quote.issued(owner, card, kind="additional")
    cookies = cookies_of(owner, live_server.url)
    for width in (360, 1366):
        with visit(chromium, f"{live_server.url}/estimates/{notice.pk}/", width=width, cookies=cookies) as seen:
            assert seen.page.get_by_text(words).is_visible()
            assert seen.flaws() == []
            picture(seen.page, f"9-limit-{limit}-{width}")
    with visit(chromium, f"{live_server.url}/customers/{customer.pk}/", cookies=cookies) as seen:
        assert seen.page.get_by_text(f"up to €{limit}.00 on a card, before tax").is_visible()
