import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inventory_parts', '0004_search'),
    ]

    operations = [
        migrations.CreateModel(
            name='Alternative',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('note', models.CharField(blank=True, max_length=200)),
                ('added_at', models.DateTimeField()),
            ],
            options={
                'ordering': ('id',),
            },
        ),
        migrations.CreateModel(
            name='Barcode',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=48)),
                ('key', models.CharField(max_length=48, unique=True)),
                ('is_gtin', models.BooleanField(default=False)),
                ('used_by', models.CharField(blank=True, max_length=80)),
                ('added_at', models.DateTimeField()),
            ],
            options={
                'ordering': ('id',),
            },
        ),
        migrations.CreateModel(
            name='Replacement',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('either_way', models.BooleanField(default=False)),
                ('since', models.DateField()),
                ('note', models.CharField(blank=True, max_length=200)),
            ],
            options={
                'ordering': ('-since', '-id'),
            },
        ),
        migrations.AddField(
            model_name='alternative',
            name='other',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory_parts.part'),
        ),
        migrations.AddField(
            model_name='alternative',
            name='part',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory_parts.part'),
        ),
        migrations.AddField(
            model_name='barcode',
            name='part',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='barcodes', to='inventory_parts.part'),
        ),
        migrations.AddField(
            model_name='replacement',
            name='new',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='replaces', to='inventory_parts.part'),
        ),
        migrations.AddField(
            model_name='replacement',
            name='old',
            field=models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='replaced_by', to='inventory_parts.part'),
        ),
        migrations.AddConstraint(
            model_name='alternative',
            constraint=models.UniqueConstraint(fields=('part', 'other'), name='parts_alternative_once'),
        ),
        migrations.AddConstraint(
            model_name='alternative',
            constraint=models.CheckConstraint(condition=models.Q(('part__lt', models.F('other'))), name='parts_alternative_order'),
        ),
        migrations.AddConstraint(
            model_name='replacement',
            constraint=models.CheckConstraint(condition=models.Q(('old', models.F('new')), _negated=True), name='parts_replacement_of_itself'),
        ),
    ]
