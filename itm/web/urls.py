from django.urls import URLPattern, URLResolver

from itm.web import account

urlpatterns: list[URLPattern | URLResolver] = [
    *account.urls,
]
