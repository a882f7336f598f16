"""No page and no list of the API falls over a day that can't be meant: it is refused in words, or the page shows what it would
without it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from django.test import Client

from shop.config.management.commands import openapi
from shop.people import tokens
from shop.people.models import ApiToken, Person

from .routes import Route, all_routes, needed_in_query
from .test_rights import address
from .world import World

pytestmark = pytest.mark.django_db

# The ends of the calendar, days near them, and the ends of what can be meant
ODD = ("0001-01-01", "0001-02-01", "9999-12-05", "9999-12-31")
MEANT = ("1900-01-01", "2200-12-31")
FILTER = re.compile(r'<form class="filters".*?</form>', re.S)
BOX = re.compile(r'<input[^>]*type="date"[^>]*>')
NAME = re.compile(r'name="(\w+)"')
FILE = re.compile(r"(\.csv|\.pdf|\.xlsx)$|/(pdf|csv)/$")


def shape(path: str) -> str:
    """A path whatever its placeholders are called."""
    return re.sub(r"\{\w+\}|<\w+>", "*", path)


def asked_days() -> dict[str, list[str]]:
    """The query parameters that are days, by the shape of a route of the API."""
    found = {}
    for path, operations in json.loads(Path(openapi.PATH).read_text())["paths"].items():
        asked = operations.get("get", {}).get("parameters", ())
        found[shape(path)] = [p["name"] for p in asked if p["in"] == "query" and p["schema"].get("format") == "date"]
    return found


def routes(world: World, *, api: bool) -> list[tuple[Route, str]]:
    return [
        (r, address(r, world, "owner"))
        for r in all_routes()
        if r.api == api and "GET" in r.rights and not r.open and r.named
    ]


def spans(names: list[str]) -> list[dict[str, str]]:
    """Each day alone, and all of them as far apart as they go."""
    found = [{name: day} for name in names for day in ODD + MEANT]
    for days in (ODD, MEANT):
        if len(names) > 1:
            found.append(dict(zip(names, (days[0], days[-1]), strict=False)))
    return found


def test_no_list_of_the_api_falls_over_a_day_that_cant_be_meant():
    world = World()
    token, prefix, digest = tokens.new_token()
    ApiToken.objects.create(person=Person.objects.get(username="maren"), label="days", prefix=prefix, digest=digest)
    client = Client(headers={"Authorization": f"Bearer {token}"}, raise_request_exception=False)
    asked, wrong, days = 0, [], asked_days()
    for route, path in routes(world, api=True):
        names = days[shape(route.path)]
        needed = {name: "jobcard" if name == "subject" else "1" for name in needed_in_query(route.path)}
        for query in spans(names):
            asked += 1
            answer = client.get(path, needed | query)
            odd = bool(set(query.values()) & set(ODD))
            if answer.status_code != 400 if odd else answer.status_code >= 500:
                wrong.append((path, query, answer.status_code))
    assert asked > 100
    assert wrong == []


def test_no_page_falls_over_a_day_that_cant_be_meant():
    """A page whose filter asks for days is asked for them; a file is asked for all that any filter asks for, since it has none."""
    world = World()
    client = Client(raise_request_exception=False)
    client.force_login(Person.objects.get(username="maren"))
    filtered, files, names = [], [], set()
    for route, path in routes(world, api=False):
        if FILE.search(route.path):
            files.append(path)
            continue
        answer = client.get(path)
        if answer.status_code != 200 or "html" not in answer.headers["Content-Type"]:
            continue
        boxes = [b for form in FILTER.findall(answer.content.decode()) for b in BOX.findall(form)]
        if mine := [NAME.findall(b)[0] for b in boxes]:
            filtered.append((path, mine))
            names |= set(mine)
    assert {p for p, _ in filtered} >= {"/books/", "/books/work-in-progress/", "/reports/hours/", "/hours/"}
    assert names >= {"since", "until", "day", "first", "last"}
    wrong = []
    for path, mine in filtered + [(path, sorted(names)) for path in files]:
        for query in spans(mine):
            answer = client.get(path, query)
            odd = bool(set(query.values()) & set(ODD))
            if answer.status_code >= 500:
                wrong.append((path, query, answer.status_code))
            elif odd and path not in files and "use a year from 1900 to 2200" not in answer.content.decode():
                wrong.append((path, query, "says nothing"))
    assert wrong == []


@pytest.mark.parametrize("week", ["0001-01-01", "9999-12-31"])
def test_no_week_of_hours_does(owner, client, week):
    client.force_login(owner)
    assert client.get("/hours/mine/", {"week": week}).status_code in (200, 404)
