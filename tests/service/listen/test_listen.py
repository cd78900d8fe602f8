"""The question /v1/listen: over HTTP, on the command line, by the client, from Python."""

from __future__ import annotations

import io
import json
import struct

import numpy as np
import pytest
import soundfile
from starlette.testclient import TestClient

from shared.invented_drives import duct_loss
from shared.recordings import encoded, pair
from warmbranch.listen.weighting import a_weighting
from warmbranch_service.command.cli import main
from warmbranch_service.contract.errors import Problem
from warmbranch_service.fit.request import FitRequest
from warmbranch_service.http.app import create_app
from warmbranch_service.http.settings import Settings
from warmbranch_service.length.target import LoudnessTarget
from warmbranch_service.listen.answer_schema import DroneAnswer
from warmbranch_service.listen.local import listen
from warmbranch_service.listen.recordings import Limits, decoded
from warmbranch_service.listen.request import ListenRequest
from warmbranch_service.listen.sentences import cautions

REQUEST = {"engine": {"cylinders": 4}, "lowest_rpm": 1000, "highest_rpm": 5500, "same_place": True}


def as_file(samples, rate=8000, kind="WAV", subtype=None):
    buffer = io.BytesIO()
    soundfile.write(buffer, samples, rate, format=kind, subtype=subtype)
    return buffer.getvalue()


@pytest.fixture(scope="module")
def drives():
    return pair(
        709, signal_to_noise_dB=18.0, clipped=False, speech=False, cylinders=4, seconds=14.0
    )


@pytest.fixture(scope="module")
def service():
    with TestClient(
        create_app(Settings(warm_up=0, seconds_per_request=600, recording_seconds=60))
    ) as client:
        yield client


def post(service, request=REQUEST, after=(), before=(), **more):
    files = [("request", (None, json.dumps(request), "application/json"))]
    files += [("after", ("a", content)) for content in after]
    files += [("before", ("b", content)) for content in before]
    return service.post("/v1/listen", files=files, **more)


@pytest.fixture(scope="module")
def answer(service, drives):
    before, after = drives
    given = post(
        service,
        REQUEST | {"minutes_since_start": 20, "gas_temperature_degC": "590 F"},
        before=[as_file(before.samples)],
        after=[as_file(after.samples, kind="FLAC")],
    )
    assert given.status_code == 200, given.text
    return given.json()


def test_answer(answer, drives):
    _, after = drives
    truth = after.drive.notch_Hz * 60 / 2
    assert answer["outcome"] == "notch heard"
    assert abs(answer["notch"]["quiet_rpm"]["median"] / truth - 1) < 0.03
    assert [one["side"] for one in answer["recordings"]] == ["before", "after"]
    assert answer["change"]["rpm"]
    assert answer["heard"][0]["time_s"] == 1200
    assert answer["gas_temperature_degC"] == 310


def test_measured_loss_is_the_notchs(answer, drives):
    """Two duct pieces of the generator: the curve peaks where they do, and lies about it."""
    loss = answer["notch"]["loss"]
    drive = drives[1].drive
    frequency = np.array(loss["frequency_Hz"])
    measured, uncertainty = np.array(loss["measured_dB"]), np.array(loss["uncertainty_dB"])
    passed = duct_loss(frequency, drive.notch_Hz, drive.notch_strength)
    truth = -20 * np.log10(np.abs(passed) + 10 ** (drive.flanking_dB / 20))
    about = np.abs(frequency / drive.notch_Hz - 1) < 0.15
    assert abs(frequency[about][np.argmax(measured[about])] / drive.notch_Hz - 1) < 0.04
    assert loss["predicted_dB"] is None
    # Stretches of a curve hang together, so 0.9 of two deviations' 0.95 is asked.
    assert np.mean(np.abs(measured - truth) < 2 * uncertainty) > 0.9


def test_levels_by_order_and_of_the_whole(answer):
    after = answer["loudness"][1]
    assert after["frequency_Hz"] == pytest.approx(np.array(after["rpm"]) / 60 * 2, abs=0.1)
    for curve in answer["recordings"][1]["orders"]:
        weight = a_weighting(np.array(curve["frequency_Hz"]))
        given = np.array(curve["level_dBA"]) - curve["level_dB"]
        # Both levels are told to 0.1, the frequency's rounding adds less.
        assert given == pytest.approx(weight, abs=0.15)


