"""Fills become movements: what goes in and what comes out, kept in one book a tank.

What was noted before stays a fill. Where two fills of a tank follow each other without a drain, the
page asks for the drain; none is invented here. Back again only while no draw-off or drain is noted:
the older table has no row without a lot.
"""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("registry", "0007_own_list_may_be_empty")]

    operations = [
        migrations.RemoveConstraint("tankfill", "fill_volume_positive"),
        migrations.RenameModel("TankFill", "TankMovement"),
        migrations.RenameField("tankmovement", "filled_on", "moved_on"),
        migrations.AlterModelOptions(
            name='tankmovement',
            options={'ordering': ['tank_id', 'moved_on', 'position', 'pk']},
        ),
        migrations.AddField(
            model_name='tank',
            name='installed_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='tankmovement',
            name='allowed_because',
            field=models.CharField(blank=True, max_length=300),
        ),
        migrations.AddField(
            model_name='tankmovement',
            name='allowed_by',
            field=models.CharField(blank=True, max_length=120),
        ),
        migrations.AddField(
            model_name='tankmovement',
            name='cleaned',
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddField(
            model_name='tankmovement',
            name='kind',
            field=models.CharField(choices=[('fill', 'Fill'), ('top_up', 'Top-up'), ('draw_off', 'Draw-off'), ('drain', 'Drain')], default='fill', max_length=10),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name='tankmovement',
            name='position',
            field=models.IntegerField(default=0),
        ),
        migrations.AddField(
            model_name='tankmovement',
            name='reason',
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddField(
            model_name='tankmovement',
            name='replaces',
            field=models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='replaced_by', to='registry.tankmovement'),
        ),
        migrations.AddField(
            model_name='tankmovement',
            name='residue_mg_l',
            field=models.DecimalField(blank=True, decimal_places=3, max_digits=9, null=True),
        ),
        migrations.AddField(
            model_name='tankmovement',
            name='withdrawn_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='tankmovement',
            name='withdrawn_because',
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddField(
            model_name='tankmovement',
            name='withdrawn_by',
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AlterField(
            model_name='tankmovement',
            name='lot',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='movements', to='registry.concentratelot'),
        ),
        migrations.AlterField(
            model_name='tankmovement',
            name='tank',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='movements', to='registry.tank'),
        ),
        migrations.AlterField(
            model_name='tankmovement',
            name='volume',
            field=models.FloatField(blank=True, help_text='m³; of a drain, if measured', null=True),
        ),
        migrations.AlterField(
            model_name='tankmovement',
            name='volume_typed',
            field=models.CharField(blank=True, max_length=40),
        ),
        migrations.AddIndex(
            model_name='tankmovement',
            index=models.Index(fields=['tank', 'moved_on', 'position'], name='movements_of_tank'),
        ),
        migrations.AddConstraint(
            model_name='tankmovement',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('kind__in', ['fill', 'top_up']), ('lot__isnull', False)), models.Q(('kind__in', ['draw_off', 'drain']), ('lot__isnull', True)), _connector='OR'), name='movement_names_its_lot', violation_error_message='A fill or top-up names the lot that went in; a draw-off or drain takes of what is there and names none.'),
        ),
        migrations.AddConstraint(
            model_name='tankmovement',
            constraint=models.CheckConstraint(condition=models.Q(('volume__gt', 0), models.Q(('kind', 'drain'), ('volume', None)), _connector='OR'), name='movement_volume_positive', violation_error_message='The volume is above 0; only that of a drain may stay empty.'),
        ),
        migrations.AddConstraint(
            model_name='tankmovement',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['fill', 'top_up']), models.Q(('reason', ''), _negated=True), _connector='OR'), name='movement_out_has_reason', violation_error_message='Say why it was taken out: a test, a leak, a change.'),
        ),
        migrations.AddConstraint(
            model_name='tankmovement',
            constraint=models.CheckConstraint(condition=models.Q(('kind', 'drain'), models.Q(('cleaned', ''), ('residue_mg_l', None)), _connector='OR'), name='movement_cleaned_is_drain', violation_error_message='Only a drained tank is cleaned: leave that empty.'),
        ),
        migrations.AddConstraint(
            model_name='tankmovement',
            constraint=models.CheckConstraint(condition=models.Q(('residue_mg_l', None), ('residue_mg_l__gte', 0), _connector='OR'), name='movement_residue_not_negative', violation_error_message='The PFAS left by analysis is 0 mg/L or more.'),
        ),
        migrations.AddConstraint(
            model_name='tankmovement',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('allowed_because', ''), ('allowed_by', '')), models.Q(('kind__in', ['fill', 'top_up']), models.Q(('allowed_by', ''), _negated=True), models.Q(('allowed_because', ''), _negated=True)), _connector='OR'), name='movement_leave_is_whole', violation_error_message='Leave to mix names both who answers for it and why, and belongs to a top-up.'),
        ),
        migrations.AddConstraint(
            model_name='tankmovement',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('withdrawn_at', None), ('withdrawn_because', ''), ('withdrawn_by', '')), models.Q(('withdrawn_at__isnull', False), models.Q(('withdrawn_by', ''), _negated=True), models.Q(('withdrawn_because', ''), _negated=True)), _connector='OR'), name='movement_withdrawn_is_whole', violation_error_message='A withdrawal says who, when and why.'),
        ),
    ]
