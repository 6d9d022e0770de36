"""How long every page of a site takes: made anew (what was made before is forgotten), and made already; with its size
on the wire.

`python -m tests.benchmarks.page_speed SITE [--times 5]`
"""

from __future__ import annotations

import argparse
import time
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from fastapi.testclient import TestClient

from pipelines.answers.now import newest_count
from pipelines.pages.app import create_app
from pipelines.pages.web import Options
from pipelines.settings import Settings
from pipelines.site.folder import open_site


def pages_of(root: Path) -> tuple[datetime, list[str]]:
    """When the site's counts end, and the pages of its last lines and days."""
    opened = open_site(root, Settings())
    plant = opened.known
    with opened.ledger.reading() as reader:
        newest = newest_count(reader)
        assert newest is not None
        complaints = reader.current("complaints")["complaint"].to_list()
    line, day = list(plant.lines)[-1], plant.clock.day_of(newest - timedelta(days=1))
    now = plant.clock.day_of(newest)
    hour = plant.clock.local(plant.clock.hours_of(day)[10].start).strftime("%Y-%m-%dT%H:%M")
    closed = sorted(path.stem for path in (root / "reports" / "day").glob("????-??-??.html"))
    furnace = plant.lines[line].furnace
    defect = next(iter(plant.defects))
    texts = [
        "/now",
        "/now?wall=1",
        f"/hour/{line}",
        f"/hour/{line}?at={hour}",
        f"/moulds/{line}",
        f"/moulds/{line}?hours=24",
        f"/moulds/{line}?hours=8&defect={defect}",
        *(f"/day/{each}.html" for each in closed[-1:]),
        f"/weights/{day}/{line}.html",
        f"/laboratory/{day}/{furnace}.html",
        f"/weights/{now}/{line}.html",
        "/trace",
        *(f"/trace?complaint={complaint}" for complaint in complaints[:1]),
        f"/trace?line={line}&mould=20&defect={defect}&made_from={hour}&made_to={hour[:11]}23:00",
        "/holds",
        "/feeds",
        "/metrics",
    ]
    return newest, texts


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("site", type=Path)
    asked.add_argument("--times", type=int, default=5)
    options = asked.parse_args()
    newest, pages = pages_of(options.site)
    app = create_app(
        options.site, Settings(fixed_now=newest + timedelta(minutes=5)), Options(hosts=("testserver",), grace_s=0)
    )
    client, desk = TestClient(app), app.state.web.desk
    client.get(pages[0])
    everything: list[float] = []
    again: list[float] = []
    for page in pages:
        anew = []
        for _ in range(options.times):
            desk.kept.clear()
            begun = time.perf_counter()
            answer = client.get(page)
            anew.append(time.perf_counter() - begun)
        assert answer.status_code == 200, (page, answer.status_code, answer.text[:300])
        kept = []
        for _ in range(options.times):
            begun = time.perf_counter()
            client.get(page)
            kept.append(time.perf_counter() - begun)
        everything.append(float(np.median(anew)))
        again.append(float(np.median(kept)))
        wire = int(answer.headers.get("content-length", len(answer.content)))
        print(
            f"{page:<75} anew {1000 * np.median(anew):6.0f} ms, worst {1000 * max(anew):6.0f}; again "
            f"{1000 * np.median(kept):4.0f} ms; {wire / 1000:5.0f} kB on the wire, {len(answer.content) / 1000:5.0f} "
            "kB unpacked"
        )
    print(
        f"median over pages: anew {1000 * np.median(everything):.0f} ms, again {1000 * np.median(again):.0f} ms; "
        f"slowest anew {1000 * max(everything):.0f} ms"
    )
    desk.close()


if __name__ == "__main__":
    main()
