"""The bench page: one save for all filled cells, nothing typed is lost, no reading is edited."""

import re
import uuid
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from itm.records.models import Bottle, ProportioningTest, Reading
from tests import deeds
from tests.conftest import Scene

SignIn = Callable[[Client, object], Client]


def url(test: ProportioningTest, name: str = "bench") -> str:
    return reverse(name, args=[test.key])


def prepared(scene: Scene) -> ProportioningTest:
    return deeds.discharged(deeds.prepared(scene)).test


def cells(test: ProportioningTest, **typed: tuple[str, str]) -> dict[str, str]:
    """What a filled table posts: bottle label → (reading, temperature)."""
    out = {}
    for label, (value, temperature) in typed.items():
        key = uuid.uuid4()
        bottle = test.bench.bottles.get(label=label.replace("_", " "))
        out |= {
            f"bottle-{key}": str(bottle.key),
            f"value-{key}": value,
            f"temperature-{key}": temperature,
        }
    return out


def test_bottles_are_set_out_by_one_button(client: Client, scene: Scene, sign_in: SignIn) -> None:
    test = prepared(scene)
    sign_in(client, scene.contractor)
    assert "Set out water" in client.get(url(test)).content.decode()
    client.post(url(test, "bench_set_out"))
    page = client.get(url(test)).content.decode()
    # Arithmetic: 2, 3 and 4 % of 200 mL are 4, 6 and 8 mL with 196, 194 and 192 mL of water.
    for concentrate, water in ((4, 196), (6, 194), (8, 192)):
        assert f"{concentrate} mL</span> concentrate, water to the mark" in page
        assert f"{water} mL" in page
    assert "Set out water" not in page


