from django.db import migrations

from shop.kernel.triggers import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_cards', '0001_initial'),
    ]

    operations = [
        append_only("jobs_cards_cardnote"),
        append_only("jobs_cards_gate", when="OLD.signed_at IS NOT NULL"),
    ]
