"""What the commands that ask one question share: forms, changes, pictures; and their slips."""

from __future__ import annotations

import json

import pytest

from warmbranch_service.command.cli import FAILED, OK, REFUSED, main
from warmbranch_service.demo import demo_text
from warmbranch_service.http.openapi.request_examples import FILES


@pytest.fixture
def van_file(tmp_path) -> str:
    file = tmp_path / "van.json"
    file.write_text(demo_text("van"), encoding="utf-8")
    return str(file)


@pytest.fixture
def printed(capsys):
    def said(*arguments: str, status: int = OK) -> str:
        assert main(arguments) == status
        found = capsys.readouterr()
        assert "Traceback" not in found.err
        return found.out if status == OK else " ".join(found.err.split())

    return said


@pytest.mark.parametrize("question", ["steady", "warmup", "length", "fit"])
def test_a_job_of_the_page_is_named_and_not_taken_apart_field_by_field(
    question, van_file, tmp_path, printed
):
    job = tmp_path / "job.json"
    own = {"warmbranch_job": 1, "trims": [{"cut_mm": 20}], "readings": []}
    job.write_text(json.dumps({**json.loads(demo_text("van")), **own}), encoding="utf-8")
    said = printed(question, str(job), status=REFUSED)
    assert "is a job that the page saved" in said
    assert "Open it with the page" in said
    assert "no such field" not in said


def test_a_length_for_an_engine_speed(van_file, printed):
    answer = json.loads(printed("length", van_file, "--rpm", "2350", "--json"))
    assert answer["target"]["quiet_rpm"] == 2350
    built = answer["centreline_length_mm"]
    tone = json.loads(printed("length", van_file, "--hz", "78.3333333", "--json"))
    assert tone["centreline_length_mm"] == pytest.approx(built, abs=0.01)


def test_brief_is_one_line(van_file, printed):
    assert printed("steady", van_file, "--brief").count("\n") == 1
    assert printed("length", van_file, "--rpm", "2350", "--brief").startswith("Right length 11")


def test_full_tells_what_short_leaves_out(van_file, printed):
    short, full = printed("steady", van_file), printed("steady", van_file, "--full")
    assert "--full" in short
    assert "carbon monoxide alarm" not in short
    assert "carbon monoxide alarm" in full


@pytest.mark.parametrize("command", ["steady", "warmup", "fit", "length"])
def test_csv_of_every_question(command, printed, tmp_path):
    path = tmp_path / "my.json"
    path.write_text(FILES[command][1]() if command in FILES else demo_text("van"), encoding="utf-8")
    more = ["--rpm", "2350"] if command == "length" else []
    text = printed(command, str(path), *more, "--csv")
    assert text.startswith("section,row,field,value,unit\n")


def test_a_field_is_changed_for_one_answer(van_file, printed):
    def rpm(*changes: str) -> float:
        given = [part for change in changes for part in ("--set", change)]
        text = printed("steady", van_file, *given, "--json")
        return json.loads(text)["resonance"]["quiet_rpm"]

    assert rpm("main_pipe.gas_temperature_degC=500") > rpm() + 50
    assert rpm("main_pipe.gas_temperature_degC=590 F") == rpm()  # 310 °C, as it stands
    assert rpm("surroundings.air_speed_m_s=0", "engine.cylinders=2") > 1.5 * rpm()


def test_pictures(van_file, printed, tmp_path):
    pytest.importorskip("matplotlib")
    png, svg = tmp_path / "a.png", tmp_path / "a.svg"
    printed("steady", van_file, "--png", str(png), "--svg", str(svg))
    assert png.read_bytes().startswith(b"\x89PNG")
    assert b"<svg" in svg.read_bytes()


def test_without_matplotlib_the_extra_is_named(van_file, printed, monkeypatch, tmp_path):
    monkeypatch.setitem(__import__("sys").modules, "matplotlib.figure", None)
    said = printed("steady", van_file, "--png", str(tmp_path / "a.png"), status=FAILED)
    assert "pip install 'warmbranch[plot]'" in said


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["stedy", "FILE"], "No such command 'stedy'"),
        (["steady"], "Missing argument 'FILE'"),
        (["steady", "FILE", "--jsn"], "'--json'"),
        (["steady", "FILE", "--json", "--brief"], "one of them is allowed"),
        (["steady", "none.json"], "none.json cannot be read"),
        (["steady", "FILE", "--set", "engine"], "give FIELD=VALUE"),
        (["steady", "FILE", "--set", "engine.pistons=4"], "case.engine.pistons"),
        (["steady", "FILE", "--set", "branch.centreline[9].straight_mm=4"], "there is no 9"),
        (["steady", "FILE", "--set", "branch.wall_thickness_mm=30"], "from 0.5 to 5 mm"),
        (["steady", "FILE", "--set", "surroundings.air_temperature_degC=68"], '"68 F", 20 degC'),
        (["steady", "FILE", "--set", "branch.outside_diameter_mm=1.9"], '"1.9 in", 48.26 mm'),
        (["length", "FILE"], "target: This must be given"),
        (["length", "FILE", "--rpm", "2350", "--hz", "80"], "one of them is allowed"),
        (["length", "FILE", "--rpm", "fast"], "target.quiet_rpm"),
        (["length", "FILE", "--rpm", "90000"], "from 50 to 30000 rpm"),
        (["steady", "FILE", "--svg", "no/such/a.svg"], "cannot be written"),
        (["serve", "--port", "70000"], "0<=x<=65535"),
        (["example", "boat"], "'boat' is not one of"),
    ],
)
def test_mistakes_are_told_with_a_remedy(arguments, says, van_file, printed):
    if "--svg" in arguments:
        pytest.importorskip("matplotlib")
    given = [van_file if part == "FILE" else part for part in arguments]
    assert says in printed(*given, status=REFUSED)


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion(shell, printed):
    assert "_WARMBRANCH_COMPLETE" in printed("completion", shell)
