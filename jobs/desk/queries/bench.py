"""What a mechanic has to do now."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import F, Q

from jobs.cards import queries as cards
from jobs.cards.state import StageState
from jobs.draws import queries as draws
from jobs.draws.models import TrayUse
from jobs.timebook import queries as hours
from jobs.timebook.models import TimeBooking
from jobs.timebook.queries import StageHours
from shop.people.models import Person

SHOWN = 40
_ORDER = (StageState.RUNNING, StageState.CAN_START, StageState.SIGN_FIRST)


@dataclass(frozen=True)
class Step:
    """A stage as its worker sees it. `worked`: hours on it against its standard hours."""

    stage: Any
    state: StageState
    words: str
    worked: StageHours
    clocked: bool
    trays: tuple[TrayUse, ...] = ()  # that hold its parts

    @property
    def can_clock_on(self) -> bool:
        return self.state in (StageState.RUNNING, StageState.CAN_START) and not self.clocked

    @property
    def others(self) -> list[TimeBooking]:
        """Clocks of others that run on it."""
        return [b for b in self.worked.clocked_on if b.person_id != self.stage.mechanic_id]


@dataclass(frozen=True)
class Bench:
    """`running`: the person's clock. `mine`: given to them, what can be done now first. `free`: nobody's, and theirs to
    take."""

    running: TimeBooking | None
    mine: list[Step]
    free: list[Step]


def bench(person: Person) -> Bench:
    """The stages of a mechanic and those free to take, on cards that are in the shop."""
    running = hours.running_of(person)
    order = (F("card__promised_on").asc(nulls_last=True), "card_id", "position")
    own = list(cards.stages(mechanic_id=person.pk, todo=True).order_by(*order)[:SHOWN])
    nobodys = list(cards.stages(nobody=True, todo=True).filter(_for(person)).order_by(*order)[:SHOWN])
    steps = steps_of([*own, *nobodys], running)
    mine = sorted(steps[: len(own)], key=lambda s: (not s.clocked, _rank(s), _promised(s)))
    free = [s for s in steps[len(own) :] if s.state in _ORDER]
    return Bench(running, mine, free)


def steps_of(stages: Iterable[Any], running: TimeBooking | None) -> list[Step]:
    """Stages of `jobs.cards.queries.stages` with state and hours and trays, in two queries more."""
    listed = list(stages)
    worked = hours.hours_by_stage(listed)
    at = running.stage_id if running else None
    trays = draws.trays_of_stages([s.pk for s in listed])
    return [
        Step(s, cards.stage_state(s), cards.stage_words(s), worked[s.pk], s.pk == at, tuple(trays.get(s.pk, ())))
        for s in listed
    ]


def _for(person: Person) -> Q:
    """Stages that any mechanic may do, or this one by what they are entered as."""
    anybody = Q(done_by="")
    return anybody | Q(done_by__iexact=person.labour_class) if person.labour_class else anybody


def _rank(step: Step) -> int:
    return _ORDER.index(step.state) if step.state in _ORDER else len(_ORDER)


def _promised(step: Step) -> date:
    promised: date | None = step.stage.card.promised_on
    return promised or cards.NO_DATE
