from django.db import migrations, models

from shop.kernel.triggers import append_only, unguarded


class Migration(migrations.Migration):

    dependencies = [
        ('inventory_stock', '0006_kits'),
    ]

    operations = [
        unguarded("inventory_stock_movement"),
        migrations.RemoveConstraint(
            model_name='movement',
            name='stock_move_sign',
        ),
        migrations.AlterField(
            model_name='movement',
            name='kind',
            field=models.CharField(choices=[('receipt', 'Receipt'), ('draw', 'Draw'), ('return', 'Return'), ('transfer', 'Transfer'), ('count', 'Count difference'), ('scrap', 'Scrap'), ('revalue', 'Cost difference'), ('kit', 'Kit broken open'), ('sent-back', 'Sent back')], max_length=10),
        ),
        migrations.AddConstraint(
            model_name='movement',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('kind', 'revalue'), ('quantity', 0)), models.Q(('kind__in', ('receipt', 'return')), ('quantity__gt', 0)), models.Q(('kind__in', ('draw', 'scrap', 'sent-back')), ('quantity__lt', 0)), models.Q(('kind__in', ('transfer', 'count', 'kit')), models.Q(('quantity', 0), _negated=True)), _connector='OR'), name='stock_move_sign'),
        ),
        append_only("inventory_stock_movement"),
    ]
