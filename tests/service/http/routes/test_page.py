"""The bench page as it is served: its parts, their types, what it is forbidden, its size."""

from __future__ import annotations

import json
import re
from importlib.resources import files

import pytest

from warmbranch_service.http.routes.page import MADE, MEDIA_TYPES, NAMES, part_of
from warmbranch_service.http.routes.page_bundle import UnknownFormError, bundle
from warmbranch_service.length.examples import example_text

FOLDER = files("warmbranch_service") / "page"
TEXTS = {name: (FOLDER / name).read_text(encoding="utf-8") for name in sorted(NAMES)}
INDEX = TEXTS["index.html"]
MODULES = {name for name in NAMES if name.endswith(".js")}
MOST_BYTES = 250_000
"""Of the page with all its parts, on a phone's connection: a demand on the page."""


def test_the_page_is_at_the_root(client):
    response = client.get("/")
    assert response.status_code == 200
    assert response.headers["content-type"] == "text/html; charset=utf-8"
    assert response.text.splitlines() == [line.lstrip(" ") for line in INDEX.splitlines()]
    assert client.head("/").status_code == 200


@pytest.mark.parametrize("name", sorted(NAMES - {"index.html"}))
def test_every_part_is_served_as_what_it_is(client, name):
    response = client.get(f"/page/{name}")
    assert response.status_code == 200
    assert response.text == TEXTS[name]
    assert response.headers["content-type"] == MEDIA_TYPES[name[name.rindex(".") :]]
    assert response.headers["x-content-type-options"] == "nosniff"


def test_the_invented_van_is_the_example(client):
    response = client.get("/page/van.json")
    assert response.json() == json.loads(example_text("length"))
    module = client.get("/page/van.js").text
    assert json.loads(module.removeprefix("export const VAN = ").rstrip(";\n")) == response.json()


@pytest.mark.parametrize("address", ["/", "/page/main.js", "/page/style.css", "/favicon.ico"])
def test_nothing_inline_and_nothing_from_elsewhere_may_run(client, address):
    policy = client.get(address, follow_redirects=False).headers["content-security-policy"]
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == "'self'"
    assert "unsafe" not in policy
    assert {rules[name] for name in ("object-src", "frame-ancestors", "base-uri")} == {"'none'"}


def test_the_microphone_is_for_the_page_itself_alone(client):
    policy = client.get("/").headers["permissions-policy"]
    assert policy == "camera=(), geolocation=(), microphone=(self)"


def test_the_page_obeys_its_policy():
    assert not re.search(r"<style|<script(?![^>]*\bsrc=)|\sstyle=|\son\w+=|javascript:", INDEX)
    for name, text in TEXTS.items():
        where = text.replace("http://www.w3.org/2000/svg", "")  # a name, not an address
        assert not re.search(r"https?://", where), name
        assert not re.search(r"\beval\(|new Function|innerHTML|insertAdjacentHTML", text), name


def test_what_the_page_refers_to_is_there():
    named = set(re.findall(r'(?:href|src)="page/([^"]+)"', INDEX))
    assert named <= NAMES | MADE
    imported = {
        part
        for name in MODULES
        for part in re.findall(r'(?:from|import) "\./([^"]+)"', TEXTS[name])
    }
    # None lies about unused: all go into the one file.
    assert imported | {"main.js"} == MODULES | {"van.js"}
    whole = part_of("all.js").content.decode()
    for name in MODULES:
        assert f"const part_{name[:-3]} = " in whole
    styles = part_of("all.css").content.decode()
    for name in ("style.css", "charts.css", "print.css"):
        own = "\n".join(line.lstrip(" ") for line in TEXTS[name].strip().splitlines())
        assert own in styles


def test_modules_become_one_in_the_order_in_which_they_need_each_other():
    modules = {
        "main.js": 'import { twice as double } from "./a.js";\nimport * as b from "./b.js";\n'
        "console.log(double(b.one));",
        "a.js": 'import { one } from "./b.js";\nexport function twice(x) { return 2 * x * one; }',
        "b.js": "export const one = 1;",
    }
    whole = bundle(modules, "main.js")
    assert whole.index("part_b =") < whole.index("part_a =") < whole.index("part_main =")
    assert "const { twice: double } = part_a;" in whole
    assert "const b = part_b;" in whole
    assert "return { twice };" in whole
    assert not re.search(r"^\s*(?:import|export)\b", whole, re.MULTILINE)


