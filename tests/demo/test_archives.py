"""Every site of the demo leaves for an empty installation and comes out of it as it went in."""

import pytest
from django.db import transaction

from itm.accounts.actor import Actor
from itm.records import chain
from itm.registry.models import Site
from tests.archiving import archived, brought, contents, emptied, same_data
from tests.demo.conftest import NOW

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("loaded")]


def keeper(site: Site) -> Actor:
    return Actor(None, site.owner, "manager", NOW.date(), at=NOW)


def test_every_site_of_the_demo_comes_out_as_it_went_in(tmp_path) -> None:
    for site in Site.objects.select_related("owner").order_by("name"):
        path = archived(keeper(site), site, tmp_path / "site.zip", NOW)
        with transaction.atomic():
            emptied()
            came = brought(path, NOW)
            assert came.site == site.name
            assert list(chain.verify()) == []
            here = Site.objects.select_related("owner").get()
            again = archived(keeper(here), here, tmp_path / "again.zip", NOW)
            assert same_data(contents(path), contents(again)) == [], site.name
            assert b"INVENTED" in contents(again)["README.txt"]
            transaction.set_rollback(True)
