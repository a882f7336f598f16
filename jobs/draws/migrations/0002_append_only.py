from django.db import migrations

from shop.kernel.triggers import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_draws', '0001_initial'),
    ]

    operations = [
        append_only("jobs_draws_drawevent"),
        append_only("jobs_draws_draw", mutable=("returned", "fitted", "spent")),
    ]
