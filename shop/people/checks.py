"""What a user name, a password and a PIN must be. Pure but for Django's list of common passwords."""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from itertools import pairwise

from django.contrib.auth import password_validation
from django.core.exceptions import ValidationError

from shop.kernel.decimals import decimals_of
from shop.kernel.errors import field_error
from shop.kernel.rights import Role

from .models import Person

_NAME = re.compile(r"[a-z][a-z0-9._-]{1,39}")


def username(typed: str) -> str:
    """The user name in lower case. Raises BadInput."""
    name = typed.strip().lower()
    if not _NAME.fullmatch(name):
        raise field_error(
            "username",
            "Use 2 to 40 small letters, digits, dots and dashes, beginning with a letter, such as jory.vane.",
        )
    return name


def roles(given: Iterable[str]) -> list[str]:
    """The roles in their own order, each once. Raises BadInput for an unknown one or none."""
    wanted = set(given)
    unknown = sorted(wanted - set(Role))
    if unknown:
        raise field_error("roles", f"“{unknown[0][:40]}” is not a role. Use {', '.join(Role)}.")
    if not wanted:
        raise field_error("roles", "Give at least one role. For someone who has left, end the account instead.")
    return [role.value for role in Role if role in wanted]


def cost(amount: Decimal | None) -> Decimal | None:
    """Cost of an hour, in the currency of the business; None: not known. Raises BadInput."""
    if amount is None:
        return None
    if not amount.is_finite() or not 0 <= amount < 100_000 or decimals_of(amount) > 4:
        raise field_error("cost_per_hour", "Give the cost of an hour from 0 to 99 999, with at most four decimals.")
    return amount


def password(typed: str, person: Person, field: str = "password") -> str:
    """Raises BadInput for a short, common or personal password."""
    try:
        password_validation.validate_password(typed, person)
    except ValidationError as error:
        raise field_error(field, " ".join(error.messages)) from error
    return typed


def pin(typed: str) -> str:
    """Six to twelve digits that are not among the first a stranger would try. Raises BadInput."""
    digits = typed.strip()
    if not (digits.isascii() and digits.isdecimal() and 6 <= len(digits) <= 12):
        raise field_error("pin", "A PIN has 6 to 12 digits.")
    steps = {(int(b) - int(a)) % 10 for a, b in pairwise(digits)}
    repeats = any(digits == (digits[:n] * len(digits))[: len(digits)] for n in (1, 2, 3))
    if steps <= {1} or steps <= {9} or repeats or len(set(digits)) < 3 or digits == digits[::-1]:
        raise field_error("pin", "This PIN is easily guessed (a row, a repeat or a mirror). Mix the digits more.")
    return digits
