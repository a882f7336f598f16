"""Bulk postings: many items under one Idempotency-Key, each taken or refused alone, or all or nothing."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from typing import Any

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request

from shop.kernel import writing
from shop.kernel.errors import DomainError

from . import problems
from .fields import AnyJson, Body, Out
from .kit import KEY_HEADER, Resource, check_query, ints, post_once
from .shaping import validated


def posts_many(
    right: str,
    *,
    body: type[serializers.Serializer],
    out: type[serializers.BaseSerializer] | None = None,
    path: str = "many",
    most: int = 500,
) -> Callable[[Callable[..., Any]], Any]:
    """POST <list>/many/: up to `most` items under one Idempotency-Key, in order, in one write. The method gets one checked
    item as `body` and answers its row. Each item is taken or refused alone and the answer says which (`items` in the
    order sent); with `all_or_nothing` the first refusal refuses everything, and `errors` points at its item."""

    def decorate(method: Callable[..., Any]) -> Any:
        name = body.__name__.removesuffix("In")
        sent: Any = type(
            f"{name}ManyIn",
            (Body,),
            {
                "items": body(many=True, help_text=f"1 to {most} items."),
                "all_or_nothing": serializers.BooleanField(default=False, help_text="One refusal refuses everything."),
            },
        )

        @functools.wraps(method)
        def wrapper(self: Resource, request: Request, **kwargs: Any) -> HttpResponse:
            check_query(request, [])
            items, strict = _many(request.data, most)

            def work(self: Resource, request: Request, body: Any, **_: Any) -> dict[str, Any]:
                results = [_one(self, request, method, checked, item, n, strict, out) for n, item in enumerate(items)]
                done = sum(r["status"] < 400 for r in results)
                return {"items": results, "done": done, "refused": len(results) - done}

            return post_once(self, request, work, {}, ints(kwargs), _AsItIs, 200)

        checked = body
        wrapper.right = right  # type: ignore[attr-defined]
        answered: Any = many_out(name, out)
        result: Any = extend_schema(parameters=[KEY_HEADER], request=sent)(wrapper)
        result.kit = {"kind": "many", "out": answered, "one": out, "status": 200, "body": sent, "most": most}
        return action(detail=False, methods=["post"], url_path=path)(result)

    return decorate


class _AsItIs(serializers.BaseSerializer):
    def to_representation(self, instance: Any) -> Any:
        return instance


def many_out(name: str, out: type[serializers.BaseSerializer] | None) -> type[serializers.Serializer]:
    """The answer to a bulk posting; `out` None leaves the shape of a record open."""
    record = out(required=False, allow_null=True) if out else AnyJson(required=False, allow_null=True)
    item = type(
        f"{name}ManyItem",
        (Out,),
        {
            "status": serializers.IntegerField(help_text="201, or that of the problem."),
            "record": record,
            "problem": AnyJson(required=False, help_text="Problem details, when refused."),
        },
    )
    return type(
        f"{name}ManyOut",
        (Out,),
        {
            "items": item(many=True),
            "done": serializers.IntegerField(help_text="How many were taken."),
            "refused": serializers.IntegerField(help_text="How many were not."),
        },
    )


def _many(data: Any, most: int) -> tuple[list[Any], bool]:
    if not isinstance(data, Mapping):
        raise ValidationError({"non_field_errors": ["Send a JSON object."]})
    wrong: dict[str, Any] = {k: ["This field is not known here."] for k in data if k not in ("items", "all_or_nothing")}
    items, strict = data.get("items"), data.get("all_or_nothing", False)
    if not isinstance(items, list) or not 1 <= len(items) <= most:
        wrong["items"] = [f"Send a list of 1 to {most} items."]
    if not isinstance(strict, bool):
        wrong["all_or_nothing"] = ["Send true or false."]
    if wrong or not isinstance(items, list):
        raise ValidationError(wrong)
    return items, bool(strict)


def _one(
    view: Resource, request: Request, method: Callable[..., Any], body: type[serializers.Serializer], item: Any, n: int,
    strict: bool, out: type[serializers.BaseSerializer] | None,
) -> dict[str, Any]:  # fmt: skip
    """One item of a bulk posting: its record, or its problem."""
    try:
        row = writing.attempt(lambda: method(view, request, body=validated(body, item)))
        return {"status": 201, "record": view.represent(row, out)}
    except ValidationError as error:
        if strict:
            raise ValidationError({"items": {str(n): error.detail}}) from error
        problem = problems.of_invalid(error)
    except DomainError as error:
        if strict:
            error.fields = {f"items.{n}.{field}": texts for field, texts in error.fields.items()} or {
                f"items.{n}": [error.message]
            }
            raise
        problem = problems.of_domain_error(error)
    return {"status": problem["status"], "problem": problem}
