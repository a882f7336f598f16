import django.db.models.deletion
from django.db import migrations, models

from shop.kernel.triggers import append_only, unguarded


class Migration(migrations.Migration):

    dependencies = [
        ('inventory_buying', '0008_incoming_einvoices'),
    ]

    operations = [
        unguarded("inventory_buying_supplierinvoice", "inventory_buying_supplierinvoiceline"),
        migrations.AddField(
            model_name='supplierinvoice',
            name='credits',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='credit_notes', to='inventory_buying.supplierinvoice'),
        ),
        migrations.AddField(
            model_name='supplierinvoiceline',
            name='effect',
            field=models.CharField(choices=[('charged', 'Charged'), ('returned', 'Went back'), ('price', 'Price corrected')], default='charged', max_length=8),
        ),
        append_only("inventory_buying_supplierinvoice"),
        append_only("inventory_buying_supplierinvoiceline"),
    ]
