"""Background work of the alerts room."""

from __future__ import annotations

from shop.trail.chores import chore

from . import actions


@chore("alerts.daily", minutes=15)
def daily() -> None:
    actions.look_daily()
