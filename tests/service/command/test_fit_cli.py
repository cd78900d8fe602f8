"""``warmbranch fit`` and readings as a table."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from warmbranch_service.command.cli import FAILED, OK, REFUSED, main
from warmbranch_service.contract.errors import Problem
from warmbranch_service.demo import demo_text
from warmbranch_service.fit.readings_csv import rows, with_readings

FIXTURES = Path(__file__).parents[3] / "fixtures"
TABLE = FIXTURES / "readings" / "camper_van.csv"


@pytest.fixture
def van_file(tmp_path) -> str:
    file = tmp_path / "van.json"
    file.write_text(demo_text("van"), encoding="utf-8")
    return str(file)


def test_table_of_readings_is_fitted(van_file, capsys):
    assert main(["fit", van_file, "--readings", str(TABLE)]) == OK
    printed = capsys.readouterr().out
    for said in (
        "Prediction",
        "Readings, °C",
        "Unknowns",
        "What the data cannot tell",
        "listening",
    ):
        assert said in printed
    assert max(map(len, printed.splitlines())) <= 100


def test_json_is_the_services_answer(van_file, capsys, client):
    assert main(["fit", van_file, "--readings", str(TABLE), "--json"]) == OK
    printed = json.loads(capsys.readouterr().out)
    body = with_readings(json.loads(demo_text("van")), TABLE.read_text(encoding="utf-8"))
    assert printed == client.post("/v1/fit", json=body).json()


def test_common_practice_prints_its_trim(capsys):
    assert main(["fit", str(FIXTURES / "readings" / "common_practice.json")]) == OK
    printed = " ".join(capsys.readouterr().out.split())
    assert "cut" in printed
    assert "mm now" in printed
    assert "the cold tail" in printed


def test_calibration_is_written(van_file, tmp_path, capsys):
    out = tmp_path / "calibration.json"
    assert main(["fit", van_file, "--readings", str(TABLE), "--calibration", str(out)]) == OK
    capsys.readouterr()
    learned = json.loads(out.read_text(encoding="utf-8"))
    body = json.loads(demo_text("van"))
    body["case"]["closures"] = {"calibration": learned}
    again = tmp_path / "again.json"
    again.write_text(json.dumps(body), encoding="utf-8")
    assert main(["steady", str(again), "--json"]) == OK
    assert json.loads(capsys.readouterr().out)["prediction"]["quiet_rpm"]["median"] > 0


def test_impossible_readings_name_their_field(van_file, tmp_path, capsys):
    table = tmp_path / "r.csv"
    table.write_text("position_mm,displayed_degC,thermometer\n9000,60,contact\n", encoding="utf-8")
    assert main(["fit", van_file, "--readings", str(table)]) == REFUSED
    assert "line 2" in capsys.readouterr().err


@pytest.mark.parametrize("missing", ["--readings", "FILE"])
def test_missing_files_are_refused(van_file, capsys, missing):
    given = ["fit", van_file, "--readings", "nowhere.csv"]
    if missing == "FILE":
        given = ["fit", "nowhere.json"]
    assert main(given) == REFUSED
    assert "nowhere" in capsys.readouterr().err


def test_a_table_that_is_not_text_is_refused(van_file, tmp_path, capsys):
    table = tmp_path / "r.csv"
    table.write_bytes(b"\xff\xfe\x00")
    assert main(["fit", van_file, "--readings", str(table)]) == REFUSED
    assert "UTF-8" in capsys.readouterr().err


def test_a_calibration_that_cannot_be_written_is_told(van_file, tmp_path, capsys):
    nowhere = tmp_path / "no" / "such.json"
    assert main(["fit", van_file, "--calibration", str(nowhere)]) == REFUSED
    assert "cannot be written" in capsys.readouterr().err


def test_a_model_failure_is_no_refusal(van_file, monkeypatch, capsys):
    from warmbranch.base.errors import NotConvergedError
    from warmbranch_service.fit import answer

    def fails(_: object) -> None:
        raise NotConvergedError("It did not.", designs=(0,), residual=1.0, iterations=9)

    monkeypatch.setattr(answer, "answer_fit", fails)
    assert main(["fit", van_file]) == FAILED
    assert "It did not." in capsys.readouterr().err


def test_cells_become_numbers_words_and_truth():
    table = (
        "# a remark\n\nposition_mm; displayed_degC;surface;takes_off_reflection\n"
        "120; 86.5;matt black paint;FALSE\n10 in;;;true\n"
    )
    assert [row.reading for row in rows(table)] == [
        {
            "thermometer": "infrared",
            "position_mm": 120.0,
            "displayed_degC": 86.5,
            "surface": "matt black paint",
            "takes_off_reflection": False,
        },
        {"thermometer": "infrared", "position_mm": "10 in", "takes_off_reflection": True},
    ]


def test_tabulators_separate_too():
    (row,) = rows("position_mm\tthermometer\n5\tcontact\n")
    assert row.reading == {"position_mm": 5.0, "thermometer": "contact"}


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ("", "empty"),
        ("# only a remark\n", "empty"),
        ("pos,position\n1,2\n", "two columns are position_mm"),
        ("colour,pos\n1,2\n", 'a column "colour"'),
        ("pos,temp\n1,2,3\n", "line 2 has 3 cells for 2 headings"),
    ],
)
def test_what_is_no_table_is_refused(table, says):
    with pytest.raises(Problem) as refused:
        rows(table)
    assert says in refused.value.parts.detail


def test_table_follows_the_readings_of_the_body():
    body = {"readings": [{"position_mm": 1}]}
    assert with_readings(body, "position_mm\n2\n")["readings"] == [
        {"position_mm": 1},
        {"thermometer": "infrared", "position_mm": 2.0},
    ]
    assert with_readings([1], "position_mm\n2\n") == [1]
    assert with_readings({"readings": 3}, "position_mm\n2\n") == {"readings": 3}
