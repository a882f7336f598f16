from django.db import migrations

from shop.kernel.triggers import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_invoices', '0001_initial'),
    ]

    operations = [
        append_only("jobs_invoices_invoice", when="OLD.issued_at IS NOT NULL"),
        append_only("jobs_invoices_payment"),
        append_only("jobs_invoices_allocation"),
    ]
