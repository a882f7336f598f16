"""Background work of the reorder room."""

from __future__ import annotations

from shop.people.models import Person
from shop.trail.chores import chore
from shop.trail.outbox import Event, handles

from . import actions


@handles("reorder.run")
def run(event: Event) -> None:
    from . import planning  # only who works proposals out needs numpy

    by = Person.objects.filter(pk=event.payload.get("by")).first()
    actions.keep_run(planning.work_out(), by=by, event_id=event.id)


@chore("reorder.nightly", minutes=30)
def nightly() -> None:
    actions.ask_for_nightly_run()
