"""How a room offers its records over REST.

    class Customers(Resource):
        kind = "customer"                    # ETag prefix and `Location`
        out = CustomerOut
        def rows(self): return queries.customers()

        @lists("customers.read", query=CustomerQuery, orders={"name": ("name", "id"), "-id": ("-id",)})
        def list(self, request, query): return filtered queryset

        @reads("customers.read")
        def retrieve(self, request, pk): return queries.customer(pk)

        @posts("customers.edit", body=CustomerIn)
        def create(self, request, body): return actions.add_customer(**body, by=request.user)

        @edits("customers.edit", body=CustomerEdit)
        def partial_update(self, request, body, pk, expect): return actions.edit_customer(pk, expect, by=..., **body)

    One verb on one record: `@verb("stages.work", path="start", body=...)` (a POST below the record).

Each decorated method names its right; `HasRight` and the rights test read it. What the method returns is serialised
with `out`.
"""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Callable, Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.utils.cache import patch_vary_headers
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, viewsets
from rest_framework.decorators import action
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from shop.kernel import writing
from shop.kernel.errors import BadInput, NotFound, Stale
from shop.trail import once as kept

from . import keyset, problems
from .auth import scope_of
from .fields import Body, Out, Query
from .shaping import fields_of, shown, validated

METHODS = {"GET", "HEAD", "OPTIONS", "POST", "PATCH", "PUT", "DELETE"}
KEY_HEADER = OpenApiParameter(
    "Idempotency-Key",
    {"type": "string", "minLength": 8, "maxLength": 80, "pattern": "^[!-~]{8,80}$"},
    OpenApiParameter.HEADER,
    required=True,
    description="An id of your own for this posting; a repeat answers the same and changes nothing.",
)
_MATCH_HEADER = OpenApiParameter(
    "If-Match",
    {"type": "string", "pattern": '^"[0-9]{1,9}-[!#-~]*"$'},
    OpenApiParameter.HEADER,
    required=True,
    description="The ETag of the version you edited.",
)
_NONE_MATCH_HEADER = OpenApiParameter(
    "If-None-Match", str, OpenApiParameter.HEADER, required=False, description="Answers 304 when unchanged."
)


class Resource(viewsets.ViewSet):
    kind = ""
    out: type[serializers.BaseSerializer] = Out
    single = False  # one record without an id in its address: `retrieve` and `partial_update` without pk
    lookup_value_regex = "[0-9]{1,18}"
    http_method_names = ["get", "post", "patch", "delete", "head", "options"]

    def right_of(self, method: str) -> str | None:
        """The right that the handler of `method` names; None when the method isn't offered."""
        name = self.action_map.get(method.lower()) if self.action_map else None
        if method == "OPTIONS":
            name = next(iter(self.action_map.values()), None)
        elif method == "HEAD":
            name = self.action_map.get("get")
        return getattr(getattr(self, name), "right", None) if name else None

    def options(self, request: Request, *args: Any, **kwargs: Any) -> HttpResponse:
        response = HttpResponse(status=204)
        response["Allow"] = ", ".join(self.allowed_methods)
        return response

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        response = super().finalize_response(request, response, *args, **kwargs)
        patch_vary_headers(response, ("Authorization", "Cookie"))
        return response

    def represent(self, row: Any, out: type[serializers.BaseSerializer] | None = None) -> Any:
        return shown(out or self.out, [row], self.shown_to())[0]

    def shown_to(self) -> dict[str, Any]:
        """The context of what is shown: whose eyes it is for."""
        return {"request": self.request, "rights": self.request.user.rights}


def etag_of(row: Any, data: Any) -> str:
    """A strong ETag: the version, which an edit is checked against, and a digest of the answer, for caching."""
    digest = hashlib.sha256(kept.dumps(data).encode()).hexdigest()[:16]
    return f'"{getattr(row, "version", 0)}-{digest}"'


def _expected(request: Request) -> int:
    header = request.headers.get("If-Match", "").strip()
    if not header:
        raise _Missing("Send an If-Match header with the ETag of the version you edited; GET the record to get it.")
    version, dash, _ = header.strip('"').partition("-")
    if not (header.startswith('"') and header.endswith('"') and dash and version.isdecimal() and len(version) < 10):
        raise Stale("The If-Match header is not an ETag of this record. GET the record and use its ETag.")
    return int(version)


class _Missing(BadInput):
    code = "if-match-missing"


problems.BY_CLASS.insert(0, (_Missing, "if-match-missing"))


def check_query(request: Request, allowed: Sequence[str]) -> None:
    unknown = sorted(set(request.query_params) - set(allowed))
    if unknown:
        raise ValidationError({name: ["This parameter is not known here."] for name in unknown})
    repeated = sorted(k for k in request.query_params if len(request.query_params.getlist(k)) > 1)
    if repeated:
        raise ValidationError({name: ["Give this parameter once."] for name in repeated})


