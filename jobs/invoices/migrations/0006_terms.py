import django.db.models.deletion
from django.db import migrations, models

from shop.kernel.triggers import append_only, frozen_with, unguarded


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_invoices', '0005_deposits'),
    ]

    operations = [
        unguarded("jobs_invoices_invoiceline", "jobs_invoices_invoice", "jobs_invoices_payment"),
        migrations.AddField(
            model_name='invoice',
            name='early_percent',
            field=models.DecimalField(decimal_places=3, default=0, max_digits=6),
        ),
        migrations.AddField(
            model_name='invoice',
            name='early_until',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='payment',
            name='rounds',
            field=models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='rounding', to='jobs_invoices.payment'),
        ),
        migrations.AlterField(
            model_name='payment',
            name='method',
            field=models.CharField(choices=[('transfer', 'Bank transfer'), ('card', 'Card'), ('cash', 'Cash'), ('other', 'Other'), ('rounding', 'Rounding of cash')], max_length=10),
        ),
        append_only("jobs_invoices_invoice", mutable=("settled_at",), when="OLD.issued_at IS NOT NULL"),
        append_only("jobs_invoices_payment"),
        frozen_with("jobs_invoices_invoiceline", "jobs_invoices_invoice", "invoice_id"),
    ]
