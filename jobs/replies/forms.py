"""What staff type about links, and what a customer sends back."""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.estimates.models import EstimateLine
from shop.documents import uploads
from shop.kernel.errors import BadInput
from shop.ui.forms import WholeInput

from .actions import MOST_DAYS, USUAL_DAYS

MOST_SIGNATURE = 400_000
"""Characters of a drawn signature as the page sends it."""
_DRAWN = re.compile(r"data:image/png;base64,[A-Za-z0-9+/]+={0,2}")
LARGEST = 2000
"""Pixels of a side of it."""


class LinkForm(forms.Form):
    days = forms.IntegerField(
        label=_("Days it works"), min_value=1, max_value=MOST_DAYS, initial=USUAL_DAYS, widget=WholeInput,
        help_text=_("Never longer than the prices hold."),
    )  # fmt: skip
    mail = forms.BooleanField(label=_("Mail it to the customer now"), required=False)

    def __init__(self, *args: Any, may_mail: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not may_mail:
            del self.fields["mail"]


@dataclass
class Sent:
    """What came back from the page, read with care: anybody may send anything."""

    name: str
    chosen: dict[int, str]
    answers: dict[int, bool]
    signature: uploads.Checked | None = None
    wrong: list[tuple[str, str]] = field(default_factory=list)
    """(id of the field, key of the words that say what is wrong)"""


def read(posted: Any, lines: Iterable[EstimateLine], open_lines: frozenset[int]) -> Sent:
    """Yes or no by line; with the button for everything, yes to all that is open and not optional."""
    chosen = {pk: posted.get(f"line_{pk}", "open") for pk in open_lines}
    chosen = {pk: word if word in ("yes", "no") else "open" for pk, word in chosen.items()}
    if posted.get("every") == "yes":
        chosen |= {x.pk: "yes" for x in lines if x.pk in open_lines and not x.optional}
    name = " ".join(posted.get("name", "")[:400].split())
    sent = Sent(name, chosen, {pk: word == "yes" for pk, word in sorted(chosen.items()) if word != "open"})
    if not sent.answers:
        sent.wrong.append(("lines", "no-answers"))
    if not name or len(name) > 120 or not name.isprintable():
        sent.wrong.append(("name", "no-name"))
    drawn = posted.get("signature", "")
    if drawn:
        try:
            sent.signature = _picture(drawn)
        except (BadInput, binascii.Error, ValueError):
            sent.wrong.append(("sign", "bad-signature"))
    return sent


def _picture(drawn: str) -> uploads.Checked:
    if len(drawn) > MOST_SIGNATURE or not _DRAWN.fullmatch(drawn):
        raise ValueError("no picture")
    found = uploads.inspect("signature.png", base64.b64decode(drawn.partition(",")[2], validate=True))
    if found.media_type != "image/png" or max(found.width or 0, found.height or 0) > LARGEST:
        raise ValueError("no signature")
    return found
