"""Reads of the estimates room."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Count, Exists, OuterRef, Prefetch, Q, QuerySet, Sum

from jobs.cards.models import JobCard, Stage
from shop.kernel import clock
from shop.trail.models import TrailRow
from shop.trail.record import kind_of

from . import agreed
from .agreed import Answer
from .models import OPEN, OPEN_LINES, Estimate, EstimateLine, GoAhead, GoAheadLine, LineKind

ZERO = Decimal(0)
STATES = {
    "draft": ("Draft", "draft"),
    "open": ("Waits for the customer's word", "sent"),
    "answered": ("Answered", "done"),
    "expired": ("No longer valid", "late"),
    "superseded": ("Superseded", "off"),
    "withdrawn": ("Withdrawn", "off"),
}


def ref(estimate: Estimate) -> str:
    """How cards name it on a stage: "estimate EST-26-0012 revision 2"."""
    return f"estimate {estimate.number} revision {estimate.revision}"


def _answered() -> Exists:
    return Exists(GoAhead.objects.filter(estimate=OuterRef("pk")))


def estimates(
    *,
    card_id: int | None = None,
    customer_id: int | None = None,
    state: str = "",
    kind: str = "",
    number: str = "",
    since: date | None = None,
) -> QuerySet[Estimate]:
    """Estimates with card and customer and whether they were answered. `number`: its start. `since`: issued on or after."""
    rows = Estimate.objects.select_related("card__machine", "card__customer", "issued_by", "created_by").annotate(
        answered=_answered()
    )
    today = clock.today()
    narrowed = {
        "draft": Q(issued_at__isnull=True),
        "open": OPEN & Q(answered=False, valid_until__gte=today),
        "answered": OPEN & Q(answered=True),
        "expired": OPEN & Q(answered=False, valid_until__lt=today),
        "superseded": Q(superseded_at__isnull=False),
        "withdrawn": Q(withdrawn_at__isnull=False),
    }
    if state:
        rows = rows.filter(narrowed[state])
    if card_id is not None:
        rows = rows.filter(card=card_id)
    if customer_id is not None:
        rows = rows.filter(card__customer=customer_id)
    if kind:
        rows = rows.filter(kind=kind)
    if number:
        rows = rows.filter(number__istartswith=number)
    if since is not None:
        rows = rows.filter(issued_on__gte=since)
    return rows


def estimate(pk: int) -> Estimate | None:
    return estimates().filter(pk=pk).first()


def state_of(estimate: Estimate) -> str:
    """A key of STATES. For a row of `estimates()`; another costs a query."""
    if not estimate.issued_at:
        return "draft"
    if estimate.superseded_at:
        return "superseded"
    if estimate.withdrawn_at:
        return "withdrawn"
    answered = getattr(estimate, "answered", None)
    if answered is None:
        answered = estimate.go_aheads.exists()
    if answered:
        return "answered"
    return "expired" if estimate.valid_until and estimate.valid_until < clock.today() else "open"


SAID = {"yes": ("Agreed", "done"), "part": ("Agreed in part", "near"), "no": ("Declined", "off")}


def with_words(rows: Iterable[Estimate]) -> list[tuple[Estimate, str, str]]:
    """Each estimate with its state in words and its mark; an answered one with what was said. Two queries for all."""
    listed = list(rows)
    states = {e.pk: state_of(e) for e in listed}
    standing, _ = _standing([e for e in listed if states[e.pk] == "answered"])
    found = []
    for each in listed:
        words, mark = STATES[states[each.pk]]
        if said := standing.get(each.pk):
            given = {word(answer) for answer in said.values()}
            words, mark = SAID["yes" if given == {"accepted"} else "no" if "accepted" not in given else "part"]
        found.append((each, words, mark))
    return found


def lines(*, estimate_id: int) -> QuerySet[EstimateLine]:
    return EstimateLine.objects.filter(estimate=estimate_id).select_related("stage__plan_stage", "part", "estimate")


def line(pk: int) -> EstimateLine | None:
    return EstimateLine.objects.select_related("stage", "part", "estimate").filter(pk=pk).first()


def go_aheads(estimate_id: int) -> QuerySet[GoAhead]:
    """What the customer said, newest first, with the lines."""
    said = GoAheadLine.objects.select_related("line").order_by("line__position")
    return (
        GoAhead.objects.filter(estimate=estimate_id)
        .select_related("recorded_by", "estimate")
        .prefetch_related(Prefetch("lines", queryset=said))
        .order_by("-id")
    )


def go_ahead(pk: int) -> GoAhead | None:
    return GoAhead.objects.select_related("estimate").prefetch_related("lines").filter(pk=pk).first()


def revisions(estimate: Estimate) -> QuerySet[Estimate]:
    """All revisions under its number, newest first; only itself while it has none."""
    rows = estimates(card_id=estimate.card_id)
    return rows.filter(number=estimate.number).order_by("-revision") if estimate.number else rows.filter(pk=estimate.pk)


def second(card_id: int, kind: str, *, number: str = "", lines_of: int | None = None) -> Estimate | None:
    """What is with the customer already for the same work as a document of this kind; `number`: its own revisions don't
    count. A notice of additional work stands beside any, unless it was withdrawn and what was issued since names the hours, or
    the work sent out, of a stage that it names, too (the lines of the estimate `lines_of`)."""
    rows = Estimate.objects.filter(OPEN, card=card_id)
    rows = rows.exclude(number=number) if number else rows
    if number and Estimate.objects.filter(OPEN, card=card_id, number=number).exists():
        return None  # it is with the customer itself, and a revision takes its place
    if kind != Estimate.Kind.ADDITIONAL:
        return rows.exclude(kind=Estimate.Kind.ADDITIONAL).first()
    issued = Estimate.objects.filter(number=number, issued_at__isnull=False) if number else Estimate.objects.none()
    newest = issued.order_by("-revision").first()
    if newest is None or newest.withdrawn_at is None:
        return None
    work = Q(kind__in=(LineKind.LABOUR, LineKind.SUBLET), stage__isnull=False)
    again = EstimateLine.objects.filter(
        work, stage__in=EstimateLine.objects.filter(work, estimate=lines_of).values("stage"), estimate__in=rows,
        estimate__issued_at__gt=newest.withdrawn_at,
    )  # fmt: skip
    line = again.select_related("estimate").first()
    return line.estimate if line else None


def other_hours(line: EstimateLine, stage_id: int) -> Decimal:
    """Hours of a stage on the other lines of a line's draft and on what else is with the customer, but for earlier revisions of
    the draft itself."""
    of = line.estimate
    rows = EstimateLine.objects.filter(Q(estimate=of) | OPEN_LINES, stage=stage_id, kind=LineKind.LABOUR).exclude(
        pk=line.pk
    )
    if of.number:
        rows = rows.exclude(~Q(estimate=of), estimate__number=of.number)
    return rows.aggregate(s=Sum("quantity"))["s"] or ZERO


def may_be_revised(estimate: Estimate) -> bool:
    """Whether a new revision of it can be written: it is issued and the newest, its card isn't closed, and nothing else is with
    the customer for the same work."""
    card = estimate.card
    if not estimate.issued_at or estimate.superseded_at or card.cancelled_at or card.handed_over_at:
        return False
    if Estimate.objects.filter(number=estimate.number, revision__gt=estimate.revision).exists():
        return False
    return second(card.pk, estimate.kind, number=estimate.number, lines_of=estimate.pk) is None


def word(answer: Answer | None) -> str:
    """accepted, declined or open."""
    if answer is None or answer.line is None:
        return "open"
    return "accepted" if answer.accepted else "declined"


def answers(estimate: Estimate) -> dict[int, Answer]:
    """What holds for each line: the answer to it, or while it is open to the line it replaces."""
    return _standing([estimate])[0][estimate.pk]


def by_limit(standing: Mapping[int, Answer]) -> frozenset[int]:
    """Of the lines of `standing` (see `answers`) those whose word the customer never said: the work went on within the limit
    they had given."""
    wanted = {answer.line for answer in standing.values() if answer.line}
    said = GoAheadLine.objects.filter(line__in=wanted).order_by("go_ahead_id").values_list("line_id", "go_ahead__how")
    last = dict(said)
    return frozenset(pk for pk, x in standing.items() if x.line and last.get(x.line) == GoAhead.How.LIMIT)


def _standing(newest: Iterable[Estimate]) -> tuple[dict[int, dict[int, Answer]], dict[int, int | None]]:
    """The word by estimate and line, and which line each replaces; in two queries for all of them."""
    wanted = list(newest)
    numbers = {e.number for e in wanted if e.number}
    # revisions are of one card: from there the database has little to read, however many estimates there are
    cards = {e.card_id for e in wanted}
    own_or_before = Q(estimate__in=wanted) | Q(estimate__number__in=numbers)
    family = EstimateLine.objects.filter(own_or_before, estimate__card__in=cards)
    replaces: dict[int, int | None] = {}
    by_estimate: dict[int, list[int]] = {e.pk: [] for e in wanted}
    for pk, parent, before in family.order_by("position", "id").values_list("pk", "estimate_id", "replaces_id"):
        replaces[pk] = before
        if parent in by_estimate:
            by_estimate[parent].append(pk)
    said = (
        GoAheadLine.objects.filter(line__in=list(replaces)).order_by("go_ahead_id").values_list("line_id", "accepted")
    )
    words = agreed.latest(said)
    return {pk: agreed.standing(own, replaces, words) for pk, own in by_estimate.items()}, replaces


@dataclass(frozen=True)
class Agreed:
    """A line of what is offered now and the customer's word on it. `at_price` is the line whose price was agreed: this one,
    or the one of an earlier revision that it replaces."""

    line: EstimateLine
    answer: Answer
    at_price: EstimateLine | None
    family: frozenset[int]  # this line and those of earlier revisions that it replaces
    capped: bool = False  # agreed by the customer's limit: billed as it stands, never more


def agreed_on_card(card_id: int) -> list[Agreed]:
    """Every line of the card's estimates that is offered now or was answered, with the word on it, in document order."""
    return agreed_on_cards([card_id]).get(card_id, [])


