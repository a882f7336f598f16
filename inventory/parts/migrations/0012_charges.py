import django.db.models.deletion
import django.db.models.functions.text
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inventory_parts', '0011_package_codes'),
    ]

    operations = [
        migrations.CreateModel(
            name='PartCharge',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('core', 'Core deposit'), ('environmental', 'Environmental charge')], max_length=13)),
                ('text', models.CharField(max_length=120)),
                ('amount', models.DecimalField(decimal_places=6, max_digits=16)),
                ('tax_code', models.CharField(blank=True, max_length=20)),
                ('archived_at', models.DateTimeField(blank=True, null=True)),
                ('version', models.PositiveIntegerField(default=1)),
                ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='charges', to='inventory_parts.part')),
            ],
            options={
                'ordering': ('id',),
                'constraints': [models.CheckConstraint(condition=models.Q(('amount__gt', 0)), name='parts_charge_amount'), models.UniqueConstraint(condition=models.Q(('archived_at__isnull', True), ('kind', 'core')), fields=('part',), name='parts_charge_one_core'), models.UniqueConstraint(models.F('part'), models.F('kind'), django.db.models.functions.text.Lower('text'), condition=models.Q(('archived_at__isnull', True)), name='parts_charge_text_once')],
            },
        ),
    ]
