"""Sentences in inches and °F beside mm and °C; the answers themselves stay as they are."""

from __future__ import annotations

import json
import re

import pytest

from warmbranch_service.command.cli import main
from warmbranch_service.contract.own_units import in_both, measures_in_inches
from warmbranch_service.demo import demo_text


@pytest.mark.parametrize(
    ("sentence", "expected"),
    [
        ("Build it 1301 mm long.", "Build it 1301 mm (51.2 in) long."),
        ("the gas is at 310 °C", "the gas is at 310 °C (590 °F)"),
        ("good to 200 to 260 °C;", "good to 200 to 260 °C (392 to 500 °F);"),
        # A difference has no zero of a thermometer.
        ("allow 60 °C more for", "allow 60 °C (110 °F) more for"),
        ("shows 12 K less", "shows 12 K (22 °F) less"),
        ("takes 900 × 300 × 220 mm", "takes 900 × 300 × 220 mm (35.4 × 11.8 × 8.66 in)"),
        ("A pinhole of 1 mm", "A pinhole of 1 mm (0.039 in)"),
        ("f·d/U = 0.62 at 17 m/s.", "f·d/U = 0.62 at 17 m/s (38 mph)."),
        ("a film of 12 W/m2K, 90 % of it, 2350 rpm", "a film of 12 W/m2K, 90 % of it, 2350 rpm"),
    ],
)
def test_sentences(sentence, expected):
    assert in_both(sentence) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ('{"length_mm": "48 in"}', True),
        ('{"gas_temperature_degC": "590 F"}', True),
        ('{"gas_temperature_degC": "590°F"}', True),
        ('{"wall_thickness_mm": "16 ga"}', True),
        ('{"air_speed_m_s": "60 mph"}', True),
        ('{"surface": "weathered stainless", "length_mm": 48}', False),
        ('{"length_mm": "1200 mm", "name": "F"}', False),
    ],
)
def test_who_measures_in_inches(text, expected):
    assert measures_in_inches(text.encode()) is expected


def test_the_command_line_speaks_as_the_request_does(tmp_path, capsys):
    van = json.loads(demo_text("van"))
    plain = tmp_path / "mm.json"
    plain.write_text(json.dumps(van))
    van["case"]["main_pipe"]["gas_temperature_degC"] = "590 F"
    inches = tmp_path / "inches.json"
    inches.write_text(json.dumps(van))

    def said(*arguments: str) -> str:
        assert main(["steady", *arguments]) == 0
        return capsys.readouterr().out

    assert " in)" not in said(str(plain))
    told = said(str(inches), "--full")
    # No sentence of the cautions is left with half of its numbers.
    cautions = " ".join(told.partition("Cautions")[2].split())
    for found in re.finditer(r"\d (mm|°C|K)\b(?! \()", cautions):
        raise AssertionError(cautions[max(0, found.start() - 40) : found.end() + 20])
    assert " in)" in cautions
    assert " in)" in said(str(plain), "--units", "both")
    assert " in)" not in said(str(inches), "--units", "mm")
    # What programs read does not change.
    assert said(str(inches), "--json") == said(str(inches), "--json", "--units", "mm")