def agreed_on_cards(card_ids: Iterable[int] | QuerySet[Any]) -> dict[int, list[Agreed]]:
    """The same of many cards, by card, in three queries however many they are; a card without any is left out."""
    every = {x.pk: x for x in Estimate.objects.filter(card__in=card_ids)}
    offered = {pk for pk, x in every.items() if x.issued_at and not x.superseded_at and not x.withdrawn_at}
    if not offered:
        return {}
    # a revision and what it replaces are of one card
    family = EstimateLine.objects.filter(estimate__card__in=card_ids).select_related("stage", "part")
    rows = {x.pk: x for x in family.order_by("position", "id")}
    for x in rows.values():
        x.estimate = every[x.estimate_id]  # one for all its lines: it holds much
    replaces = {pk: x.replaces_id for pk, x in rows.items()}
    said = GoAheadLine.objects.filter(line__estimate__card__in=card_ids).order_by("go_ahead_id")
    words: dict[int, bool] = {}
    how: dict[int, str] = {}
    for line, accepted, by in said.values_list("line_id", "accepted", "go_ahead__how"):
        words[line], how[line] = accepted, by
    standing = agreed.standing([pk for pk, x in rows.items() if x.estimate_id in offered], replaces, words)
    found: dict[int, list[Agreed]] = {}
    for pk, answer in sorted(standing.items(), key=lambda x: (rows[x[0]].estimate_id, rows[x[0]].position)):
        yes = answer.line is not None and answer.accepted
        found.setdefault(rows[pk].estimate.card_id, []).append(
            Agreed(
                rows[pk],
                answer,
                rows[answer.line] if yes and answer.line else None,
                frozenset(agreed.family(pk, replaces)),
                yes and how.get(answer.line or 0) == GoAhead.How.LIMIT,
            )
        )
    return found


