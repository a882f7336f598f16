"""A posting happens once: the answer is kept under the client's key, in the same transaction as the change."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from typing import Any

from django.db import connection

from shop.kernel import clock, statements, writing
from shop.kernel.errors import BadInput, KeyReused
from shop.trail.models import KeptAnswer

KEY = re.compile(r"[\x21-\x7e]{8,80}")
_CLAIM = (
    "INSERT INTO shop_trail_keptanswer (scope, key, fingerprint, headers, body, created_at)"
    " VALUES (%s, %s, %s, %s, '', %s) ON CONFLICT DO NOTHING RETURNING id"
)


class Kept:
    """What is kept: status, headers and the body as text."""

    def __init__(self, status: int, headers: dict[str, str], body: str, *, replayed: bool = False) -> None:
        self.status, self.headers, self.body, self.replayed = status, headers, body, replayed


def fingerprint(*parts: bytes | str) -> str:
    whole = hashlib.sha256()
    for part in parts:
        raw = part.encode() if isinstance(part, str) else part
        whole.update(len(raw).to_bytes(8, "big") + raw)
    return whole.hexdigest()


def check_key(key: str | None) -> str:
    if not key:
        raise BadInput(
            "Send an Idempotency-Key header with an id of your own for this posting (a UUID is best), so that a retry "
            "happens once.",
            code="idempotency-key-missing",
        )
    if not KEY.fullmatch(key):
        raise BadInput("An Idempotency-Key has 8 to 80 visible ASCII characters.", code="idempotency-key-missing")
    return key


def once(scope: str, key: str, print_: str, work: Callable[[], Kept]) -> Kept:
    """Run `work` in one write and keep its answer; a repeat of the key gets the kept answer and changes nothing.

    Looked up before anything else is checked. A second request with the same key waits for the first. Raises KeyReused
    when the key came with another payload. A refusal keeps nothing: the key is free again.
    """
    return writing.run(lambda: _once(scope, key, print_, work))


def _once(scope: str, key: str, print_: str, work: Callable[[], Kept]) -> Kept:
    now = clock.now()
    moment = now if connection.vendor == "postgresql" else connection.ops.adapt_datetimefield_value(now)
    claimed = statements.fetch(_CLAIM, [scope, key, print_, "{}", moment])
    if not claimed:
        kept = KeptAnswer.objects.get(scope=scope, key=key)
        if kept.fingerprint != print_:
            raise KeyReused(
                "This Idempotency-Key was used for a different request. Use a new key for a new posting.",
            )
        return Kept(kept.status or 200, kept.headers, kept.body, replayed=True)
    answer = work()
    writing.change(
        KeptAnswer, {"scope": scope, "key": key}, status=answer.status, headers=answer.headers, body=answer.body
    )
    return answer


def dumps(data: Any) -> str:
    from rest_framework.utils.encoders import JSONEncoder

    return json.dumps(data, cls=JSONEncoder, separators=(",", ":"), ensure_ascii=False)
