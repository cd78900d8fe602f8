"""``warmbranch sweep``: the same lines and tables whichever way they are asked for."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys

import pyarrow.parquet
import pytest

from warmbranch_service.command import cli
from warmbranch_service.command import sweep as command
from warmbranch_service.sweep import parquet

FORMATS = ("ndjson", "csv", "parquet")


@pytest.fixture
def request_file(tmp_path, sobol):
    """Three chunks, some designs of which are not admitted."""
    path = tmp_path / "many.json"
    path.write_text(json.dumps(sobol), encoding="utf-8")
    return path


@pytest.fixture
def sweep(request_file, tmp_path, capfd):
    """Run the command on the request; exit status, what it wrote to its file, what it said."""

    def run(form, *options, status=0):
        path = tmp_path / f"many.{form}"
        given = cli.main(["sweep", str(request_file), "--output", str(path), *options])
        said = capfd.readouterr()
        assert given == status, said.err
        assert said.out == ""
        return path, said.err

    return run


@pytest.fixture
def lines(client, sobol):
    return client.post("/v1/sweep", json=sobol).content


def test_standard_output_is_what_the_service_gives(request_file, lines, capfdbinary):
    assert cli.main(["sweep", str(request_file)]) == 0
    assert capfdbinary.readouterr().out == lines


def test_file_of_lines_is_what_the_service_gives(sweep, lines):
    path, said = sweep("ndjson")
    assert path.read_bytes() == lines
    assert said == ""  # no progress bar but on a terminal


def test_from_line_on_standard_output(request_file, sobol, lines, capfdbinary):
    request_file.write_text(json.dumps({**sobol, "from_line": 600}), encoding="utf-8")
    assert cli.main(["sweep", str(request_file)]) == 0
    assert capfdbinary.readouterr().out == b"".join(lines.splitlines(keepends=True)[599:])


def table_of(lines):
    """The service's lines as the table that they should become."""
    header, *rest = map(json.loads, lines.splitlines())
    designs = [line for line in rest if "index" in line]
    outputs = [output["name"] for output in header["sweep"]["outputs"]]
    heading = ["index", *designs[0]["inputs"], "outcome", *outputs, "errors"]
    rows = [
        [
            line["index"],
            *line["inputs"].values(),
            line["outcome"],
            *[(line["outputs"] or {}).get(name) for name in outputs],
            " ".join(part for e in line["errors"] for part in (e["detail"], e["remedy"])) or None,
        ]
        for line in designs
    ]
    return heading, rows


def test_csv_holds_the_lines(sweep, lines):
    path, _ = sweep("csv")
    found = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))
    heading, rows = table_of(lines)
    assert found[0] == heading
    as_text = [["" if value is None else str(value) for value in row] for row in rows]
    assert found[1:] == as_text
    assert any(row[-1] for row in rows)
    assert not path.with_name("many.csv.resume").exists()


def test_csv_on_standard_output(sweep, request_file, capfd):
    path, _ = sweep("csv")
    assert cli.main(["sweep", str(request_file), "--format", "csv"]) == 0
    assert capfd.readouterr().out.encode() == path.read_bytes()


def test_parquet_holds_the_lines(sweep, lines):
    path, _ = sweep("parquet")
    table = pyarrow.parquet.read_table(path)
    heading, rows = table_of(lines)
    assert table.column_names == heading
    assert [list(row.values()) for row in table.to_pylist()] == rows
    units = {field.name: (field.metadata or {}).get(b"unit") for field in table.schema}
    assert units["case.main_pipe.gas_temperature_degC"] == b"degC"
    assert units["resonance.quiet_rpm"] == b"rpm"
    assert units["outcome"] is None


