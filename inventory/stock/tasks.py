"""Background work of the stock room."""

from __future__ import annotations

from shop.trail.chores import chore

from . import actions


@chore("stock.close-months", minutes=60)
def close_months() -> None:
    actions.close_months()
