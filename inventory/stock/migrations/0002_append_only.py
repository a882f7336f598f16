from django.db import migrations

from shop.kernel.triggers import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('inventory_stock', '0001_initial'),
    ]

    operations = [
        append_only("inventory_stock_movement"),
        append_only("inventory_stock_lot", mutable=("opened_at", "opened_expires_on")),
    ]
