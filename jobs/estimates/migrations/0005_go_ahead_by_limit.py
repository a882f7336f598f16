from django.conf import settings
from django.db import migrations, models

from shop.kernel.triggers import append_only, unguarded


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_estimates', '0004_outlook'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        unguarded("jobs_estimates_goahead"),
        migrations.AddField(
            model_name='goahead',
            name='limit_of',
            field=models.DecimalField(blank=True, decimal_places=4, max_digits=18, null=True),
        ),
        migrations.AddField(
            model_name='goahead',
            name='limit_used',
            field=models.DecimalField(blank=True, decimal_places=4, max_digits=18, null=True),
        ),
        migrations.AlterField(
            model_name='goahead',
            name='how',
            field=models.CharField(choices=[('in-person', 'In person'), ('phone', 'By phone'), ('letter', 'In writing'), ('link', 'By the link sent'), ('limit', 'Within the limit agreed before')], max_length=10),
        ),
        migrations.AddConstraint(
            model_name='goahead',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('how', 'limit'), ('limit_of__gte', models.F('limit_used')), ('limit_used__gt', 0)), models.Q(models.Q(('how', 'limit'), _negated=True), ('limit_of__isnull', True), ('limit_used__isnull', True)), _connector='OR'), name='estimates_limit_said'),
        ),
        append_only("jobs_estimates_goahead"),
    ]
