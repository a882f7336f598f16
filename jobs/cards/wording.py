"""The history of a card in sentences. A trail row holds a verb and plain values; here they become words.

Each room above adds the verbs it records under a card, once, when the app starts: `add({...})`. A sentence is a format
string over the row's detail; `{name}` of a missing value is left out.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from string import Formatter
from typing import Any

from django.utils.translation import gettext as _

from shop.kernel.rounding import round_money

SENTENCES: dict[str, str] = {
    "card.opened": "Opened the card for {machine}",
    "card.plan-copied": "Copied the plan “{plan}” onto it",
    "card.changed": "Changed {changed}",
    "card.arrived": "Noted that the machine came in",
    "card.finished": "Finished the card",
    "card.reopened": "Reopened the card",
    "card.handed-over": "Handed the machine over",
    "card.cancelled": "Cancelled the card",
    "card.unbilled": "Closed the card without an invoice: {what}",
    "card.held": "Put the card on hold for {waits_for}{note}",
    "card.resumed": "Let the card go on",
    "stage.added": "Added {stage}",
    "stage.changed": "Changed {stage}: {changed}",
    "stage.moved": "Moved {stage} to place {position}",
    "stage.removed": "Removed {stage}",
    "stage.started": "Started {stage}",
    "stage.finished": "Finished {stage}",
    "stage.unfinished": "Took {stage} up again",
    "stage.held": "Put {stage} on hold for {waits_for}{note}",
    "stage.resumed": "Let {stage} go on",
    "stage.go-ahead": "Noted the customer's go-ahead for {stage}: {ref}",
    "stage.declined": "Noted the customer's no to {stage}: {ref}",
    "stage.go-ahead-withdrawn": "Withdrew the answer for {stage}",
    "gate.added": "Added the gate “{gate}” to {stage}",
    "gate.removed": "Removed the gate “{gate}” from {stage}",
    "gate.signed": "Signed “{gate}” of {stage}{note}",
    "note.added": "Noted: {text}",
    "file.added": "Added the file {name}",
    "file.shown": "Ticked the photo {name} for the customer",
    "file.hidden": "Took the tick for the customer off the photo {name}",
    "file.archived": "Put the file {name} away",
}

READERS: dict[str, str] = {}
"""The right that it takes to read a verb, or every verb of a thing ("invoice"): what was asked and paid isn't for everybody who
reads the card."""

WORDS: dict[str, Mapping[str, str]] = {}
"""What codes are called in a sentence, by the name of the value: {"kind": {"quotation": "a firm quotation"}}."""

FIELDS: dict[str, str] = {
    "complaint": "the complaint",
    "came_with": "what came with it",
    "promised_on": "the promised date",
    "site_id": "the site",
    "standard_hours": "the standard hours",
    "done_by": "who may do it",
    "needs_go_ahead": "whether it needs a go-ahead",
    "chargeable": "whether it is charged",
    "mechanic_id": "whose it is",
    "after": "what it comes after",
}
_LONG = 40
AMOUNTS = frozenset({"net", "gross", "amount"})  # kept with as many decimals as the column has


def add(
    sentences: Mapping[str, str],
    *,
    readers: Mapping[str, str] | None = None,
    words: Mapping[str, Mapping[str, str]] | None = None,
) -> None:
    """Verbs of a room above, which of them, or of which things, only those with a right read (see READERS), and the words for its
    codes (see WORDS)."""
    SENTENCES.update(sentences)
    READERS.update(readers or {})
    WORDS.update(words or {})


def hidden_from(rights: Collection[str]) -> list[str]:
    """Verbs, or things, that who has only these `rights` doesn't read."""
    return sorted(of for of, right in READERS.items() if right not in rights)


def sentence(verb: str, detail: Mapping[str, Any], currency: str = "") -> str:
    """What happened, as one sentence without its subject ("Finished stage 3 “Measure”"). `currency`: of amounts whose row
    names none."""
    form = SENTENCES.get(verb)
    if form is None:
        thing, _, did = verb.partition(".")
        return f"{thing.replace('-', ' ').capitalize()}: {did.replace('-', ' ')}" if did else verb
    money = str(detail.get("currency") or currency)
    said = "".join(
        before + (_word(name, detail.get(name), money) if name else "")
        for before, name, _, _ in Formatter().parse(form)
    )
    said = " ".join(said.split())
    return said[:1].upper() + said[1:]


def entry(row: Any, currency: str) -> dict[str, Any]:
    """A trail row for the {% history %} list. `currency`: of amounts whose row names none."""
    return {
        "when": row.at,
        "who": row.by or _("by itself"),
        "what": sentence(row.verb, row.detail, currency),
        "why": why(row.detail),
    }


def why(detail: Mapping[str, Any]) -> str:
    """The reason that was given, if any."""
    return str(detail.get("reason") or "")


def _word(name: str, value: Any, currency: str) -> str:
    if value is None or value == "":
        return ""
    if name == "changed" and isinstance(value, Mapping):
        return _changes(value)
    if name in WORDS:
        return WORDS[name].get(str(value), _plain(value))
    if name == "note":
        return f" ({value})"
    if name == "hours":
        return str(Decimal(value).quantize(Decimal("0.01"), ROUND_HALF_UP))
    if name in AMOUNTS and currency:
        return f"{round_money(Decimal(value), currency):f}"
    return _plain(value)


def _changes(changed: Mapping[str, Any]) -> str:
    if not changed:
        return "nothing"
    parts = []
    for field, pair in changed.items():
        name = FIELDS.get(field, "the " + field.replace("_", " ").removesuffix(" id"))
        old, new = pair if isinstance(pair, list | tuple) and len(pair) == 2 else (None, pair)
        long = any(len(str(v)) > _LONG or "\n" in str(v) for v in (old, new))
        if field.endswith("_id") or long:
            parts.append(name)
        else:
            parts.append(f"{name} from {_plain(old)} to {_plain(new)}")
    return ", ".join(parts)


def _plain(value: Any) -> str:
    if value is None or value == "" or value == []:
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return ", ".join(str(v) for v in value)
    return str(value)
