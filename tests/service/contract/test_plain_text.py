"""Text that acts, or is none: refused at the door in every string, key and header, by its place."""

from __future__ import annotations

import itertools
import json
import unicodedata
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shared.problems import strict
from warmbranch_service.contract.errors import Problem
from warmbranch_service.contract.plain_text import escaped, is_plain
from warmbranch_service.http.openapi import request_examples
from warmbranch_service.local import fit_of, steady_of

SHOWN = {
    name: getattr(request_examples, name)
    for name in ("steady", "length", "warmup", "fit", "learn", "sweep")
}
"""Requests that the OpenAPI document shows of each route."""

HALF = ["\ud800", "\udfff"]
ACTING = ["\x00", "\x07", "\t", "\n", "\r", "\x1b[31m", "\x7f", "\x85", "\x9b2J"]
ACTING += ["\u2028", "\u2029", "\u061c", "\u200e", "\u200f", "\u202e", "\u2066", "\u2069"]


def places(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every string and every object of a request."""
    if isinstance(value, (str, dict)):
        yield path
    children = value.items() if isinstance(value, dict) else ()
    children = enumerate(value) if isinstance(value, list) else children
    for key, child in children:
        yield from places(child, (*path, key))


def pointer(path: tuple[str | int, ...]) -> str:
    return "".join(f"/{str(part).replace('~', '~0').replace('/', '~1')}" for part in path)


def acts(text: str) -> bool:
    """By the Unicode database, not by the list that is tested."""
    return any(
        unicodedata.category(char) in ("Cc", "Cs", "Zl", "Zp")
        or unicodedata.bidirectional(char)
        in ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")
        for char in text
    )


def test_the_list_is_that_of_the_unicode_database():
    marks = {"\u061c", "\u200e", "\u200f"}  # bidirectional marks, told apart by name alone
    for code in [*range(0x3000), *range(0xD7F0, 0xE010), 0xFEFF, 0xE0001, 0x1F525]:
        char = chr(code)
        assert is_plain(char) != (acts(char) or char in marks), hex(code)
        assert is_plain(escaped(char))


def spoilt() -> Iterator[tuple[str, Any, str, str]]:
    """Every place of every request with bad text: route, body, pointer, code; each kind often."""
    bad_ones = itertools.cycle([*HALF, *ACTING])
    seen = set[tuple[str | int, ...]]()
    for route, example in ((name, one) for name, of in SHOWN.items() for one in of().values()):
        text = json.dumps(example["value"])
        for path in places(json.loads(text)):
            field = (route, *(part for part in path if isinstance(part, str)))
            if field in seen:  # of a list, its first
                continue
            seen.add(field)
            body: Any = {"body": json.loads(text)}
            *way, last = ("body", *path)
            here = body
            for part in way:
                here = here[part]
            bad = next(bad_ones)
            if isinstance(here[last], str):
                here[last], at = f"1 {bad}", pointer(path)
            else:
                here[last][f"a{bad}"] = 1
                at = pointer((*path, escaped(f"a{bad}")))
            yield route, body["body"], at, "not_unicode" if bad in HALF else "control_character"


def test_in_every_string_and_every_key_it_is_refused_by_its_place(client):
    found = list(spoilt())
    assert len(found) > 150
    assert {route for route, *_ in found} == set(SHOWN)
    for route, body, at, code in found:
        response = client.post(
            f"/v1/{route}",
            content=json.dumps(body),
            headers={"content-type": "application/json"},
        )
        assert response.status_code == 422, (route, at, response.text)
        (entry,) = strict(response.content)["errors"]
        assert (entry["pointer"], entry["code"]) == (at, code)
        assert not acts(response.text)


def test_raw_in_utf8_it_is_refused_as_well(client, van):
    body = json.dumps({**van, "x\u202e": "\u2028"}, ensure_ascii=False).encode()
    response = client.post("/v1/steady", content=body, headers={"content-type": "application/json"})
    assert response.status_code == 422
    assert response.json()["errors"][0]["code"] == "control_character"


def test_the_string_that_was_a_500(client, van, put):
    put(van, "case.branch.wall_thickness_mm", "1 \udfff")
    headers = {"content-type": "application/json"}
    response = client.post("/v1/steady", content=json.dumps(van), headers=headers)
    assert response.status_code == 422
    (entry,) = response.json()["errors"]
    assert entry["pointer"] == "/case/branch/wall_thickness_mm"


def test_text_of_other_scripts_is_let_through_to_its_field(refused, smallest, put):
    put(smallest, "case.branch.material", "нержавейка 🔥 \u200d")
    entry, _ = refused(smallest)
    assert entry["code"] == "unknown_name"


@pytest.mark.parametrize("bad", [*HALF, "\x07", "\x1b[31m", "\x9b2J", "\u202e"], ids=ascii)
def test_the_command_line_says_nothing_that_acts(smallest, put, bad):
    table = f"position_mm,displayed_degC,surface\n120,150,bare{bad}steel\n"
    with pytest.raises(Problem) as refusal:
        fit_of(json.dumps(smallest).encode(), table)
    assert refusal.value.parts.entries[0].pointer == "/readings/0/surface"
    put(smallest, "case.branch.material", f"mild{bad}steel")
    with pytest.raises(Problem) as refusal:
        steady_of(json.dumps(smallest).encode())
    assert not acts(refusal.value.parts.detail)


@settings(
    max_examples=100,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
@given(
    name=st.sampled_from(["accept", "content-type", "x-request-id", "x-api-key", "origin"]),
    value=st.text(st.characters(max_codepoint=255), max_size=40),
    path=st.text(max_size=8),
)
def test_no_header_and_no_address_comes_back_acting(client, name, value, path):
    headers = {} if name == "content-type" else {b"content-type": b"application/json"}
    headers[name.encode()] = value.encode("latin-1")
    response = client.post("/v1/steady", content="{}", headers=headers)
    assert response.status_code < 500
    assert not acts(response.text)
    assert not any(acts(told) for told in response.headers.values())
    quoted = "".join(f"%{byte:02x}" for byte in path.encode("utf-8", "surrogatepass"))
    response = client.get(f"/v1/problems/{quoted}")
    assert response.status_code == 404
    assert not acts(response.text)


@pytest.mark.parametrize(
    "value",
    [
        "application/json" + ";" * 60_000,
        "application/json; charset=utf-8" + " " * 300,
        "x" * 257,
    ],
)
def test_a_long_content_type_is_refused_before_it_is_read(client, van, value):
    response = client.post("/v1/steady", content=json.dumps(van), headers={"content-type": value})
    assert response.status_code == 415
    assert "256 bytes" in response.json()["detail"]


@pytest.mark.parametrize("encoding", ["gzip", "br", "identity, gzip", "x-unknown"])
def test_a_compressed_body_is_415(client, van, encoding):
    headers = {"content-type": "application/json", "content-encoding": encoding}
    response = client.post("/v1/steady", content=json.dumps(van), headers=headers)
    assert response.status_code == 415
    assert "compressed" in response.json()["detail"]
    headers["content-encoding"] = "identity"
    assert client.post("/v1/steady", content=json.dumps(van), headers=headers).status_code == 200
