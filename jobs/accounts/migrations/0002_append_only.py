from django.db import migrations

from shop.kernel.triggers import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_accounts', '0001_initial'),
    ]

    operations = [
        append_only("jobs_accounts_reminder"),
        append_only("jobs_accounts_reminderline"),
    ]
