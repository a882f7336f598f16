
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('shop_business', '0003_money_terms'),
    ]

    operations = [
        migrations.AddField(
            model_name='labourrate',
            name='minimum_hours',
            field=models.DecimalField(decimal_places=2, default=0, max_digits=6),
        ),
        migrations.AddConstraint(
            model_name='labourrate',
            constraint=models.CheckConstraint(condition=models.Q(('minimum_hours__gte', 0)), name='business_rate_minimum'),
        ),
    ]
