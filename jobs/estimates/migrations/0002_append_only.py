from django.db import migrations

from shop.kernel.triggers import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_estimates', '0001_initial'),
    ]

    operations = [
        append_only(
            "jobs_estimates_estimate",
            mutable=("superseded_at", "withdrawn_at", "version"),
            when="OLD.issued_at IS NOT NULL",
        ),
        append_only("jobs_estimates_goahead"),
        append_only("jobs_estimates_goaheadline"),
    ]
