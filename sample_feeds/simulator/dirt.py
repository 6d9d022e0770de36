"""Rubbish, as it comes from a real floor. Whatever is refused here is additional: the true rows stand in other
files.
"""

from __future__ import annotations

import gzip
from datetime import timedelta
from pathlib import Path

from sample_feeds.simulator.works import Simulated

_HEAD = "window_start,line,station,mould,window_s,inspected,rejected\n"


def dirty_files(simulated: Simulated, inbox: Path) -> list[Path]:
    """Write files with faults: bad cells, unknown codes, half a file, a wrong header, a file twice, a late
    correction.
    """
    plan = simulated.plan
    line = next(iter(plan.lines))
    station = plan.plant.stations_of(line)[0].id
    at = (plan.cold_from + timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M:%SZ")
    local = plan.plant.clock.local(plan.cold_from).strftime("%Y-%m-%dT%H:%M:%S")
    rows = [
        f"{at},{line},{station},9001,60,12,'1",
        f"{at},{line},{station},9002,60,-4,0",
        f"{at},{line},{station},9003,60,3,8",
        f"{local},{line},{station},9004,60,10,0",
        f"{at},X9,{station},9005,60,10,0",
        f"{at},{line},no-such-station,9006,60,10,0",
        f"{at},{line},{station},9007,60",
        f"{at},{line},{station},9008,60,10;0,0",
    ]
    files = {
        f"station_counts.{line}.bad-rows.csv": (_HEAD + "\n".join(rows) + "\n").encode(),
        f"station_counts.{line}.wrong-header.csv": b"Time;Line;Seen;Out\n1;2;3;4\n",
        f"reject_counts.{line}.half.csv.gz": gzip.compress(_HEAD.encode() * 400, mtime=0)[:60],
        "shift_notes.txt": b"night shift: swabbed section 4 twice\n",
        f"weight_checks.{line}.empty.csv": b"",
    }
    paths = []
    for name, data in files.items():
        (inbox / name).write_bytes(data)
        paths.append(inbox / name)
    return paths + _again(inbox, line)


def _again(inbox: Path, line: str) -> list[Path]:
    """A file that comes twice under another name."""
    first = sorted(inbox.glob(f"reject_counts.{line}.*Z.*"))
    if not first:
        return []
    copy = inbox / f"reject_counts.{line}.again.{first[0].name.split('Z.', 1)[1]}"
    copy.write_bytes(first[0].read_bytes())
    return [copy]
