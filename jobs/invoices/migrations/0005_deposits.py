import django.db.models.deletion
from django.db import migrations, models

from shop.kernel.triggers import frozen_with, unguarded


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_invoices', '0004_cards_invoiced'),
    ]

    operations = [
        unguarded("jobs_invoices_invoiceline"),
        migrations.RemoveConstraint(
            model_name='invoiceline',
            name='invoices_line_quantity',
        ),
        migrations.AddField(
            model_name='invoiceline',
            name='deducts',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='deducted_by', to='jobs_invoices.invoice'),
        ),
        migrations.AddConstraint(
            model_name='invoiceline',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('deducts__isnull', True), ('quantity__gt', 0)), models.Q(('deducts__isnull', False), ('quantity', -1)), _connector='OR'), name='invoices_line_quantity'),
        ),
        frozen_with("jobs_invoices_invoiceline", "jobs_invoices_invoice", "invoice_id"),
    ]
