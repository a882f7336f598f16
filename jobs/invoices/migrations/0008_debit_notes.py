import django.db.models.deletion
from django.db import migrations, models

from shop.kernel.triggers import append_only, frozen_with, unguarded


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_invoices', '0007_by_day'),
    ]

    operations = [
        unguarded("jobs_invoices_invoiceline", "jobs_invoices_invoice"),
        migrations.AddField(
            model_name='invoice',
            name='counters',
            field=models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='countered_by', to='jobs_invoices.invoice'),
        ),
        migrations.AlterField(
            model_name='invoice',
            name='kind',
            field=models.CharField(choices=[('invoice', 'Invoice'), ('deposit', 'Deposit invoice'), ('credit', 'Credit note'), ('debit', 'Debit note')], default='invoice', max_length=8),
        ),
        append_only("jobs_invoices_invoice", mutable=("settled_at",), when="OLD.issued_at IS NOT NULL"),
        frozen_with("jobs_invoices_invoiceline", "jobs_invoices_invoice", "invoice_id"),
    ]
