"""Make the small archive that every later release has to bring in.

    python -m tests.freeze_archive fixtures/frozen/archives/form_N.zip

Run with the release that writes form N first, and put its digest into
tests/itm/archives/test_frozen.py; what is there is never written again. It is of an invented site,
and says so: nothing in it stands for anything real.
"""

import io
import os
import sys
import tempfile
from datetime import date
from pathlib import Path
from typing import Any


def small_photos(scene: Any) -> None:
    """A photo of a few hundred bytes, a paper, and a photo that was withdrawn."""
    from itm.registry import attaching
    from tests.archiving import NOON
    from tests.itm.registry.pictures import PDF, picture

    rows = []
    for target, data, name in (
        (scene.tank, picture(size=(12, 9)), "tank.png"),
        (scene.site, PDF, "plan.pdf"),
        (scene.system, picture("JPEG", size=(12, 9)), "system.jpg"),
    ):
        rows += attaching.attach(
            actor=scene.owner, site=scene.site, target=target, at=NOON, caption="invented",
            uploads=[attaching.Upload(io.BytesIO(data), name)],
        )  # fmt: skip
    attaching.withdraw(actor=scene.owner, row=rows[-1], why="shows a face", at=NOON)


def freeze(to: Path, files: str) -> None:
    from django.test.utils import override_settings, setup_databases, setup_test_environment

    from itm.core.models import Installation
    from tests import archiving
    from tests.conftest import new_scene

    setup_test_environment()
    setup_databases(verbosity=0, interactive=False)
    with override_settings(MEDIA_ROOT=files, OUTBOX_NUDGE="none"):
        Installation.objects.create(kind=Installation.Kind.DEMO)
        scene = new_scene()
        for deed in (
            archiving.lean_tests, archiving.a_direct_test, archiving.a_test_that_went_back,
            archiving.checks_of_the_tank, archiving.an_inspection, archiving.something_wrong,
            archiving.a_witness, archiving.foam_that_came_out, small_photos,
        ):  # fmt: skip
            deed(scene)
        archiving.tested(scene, on=date(2026, 6, 15))
        archiving.archived(scene.owner, scene.site, to)


def main(to: Path) -> int:
    if to.exists():
        print(f"{to} is there already and stays as it is.")
        return 1
    with tempfile.TemporaryDirectory(prefix="itm-frozen-") as folder:
        os.environ["ITM_DATA"] = folder
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "itm.settings")
        import django

        django.setup()
        freeze(to, folder)
    print(f"{to}: {to.stat().st_size:,} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
