"""``POST /v1/sweep`` as a table, and what becomes of answers whose workers fail."""

from __future__ import annotations

import csv
import io
import json
import socket

import pytest
from starlette.testclient import TestClient

from warmbranch_service.http.app import create_app
from warmbranch_service.http.routes.sweep import BrokenOffError
from warmbranch_service.http.settings import Settings
from warmbranch_service.sweep.executors import ExecutorError
from warmbranch_service.sweep.solving import solve_task

TABLE = {"accept": "text/csv"}


class FailsAfterOne:
    """An executor whose workers are lost behind the first chunk."""

    def solved(self, plan, numbers):
        yield solve_task(plan.task(numbers[0]))
        raise ExecutorError("The scheduler at tcp://10.1.2.3:8786 cannot be reached.")

    def close(self):
        pass


def designs(lines):
    return [row for row in map(json.loads, lines) if "index" in row]


@pytest.fixture
def nobody_listens():
    """Address of a scheduler that is not there."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # bound and not listening: nobody else can take it
        yield f"tcp://127.0.0.1:{taken.getsockname()[1]}"


def test_the_table_holds_what_the_lines_hold(client, sobol):
    lines = designs(client.post("/v1/sweep", json=sobol).text.splitlines())
    response = client.post("/v1/sweep", json=sobol, headers=TABLE)
    assert response.status_code == 200
    assert response.headers["content-type"] == "text/csv; charset=utf-8; header=present"
    assert response.headers["vary"] == "Accept"
    table = list(csv.DictReader(io.StringIO(response.text)))
    assert len(table) == len(lines) == 1100
    for row, line in zip(table, lines, strict=True):
        assert int(row["index"]) == line["index"]
        assert row["outcome"] == line["outcome"]
        for name, value in (line["inputs"] | (line["outputs"] or {})).items():
            assert row[name] == ("" if value is None else str(value))


@pytest.mark.parametrize("line", [1, 2, 3, 513, 514, 515, 1100, 1101])
def test_a_table_is_gone_on_with(client, sobol, line):
    whole = client.post("/v1/sweep", json=sobol, headers=TABLE).content.splitlines(keepends=True)
    rest = client.post("/v1/sweep", json={**sobol, "from_line": line}, headers=TABLE)
    assert rest.content == b"".join(whole[line - 1 :])


def test_a_line_that_the_table_lacks(client, sobol):
    response = client.post("/v1/sweep", json={**sobol, "from_line": 1102}, headers=TABLE)
    assert response.status_code == 422
    (entry,) = response.json()["errors"]
    assert (entry["field"], entry["value"], entry["unit"]) == ("from_line", 1102, "1")
    assert entry["remedy"] == "Give a line from 1 to 1101."


def test_a_form_that_there_is_not(client, sobol):
    response = client.post("/v1/sweep", json=sobol, headers={"accept": "image/png"})
    assert response.status_code == 406
    assert "application/x-ndjson or text/csv" in response.json()["detail"]


def test_a_cluster_that_is_not_there(sobol, nobody_listens, monkeypatch):
    pytest.importorskip("distributed", reason="the extra cluster is not installed")
    monkeypatch.setattr("warmbranch_service.sweep.cluster.CONNECT_SECONDS", 0.2)
    app = create_app(Settings(warm_up=0, seconds_per_request=600, scheduler=nobody_listens))
    with TestClient(app, raise_server_exceptions=False) as client:
        response = client.post("/v1/sweep", json=sobol)
    assert response.status_code == 503
    assert response.headers["retry-after"] == "30"
    assert response.json()["type"] == "/v1/problems/no-workers"
    assert "127.0.0.1" not in response.text


@pytest.fixture
def client_of_lost_workers():
    app = create_app(Settings(warm_up=0, seconds_per_request=600))
    app.state.executor = FailsAfterOne()
    with TestClient(app) as client:
        yield client


def test_workers_lost_amid_the_lines(client_of_lost_workers, sobol):
    response = client_of_lost_workers.post("/v1/sweep", json=sobol)
    *above, last = response.text.splitlines()
    assert len(designs(above)) == 512
    assert json.loads(last)["problem"]["type"] == "/v1/problems/no-workers"


def test_workers_lost_amid_the_table(client_of_lost_workers, sobol):
    """A table has no line for a failure: the connection breaks off, as clients notice."""
    with pytest.raises(BrokenOffError, match="Sweeps are solved on other machines"):
        client_of_lost_workers.post("/v1/sweep", json=sobol, headers=TABLE)