def test_flows_into_fit_and_length(answer):
    case = json.loads((FIXTURES / "requests/camper_van.json").read_text())["case"]
    FitRequest.model_validate({"case": case, "heard": answer["heard"]})
    LoudnessTarget.model_validate({"loudness": answer["loudness_target"]})


FIXTURES = __import__("pathlib").Path(__file__).parents[3] / "fixtures"


def test_csv(service, drives):
    given = post(
        service, after=[as_file(drives[1].samples[: 5 * 8000])], headers={"accept": "text/csv"}
    )
    assert given.status_code == 200
    assert given.text.startswith("section,row,field,value,unit\n")
    assert "listen,,outcome," in given.text


def wav_that_lies():
    content = bytearray(as_file(np.zeros(100, np.float32)))
    content[content.index(b"data") + 4 :][:4] = b""
    at = content.index(b"data") + 4
    content[at : at + 4] = struct.pack("<I", 4_294_000_000)
    return bytes(content)


NOISE = np.random.default_rng(2).standard_normal(80_000).astype(np.float32) / 10


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "empty_file"),
        (b"this is text, named .wav", "not_audio"),
        (as_file(NOISE[:1600]), "refused_by_physics"),
        (as_file(np.zeros(80_000)), "refused_by_physics"),
        (as_file(NOISE, 4000), "sampling_rate"),
        (wav_that_lies(), "refused_by_physics"),
        (as_file(np.where(np.arange(80_000) == 7, np.nan, NOISE), subtype="FLOAT"), "not_finite"),
        (as_file(np.zeros(61 * 8000, np.float32)), "recording_too_long"),
        (as_file(NOISE[:64_000].reshape(-1, 16)), "too_many_channels"),
    ],
)
def test_refused_files(service, content, code):
    given = post(service, after=[content])
    assert given.status_code == 422, given.text
    body = given.json()
    assert given.headers["content-type"] == "application/problem+json"
    assert body["errors"][0]["code"] == code
    assert body["errors"][0]["field"] == "after[0]"
    assert body["errors"][0]["remedy"]


ROAD = {
    "road_speed_m_s": "108 km/h",
    "gear_ratio": 0.8,
    "final_drive_ratio": 4.0,
    "tyre": "205/55 R16",
}
"""By hand: 30 m/s, 0.8 x 4 turns a wheel of 3.05 x 631.9 mm: 2989 rpm."""


def test_a_road_speed_in_a_gear_tells_the_octave():
    """Steady tones, each an order at half the speed too."""
    time = np.arange(5 * 8000) / 8000
    noise = np.random.default_rng(8).standard_normal(len(time)) / 50
    turns = 2 * np.pi * 2989 / 60 * time
    sound = noise + sum(0.6 / order * np.cos(order * turns) for order in (2, 4, 6, 8))
    request = {"engine": {"cylinders": 4}, "lowest_rpm": 1000, "highest_rpm": 6500}

    def middle(**more):
        told = listen(request | more, after=[(sound, 8000)])
        return told.recordings[0].track.rpm[20]

    wrong = {**ROAD, "road_speed_m_s": "54 km/h"}
    assert middle(rpm_at=[{"time_s": 2} | ROAD]) == pytest.approx(2989, rel=1e-3)
    assert middle(rpm_at=[{"time_s": 2} | wrong]) != pytest.approx(2989, rel=0.1)
    with pytest.raises(Problem, match="as long as 5 s"):
        middle(rpm_at=[{"time_s": 20} | ROAD])


@pytest.mark.parametrize(
    ("request_", "code", "field"),
    [
        ({"engine": {"cylinders": 4}, "lowest_rpm": 1000}, "missing", "highest_rpm"),
        (REQUEST | {"highest_rpm": 900}, "range_falls", "highest_rpm"),
        (REQUEST | {"engine": None}, "no_engine", "engine"),
        (REQUEST | {"loud": 1}, "unknown_field", "loud"),
        (REQUEST | {"rpm_at": [{"time_s": 0}]}, "missing", "rpm_at[0].rpm"),
        (REQUEST | {"rpm_at": [{"time_s": 0, "rpm": 6100}]}, "known_speed_beyond", "rpm_at[0].rpm"),
        (
            REQUEST | {"rpm_at": [{"time_s": 0} | ROAD | {"gear_ratio": 4.0}]},
            "known_speed_beyond",
            "rpm_at[0].road_speed_m_s",
        ),
        (
            REQUEST | {"rpm_at": [{"time_s": 0, "rpm": 2989} | ROAD]},
            "speed_given_twice",
            "rpm_at[0]",
        ),
    ],
)
def test_refused_requests(service, request_, code, field):
    given = post(service, request_, after=[as_file(NOISE)])
    assert given.status_code == 422
    assert (given.json()["errors"][0]["code"], given.json()["errors"][0]["field"]) == (code, field)