def lists(
    right: str,
    *,
    orders: Mapping[str, Sequence[str]],
    query: type[Query] = Query,
    out: type[serializers.BaseSerializer] | None = None,
    path: str | None = None,
    detail: bool = False,
) -> Callable[[Callable[..., Any]], Any]:
    """GET a keyset page. The method gets the checked query as a dict and answers a queryset. `orders` maps the names
    offered in ?order= to key fields ending in a unique one; the first is the default."""

    def decorate(method: Callable[..., Any]) -> Any:
        names = list(orders)

        @functools.wraps(method)
        def wrapper(self: Resource, request: Request, **kwargs: Any) -> Response:
            check_query(request, [*fields_of(query), "order"])
            given = validated(query, request.query_params.dict())
            order = request.query_params.get("order", names[0])
            if order not in orders:
                raise ValidationError({"order": ["Use one of: " + ", ".join(names)]})
            limit, cursor = given.pop("limit"), given.pop("cursor", None)
            rows = method(self, request, query=given, **kwargs)
            page = keyset.page(rows, orders[order], limit=limit, cursor=cursor)
            items = shown(out or self.out, page.items, self.shown_to())
            return Response(
                {
                    "items": items,
                    "next": _link(request, page.next),
                    "previous": _link(request, page.previous),
                }
            )

        wrapper.right = right  # type: ignore[attr-defined]
        wrapper.page_of = out  # type: ignore[attr-defined]
        order_parameter = OpenApiParameter(
            "order", {"type": "string", "enum": names, "default": names[0]}, OpenApiParameter.QUERY, required=False
        )
        parameters: list[Any] = [query, order_parameter]
        result: Any = extend_schema(parameters=parameters)(wrapper)
        result.kit = {"kind": "list", "out": out}
        return _routed(result, "get", path, detail) if path else result

    return decorate


def _link(request: Request, cursor: str | None) -> str | None:
    if cursor is None:
        return None
    parameters = request.query_params.dict() | {"cursor": cursor}
    return f"{request.path}?{urlencode(parameters)}"


def reads(
    right: str,
    *,
    out: type[serializers.BaseSerializer] | None = None,
    path: str | None = None,
    detail: bool = True,
    query: type[serializers.Serializer] | None = None,
) -> Callable[[Callable[..., Any]], Any]:
    """GET one record, with ETag and 304. The method answers the row (or None: 404)."""

    def decorate(method: Callable[..., Any]) -> Any:
        @functools.wraps(method)
        def wrapper(self: Resource, request: Request, **kwargs: Any) -> Response | HttpResponse:
            check_query(request, fields_of(query) if query else [])
            if query:
                kwargs["query"] = validated(query, request.query_params.dict())
            row = method(self, request, **ints(kwargs))
            if row is None:
                raise NotFound("There is nothing at this address, or it is not for you.")
            data = self.represent(row, out)
            etag = etag_of(row, data)
            if etag in [t.strip() for t in request.headers.get("If-None-Match", "").split(",")]:
                response = HttpResponse(status=304)
                response["ETag"] = etag
                return response
            return Response(data, headers={"ETag": etag, "Cache-Control": "private, no-cache"})

        wrapper.right = right  # type: ignore[attr-defined]
        result: Any = extend_schema(parameters=[_NONE_MATCH_HEADER, *([query] if query else [])])(wrapper)
        result.kit = {"kind": "read", "out": out}
        return _routed(result, "get", path, detail) if path else result

    return decorate


def posts(
    right: str,
    *,
    body: type[serializers.Serializer] | None = None,
    out: type[serializers.BaseSerializer] | None = None,
    status: int = 201,
    shown_once: Sequence[str] = (),
) -> Callable[[Callable[..., Any]], Any]:
    """POST that adds something: Idempotency-Key, one write, the new record answered with ETag and Location. Fields in
    `shown_once` (a secret) are null in the kept answer that a repeat gets."""

    def decorate(method: Callable[..., Any]) -> Any:
        @functools.wraps(method)
        def wrapper(self: Resource, request: Request, **kwargs: Any) -> HttpResponse:
            check_query(request, [])
            given = validated(body, request.data) if body else _no_body(request)
            return post_once(self, request, method, given, ints(kwargs), out, status, shown_once)

        wrapper.right = right  # type: ignore[attr-defined]
        result: Any = extend_schema(parameters=[KEY_HEADER], request=body)(wrapper)
        result.kit = {"kind": "post", "out": out, "status": status, "body": body}
        return result

    return decorate


