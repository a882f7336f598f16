from django.db import migrations, models

from shop.kernel.triggers import append_only, unguarded


def as_known(apps, schema_editor) -> None:
    """What was booked before has the class that its person has now: nothing else is known of it."""
    people = apps.get_model("shop_people", "Person").objects.exclude(labour_class="")
    bookings = apps.get_model("jobs_timebook", "TimeBooking").objects
    for pk, labour_class in people.values_list("pk", "labour_class"):
        bookings.filter(person_id=pk).update(labour_class=labour_class)


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_timebook', '0006_attendance_append_only'),
        ('shop_people', '0001_initial'),
    ]

    operations = [
        unguarded("jobs_timebook_timebooking"),
        migrations.AddField(
            model_name='timebooking',
            name='labour_class',
            field=models.CharField(blank=True, default='', max_length=40),
            preserve_default=False,
        ),
        migrations.RunPython(as_known, migrations.RunPython.noop),
        append_only("jobs_timebook_timebooking", mutable=("superseded_at",), when="OLD.ended_at IS NOT NULL"),
    ]
