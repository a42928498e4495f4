"""The report in a real browser: opens without a complaint or a request, points, pins, sorts, filters and prints."""

import copy
import json
import re
from html import escape as shown_text

import chromium
import pytest
from tapewright.benchmarks.evidence import evidence, harshest
from tapewright.benchmarks.records import records
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.trials import run
from tapewright.files.programs import read_program
from tapewright.reports.report_page import in_script, plotting_script, report_page

HOSTILE = "<b>x</b></script><script>document.title='taken'</script><img src=x onerror=\"open('taken')\">&amp;'\"`${1}"
READY = "document.body && document.body.dataset.ready === 'true'"


def record_of(rows, found, verdict=()):
    made = {"version": "tapewright 0", "command": f"tapewright report {HOSTILE}"}
    return {"rows": rows, "evidence": found, "verdict": list(verdict), "harshest": harshest(rows), "made": made}


@pytest.fixture(scope="session")
def record():
    """Two formats over two channels, one of which the denser cannot bear, and what lies behind them."""
    program = read_program("chime").data
    study = Study(program, "chime", ("plain-biphase", "dense-worn"), ("sound",), ("worn", "portable-worn"), trials=3)
    rows = [row.as_json() for row in records(study, run(study))]
    return record_of(rows, evidence(rows, [program], 1))


@pytest.fixture(scope="session")
def hostile_record(record):
    """The same with names that try to break out of wherever they are put, and are longer than any window is wide."""
    told = copy.deepcopy(record)
    for row in told["rows"]:
        row["channel"] += HOSTILE + "n" * 10_000
        row["program"] = HOSTILE + "n" * 10_000
        row["codec_spec"] += HOSTILE + "n" * 10_000
        row["load_success"]["method"] = "m" * 10_000
        row["versions"] = {"v" * 10_000: "w" * 10_000}
        if row["codec"] == "dense-worn":
            row["codec"] = HOSTILE
    for entry in told["evidence"]:
        entry["anatomy"]["told"] = [{"what": HOSTILE, "tapes": 1}]
        for curve in entry.get("sweeps", ()):
            curve["knob"] += HOSTILE
    told["evidence"][0] = {"bounds": told["evidence"][0]["bounds"], "unseen": HOSTILE}
    return record_of(told["rows"], told["evidence"], [HOSTILE])


@pytest.fixture(scope="session")
def browser(tmp_path_factory):
    program = chromium.found()
    if program is None:
        pytest.skip("no Chromium is installed, in which pages could be opened")
    opened = chromium.Chromium(program, tmp_path_factory.mktemp("profile"))
    yield opened
    opened.close()


@pytest.fixture
def shown(browser, tmp_path):
    """Open a page made of a record, or a text, at a width."""
    pages = []

    def open_page(content, width=1440, ready=READY):
        path = tmp_path / "report.html"
        path.write_text(content if isinstance(content, str) else report_page(content), encoding="utf-8")
        page = browser.page()
        pages.append(page)
        page.size(width, 900)
        page.open(path, ready)
        return page

    yield open_page
    for page in pages:
        page.close()


@pytest.fixture(scope="session")
def one_page(browser, record, tmp_path_factory):
    """The report, opened once at 1440 pixels: reading the plotting library takes a second."""
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(report_page(record), encoding="utf-8")
    page = browser.page()
    page.size(1440, 900)
    page.open(path, READY)
    yield page
    page.close()


@pytest.fixture
def page(one_page):
    """That page as it is when opened, but for the table: the harshest channel, both of its formats pinned."""
    one_page.run("document.querySelectorAll('#channels input')[1].click()")
    one_page.run("document.querySelectorAll('.slot h3 button').forEach(unpin => unpin.click())")
    for place in (2, 3):
        one_page.run(f"document.querySelector('#keys [data-row=\"{place}\"]').click()")
    one_page.run("document.activeElement.blur()")
    one_page.move(0, 0)
    yield one_page
    one_page.listen()
    assert (one_page.console, one_page.requests) == ([], [])


def place_of(page, number):
    """Where the marker of that trace stands in the window."""
    selector = f"document.querySelectorAll('#frontier-plot .scatterlayer .trace')[{number}].querySelector('.point')"
    page.run(f"{selector}.scrollIntoView({{block: 'center'}})")
    return page.run(f"(box => [box.x + box.width / 2, box.y + box.height / 2])({selector}.getBoundingClientRect())")


def pinned(page):
    return page.run("[...document.querySelectorAll('.slot')].map(slot => Number(slot.dataset.row))")


LONG_FACT = """(() => {
    const fact = document.querySelector(".facts b"), told = fact.textContent;
    fact.textContent = "relays:set=graded_12v,table=clock_tower_overlapped".repeat(8);
    const width = document.documentElement.scrollWidth;
    fact.textContent = told;
    return width;
})()"""


