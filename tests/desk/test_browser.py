"""In real Chromium: the bench by scanner and thumb, the counter by keyboard, every page of the desk without flaws."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest

from jobs.cards.models import Gate, JobCard, Stage
from jobs.draws import actions as draws
from jobs.draws.models import Draw
from jobs.timebook.models import TimeBooking
from shop.people.models import Person
from tests.browser.chromium import (
    chromium,  # noqa: F401
    cookies_of,
    visit,
)
from tests.factories.desk import Scene, clocked_on, people, scene
from tests.factories.timebook import working_hours

CODE = "4006381333931"  # the head gasket's

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def cast(transactional_db) -> dict[str, Person]:
    working_hours()
    return people()


@pytest.fixture
def busy(cast) -> Scene:
    """A day with a late card, a clock that runs and a part in hand."""
    scene(late=True)
    made = scene(stages=2)
    clocked_on(made.measure, cast["mechanic"])
    draws.draw(by=cast["mechanic"], stage_id=made.fit.pk, part_id=made.gasket.pk, quantity=Decimal(1))
    return made


def addresses(made: Scene) -> list[tuple[str, str]]:
    card = f"/cards/{made.card.pk}/"
    fit = f"{card}stages/{made.fit.pk}/"
    need = made.fit.needs.get(part=made.gasket)
    return [
        ("owner", "/"), ("office", "/"), ("mechanic", "/"), ("stores", "/"), ("mechanic", "/bench/"),
        ("owner", card), ("mechanic", card), ("mechanic", fit), ("mechanic", f"{card}stages/{made.measure.pk}/"),
        ("mechanic", f"{fit}draw/"), ("mechanic", f"{fit}draw/?part=SEA-070"), ("mechanic", f"{fit}draw/?part=NOPE-9"),
        ("mechanic", f"{fit}draw/?drawn={made.fit.draws.get().pk}"), ("mechanic", f"/draws/{made.fit.draws.get().pk}/"),
        ("office", f"{fit}needs/"), ("office", f"{fit}needs/?part=gasket"), ("office", f"/needs/{need.pk}/"),
        ("office", "/find/?q=brindle"), ("mechanic", "/find/"), ("office", "/find/?q=zebra"), ("stores", "/scan/?code=NOPE-9"),
        ("office", "/cards/new/"), ("office", "/cards/new/?q=quill"), ("office", "/cards/new/?new=Osk"),
        ("office", f"/cards/new/?customer={made.card.customer_id}"),
        ("office", f"/cards/new/?machine={made.card.machine_id}"), ("office", f"{card}hand-over/"),
        ("office", f"{card}cancel/"),
    ]  # fmt: skip


@pytest.mark.parametrize(("width", "dark"), [(360, False), (820, False), (1366, True)])
def test_no_page_has_a_flaw(chromium, live_server, cast, busy, width, dark):  # noqa: F811
    flaws = {}
    for who, path in addresses(busy):
        cookies = cookies_of(cast[who], live_server.url)
        with visit(chromium, live_server.url + path, width=width, dark=dark, cookies=cookies) as seen:
            if found := seen.flaws():
                flaws[who, path] = found
    assert flaws == {}


def test_targets_of_the_bench_are_big(chromium, live_server, cast, busy):  # noqa: F811
    cookies = cookies_of(cast["mechanic"], live_server.url)
    small = {}
    for path in (
        "/bench/",
        *(p for w, p in addresses(busy) if w == "mechanic" and ("/stages/" in p or "/draws/" in p)),
    ):
        with visit(chromium, live_server.url + path, width=360, cookies=cookies) as seen:
            sizes = seen.page.evaluate("""() => [...document.querySelectorAll(
                'main button, main .big, main .button, main .stage-title a, .bench-nav a, .bench-nav button')]
                .filter(e => e.checkVisibility()).map(e => [e.textContent.trim(), e.getBoundingClientRect().height])""")
            clocks = [box["height"] for c in seen.page.locator("button.clock").all() if (box := c.bounding_box())]
            assert all(height >= 120 for height in clocks), path
            if found := [s for s in sizes if s[1] < 64]:
                small[path] = found
    assert small == {}


def test_two_taps_from_the_stages_to_a_running_clock_and_the_second_clock_asks(chromium, live_server, cast):  # noqa: F811
    made = scene()
    jory = cast["mechanic"]
    with visit(chromium, f"{live_server.url}/bench/", width=360, cookies=cookies_of(jory, live_server.url)) as seen:
        page = seen.page
        page.get_by_role("button", name=re.compile("Clock on.*2 Measure")).click()  # one tap
        page.locator("button.clock.running").wait_for()
        assert page.locator(".clock-time").inner_text().startswith("0:0")
        page.get_by_role("link", name="Fit head with new gasket").click()
        page.get_by_role("button", name=re.compile("Sign.*Ports covered")).click()
        page.get_by_role("button", name="Start and clock on").click()
        assert page.get_by_role("heading", level=1).inner_text() == "Your clock runs elsewhere"
        page.get_by_role("button", name="End it and clock on here").click()
        page.locator("button.clock.running").wait_for()
        assert seen.console == ["Failed to load resource: the server responded with a status of 409 (Conflict)"]
    assert Gate.objects.get(text="Ports covered, faces clean").signed_by == jory
    rows = TimeBooking.objects.order_by("id")
    assert [(r.stage_id, r.ended_at is None) for r in rows] == [(made.measure.pk, False), (made.fit.pk, True)]


def test_draw_by_scanner_fit_note_and_finish(chromium, live_server, cast):  # noqa: F811
    """The whole stage on a phone: scan the card, draw by scans, fit, sign, finish."""
    made = scene()
    jory = cast["mechanic"]
    with visit(chromium, f"{live_server.url}/bench/", width=360, cookies=cookies_of(jory, live_server.url)) as seen:
        page = seen.page
        seen.scan(f"C{made.card.number}")
        page.wait_for_url(f"**/cards/{made.card.pk}/")
        page.get_by_role("link", name="Fit head with new gasket").click()
        page.get_by_role("button", name=re.compile("Sign.*Ports covered")).click()
        page.get_by_role("button", name="Start and clock on").click()
        page.locator("button.clock.running").wait_for()
        page.get_by_role("link", name="Draw parts").click()
        page.wait_for_url("**/draw/")
        seen.scan(CODE)
        page.get_by_role("button", name="This part").click()
        assert page.input_value("#id_quantity") == "1"
        page.get_by_role("button", name="Draw", exact=True).click()
        page.get_by_text("Drew 1 of GKT-041").wait_for()
        seen.scan("SEA-070")
        page.get_by_role("button", name="This part").click()
        page.fill("#id_quantity", "12,5")
        page.get_by_role("button", name="Draw", exact=True).click()
        page.get_by_text("Drew 12.5 ml of SEA-070").wait_for()
        page.get_by_role("link", name="Back to the stage").click()
        page.get_by_role("button", name="All of it is fitted").click()
        page.fill("#id_text", "Stud 3 was loose, renewed its thread.")
        page.get_by_role("button", name="Add the note").click()
        page.get_by_text("Noted.").wait_for()
        page.get_by_role("button", name=re.compile("Sign.*New circlips")).click()
        page.get_by_role("button", name="Finish the stage").click()
        page.get_by_text("Finished.").first.wait_for()
        assert (seen.console, seen.axe(), seen.sideways()) == ([], [], 0)
    stage = Stage.objects.get(pk=made.fit.pk)
    assert stage.finished_by == jory
    assert TimeBooking.objects.get(stage=stage).ended_at is not None
    assert {d.part.number: d.fitted for d in Draw.objects.all()} == {"GKT-041": 1, "SEA-070": Decimal("12.5")}
    assert stage.notes.get().text == "Stud 3 was loose, renewed its thread."


def test_a_scan_anywhere_on_the_confirming_page_leads_to_the_next_part(chromium, live_server, cast):  # noqa: F811
    made = scene()
    url = f"{live_server.url}/cards/{made.card.pk}/stages/{made.fit.pk}/draw/?part=SEA-070"
    with visit(chromium, url, width=360, cookies=cookies_of(cast["mechanic"], live_server.url)) as seen:
        seen.scan(CODE)
        seen.page.wait_for_url(f"**part={CODE}")
        assert "GKT-041" in seen.page.get_by_role("heading", level=1).inner_text()


def test_the_counter_by_keyboard_alone(chromium, live_server, cast):  # noqa: F811
    """Find, new customer, machine, complaint: no mouse."""
    with visit(chromium, f"{live_server.url}/", cookies=cookies_of(cast["office"], live_server.url)) as seen:
        page, keys = seen.page, seen.page.keyboard

        def until(selector: str) -> None:
            for _ in range(60):
                if page.evaluate(f"!!document.activeElement?.matches({selector!r})"):
                    return
                keys.press("Tab")
            raise AssertionError(f"no way to {selector} by Tab")

        until("a[href='/cards/new/']")
        keys.press("Enter")
        page.wait_for_url("**/cards/new/")
        keys.type("Osk Vane", delay=60)  # the search box has the focus
        keys.press("Enter")
        page.wait_for_url("**q=Osk*")
        until("a[href^='?new=']")
        keys.press("Enter")
        page.wait_for_url("**new=Osk*")
        assert page.input_value("#id_name") == "Osk Vane"
        until("#id_phone")
        keys.type("+353 00 555 0177", delay=60)
        until("main button[type=submit]")
        keys.press("Enter")
        page.wait_for_url("**customer=*")
        until("#id_kind")
        keys.type("pump engine", delay=60)
        until("#id_serial_no")
        keys.type("OW5-9", delay=60)
        until("main button[type=submit]")
        keys.press("Enter")
        page.wait_for_url("**machine=*")
        until("#id_complaint")
        keys.type("Won't start when cold.", delay=60)
        until("main button[type=submit]")
        keys.press("Enter")
        page.wait_for_url(re.compile(r"/cards/\d+/$"))
        assert seen.console == []
    card = JobCard.objects.get()
    assert (card.complaint, card.customer.name, card.machine.serial_no) == (
        "Won't start when cold.",
        "Osk Vane",
        "OW5-9",
    )


def test_all_of_it_works_without_a_script(chromium, live_server, cast):  # noqa: F811
    made = scene()
    cookies = cookies_of(cast["mechanic"], live_server.url)
    url = f"{live_server.url}/cards/{made.card.pk}/stages/{made.fit.pk}/"
    with visit(chromium, url, width=360, cookies=cookies, script=False) as seen:
        page = seen.page
        page.get_by_role("button", name=re.compile("Sign.*Ports covered")).click()
        page.get_by_role("button", name="Start and clock on").click()
        page.get_by_role("link", name="Draw parts").click()
        page.fill("#part", "gkt-041")
        page.get_by_role("button", name="This part").click()
        page.get_by_role("button", name="Draw", exact=True).click()
        page.get_by_role("button", name="Put it back").click()
        page.get_by_text("Put back.").wait_for()
        page.goto(f"{live_server.url}/bench/")
        page.get_by_role("button", name="Clock off").click()
        page.get_by_text("Clocked off.").wait_for()
    assert Draw.objects.get().returned == 1
    assert not TimeBooking.objects.filter(ended_at=None).exists()
