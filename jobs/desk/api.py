"""cards/ with the verbs that look at every room. What was made of the resource below is registered here, by the topmost."""

from __future__ import annotations

from typing import Any

from jobs.cards import api as cards
from jobs.cards import queries
from jobs.timebook import api as timebook
from shop.api.kit import verb

from . import actions


class Cards(timebook.Cards):
    """Job cards."""

    @verb("cards.finish", path="hand-over")
    def hand_over(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Refused while a clock runs, something drawn is neither fitted nor returned, or a gate is unsigned."""
        return queries.card(actions.hand_over(pk, by=request.user).pk)

    @verb("cards.edit", path="cancel", body=cards.Reason)
    def cancel(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Refused while a clock runs or something drawn is still in hand."""
        return queries.card(actions.cancel_card(pk, by=request.user, **body).pk)


def register(router: Any) -> None:
    router.register("cards", Cards, basename="cards")
