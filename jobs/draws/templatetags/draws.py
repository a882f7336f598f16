"""{% load draws %}: how quantities of parts are shown."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.parts.models import Part
from jobs.draws.lines import PartLine
from jobs.draws.outlook import Effect
from jobs.draws.supply import Share, Supply
from shop.kernel import clock
from shop.ui.formats import day, qty
from shop.ui.templatetags.ui import state

register = template.Library()


@register.filter
def many(quantity: Any, part: Part) -> str:
    """A quantity of a part; pieces go without a unit."""
    return qty(quantity, "" if part.unit == "C62" else part.unit)


@register.filter
def at(mapping: dict[Any, Any], key: Any) -> Any:
    return mapping.get(key)


@register.simple_tag
def part_state(line: PartLine) -> SafeString:
    """Where a part of a stage stands, by what its reader must do about it."""
    if line.in_hand > 0:
        return state("doing", _("%s in hand") % many(line.in_hand, line.part))
    if line.declined:
        return state("off", _("declined by the customer"))
    if line.short:
        return state("hold", _("%s short") % many(line.short, line.part), "strong")
    if line.coming:
        return state("sent", _("%s coming") % many(line.coming, line.part))
    if line.missing:
        return state("todo", _("not kept, %s free") % many(line.free, line.part))
    if line.to_draw:
        return state("kept", _("kept for it"))
    if line.fitted:
        return state("done", _("fitted"))
    if line.spent:
        return state("out", _("spent"))
    return state("off", _("returned") if line.draws else _("not used"))


def share_words(share: Share, part: Part) -> str:
    """ "2 coming on 3 Dec with order PO-26-0007" """
    line = share.line
    said = {"many": many(share.quantity, part), "order": line.order, "supplier": line.supplier, "day": day(line.due_on)}
    if not line.order:
        return _("%(many)s on the draft order to %(supplier)s, not sent yet") % said
    if line.due_on is None:
        return _("%(many)s coming with order %(order)s, no day known") % said
    if line.due_on < clock.today():
        return _("%(many)s awaited since %(day)s with order %(order)s") % said
    return _("%(many)s coming on %(day)s with order %(order)s") % said


def told(supply: Supply, part: Part) -> str:
    """What becomes of a need, in one sentence: "2 of 4 kept, 2 coming on 3 Dec with order PO-26-0007"."""
    if not supply.left:
        return ""
    if supply.kept == supply.left:
        return _("kept from the shelf")
    if supply.short == supply.left:
        return _("nothing kept: order it")
    said = []
    if supply.kept:
        said.append(_("%(kept)s of %(left)s kept") % {"kept": many(supply.kept, part), "left": many(supply.left, part)})
    if supply.free:
        said.append(_("%s free on the shelf, not kept yet") % many(supply.free, part))
    said += [share_words(share, part) for share in supply.coming]
    if supply.short:
        said.append(_("%s missing: order it") % many(supply.short, part))
    return ", ".join(said)


@register.simple_tag
def supply_words(line: PartLine | None) -> str:
    """The same of a part on a card; nothing when it says no more than its state does."""
    if line is None or line.supply is None or (line.in_hand > 0 and not line.to_draw):
        return ""
    supply = line.supply
    if supply.free == supply.left:  # its state says so already
        return ""
    said = told(supply, line.part)
    late = late_words(supply, line.stage.card.promised_on)
    return f"{said}; {late}" if late else said


@register.filter
def supplied(supply: Supply, part: Part) -> str:
    return told(supply, part)


def late_words(supply: Supply, promised_on: Any) -> str:
    """By how much the last of it comes too late for the promised day."""
    until = supply.by
    days = (until - promised_on).days if until and promised_on else 0
    return ngettext("%d day after the promised day", "%d days after the promised day", days) % days if days > 0 else ""


@register.simple_tag
def promise_words(effect: Effect) -> str:
    """What then happens to the promise of a card."""
    promised, after = effect.need.stage.card.promised_on, effect.after
    if promised is None:
        return _("Nothing was promised for this card.")
    said = {"day": day(promised), "by": day(after.by)}
    if after.short and promised < clock.today():
        return _("Promised for %(day)s, which is past: nothing is coming for it, order it.") % said
    if after.short:
        return _("Promised for %(day)s: nothing is coming for it, so that can't be kept unless it is ordered.") % said
    if effect.late_days:
        late = late_words(after, promised)
        return _("Promised for %(day)s: its last part then comes on %(by)s, %(late)s.") % (said | {"late": late})
    if not after.sure:
        return _("Promised for %(day)s: nobody knows by when its order comes.") % said
    if after.by:
        return _("Promised for %(day)s: its last part comes on %(by)s, in time for that.") % said
    return _("Promised for %(day)s: its parts lie here.") % said
