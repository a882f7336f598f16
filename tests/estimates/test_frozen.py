"""The database itself refuses to change what is issued, and what the customer said."""

import pytest
from django.db import DatabaseError, transaction

from jobs.estimates.models import Estimate, EstimateLine, GoAhead, GoAheadLine
from shop.kernel import clock
from tests.factories import estimates as make

pytestmark = pytest.mark.django_db


def copy_of(line, **values):
    values = {f.attname: getattr(line, f.attname) for f in line._meta.concrete_fields if f.name != "id"} | values
    return EstimateLine(**values)


def test_an_issued_estimate_and_its_lines_stand_still(owner):
    issued = make.agreed(owner)
    line = issued.lines.first()
    other = make.draft(owner, make.card_with_work(owner, 1))
    mine = Estimate.objects.filter(pk=issued.pk)
    for attempt in (
        lambda: mine.update(total_gross=1),
        lambda: mine.update(number="EST-99"),
        lambda: mine.update(valid_until=clock.today()),
        lambda: mine._raw_delete("default"),
        lambda: EstimateLine.objects.filter(pk=line.pk).update(net=1),
        lambda: EstimateLine.objects.filter(pk=line.pk).update(estimate=other),
        lambda: EstimateLine.objects.filter(estimate=other).update(estimate=issued),
        lambda: EstimateLine.objects.filter(pk=line.pk)._raw_delete("default"),
        lambda: EstimateLine.objects.bulk_create([copy_of(line)]),
        lambda: GoAhead.objects.update(said_by="Somebody"),
        lambda: GoAheadLine.objects.update(accepted=False),
        lambda: GoAheadLine.objects.all()._raw_delete("default"),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            attempt()
    # what has to move can
    mine.update(withdrawn_at=clock.now(), version=9)
    EstimateLine.objects.filter(estimate=other).update(text="Changed")
    EstimateLine.objects.bulk_create([copy_of(line, estimate_id=other.pk, position=9)])
