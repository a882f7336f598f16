from django.db import migrations

from shop.kernel.triggers import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_timebook', '0005_attendance'),
    ]

    operations = [
        # somebody who is here may go; what has ended is corrected by a new row
        append_only("jobs_timebook_attendance", mutable=("superseded_at",), when="OLD.left_at IS NOT NULL"),
    ]
