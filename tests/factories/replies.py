"""A link to an issued estimate, and a browser of the customer's that has no account and no cookie."""

from __future__ import annotations

import re
import uuid
from typing import Any

from django.test import Client
from django.urls import reverse

from jobs.estimates.models import Estimate
from jobs.replies import actions, queries, tokens
from jobs.replies.models import CustomerLink, Reply
from shop.people.models import Person

from . import estimates as quote


def link(by: Person, to: Estimate | None = None, **more: Any) -> CustomerLink:
    return actions.make_link((to or quote.issued(by)).pk, by=by, **more)


def path(of: CustomerLink) -> str:
    return reverse("replies:document", args=[tokens.token(of.nonce, of.estimate_id)])


def answered(by: Person, to: Estimate) -> Reply:
    """A link, and a yes by it to every line."""
    made = link(by, to)
    said = {line.pk: True for line in made.estimate.lines.all()}
    return actions.answer(made.pk, once=uuid.uuid4(), seen=0, answers=said, said_by="Niamh Tolan", address="192.0.2.7")


def key(answer: Any) -> str:
    """The key of the form on a page that was opened."""
    found = re.search(r'name="key" value="([^"]+)"', answer.content.decode())
    assert found, "this page asks nothing"
    return found[1]


class Phone:
    """The customer's, with one link open."""

    def __init__(self, of: CustomerLink | str) -> None:
        self.path = of if isinstance(of, str) else path(of)
        self.client = Client(enforce_csrf_checks=True)

    def open(self) -> Any:
        return self.client.get(self.path)

    def send(self, said: dict[int, str], *, name: str = "Niamh Tolan", key_: str = "", **more: Any) -> Any:
        given = {f"line_{pk}": word for pk, word in said.items()}
        return self.client.post(self.path, {"key": key_ or key(self.open()), "name": name, **given, **more})


def standing(estimate: Estimate) -> dict[int, str]:
    return queries.words(Estimate.objects.get(pk=estimate.pk))
