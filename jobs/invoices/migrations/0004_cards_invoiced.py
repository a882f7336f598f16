"""Cards learn which of them were invoiced already."""

from django.db import migrations
from django.db.models import Min, OuterRef, Subquery


def tell(apps, schema_editor):
    invoices = apps.get_model("jobs_invoices", "Invoice").objects.filter(card=OuterRef("pk"), kind="invoice")
    first = invoices.filter(issued_at__isnull=False).values("card").annotate(at=Min("issued_at")).values("at")
    cards = apps.get_model("jobs_cards", "JobCard").objects
    cards.filter(invoices__issued_at__isnull=False, invoices__kind="invoice").update(invoiced_at=Subquery(first))


class Migration(migrations.Migration):
    dependencies = [("jobs_cards", "0005_invoiced"), ("jobs_invoices", "0003_lines_explained")]
    operations = [migrations.RunPython(tell, migrations.RunPython.noop)]
