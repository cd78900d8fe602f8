"""The documentation to be tried loads nothing from elsewhere."""

from __future__ import annotations

import re
from urllib.parse import urljoin

import pytest

from warmbranch_service.http.routes.docs import FILES


def test_the_page_names_only_files_that_are_served(client):
    page = client.get("/v1/docs")
    assert page.status_code == 200
    assert page.headers["content-type"] == "text/html; charset=utf-8"
    named = re.findall(r'(?:src|href)="([^"]+)"', page.text)
    assert len(named) == 9
    for address in named:
        assert client.get(urljoin("/v1/docs", address)).status_code == 200, address
    assert urljoin("/v1/docs", "../") == "/"
    assert "../" in named  # the way back to the bench page, which links here
    assert "<script>" not in page.text  # what the policy would forbid


@pytest.mark.parametrize("name", FILES)
def test_files_come_with_their_type_and_are_not_sent_twice(client, name):
    first = client.get(f"/v1/docs/{name}")
    assert first.status_code == 200
    assert first.headers["content-type"] == FILES[name][2]
    assert "script-src" not in first.headers["content-security-policy"]  # default-src 'self' holds
    assert len(first.content) > 100
    again = client.get(f"/v1/docs/{name}", headers={"if-none-match": first.headers["etag"]})
    assert again.status_code == 304
    assert again.content == b""


def test_nothing_else_is_served(client):
    for name in ("nothing", "..%2fapp.py", "NOTICE"):
        assert client.get(f"/v1/docs/{name}").status_code == 404


def test_the_licence_of_what_draws_it_is_handed_out_with_it(client):
    text = client.get("/v1/docs/LICENSE").text
    assert "Apache License" in text
    assert "Version 2.0" in text