def test_refused_bodies(service):
    assert service.post("/v1/listen", json=REQUEST).status_code == 415
    assert post(service).json()["errors"][0]["code"] == "no_recording"
    given = service.post("/v1/listen", files={"after": ("a", as_file(NOISE))})
    assert given.json()["errors"][0]["field"] == "request"
    broken = service.post(
        "/v1/listen", content=b"--x\r\n", headers={"content-type": "multipart/form-data"}
    )
    assert broken.status_code == 400


def test_own_limit_of_the_body():
    with TestClient(
        create_app(Settings(warm_up=0, seconds_per_request=600, recordings_body=1000))
    ) as client:
        assert post(client, after=[as_file(NOISE)]).status_code == 413


def test_music_holds_no_notch(service):
    time = np.arange(6 * 8000) / 8000
    notes = 220 * 2 ** (np.random.default_rng(3).integers(0, 12, 12) / 12)
    tune = np.sin(2 * np.pi * np.cumsum(notes[(time * 2).astype(int)]) / 8000) * 0.3
    given = post(service, after=[as_file(tune + 0.01 * NOISE[: len(tune)])])
    assert given.status_code == 200
    assert given.json()["outcome"] != "notch heard"


@pytest.mark.parametrize("kind", ["m4a", "webm", "3gp"])
def test_phones_formats(kind, drives):
    pytest.importorskip("av")
    rate = 48_000
    samples = np.repeat(drives[1].samples, rate // 8000)[: 4 * rate]
    content = encoded(samples, rate, kind)
    found = decoded(content, ("after", 0), Limits(phone=True))
    assert abs(len(found.samples) / found.sample_rate_Hz - 4) < 0.1
    with pytest.raises(Problem, match="no recording that is known"):
        decoded(content, ("after", 0), Limits())


def test_decoder_keeps_levels_and_time():
    """A 300 Hz tone at 44.1 kHz stereo comes back at 8820 Hz, as loud and as long."""
    time = np.arange(3 * 44_100) / 44_100
    tone = 0.5 * np.sin(2 * np.pi * 300 * time)
    found = decoded(as_file(np.stack([tone, tone], 1), 44_100), ("after", 0), Limits())
    assert found.sample_rate_Hz == 8820
    assert abs(len(found.samples) - 3 * 8820) <= 1
    inner = found.samples[1000:-1000]
    # 16 bits, and a filter that is flat to 0.1 %.
    assert abs(np.sqrt(2 * np.mean(inner**2)) - 0.5) < 1e-3


def test_python_call_and_command_line_agree(tmp_path, drives, capsys):
    samples = drives[1].samples[: 6 * 8000]
    name = tmp_path / "after.wav"
    soundfile.write(name, samples, 8000, subtype="FLOAT")
    told = listen({k: v for k, v in REQUEST.items() if k != "same_place"}, after=[(samples, 8000)])
    assert main(["listen", str(name), "--engine", "4", "--rpm", "1000", "5500", "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed["notch"] == told.model_dump(mode="json")["notch"]
    assert main(["listen", str(name), "--engine", "4", "--rpm", "5500", "1000"]) == 2
    assert "highest_rpm" in capsys.readouterr().err


@pytest.mark.parametrize(("highest", "told"), [(2425, False), (3277, True)])
def test_a_drone_with_a_rival_is_told(highest, told):
    drone = DroneAnswer(
        rpm=2375, interval_50=(2352, 2391), interval_90=(2310, highest), at_edge=False
    )
    found = cautions(ListenRequest.model_validate(REQUEST), [], drone, None)
    assert ("drone_has_a_rival" in {one.code for one in found}) == told
