import django.db.models.deletion
from django.db import migrations, models

from shop.kernel.triggers import frozen_with, unguarded


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_estimates', '0005_go_ahead_by_limit'),
    ]

    operations = [
        unguarded("jobs_estimates_estimateline"),
        migrations.AddField(
            model_name='estimateline',
            name='accompanies',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='charges', to='jobs_estimates.estimateline'),
        ),
        migrations.AlterField(
            model_name='estimateline',
            name='kind',
            field=models.CharField(choices=[('labour', 'Labour'), ('part', 'Parts'), ('sublet', 'Sublet work'), ('sundry', 'Sundries'), ('freight', 'Freight'), ('environmental', 'Environmental charges'), ('core', 'Core deposits')], max_length=13),
        ),
        frozen_with("jobs_estimates_estimateline", "jobs_estimates_estimate", "estimate_id"),
    ]
