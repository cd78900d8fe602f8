"""Every failure has one shape; every answer has an id and security headers."""

from __future__ import annotations

import asyncio
import json
import logging
import threading
import time

import pytest
from starlette.testclient import TestClient

from shared import problems
from shared.running import GIVE_UP, until
from warmbranch.base import stopping
from warmbranch.base.errors import InputError, NotConvergedError
from warmbranch_service.contract.errors import KINDS, Problem
from warmbranch_service.http.app import create_app
from warmbranch_service.http.passage.workshop import Workshop
from warmbranch_service.http.routes import steady as steady_route
from warmbranch_service.http.settings import Settings
from warmbranch_service.steady import answer

JSON = {"content-type": "application/json"}


def check_problem(response, status, kind):
    body = problems.check_problem(response.status_code, response.headers, response.content)
    assert response.status_code == status, response.text
    assert body["type"] == f"/v1/problems/{kind}"
    return body


def check_headers(response):
    assert response.headers["x-content-type-options"] == "nosniff"
    assert response.headers["referrer-policy"] == "no-referrer"
    assert response.headers["x-frame-options"] == "DENY"
    assert "frame-ancestors 'none'" in response.headers["content-security-policy"]


def post(client, content, headers=JSON):
    return client.post("/v1/steady", content=content, headers=headers)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b'{"case": }', "line 1, column 10"),
        (b'{"case": {},}', "line 1, column 13"),
        (b"", "empty"),
        (b'{"case": "\xff"}', "Byte 10 is not UTF-8"),
        (b"[" * 200_000, "nested too deeply"),
        (b'{"case": ' + b"1" * 5000 + b"}", "too many digits"),
        (b"outside_diameter_mm=48.3", "line 1, column 1"),
    ],
)
def test_malformed_json_is_400_with_its_place(client, content, words):
    body = check_problem(post(client, content), 400, "malformed-json")
    assert words in body["detail"]
    assert body["errors"] == []


def test_unknown_address_is_404(client):
    body = check_problem(client.get("/v1/staedy"), 404, "not-found")
    assert body["instance"] == "/v1/staedy"


def test_wrong_method_is_405_and_says_which_is_right(client):
    response = client.get("/v1/steady")
    check_problem(response, 405, "method-not-allowed")
    assert response.headers["allow"] == "POST"


def test_body_over_a_mebibyte_is_413(client):
    body = check_problem(post(client, b" " * (1024 * 1024 + 1)), 413, "body-too-large")
    assert "1048576 bytes" in body["detail"]


def test_chunked_body_over_a_mebibyte_is_413(client):
    chunks = (b" " * 65536 for _ in range(17))
    response = client.post("/v1/steady", content=chunks, headers=JSON)
    assert "content-length" not in response.request.headers
    check_problem(response, 413, "body-too-large")


def test_body_of_a_mebibyte_is_read(client, van):
    content = json.dumps(van).encode()
    padded = content + b" " * (1024 * 1024 - len(content))
    assert post(client, padded).status_code == 200


@pytest.mark.parametrize(
    "declared",
    [
        "text/plain",
        "application/x-www-form-urlencoded",
        "application/json; charset=latin-1",
        "nonsense",
    ],
)
def test_other_content_types_are_415(client, van, declared):
    response = post(client, json.dumps(van), {"content-type": declared})
    check_problem(response, 415, "unsupported-media-type")


@pytest.mark.parametrize(
    ("path", "begins"),
    [
        ("/v1/steady", "application/json"),
        ("/v1/listen", "multipart/form-data; boundary=x"),
    ],
)
@pytest.mark.parametrize(("length", "too_long"), [(256, False), (257, True), (60_000, True)])
def test_a_content_type_over_256_bytes_is_not_taken_apart(client, path, begins, length, too_long):
    declared = begins.ljust(length, ";")
    response = client.post(path, content=b"{}", headers={"content-type": declared})
    said = "The header Content-Type is longer than 256 bytes."
    assert (response.json()["detail"] == said) == too_long
    if too_long:
        check_problem(response, 415, "unsupported-media-type")


def test_no_content_type_is_415(client, van):
    response = client.post("/v1/steady", content=json.dumps(van).encode())
    check_problem(response, 415, "unsupported-media-type")


@pytest.mark.parametrize(
    "declared",
    ["application/json", "application/json; charset=utf-8", "application/vnd.mine+json"],
)
def test_json_content_types_are_read(client, van, declared):
    assert post(client, json.dumps(van), {"content-type": declared}).status_code == 200


