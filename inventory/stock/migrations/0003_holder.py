from django.db import migrations, models

from shop.kernel.triggers import append_only, unguarded


class Migration(migrations.Migration):

    dependencies = [
        ('inventory_stock', '0002_append_only'),
    ]

    operations = [
        unguarded("inventory_stock_movement"),
        migrations.AddField(
            model_name='movement',
            name='holder',
            field=models.CharField(blank=True, max_length=20),
        ),
        append_only("inventory_stock_movement"),
    ]
