"""The card: one sheet of paper, readable at any width, inert whatever a user wrote; its pictures and tables."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from tensionear.data import data_file
from tensionear.reading import Finding, Reading
from tensionear.records.card import card_page, card_picture
from tensionear.records.log import Log
from tensionear.records.png import png_file
from tensionear.records.svg import ON_PAPER, svg_file
from tensionear.records.tables import HEADING, safe, spoke_table
from tensionear.records.trends import trend_of
from tensionear.records.values import Asked, KeptRound, State
from tensionear.units import in_units
from tests.dashboard.invented import evenness, wheel

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")
AXE = os.environ.get("TENSIONEAR_AXE", "")
HOSTILE = '<script>document.title="run"</script> "q" \' & \u202eevil \u05e9\u05dc\u05d5\u05dd \U0001f6b2 ' + "x" * 300
TEXT = '</style></title></svg><img src="https://example.org/x" onerror="document.title=1"> {{ 7*7 }} '
WHEEL = data_file("recordings_demo", "wheel.toml").read_text("utf-8").replace("spokes = 32", "spokes = 36")


def hostile() -> Reading:
    findings = tuple(Finding("over-maximum", TEXT * 4, (number,)) for number in range(1, 15))
    return wheel({9: 700.0, 5: None}, count=48, title=HOSTILE, findings=findings, warnings=(TEXT,) * 4)


READINGS = {
    "usual": wheel({9: 990.0, 12: 590.0}),
    "hostile": hostile(),
    "carousel": wheel(count=200, title="A carousel"),
    "evenness": evenness({7: -9.0}),
    "over": wheel(dict.fromkeys(range(1, 36, 2), 1400.0)),
}


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Log:
    log = Log(tmp_path_factory.mktemp("card") / "rounds.sqlite")
    for fall in (0, 30, 60):
        log.save(wheel({9: 1110.0 - fall, 12: 668.0 - fall / 2}), Asked(wheel_text=WHEEL), state=State("none"))
    return log


def page_of(log: Log, name: str) -> str:
    reading, note = READINGS[name], TEXT * 5 if name == "hostile" else "after 50 km"
    kept = log.load(log.save(reading, Asked(wheel_text=WHEEL), state=State("inflated", 300.0), note=note))
    log.forget(kept.row.id)
    return card_page(kept, reading, trend_of(log, "Mill Lane tricycle, rear"))


class Tags(HTMLParser):
    """Every tag with each of its attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [(tag, name) for name, _ in attrs] or [(tag, "")]


def kept_of(log: Log) -> KeptRound:
    return log.load(3)


@pytest.mark.parametrize("name", READINGS)
def test_a_card_fetches_nothing_runs_nothing_and_is_small(log: Log, name: str) -> None:
    page = page_of(log, name)
    assert len(page.encode()) <= 300_000
    tags = Tags()
    tags.feed(page)
    assert not {"script", "iframe", "img", "object", "a", "base"} & {tag for tag, _ in tags.found}
    assert not [name for _, name in tags.found if name.startswith("on") or name in ("srcset", "action")]
    styles = "".join(re.findall(r"<style>(.*?)</style>", page, re.DOTALL))
    assert not re.search(r"@import|url\(", styles)
    assert set(re.findall(r"(?:src|href)=\"([^\"]*)\"", page)) <= {"data:,"}
    assert set(re.findall(r"https?://[^\"'& <]+", page)) <= {
        "http://www.w3.org/2000/svg",
        "https://example.org/x",
        "https://example.org/…",
    }
    assert "\u202e" not in page
    assert ("{{ 7*7 }}" in page) == (name == "hostile")


def test_a_card_tells_what_matters(log: Log) -> None:
    page = page_of(log, "usual")
    for words in (
        "Mill Lane tricycle, rear",
        "Out of its limits",
        "every spoke within 5 %",
        "none over 1250 N",
        "95 %",
    ):
        assert words in page
    for words in ("after 50 km", "tyre inflated, 300 kPa", "signature", "too slack", "How it was measured", "Cautions"):
        assert words in page
    assert "Keeps losing tension against its side: R5" in page
    assert page.count('<th scope="row">') == 36


