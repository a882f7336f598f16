"""What a posting may change is what is documented: every column of every table is sent to every route that writes, and
whatever the description does not name is refused by name, with nothing changed."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django import forms
from django.apps import apps
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework import serializers

from shop.api.fields import Body
from shop.config.management.commands import openapi
from shop.trail.models import TrailRow

from .routes import Route, all_routes, api_callbacks
from .test_house import rooms

COLUMNS = sorted(
    {
        name
        for model in apps.get_models()
        if model._meta.app_config.name in rooms()
        for field in model._meta.concrete_fields
        for name in (field.name, field.attname)
    }
)
OURS = {  # set by an action, never by who sends
    "id", "created_at", "archived_at", "at", "by", "by_id", "added_by", "opened_by", "entered_by", "issued_by", "issued_at",
    "signed_by", "signed_at", "finished_by", "finished_at", "started_by", "go_ahead_at", "declined_at", "removed_at",
    "superseded_at", "settled_at", "document_hash", "drawn", "returned", "fitted", "spent", "on_hand", "kept", "value",
    "total_net", "total_tax", "total_gross", "net", "tax_percent", "digest", "password_given", "is_superuser", "is_staff",
}  # fmt: skip


def writing_routes() -> list[tuple[Route, str]]:
    return [(r, m) for r in all_routes() if r.api for m in ("POST", "PATCH") if m in r.rights]


def documented(route: Route, method: str) -> tuple[set[str], str]:
    """Names in the body that the description gives, and its media type."""
    description = json.loads(Path(openapi.PATH).read_text())
    template = route.path.replace("<", "{").replace(">", "}")
    paths = {path.replace("{id}", "{pk}"): operations for path, operations in description["paths"].items()}
    content = paths[template][method.lower()].get("requestBody", {}).get("content", {})
    if not content:
        return set(), "application/json"
    media_type, shape = next(iter(content.items()))
    name = shape["schema"]["$ref"].rsplit("/", 1)[-1]
    return set(description["components"]["schemas"][name]["properties"]), media_type


@pytest.mark.django_db
def test_every_route_refuses_what_is_not_documented(api, owner):
    client = api(owner)
    before = TrailRow.objects.count()
    routes = writing_routes()
    assert len(routes) > 100
    for route, method in routes:
        where = route.path.replace("<pk>", "1").replace("<machine_id>", "1")
        known, media_type = documented(route, method)
        sent: Any = dict.fromkeys(COLUMNS, "1")
        headers = client.headers | (
            {"If-Match": '"1-0"'} if method == "PATCH" else {"Idempotency-Key": str(uuid.uuid4())}
        )
        if media_type == "application/json":
            answer = client.client.generic(method, where, json.dumps(sent), media_type, headers=headers)
        else:
            files = {name: SimpleUploadedFile("a.csv", b"name\nx\n") for name in ("file",)}
            answer = client.client.post(where, sent | files, headers=headers)
        assert answer.status_code == 400, f"{method} {where}: {answer.status_code}"
        told = {error["pointer"].split("/")[1] for error in answer.json()["errors"]}
        if known:
            assert told - known == set(COLUMNS) - known, f"{method} {where}"
    assert TrailRow.objects.count() == before


def nested(serializer: serializers.BaseSerializer) -> Iterator[serializers.BaseSerializer]:
    yield serializer
    for field in getattr(serializer, "fields", {}).values():
        child = getattr(field, "child", field)
        if isinstance(child, serializers.BaseSerializer):
            yield from nested(child)


def bodies() -> Iterator[tuple[str, serializers.BaseSerializer]]:
    for callback in api_callbacks():
        for name in callback.actions.values():
            if body := getattr(getattr(callback.cls, name), "kit", {}).get("body"):
                yield f"{callback.cls.__name__}.{name}", body()


def test_bodies_are_closed_all_the_way_down():
    seen = 0
    for where, body in bodies():
        for part in nested(body):
            assert isinstance(part, Body), f"{where}: {type(part).__name__} takes unknown fields without a word"
            seen += 1
    assert seen > 90


def test_no_body_takes_what_only_an_action_sets():
    for where, body in bodies():
        for part in nested(body):
            taken = set(part.fields) & OURS
            allowed = {"Readings.create": {"value"}, "SubletBills.create": {"net"}}.get(
                where, set()
            )  # as it stands there
            assert taken <= allowed, f"{where} takes {taken}"
    assert OURS - {"is_staff", "kept"} <= set(COLUMNS) | {"is_superuser"}, "columns that are gone"


def all_below(kind: type) -> Iterator[type]:
    for one in kind.__subclasses__():
        yield one
        yield from all_below(one)


def test_forms_name_their_fields_themselves():
    """A form made from a model would take a new column without anybody saying so."""
    assert not [
        f for f in all_below(forms.BaseModelForm) if f.__module__.split(".")[0] in ("shop", "inventory", "jobs")
    ]
    assert not [
        s for s in all_below(serializers.ModelSerializer) if s.__module__.split(".")[0] in ("shop", "inventory", "jobs")
    ]
    for form in all_below(forms.BaseForm):
        if form.__module__.split(".")[0] in ("shop", "inventory", "jobs"):
            taken = set(getattr(form, "base_fields", {})) & OURS
            assert taken <= {"value"}, f"{form.__name__} takes {taken}"
