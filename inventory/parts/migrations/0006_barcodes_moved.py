from django.db import migrations

from shop.kernel import clock
from shop.kernel.identity import check_gtin


def move(apps, schema_editor):
    """Each part's one barcode becomes its first. Of two parts with one GTIN, written in two ways, the older one keeps it
    and the other's note says so."""
    Part = apps.get_model("inventory_parts", "Part")
    Barcode = apps.get_model("inventory_parts", "Barcode")
    owners = {}
    for part in list(Part.objects.exclude(barcode="").order_by("id")):
        code = part.barcode
        digits = code.replace(" ", "")
        gtin = digits.isascii() and digits.isdigit() and check_gtin(digits).ok
        key = digits.zfill(14) if gtin else code
        if key in owners:
            part.note = f"{part.note}\nIts barcode {code} is that of {owners[key]}: look which is right.".strip()
            part.save(update_fields=["note"])
            continue
        owners[key] = part.number
        Barcode.objects.create(part=part, code=code, key=key, is_gtin=gtin, added_at=clock.now())


class Migration(migrations.Migration):

    dependencies = [
        ("inventory_parts", "0005_barcodes_and_links"),
    ]

    operations = [
        migrations.RunPython(move, migrations.RunPython.noop),
    ]
