"""How long a book of unit sheets takes: two processes, one process, one single document.

Run ``python -m tests.benchmarks.book [units] [rounds]``. The three ways are taken in turn
and timed in the same run; ratios of the best times are the result, seconds are this machine's
only. Goals: two processes take at most 0.6 of one, and at most 0.5 of the single document; a
reissue after 1 % of the units changed takes at most 1/20 of the whole book.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import django

from reports.domain.dossier import Dossier

ROOT = Path(__file__).resolve().parents[2]
_SINGLE = """
import json, re, resource, sys
from reports.domain.dossier import Dossier
from reports.pdf.unit_sheet import unit_sheet
from reports.pdf.writer import write
dossier = Dossier.from_json(json.load(open(sys.argv[1])))
bodies = [re.sub(r".*<body>|</body>.*", "", unit_sheet(dossier.project, u), flags=re.S)
          for u in dossier.units]
style = "<style>.part + .part { break-before: page }</style>"
html = '<!DOCTYPE html><html lang="en" class="letter"><head><title>book</title>' + style
open(sys.argv[2], "wb").write(write(html + "</head><body>" + "".join(bodies) + "</body></html>"))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""
"""The naive way: every sheet in one HTML document, in one process, garbage collected as usual."""


def main(units: int = 100, rounds: int = 2) -> None:
    """Time the ways in turn, ``rounds`` times over, and print the ratios of the best times."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    django.setup()
    from reports import pdf  # needs ready apps
    from tests.builders.reports import make_dossier, make_unit_data  # likewise

    dossier = make_dossier("balance-report", units=units)
    changed = list(dossier.units)
    for i in range(max(units // 100, 1)):
        changed[i] = make_unit_data(changed[i].tag, location="moved")
    times: dict[str, list[float]] = {"two": [], "single": [], "one": [], "again": []}
    peaks = dict.fromkeys(times, 0)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)

        def timed(way: str, keep: str, processes: int, what: Dossier = dossier) -> None:
            begun = time.perf_counter()
            made = pdf.render(what, keep_in=folder / keep, processes=processes)
            times[way].append(time.perf_counter() - begun)
            peaks[way] = max(peaks[way], *made.peak_kb)

        stored, out = folder / "dossier.json", folder / "single.pdf"
        stored.write_text(json.dumps(dossier.to_json()))
        for turn in range(rounds):
            timed("two", f"two-{turn}", 2)
            begun = time.perf_counter()
            command = [sys.executable, "-c", _SINGLE, str(stored), str(out)]
            told = subprocess.run(command, check=True, capture_output=True, text=True, cwd=ROOT)
            times["single"].append(time.perf_counter() - begun)
            peaks["single"] = int(told.stdout)
            timed("one", f"one-{turn}", 1)
            timed("again", f"two-{turn}", 2, replace(dossier, units=tuple(changed)))
    two, single, one, again = (min(times[way]) for way in times)
    lines = (
        f"{units} units, best of {rounds}; seconds on this machine, ratios are what counts",
        f"single document  {single:7.1f} s  1.00   peak {peaks['single'] // 1024} MB",
        f"one process      {one:7.1f} s  {one / single:.2f}   peak {peaks['one'] // 1024} MB",
        f"two processes    {two:7.1f} s  {two / single:.2f}   peak {peaks['two'] // 1024} MB each",
        f"two against one  {two / one:.2f}",
        f"reissue after 1 % changed  {again:.1f} s, 1/{two / again:.0f} of the book",
    )
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:3]))
