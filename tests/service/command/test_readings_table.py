"""Readings as people keep them: every spreadsheet's way of saving, and every slip told."""

from __future__ import annotations

import pytest

from warmbranch_service.command.cli import OK, REFUSED, main
from warmbranch_service.command.terminal import read_text
from warmbranch_service.contract.errors import Problem
from warmbranch_service.demo import demo_text
from warmbranch_service.fit.readings_csv import rows

PLAIN = [(120.0, 152.4), (450.0, 77.9)]


@pytest.fixture
def van_file(tmp_path) -> str:
    file = tmp_path / "van.json"
    file.write_text(demo_text("van"), encoding="utf-8")
    return str(file)


@pytest.fixture
def refused(tmp_path, capsys, van_file):
    """What is said of a table's bytes, in a file of a name."""

    def said(content: bytes, name: str = "r.csv") -> str:
        path = tmp_path / name
        path.write_bytes(content)
        assert main(["fit", van_file, "--readings", str(path)]) == REFUSED
        found = capsys.readouterr()
        assert found.out == ""
        assert "Traceback" not in found.err
        return " ".join(found.err.split())

    return said


@pytest.mark.parametrize(
    "table",
    [
        "position_mm,displayed_degC\n120,152.4\n450,77.9\n",
        "Position,Temperature\n120,152.4\n450,77.9\n",
        "POS (mm),Temp °C\n120,152.4\n450,77.9\n",
        "from mouth [mm];reading\n120;152,4\n450;77,9\n",
        "Position\tdeg C\n120\t152,4\n450\t77,9\n",
        "mm,°C\n120,152.4\n450,77.9\n",
        "Nr,Position,Temp,Notes\n1,120,152.4,behind the bend\n2,450,77.9,\n",
        "Position,Temp,,\n120,152.4,,\n,,,\n450,77.9,,\n",
        "# in the yard\n\nposition,temp\n120,152.4\n450,77.9\n",
    ],
)
def test_headings_are_matched_loosely(table):
    found = [(r["position_mm"], r["displayed_degC"]) for _, r in rows(table)]
    assert found == PLAIN
    assert all(row.reading["thermometer"] == "infrared" for row in rows(table))


@pytest.mark.parametrize(
    ("heading", "field", "value"),
    [
        ("position (in)", "position_mm", "4.7 in"),
        ("Temp (°F)", "displayed_degC", "4.7 F"),
        ("temperature fahrenheit", "displayed_degC", "4.7 F"),
        ("time (min)", "time_s", "4.7 min"),
        ("time (s)", "time_s", 4.7),
        ("Emissivity set", "emissivity_set", 4.7),
        ("emissivity", "emissivity", 4.7),
        ("uncertainty (K)", "uncertainty_K", 4.7),
    ],
)
def test_a_unit_in_the_heading_goes_with_every_cell(heading, field, value):
    (row,) = rows(f"{heading}\n4.7\n")
    assert row.reading[field] == value


SAVED = "Position;Temp °C;Notes\r\n120;152,4;Rohr üblich\r\n450;77,9;\r\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le-bom", "cp1252"])
def test_every_way_of_saving_is_read(encoding, tmp_path):
    content = (
        b"\xff\xfe" + SAVED.encode("utf-16-le")
        if encoding == "utf-16-le-bom"
        else SAVED.encode(encoding)
    )
    path = tmp_path / "r.csv"
    path.write_bytes(content)
    found = [(r["position_mm"], r["displayed_degC"]) for _, r in rows(read_text(str(path)))]
    assert found == PLAIN


def test_a_table_is_fitted_by_the_command(van_file, tmp_path, capsys):
    path = tmp_path / "r.csv"
    path.write_bytes(SAVED.encode("utf-16"))
    assert main(["fit", van_file, "--readings", str(path)]) == OK
    said = capsys.readouterr().out
    assert "152.4" in said
    assert "77.9" in said


@pytest.mark.parametrize("start", [b"PK\x03\x04", b"\xd0\xcf\x11\xe0"])
def test_a_workbook_is_refused_by_name(refused, start):
    said = refused(start + b"...", "readings.xlsx")
    assert "readings.xlsx is a spreadsheet program's workbook" in said
    assert "Save as, CSV" in said


@pytest.mark.parametrize(
    ("table", "says", "remedy"),
    [
        ("", "r.csv is empty", "first line of headings"),
        ("pos,hue\n1,2\n", 'r.csv, line 1: nothing is known of a column "hue"', "Head it"),
        ("pos,position\n1,2\n", "r.csv, line 1: two columns are position_mm", "Leave one out"),
        ("pos,temp\n1,2,3\n", "r.csv, line 2 has 3 cells for 2 headings", "semicolons"),
        ("# x\n\npos,temp\n120,60\n9000,50\n", "r.csv, line 5: ", "from 0 to 6000 mm"),
        ("pos,temp\n120,warm\n", "r.csv, line 2: ", "Give a number"),
        ("pos,temp\n120,152.4\n1300,50\n", "r.csv, line 3: ", "the cap"),
        ("pos,temp,surface\n120,60,painted\n", "r.csv, line 2: ", "matt black paint"),
        ("pos,temp\n120,386\n", "r.csv, line 2: 386 °C on the skin is hotter", "did it show °F"),
    ],
)
def test_every_slip_is_told_with_file_line_and_remedy(refused, table, says, remedy):
    said = refused(table.encode())
    assert says in said
    assert remedy.lower() in said.lower()


def test_fahrenheit_in_the_heading_is_no_slip():
    (row,) = rows("pos,temp (°F)\n120,386\n")
    assert row.reading["displayed_degC"] == "386 F"


def test_a_refusal_of_the_file_itself_keeps_its_place(tmp_path, capsys):
    wrong = tmp_path / "van.json"
    wrong.write_text(demo_text("van").replace("48.3", "480"), encoding="utf-8")
    table = tmp_path / "r.csv"
    table.write_text("pos,temp\n120,60\n", encoding="utf-8")
    assert main(["fit", str(wrong), "--readings", str(table)]) == REFUSED
    said = capsys.readouterr().err
    assert "case.branch.outside_diameter_mm" in said
    assert "line" not in said


def test_lines_are_counted_past_empty_ones_and_cells_of_two_lines():
    table = 'pos,temp,notes\n\n120,60,"a hot\nday"\n1,2,3,4\n'
    with pytest.raises(Problem, match="line 5 has 4 cells"):
        rows(table)


def test_lengths_and_commas_as_people_write_them():
    text = "Position (in);temp °F\n1 7/8;304,5\n3' 4\";120\n"
    first, second = (row.reading for row in rows(text))
    assert first["position_mm"] == "1 7/8 in"
    assert first["displayed_degC"] == "304.5 F"
    assert second["position_mm"] == "3' 4\""
    quoted = 'position,temp\n"48,3","152,4"\n'
    (reading,) = (row.reading for row in rows(quoted))
    assert (reading["position_mm"], reading["displayed_degC"]) == (48.3, 152.4)
