"""Clients that strangers generate from the OpenAPI document: they compile and complete calls.

By openapi-python-client, which the extra test installs, and by openapi-typescript with
openapi-fetch, which npm installs at the versions below.
"""

from __future__ import annotations

import compileall
import importlib
import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from warmbranch_service.http.openapi import request_examples

DOCUMENT = Path(__file__).parents[3] / "fixtures/openapi.json"
NPM = ("openapi-typescript@7.13.0", "openapi-fetch@0.17.0", "typescript@5.9.3", "@types/node@20")
STRICTLY = [
    *("--strict", "--noUncheckedIndexedAccess", "--exactOptionalPropertyTypes"),
    *("--target", "es2022", "--module", "nodenext", "--moduleResolution", "nodenext"),
    *("--outDir", "built"),
]

PROGRAM = """
import createClient from "openapi-fetch";
import type { paths } from "./schema.js";

const client = createClient<paths>({ baseUrl: process.argv[2]! });
const { data, error } = await client.POST("/v1/steady", {
  body: {
    case: {
      branch: { outside_diameter_mm: 48.3, wall_thickness_mm: "1.5 mm", length_mm: 900 },
      main_pipe: { outside_diameter_mm: 60.3, wall_thickness_mm: 1.5, gas_temperature_degC: 310 },
    },
  },
});
if (error) throw new Error(error.detail);
if (typeof data === "string") throw new Error("this is CSV");
const first: number | null | undefined = data.resonance.frequency_Hz[0];
console.log(first);

const refused = await client.POST("/v1/steady", {
  body: {
    case: {
      branch: { outside_diameter_mm: -1, wall_thickness_mm: 1.5, length_mm: 900 },
      main_pipe: { outside_diameter_mm: 60.3, wall_thickness_mm: 1.5, gas_temperature_degC: 310 },
    },
  },
});
console.log(refused.error?.errors[0]?.field);
"""


def run(command, folder):
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout + done.stderr


@pytest.fixture(scope="module")
def generated(tmp_path_factory):
    """The Python client's package."""
    folder = tmp_path_factory.mktemp("python")
    command = [
        *(sys.executable, "-m", "openapi_python_client", "generate", "--path", DOCUMENT),
        *("--meta", "none", "--output-path", folder / "branch_client"),
    ]
    said = run(command, folder)
    assert "removal" not in said, said  # what it cannot express it leaves out, and goes on
    assert compileall.compile_dir(folder, quiet=2)
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(folder)
        yield importlib.import_module("branch_client")


ROUTES = {
    "steady": request_examples.steady,
    "fit": request_examples.fit,
    "length": request_examples.length,
    "warmup": request_examples.warmup,
}


@pytest.mark.parametrize("route", ROUTES)
def test_python(generated, address, route):
    models = importlib.import_module("branch_client.models")
    call = importlib.import_module(f"branch_client.api.model.{route}").sync_detailed
    request = getattr(models, f"{route.capitalize()}Request")
    with generated.Client(base_url=address, timeout=60) as client:
        example = next(iter(ROUTES[route]().values()))["value"]
        response = call(client=client, body=request.from_dict(example))
        assert response.status_code == 200
        assert isinstance(response.parsed, getattr(models, f"{route.capitalize()}Answer"))
        assert response.parsed.to_dict() == json.loads(response.content)
        wrong = json.loads(json.dumps(example))
        wrong["case"]["branch"]["wall_thickness_mm"] = -1
        refused = call(client=client, body=request.from_dict(wrong))
        assert refused.status_code == 422
        assert refused.parsed.errors[0].field == "case.branch.wall_thickness_mm"


@pytest.mark.exhaustive
def test_typescript(address, tmp_path):
    if shutil.which("npm") is None:
        pytest.skip("Node.js and npm are not installed here")
    (tmp_path / "package.json").write_text('{"private": true, "type": "module"}')
    (tmp_path / "use.ts").write_text(PROGRAM)
    run(["npm", "install", "--no-audit", "--no-fund", "--save-exact", *NPM], tmp_path)
    # A field with a default may be left out; by default the generator asks for it all the same.
    generator = ["npx", "openapi-typescript", DOCUMENT, "--default-non-nullable=false"]
    run([*generator, "-o", "schema.d.ts"], tmp_path)
    run(["npx", "tsc", *STRICTLY, "use.ts"], tmp_path)
    first, field = run(["node", "built/use.js", address], tmp_path).split()
    assert 60 < float(first) < 130
    assert field == "case.branch.outside_diameter_mm"
