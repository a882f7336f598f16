"""Tags of the desk's own templates."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.cards.queries import Standing
from jobs.cards.state import CardState
from jobs.cards.templatetags.cards import CARD_MARKS
from jobs.draws.lines import PartLine
from jobs.invoices import queries as invoices
from jobs.invoices.models import Invoice
from jobs.timebook.models import TimeBooking
from jobs.timebook.queries import StageHours
from shop.ui import formats
from shop.ui.templatetags.ui import state

from ..queries.bench import Step
from ..queries.today import Floor

register = template.Library()


@register.simple_tag
def standing_state(standing: Standing) -> SafeString:
    """What a card stands at, or what it waits for, with its mark."""
    word = _("Waits for %s") % standing.waits.what if standing.waits else standing.words
    return state(_mark(standing), word)


def _mark(standing: Standing) -> str:
    """A card in the shop that waits stands still."""
    waits = standing.waits and standing.state in (CardState.IN_SHOP, CardState.BOOKED)
    return "hold" if waits else CARD_MARKS[standing.state]


@register.simple_tag
def card_stands(standing: Standing) -> dict[str, str]:
    """Words and mark of a card for its heading strip, which says "waits for" by itself."""
    waits = standing.waits and standing.state in (CardState.IN_SHOP, CardState.BOOKED)
    return {
        "words": standing.waits.what if waits else standing.words,
        "mark": _mark(standing),
    }


@register.simple_tag
def parts_words(lines: list[PartLine]) -> str:
    """The parts of a stage in a few words: "4 parts: 1 short, 1 not kept, 1 in hand"."""
    in_hand, short = sum(1 for x in lines if x.in_hand > 0), sum(1 for x in lines if x.short)
    unkept = sum(1 for x in lines if x.missing and not x.short)
    to_draw = sum(1 for x in lines if x.to_draw and not x.missing)
    said = [
        _("%d short") % short if short else "",
        _("%d not kept") % unkept if unkept else "",
        _("%d kept") % to_draw if to_draw else "",
        _("%d in hand") % in_hand if in_hand else "",
    ]
    many = ngettext("%d part", "%d parts", len(lines)) % len(lines)
    rest = ", ".join(filter(None, said))
    return f"{many}: {rest}" if rest else many


@register.simple_tag
def floor_words(floor: Floor) -> str:
    """The day in one sentence: "9 machines in the shop, 2 of them late. 3 wait."."""
    here, late, waiting = len(floor.in_shop), len(floor.late), len(floor.waiting)
    if not here:
        return _("No machine is in the shop.")
    said = [ngettext("%d machine in the shop", "%d machines in the shop", here) % here]
    if late:
        said.append(ngettext("%d card late", "%d cards late", late) % late)
    said.append(ngettext("%d stands and waits", "%d stand and wait", waiting) % waiting if waiting else _("none waits"))
    return ", ".join(said) + "."


@register.simple_tag
def all_clear(floor: Floor, office: dict[str, Any]) -> str:
    """What needs nothing, as one sentence: "Nothing overdue, no clock forgotten."."""
    asked = (
        ("finished", _("nothing waits to be collected")),
        ("not_invoiced", _("all that is done is invoiced")),
        ("overdue", _("nobody is late in paying")),
        ("unanswered", _("every estimate was answered")),
        ("flagged", _("no clock was forgotten")),
        ("undelivered", _("everything was sent")),
    )
    known = {"finished": floor.finished} | office
    clear = [words for name, words in asked if name in known and not known[name]]
    sentence = ", ".join(clear)
    return f"{sentence[:1].upper()}{sentence[1:]}." if clear else ""


@register.filter
def running_words(booking: TimeBooking) -> str:
    """Where a clock runs: "26-0031 · Brindlecote B2 · 4 Fit rings"."""
    stage = booking.stage
    return f"{stage.card.number} · {stage.card.machine.title} · {stage.position} {stage.name}"


@register.simple_tag
def step_hours(step: Step) -> str:
    """ "2.25 h of 3.00 h" """
    return hours_words(step.worked)


@register.filter
def hours_words(worked: StageHours | None) -> str:
    if worked is None:
        return ""
    total = formats.hours(worked.total) if worked.total else ""
    if not worked.standard:
        return total
    standard = formats.hours(worked.standard)
    return _("%(total)s of %(standard)s") % {"total": total, "standard": standard} if total else standard


@register.simple_tag
def invoices_words(rows: list[Invoice]) -> SafeString:
    """What is invoiced and owed, as a fact beside the hand-over."""
    issued = [r for r in rows if r.issued_at and r.kind != Invoice.Kind.CREDIT]
    if not issued:
        return state("near", _("Nothing was invoiced yet"))
    owed = [r.number for r in issued if invoices.outstanding(r) > 0]
    if not owed:
        return state("done", _("The invoices are settled"))
    return state("near", _("Not paid yet: %s. Whether it may go is yours to say.") % ", ".join(owed))
