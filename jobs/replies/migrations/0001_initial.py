import django.core.serializers.json
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from shop.kernel.triggers import append_only


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('jobs_estimates', '0004_outlook'),
        ('shop_documents', '0002_shown_to_customer'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='CustomerLink',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('nonce', models.CharField(max_length=64)),
                ('digest', models.CharField(max_length=64, unique=True)),
                ('document_hash', models.CharField(max_length=64)),
                ('pdf_sha256', models.CharField(max_length=64)),
                ('made_at', models.DateTimeField()),
                ('expires_at', models.DateTimeField()),
                ('revoked_at', models.DateTimeField(blank=True, null=True)),
                ('mailed_at', models.DateTimeField(blank=True, null=True)),
                ('mailed_to', models.EmailField(blank=True, max_length=254)),
                ('opened', models.PositiveIntegerField(default=0)),
                ('first_opened_at', models.DateTimeField(blank=True, null=True)),
                ('last_opened_at', models.DateTimeField(blank=True, null=True)),
                ('estimate', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='links', to='jobs_estimates.estimate')),
                ('made_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('revoked_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
        ),
        migrations.CreateModel(
            name='Reply',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('once', models.UUIDField()),
                ('answered_at', models.DateTimeField()),
                ('address', models.GenericIPAddressField(blank=True, null=True)),
                ('pdf_sha256', models.CharField(max_length=64)),
                ('wording', models.JSONField(encoder=django.core.serializers.json.DjangoJSONEncoder)),
                ('go_ahead', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='reply', to='jobs_estimates.goahead')),
                ('link', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='replies', to='jobs_replies.customerlink')),
                ('signature', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop_documents.attachment')),
            ],
        ),
        migrations.AddIndex(
            model_name='customerlink',
            index=models.Index(fields=['estimate', '-id'], name='replies_link_by_estimate'),
        ),
        migrations.AddConstraint(
            model_name='reply',
            constraint=models.UniqueConstraint(fields=('link', 'once'), name='replies_once'),
        ),
        append_only(
            "jobs_replies_customerlink",
            mutable=(
                "revoked_at", "revoked_by_id", "mailed_at", "mailed_to", "opened", "first_opened_at", "last_opened_at",
            ),
        ),
        append_only("jobs_replies_reply"),
    ]
