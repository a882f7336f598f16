"""The plain marks beside a state word: shape and outline only, drawn in the colour of the text.

A mark never stands alone; the word says it. Which mark goes with which state is the page's choice,
from this small set so that one shape means one thing everywhere.
"""

from functools import cache

from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

RING = '<circle cx="8" cy="8" r="6.2"/>'
SHAPES = {
    "todo": RING,  # not begun
    "draft": '<circle cx="8" cy="8" r="6.2" stroke-dasharray="2.4 2.4"/>',  # not yet issued
    "doing": RING + '<path d="M8 1.8a6.2 6.2 0 0 1 0 12.4z" fill="currentColor"/>',  # in hand
    "done": '<rect x="1.8" y="1.8" width="12.4" height="12.4" fill="currentColor"/>'
    '<path d="M4.6 8.3 7 10.7l4.4-5" stroke="var(--paper)"/>',  # finished, within
    "hold": '<path d="M5 2v12M11 2v12" stroke-width="3"/>',  # stands still
    "late": RING + '<path d="M8 4.2V8l2.8 1.8"/>',  # past its date
    "kept": RING + '<circle cx="8" cy="8" r="2.2" fill="currentColor"/>',  # reserved
    "sent": '<path d="M1.8 8h11.4M9 3.6 13.6 8 9 12.4"/>',  # gone out
    "out": '<path d="M8 1.6 14.4 8 8 14.4 1.6 8z" fill="currentColor"/>',  # outside, refused, wrong
    "near": '<path d="M8 1.6 14.4 8 8 14.4 1.6 8z"/>',  # inside the uncertainty of a limit; look twice
    "off": RING + '<path d="M3.6 12.4 12.4 3.6"/>',  # cancelled, declined
    "open": '<path d="M3 13.6V4.4L6 2h7v11.6z"/>',  # a document that lies open
}


@cache
def mark(name: str) -> SafeString:
    """SVG of a mark, hidden from screen readers. KeyError names the marks there are."""
    if name not in SHAPES:
        raise KeyError(f"no mark {name!r}; there are: {', '.join(SHAPES)}")
    return format_html(
        '<svg class="mark" viewBox="0 0 16 16" width="16" height="16" fill="none" stroke="currentColor"'
        ' stroke-width="1.6" aria-hidden="true" focusable="false">{}</svg>',
        mark_safe(SHAPES[name]),  # noqa: S308  constants of this file
    )
