"""What a report costs beside the renderer alone, as a ratio within one run.

    python -m tests.perf.reports [--repeats 7]

The record is the invented one of the tests, two to three pages. Ours is everything from the sealed
bytes to the finished file: reading them, the figures, the plot, the QR code, the template, the
renderer, the record enclosed. The renderer alone gets the same HTML with the same sheet and fonts,
once as the same archival form and once as a plain PDF. Both are warm: libraries are loaded and the
templates compiled. Absolute times depend on the machine; the ratio hardly does.
"""

import argparse
import io
import json
import os
import statistics
import tempfile
import time
from collections.abc import Callable


def seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.perf.reports")
    parser.add_argument("--repeats", type=int, default=7)
    given = parser.parse_args()

    from pypdf import PdfReader
    from weasyprint import CSS, HTML
    from weasyprint.text.fonts import FontConfiguration

    from itm.reports.pdf import OwnFilesOnly
    from itm.reports.render import foot_style, html_for_pdf, pdf
    from tests.itm.reports import sample

    record, digest = sample.seal_of(sample.document())
    paper = sample.paper_of(json.loads(record))
    html, foot = html_for_pdf(paper), foot_style(paper)

    def ours() -> bytes:
        return pdf(sample.paper_of(json.loads(record)), record=record, digest=digest)

    def alone(**how: str) -> bytes:
        fetcher, fonts = OwnFilesOnly(), FontConfiguration()
        sheet = CSS(string=foot, url_fetcher=fetcher, font_config=fonts)
        made: bytes = HTML(string=html, url_fetcher=fetcher).write_pdf(
            font_config=fonts, stylesheets=[sheet], **how
        )
        return made

    ways: dict[str, Callable[[], bytes]] = {
        "ours": ours,
        "alone": lambda: alone(pdf_variant="pdf/a-3a"),
        "plain": alone,
    }
    pages = len(PdfReader(io.BytesIO(ours())).pages)
    alone()
    found: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(given.repeats):  # in turn, so that a busy moment meets all three
        for name, work in ways.items():
            found[name].append(seconds(work))
    middle = {name: statistics.median(times) for name, times in found.items()}
    load = os.getloadavg()[0]
    print(f"{pages} pages, {given.repeats} times each, medians; load of the machine {load:.1f}")
    print(f"ours, from the sealed bytes      {middle['ours']:7.2f} s")
    print(f"the renderer alone, archival     {middle['alone']:7.2f} s")
    print(f"the renderer alone, plain PDF    {middle['plain']:7.2f} s")
    print(f"ours over the renderer alone     {middle['ours'] / middle['alone']:7.2f} (at most 1.2)")
    print(f"ours over the plain PDF          {middle['ours'] / middle['plain']:7.2f}")


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "itm.settings")
    os.environ["ITM_DATA"] = tempfile.mkdtemp(prefix="itm-perf-")
    import django

    django.setup()
    main()
