"""Template tags and filters of the component kit. What there is and how to call it: `shop/ui/__init__.py`."""

import uuid
from decimal import Decimal
from typing import Any

from django import template
from django.forms import BaseForm, BoundField
from django.http import QueryDict
from django.middleware.csrf import get_token
from django.template.context import Context
from django.template.loader import render_to_string
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from shop.kernel.clock import now as clock_now
from shop.ui import band, formats, marks, tables
from shop.ui import panels as _panels

register = template.Library()
tables.register_into(register)

for _filter in ("money", "qty", "hours", "when", "until", "day", "clocked", "number", "days_from_now", "filesize"):
    register.filter(_filter, getattr(formats, _filter))


@register.filter
def iso(value: Any) -> str:
    """Machine form of a date or time, for datetime attributes."""
    return value.isoformat() if value else ""


@register.simple_tag
def mark(name: str) -> SafeString:
    return marks.mark(name)


@register.simple_tag
def state(name: str, word: str, kind: str = "") -> SafeString:
    """A state in words behind its mark. `kind="strong"` sets it off (what the reader must act on)."""
    css = f"state state-{name}" + (f" {kind}" if kind else "")
    return format_html('<span class="{}">{}<span>{}</span></span>', css, marks.mark(name), word)


@register.simple_tag(takes_context=True)
def panels(context: Context, place: str, row: Any) -> SafeString:
    """What upper rooms show of `row` on this page (shop/ui/panels.py)."""
    request = context["request"]
    rendered = (show(request, row) for show in _panels.of(place, request.user.rights))
    return format_html_join("\n", "{}", ((mark_safe(html),) for html in rendered if html))  # noqa: S308


# --- forms ------------------------------------------------------------------------------------------


@register.simple_tag(takes_context=True)
def once(context: Context) -> SafeString:
    """CSRF token and a fresh posting id: a form sent twice takes effect once."""
    token = context.get("csrf_token")
    if not token or token == "NOTPROVIDED":  # noqa: S105
        request = context.get("request")
        token = get_token(request) if request is not None else ""
    csrf = format_html('<input type="hidden" name="csrfmiddlewaretoken" value="{}">', token) if token else ""
    return format_html('{}<input type="hidden" name="once" value="{}">', csrf, uuid.uuid4())


@register.inclusion_tag("ui/field.html")
def field(bound: BoundField, label: str = "", hint: str = "") -> dict:
    """One form field with label, hint and error; label and hint of the form may be replaced."""
    if label:
        bound.label = label
    if hint:
        bound.help_text = hint
    return {"field": bound}


@register.inclusion_tag("ui/parts/error_summary.html")
def errors(*forms: BaseForm) -> dict:
    """Error summary over one or several forms: takes the focus, links to the fields."""
    return {"problems": _problems(forms)}


@register.inclusion_tag("ui/parts/newer.html")
def newer(form: BaseForm) -> dict:
    """After a stale edit: the stored values beside the typed ones (shop/ui/newer.py). Else nothing."""
    return {"form": form}


@register.filter
def problems(form: BaseForm) -> list[dict]:
    return _problems((form,))


def _problems(forms: Any) -> list[dict]:
    found = []
    for form in forms:
        if form is None or not form.is_bound:
            continue
        found += [{"text": e, "target": "", "label": ""} for e in form.non_field_errors()]
        for bound in form:
            for e in bound.errors:
                # A hidden box can't take the focus: say it plainly instead of linking to nothing.
                target = "" if bound.is_hidden else bound.id_for_label or bound.auto_id
                found.append({"text": e, "target": target, "label": bound.label})
    return found


@register.simple_tag
def button(label: str, kind: str = "main", href: str = "", **attrs: Any) -> SafeString:
    """Submit button, or a link that looks like one when `href` is given.

    `kind`: main (one per form), plain, quiet (looks like a link). More keywords become attributes
    (name="go", value="1", hx_post="/x/", form="f").
    """
    extra = str(attrs.pop("css", ""))
    css = f"button {kind} {extra}".strip()
    if href:
        return format_html('<a class="{}" href="{}"{}>{}</a>', css, href, tables.attributes(attrs), label)
    attrs.setdefault("type", "submit")
    return format_html('<button class="{}"{}>{}</button>', css, tables.attributes(attrs), label)


@register.simple_tag
def bigbutton(label: str, sub: str = "", href: str = "", mark: str = "", **attrs: Any) -> SafeString:
    """Bench button (at least 64 px high), with a second line and a mark if wanted."""
    inner = format_html(
        "{}<span><b>{}</b>{}</span>",
        marks.mark(mark) if mark else "",
        label,
        format_html("<small>{}</small>", sub) if sub else "",
    )
    css = ("big " + str(attrs.pop("css", ""))).strip()
    if href:
        return format_html('<a class="{}" href="{}"{}>{}</a>', css, href, tables.attributes(attrs), inner)
    attrs.setdefault("type", "submit")
    return format_html('<button class="{}"{}>{}</button>', css, tables.attributes(attrs), inner)


