from django.db import migrations, models


def as_they_stand(apps, schema_editor):
    """Whether hours were typed or taken from jobs was not kept: what the plan says now is what it says by itself."""
    apps.get_model("jobs_plans", "PlanStage").objects.update(prior_hours=models.F("standard_hours"))


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_plans', '0001_initial'),
    ]

    operations = [
        migrations.AddField(
            model_name='planstage',
            name='prior_hours',
            field=models.DecimalField(decimal_places=2, default=0, max_digits=8),
        ),
        migrations.AddConstraint(
            model_name='planstage',
            constraint=models.CheckConstraint(condition=models.Q(('prior_hours__gte', 0)), name='plans_prior_not_negative'),
        ),
        migrations.RunPython(as_they_stand, migrations.RunPython.noop),
    ]
