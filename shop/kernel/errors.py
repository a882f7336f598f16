"""What can go wrong, in words a person can act on.

Every refusal in the project is one of these. The API turns them into RFC 9457 problems, the pages into messages;
neither decides anything. `code` is stable and documented, `message` says what happened, why, and what to do.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager


class DomainError(Exception):
    """A refusal. Nothing has been written when it reaches the caller: the transaction rolls back."""

    code = "refused"

    def __init__(
        self,
        message: str,
        *,
        code: str | None = None,
        fields: Mapping[str, Sequence[str]] | None = None,
        **facts: object,
    ) -> None:
        super().__init__(message)
        self.message = message
        if code:
            self.code = code
        self.fields: dict[str, list[str]] = {k: list(v) for k, v in (fields or {}).items()}
        self.facts = facts


class BadInput(DomainError):
    """What was typed can't be used; `fields` names where. API: 400."""

    code = "bad-input"


class Refused(DomainError):
    """The input is well-formed but the present state forbids it (no stock, gate unsigned ...). API: 409."""

    code = "refused"


class NeedsOverride(Refused):
    """Refused unless someone with the right overrides it and says why. API: 409."""

    code = "needs-override"


class Questions:
    """What has to be overridden, asked all at once: a word that is given then covers what its giver was told, and no more."""

    def __init__(self) -> None:
        self.open: list[NeedsOverride] = []

    @contextmanager
    def noted(self) -> Iterator[None]:
        """A question of this block waits for `ask`."""
        try:
            yield
        except NeedsOverride as one:
            self.open.append(one)

    def ask(self) -> None:
        """Raises NeedsOverride with every question that was noted, under the code of the first; nothing when there is none."""
        if not self.open:
            return
        facts = {name: value for one in reversed(self.open) for name, value in one.facts.items()}
        fields = {name: text for one in reversed(self.open) for name, text in one.fields.items()}
        said = " ".join(one.message for one in self.open)
        raise NeedsOverride(said, code=self.open[0].code, fields=fields, **facts)


class NotFound(DomainError):
    """There is no such thing, or not for this person. API: 404."""

    code = "not-found"


class NotAllowed(DomainError):
    """This person's roles don't include the right. API: 403."""

    code = "not-allowed"


class Stale(DomainError):
    """Someone saved a newer version first; `facts['current']` is its version. API: 412, pages: shown side by side."""

    code = "stale"


class KeyReused(DomainError):
    """An idempotency key came again with another payload. API: 422."""

    code = "idempotency-key-reused"


class InProgress(DomainError):
    """The same posting is being worked on at this moment. API: 409, retry after a second."""

    code = "in-progress"


class TooMany(DomainError):
    """A limit on attempts was reached; `facts['retry_after']` is in seconds. API: 429."""

    code = "too-many"


def field_error(field: str, message: str, *, code: str | None = None) -> BadInput:
    """A BadInput about one field."""
    return BadInput(message, code=code, fields={field: [message]})
