from django.db import migrations

from shop.kernel.triggers import append_only, frozen_with

RECEIPT, LINE = "inventory_buying_goodsreceipt", "inventory_buying_receiptline"


class Migration(migrations.Migration):

    dependencies = [
        ('inventory_buying', '0003_receipts'),
    ]

    operations = [
        append_only(RECEIPT, when="OLD.posted_at IS NOT NULL"),
        frozen_with(LINE, RECEIPT, "receipt_id", column="posted_at"),
        append_only("inventory_buying_sentback"),
    ]
