"""The report of a batch: what it tells, that it stands alone, and that nothing a user wrote can act in it."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from tensionear.batch.line import days_of, line_of, worst_of
from tensionear.batch.report import report_page
from tensionear.batch.results import Results
from tensionear.batch.values import Row
from tensionear.cli import main
from tests.batch.conftest import WHEEL

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")
AXE = os.environ.get("TENSIONEAR_AXE", "")
HOSTILE = '</title><script>document.title="run"</script><img src=x onerror="document.title=1"> {{ 7*7 }} ' + "x" * 200


def rows(count: int = 120, name: str = "Mill Lane tricycle, rear") -> list[Row]:
    """A week of two stations; wheel 60 far too tight, one in thirty unreadable."""
    chance = np.random.default_rng(7)
    found = []
    for number in range(1, count + 1):
        station, day = ("bench", "press")[number % 2], f"2026-11-{1 + (number - 1) * 7 // count:02}"
        if number % 30 == 0 and number != 60:
            reason = f"/line/{number}.wav is not a sound file"
            found.append(Row(number, f"/line/{number}.wav", "failed", "sound", reason, station=station, recorded=day))
            continue
        spreads = chance.lognormal(0.8, 0.3, 2)
        mean = 1100 + chance.normal(0, 10) + (200 if number == 60 else 0)
        verdict = "out" if max(spreads) > 5 or number == 60 else "within"
        found.append(
            Row(
                number, f"/line/{number}.wav", "read", verdict=verdict, wheel=name, serial=f"S{number}", station=station,
                recorded=f"{day}T08:{number % 60:02}", right_mean_n=round(mean, 2), left_mean_n=round(0.6 * mean, 2),
                right_spread_percent=round(spreads[0], 3), left_spread_percent=round(spreads[1], 3),
                right_target_n=1100.0, left_target_n=660.0, evenness_limit_percent=5.0, level_limit_percent=10.0,
                spokes_out=tuple(f"R{spoke}" for spoke in range(10, 20)) if verdict == "out" else (),
            )
        )  # fmt: skip
    return found


PAGES = {
    "usual": rows(),
    "hostile": [
        *rows(60, HOSTILE),
        Row(61, HOSTILE, "failed", "error", HOSTILE, station=HOSTILE),
        Row(62, "a.wav", "read", verdict="out", wheel=HOSTILE, serial=HOSTILE, station=HOSTILE, spokes_out=(HOSTILE,),
            right_mean_n=5.0, right_spread_percent=90.0),
    ],
    "few": rows(3),
    "none": [],
}  # fmt: skip


def test_the_page_tells_what_there_is() -> None:
    page = report_page(PAGES["usual"], "r.csv")
    for told in (
        "Wheels of r.csv", "Mill Lane tricycle, rear", "Station bench", "Station press", "2026-11-01 to 2026-11-07",
        "Beyond the limits: S60 13", "Capability", "ISO 7870-2", "ISO 22514-2", "Files without a reading",
        "/line/30.wav is not a sound file", "117 wheels.",
    ):  # fmt: skip
        assert told in page, told
    assert page.count("<figure>") == 8
    assert "too few" not in re.sub(r"are too few for that", "", page)


def test_few_wheels_are_said_to_be_few() -> None:
    page = report_page(rows(40), "r.csv")
    assert page.count("too few (of 50)") == 4
    assert "provisional limits" in page
    assert "too few for a chart" in report_page([rows(1)[0]], "r.csv")


def test_superseded_attempts_do_not_count() -> None:
    first, second = rows(2)
    line = line_of(
        [Row(9, "old.wav", "read", verdict="out", wheel=first.wheel, superseded_by=first.file), first, second]
    )
    assert line.superseded == 1
    assert len(line.wheels()) == 2


def test_days_and_the_worst() -> None:
    line = line_of(PAGES["usual"])
    days = days_of(line.wheels(), line.unreadable)
    assert len(days) == 14
    assert sum(day.wheels for day in days) == 120
    assert sum(day.unreadable for day in days) == 3
    assert worst_of(line.wheels(), 5)[-1].verdict == "out"
    spreads = [wheel.worst_percent() for wheel in worst_of(line.wheels(), 50)]
    assert spreads == sorted(spreads, reverse=True)


def test_wheels_are_charted_in_order_of_time() -> None:
    shuffled = [*reversed(PAGES["usual"])]
    assert [wheel.name for wheel in line_of(shuffled).wheels()] == [
        wheel.name for wheel in line_of(PAGES["usual"]).wheels()
    ]


class Tags(HTMLParser):
    """All tags and attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.ids: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}
        self.ids += [value or "" for name, value in attrs if name == "id"]