def test_all_filled_cells_are_saved_in_the_order_of_the_table(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = prepared(scene)
    sign_in(client, scene.contractor)
    client.post(url(test, "bench_set_out"))
    typed = cells(test, water=("1.33300", "20.0"), S1=("1,33336", "20,1"), S2=("", ""))
    assert client.post(url(test), typed).status_code == 302
    rows = Reading.objects.order_by("sequence")
    assert [(r.bottle.label, r.value_typed, r.temperature_typed) for r in rows] == [
        ("water", "1.33300", "20.0"),
        ("S1", "1,33336", "20,1"),
    ]


def test_water_of_the_system_is_asked_for_once_and_read_beside_the_other(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = prepared(scene)
    sign_in(client, scene.contractor)
    assert "Read that water too" not in client.get(url(test)).content.decode()
    client.post(url(test, "bench_set_out"))
    assert "Read that water too" in client.get(url(test)).content.decode()
    client.post(url(test, "bench_system_water"))
    page = client.get(url(test)).content.decode()
    assert "Read that water too" not in page
    assert "water that the system was fed with" in page
    client.post(url(test), cells(test, system_water=("1.33320", "20.0")))
    assert Reading.objects.get().bottle.role == "system_water"


def test_wrong_cell_comes_back_with_its_sentence_and_the_others_are_saved(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = prepared(scene)
    sign_in(client, scene.contractor)
    client.post(url(test, "bench_set_out"))
    typed = cells(test, water=("1.33300", "20.0"), S1=("4.2", "20.0"), S2=("1.33354", "68"))
    answer = client.post(url(test), typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert [r.value_typed for r in Reading.objects.all()] == ["1.33300"]
    assert "4.2 looks like a Brix reading" in page
    assert "if it is in °F, write 20.0" in page
    assert 'value="4.2"' in page
    assert 'value="1.33354"' in page
    assert page.count('aria-invalid="true"') == 2


def test_double_click_saves_each_reading_once(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = prepared(scene)
    sign_in(client, scene.contractor)
    client.post(url(test, "bench_set_out"))
    typed = cells(test, water=("1.33300", "20.0"), S1=("1.33336", "20.0"))
    client.post(url(test), typed)
    client.post(url(test), typed)
    assert Reading.objects.count() == 2


def test_temperature_without_a_reading_is_no_reading_and_stays_in_its_place(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = prepared(scene)
    sign_in(client, scene.contractor)
    client.post(url(test, "bench_set_out"))
    answer = client.post(url(test), cells(test, water=("1.33300", "20.0"), S1=("", "19.7")))
    assert answer.status_code == 200
    assert 'value="19.7"' in answer.content.decode()
    assert Reading.objects.count() == 1


def test_odd_reading_is_saved_and_asked_about(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = prepared(scene)
    sign_in(client, scene.contractor)
    client.post(url(test, "bench_set_out"))
    client.post(url(test), cells(test, S1=("1.33336", "20.0")))
    page = client.post(url(test), cells(test, S1=("1.33633", "20.0")), follow=True).content.decode()
    assert [r.value_typed for r in Reading.objects.order_by("sequence")] == ["1.33336", "1.33633"]
    assert "Differs by 0.00297" in page
    assert "Did the display show 1.33363" not in page  # that would not fit its neighbour either


def test_repeat_stands_beside_the_first_and_is_set_aside_with_a_reason(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = prepared(scene)
    sign_in(client, scene.contractor)
    client.post(url(test, "bench_set_out"))
    client.post(url(test), cells(test, S1=("1.33336", "20.0")))
    client.post(url(test), cells(test, S1=("1.33340", "20.0")))
    first = Reading.objects.get(value_typed="1.33336")
    address = reverse("reading_aside", args=[test.key, first.key])
    refused = client.post(address, {"reason": ""})
    assert refused.status_code == 422
    assert "Say why" in refused.content.decode()
    client.post(address, {"reason": "bubble on the prism"})
    page = client.get(url(test)).content.decode()
    assert re.search(r'class="reading aside".*?1\.33336', page, re.S)
    assert "set aside: bubble on the prism" in page
    client.post(reverse("reading_back", args=[test.key, first.key]))
    first.refresh_from_db()
    assert first.set_aside_at is None


def volumes(
    test: ProportioningTest, label: str, was: tuple[str, str], now: tuple[str, str]
) -> dict:
    key = test.bench.bottles.get(label=label).key
    names = ("concentrate_ml", "water_ml")
    return {f"{n}-{key}": v for n, v in zip(names, now, strict=True)} | {
        f"was-{n}-{key}": v for n, v in zip(names, was, strict=True)
    }


def test_volumes_are_saved_and_a_wrong_pair_comes_back(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = prepared(scene)
    sign_in(client, scene.contractor)
    client.post(url(test, "bench_set_out"))
    typed = volumes(test, "S1", ("", ""), ("4,1", "195.9"))
    typed |= volumes(test, "S2", ("", ""), ("six", "194"))
    answer = client.post(url(test, "bench_volumes"), typed)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "The concentrate volume is “six”" in page
    assert 'value="six"' in page
    assert test.bench.bottles.get(label="S1").concentrate_ml_typed == "4,1"
    assert test.bench.bottles.get(label="S2").concentrate_ml is None
    assert "2.05" in page  # 100 · 4.1/200, arithmetic


def test_concentrate_added_to_a_full_batch_is_asked_about(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = prepared(scene)
    sign_in(client, scene.contractor)
    client.post(url(test, "bench_set_out"))
    client.post(url(test, "bench_volumes"), volumes(test, "S2", ("", ""), ("6", "200")))
    page = client.get(url(test)).content.decode()
    assert "filling up to the mark" in page
    assert "2.91" in page  # 6 mL added to 200 mL: check-values D-04


def test_stale_volumes_do_not_overwrite_what_another_device_saved(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = prepared(scene)
    sign_in(client, scene.contractor)
    client.post(url(test, "bench_set_out"))
    client.post(url(test, "bench_volumes"), volumes(test, "S1", ("", ""), ("4", "196")))
    answer = client.post(url(test, "bench_volumes"), volumes(test, "S1", ("", ""), ("5", "195")))
    assert answer.status_code == 422
    assert "Somebody else wrote 4 mL" in answer.content.decode()
    assert test.bench.bottles.get(label="S1").concentrate_ml == 4


def test_another_standard_is_added_and_one_that_was_not_read_withdrawn(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = prepared(scene)
    sign_in(client, scene.contractor)
    client.post(url(test, "bench_set_out"))
    assert client.post(url(test, "standard_new"), {"target_percent": "0"}).status_code == 422
    client.post(url(test, "standard_new"), {"target_percent": "3,5"})
    added = test.bench.bottles.get(label="S4")
    assert str(added.target_percent) == "3.500"
    address = reverse("standard_withdraw", args=[test.key, added.key])
    assert client.post(address, {"reason": ""}).status_code == 422
    client.post(address, {"reason": "spilt"})
    assert added not in test.bench.bottles.in_use()


def test_bench_of_a_sealed_test_shows_its_readings_and_no_place_for_more(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = deeds.tested(scene)
    for actor in (scene.contractor, scene.owner, scene.authority):
        page = sign_in(client, actor).get(url(test)).content.decode()
        assert test.bench.bottles.get(label="water").readings.get().value_typed in page
        assert "amend it by a new record" in page
        assert "data-reading" not in page
    typed = cells(test, water=("1.33300", "20.0"))
    answer = sign_in(client, scene.contractor).post(url(test), typed)
    assert answer.status_code == 422
    assert "its readings stand as they are" in answer.content.decode()


def test_bench_of_a_draft_is_not_there_for_others(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = prepared(scene)
    for actor in (scene.owner, scene.authority):
        assert sign_in(client, actor).get(url(test)).status_code == 404
        assert client.post(url(test), cells(test)).status_code == 404


def test_bottle_of_another_test_is_not_found(client: Client, scene: Scene, sign_in: SignIn) -> None:
    test, other = prepared(scene), deeds.tested(scene, purpose="retest")
    foreign = Bottle.objects.filter(bench=other.bench).first()
    sign_in(client, scene.contractor)
    key = uuid.uuid4()
    typed = {f"bottle-{key}": str(foreign.key), f"value-{key}": "1.33300"}
    assert client.post(url(test), typed).status_code == 404


@pytest.mark.parametrize("entries", [1, 2, 3])
def test_places_for_replicates_are_as_many_as_asked_for(
    client: Client, scene: Scene, sign_in: SignIn, entries: int
) -> None:
    test = prepared(scene)
    sign_in(client, scene.contractor)
    client.post(url(test, "bench_set_out"))
    page = client.get(f"{url(test)}?entries={entries}").content.decode()
    bottles = test.bench.bottles.count()
    assert len(re.findall(r'name="value-', page)) == bottles * entries


def test_note_of_the_bench_is_kept_shown_and_not_written_over_by_a_stale_page(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = prepared(scene)
    sign_in(client, scene.contractor)
    there = url(test, "bench_note")
    assert there in client.get(url(test)).content.decode()
    stale = {"opened-notes": "", "opened-water_source": test.bench.water_source,
             "opened-glassware": test.bench.glassware}  # fmt: skip
    first = {**stale, "notes": "cell washed twice", "water_source": test.bench.water_source,
             "glassware": test.bench.glassware}  # fmt: skip
    assert client.post(there, first).status_code == 302
    assert "cell washed twice" in client.get(url(test)).content.decode()
    answer = client.post(there, {**first, "notes": "display flickers"})
    assert answer.status_code == 422
    assert "display flickers" in answer.content.decode()
    test.bench.refresh_from_db()
    assert test.bench.notes == "cell washed twice"


def test_note_of_a_bench_is_closed_with_its_record(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    sealed = deeds.tested(scene)
    sign_in(client, scene.contractor)
    assert url(sealed, "bench_note") not in client.get(url(sealed)).content.decode()
    client.post(url(sealed, "bench_note"), {"notes": "later"})
    sealed.bench.refresh_from_db()
    assert sealed.bench.notes == ""
