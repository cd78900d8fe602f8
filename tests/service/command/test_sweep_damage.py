"""Files of sweeps that were damaged, are written by two, or for which there is no room.

What is told as written can be read back, and what ``--resume`` gives is the same bytes as ever.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import resource
from collections.abc import Iterator

import pyarrow.parquet
import pytest

from warmbranch_service.command import cli
from warmbranch_service.sweep import parquet
from warmbranch_service.sweep.writers import CsvWriter

pytestmark = pytest.mark.usefixtures("solved_once")

FORMATS = ("ndjson", "csv", "parquet")


@pytest.fixture
def request_file(tmp_path, sobol):
    path = tmp_path / "many.json"
    path.write_text(json.dumps(sobol), encoding="utf-8")
    return path


@pytest.fixture
def sweep(request_file, tmp_path, capfd):
    """Run the command; its file and what it said."""

    def run(form, *options, status=0):
        path = tmp_path / f"many.{form}"
        given = cli.main(["sweep", str(request_file), "--output", str(path), *options])
        said = capfd.readouterr()
        assert given == status, said.err
        assert "Traceback" not in said.err
        return path, said.err

    return run


@pytest.fixture
def unfinished(sweep, monkeypatch):
    """A file as a run that was killed leaves it: its path, its whole content, its note."""

    def make(form):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(CsvWriter, "end", lambda _: None)
            path, _ = sweep(form)
        note = path.with_name("many.csv.resume")
        return path, path.read_bytes(), note.read_bytes() if form == "csv" else b""

    return make


def damaged(content: bytes, form: str) -> Iterator[bytes]:
    """What was found to spoil a file, or to end in a traceback, and more of that kind."""
    lines = content.splitlines(keepends=True)
    part = b"".join(lines[:700])
    yield part + b"\n"  # a blank last line
    yield part + b"garbage\n"
    yield part + b"\x00\xff\xfe\n"
    yield part + lines[700][:20] + b"\n"  # half a line
    yield part + lines[700][:20] + lines[701]  # half a line, and the next behind it
    yield part + lines[702]  # one left out
    yield part + lines[699]  # one twice
    yield part + b"\n".join([b"5", b"null", b"[]", b'"sweep"', b'{"index":null}', b""])
    yield b"".join(lines[:300]) + b"x" * 3_000_000 + b"\n" + b"".join(lines[300:])
    yield b"".join([*lines[:300], b"\n", *lines[300:]])  # amid
    beyond = b'{"index":1000000000}\n' if form == "ndjson" else b"1000000000,1,2,x,3,\n"
    yield part + beyond
    yield content + lines[-1]  # more than there is
    yield content + b"\n"


@pytest.mark.parametrize("form", ["ndjson", "csv"])
def test_a_damaged_file_is_gone_on_with_to_the_same_bytes(sweep, unfinished, form):
    path, content, kept = unfinished(form)
    for number, spoilt in enumerate(damaged(content, form)):
        path.write_bytes(spoilt)
        if form == "csv":
            path.with_name("many.csv.resume").write_bytes(kept)
        sweep(form, "--resume")
        assert path.read_bytes() == content, number


@pytest.mark.parametrize("note", [b"", b"{", b"[]", b"5", b"{}", b"\xff"])
def test_a_damaged_note_is_told(sweep, unfinished, note):
    path, content, _ = unfinished("csv")
    path.with_name("many.csv.resume").write_bytes(note)
    _, said = sweep("csv", "--resume", status=2)
    assert "many.csv.resume" in said
    assert "is damaged" in said
    assert path.read_bytes() == content


def test_a_parquet_file_with_rows_that_do_not_belong_is_made_anew_from_there(sweep, monkeypatch):
    monkeypatch.setattr(parquet, "DESIGNS_A_GROUP", 200)
    path, _ = sweep("parquet")
    content = path.read_bytes()
    table = pyarrow.parquet.read_table(path)
    for parts in ([(0, 400), (600, 200)], [(0, 200), (0, 200)], [(700, 100)]):
        with pyarrow.parquet.ParquetWriter(path, table.schema, compression="zstd") as part:
            for start, count in parts:
                part.write_table(table.slice(start, count))
        sweep("parquet", "--resume")
        assert path.read_bytes() == content
    with pyarrow.parquet.ParquetWriter(path, table.schema, compression="zstd") as part:
        part.write_table(table)
        part.write_table(table)
    assert "another --output" in sweep("parquet", "--resume", status=2)[1]


def test_a_parquet_file_with_damaged_pages_is_told_or_made_anew(sweep, monkeypatch):
    monkeypatch.setattr(parquet, "DESIGNS_A_GROUP", 200)
    path, _ = sweep("parquet")
    content = path.read_bytes()
    table = pyarrow.parquet.read_table(path)
    with pyarrow.parquet.ParquetWriter(path, table.schema, compression="zstd") as part:
        for start in (0, 200, 400):
            part.write_table(table.slice(start, 200))
    spoilt = bytearray(path.read_bytes())
    third = pyarrow.parquet.ParquetFile(path).metadata.row_group(2).column(0)
    place = third.dictionary_page_offset or third.data_page_offset
    spoilt[place : place + 60] = b"\xff" * 60
    path.write_bytes(spoilt)
    sweep("parquet", "--resume")
    assert path.read_bytes() == content


@contextlib.contextmanager
def room_for(size: int) -> Iterator[None]:
    """No file may grow beyond a size: as on a disk that is full there."""
    kept = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, kept[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, kept)


def designs_in(path, form) -> int:
    if not path.exists():
        return 0
    if form == "parquet":
        return pyarrow.parquet.read_table(path).num_rows
    lines = path.read_bytes().splitlines(keepends=True)
    marks = {"ndjson": b'{"index"', "csv": b""}[form]
    whole = [line for line in lines if line.endswith(b"\n") and line.startswith(marks)]
    return len(whole) - (form == "csv" and bool(whole))


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("share", [0.01, 0.3, 0.9, 0.999])
def test_no_room_tells_what_can_be_read_back(sweep, form, share):
    path, _ = sweep(form)
    content = path.read_bytes()
    path.unlink()
    with room_for(max(1000, int(share * len(content)))):  # what is said is a file, too
        _, said = sweep(form, status=1)
    assert "cannot be written: " in said
    told = int(said.partition(" of 1100 designs")[0].splitlines()[-1])
    assert told <= designs_in(path, form)
    if share > 0.9 and form != "parquet":
        assert told >= 1024
    sweep(form, "--resume")
    assert path.read_bytes() == content
    assert not path.with_name(path.name + ".new").exists()


def test_no_room_leaves_a_parquet_file_that_was_gone_on_with_as_it_was(sweep):
    path, _ = sweep("parquet")
    table, whole = pyarrow.parquet.read_table(path), path.read_bytes()
    with pyarrow.parquet.ParquetWriter(path, table.schema, compression="zstd") as part:
        part.write_table(table.slice(0, 700))
    content = path.read_bytes()
    with room_for(len(content) // 2):
        _, said = sweep("parquet", "--resume", status=1)
    assert "700 of 1100 designs are written" in said
    assert path.read_bytes() == content
    sweep("parquet", "--resume")
    assert path.read_bytes() == whole


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("options", [(), ("--resume",)])
def test_two_processes_do_not_write_one_file(sweep, tmp_path, form, options):
    path = tmp_path / (f"many.{form}" + (".new" if form == "parquet" else ""))
    with path.open("ab") as other:
        fcntl.flock(other, fcntl.LOCK_EX)
        _, said = sweep(form, *options, status=2)
        assert "is being written by another process" in said
        assert path.read_bytes() == b""
