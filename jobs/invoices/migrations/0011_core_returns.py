import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from shop.kernel.triggers import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('inventory_parts', '0012_charges'),
        ('jobs_cards', '0007_by_day'),
        ('jobs_invoices', '0010_charges'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='CoreReturn',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', models.DecimalField(decimal_places=6, max_digits=18)),
                ('outcome', models.CharField(choices=[('accepted', 'Accepted'), ('refused', 'Refused'), ('kept', 'Deposit kept')], max_length=8)),
                ('condition', models.CharField(blank=True, max_length=300)),
                ('reason', models.CharField(blank=True, max_length=200)),
                ('kept_on', models.DateField(blank=True, null=True)),
                ('amount', models.DecimalField(blank=True, decimal_places=4, max_digits=18, null=True)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('card', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='core_returns', to='jobs_cards.jobcard')),
                ('credit_note', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='core_return', to='jobs_invoices.invoice')),
                ('line', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='core_returns', to='jobs_invoices.invoiceline')),
                ('part', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory_parts.part')),
                ('reverses', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='reversal', to='jobs_invoices.corereturn')),
            ],
            options={
                'indexes': [models.Index(condition=models.Q(('outcome', 'kept')), fields=['kept_on', 'id'], name='invoices_core_kept')],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('card__isnull', True), ('line__isnull', False), ('part__isnull', True)), models.Q(('card__isnull', False), ('line__isnull', True), ('part__isnull', False)), _connector='OR'), name='invoices_core_of'), models.CheckConstraint(condition=models.Q(('quantity__gt', 0)), name='invoices_core_quantity'), models.CheckConstraint(condition=models.Q(models.Q(('amount__isnull', False), ('kept_on__isnull', False), ('line__isnull', False), ('outcome', 'kept')), models.Q(models.Q(('outcome', 'kept'), _negated=True), ('amount__isnull', True), ('kept_on__isnull', True)), _connector='OR'), name='invoices_core_kept_on'), models.CheckConstraint(condition=models.Q(models.Q(('credit_note__isnull', True), ('line__isnull', True)), models.Q(('credit_note__isnull', False), ('line__isnull', False), ('outcome', 'accepted')), models.Q(('credit_note__isnull', True), ('line__isnull', False), models.Q(('outcome', 'accepted'), _negated=True)), _connector='OR'), name='invoices_core_credited')],
            },
        ),
        append_only("jobs_invoices_corereturn"),
    ]
