"""QUALITY, "Good in the hand": every page of the project, for each role that may open it, in the invented shop as the
README's first command serves it. A new route fails here until it has an example in addresses.py.

Figures of the main pages on a slow phone are written to $TALLYBENCH_OUT/measures.txt.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from shop.kernel.rights import RIGHTS
from tests.factories.processes import Shop

from .addresses import Route, routes
from .chromium import chromium  # noqa: F401
from .looking import Walk, slow_phone
from .saltmarsh import PEOPLE, saltmarsh, signed_in

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        os.environ.get("DATABASE_URL", "").startswith("postgres"),
        reason="needs SQLite: it looks at pages, which are the same on both",
    ),
]

# states of a page that only a query brings about; {names} are filled from the invented shop
QUERIES = (
    ("find.read", "/find/?q=brindlecote"), ("find.read", "/find/?q=zebra"), ("find.read", "/scan/?code=NOPE-9"),
    ("cards.edit", "/cards/new/?q=quay"), ("cards.edit", "/cards/new/?new=Osk"),
    ("cards.edit", "/cards/new/?customer={customer}"), ("cards.edit", "/cards/new/?machine={machine}"),
    ("draws.draw", "/cards/{card}/stages/{stage}/draw/?part=GKT-041"),
    ("draws.draw", "/cards/{card}/stages/{stage}/draw/?part=gasket"),
    ("draws.plan", "/cards/{card}/stages/{stage}/needs/?part=GKT-041"), ("time.book", "/hours/book/?card={number}"),
    ("cards.read", "/cards/?state=handed-over"), ("invoices.read", "/invoices/?state=open"),
    ("draws.move", "/needs/{needy}/move/?source={rival}:&quantity=1"),
    ("home.read", "/no-such-page/"), ("home.read", "/people/add/"), ("home.read", "/invoices/"),
)  # fmt: skip
MAIN = (
    ("owner", "/"), ("office", "/"), ("mechanic", "/"), ("stores", "/"), ("mechanic", "/bench/"), ("office", "/cards/{card}/"),
    ("mechanic", "/cards/{card}/stages/{stage}/"), ("mechanic", "/cards/{card}/stages/{stage}/draw/"), ("office", "/cards/"),
    ("office", "/cards/new/"), ("office", "/estimates/{estimate}/"), ("office", "/invoices/{invoice}/"),
    ("stores", "/stock/"), ("stores", "/parts/"), ("office", "/find/?q=brindlecote"),
)  # fmt: skip


@pytest.fixture(scope="module")
def shop(chromium) -> Iterator[Shop]:  # noqa: F811
    with saltmarsh() as made:
        furnish(chromium, made)
        yield made


def furnish(browser: Any, shop: Shop) -> None:
    """What the invented shop has none of: a photo on a card, a table brought in with findings."""
    from PIL import Image

    photo = shop.folder / "injector.png"
    Image.new("RGB", (640, 480), (90, 110, 120)).save(photo)
    table = shop.folder / "more-parts.csv"
    table.write_text("number,name,kind,unit,sale_price\nGKT-777,Cover gasket,gasket,C62,4.20\nGKT-778,,gasket,C62,x\n")
    office = signed_in(browser, shop, "owner")
    page = office.new_page()
    card = shop.sql("SELECT max(id) FROM jobs_cards_jobcard WHERE finished_at IS NULL AND cancelled_at IS NULL")[0][0]
    page.goto(f"{shop.address}/cards/{card}/")
    page.set_input_files("main input[type=file]", photo)
    page.get_by_role("button", name="Add", exact=True).click()
    page.locator("main img").first.wait_for()
    page.goto(f"{shop.address}/import/")
    page.select_option("main select[name=kind]", "parts")
    page.set_input_files("main input[type=file]", table)
    page.get_by_role("button", name="Check the file").click()
    page.wait_for_url("**/import/*/")
    office.close()


def names(shop: Shop) -> dict[str, Any]:
    """A card with a stage in hand, and papers."""
    card, stage, number, customer, machine = shop.sql(
        "SELECT c.id, s.id, c.number, c.customer_id, c.machine_id FROM jobs_cards_stage s JOIN jobs_cards_jobcard c"
        " ON c.id = s.card_id WHERE s.started_at IS NOT NULL AND s.finished_at IS NULL ORDER BY s.id DESC LIMIT 1"
    )[0]
    estimate = shop.sql("SELECT max(id) FROM jobs_estimates_estimate WHERE issued_at IS NOT NULL")[0][0]
    invoice = shop.sql("SELECT max(id) FROM jobs_invoices_invoice WHERE issued_at IS NOT NULL")[0][0]
    needy, rival = shop.sql(
        "SELECT a.id, b.id FROM jobs_draws_need a JOIN jobs_draws_need b ON b.part_id = a.part_id AND b.id <> a.id"
        " JOIN inventory_stock_reservation r ON r.id = b.reservation_id AND r.ended_at IS NULL"
        " JOIN jobs_cards_stage s ON s.id = a.stage_id JOIN jobs_cards_jobcard c ON c.id = s.card_id"
        " WHERE a.drawn = 0 AND a.reservation_id IS NULL AND a.removed_at IS NULL AND a.declined_at IS NULL"
        " AND s.finished_at IS NULL AND s.removed_at IS NULL AND c.finished_at IS NULL AND c.cancelled_at IS NULL LIMIT 1"
    )[0]
    return {
        "card": card, "stage": stage, "number": number, "customer": customer, "machine": machine, "estimate": estimate,
        "invoice": invoice, "needy": needy, "rival": rival,
    }  # fmt: skip


@pytest.fixture(scope="module")
def known(shop) -> list[Route]:
    return routes(shop.sql)


def may(role: str, right: str | None) -> bool:
    return right is None or role in RIGHTS[right]


@pytest.fixture(scope="module")
def alike() -> set[str]:
    """What somebody was shown already."""
    return set()


def pages_of(role: str, shop: Shop, known: list[Route], most: int = 99) -> list[str]:
    """Addresses of all pages this role may open, of each route at most so many."""
    given = names(shop)
    paths = [path for r in known if may(role, r.right) and not r.document for path in r.paths[:most]]
    return paths + [path.format(**given) for right, path in QUERIES if may(role, right)]


@pytest.mark.parametrize("role", PEOPLE)
def test_every_page_is_good_in_the_hand(chromium, shop, known, alike, role):  # noqa: F811
    """All checks at 360 px, what spills over also wider, colours also in the dark. What another role was shown just so is
    not looked at twice."""
    walk = Walk(signed_in(chromium, shop, role, viewport={"width": 360, "height": 740}), shop.address)
    found, been = {}, set()
    for path in pages_of(role, shop, known):
        landed = walk.open(path)
        if landed in been or (shown := walk.print_()) in alike:
            continue
        been.add(landed)
        alike.add(shown)
        if flaws := walk.flaws(dark=True):
            found[landed] = flaws
    walk.context.close()
    assert found == {}
    assert len(been) > 5


def test_a_form_sent_empty_says_what_is_missing(chromium, shop, known):  # noqa: F811
    """Nothing required is taken as empty, and the page that says so is as good as the one before."""
    walk = Walk(signed_in(chromium, shop, "owner", viewport={"width": 360, "height": 740}), shop.address)
    found, sent = {}, 0
    for path in dict.fromkeys(pages_of("owner", shop, known, most=2)):
        walk.open(path)
        for index in range(walk.forms()):
            if index:
                walk.open(path)
            walk.send_empty(index)
            sent += 1
            flaws = walk.flaws()
            if walk.status != 422 and not walk.page.locator(".messages .problem").count():
                flaws.append(f"answered {walk.status} without a word")
            if flaws:
                found[path, index] = flaws
    walk.context.close()
    assert found == {}
    assert sent > 20


def test_every_route_was_opened_by_someone(known):
    assert [r.pattern for r in known if not any(may(role, r.right) for role in PEOPLE)] == []
    assert len(known) > 80


@pytest.mark.parametrize("role", PEOPLE)
def test_every_document_comes_as_a_file(chromium, shop, known, role):  # noqa: F811
    context = signed_in(chromium, shop, role)
    for route in (r for r in known if r.document and may(role, r.right)):
        for path in route.paths:
            answer = context.request.get(shop.address + path)
            assert answer.status == 200, path
            assert not answer.headers["content-type"].startswith("text/html"), path
    context.close()


def test_figures_on_a_slow_phone(chromium, shop):  # noqa: F811
    """Jumping is a fault; times are the machine's, and written down."""
    given, lines, jumps = names(shop), [], {}
    states = {role: signed_in(chromium, shop, role) for role in PEOPLE}
    kept = {role: context.storage_state() for role, context in states.items()}
    for role, path in MAIN:
        path = path.format(**given)
        told = slow_phone(chromium, shop.address + path, kept[role])
        lines.append(
            f"{role:<9} {path:<42} LCP {told['lcp']:6.0f} ms {told['what']:<6} CLS {told['cls']:.3f}  "
            f"{told['bytes'] / 1000:6.1f} kB, script {told['script'] / 1000:5.1f} kB, {told['requests']:2} requests"
        )
        if told["cls"] > 0.1:
            jumps[path] = told["cls"]
    for context in states.values():
        context.close()
    out = os.environ.get("TALLYBENCH_OUT")
    if out:
        Path(out, "measures.txt").write_text("\n".join(lines) + "\n")
    print("\n".join(lines))
    assert jumps == {}
