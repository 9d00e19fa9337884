"""How long the page takes with 15 and 60 jars: `python -m tests.benchmarks.page_speed`.

The trials are invented: first-order feeds, a blank that fades, one percent of scatter. Each figure
is the best of three requests over HTTP; the first view of results is asked once, two seconds after
the page was started.
"""

from __future__ import annotations

import http.client
import io
import tempfile
import threading
import time
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np

from bmp.page.journal import Entry, append
from bmp.page.open_trial import OpenTrial
from tests.page.client import Served, served


def invented(folder: Path, jars: int, readings: int) -> Path:
    """Write a trial of three blanks, three controls and feeds of three jars each."""
    folder.mkdir(parents=True)
    (folder / "trial.csv").write_text(
        "item,value\ntitle,Invented\nstarted,2024-03-01T08:00\nmeasured,volume\n"
        "methane [%],60\nambient [kPa],98\ngas temperature [°C],20\n",
        encoding="utf-8",
    )
    feeds = (jars - 6) // 3
    names = [f"feed {n}" for n in range(feeds)]
    (folder / "materials.csv").write_text(
        "material,role,TS [% of fresh mass],VS [% of fresh mass]\nsludge,inoculum,3,2\n"
        "cellulose,control,96,95\n" + "".join(f"{name},substrate,20,18\n" for name in names),
        encoding="utf-8",
    )
    # name, material, sample [g], methane of the sample [NmL], rate [1/d]
    shelf = [(f"B{n}", "", "", 0.0, 0.2) for n in range(3)]
    shelf += [(f"C{n}", "cellulose", "4.2", 365 * 4.2 * 0.95, 0.25) for n in range(3)]
    shelf += [
        (f"F{n}", names[n // 3], "20", (250 + 10 * (n // 3)) * 3.6, 0.12 + 0.01 * (n // 3))
        for n in range(3 * feeds)
    ]
    rows = [f"{name},{material},400,{sample},450" for name, material, sample, _, _ in shelf]
    (folder / "jars.csv").write_text(
        "jar,material,inoculum [g],sample [g],headspace [mL]\n" + "\n".join(rows) + "\n",
        encoding="utf-8",
    )
    random = np.random.default_rng(20)
    days = np.linspace(0.0, 40.0, readings + 1)
    lines = ["jar,taken,volume [mL]"]
    for before, day in pairwise(days):
        at = (datetime(2024, 3, 1, 8) + timedelta(days=float(day))).isoformat(timespec="minutes")
        blank = 250.0 * (np.exp(-0.06 * before) - np.exp(-0.06 * day))
        for name, _, _, end, rate in shelf:
            made = blank + end * (np.exp(-rate * before) - np.exp(-rate * day))
            read = made / 0.6 * 1.12 * (1 + 0.01 * random.standard_normal())
            lines.append(f"{name},{at},{max(read + 0.1 * random.standard_normal(), 0.0):.2f}")
    (folder / "readings.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def asked(page: Served, path: str) -> float:
    """Return how long an answer took [s]."""
    connection = http.client.HTTPConnection("127.0.0.1", page.port, timeout=300)
    begin = time.monotonic()
    connection.request("GET", path, headers={"Cookie": page.cookie})
    answer = connection.getresponse()
    answer.read()
    assert answer.status == 200, (path, answer.status)
    connection.close()
    return time.monotonic() - begin


def million_rows() -> bytes:
    """Return a workbook with a million readings."""
    import xlsxwriter

    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"constant_memory": True, "in_memory": True})
    sheet = book.add_worksheet("readings")
    sheet.write_row(0, 0, ["jar", "time [d]", "volume [mL]"])
    for row in range(1, 1_000_001):
        sheet.write_row(row, 0, ["A1", row / 10_000, 1])
    for name in ("trial", "materials", "jars"):
        book.add_worksheet(name).write_row(0, 0, ["item", "value"])
    book.close()
    return out.getvalue()


def held_up(page: Served) -> float:
    """Return the longest wait for the front page while a million rows are looked through [s]."""
    waits = []
    done = threading.Event()

    def look() -> None:
        asked(page, "/trials/million.xlsx/so-far")
        done.set()

    thread = threading.Thread(target=look)
    thread.start()
    while not done.wait(0.1):
        waits.append(asked(page, "/"))
    thread.join()
    print(f"  (it took {len(waits) / 10:.0f} s and more to look through)")
    return max(waits, default=0.0)


def main() -> None:
    with tempfile.TemporaryDirectory() as place:
        root = Path(place)
        for jars, readings in ((15, 40), (60, 100)):
            invented(root / f"jars{jars}", jars, readings)
        with served(root) as page:
            time.sleep(2.0)
            for jars in (15, 60):
                base = f"/trials/jars{jars}"
                print(f"{jars} jars: first view {asked(page, base + '/so-far'):.2f} s")
                for what, path in {
                    "comparison": f"/comparison?trial=jars{jars}",
                    "trial": base + "/",
                    "readings": base + "/readings",
                    "table of jars": base + "/tables/jars",
                }.items():
                    first = asked(page, path)
                    best = min(asked(page, path) for _ in range(3))
                    print(f"{jars} jars: {what} {first:.2f} s, then {best:.2f} s")
            (root / "million.xlsx").write_bytes(million_rows())
            print(f"front page beside a million rows: at most {held_up(page):.2f} s")
        folder = invented(root / "replay", 60, 2)
        trial = OpenTrial(folder)
        header = "volume [mL]"
        count = len(trial.entries)
        for number in range(6_000):
            at = f"2024-05-{number // 240 + 1:02d}T{number // 10 % 24:02d}:00"
            entry = Entry(
                count + number + 1, "x", "reading", f"F{number % 54}", at, after={header: "5"}
            )
            _append_quickly(folder, entry)
        begin = time.monotonic()
        OpenTrial(folder)
        print(f"journal of 6,000 readings opened in {time.monotonic() - begin:.2f} s")


def _append_quickly(folder: Path, entry: Entry) -> None:
    from bmp.page import journal

    sync, journal.os.fsync = journal.os.fsync, lambda handle: None
    append(folder, entry)
    journal.os.fsync = sync


if __name__ == "__main__":
    main()
