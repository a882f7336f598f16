"""How a card and its stages are shown, for the templates of this room and those above: {% load cards %}."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from jobs.cards import queries
from jobs.cards.state import CardState, StageState
from shop.ui import formats
from shop.ui.templatetags.ui import state as shown_state

register = template.Library()

CARD_MARKS = {
    CardState.BOOKED: "todo",
    CardState.IN_SHOP: "doing",
    CardState.FINISHED: "done",
    CardState.HANDED_OVER: "sent",
    CardState.CANCELLED: "off",
}
STAGE_MARKS = {
    StageState.TO_DO: "todo",
    StageState.WAITS_STAGE: "todo",
    StageState.WAITS_GO_AHEAD: "hold",
    StageState.SIGN_FIRST: "near",
    StageState.CAN_START: "todo",
    StageState.RUNNING: "doing",
    StageState.HELD: "hold",
    StageState.FINISHED: "done",
    StageState.DECLINED: "off",
    StageState.REMOVED: "off",
}


@register.filter
def standing(card: Any) -> queries.Standing:
    """State, words, waits and lateness of a card from `queries.cards()`."""
    return queries.standing(card)


@register.simple_tag
def card_state(card: Any) -> SafeString:
    """The state of a card in words behind its mark."""
    found = queries.standing(card)
    return shown_state(CARD_MARKS[found.state], found.words)


@register.filter
def stage_mark(stage: Any) -> str:
    state = queries.stage_state(stage)
    if state is StageState.RUNNING and stage.kind == "sublet":
        return "sent"
    return STAGE_MARKS[state]


@register.filter
def stage_words(stage: Any) -> str:
    return queries.stage_words(stage)


@register.filter
def is_state(stage: Any, state: str) -> bool:
    """{% if stage|is_state:"running" %}; several by comma."""
    return queries.stage_state(stage).value in state.split(",")


@register.simple_tag
def stage_hours(stage: Any, hours: Any = None) -> str:
    """ "2.25 h of 3.00 h" when the time room's hours are given (by stage id), else the standard hours."""
    booked = hours.get(stage.pk) if hours else None
    standard = formats.hours(stage.standard_hours) if stage.standard_hours else ""
    if booked is None:
        return standard
    total = formats.hours(booked.total)
    return _("%(total)s of %(standard)s") % {"total": total, "standard": standard} if standard else total