def verb(
    right: str,
    *,
    path: str,
    body: type[serializers.Serializer] | None = None,
    out: type[serializers.BaseSerializer] | None = None,
    status: int = 200,
    detail: bool = True,
) -> Callable[[Callable[..., Any]], Any]:
    """POST <record>/<path>/: one thing a person does to it, once per Idempotency-Key."""

    def decorate(method: Callable[..., Any]) -> Any:
        wrapped = posts(right, body=body, out=out, status=status)(method)
        wrapped.kit = wrapped.kit | {"kind": "verb"}
        return _routed(wrapped, "post", path, detail)

    return decorate


def edits(
    right: str, *, body: type[serializers.Serializer], out: type[serializers.BaseSerializer] | None = None
) -> Callable[[Callable[..., Any]], Any]:
    """PATCH with If-Match: 428 without, 412 when stale. The method gets only the fields that were sent."""

    def decorate(method: Callable[..., Any]) -> Any:
        @functools.wraps(method)
        def wrapper(self: Resource, request: Request, **kwargs: Any) -> Response:
            check_query(request, [])
            expect = _expected(request)
            checked = validated(body, request.data, partial=True)
            if not checked:
                raise ValidationError({"non_field_errors": ["Send at least one field to change."]})

            def work() -> Response:
                row = method(self, request, body=dict(checked), expect=expect, **ints(kwargs))
                data = self.represent(row, out)
                return Response(data, headers={"ETag": etag_of(row, data)})

            return writing.run(work)

        wrapper.right = right  # type: ignore[attr-defined]
        result: Any = extend_schema(parameters=[_MATCH_HEADER], request=body)(wrapper)
        result.kit = {"kind": "edit", "out": out, "body": body}
        return result

    return decorate


def _routed(method: Any, verb: Any, path: str, detail: bool) -> Any:
    """The method below its record at `path`. DRF's `action` forgets what `extend_schema` noted; it is put back."""
    described = method.kwargs.get("schema")
    routed: Any = action(detail=detail, methods=[verb], url_path=path)(method)
    if described is not None:
        routed.kwargs["schema"] = described
    return routed


def removes(right: str) -> Callable[[Callable[..., Any]], Any]:
    """DELETE with If-Match: archives, and answers 204."""

    def decorate(method: Callable[..., Any]) -> Any:
        @functools.wraps(method)
        def wrapper(self: Resource, request: Request, **kwargs: Any) -> Response:
            check_query(request, [])
            method(self, request, expect=_expected(request), **ints(kwargs))
            return Response(status=204)

        wrapper.right = right  # type: ignore[attr-defined]
        result: Any = extend_schema(parameters=[_MATCH_HEADER], request=None, responses={204: None})(wrapper)
        result.kit = {"kind": "remove"}
        return result

    return decorate


def post_once(
    view: Resource,
    request: Request,
    method: Callable[..., Any],
    given: dict[str, Any],
    kwargs: dict[str, Any],
    out: type[serializers.BaseSerializer] | None,
    status: int,
    shown_once: Sequence[str] = (),
) -> HttpResponse:
    key = kept.check_key(request.headers.get("Idempotency-Key"))
    print_ = kept.fingerprint(request.method or "", request.path, kept.dumps(request.data))

    shown: list[str] = []

    def work() -> kept.Kept:
        row = method(view, request, body=given, **kwargs)
        data = view.represent(row, out)
        shown[:] = [kept.dumps(data)]
        data = data | dict.fromkeys(shown_once)
        headers = {"ETag": etag_of(row, data)}
        if status == 201 and view.kind and getattr(row, "pk", None) and out is None:
            base = request.path if not kwargs else request.path.rstrip("/").rsplit("/", 2)[0] + "/"
            headers["Location"] = f"{base}{row.pk}/"
        return kept.Kept(status, headers, kept.dumps(data))

    answer = kept.once(scope_of(request), key, print_, work)
    return kept_answer(answer, None if answer.replayed or not shown_once else shown[0])


def kept_answer(answer: kept.Kept, text: str | None = None) -> HttpResponse:
    """What was kept of a posting, or `text` in its place the first time; a repeat says that it is one."""
    response = HttpResponse(
        answer.body if text is None else text,
        status=answer.status,
        content_type="application/json",
        headers=answer.headers,
    )
    if answer.replayed:
        response["Idempotent-Replay"] = "true"
    return response


def _no_body(request: Request) -> dict[str, Any]:
    if request.data:
        raise ValidationError({"non_field_errors": ["This takes no body; leave it out or send {}."]})
    return {}


def ints(kwargs: dict[str, Any]) -> dict[str, Any]:
    return {k: int(v) if isinstance(v, str) and v.isdecimal() else v for k, v in kwargs.items()}


__all__ = ["Body", "Out", "Query", "Resource", "edits", "lists", "posts", "reads", "removes", "verb"]
