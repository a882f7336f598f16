"""A first walk through the API, shown on the reference page and run by a test: from a customer to a card with hours."""

from __future__ import annotations

import json
import shlex
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Step:
    """`path` and `body` may name what earlier answers gave: "{card}" is the id that the step with keep="card" answered."""

    title: str
    method: str
    path: str
    body: dict[str, Any] = field(default_factory=dict)
    keep: str = ""
    status: int = 200

    def curl(self, host: str) -> str:
        parts = ["curl", "-H", "Authorization: Bearer $TOKEN"]
        if self.method == "POST":
            parts += ["-H", "Content-Type: application/json", "-H", "Idempotency-Key: $(uuidgen)"]
            parts += ["-d", json.dumps(self.body, ensure_ascii=False)]
        if self.method == "PATCH":
            parts += ["-X", "PATCH", "-H", "Content-Type: application/json", "-H", "If-Match: $ETAG"]
            parts += ["-d", json.dumps(self.body, ensure_ascii=False)]
        words = [p if p == "curl" or p.startswith("-") else _quoted(p) for p in parts]
        return " ".join([*words, _quoted(f"{host}/api/v1/{self.path}")])

    def filled(self, known: dict[str, Any]) -> tuple[str, Any]:
        """Path and body with the ids of earlier answers."""
        return self.path.format(**known), _fill(self.body, known)


def _quoted(text: str) -> str:
    return f'"{text}"' if "$" in text and '"' not in text else shlex.quote(text)


def _fill(node: Any, known: dict[str, Any]) -> Any:
    if isinstance(node, dict):
        return {k: _fill(v, known) for k, v in node.items()}
    if isinstance(node, list):
        return [_fill(v, known) for v in node]
    if isinstance(node, str) and node.startswith("{") and node.endswith("}"):
        return known[node[1:-1]]
    return node


STEPS: tuple[Step, ...] = (
    Step("Who am I, and what may I do?", "GET", "me/"),
    Step("A customer", "POST", "customers/", {"name": "Gullhaven Dredging", "kind": "firm"}, keep="customer", status=201),
    Step(
        "Their machine", "POST", "machines/",
        {"customer_id": "{customer}", "kind": "engine", "maker": "Brindlecote", "model": "B2", "serial_no": "B2-40417"},
        keep="machine", status=201,
    ),
    Step(
        "A job card for it", "POST", "cards/",
        {"machine_id": "{machine}", "complaint": "Smokes white when cold."}, keep="card", status=201,
    ),
    Step(
        "A stage", "POST", "stages/",
        {"card_id": "{card}", "name": "Strip", "kind": "strip", "standard_hours": "2.00", "needs_go_ahead": False},
        keep="stage", status=201,
    ),
    Step("Work begins", "POST", "stages/{stage}/start/"),
    Step("What is open on the card", "GET", "stages/?card_id={card}"),
)  # fmt: skip