def test_names_and_numbers_in_a_table(tmp_path, van, capfd):
    """Text as text, whole numbers as numbers."""
    body = {
        **van,
        "vary": [
            {"field": "case.branch.material", "values": ["copper", "mild steel"]},
            {"field": "case.engine.cylinders", "values": [3, 4]},
        ],
        "outputs": ["resonance.engine_order"],
    }
    request = tmp_path / "few.json"
    request.write_text(json.dumps(body), encoding="utf-8")
    for form in ("csv", "parquet"):
        assert cli.main(["sweep", str(request), "--output", str(tmp_path / f"few.{form}")]) == 0
    table = pyarrow.parquet.read_table(tmp_path / "few.parquet").to_pydict()
    assert table["case.branch.material"] == ["copper"] * 2 + ["mild steel"] * 2
    assert table["case.engine.cylinders"] == [3.0, 4.0, 3.0, 4.0]
    assert table["resonance.engine_order"] == [1.5, 2.0, 1.5, 2.0]
    second = (tmp_path / "few.csv").read_text(encoding="utf-8").splitlines()[1]
    assert second == "0,copper,3,resonance found,1.5,"


@pytest.mark.parametrize("form", FORMATS)
def test_file_that_is_there_is_not_touched(sweep, tmp_path, form):
    path = tmp_path / f"many.{form}"
    path.write_bytes(b"mine")
    _, said = sweep(form, status=2)
    assert path.read_bytes() == b"mine"
    assert "is there already. Add --resume" in said


@pytest.mark.parametrize("form", FORMATS)
def test_file_of_something_else_is_not_gone_on_with(sweep, tmp_path, form):
    path = tmp_path / f"many.{form}"
    path.write_bytes(b"mine\nand yours\n")
    _, said = sweep(form, "--resume", status=2)
    assert path.read_bytes() == b"mine\nand yours\n"
    assert "another --output" in said


@pytest.mark.usefixtures("solved_once")
@pytest.mark.parametrize("form", FORMATS)
def test_file_of_another_sweep_is_not_gone_on_with(sweep, sobol, request_file, form):
    path, _ = sweep(form)
    if form == "csv":  # as if it had not been ended: a whole one may hold any sweep
        before = json.dumps({"sweep": {"identity": "another", "designs": 1100}})
        path.with_name("many.csv.resume").write_text(before, encoding="utf-8")
    else:
        sobol["sampling"]["seed"] = 4
        request_file.write_text(json.dumps(sobol), encoding="utf-8")
    content = path.read_bytes()
    _, said = sweep(form, "--resume", status=2)
    assert "holds another sweep" in said
    assert path.read_bytes() == content


@pytest.mark.usefixtures("solved_once")
@pytest.mark.parametrize("form", FORMATS)
def test_resume_begins_and_ends_a_file(sweep, form):
    """Without a file it begins one; a whole one it leaves as it is."""
    path, _ = sweep(form, "--resume")
    content = path.read_bytes()
    sweep(form, "--resume")
    assert path.read_bytes() == content


def cuts(content):
    """Places to cut at: in the first line and behind it, in a chunk, about a chunk's end."""
    ends = [i + 1 for i, byte in enumerate(content) if byte == 10]
    behind = [ends[i] for i in (0, 300, 511, 512, 513, 1050, -2)]
    return [1, *behind, ends[0] - 1, ends[0] + 5, ends[300] + 9, ends[514] - 1, len(content) - 1]


@pytest.mark.usefixtures("solved_once")
@pytest.mark.parametrize("form", ["ndjson", "csv"])
def test_cut_off_anywhere_it_is_gone_on_with_to_the_same_bytes(sweep, form):
    path, _ = sweep(form)
    content, note = path.read_bytes(), path.with_name("many.csv.resume")
    if form == "csv":  # the note that stands beside it until it is whole
        path.unlink()
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("warmbranch_service.sweep.writers.CsvWriter.end", lambda _: None)
            sweep(form)
        kept = note.read_bytes()
    for place in cuts(content):
        path.write_bytes(content[:place])
        if form == "csv":
            note.write_bytes(kept)
        sweep(form, "--resume")
        assert path.read_bytes() == content, place
        assert not note.exists()


