"""Trail rows of accounts in plain words. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

SAID = {
    "person.added": "Account made",
    "person.changed": "Account changed",
    "person.signed-in": "Signed in",
    "sign-in.failed": "Sign-in failed",
    "person.password-changed": "Password changed",
    "person.password-given": "New password given",
    "person.pin-set": "PIN set",
    "person.pin-removed": "PIN removed",
    "person.two-step-on": "Second step switched on",
    "person.two-step-off": "Second step switched off",
    "person.recovery-codes-made": "New recovery codes made",
    "person.recovery-code-used": "Recovery code used",
    "person.signed-out-everywhere": "Signed out everywhere",
    "token.made": "API token made",
    "token.revoked": "API token revoked",
}
FIELDS = {
    "name": "name", "username": "user name", "email": "mail", "roles": "roles", "is_active": "works here",
    "labour_class": "labour class", "cost_per_hour": "cost of an hour",
}  # fmt: skip


def told(rows: Iterable[Any]) -> list[dict[str, Any]]:
    """For the `history` tag: when, who, what."""
    return [{"when": row.at, "who": row.by.name if row.by else "", "what": _what(row)} for row in rows]


def _what(row: Any) -> str:
    detail = row.detail
    parts = [detail[k] for k in ("how", "what", "label", "address", "tablet") if detail.get(k)]
    parts += [
        f"{FIELDS[f]}: {_value(old)} → {_value(new)}"
        for f, (old, new) in (detail.get("changed") or {}).items()
        if f in FIELDS
    ]
    said = SAID.get(row.verb, row.verb)
    return f"{said}: {', '.join(parts)}" if parts else said


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ", ".join(value) if isinstance(value, list) else str(value if value not in (None, "") else "–")
