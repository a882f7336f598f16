from django.db import migrations

from shop.kernel.triggers import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_machines', '0001_initial'),
    ]

    operations = [
        append_only("jobs_machines_usagereading"),
    ]
