import django.db.models.deletion
from django.db import migrations, models


def as_plans_stand(apps, schema_editor):
    """For stages still to be done: what their plan says now, which is what they were reckoned against until now."""
    said = apps.get_model("jobs_learning", "PlanSaid").objects
    waiting = apps.get_model("jobs_cards", "Stage").objects.filter(
        finished_at__isnull=True, removed_at__isnull=True, card__cancelled_at__isnull=True,
        plan_stage__standard_hours__gt=0,
    )
    hours = waiting.order_by("pk").values_list("pk", "plan_stage__standard_hours", "plan_stage__prior_hours")
    said.bulk_create(
        [said.model(stage_id=pk, standard_hours=standard, prior_hours=prior) for pk, standard, prior in hours],
        batch_size=500,
    )


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_cards', '0008_unbilled'),
        ('jobs_learning', '0001_initial'),
        ('jobs_plans', '0002_prior_hours'),
    ]

    operations = [
        migrations.CreateModel(
            name='PlanSaid',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('standard_hours', models.DecimalField(decimal_places=2, max_digits=8)),
                ('prior_hours', models.DecimalField(decimal_places=2, max_digits=8)),
                ('stage', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs_cards.stage')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('prior_hours__gt', 0), ('standard_hours__gt', 0)), name='learning_said_above_zero')],
            },
        ),
        migrations.RunPython(as_plans_stand, migrations.RunPython.noop),
    ]
