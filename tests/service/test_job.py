"""The call from Python: the same questions, refusals and bytes as over HTTP."""

from __future__ import annotations

import json
import subprocess
import sys

import numpy as np
import pytest

from shared.requests import BRANCH, CASE, PIPE
from warmbranch_service import Job, Problem
from warmbranch_service.demo import demo_text
from warmbranch_service.http.openapi.request_examples import FILES
from warmbranch_service.length.examples import example_text

REQUESTS = {
    "steady": lambda: demo_text("van"),
    "length": lambda: example_text("length"),
    "warmup": lambda: FILES["warmup"][1](),
    "fit": lambda: FILES["fit"][1](),
}


@pytest.fixture
def job() -> Job:
    return Job(**CASE)


@pytest.fixture(scope="module")
def answers():
    return {name: getattr(Job.from_json(text()), name)() for name, text in REQUESTS.items()}


@pytest.mark.parametrize("question", REQUESTS)
def test_bytes_are_those_of_the_service(client, question):
    body = REQUESTS[question]().encode()
    response = client.post(
        f"/v1/{question}", content=body, headers={"content-type": "application/json"}
    )
    assert response.status_code == 200
    assert getattr(Job.from_json(body), question)().to_json() == response.content


@pytest.mark.parametrize(
    ("question", "changes"),
    [
        ("steady", {"branch.wall_thickness_mm": 30}),
        ("steady", {"main_pipe.gas_temperature_degC": "590 kg"}),
        ("steady", {"branch.colour": "red"}),
        ("steady", {"branch.length_mm": None}),
        ("steady", {"main_pipe.gas_temperature_degC": float("nan")}),
        ("length", {}),
        ("length", {"branch.length_mm": 20}),
        ("fit", {"surroundings.air_speed_m_s": 300, "engine.cylinders": 0}),
    ],
)
def test_refusals_are_those_of_the_service(client, job, question, changes):
    for field, value in changes.items():
        job = job.changed(field, value)
    with pytest.raises(Problem) as caught:
        getattr(job, question)()
    response = client.post(
        f"/v1/{question}",
        content=job.to_json().encode(),
        headers={"content-type": "application/json"},
    )
    refused = response.json()
    assert caught.value.parts.kind.status == response.status_code
    assert [entry.as_json() for entry in caught.value.errors] == refused["errors"]
    assert all(entry["remedy"] in str(caught.value) for entry in refused["errors"])


GAS = {"field": "case.main_pipe.gas_temperature_degC", "values": [200, 300, 400]}


def test_a_sweep_is_the_services_to_the_byte(client, job):
    swept = job.sweep(GAS, outputs=["resonance.frequency_Hz[0]"])
    body = {
        **json.loads(job.to_json()),
        "vary": [GAS],
        "outputs": ["resonance.frequency_Hz[0]"],
    }
    for form, own in (
        ("application/x-ndjson", swept.to_ndjson()),
        ("text/csv", swept.to_csv().encode()),
    ):
        response = client.post("/v1/sweep", json=body, headers={"accept": form})
        assert response.status_code == 200
        assert own == response.content
    assert repr(swept) == "<Swept: 3 designs: 3 resonance found>"


def test_a_sweep_is_each_design_alone(job):
    """To the last digit that the steady answer tells."""
    frame = job.sweep(GAS, outputs=["resonance.frequency_Hz[0]"]).to_frame()
    assert list(frame.columns) == [GAS["field"], "outcome", "resonance.frequency_Hz[0]"]
    for gas, tone in zip(GAS["values"], frame["resonance.frequency_Hz[0]"], strict=True):
        alone = job.changed("main_pipe.gas_temperature_degC", gas).steady()
        assert tone == alone.resonance.frequency_Hz[0]


def test_a_design_that_is_not_admitted_is_a_row(job):
    """120 mm are less than three bores of 45.3 mm."""
    swept = job.sweep({"field": "case.branch.length_mm", "values": [1200, 120]})
    assert [design.outcome for design in swept.designs] == ["resonance found", "not admitted"]
    assert swept.designs[1].errors[0].remedy
    assert swept.to_frame().isna().iloc[1].any()


def test_what_a_sweep_refuses(job):
    with pytest.raises(Problem) as caught:
        job.sweep({"field": "case.branch.colour", "values": [1]})
    assert caught.value.errors[0].remedy
    with pytest.raises(Problem):
        job.sweep()


def test_a_length_for_an_engine_speed_makes_it_quiet(job):
    found = job.length(rpm=2350)
    built = job.changed("branch.length_mm", found.centreline_length_mm)
    assert built.steady().resonance.quiet_rpm == pytest.approx(2350, abs=0.1)  # answers to 0.1 rpm


def test_tone_and_engine_speed_are_one_question(job):
    # 4 cylinders, four strokes: two firings a turn
    assert job.length(Hz=2350 / 30).centreline_length_mm == pytest.approx(
        job.length(rpm=2350).centreline_length_mm, abs=1e-4
    )


def test_a_string_carries_its_unit(job):
    given = job.changed("case.main_pipe.gas_temperature_degC", "590 F")
    same = job.changed("main_pipe.gas_temperature_degC", 310)
    assert given.steady().to_json() == same.steady().to_json()


def test_numbers_of_numpy_are_numbers(job):
    given = job.changed("branch.length_mm", np.float64(1200)).changed(
        "engine.cylinders", np.int64(4)
    )
    assert given.steady().to_json() == job.steady().to_json()