@register.inclusion_tag("ui/parts/clock.html", takes_context=True)
def clock(
    context: Context,
    since: Any = None,
    action: str = "",
    label: str = "",
    what: str = "",
    hidden: dict | None = None,
) -> dict:
    """The clock: running time since `since` (aware datetime; None = not running), at least 120 px high.

    With `action` the whole clock is one button that posts there (`label` "Clock off", `hidden` extra values).
    """
    return {
        "since": since,
        "ran": formats.clocked(clock_now() - since) if since else "0:00",
        "action": action,
        "label": label,
        "what": what,
        "hidden": hidden or {},
        "csrf_token": context.get("csrf_token"),
        "request": context.get("request"),
    }


@register.inclusion_tag("ui/parts/filters.html", takes_context=True)
def filters(context: Context, form: BaseForm, action: str = "") -> dict:
    """Filter bar: a GET form of the given form's fields, with a way back to the unfiltered list."""
    request = context.get("request")
    here = action or (request.path if request is not None else "")
    return {"form": form, "action": here, "active": bool(form.is_bound and any(form.data.values()))}


@register.inclusion_tag("ui/parts/undo.html", takes_context=True)
def undo(
    context: Context, done: str, action: str = "", label: str = "", hidden: dict | None = None, note: str = ""
) -> dict:
    """What was just done, with the button that posts the counter-entry (instead of asking beforehand)."""
    return {
        "done": done,
        "action": action,
        "label": label or _("Undo by counter-entry"),
        "note": note or _("The counter-entry is written beside the entry; both stay in the history."),
        "hidden": hidden or {},
        "csrf_token": context.get("csrf_token"),
        "request": context.get("request"),
    }


# --- blocks -----------------------------------------------------------------------------------------


def _rendered(content: str) -> SafeString:
    """The inside of a block tag: a template has rendered and escaped it already."""
    return mark_safe(content.strip())  # noqa: S308


@register.simple_block_tag
def strip(
    content: str,
    title: str,
    number: str = "",
    kicker: str = "",
    sub: str = "",
    waits: str = "",
    mark: str = "hold",
    level: int = 1,
) -> SafeString:
    """Heading strip: stub with the number, what the machine is, what it waits for; content = {% fact %}s."""
    return render_to_string(
        "ui/parts/strip.html",
        {
            "content": _rendered(content), "title": title, "number": number, "kicker": kicker, "sub": sub,
            "waits": waits, "mark": mark, "tag": f"h{level}",
        },
    )  # fmt: skip


@register.simple_block_tag
def facts(content: str, css: str = "") -> SafeString:
    """Definition list around {% fact %}s (or your own dt/dd pairs in divs)."""
    return format_html('<dl class="facts {}">{}</dl>', css, _rendered(content))


@register.simple_tag
def fact(label: str, value: Any = "", sub: str = "", href: str = "") -> SafeString:
    """One label with its value in a {% facts %} or {% strip %}; an empty value is a dash."""
    shown = formats.NONE if value is None or value == "" else value
    shown = format_html('<a href="{}">{}</a>', href, shown) if href else shown
    small = format_html(" <small>{}</small>", sub) if sub else ""
    return format_html("<div><dt>{}</dt><dd>{}{}</dd></div>", label, shown, small)


@register.simple_block_tag
def stages(content: str, label: str = "") -> SafeString:
    """Ordered list of ruled stage rows around {% stage %}s."""
    return format_html(
        '<ol class="stages" role="list" aria-label="{}">{}</ol>',
        label or _("Labour stages"),
        _rendered(content),
    )


@register.simple_block_tag
def stage(
    content: str,
    number: Any,
    title: str,
    mark: str = "todo",
    state: str = "",
    href: str = "",
    who: str = "",
    hours: str = "",
    current: bool = False,
    id: str = "",
) -> SafeString:
    """One ruled stage row: number, title, state, who, hours; content (gates, notes, buttons) below."""
    return render_to_string(
        "ui/parts/stage.html",
        {
            "content": _rendered(content), "number": number, "title": title, "mark": mark, "state": state,
            "href": href, "who": who, "hours": hours, "current": current, "id": id,
        },
    )  # fmt: skip


@register.simple_block_tag
def totals(content: str) -> SafeString:
    """Totals block around {% total %}s; set to the right on wide pages."""
    return format_html('<dl class="totals">{}</dl>', _rendered(content))