@pytest.mark.parametrize(
    "source",
    [
        'import a from "./a.js";',
        "export default 1;",
        "export { x };",
        'import "./main.js";',
        "f(`\n a`);",
    ],
)
def test_what_is_not_understood_of_a_module_is_an_error(source):
    with pytest.raises(UnknownFormError):
        bundle({"main.js": source, "a.js": ""}, "main.js")


def test_modules_in_a_circle_are_an_error():
    circle = {
        "main.js": 'import { a } from "./a.js";',
        "a.js": 'import { b } from "./main.js";\nexport const a = 1;',
    }
    with pytest.raises(UnknownFormError, match="circle"):
        bundle(circle, "main.js")


@pytest.mark.parametrize("name", ["", "page/all.js", "page/all.css"])
def test_compressed_for_who_takes_that(client, name):
    plain = client.get(f"/{name}", headers={"accept-encoding": "identity"})
    assert "content-encoding" not in plain.headers
    zipped = client.get(f"/{name}", headers={"accept-encoding": "br;q=0.9, gzip"})
    assert zipped.headers["content-encoding"] == "gzip"
    assert zipped.text == plain.text
    assert int(zipped.headers["content-length"]) < 0.4 * len(plain.content)
    assert "accept-encoding" in zipped.headers["vary"]
    assert zipped.headers["etag"] != plain.headers["etag"]
    refused = client.get(f"/{name}", headers={"accept-encoding": "gzip;q=0"})
    assert "content-encoding" not in refused.headers


def test_each_label_and_place_that_the_modules_name_is_in_the_page():
    ids = set(re.findall(r'\bid="([^"]+)"', INDEX))
    assert len(ids) == INDEX.count(' id="')
    used = {i for name in MODULES for i in re.findall(r'byId\("([^"]+)"\)', TEXTS[name])}
    assert used <= ids, used - ids


def test_size(client):
    sent = ["/", *(f"/page/{name}" for name in ("all.js", "all.css", "favicon.svg"))]
    assert sum(len(client.get(address).content) for address in sent) < MOST_BYTES


def test_kept_but_asked_for_again(client):
    first = client.get("/page/main.js")
    assert first.headers["cache-control"] == "no-cache"
    etag = first.headers["etag"]
    for condition in (etag, f"W/{etag}", f'"other", {etag}', "*"):
        again = client.get("/page/main.js", headers={"if-none-match": condition})
        assert again.status_code == 304
        assert again.content == b""
        assert again.headers["etag"] == etag
    assert client.get("/page/main.js", headers={"if-none-match": '"other"'}).status_code == 200
    assert client.get("/page/dom.js").headers["etag"] != etag


@pytest.mark.parametrize(
    "address", ["/page/none.js", "/page/__init__.py", "/page/..%2Fapp.py", "/page/%2e%2e/app.py"]
)
def test_nothing_else_of_the_folder_or_beyond_is_served(client, address):
    response = client.get(address)
    assert response.status_code == 404
    assert response.headers["content-type"] == "application/problem+json"


def test_the_page_is_no_part_of_the_contract(client):
    paths = client.get("/v1/openapi.json").json()["paths"]
    assert all(path.startswith("/v1/") or path == "/metrics" for path in paths)


def test_comments_stay_behind():
    source = '// What for.\nconst x = "// no comment";\n\n  // Why.\nuse(x); // here\n'
    whole = bundle({"main.js": source}, "main.js")
    assert "What for" not in whole
    assert "Why" not in whole
    assert 'const x = "// no comment";\nuse(x); // here\n' in whole


def test_comments_of_several_lines_stay_behind_and_code_beside_them_does_not():
    source = (
        "/** What it\n * does: 2 * 3. */\nexport const y = 2 /* as told */ * 3;\n"
        '/* one */\nconst z = "/* no comment */";\n  /**\n   * Why **not**.\n   */\nuse(y, z);\n'
    )
    whole = bundle({"main.js": source}, "main.js")
    for gone in ("What it", "one", "Why", "not**"):
        assert gone not in whole
    kept = 'const y = 2 /* as told */ * 3;\nconst z = "/* no comment */";\nuse(y, z);\n'
    assert kept in whole