@pytest.mark.parametrize("width", [390, 1440])
def test_opens_without_a_complaint_without_a_request_and_fits(shown, record, width):
    page = shown(record, width)
    page.wait("document.querySelectorAll('.js-plotly-plot').length === 4")
    page.listen()
    assert (page.console, page.requests) == ([], [])
    assert page.run("document.documentElement.scrollWidth") == width
    # The name of a receiver is one word, as long as the specs of its files make it.
    assert page.run(LONG_FACT) == width
    cut = """[...document.querySelectorAll('.slot, .plot, #keys button, audio, h1, p, .facts')]
        .filter(one => one.getBoundingClientRect().right > innerWidth).length"""
    assert page.run(cut) == 0


def test_a_page_that_complains_or_asks_is_caught(shown):
    """The other tests' ears: an error, a refused script and a request must each be heard."""
    page = shown(
        "<title>x</title><script>console.error('wrong'); setTimeout(() => { throw new Error('thrown') })</script>"
        "<img src='http://nowhere.invalid/a.png'><script>document.title = 'ready'</script>",
        ready="document.title === 'ready' && document.readyState === 'complete'",
    )
    page.listen()
    assert page.requests == ["http://nowhere.invalid/a.png"]
    assert "wrong" in page.console
    assert any("thrown" in told for told in page.console)
    assert any("Failed to load resource" in told for told in page.console)


def test_the_page_forbids_requests_by_itself(shown, record):
    page = shown(report_page(record).replace("</header>", "</header><img src='http://nowhere.invalid/b.png'>", 1))
    page.listen()
    assert any("Content Security Policy" in told for told in page.console)


def test_pointing_shows_the_spec_and_clicking_pins(page, record):
    assert pinned(page) == [2, 3]  # the harshest channel's rows
    spec = record["rows"][2]["codec_spec"]
    assert spec not in page.run("document.getElementById('pointed').textContent")
    x, y = place_of(page, 0)
    page.move(x, y)
    page.wait(f"document.getElementById('pointed').textContent.includes({json.dumps(spec)})")
    page.wait("document.querySelector('#frontier-plot .hoverlayer text')")
    hovered = page.run("document.querySelector('#frontier-plot .hoverlayer').textContent")
    assert "plain-biphase" in hovered
    assert spec[:40] in hovered
    page.click(x, y)
    page.wait("document.querySelectorAll('.slot').length === 1")
    assert pinned(page) == [3]


def test_the_keyboard_points_and_pins(page):
    page.run("document.getElementById('frontier-plot').focus()")
    page.press("ArrowRight")
    page.press("ArrowRight")
    page.wait("document.getElementById('pointed').textContent.includes('dense-worn')")
    page.press("Enter")
    assert pinned(page) == [2]
    page.press("Enter")
    assert pinned(page) == [2, 3]
    page.press("Tab")
    assert page.run("document.activeElement.closest('#keys') !== null")
    page.press(" ")
    assert pinned(page) == [3]
    assert page.run("document.activeElement.getAttribute('aria-pressed')") == "false"


def test_another_channel_is_shown_on_request(page):
    page.run("document.querySelectorAll('#channels input')[0].click()")
    page.wait("[...document.querySelectorAll('#keys button')].map(key => key.dataset.row).join() === '0,1'")
    page.run("document.querySelector('#keys [data-row=\"0\"]').click()")
    assert 0 in pinned(page)


def test_the_table_sorts_and_filters(page):
    lines = "[...document.querySelectorAll('#table tbody tr')]"
    order = f"{lines}.filter(row => !row.hidden).map(row => Number(row.dataset.row))"
    assert page.run(order) == [0, 1, 2, 3]
    speed = "[...document.querySelectorAll('#table thead button')].find(one => one.textContent === 'useful bytes/s')"
    page.run(f"{speed}.click()")
    assert page.run(order) == [0, 2, 1, 3]
    page.run(f"{speed}.click()")
    assert page.run(order) == [1, 3, 0, 2]
    assert page.run(f"{speed}.closest('th').getAttribute('aria-sort')") == "descending"
    page.run(f"{lines}.forEach(row => row.cells[2].dataset.sort = {{0: 9, 1: 100, 2: 20, 3: -1}}[row.dataset.row])")
    page.run(f"{speed}.click()")
    assert page.run(order) == [3, 0, 2, 1]  # as numbers, not as words
    page.run("document.getElementById('filter-text').focus()")
    page.type("BIPHASE worn")
    assert sorted(page.run(order)) == [0, 2]
    page.run("document.getElementById('filter-channel').value = 'portable-worn'")
    page.run("document.getElementById('filter-channel').dispatchEvent(new Event('input'))")
    assert page.run(order) == [2]
    assert page.run("document.getElementById('filter-count').textContent") == "1 of 4 rows"
    page.run("document.querySelector('#table tbody tr:not([hidden]) .pin').click()")
    assert 2 not in pinned(page)


