"""The customer's word, as staff record it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from decimal import Decimal

from jobs.cards import actions as cards
from jobs.cards.models import Stage
from jobs.draws import actions as draws
from jobs.timebook import actions as timebook
from shop.kernel import clock
from shop.kernel.errors import BadInput, Refused, field_error
from shop.kernel.text import clean_line
from shop.kernel.versions import claim
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import agreed, charging, queries
from ..models import Estimate, GoAhead, GoAheadLine, LineKind
from .drafting import called
from .issuing import fingerprint

# a minute's grace: a time typed on a form has no seconds
GRACE = timedelta(minutes=1)


@writes
def record_go_ahead(
    estimate_id: int,
    *,
    by: Person | None,
    answers: Mapping[int, bool],
    how: str,
    said_by: str,
    said_at: datetime,
    note: str = "",
    for_whom: Person | None = None,
    limit: tuple[Decimal, Decimal] | None = None,
) -> GoAhead:
    """Write down the customer's yes (True) or no (False) to lines of an issued estimate; lines left out stay open.

    Stages of accepted lines may start and their parts are kept for them; of declined ones they may not. A later answer
    wins for its lines. `how`: in-person, phone, letter, link, or limit with `limit` (what is used of it, how much it is; see
    `go_on_within_limit`). `by`: who wrote it down, None for the customer's own answer by
    link; `for_whom` sent that link, and what follows from it (clocks, parts kept) is done in that name. Raises NotFound, BadInput, Refused for a draft or one
    that was superseded, withdrawn, or whose validity has run out.
    """
    estimate = claim(Estimate, estimate_id, None)
    refuse_unanswerable(estimate)
    if how not in GoAhead.How.values or (how == GoAhead.How.LIMIT) != (limit is not None):
        ways = [x for x in GoAhead.How.values if x != GoAhead.How.LIMIT]
        raise field_error("how", "Choose one of: " + ", ".join(ways) + ".", code="unknown-how")
    said_by = clean_line(said_by, field="said_by", required=True, max_length=120)
    note = clean_line(note, field="note", max_length=300)
    now = clock.now()
    if said_at > now + GRACE:
        raise field_error("said_at", "This lies in the future. Give when the customer said it.", code="in-the-future")
    if estimate.issued_at and said_at < estimate.issued_at - GRACE:
        raise field_error(
            "said_at", "This is before the document was issued, so it can't be an answer to it.", code="before-issue"
        )
    lines = list(estimate.lines.all())
    strangers = set(answers) - {line.pk for line in lines}
    if strangers:
        raise BadInput(
            "Some lines don't belong to this revision. Load the page again.",
            code="unknown-line",
            fields={"answers": ["names lines that aren't on this document"]},
        )
    answers = charging.with_charges(answers, {line.pk: line.accompanies_id for line in lines})
    if not answers:
        raise field_error("answers", "Say yes or no to at least one line.", code="no-answers")
    row = GoAhead.objects.create(
        estimate=estimate, how=how, said_by=said_by, said_at=said_at, recorded_by=by, recorded_at=now,
        document_hash=fingerprint(estimate), note=note, limit_used=limit and limit[0], limit_of=limit and limit[1],
    )  # fmt: skip
    GoAheadLine.objects.bulk_create(
        GoAheadLine(go_ahead=row, line_id=line, accepted=yes) for line, yes in sorted(answers.items())
    )
    _tell_the_card(estimate, {x.pk: x for x in lines if x.pk in answers}, at=said_at, by=by, helper=by or for_whom)
    yes = sum(answers.values())
    record(
        by, "estimate.answered", estimate, root=estimate.card, number=estimate.number, revision=estimate.revision,
        accepted=yes, declined=len(answers) - yes, how=how, said_by=said_by, note=note,
    )  # fmt: skip
    return row


def refuse_unanswerable(estimate: Estimate) -> None:
    """Raises Refused unless the estimate is what is offered now."""
    if not estimate.issued_at:
        raise Refused("This is a draft: nobody can have agreed to it. Issue it first.", code="not-issued")
    if estimate.superseded_at:
        raise Refused(f"{called(estimate)} was superseded by a newer revision. Record it there.", code="superseded")
    if estimate.withdrawn_at:
        raise Refused(f"{called(estimate)} was withdrawn. Make a new revision.", code="withdrawn")
    if estimate.valid_until and estimate.valid_until < clock.today():
        raise Refused(
            f"{called(estimate)} was valid until {estimate.valid_until.isoformat()}. Make a new revision.",
            code="expired",
        )


def _tell_the_card(
    estimate: Estimate, answered: dict, *, at: datetime, by: Person | None, helper: Person | None
) -> None:
    """Carry the word to the stages that these lines are about, and to the parts needed for them."""
    touched = {line.stage_id for line in answered.values() if line.stage_id}
    if not touched:
        return
    # a stage goes by its work, whichever document of the card names that: a part in a notice doesn't decide it
    standing = [x for x in queries.agreed_on_card(estimate.card_id) if x.line.stage_id in touched]
    words = {x.line.pk: x.answer.accepted for x in standing if x.answer.line is not None}
    stages = agreed.stage_answers(((x.line.pk, x.line.stage_id, x.line.kind) for x in standing), words)
    worked = {x.line.stage_id for x in standing if x.line.kind in agreed.WORK}
    said_here: dict[int | None, bool] = {}
    for x in standing:
        decides = x.line.kind in agreed.WORK or x.line.stage_id not in worked
        if decides and x.line.pk in answered and x.line.pk in words:
            said_here[x.line.stage_id] = said_here.get(x.line.stage_id, False) or words[x.line.pk]
    rows = Stage.objects.filter(pk__in=touched, removed_at__isnull=True)
    finished, going = {}, {}
    for pk, finished_at, go_ahead_at in rows.values_list("pk", "finished_at", "go_ahead_at"):
        finished[pk], going[pk] = finished_at is not None, go_ahead_at is not None
    agreed_to = [pk for pk, word in sorted(stages.items()) if word and pk in going]
    yes = [pk for pk in agreed_to if said_here.get(pk) or not going[pk]]
    no = [pk for pk, word in sorted(stages.items()) if not word and pk in said_here and finished.get(pk) is False]
    if no:
        timebook.stop_clocks(no, by=helper)  # people are locked before cards
    if yes:
        cards.give_go_ahead(yes, ref=queries.ref(estimate), at=at, by=by)
    if no:
        cards.decline(no, ref=queries.ref(estimate), at=at, by=by)
    wanted, unwanted = _parts(standing, answered)
    draws.want_parts_again(wanted, ref=queries.ref(estimate), by=by)
    draws.decline_parts(unwanted, ref=queries.ref(estimate), at=at, by=by)
    if agreed_to and helper is not None:
        draws.keep_for(agreed_to, by=helper)


def _parts(standing: Iterable[queries.Agreed], answered: dict) -> tuple[set[draws.Pair], set[draws.Pair]]:
    """Of the parts that were answered: those agreed to, by this document or another of the card, and those declined."""
    touched = {
        (x.stage_id, x.part_id) for x in answered.values() if x.kind == LineKind.PART and x.stage_id and x.part_id
    }
    if not touched:
        return set(), set()
    return agreed.part_answers(
        ((x.line.stage_id, x.line.part_id), x.answer)
        for x in standing
        if x.line.kind == LineKind.PART and (x.line.stage_id, x.line.part_id) in touched
    )
