"""What the list of next things and the sweep cost, as ratios within one run.

    python -m tests.perf.standing [--sites 100 1000 10000] [--sweep 25000] [--days 7]

On SQLite, or with DATABASE_URL on PostgreSQL. The invented world lies in a database of its own that
is dropped again: 40 duties a site, one owner of nearly all sites, one of five, one of none.
Absolute times depend on the machine; the ratios hardly do.
"""

import os
import tempfile

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "itm.settings")
    os.environ["OUTBOX_NUDGE"] = "none"
    os.environ["ITM_DATA"] = tempfile.mkdtemp(prefix="itm-perf-")
    import django

    django.setup()
    from tests.perf.standing_run import main

    main()
