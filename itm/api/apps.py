from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "itm.api"
    label = "api"

    def ready(self) -> None:
        from itm.api import describing  # noqa: F401  # tells the description how one signs in
