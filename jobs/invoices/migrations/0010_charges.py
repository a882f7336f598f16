import django.db.models.deletion
from django.db import migrations, models

from shop.kernel.triggers import frozen_with, unguarded


class Migration(migrations.Migration):

    dependencies = [
        ('jobs_invoices', '0009_standing_credit'),
    ]

    operations = [
        unguarded("jobs_invoices_invoiceline"),
        migrations.AddField(
            model_name='invoiceline',
            name='accompanies',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='charges', to='jobs_invoices.invoiceline'),
        ),
        migrations.AlterField(
            model_name='invoiceline',
            name='kind',
            field=models.CharField(choices=[('labour', 'Labour'), ('part', 'Parts'), ('sublet', 'Sublet work'), ('sundry', 'Sundries'), ('freight', 'Freight'), ('environmental', 'Environmental charges'), ('core', 'Core deposits')], max_length=13),
        ),
        frozen_with("jobs_invoices_invoiceline", "jobs_invoices_invoice", "invoice_id"),
    ]
