from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('shop_documents', '0001_initial'),
    ]

    operations = [
        migrations.AddField(
            model_name='attachment',
            name='shown_to_customer',
            field=models.BooleanField(default=False),
        ),
    ]
