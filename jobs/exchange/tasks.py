"""Rows of an import are written in the background."""

from __future__ import annotations

from shop.trail.outbox import Event, handles

from . import actions


@handles("exchange.write")
def write(event: Event) -> None:
    actions.write_rows(event.payload["run"])
