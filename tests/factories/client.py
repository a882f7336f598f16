from __future__ import annotations

import json
import uuid
from typing import Any

from django.test import Client

from shop.people import tokens
from shop.people.models import ApiToken, Person


class Api:
    """The REST API as a program of one person sees it. Paths are below /api/v1/."""

    def __init__(self, person: Person | None) -> None:
        self.client = Client(raise_request_exception=False)
        self.headers: dict[str, str] = {}
        if person is not None:
            token, prefix, digest = tokens.new_token()
            ApiToken.objects.create(person=person, label="test", prefix=prefix, digest=digest)
            self.headers["Authorization"] = f"Bearer {token}"

    def get(self, path: str, **query: Any):
        headers = self.headers | query.pop("headers", {})
        return self.client.get(self._path(path), query, headers=headers)

    def post(self, path: str, body: Any = None, *, key: str | None = "new", headers: dict[str, str] | None = None):
        extra = {} if key is None else {"Idempotency-Key": str(uuid.uuid4()) if key == "new" else key}
        return self._send("post", path, body if body is not None else {}, extra | (headers or {}))

    def patch(self, path: str, body: Any, *, etag: str | None = "current"):
        if etag == "current":
            etag = self.get(path)["ETag"]
        return self._send("patch", path, body, {"If-Match": etag} if etag else {})

    def delete(self, path: str, *, etag: str | None = "current"):
        if etag == "current":
            etag = self.get(path)["ETag"]
        return self._send("delete", path, None, {"If-Match": etag} if etag else {})

    def _send(self, method: str, path: str, body: Any, headers: dict[str, str]):
        return getattr(self.client, method)(
            self._path(path),
            data=json.dumps(body) if body is not None else "",
            content_type="application/json",
            headers=self.headers | headers,
        )

    def _path(self, path: str) -> str:
        return path if path.startswith("/") else f"/api/v1/{path}"
