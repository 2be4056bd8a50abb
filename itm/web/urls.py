from django.urls import URLPattern, URLResolver

from itm.web import account, homes, trends

urlpatterns: list[URLPattern | URLResolver] = [
    *account.urls,
    *homes.urls,
    *trends.urls,
]
