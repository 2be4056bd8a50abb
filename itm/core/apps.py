from django.apps import AppConfig
from django.core.checks import Tags, register
from django.db.models.signals import post_migrate, pre_migrate


class CoreConfig(AppConfig):
    name = "itm.core"
    label = "core"

    def ready(self) -> None:
        from itm.core import checks, triggers

        register(checks.every_model_says_how_it_hangs, Tags.models)
        register(checks.every_tracked_model_refuses_bypasses, Tags.models)
        register(checks.triggers_are_laid, Tags.database)
        register(checks.several_processes_share_a_cache, Tags.caches, deploy=True)
        pre_migrate.connect(triggers.drop_before_migrate, sender=self)
        post_migrate.connect(triggers.lay_after_migrate)
