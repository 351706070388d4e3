"""What a pack cost is kept with the driver it went into, so that one fitted without an order counts too."""

from typing import Any

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import OuterRef, Subquery


def tell_the_driver(apps: Any, _schema_editor: object) -> None:
    """Each row so far was fitted for an order, and went into its driver."""
    fitted, order = apps.get_model("fleet", "PackFitted"), apps.get_model("fleet", "Order")
    fitted.objects.update(device=Subquery(order.objects.filter(pk=OuterRef("order_id")).values("device")[:1]))


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0031_what_changed_since_it_failed"),
    ]

    operations = [
        migrations.AlterField(
            model_name="packfitted",
            name="order",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="packs",
                to="fleet.order",
            ),
        ),
        migrations.AddField(
            model_name="packfitted",
            name="device",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="packs_paid",
                to="fleet.device",
            ),
        ),
        migrations.RunPython(tell_the_driver, migrations.RunPython.noop),
        migrations.AlterField(
            model_name="packfitted",
            name="device",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="packs_paid",
                to="fleet.device",
            ),
        ),
    ]