@register.simple_tag
def total(label: str, amount: str, strong: bool = False, sub: str = "") -> SafeString:
    """One line of {% totals %}; `amount` already formatted. `strong` for the sum."""
    return format_html(
        "<div{}><dt>{}{}</dt><dd>{}</dd></div>",
        mark_safe(' class="sum"') if strong else "",
        label,
        format_html(" <small>{}</small>", sub) if sub else "",
        amount,
    )


@register.simple_block_tag
def notice(content: str, title: str = "", kind: str = "note", level: int = 2) -> SafeString:
    """A note set off from the text. `kind`: note, caution (work that can hurt), problem (what went wrong)."""
    shape = {"note": "open", "caution": "near", "problem": "out"}[kind]
    head = format_html("<h{0}>{1}{2}</h{0}>", level, marks.mark(shape), title) if title else ""
    return format_html('<div class="notice {}">{}{}</div>', kind, head, _rendered(content))


@register.simple_block_tag
def empty(content: str, title: str) -> SafeString:
    """Empty state: what would stand here, and in the content how to get it."""
    return format_html('<div class="empty"><p class="lead">{}</p>{}</div>', title, _rendered(content))


# --- lists and pictures -----------------------------------------------------------------------------


@register.inclusion_tag("ui/parts/pager.html", takes_context=True)
def pager(
    context: Context,
    older: str | None = None,
    newer: str | None = None,
    param: str = "cursor",
    on: str = "",
    back: str = "",
) -> dict:
    """Keyset pager: `older`/`newer` are the cursors of the neighbour pages (None = no such page).

    The other query values of the request are kept. The words fit a list that begins with the newest; give others
    as `on` and `back` (a list by name: "Further", "Back").
    """
    request = context.get("request")

    def link(cursor: str | None) -> str:
        if not cursor:
            return ""
        query = request.GET.copy() if request is not None else QueryDict(mutable=True)
        query[param] = cursor
        return "?" + query.urlencode()

    return {"older": link(older), "newer": link(newer), "on": on or _("Older"), "back": back or _("Newer")}


@register.inclusion_tag("ui/parts/tabs.html")
def tabs(items: list[dict], label: str = "") -> dict:
    """Links that look like file tabs. Items: label, url, current (bool), count (optional)."""
    return {"items": items, "label": label or _("Views")}


@register.inclusion_tag("ui/parts/history.html")
def history(entries: Any, empty: str = "") -> dict:
    """Who did what when. Entries with when, who, what and, if any, why."""
    return {"entries": entries, "empty": empty}


@register.inclusion_tag("ui/parts/files.html")
def files(items: Any, empty: str = "") -> dict:
    """Photos and files. Items: name, url, size (bytes), thumb (url, for photos), alt, caption, when, who."""
    return {"items": items, "empty": empty}


@register.inclusion_tag("ui/parts/band.html")
def limitband(
    reading: Decimal | None,
    low: Decimal | None,
    high: Decimal | None,
    unit: str = "",
    verdict: str = "",
    mark: str = "done",
    uncertainty: Decimal | None = None,
    label: str = "",
) -> dict:
    """A reading as a tick on its limit band, and the same in words. The verdict comes from the page."""
    reading, low, high, uncertainty = (
        None if v is None or v == "" else formats.exact(v) for v in (reading, low, high, uncertainty)
    )
    sign = formats.unit_sign(unit)
    if low is not None and high is not None:
        limits = _("%(low)s to %(high)s %(unit)s") % {
            "low": formats.number(low), "high": formats.number(high), "unit": sign,
        }  # fmt: skip
    elif low is not None:
        limits = _("at least %(low)s %(unit)s") % {"low": formats.number(low), "unit": sign}
    else:
        limits = _("at most %(high)s %(unit)s") % {"high": formats.number(high), "unit": sign}
    value = formats.number(reading) + formats.NBSP + sign if reading is not None else _("not yet measured")
    if uncertainty and reading is not None:
        value += f" ± {formats.number(uncertainty)}"
    return {
        "band": band.lay_out(reading, low, high, uncertainty),
        "limits": limits.strip(), "value": value.strip(), "verdict": verdict, "mark": mark, "label": label,
    }  # fmt: skip


@register.simple_tag
def scan_unknown(code: str, message: str = "") -> SafeString:
    """Says, also by sound, that a scanned code is not known."""
    text = message or _("The code %(code)s is not known here. Scan again, or type it into the search box.") % {
        "code": code
    }
    return format_html('<p class="notice problem" data-scan-unknown="{}">{}</p>', code, text)


@register.simple_tag
def signoff(*labels: str) -> SafeString:
    """Lines to sign on paper; seen in print only."""
    cells = format_html_join("", "<div>{}</div>", ((label,) for label in labels))
    return format_html('<div class="signoff">{}</div>', cells)
