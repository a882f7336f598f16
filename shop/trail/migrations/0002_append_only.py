from django.db import migrations

from shop.kernel.triggers import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('shop_trail', '0001_initial'),
    ]

    operations = [
        append_only("shop_trail_trailrow"),
    ]
