from __future__ import annotations

from shop.people.models import Person

PASSWORD = "heavy-spanner-42"


def person(username: str, name: str, *roles: str) -> Person:
    """A member of staff with these roles, made once."""
    found = Person.objects.filter(username=username).first()
    if found:
        return found
    made = Person(username=username, name=name, roles=list(roles), cost_per_hour="24.00")
    made.set_password(PASSWORD)
    made.save()
    return made
