"""The report's file: its sections, the chart below, and nothing that a name could smuggle in."""

import json
import re
from dataclasses import replace

from overwinter.show.report_html import report_html
from overwinter.show.report_words import report_page
from tests.reckon.houses import SITE
from tests.show.pictures import a_day, drawn
from tests.show.test_picture_html import PARTS
from tests.show.test_report_words import REPORT, when


def test_it_has_every_section_the_chart_and_its_data() -> None:
    shown = report_page(REPORT, when=when, foot="Made by hand.")

    text = report_html(shown, drawn(a_day()), PARTS)

    for section in shown.sections:
        assert f"<h2>{section.title}</h2>" in text
    assert '<svg xmlns="http://www.w3.org/2000/svg"' in text
    found = re.search(r'<script type="application/json" id="picture">(.*?)</script>', text)
    assert found is not None
    assert json.loads(found[1])["unit"] == "C"
    assert "Made by hand." in text


def test_names_are_text_and_scripts_stay_whole() -> None:
    evil = "</script><script>alert(1)</script>"
    shown = report_page(replace(REPORT, site=replace(SITE, name=evil)), when=when)

    text = report_html(shown, drawn(a_day(), house=evil), PARTS)

    assert evil not in text
    assert text.count("<script") == text.count("</script>") == 3


def test_it_forbids_itself_to_fetch_and_without_a_picture_has_no_script() -> None:
    text = report_html(report_page(REPORT, when=when), None, PARTS)

    assert "Content-Security-Policy" in text
    assert "default-src 'none'" in text
    assert "<script" not in text
    assert 'id="chart"' not in text