def test_csv_without_its_note_is_not_gone_on_with(sweep):
    path, _ = sweep("csv")
    content = path.read_bytes()[:-20]
    path.write_bytes(content)
    _, said = sweep("csv", "--resume", status=2)
    assert "many.csv.resume" in said
    assert path.read_bytes() == content


def test_lines_that_a_service_broke_off_are_gone_on_with(sweep, tmp_path, lines):
    """What a client saved of an answer whose last line tells a failure."""
    path = tmp_path / "many.ndjson"
    part = b"".join(lines.splitlines(keepends=True)[:700])
    path.write_bytes(part + b'{"problem":{"status":503}}\n')
    sweep("ndjson", "--resume")
    assert path.read_bytes() == lines


@pytest.mark.usefixtures("solved_once")
@pytest.mark.parametrize("designs", [0, 1, 512, 700, 1099])
def test_parquet_that_was_ended_is_gone_on_with_to_the_same_bytes(sweep, monkeypatch, designs):
    """Row groups of 600, so that they end neither where chunks do nor where the run was ended."""
    monkeypatch.setattr(parquet, "DESIGNS_A_GROUP", 600)
    path, _ = sweep("parquet")
    content = path.read_bytes()
    table = pyarrow.parquet.read_table(path)
    with pyarrow.parquet.ParquetWriter(path, table.schema, compression="zstd") as part:
        if designs:
            part.write_table(table.slice(0, designs))
    sweep("parquet", "--resume")
    assert path.read_bytes() == content
    assert pyarrow.parquet.ParquetFile(path).num_row_groups == 2


def test_parquet_without_pyarrow(sweep, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    path, said = sweep("parquet", status=2)
    assert "pip install 'warmbranch[parquet]'" in said
    assert not path.exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--output", "many.txt"], "does not end with .ndjson, .jsonl, .csv, .parquet"),
        (["--format", "parquet"], "Name it: --output FILE.parquet"),
        (["--resume"], "Name it: --output FILE"),
        (["--output", "no/such/folder/many.csv"], "cannot be written: No such file or directory"),
    ],
)
def test_what_cannot_be_done_is_said(request_file, arguments, words, capfd):
    assert cli.main(["sweep", str(request_file), *arguments]) == 2
    said = capfd.readouterr()
    assert words in said.err
    assert said.out == ""


def test_from_line_is_not_for_files(sweep, request_file, sobol):
    request_file.write_text(json.dumps({**sobol, "from_line": 600}), encoding="utf-8")
    path, said = sweep("ndjson", status=2)
    assert "leave from_line out" in said
    assert not path.exists()


def test_refused_request_names_its_field(request_file, sobol, capfd):
    sobol["vary"][0]["field"] = "case.branch.colour"
    request_file.write_text(json.dumps(sobol), encoding="utf-8")
    assert cli.main(["sweep", str(request_file)]) == 2
    assert "vary[0].field" in capfd.readouterr().err


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="/dev/full is Linux's own")
def test_full_disk_is_a_clear_failure(request_file):
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "warmbranch_service", "sweep", str(request_file)],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=120,
        )
    assert done.returncode in (1, 2)
    assert "standard output cannot be written: No space left on device" in done.stderr
    assert "Traceback" not in done.stderr


def test_example_is_answered(tmp_path, capfd):
    assert cli.main(["example", "sweep"]) == 0
    path = tmp_path / "many.json"
    path.write_text(capfd.readouterr().out, encoding="utf-8")
    assert cli.main(["sweep", str(path)]) == 0
    lines = capfd.readouterr().out.splitlines()
    assert json.loads(lines[-1])["end"]["complete"]


def test_help_teaches(capsys):
    assert cli.main(["sweep", "--help"]) == 0
    text = capsys.readouterr().out
    for word in ("warmbranch example sweep", "--resume", "Ctrl-C", "parquet", "lognormal", "130"):
        assert word in text
    assert max(map(len, command.TEACHING.splitlines())) <= 100