def test_repeated_key_is_named(client, van):
    text = json.dumps(van).replace('"wall_thickness_mm": 1.5', '"wall_thickness_mm": 1.5, ' * 2, 1)
    text = text.replace(", ,", ",")
    body = check_problem(post(client, text), 422, "invalid-request")
    (entry,) = body["errors"]
    assert entry["pointer"] == "/case/branch/wall_thickness_mm"
    assert entry["code"] == "repeated_key"


def test_repeated_key_in_a_list_is_named(client):
    body = check_problem(
        post(client, '{"a": [1, {"b": 2, "c~/": 3, "c~/": 3}]}'), 422, "invalid-request"
    )
    assert body["errors"][0]["pointer"] == "/a/1/c~0~1"
    assert body["errors"][0]["field"] == "a[1].c~/"


def failing(monkeypatch, error):
    def fail(_):
        raise error

    monkeypatch.setattr(answer, "solve", fail)


def test_what_nobody_foresaw_is_500_without_its_text(client, van, monkeypatch, caplog):
    failing(monkeypatch, RuntimeError("secret path /home/me"))
    with caplog.at_level(logging.ERROR, logger="warmbranch"):
        response = post(client, json.dumps(van), {**JSON, "x-request-id": "mine-1"})
    body = check_problem(response, 500, "internal-error")
    assert "secret" not in response.text
    assert body["request_id"] == "mine-1"
    assert "a request failed" in caplog.text
    assert "secret path" in caplog.text


def test_no_convergence_is_500_and_says_so(client, van, monkeypatch):
    failing(monkeypatch, NotConvergedError("Stuck.", designs=(0,), residual=1e-3, iterations=80))
    body = check_problem(post(client, json.dumps(van)), 500, "not-converged")
    assert "Stuck." in body["detail"]


def test_what_only_the_physics_refuses_is_422_in_the_request_s_units(client, van, monkeypatch):
    error = InputError(
        "Too thick.", field="branch.wall_thickness", value=0.03, unit="m", remedy="Give less."
    )
    failing(monkeypatch, error)
    (entry,) = check_problem(post(client, json.dumps(van)), 422, "invalid-request")["errors"]
    assert entry == {
        "pointer": "/case/branch/wall_thickness_mm",
        "field": "case.branch.wall_thickness_mm",
        "value": 30.0,
        "unit": "mm",
        "detail": "Too thick.",
        "remedy": "Give less.",
        "code": "refused_by_physics",
    }


def test_temperature_that_only_the_physics_refuses_is_in_celsius(client, van, monkeypatch):
    error = InputError(
        "Too hot.", field="main_pipe.gas_temperature", value=1400.0, unit="K", remedy="Give less."
    )
    failing(monkeypatch, error)
    (entry,) = check_problem(post(client, json.dumps(van)), 422, "invalid-request")["errors"]
    assert entry["field"] == "case.main_pipe.gas_temperature_degC"
    assert entry["value"] == pytest.approx(1126.85, rel=1e-12)  # 1400 − 273.15
    assert entry["unit"] == "degC"


def test_nan_from_the_physics_becomes_500_not_json(client, van, monkeypatch):
    real = answer.solve

    def poisoned(case):
        found = real(case)
        found.profile.gas[0, 3] = float("nan")
        return found

    monkeypatch.setattr(answer, "solve", poisoned)
    check_problem(post(client, json.dumps(van)), 500, "internal-error")


def test_full_queue_is_503_with_a_time_to_come_back():
    async def crowd():
        workshop = Workshop(at_once=1, longest_queue=0, seconds=600)
        started, release = asyncio.Event(), asyncio.Event()
        loop = asyncio.get_running_loop()

        def work():
            loop.call_soon_threadsafe(started.set)
            asyncio.run_coroutine_threadsafe(release.wait(), loop).result(60)
            return "done"

        first = asyncio.create_task(workshop.run(work))
        await started.wait()
        with pytest.raises(Problem) as caught:
            await workshop.run(lambda: "turned away")
        release.set()
        assert await first == "done"
        assert await workshop.run(lambda: "again") == "again"
        return caught.value

    problem = asyncio.run(crowd())
    assert problem.parts.kind.status == 503
    assert int(problem.parts.headers["retry-after"]) >= 1


def test_full_queue_reaches_the_client_as_503(client, van, monkeypatch):
    workshop = client.app.state.workshop
    monkeypatch.setattr(workshop, "_inside", set(range(10_000)))
    response = post(client, json.dumps(van))
    check_problem(response, 503, "overloaded")
    assert int(response.headers["retry-after"]) >= 1