def test_sound_starts_only_when_asked_and_quietly(page):
    clips = page.run("[...document.querySelectorAll('audio')].map(one => [one.paused, one.autoplay, one.volume])")
    assert len(clips) == 4
    assert all(paused and not autoplay and volume <= 0.2 for paused, autoplay, volume in clips)
    page.run("document.querySelector('audio').load()")
    page.wait("document.querySelector('audio').duration > 2")


def test_losses_are_told_and_the_bits_are_drawn(page):
    dense = page.run("document.querySelector('.slot[data-row=\"3\"]').textContent")
    assert "3 of 3 lost tapes" in dense
    assert "level and treble3 alone" in dense
    bits = page.run("document.querySelectorAll('#wave-1 .textpoint, #wave-1 .scatterlayer .text text').length")
    assert bits >= 32


def test_hostile_names_stay_text(shown, hostile_record):
    page = shown(hostile_record, 390)
    assert page.run("document.documentElement.scrollWidth") == 390
    page.run("document.querySelectorAll('#keys button').forEach(key => { key.focus(); key.click(); key.click(); })")
    page.listen()
    assert (page.console, page.requests) == ([], [])
    assert page.run("document.title").startswith("Tape formats for <b>x</b></script><script>")
    page.run("document.querySelector('#keys [data-row=\"3\"]').focus()")
    hovered = "document.querySelector('#frontier-plot .hoverlayer').textContent"
    page.wait(f"{hovered}.includes('bytes/s')")
    assert HOSTILE[:30] in page.run(hovered)
    assert page.run("document.querySelectorAll('img').length") == 0
    assert page.run("document.querySelectorAll('script').length") == 3
    assert HOSTILE in page.run("document.getElementById('rows').textContent")
    assert HOSTILE in page.run("document.getElementById('slots').textContent")


def test_the_channels_whose_knobs_were_turned_are_chosen_by_name(page, record, shown):
    assert page.run("document.querySelectorAll('#sweeps-channels input').length") == 0
    told = "document.getElementById('sweeps-text').textContent"
    assert "Not turned: the figures of worn; report --over all" in page.run(told)
    both = copy.deepcopy(record)
    both["evidence"][0] |= {key: both["evidence"][2][key] for key in ("sweeps", "sweep_tapes")}
    # A row that its receiver refused is not drawn and takes up no look.
    none = {"trials": 0, "right": 0, "detected": 0, "silent": 0, "load_success": None, "residual_byte_error_rate": None}
    both["rows"].insert(0, {**both["rows"][0], **none, "receiver": "relays", "on_frontier": False})
    both["evidence"].insert(0, {"bounds": None, "unseen": "no tape was played"})
    page = shown(both)
    looks = page.run("[...document.querySelectorAll('#table .pin span')].map(one => one.textContent)")
    assert looks == ["\u2013", "\u25cf", "\u25a0", "\u25cf", "\u25a0"]
    assert "over portable-worn as" in page.run(told)
    page.run("document.querySelectorAll('#sweeps-channels input')[0].click()")
    assert "over worn as" in page.run(told)
    assert "Not turned" not in page.run(told)
    page.listen()
    assert (page.console, page.requests) == ([], [])


def test_prints_with_its_figures(page):
    printed = page.printed()
    assert printed.startswith(b"%PDF")
    assert 2 <= printed.count(b"/Type /Page\n") + printed.count(b"/Type /Page ") <= 12


def test_every_figure_stands_in_the_page_without_its_script(record):
    page = report_page(record).partition("<script")[0]
    for row in record["rows"]:
        assert f"{row['useful_bytes_per_s']:.1f}" in page
        assert row["program_sha256"] in page
    assert "--codec plain-biphase --codec dense-worn --receiver sound --channel worn --channel portable-worn" in page


def test_json_in_a_script_cannot_end_it():
    """HTML Living Standard, section 4.12.1.3: what a script element may hold; no '<' is left, so none of its states
    is ever entered.
    """
    told = in_script({HOSTILE: ["<!--", "]]>", "\u2028"]})
    assert not set("<>&\u2028") & set(told)
    assert json.loads(told) == {HOSTILE: ["<!--", "]]>", "\u2028"]}


def test_the_page_names_no_other_place(record):
    """Outside the plotting library no address stands in it that could be asked."""
    ours = report_page(record).replace(plotting_script(), "")
    assert not re.search(r"https?://|//[a-z]+\.|url\(|@import|<link", ours.replace(shown_text(HOSTILE), ""))