def test_headings_come_in_order_and_tables_have_headers(log: Log) -> None:
    page = page_of(log, "usual")
    levels = [int(level) for level in re.findall(r"<h(\d)", page)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert set(levels[1:]) == {2}
    assert page.count("<caption>") == page.count("<table>") in (2, 4)
    assert page.count('role="img"') == page.count("<desc")
    identifiers = re.findall(r'\sid="([^"]+)"', page)
    assert len(identifiers) == len(set(identifiers))


@pytest.mark.parametrize(
    ("units", "numbers"), [("kgf", ('<th scope="col">kgf</th>', "none over 127 kgf")), ("lbf", ("lbf",))]
)
def test_a_card_is_in_the_units_set(log: Log, units: str, numbers: tuple[str, ...]) -> None:
    kept = kept_of(log)
    assert kept.reading is not None
    page = card_page(kept, in_units(kept.reading, units), None)  # type: ignore[arg-type]
    assert all(each in page for each in numbers)
    assert not re.search(r"\d N\b", page)


def contrast(one: str, two: str) -> float:
    """WCAG 2.2, relative luminance and contrast ratio."""

    def luminance(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((luminance(one), luminance(two)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_words_stand_out_in_light_and_dark(log: Log) -> None:
    page = page_of(log, "usual")
    schemes = [dict(re.findall(r"--(\w+):(#[0-9a-f]{3,6})", rules)) for rules in re.findall(r":root\{([^}]*)\}", page)]
    assert len(schemes) == 2
    for scheme in ({**schemes[0], "paper": "#ffffff", "tint": schemes[0]["tint"]}, schemes[1]):
        for role in ("ink", "quiet", "within", "out", "undecided", "limit"):
            assert contrast(scheme[role], scheme["paper"]) >= 4.5, role
        assert contrast(scheme["line"], scheme["paper"]) >= 3
        assert contrast(scheme["ink"], scheme["tint"]) >= 4.5
    assert all(
        contrast(ON_PAPER[role], "#ffffff") >= 4.5 for role in ("ink", "quiet", "within", "out", "undecided", "limit")
    )


def run(tmp_path: Path, page: str, *options: str) -> subprocess.CompletedProcess[str]:
    assert CHROMIUM
    file = tmp_path / "card.html"
    file.write_text(page, "utf-8")
    command = [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path / 'profile'}"]
    return subprocess.run([*command, *options, file.as_uri()], capture_output=True, text=True, timeout=60, check=True)


@needs_chromium
@pytest.mark.parametrize(
    ("name", "paper"), [("usual", "A4"), ("hostile", "A4"), ("hostile", "letter"), ("over", "letter")]
)
def test_a_card_prints_to_one_sheet(log: Log, tmp_path: Path, name: str, paper: str) -> None:
    page = page_of(log, name)
    assert "@page{margin:10mm}" in page
    sized = page.replace("@page{margin:10mm}", f"@page{{margin:10mm;size:{paper}}}")
    run(tmp_path, sized, "--no-pdf-header-footer", f"--print-to-pdf={tmp_path / 'card.pdf'}")
    assert len(re.findall(rb"/Type\s*/Page\b", (tmp_path / "card.pdf").read_bytes())) == 1


@needs_chromium
@pytest.mark.parametrize("name", ["usual", "hostile", "over"])
def test_nothing_is_cut_off_on_the_sheet(log: Log, tmp_path: Path, name: str) -> None:
    """The print rules on a screen as wide as a Letter sheet without its margins: all that is at the foot is to be seen."""
    page = re.sub(r"<meta http-equiv=\"Content-Security-Policy\"[^>]*>", "", page_of(log, name))
    assert "@media print{" in page
    sheet = page.replace("@media print{", "@media all{body{width:195mm}").replace(
        "@media (max-width:45rem)", "@media (max-width:1px)"
    )
    probe = (
        "<script>const e = document.querySelector('.ends'), m = document.querySelector('main');"
        "document.documentElement.setAttribute('data-probe', [e.scrollHeight - e.clientHeight, "
        "e.scrollWidth - e.clientWidth, m.scrollHeight - m.clientHeight, "
        "Math.round(m.offsetHeight * 25.4 / 96)].join(' '))</script></body>"
    )
    done = run(tmp_path, sheet.replace("</body>", probe), "--window-size=1000,1400", "--dump-dom")
    found = re.search(r'data-probe="(\S+) (\S+) (\S+) (\d+)"', done.stdout)
    assert found
    assert [int(found[at]) for at in (1, 2, 3)] == [0, 0, 0]
    assert 150 < int(found[4]) <= 257


#: Tells, in the page's own tree, how wide it is and what sticks out; put into a copy of the page without its policy.
PROBE = """<script>
const wide = document.documentElement.scrollWidth > window.innerWidth;
const out = [...document.querySelectorAll('main *')].filter(e => e.getBoundingClientRect().right > window.innerWidth + 1);
document.documentElement.setAttribute('data-probe', JSON.stringify({wide, out: out.length, title: document.title}));
</script></body>"""


@needs_chromium
@pytest.mark.parametrize(("name", "width"), [("usual", 1280), ("hostile", 500), ("hostile", 800)])
def test_a_card_has_no_horizontal_scroll_and_stays_inert(log: Log, tmp_path: Path, name: str, width: int) -> None:
    page = re.sub(r"<meta http-equiv=\"Content-Security-Policy\"[^>]*>", "", page_of(log, name)).replace(
        "</body>", PROBE
    )
    done = run(tmp_path, page, f"--window-size={width},1600", "--enable-logging=stderr", "--dump-dom")
    found = re.search(r'data-probe="([^"]*)"', done.stdout)
    assert found
    probe = json.loads(found[1].replace("&quot;", '"').replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&"))
    assert not probe["wide"]
    assert probe["out"] == 0
    assert probe["title"] not in ("run", "1")
    assert "CONSOLE" not in done.stderr


@needs_chromium
def test_a_phones_width_is_readable(log: Log, tmp_path: Path) -> None:
    """Headless windows are no narrower than 500 px, so the page is put into a frame of 390."""
    inner = page_of(log, "usual").replace("&", "&amp;").replace('"', "&quot;")
    probe = (
        "<script>onload = () => { const d = document.querySelector('iframe').contentDocument.documentElement;"
        "document.documentElement.setAttribute('data-probe', d.scrollWidth + ' ' + d.clientWidth) }</script>"
    )
    done = run(tmp_path, f'<iframe width="390" height="2000" srcdoc="{inner}"></iframe>{probe}', "--dump-dom")
    found = re.search(r'data-probe="(\d+) (\d+)"', done.stdout)
    assert found
    assert int(found[1]) <= int(found[2]) <= 390


@needs_chromium
@pytest.mark.skipif(not AXE, reason="TENSIONEAR_AXE does not name axe.min.js")
@pytest.mark.parametrize("name", READINGS)
def test_axe_finds_no_violation(log: Log, tmp_path: Path, name: str) -> None:
    page = re.sub(r"<meta http-equiv=\"Content-Security-Policy\"[^>]*>", "", page_of(log, name))
    code = Path(AXE).read_text("utf-8")
    ask = (
        "<script>axe.run().then(r => document.documentElement.setAttribute('data-axe', "
        "JSON.stringify(r.violations.map(v => v.id + ' ' + v.nodes[0].html.slice(0, 80)))))</script></body>"
    )
    done = run(
        tmp_path, page.replace("</body>", f"<script>{code}</script>{ask}"), "--virtual-time-budget=20000", "--dump-dom"
    )
    found = re.search(r'data-axe="([^"]*)"', done.stdout)
    assert found
    assert found[1] == "[]"


@pytest.mark.parametrize("name", ["usual", "hostile"])
def test_the_svg_stands_alone(log: Log, name: str) -> None:
    kept = kept_of(log)
    text = svg_file(card_picture(kept, READINGS[name]))
    root = ET.fromstring(text)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert not [each for each in root.iter() if each.tag.endswith(("script", "image", "foreignObject", "a"))]
    assert not re.search(r"href=|url\(|@import|@font-face", text)
    assert "R5" in text


def test_the_png_is_a_picture(log: Log) -> None:
    from PIL import Image

    image = Image.open(io.BytesIO(png_file(card_picture(kept_of(log), READINGS["hostile"]))))
    image.load()
    assert image.width > 1000
    assert image.text["Title"].startswith("<script>")  # type: ignore[attr-defined]
    colours = {colour for _, colour in image.getcolors(1 << 20) or ()}
    assert (0xB0, 0x40, 0x0E) in colours  # what is out is drawn


def test_the_table_is_safe_and_has_its_units() -> None:
    reading = wheel({9: 700.0, 5: None})
    rows = list(csv.DictReader(io.StringIO(spoke_table(reading))))
    assert tuple(rows[0]) == HEADING
    assert len(rows) == 36
    assert float(rows[8]["tension_n"]) == 700.0
    assert rows[4]["tension_n"] == ""
    assert rows[8]["state"] == "too slack"
    assert spoke_table(reading).count("\r\n") == 37


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\t=1", " =1", "\n=1", "\uff1d1"])
def test_no_cell_begins_like_a_formula(text: str) -> None:
    assert safe(text).startswith("'")
    assert "\n" not in safe(text)


def test_usual_words_stay_as_they_are() -> None:
    assert safe("too slack; 5-mm nick") == "too slack; 5-mm nick"


def test_the_other_readings_of_the_sitting_stand_on_the_card(tmp_path: Path) -> None:
    """Kept with the round they were given to, with their units, a user's words escaped."""
    log = Log(tmp_path / "rounds.sqlite")
    sheet = {"lateral_range_mm": 0.4, "mass_g": 980.0, "notes": "nipples dry <b>"}
    kept = log.load(log.save(replace(wheel(), sheet=sheet), Asked()))
    page = card_page(kept, kept.reading, None)
    for told in ("lateral range", "0.4 mm", "980 g", "nipples dry &lt;b&gt;"):
        assert told in page
