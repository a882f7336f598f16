from django.db import migrations

from shop.kernel.searching import searchable


class Migration(migrations.Migration):

    dependencies = [
        ("inventory_parts", "0006_barcodes_moved"),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name="part",
            name="parts_barcode_once",
        ),
        migrations.RemoveField(
            model_name="part",
            name="barcode",
        ),
        searchable("inventory_parts_part"),  # SQLite rebuilt the table and lost its triggers
    ]