def test_a_change_leaves_the_original_alone(job):
    before = job.to_json()
    job.changed("surroundings.air_speed_m_s", 12)
    job.changed("branch.wrap.thickness_mm", 6)
    assert job.to_json() == before


def test_what_was_given_may_change_afterwards():
    branch = dict(BRANCH)
    job = Job(branch=branch, main_pipe=PIPE)
    branch["length_mm"] = 1
    assert json.loads(job.to_json())["case"]["branch"]["length_mm"] == 1200


@pytest.mark.parametrize(
    "field", ["branch.length_mm.deeper", "branch.centreline[7].straight_mm", "branch[0]"]
)
def test_a_path_that_leads_nowhere_is_told(field):
    with pytest.raises(KeyError, match=r"there is no|has no parts|entries"):
        Job.from_json(demo_text("van")).changed("branch.length_mm", 3).changed(field, 1)


def test_a_file_comes_back_as_it_was(tmp_path, job):
    path = tmp_path / "job.json"
    job.write(path)
    assert Job.read(path) == job
    assert Job.from_json(example_text("length")).length().to_json() == (
        Job.from_json(Job.from_json(example_text("length")).to_json()).length().to_json()
    )


def test_a_job_with_a_target_answers_other_questions_too():
    job = Job.from_json(example_text("length"))
    assert job.steady().resonance.quiet_rpm > 0


def test_a_field_that_is_nobodys_is_refused():
    job = Job(branch=BRANCH, main_pipe=PIPE, asked={"colour": "red"})
    with pytest.raises(Problem, match="There is no such field"):
        job.steady()


def test_what_a_fit_taught_goes_into_the_next_question(job):
    taught = job.fit(heard=[{"quiet_rpm": 2390, "uncertainty_rpm": 25, "time_s": 3600}])
    sure, unsure = job.learned(taught).steady().prediction, job.steady().prediction
    widths = [np.ptp(found.quiet_rpm.interval_90) for found in (sure, unsure)]
    assert widths[0] < 0.9 * widths[1]
    assert unsure.narrowed_by
    assert not sure.narrowed_by
    assert sure.profile is not None


@pytest.mark.parametrize("question", REQUESTS)
def test_answers_say_themselves_shortly(answers, question):
    told = repr(answers[question])
    assert len(told) < 200
    assert "report()" in told
    assert "median=" not in told  # of what?
    assert len(str(answers[question])) < 200
    shown = answers[question]._repr_html_()
    assert "<table>" in shown
    assert len(shown) < 3000


def test_a_notebook_is_shown_no_markup_of_the_users():
    job = Job(branch={**BRANCH, "material": "<b>"}, main_pipe=PIPE)
    with pytest.raises(Problem):
        job.steady()
    assert "<b>" not in Job.from_json(demo_text("van")).steady()._repr_html_()


@pytest.mark.parametrize("question", REQUESTS)
def test_answers_as_tables(answers, question):
    pytest.importorskip("pandas")
    frame = answers[question].to_frame()
    assert len(frame) > 3
    assert all(isinstance(name, str) for name in frame.columns)


def test_another_part_as_a_table(answers):
    pytest.importorskip("pandas")
    loss = answers["steady"].to_frame("attenuation")
    assert loss["transmission_loss_dB"].max() > 20
    with pytest.raises(ValueError, match="attenuation"):
        answers["steady"].to_frame("summary")


@pytest.mark.parametrize("question", REQUESTS)
def test_answers_as_pictures(answers, question, tmp_path):
    pytest.importorskip("matplotlib")
    path = tmp_path / "picture.svg"
    answers[question].plot().savefig(path)
    assert path.stat().st_size > 5000


@pytest.mark.parametrize("question", REQUESTS)
def test_reports_fit_a_terminal_and_say_the_answer_first_and_last(answers, question):
    for full in (True, False):
        text = answers[question].report(full=full)
        assert max(map(len, text.splitlines())) <= 80
        first = text.partition("\n  ")[0]
        assert text.rstrip().endswith(first)
    brief = answers[question].report(full=False)
    assert len(brief) < len(text + answers[question].report())
    assert "carbon monoxide" not in brief


def test_no_caution_is_told_twice(answers):
    for answer in answers.values():
        for full in (True, False):
            notes = answer.report(full=full).split("\n  - ")[1:]
            assert len(notes) == len(set(notes))
    assert answers["length"].report(full=False).count("A pinhole") == 1


def test_pandas_and_matplotlib_are_loaded_late():
    program = (
        "import sys; from warmbranch_service import Job\n"
        f"a = Job(branch={BRANCH}, main_pipe={PIPE}).steady(); repr(a); a.report()\n"
        "print([n for n in ('pandas', 'matplotlib', 'fastapi') if n in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=120
    )
    assert done.stdout == "[]\n", done.stderr


def test_a_path_beside_the_case_is_of_what_is_asked(job):
    changed = job.changed("while_read.air_speed_m_s", 0.5).changed("branch.length_mm", 1100)
    request = json.loads(changed.to_json())
    assert request["while_read"] == {"air_speed_m_s": 0.5}
    assert request["case"]["branch"]["length_mm"] == 1100
    # With case before it, it is of the case, which has no such field.
    astray = json.loads(job.changed("case.while_read.air_speed_m_s", 0.5).to_json())
    assert "while_read" not in astray
