"""Every list of the API answers within four statements, the one that knows the token among them. That a list doesn't ask
once for each of its rows is tested room by room, with the data doubled."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from shop.people import tokens
from shop.people.models import ApiToken, Person

from .routes import all_routes, needed_in_query
from .test_rights import address
from .world import World

pytestmark = pytest.mark.django_db

MOST = 4
MORE = {
    "/api/v1/plan-stages/": 5,  # each record holds three lists of its own
    "/api/v1/journal/": 20,  # one of each kind of row that is posted, with what belongs to it
}


def test_no_list_of_the_api_asks_more_than_four_times():
    world = World()
    token, prefix, digest = tokens.new_token()
    owner = Person.objects.get(username="maren")
    ApiToken.objects.create(person=owner, label="lists", prefix=prefix, digest=digest)
    client = Client(headers={"Authorization": f"Bearer {token}"})
    asked, too_many = 0, []
    for route in all_routes():
        if not route.api or "GET" not in route.rights or route.open:
            continue
        query = {name: "jobcard" if name == "subject" else 1 for name in needed_in_query(route.path)}
        path = address(route, world, "owner")
        client.get(path, query)  # what a process keeps is kept
        with CaptureQueriesContext(connection) as told:
            answer = client.get(path, query)
        if answer.headers.get("Content-Type") != "application/json" or "next" not in answer.json():
            continue
        asked += 1
        if len(told) > MORE.get(path, MOST):
            too_many.append(f"{path}: {len(told)}")
    assert asked > 30
    assert too_many == []