@pytest.mark.parametrize("name", PAGES)
def test_the_page_stands_alone_and_is_inert(name: str) -> None:
    page = report_page(PAGES[name], "r.csv")
    tags = Tags()
    tags.feed(page)
    assert not tags.tags & {"script", "img", "iframe", "object", "a", "form"}
    assert not any(attribute.startswith("on") for attribute in tags.attributes)
    assert len(tags.ids) == len(set(tags.ids))
    assert set(re.findall(r"https?://[^\"' )]+", page)) <= {"http://www.w3.org/2000/svg"}
    assert not re.search(r"url\(|@import|@font-face", page)
    assert "{{" not in page.replace("{{ 7*7 }}", "")


def run(folder: Path, page: str, *given: str) -> subprocess.CompletedProcess[str]:
    """Chromium on a page."""
    (folder / "page.html").write_text(page, "utf-8")
    flags = ("--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={folder / 'profile'}")
    return subprocess.run(
        [str(CHROMIUM), *flags, *given, (folder / "page.html").as_uri()], capture_output=True, text=True, timeout=60,
        check=True,
    )  # fmt: skip


PROBE = """<script>
const wide = document.documentElement.scrollWidth > window.innerWidth;
const cut = [...document.querySelectorAll('.scroll')].filter(each => each.scrollWidth > each.clientWidth).length;
document.documentElement.setAttribute('data-probe', JSON.stringify([wide, document.title, cut]));
</script></body>"""


@needs_chromium
@pytest.mark.parametrize(("name", "width"), [("usual", 1280), ("hostile", 500)])
def test_the_page_has_no_horizontal_scroll(tmp_path: Path, name: str, width: int) -> None:
    """Wide tables scroll by themselves on a phone, and none on a desk."""
    page = re.sub(r"<meta http-equiv=\"Content-Security-Policy\"[^>]*>", "", report_page(PAGES[name], "r.csv"))
    done = run(tmp_path, page.replace("</body>", PROBE), f"--window-size={width},1600", "--dump-dom")
    found = re.search(r'data-probe="([^"]*)"', done.stdout)
    assert found
    wide, title, cut = json.loads(found[1].replace("&quot;", '"'))
    assert (wide, title) == (False, "Wheels of r.csv")
    assert width < 1000 or cut == 0


@needs_chromium
@pytest.mark.skipif(not AXE, reason="TENSIONEAR_AXE does not name axe.min.js")
def test_axe_finds_no_violation(tmp_path: Path) -> None:
    page = re.sub(r"<meta http-equiv=\"Content-Security-Policy\"[^>]*>", "", report_page(PAGES["usual"], "r.csv"))
    ask = (
        "<script>axe.run().then(r => document.documentElement.setAttribute('data-axe', "
        "JSON.stringify(r.violations.map(v => v.id + ' ' + v.nodes[0].html.slice(0, 80)))))</script></body>"
    )
    code = Path(AXE).read_text("utf-8")
    page = page.replace("</body>", f"<script>{code}</script>{ask}")
    done = run(tmp_path, page, "--virtual-time-budget=20000", "--dump-dom")
    found = re.search(r'data-axe="([^"]*)"', done.stdout)
    assert found
    assert found[1] == "[]"


@pytest.mark.usefixtures("deaf")
def test_the_command_writes_the_report(tmp_path: Path) -> None:
    for name in ("a.wav", "b.wav", "out.wav", "broken.wav"):
        (tmp_path / name).write_bytes(name.encode())
    given = ["batch", str(tmp_path), "--wheel", str(WHEEL), "--workers", "0", "--out", str(tmp_path / "r.parquet")]
    pytest.importorskip("pyarrow")
    assert main([*given, "--report", str(tmp_path / "r.html")]) == 0
    page = (tmp_path / "r.html").read_text("utf-8")
    assert "3 wheels." in page
    assert "broken.wav" in page


def test_a_report_of_thousands_of_rows_stays_small(tmp_path: Path) -> None:
    page = report_page(rows(5000), "r.csv")
    assert len(page) < 1_500_000
    assert "the last 250 drawn" in page


def test_results_given_one_by_one_are_enough(tmp_path: Path) -> None:
    with Results(tmp_path / "r.jsonl") as results:
        for row in PAGES["usual"]:
            results.add(row)
        assert report_page(results.rows(results.files()), "r.csv") == report_page(PAGES["usual"], "r.csv")
