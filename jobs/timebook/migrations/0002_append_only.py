from django.db import migrations

from shop.kernel.triggers import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_timebook', '0001_initial'),
    ]

    operations = [
        # a running clock may be stopped; what has ended is corrected by a new row
        append_only("jobs_timebook_timebooking", mutable=("superseded_at",), when="OLD.ended_at IS NOT NULL"),
    ]
