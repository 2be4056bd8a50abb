"""Every change is noted with its person; what would pass by is refused."""

import pytest

from itm.core import history
from itm.core.history import Change
from itm.registry.models import Site
from tests.factories import SiteFactory


def test_saving_notes_who_changed_what_before_and_after(scene):
    site = Site.objects.get(pk=scene.site.pk)
    old = site.name
    site.name = "Renamed"
    site.save(by=scene.owner)
    change = Change.objects.filter(object_key=site.key).last()
    assert (change.verb, change.person) == ("changed", scene.owner.person)
    assert change.organisation == scene.owner.organisation.name
    assert (change.before, change.after) == ({"name": old}, {"name": "Renamed"})


def test_saving_without_a_difference_notes_nothing(scene):
    site = Site.objects.get(pk=scene.site.pk)
    count = Change.objects.count()
    site.save(by=scene.owner)
    assert Change.objects.count() == count


def test_saving_without_a_person_is_refused(scene):
    with pytest.raises(TypeError, match="by"):
        Site.objects.get(pk=scene.site.pk).save()


def test_entries_of_two_people_in_two_fields_merge(scene):
    one, two = (Site.objects.get(pk=scene.site.pk) for _ in range(2))
    one.address, two.country = "Quay 1", "Nowhere"
    one.save(by=scene.owner)
    two.save(by=scene.owner)
    now = Site.objects.get(pk=scene.site.pk)
    assert (now.address, now.country) == ("Quay 1", "Nowhere")


def test_a_refreshed_row_compares_with_what_the_database_says(scene):
    mine = Site.objects.get(pk=scene.site.pk)
    other = Site.objects.get(pk=scene.site.pk)
    first = mine.name
    other.name = "Theirs"
    other.save(by=scene.owner)
    mine.refresh_from_db()
    mine.name = first
    mine.save(by=scene.owner)
    assert Site.objects.get(pk=scene.site.pk).name == first


@pytest.mark.parametrize(
    "bypass",
    [
        lambda: Site.objects.update(name="x"),
        lambda: Site.objects.all().delete(),
        lambda: Site.objects.bulk_create([]),
        lambda: Site.objects.bulk_update([], ["name"]),
        lambda: Site.objects.get_or_create(name="x"),
        lambda: Site.objects.get().delete(),
    ],
)
def test_ways_past_the_history_are_refused(scene, bypass):
    with pytest.raises(RuntimeError):
        bypass()
    assert Site.objects.count() == 1


def test_a_batch_is_noted_as_one_change(scene):
    SiteFactory.create_batch(3)
    count = Change.objects.count()
    with history.bulk(scene.owner, "moved", Site, "four sites to another country"):
        assert Site.objects.update(country="Nowhere") == 4
    assert Change.objects.count() == count + 1
    change = Change.objects.last()
    assert (change.model, change.verb, change.object_key) == ("registry.Site", "moved", None)
    with pytest.raises(RuntimeError):
        Site.objects.update(country="")
