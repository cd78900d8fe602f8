"""``warmbranch learn``, and what it wrote in the other commands."""

from __future__ import annotations

import json

import pytest

from warmbranch_service.command import cli


@pytest.fixture
def here(tmp_path, monkeypatch, capsys):
    """A folder with two jobs and what they taught; runs a command there."""
    monkeypatch.chdir(tmp_path)

    def run(*words, status=0):
        found = cli.main(words)
        told = capsys.readouterr()
        assert found == status, told.err
        return told.out if status == 0 else told.err

    for name, file in (("fit", "van.json"), ("heard", "bus.json")):
        (tmp_path / file).write_text(run("example", name))
    return run


def test_it_learns_adds_and_is_used(here, tmp_path):
    said = here("learn", "van.json", "--output", "shop.json", "--day", "2026-11-20")
    assert said.startswith("One job:")
    said = here("learn", "bus.json", "--add-to", "shop.json", "--output", "both.json")
    first, last = said.splitlines()[0], said.rstrip().splitlines()[-2]
    assert first == last
    assert first.startswith("2 jobs: 2 of 2 heard where the others say")
    kept = json.loads((tmp_path / "both.json").read_text())["shop"]["jobs"]
    assert [job["name"] for job in kept] == ["van", "bus"]
    together = json.loads(here("learn", "bus.json", "van.json", "--json"))
    assert (
        json.loads((tmp_path / "both.json").read_text())["mean"]
        == (together["calibration"]["mean"])
    )
    (tmp_path / "my.json").write_text(here("example", "van"))
    plain = here("length", "van.json", "--rpm", "2350", "--brief")
    tuned = here("length", "van.json", "--rpm", "2350", "--brief", "--calibration", "both.json")
    assert plain != tuned
    assert "2 finished jobs taught" in here("steady", "my.json", "--calibration", "both.json")
    assert "2 finished jobs taught" in here("fit", "van.json", "--shop", "both.json")
    # The whole answer serves as well as the calibration in it.
    (tmp_path / "answer.json").write_text(json.dumps(together))
    assert here("length", "van.json", "--rpm", "2350", "--brief", "--calibration", "answer.json")


def test_refusals_name_the_file(here, tmp_path):
    (tmp_path / "bare.json").write_text(here("example", "van"))
    said = here("learn", "van.json", "bare.json", status=2)
    assert "readings: In bare.json: Nothing was read or heard" in said
    (tmp_path / "old.json").write_text('{"warmbranch_job": 7, "case": {}}')
    assert "In old.json: This job is of form 7" in here("learn", "old.json", status=2)
    assert "In van.json" in here("learn", "van.json", "van.json", status=2)
    assert "no job" in here("learn", status=2)
    assert "cannot be read" in here("learn", "nowhere.json", status=2)
    assert "holds no calibration" in here(
        "steady", "van.json", "--calibration", "van.json", status=2
    )
    assert "is no JSON" in here("learn", "--add-to", __file__, status=2)


def test_a_fit_does_not_write_over_a_shop(here, tmp_path):
    here("learn", "van.json", "--output", "shop.json")
    before = (tmp_path / "shop.json").read_bytes()
    said = here("fit", "van.json", "--calibration", "shop.json", status=2)
    assert "--shop shop.json" in said
    assert (tmp_path / "shop.json").read_bytes() == before


def test_more_jobs_than_one_request_takes_are_learned_in_parts(here, tmp_path, monkeypatch):
    from warmbranch_service.learn import request

    monkeypatch.setattr(request, "MOST_JOBS", 1)
    whole = here("learn", "van.json", "bus.json", "--json")
    assert json.loads(whole)["work"]["fits"] == 1
    assert [job["name"] for job in json.loads(whole)["jobs"]] == ["van", "bus"]
