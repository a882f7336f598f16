"""Who may do what: every route x method x person x {what is there, what is not}, against the one table of rights.

A route that is added is walked at once: it fails until it names a right of `shop/kernel/rights.py` (or stands on the short
list of open ones), until its placeholders are known here, and wherever it lets somebody in whom the table does not.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction
from django.http import HttpResponse
from django.urls import get_resolver, path

from shop.config.urls import *  # noqa: F403 - the project's URL map, with one careless route more
from shop.config.urls import urlpatterns as real
from shop.kernel.rights import RIGHTS

from .routes import METHODS, Route, all_routes, needed_in_query
from .world import ACTORS, MISSING, World

pytestmark = pytest.mark.django_db

OPEN = {
    "/healthz": "says only whether the shop answers",
    "/api/v1/openapi.json": "describes the API, holds no data of the shop",
    "/api/reference/<name>/": "the same, to read",
    "/api/problems/": "what a refusal means",
    "/api/problems/<code>": "what a refusal means",
    "/api/": "the same, to read; and 404 for whatever else is below",
    "/sign-in/": "how one gets in",
    "/sign-in/code/": "the second step of it, after the password",
    "/sign-out/": "how one gets out",
    "/tablet/": "names to choose from; shows them only on a trusted tablet",
    "/tablet/<pk>/": "the PIN of one of them; only on a trusted tablet",
    "/r/<token>/": "an estimate for its customer, who holds the token",
    "/r/<token>/document.pdf": "the same as issued",
    "/r/<token>/photos/<pk>/": "photos ticked for that customer",
    "/r/<token>/photos/<pk>/small/": "the same, small",
}

# What stands for a placeholder of a page, by the path up to it. In the API the first word of the path says it.
STANDS_FOR = {
    "/outbox/<pk>": "outbox", "/me/tokens/<pk>": "tokens", "/people/<pk>": "people", "/tablets/<pk>": "tablets",
    "/files/<subject>": "=jobcard", "/files/<subject>/<subject_id>": "cards", "/files/<pk>": "files",
    "/business/sites/<pk>": "sites", "/business/hours/<weekday>": "=6", "/business/hours/rows/<pk>": "working-hours",
    "/business/closed-days/<pk>": "closed-days", "/business/vat/<pk>": "tax-rates",
    "/business/labour/<pk>": "labour-rates", "/parts/<pk>": "parts", "/stock/lots/<pk>": "lots", "/stock/lots/<lot_id>": "lots",
    "/stock/lots/<lot_id>/in/<bin_id>": "bins", "/stock/bins/<pk>": "bins", "/stock/reservations/<pk>": "reservations", "/stock/counts/<pk>": "counts",
    "/stock/counts/lines/<pk>": "count-lines", "/recall/lots/<pk>": "lots",
    "/recall/lots/<pk>/customers/<customer>": "customers",
    "/parts/barcodes/<pk>": "barcodes", "/parts/packages/<pk>": "packages", "/parts/replacements/<pk>": "replacements",
    "/parts/alternatives/<pk>": "alternatives",
    "/parts/charges/<pk>": "part-charges", "/invoices/cores/<line>": "cores-out",
    "/invoices/cores/records/<pk>": "core-returns",
    "/parts/prices/<pk>": "price-rules",
    "/parts/kits/<pk>": "kit-parts",
    "/customers/<pk>": "customers", "/customers/<customer>": "customers", "/machines/<pk>": "machines",
    "/plans/<pk>": "plans", "/plans/stages/<pk>": "plan-stages", "/plans/gates/<pk>": "plan-gates",
    "/plans/parts/<pk>": "plan-parts", "/hours/people/<pk>": "people", "/hours/<pk>": "time-bookings",
    "/hours/attendance/<pk>": "attendances",
    "/sent-out/<pk>": "sublet-bills", "/cards/<pk>": "cards", "/cards/<card>": "cards", "/cards/<card>/stages/<pk>": "stages",
    "/cards/<card>/stages/<stage>": "stages", "/cards/<card>/gates/<pk>": "gates", "/draws/<pk>": "draws",
    "/needs/<pk>": "needs", "/trays/<pk>": "trays", "/estimates/<pk>": "estimates", "/estimates/<pk>/lines/<line>": "estimate-lines", "/estimates/links/<pk>": "customer-links",
    "/invoices/<pk>": "invoices", "/invoices/<pk>/lines/<line>": "invoice-lines", "/payments/<pk>": "payments",
    "/accounts/letters/<pk>": "reminders", "/accounts/disputes/<pk>": "disputes",
    "/suppliers/<pk>": "suppliers", "/suppliers/offers/<pk>": "offers", "/orders/part/<pk>": "parts",
    "/orders/<pk>": "purchase-orders", "/orders/lines/<pk>": "purchase-order-lines",
    "/supplier-invoices/<pk>": "supplier-invoices", "/supplier-invoices/new/<pk>": "suppliers",
    "/supplier-invoices/incoming/<pk>": "incoming-invoices",
    "/receipts/<pk>": "goods-receipts", "/receipts/lines/<pk>": "goods-receipt-lines", "/reorder/rules/<pk>": "reorder-rules",
    "/reorder/<pk>": "reorder-proposals", "/alerts/<pk>": "alerts", "/import/<pk>": "imports", "/import/empty/<kind>": "=parts", "/export/<kind>": "=stock",
    "/labels/papers/<pk>": "label-papers",
    "/export/<kind>.<form>": "=csv", "/api/v1/exports/<pk>": "=stock",
}  # fmt: skip

# Answered only for an issued one.
ISSUED = {f"{start}{end}": "issued-invoices" for start, end in (
    ("/api/v1/invoices/<pk>/", "cii/"), ("/api/v1/invoices/<pk>/", "ubl/"), ("/invoices/<pk>/", "cii.xml"),
    ("/invoices/<pk>/", "ubl.xml"),
)}  # fmt: skip

# A press without the value of its button is none of ours.
BUTTONS = {"/machines/<pk>/move/", "/receipts/<pk>/came/", "/cards/<card>/stages/<pk>/move/"}


def place_of(route: Route, placeholder: str) -> str:
    if route.path in ISSUED:
        return ISSUED[route.path]
    until = route.path[: route.path.index(f"<{placeholder}>")] + f"<{placeholder}>"
    if until in STANDS_FOR:
        return STANDS_FOR[until]
    if route.api:
        return route.path.removeprefix("/api/v1/").split("/")[0]
    raise AssertionError(f"say in STANDS_FOR what stands for {until}")


def address(route: Route, world: World, actor: str, *, missing: bool = False, **instead: Any) -> str:
    """The path with ids in it; `missing`: the last of them is of nothing."""
    found = route.path
    for placeholder in route.placeholders:
        place = place_of(route, placeholder)
        value = place[1:] if place.startswith("=") else world.here(place, actor)
        if missing and placeholder == [p for p in route.placeholders if p != "form"][-1]:
            value = MISSING if str(value).isdecimal() else "nosuch"
        found = found.replace(f"<{placeholder}>", str(instead.get(placeholder, value)))
    return found


def ask(client: Any, method: str, where: str, *, api: bool, query: dict[str, Any] | None = None) -> Any:
    """The answer; whatever it changed is undone."""
    with transaction.atomic():
        if method == "GET":
            answer = client.get(where, query or {})
        elif api:
            headers = {"If-Match": '"1-0"'} if method in ("PATCH", "DELETE") else {"Idempotency-Key": str(uuid.uuid4())}
            answer = client.generic(method, where, "{}", content_type="application/json", headers=headers)
        else:
            answer = client.generic(
                method, where, f"once={uuid.uuid4()}", content_type="application/x-www-form-urlencoded"
            )
        transaction.set_rollback(True)
    return answer


def expected(route: Route, method: str, rights: frozenset[str], actor: str, *, missing: bool) -> set[int]:
    """The statuses that are right. What an allowed posting without content may answer is wide; what it may not is not."""
    if method not in route.rights:
        return {405}
    right = route.rights[method]
    if right not in rights:
        if actor != "anonymous":
            return {403}
        return {401} if route.api or method != "GET" else {302}
    if method == "GET":
        return {404} if missing else {200, 302}
    if missing:
        return {400, 404} if route.api else {404}
    done = {200, 201, 204, 302, 303}
    return done | {400, 409, 412, 415, 422, 428} | ({404} if route.path in BUTTONS else set())


def judged(routes: list[Route], world: World, actor: str) -> Iterator[str]:
    """What is not as it should be."""
    client, rights = world.client(actor), world.rights(actor)
    for route in routes:
        if route.open:
            continue
        query = {name: world.ids[f"{name.removesuffix('_id')}s"] for name in needed_in_query(route.path)}
        for missing in (False, True) if route.placeholders else (False,):
            for method in METHODS:
                where = address(route, world, actor, missing=missing)
                answer = ask(client, method, where, api=route.api, query=query)
                wanted = expected(route, method, rights, actor, missing=missing)
                if answer.status_code not in wanted:
                    yield f"{method} {where} as {actor}: {answer.status_code} instead of {sorted(wanted)}"


def test_every_route_names_its_right():
    for route in all_routes():
        if route.path in OPEN:
            assert route.open, f"{route} is on the open list and asks for a right"
            continue
        assert route.named, f"{route} names no right, not even that it is open"
        for method, right in route.rights.items():
            assert right in RIGHTS, f"{method} {route} asks for {right!r}: name a right of shop/kernel/rights.py"
    assert set(OPEN) - {route.path for route in all_routes()} == set(), "gone: take it off the open list"


def test_every_right_is_asked_for_somewhere():
    asked = {right for route in all_routes() for right in route.rights.values()}
    inside = {
        "estimates.discount",
        "stock.override",
        "stages.override",
        "trail.read",
    }  # fmt: skip  asked by an action or an answer, where it depends on the data
    assert set(RIGHTS) - asked == inside


@pytest.mark.parametrize("actor", ACTORS)
def test_who_may_do_what(actor, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    wrong = list(judged(all_routes(), World(), actor))
    assert not wrong, "\n".join(wrong)


def test_a_child_under_another_parent_is_not_there(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    world = World()
    client = world.client("owner")
    below = [route for route in all_routes() if "card" in route.placeholders[:-1]]
    assert len(below) > 15
    for route in below:
        for method in route.rights:
            where = address(route, world, "owner", card=world.other_card)
            answer = ask(client, method, where, api=route.api)
            assert answer.status_code == 404, f"{method} {where}: {answer.status_code}"
    for document in ("estimates", "invoices"):
        lines = f"/{document}/{world.other[document]}/lines/{world.ids[document[:-1] + '-lines']}/"
        assert ask(client, "POST", lines, api=False).status_code == 404


def careless(request: Any) -> HttpResponse:
    """Says a right and lets everybody in."""
    return HttpResponse("")


def silent(request: Any) -> HttpResponse:
    return HttpResponse("")


careless.right = "invoices.read"  # type: ignore[attr-defined]
urlpatterns = [path("careless/", careless), path("silent/", silent), *real]


def test_a_careless_route_is_found(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    settings.ROOT_URLCONF = __name__
    routes = {route.path: route for route in all_routes(get_resolver(__name__))}
    world = World()
    assert any("GET /careless/ as mechanic: 200" in told for told in judged([routes["/careless/"]], world, "mechanic"))
    assert not routes["/silent/"].named
