from django.db import migrations, models

from shop.kernel.folding import fold
from shop.kernel.searching import searchable


def fill(apps, schema_editor):
    Part = apps.get_model("inventory_parts", "Part")
    for part in Part.objects.iterator():
        part.find_text = fold(f"{part.number} {part.name} {part.barcode}")
        part.save(update_fields=["find_text"])


class Migration(migrations.Migration):

    dependencies = [
        ('inventory_parts', '0003_list_order'),
    ]

    operations = [
        migrations.AddField(
            model_name='part',
            name='find_text',
            field=models.TextField(default='', editable=False),
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
        searchable("inventory_parts_part"),
    ]
