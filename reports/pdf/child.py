"""The process that renders, under limits of memory and processor time.

Started as ``python -m reports.pdf.child``. Each line of standard input asks for one thing,
each line of standard output answers it. Whatever a page does to this process, the worker
only sees it end; and when the worker dies, standard input closes and this process ends too.
"""

from __future__ import annotations

import contextlib
import gc
import json
import os
import resource
import sys
from pathlib import Path
from typing import Any

from reports.domain.codec import decode
from reports.domain.dossier import Dossier, ProjectData, UnitData
from reports.pdf.assets import MissingAsset, RefusedAddress
from reports.pdf.merge import Part, bind
from reports.pdf.unit_sheet import unit_sheet
from reports.pdf.writer import prepare, write

MEMORY_BYTES = 2 * 1024**3
CPU_S_A_PART = 120
COLLECT_EVERY = 8
"""Parts between two collections of garbage; a part leaves some 10 MB behind."""


def limit_memory() -> None:
    """Bound memory and core dumps, once and for good."""
    _limit(resource.RLIMIT_AS, MEMORY_BYTES)
    _limit(resource.RLIMIT_CORE, 0)


def _limit(kind: int, value: int) -> None:
    ceiling = resource.getrlimit(kind)[1]
    if ceiling != resource.RLIM_INFINITY:
        value = min(value, ceiling)
    resource.setrlimit(kind, (value, value))


def _allow_more_time() -> None:
    """Give the next part its own share of processor time; beyond it the system ends us."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    soft = int(used.ru_utime + used.ru_stime) + CPU_S_A_PART
    ceiling = resource.getrlimit(resource.RLIMIT_CPU)[1]
    if ceiling != resource.RLIM_INFINITY:
        soft = min(soft, ceiling)
    resource.setrlimit(resource.RLIMIT_CPU, (soft, ceiling))


def _answer(ask: dict[str, Any]) -> dict[str, Any]:
    if "bind" in ask:
        dossier = Dossier.from_json(json.loads(Path(ask["bind"]).read_bytes()))
        parts = [Part(title, Path(file), group) for title, file, group in ask["parts"]]
        pages = bind(parts, dossier, Path(ask["out"]), is_wide=ask["is_wide"])
        return {"pages": pages, "peak_kb": _peak_kb()}
    html = ask.get("html")
    if html is None:
        html = unit_sheet(decode(ProjectData, ask["project"]), decode(UnitData, ask["unit"]))
    # A file appears whole or not at all: a sheet that is kept for later must not be cut.
    out = Path(ask["out"])
    half = out.with_name(f"{out.name}.{os.getpid()}")
    half.write_bytes(write(html))
    half.replace(out)
    return {"peak_kb": _peak_kb()}


def _peak_kb() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def main() -> None:
    """Answer until standard input closes."""
    limit_memory()
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    # Nothing but answers may reach the worker's pipe.
    with contextlib.redirect_stdout(sys.stderr):
        for count, line in enumerate(sys.stdin, start=1):
            _allow_more_time()
            try:
                if count == 1:
                    prepare()
                answer = _answer(json.loads(line))
            except (MissingAsset, RefusedAddress) as error:
                answer = {"error": str(error)}
            except MemoryError:
                answer = {"error": "A part of the document needs more memory than is allowed."}
            except RecursionError:
                answer = {"error": "A part of the document is nested too deeply."}
            answers.write(json.dumps(answer) + "\n")
            answers.flush()
            if count % COLLECT_EVERY == 0:
                gc.collect()


if __name__ == "__main__":
    main()