@pytest.mark.parametrize("given", ["abc-1.2_3", "x" * 64])
def test_request_id_is_echoed(client, given):
    assert (
        client.get("/v1/health", headers={"x-request-id": given}).headers["x-request-id"] == given
    )


@pytest.mark.parametrize("given", ["", "a b", "x" * 65, "é"])
def test_odd_request_ids_are_replaced(client, given):
    found = client.get("/v1/health", headers={"x-request-id": given.encode()}).headers[
        "x-request-id"
    ]
    assert found != given
    assert len(found) == 32


def test_log_has_one_line_a_request_and_no_body(client, van, caplog):
    with caplog.at_level(logging.INFO, logger="warmbranch"):
        post(client, json.dumps({**van, "interval": False}), {**JSON, "x-request-id": "mine-2"})
    (record,) = [record for record in caplog.records if record.name == "warmbranch"]
    assert (record.method, record.path, record.status) == ("POST", "/v1/steady", 200)
    assert record.milliseconds > 0
    assert record.solves == 2  # the sketch that places nodes, and the answer
    assert record.iterations > 1
    assert not any("48.3" in str(value) for value in vars(record).values())


def test_health(client):
    response = client.get("/v1/health")
    assert response.json()["status"] == "ok"
    assert response.headers["cache-control"] == "no-store"
    check_headers(response)
    for path in ("/v1/health", "/v1/ready"):
        told = client.head(path)
        assert (told.status_code, told.content) == (200, b"")


def test_ready_after_warm_up_only(monkeypatch):
    app = create_app(Settings(warm_up=1, seconds_per_request=600))
    with TestClient(app) as client:  # entering the context waits for the start, not the warm-up

        def ready() -> bool:
            response = client.get("/v1/ready")
            if response.status_code == 200:
                return response.json() == {"status": "ready"}
            check_problem(response, 503, "not-ready")
            return response.headers["retry-after"] != "1"

        until(ready)


@pytest.mark.parametrize("by", ["closing", "its limit"])
def test_a_warm_up_that_is_ended_is_no_failure(monkeypatch, caplog, by):
    begun = threading.Event()

    def endless(_):
        begun.set()
        while True:
            stopping.check()
            time.sleep(0.001)

    monkeypatch.setattr(steady_route, "as_bytes", endless)
    app = create_app(Settings(warm_up=1, seconds_per_request=600 if by == "closing" else 1))
    with TestClient(app):  # leaving it waits for the end
        assert begun.wait(GIVE_UP)
        if by == "its limit":
            until(lambda: app.state.workshop.working == 0)
    assert app.state.workshop.working == 0
    assert not [entry for entry in caplog.records if entry.levelno >= logging.ERROR]


def test_not_ready_when_the_self_check_fails(monkeypatch, caplog):
    def fail(_):
        raise RuntimeError("no tables")

    monkeypatch.setattr(steady_route, "as_bytes", fail)
    app = create_app(Settings(warm_up=0, seconds_per_request=600))
    app.state.readiness.warm_up()
    assert not app.state.readiness.is_ready
    assert "no tables" in caplog.text
    check_problem(TestClient(app).get("/v1/ready"), 503, "not-ready")


@pytest.mark.parametrize("name", list(KINDS))
def test_every_type_can_be_read_about(client, name):
    body = client.get(f"/v1/problems/{name}").json()
    assert body["type"] == f"/v1/problems/{name}"
    assert body["status"] == KINDS[name].status


def test_unknown_problem_is_404(client):
    check_problem(client.get("/v1/problems/none"), 404, "not-found")


def test_a_long_name_of_a_problem_is_404_too(client):
    check_problem(client.get("/v1/problems/" + "0" * 5000), 404, "not-found")


def test_documentation_pages_that_need_another_host_are_off(client):
    for path in ("/docs", "/redoc", "/openapi.json"):
        check_problem(client.get(path), 404, "not-found")


def test_settings_come_from_the_environment():
    assert Settings.from_environment({}) == Settings()
    given = Settings.from_environment({"WARMBRANCH_LONGEST_BODY": "99", "WARMBRANCH_WARM_UP": "0"})
    assert given == Settings(longest_body=99, warm_up=0)


@pytest.mark.parametrize("text", ["0", "-1", "1.5", "many", "", "١"])
def test_settings_that_make_no_sense_are_refused(text):
    with pytest.raises(ValueError, match="WARMBRANCH_SOLVES_AT_ONCE"):
        Settings.from_environment({"WARMBRANCH_SOLVES_AT_ONCE": text})
