from django.db import migrations

from shop.kernel.triggers import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('inventory_buying', '0005_supplier_invoices'),
    ]

    operations = [
        append_only("inventory_buying_supplierinvoice"),
        append_only("inventory_buying_supplierinvoiceline"),
    ]
