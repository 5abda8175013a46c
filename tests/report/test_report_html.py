"""The page: complete in itself, harmless, the same every time."""

import base64
import re
from html import unescape
from xml.etree import ElementTree

import pytest
from hand_built import MARKUP_NAME, SCRIPT_NAME, evaluation, without_pictures
from page_outline import outline

from locbench.report import headline, report_html
from locbench.report.wording import CAUTION
from locbench.results import results_json, tracks_json
from locbench.units import UnitSystem

METRIC, IMPERIAL = UnitSystem.METRIC, UnitSystem.IMPERIAL
PAGES: dict[tuple[str, str, UnitSystem], str] = {}


def page(found, system=METRIC) -> str:
    """The page; drawing takes most of the time, so the same contents are drawn once."""
    key = (results_json(found.results), tracks_json(found.tracks), system)
    if key not in PAGES:
        PAGES[key] = report_html(found.results, found.tracks, system)
    return PAGES[key]


@pytest.mark.parametrize("evidence", ["A", "B", "C", "D"])
def test_the_page_is_well_formed_and_starts_with_the_answer(evidence):
    found = evaluation(evidence)
    text = page(found)
    outline(text)
    answer = unescape(re.search(r'<p class="answer">(.*?)</p>', text, re.DOTALL)[1]).replace("\u00a0", " ")
    assert answer == headline(found.results, METRIC)
    assert text.index('class="answer"') < text.index("<h2")


def test_names_are_escaped(evaluation_a):
    text = page(evaluation_a)
    assert SCRIPT_NAME not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text
    assert "<b>0.4</b>" not in text
    assert MARKUP_NAME in text


def test_nothing_is_run_or_requested(evaluation_a):
    text = page(evaluation_a)
    parsed = outline(text)
    assert {tag for tag, _ in parsed.tags}.isdisjoint({"script", "link", "iframe", "object", "embed", "form"})
    for _, attributes in parsed.tags:
        for name in ("src", "href"):
            assert attributes.get(name, "#").startswith(("data:image/svg+xml;base64,", "#"))
        assert not any(name.startswith("on") or name == "style" for name in attributes)
    assert "http://" not in text
    assert "https://" not in text
    assert "url(" not in text


def test_the_content_policy_forbids_what_the_page_does_not_need(evaluation_a):
    policies = [a["content"] for tag, a in outline(page(evaluation_a)).tags if a.get("http-equiv")]
    assert policies == ["default-src 'none'; img-src data:; style-src 'unsafe-inline'"]


def test_pictures_are_svg_with_alternative_text(evaluation_a):
    pictures = [a for tag, a in outline(page(evaluation_a)).tags if tag == "img"]
    assert len(pictures) == 4
    for attributes in pictures:
        assert len(attributes["alt"]) > 20
        svg = base64.b64decode(attributes["src"].partition(",")[2])
        assert ElementTree.fromstring(svg).tag.endswith("svg")
        assert b"<script" not in svg


def test_tables_have_scopes_and_captions(evaluation_a):
    parsed = outline(page(evaluation_a))
    heads = [attributes for tag, attributes in parsed.tags if tag == "th"]
    assert {attributes["scope"] for attributes in heads} == {"col", "row"}
    names = [tag for tag, _ in parsed.tags]
    assert names.count("caption") == names.count("table")
    assert parsed.tags[0] == ("html", {"lang": "en"})


def test_the_order_of_the_page(evaluation_a):
    text = page(evaluation_a)
    places = [
        text.index(part)
        for part in (
            'class="answer"',
            '<h2 id="next"',
            "Caution.",
            "How far off</caption>",
            "Shots aimed from",
            "<h3>Pictures",
            "Findings in the log</caption>",
            '<h2 id="methods"',
            "Made by locbench 0.1.0",
        )
    ]
    assert places == sorted(places)


def test_methods_reasons_and_caution_are_told(evaluation_a):
    text = unescape(page(evaluation_a))
    assert "root mean square; chi-square interval." in text
    assert "no interval: these are worth 2.1 independent ones" in text
    assert CAUTION in text


def test_the_same_input_gives_the_same_bytes(evaluation_a):
    again = report_html(evaluation_a.results, evaluation_a.tracks, METRIC)
    assert page(evaluation_a).encode() == again.encode()


def test_imperial_page_has_no_metric_length(evaluation_a):
    text = re.sub(r'src="[^"]*"', "", page(evaluation_a, IMPERIAL))
    assert "RMS in" in text
    assert not re.search(r"\d[\s\u00a0]mm\b", text)


def test_several_sessions_are_listed_and_pooled(evaluation_of_two):
    text = page(evaluation_of_two)
    outline(text)
    assert '<a href="#pooled">All sessions together</a>' in text
    assert '<a href="#session-2">&lt;script&gt;' in text
    assert text.count("<img ") == 8


def test_a_session_without_tracks_has_no_pictures(evaluation_a):
    assert "<img" not in report_html(evaluation_a.results, without_pictures(evaluation_a.tracks), METRIC)


def test_next_steps_come_before_the_list_of_sessions(evaluation_of_two):
    text = page(evaluation_of_two)
    assert text.index('<h2 id="next"') < text.index("<nav") < text.index('<h2 id="pooled"')


def test_verdicts_share_a_column(evaluation_a):
    text = page(evaluation_a)
    assert "helped/hurt<br><small>/neutral/undecided</small>" in text
    assert ">2/1/1/0</td>" in text


def test_drift_of_corrected_estimators_is_not_called_growth(evaluation_a):
    text = page(evaluation_a)
    caption = re.search(r"<caption>Drift over segments between references(.*?)</caption>", text)[1]
    assert "how much the error changes from one reference to the next" in caption
    alone = evaluation_a.results.sessions[0].model_copy(
        update={
            "estimators": {"dead_reckoning": evaluation_a.results.sessions[0].estimators["dead_reckoning"]},
        }
    )
    results = evaluation_a.results.model_copy(update={"sessions": [alone]})
    assert "how much the error changes" not in report_html(results, without_pictures(evaluation_a.tracks), METRIC)


def test_every_estimator_has_its_table_of_shots(evaluation_a):
    text = unescape(page(evaluation_a))
    for name in evaluation_a.results.sessions[0].estimators:
        assert f"<caption>Shots aimed from {name} (measured)</caption>" in text
