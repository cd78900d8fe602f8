"""The same answer on the command line, as text, JSON and CSV."""

from __future__ import annotations

import csv
import io
import json

import pytest

from shared.posting import leaves
from warmbranch_service.command import cli
from warmbranch_service.contract.answer_csv import HEADER
from warmbranch_service.length.answer_schema import LengthAnswer
from warmbranch_service.length.examples import example_text


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "cut.json"
    path.write_text(example_text("length"), encoding="utf-8")
    return str(path)


def test_text(file, capsys):
    assert cli.main(["length", file]) == 0
    text = capsys.readouterr().out
    assert text.startswith("Right length")
    for heading in ("Trim", "Cut list, as built", "Notch", "Tube", "Space", "Place", "Mind"):
        assert f"\n{heading}" in text
    assert max(len(line) for line in text.splitlines()) <= 80


def test_text_of_a_compromise(tmp_path, capsys):
    path = tmp_path / "loudness.json"
    path.write_text(example_text("loudness"), encoding="utf-8")
    assert cli.main(["length", str(path)]) == 0
    text = capsys.readouterr().out
    for heading in ("Operating points", "Loudness", "Two branches"):
        assert f"\n{heading}" in text


def test_json_is_the_services_own(file, capsys, van_answer):
    assert cli.main(["length", file, "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer == van_answer
    assert LengthAnswer.model_validate(answer).form == 1


def test_csv_holds_every_number_of_the_json(file, capsys, van_answer):
    assert cli.main(["length", file, "--csv"]) == 0
    rows = list(csv.reader(io.StringIO(capsys.readouterr().out)))
    assert tuple(rows[0]) == HEADER
    assert all(len(row) == len(HEADER) for row in rows)
    found = {(section, row, field): (value, unit) for section, row, field, value, unit in rows[1:]}
    assert len(found) == len(rows) - 1
    assert found["length", "", "centreline_length_mm"] == (
        str(van_answer["centreline_length_mm"]),
        "mm",
    )
    assert found["length", "", "rpm_per_mm"][1] == "rpm/mm"
    for number, step in enumerate(van_answer["trim_steps"], start=1):
        assert found["trim_steps", str(number), "quiet_rpm"] == (str(step["quiet_rpm"]), "rpm")
    for number, cut in enumerate(van_answer["cut_list"], start=1):
        assert found["cut_list", str(number), "to_mm"] == (str(cut["to_mm"]), "mm")
        assert found["cut_list", str(number), "instruction"][0] == cut["instruction"]
    assert found["outline.envelope", "", "width_mm"][0] == str(
        van_answer["outline"]["envelope"]["width_mm"]
    )
    numbers = [v for v in leaves(van_answer) if type(v) in (int, float)]
    assert sum(_is_number(value) for value, _ in found.values()) == len(numbers)


def _is_number(text):
    try:
        float(text)
    except ValueError:
        return False
    return True


def test_csv_or_json(file, capsys):
    assert cli.main(["length", file, "--json", "--csv"]) == 2
    assert "one of them is allowed" in capsys.readouterr().err


def test_refusals_on_the_command_line(tmp_path, capsys):
    path = tmp_path / "cut.json"
    path.write_text(example_text("length").replace("2350", "200"), encoding="utf-8")
    assert cli.main(["length", str(path)]) == 2
    assert "target.quiet_rpm" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["length", "loudness"])
def test_examples_to_start_from(name, capsys):
    assert cli.main(["example", name]) == 0
    assert capsys.readouterr().out == example_text(name)
