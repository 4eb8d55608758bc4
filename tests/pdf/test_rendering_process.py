"""Hostile pages, missing assets, stopping: what the rendering does when things go wrong."""

from __future__ import annotations

import base64
import http.server
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from weasyprint.urls import URLFetcher

from reports import pdf
from reports.pdf import assets, pool
from reports.pdf.assets import AssetFetcher, MissingAsset, RefusedAddress
from reports.pdf.parts import page
from reports.pdf.unit_sheet import unit_sheet
from reports.pdf.writer import write
from tests.builders.reports import make_dossier, make_project_data, make_unit_data

SECRET = "the-contents-of-a-local-file"


class _Counter(http.server.BaseHTTPRequestHandler):
    seen: list[str] = []

    def do_GET(self) -> None:
        """Note the request and answer with nothing."""
        self.seen.append(self.path)
        self.send_response(200)
        self.end_headers()

    def log_message(self, *args: object) -> None:
        """Keep quiet."""


@pytest.fixture
def listener() -> Iterator[str]:
    """A server that counts who asks; gives its address."""
    _Counter.seen = []
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Counter)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,))
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    thread.join()
    server.server_close()


PNG = b"\x89PNG\r\n\x1a\n" + bytes(8)


def attacks(web: str, file: Path) -> list[str]:
    """Everything that a page can fetch by: from the network and from this machine's files."""
    nested = f"<svg xmlns='http://www.w3.org/2000/svg'><image href='{web}/n.png'/></svg>"
    return [
        f'<link rel="stylesheet" href="{web}/a.css">',
        f'<style>@import url("{web}/b.css");</style>',
        f'<style>@font-face{{font-family:X;src:url("{web}/x.woff2")}}p{{font-family:X}}</style>',
        f'<div style="background:url({web}/c.png)">x</div>',
        f'<img src="{web}/d.png">',
        f'<img src="{file.as_uri()}">',
        f'<object data="{web}/e.svg"></object>',
        f'<embed src="{web}/f.svg">',
        f'<svg><image href="{web}/g.png" width="9" height="9"/></svg>',
        f'<img src="data:image/svg+xml,{nested}">',
        f'<link rel="attachment" href="{file.as_uri()}">',
        f'<ul style="list-style-image:url({web}/h.png)"><li>x</li></ul>',
        '<img src="asset:../../../etc/passwd">',
        f'<img src="//{web.removeprefix("http://")}/i.png">',
    ]


@pytest.mark.parametrize("index", range(14))
def test_an_attacking_page_fetches_nothing(index: int, listener: str, tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text(SECRET)
    html = page(attacks(listener, secret)[index], title="attack", system="ip")
    with pytest.raises(RefusedAddress):
        write(html)
    assert _Counter.seen == []


def test_the_listener_would_notice(listener: str) -> None:
    """The control: the library's own fetcher does ask."""
    URLFetcher().fetch(f"{listener}/seen")
    assert _Counter.seen == ["/seen"]


def test_markup_in_a_record_is_printed_and_not_obeyed(listener: str) -> None:
    unit = make_unit_data(
        '<img src="x">', location=f'<img src="{listener}/a.png">', zone="<style>p{}</style>"
    )
    html = unit_sheet(make_project_data(), unit)
    assert "<img" not in html
    assert html.count("<style") == 0
    assert write(html).startswith(b"%PDF")
    assert _Counter.seen == []


def test_a_missing_asset_ends_the_rendering(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setitem(assets.ASSETS, "reports/gone.png", (str(tmp_path / "gone"), "image/png"))
    with pytest.raises(MissingAsset, match=r"gone\.png is missing"):
        write(page('<img src="asset:reports/gone.png">', title="x", system="ip"))


def test_only_listed_assets_are_served() -> None:
    fetcher = AssetFetcher()
    assert fetcher.fetch("asset:reports/document.css").read()
    for address in ("asset:reports/models.py", "file:///etc/passwd", "data:text/plain,x", "x"):
        with pytest.raises(RefusedAddress):
            fetcher.fetch(address)


def test_a_picture_that_the_document_holds_is_taken_only_when_it_is_one() -> None:
    fetcher = AssetFetcher()
    held = base64.b64encode(PNG).decode()
    assert fetcher.fetch(f"data:image/png;base64,{held}").read() == PNG
    for wrong in (base64.b64encode(b"<svg/>").decode(), "no base64 at all"):
        with pytest.raises(RefusedAddress, match="A picture in the document"):
            fetcher.fetch(f"data:image/png;base64,{wrong}")


def test_every_listed_asset_is_there() -> None:
    assert all(assets.content(name) for name in assets.ASSETS)


def _never(answer: pool.Ask) -> None:
    raise AssertionError(answer)


def test_a_refusal_reaches_the_person_in_plain_words(tmp_path: Path) -> None:
    html = page('<img src="file:///etc/hostname">', title="x", system="ip")
    ask = {"html": html, "out": str(tmp_path / "x.pdf")}
    with pool.Pool(1) as one, pytest.raises(pdf.RenderingFailed, match="may not fetch"):
        one.run([ask], on_answer=_never, should_stop=lambda: False)
    assert not list(tmp_path.iterdir())


def test_a_page_that_burns_time_is_ended(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Nested use elements double the work at each level; the system ends the process."""
    levels = "".join(
        f'<g id="g{i}"><use href="#g{i - 1}"/><use href="#g{i - 1}"/></g>' for i in range(1, 26)
    )
    html = page(
        f'<svg><g id="g0"><rect width="1" height="1"/></g>{levels}</svg>', title="x", system="ip"
    )
    real: Any = subprocess.Popen
    # The same process with one second a part instead of 120.
    script = "import reports.pdf.child as c; c.CPU_S_A_PART = 1; c.main()"

    def short(command: list[str], **options: object) -> subprocess.Popen[str]:
        process: subprocess.Popen[str] = real([command[0], "-c", script], **options)
        return process

    monkeypatch.setattr(subprocess, "Popen", short)
    ask = {"html": html, "out": str(tmp_path / "x.pdf")}
    with pool.Pool(1) as one, pytest.raises(pdf.RenderingFailed, match="more processor time"):
        one.run([ask], on_answer=_never, should_stop=lambda: False)


def test_stopping_kills_the_processes(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    started: list[subprocess.Popen[str]] = []
    real: Any = subprocess.Popen

    def noted(*args: object, **options: object) -> subprocess.Popen[str]:
        started.append(real(*args, **options))
        return started[-1]

    monkeypatch.setattr(subprocess, "Popen", noted)
    begun = time.monotonic()
    with pytest.raises(pdf.Stopped):
        pdf.render(
            make_dossier("balance-report", units=40), keep_in=tmp_path, should_stop=lambda: True
        )
    assert time.monotonic() - begun < 20
    assert started
    assert all(process.poll() is not None for process in started)


def test_progress_counts_every_part(tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    pdf.render(
        make_dossier("balance-report", units=2),
        keep_in=tmp_path,
        on_progress=lambda done, total: told.append((done, total)),
    )
    assert told == [(i, 6) for i in range(7)]  # cover, summary, method, two sheets, binding
