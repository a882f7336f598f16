"""cards/ with the verbs that look at every room. What was made of the resource below is registered here, by the topmost."""

from __future__ import annotations

from typing import Any

from jobs.cards import api as cards
from jobs.cards import queries
from jobs.draws import actions as draws
from jobs.draws.api.shapes import OrderedOut
from jobs.timebook import api as timebook
from shop.api.files import downloads
from shop.api.kit import verb
from shop.kernel.errors import NotFound

from . import actions
from .build_record import pdf as record_pdf
from .queries.card import whole


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

    @verb("draws.order", path="order-missing", out=OrderedOut)
    def order_missing(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Order all that the card lacks, onto the draft orders of who sells it; on arrival it is kept for the card first."""
        return draws.order_missing(pk, by=request.user)

    @downloads("cards.read", path="build-record")
    def build_record(self, request: Any, pk: int) -> tuple[bytes, str]:
        """How the machine was built, as PDF: stages and gates with who signed them, lots fitted. A draft until finished."""
        found = whole(pk)
        if found is None:
            raise NotFound("There is no such job card.")
        return record_pdf(found), f"build-record-{found.whole.card.number}.pdf"


def register(router: Any) -> None:
    router.register("cards", Cards, basename="cards")