@dataclass(frozen=True)
class Limit:
    """What a customer lets be done without asking on one card, before tax, and what was used of it there."""

    amount: Decimal | None  # None: asked about everything
    used: Decimal

    @property
    def left(self) -> Decimal:
        return max(ZERO, (self.amount or ZERO) - self.used)


def limit_on(card: JobCard) -> Limit:
    """In the shop's currency, which never changes. What was once used stays used."""
    used = GoAhead.objects.filter(estimate__card=card, how=GoAhead.How.LIMIT).aggregate(s=Sum("limit_used"))["s"]
    return Limit(card.customer.extra_work_limit, used or ZERO)


def within_limit(estimate: Estimate) -> list[EstimateLine]:
    """Lines that a limit could let go on: not optional, and never answered, in no revision; a charge with its part."""
    standing = answers(estimate)
    found = [x for x in lines(estimate_id=estimate.pk) if not x.optional and standing[x.pk].line is None]
    named = {x.pk for x in found}
    return [x for x in found if x.accompanies_id is None or x.accompanies_id in named]


def stages_for(card_id: int, present: int | None = None) -> QuerySet[Stage]:
    """Stages of a card that a line can be for: those that still stand, and the one it is for already."""
    rows = Stage.objects.filter(card=card_id).filter(Q(removed_at__isnull=True) | Q(pk=present))
    return rows.order_by("position", "id")


def history(estimate: Estimate) -> QuerySet[TrailRow]:
    line_ids = EstimateLine.objects.filter(estimate=estimate).values("pk")
    return (
        TrailRow.objects.filter(
            Q(subject=kind_of(Estimate), subject_id=estimate.pk)
            | Q(subject=kind_of(EstimateLine), subject_id__in=line_ids)
        )
        .select_related("by")
        .order_by("-id")
    )


def waiting_count() -> int:
    """How many estimates wait for the customer."""
    found: dict[str, int] = estimates(state="open").aggregate(n=Count("pk"))
    return found["n"]
