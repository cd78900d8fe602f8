"""What the documents say is what the code does."""

import ast
import contextlib
import doctest
import importlib
import io
import re
import shlex
import tomllib
from pathlib import Path

import pytest

from shared.recordings import VAN_QUIET_RPM
from shared.typed import typed
from warmbranch_service.command import cli
from warmbranch_service.demo import DEMOS
from warmbranch_service.serving.running import LocalService

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PACKAGES = [ROOT / "models" / "warmbranch", ROOT / "service" / "warmbranch_service"]
SOURCES = {
    str(path.relative_to(ROOT)): path.read_text(encoding="utf-8")
    for folder in PACKAGES
    for path in sorted(folder.rglob("*.py"))
}
WITH_EXAMPLES = [
    ".".join(Path(name).with_suffix("").parts[1:])
    for name, text in SOURCES.items()
    if ">>> " in text
]


def _blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples_in_docstrings(name):
    failures, tried = doctest.testmod(importlib.import_module(name))
    assert failures == 0
    assert tried > 0


def test_some_docstrings_hold_examples():
    assert len(WITH_EXAMPLES) > 10


def named_tests(text: str) -> set[str]:
    """Paths of tests and benchmarks that a text names."""
    return set(re.findall(r"\btests/[\w/]+\.py\b", text))


def cited_sources(text: str) -> set[str]:
    """Keys such as ``[Gnielinski2013]``: a name, or several, and a year."""
    return set(re.findall(r"\[([A-Z][A-Za-z]+(?:1[89]|20)\d\d[A-Za-z]*)\]", text))


def test_every_test_that_is_named_is_there():
    texts = dict(SOURCES, **{"README.md": README})
    for folder in ("tests", "fixtures"):
        for path in (ROOT / folder).rglob("*.*"):
            if path.suffix in (".py", ".toml", ".md") and path != Path(__file__):
                texts[str(path.relative_to(ROOT))] = path.read_text(encoding="utf-8")
    missing = {
        f"{name}: {named}"
        for name, text in texts.items()
        for named in named_tests(text)
        if not (ROOT / named).is_file()
    }
    assert not missing
    assert sum(bool(named_tests(text)) for text in SOURCES.values()) > 20


def test_every_source_that_is_cited_by_its_key_has_its_values():
    """What has no fixture is cited in words: author, place, year."""
    kept = {path.stem for path in (ROOT / "fixtures" / "published").glob("*.toml")}
    cited = {f"{name}: {key}" for name, text in SOURCES.items() for key in cited_sources(text)}
    assert len(cited) > 10
    assert not {one for one in cited if one.rpartition(" ")[2] not in kept}


def test_what_is_named_is_recognised():
    assert named_tests("in tests/models/a_b/test_c.py, as") == {"tests/models/a_b/test_c.py"}
    assert cited_sources("[Nobody1999], [Old & New (2001)], Field[Any], [Ji2005]") == {
        "Nobody1999",
        "Ji2005",
    }


def test_visible_top_level():
    visible = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml"}
    allowed |= {"service", "models", "tests", "fixtures"}
    assert visible <= allowed


def test_readme_opens_with_the_job_in_one_paragraph():
    title, paragraph, *_ = README.split("\n\n")
    assert title == "# Warmbranch"
    assert "closed side branch" in paragraph


def test_readme_has_the_two_commands_and_a_call_each_way():
    commands = [line for block in _blocks("sh") for line in block.splitlines()]
    assert sum("warmbranch demo" in line for line in commands) == 1
    assert sum("pytest" in line for line in commands) == 1
    assert any(line.startswith("curl") for line in commands)


def test_readme_python_runs_and_gives_the_numbers_it_states():
    (program,) = [block for block in _blocks("python") if "from warmbranch import" in block]
    printed = _printed_by(program).splitlines()
    comments = re.findall(r"^print\(.*\)  # (.*)$", program, re.MULTILINE)
    assert len(comments) == len(printed) == 2
    for comment, line in zip(comments, printed, strict=True):
        stated = re.findall(r"-?\d+\.\d+", comment)
        numbers = re.findall(r"-?\d+\.\d+(?:e[+-]\d+)?", line)
        assert len(stated) >= 2
        digits = [len(text.partition(".")[2]) for text in stated]
        assert [f"{float(x):.{n}f}" for x, n in zip(numbers, digits, strict=True)] == stated


def test_readme_job_is_answered_in_five_lines():
    (program,) = [block for block in _blocks("python") if "import Job" in block]
    (stated,) = re.findall(r"# ([\d.]+)$", program, re.MULTILINE)
    assert f"{float(_printed_by(program)):.1f}" == stated
    statements = ast.parse(program).body
    assert len(statements) <= 5


def test_readme_jobs_of_a_folder_teach_the_next(tmp_path, monkeypatch, capsys):
    one, learns = (
        next(block for block in _blocks("python") if part in block)
        for part in ("import Job", "Job.learn")
    )
    (tmp_path / "jobs").mkdir()
    monkeypatch.chdir(tmp_path)
    for name in ("fit", "heard"):
        typed(f"warmbranch example {name} > jobs/{name}.json", capsys)
    _, interval = _printed_by(one + learns).splitlines()
    low, high = map(float, re.findall(r"\d+\.\d+", interval))
    assert 1100 < low < 1189 < high < 1300
    assert len(ast.parse(learns).body) <= 5


def test_readme_story_runs_and_gives_its_numbers(tmp_path, monkeypatch, capsys):
    """From drone to done: each command as it stands, in order, and the numbers of the text."""
    monkeypatch.chdir(tmp_path)
    (story,) = [block for block in _blocks("sh") if "learned.json" in block]
    said = ""
    for line in story.splitlines():
        said += typed(line, capsys)
    text = " ".join(README.split())
    for number in ("1157", "1195", "1545", "2267 rpm", "2128 rpm"):
        assert number in text
    for number in ("Right length 1156.6 mm; build 1195.4 mm", "1545 mm", "2267 rpm", "2128 rpm"):
        assert number in said
    assert Path("learned.json").stat().st_size > 100


def test_readme_recordings_are_heard(monkeypatch, capsys):
    (block,) = [b for b in _blocks("sh") if "warmbranch listen" in b]
    monkeypatch.chdir(ROOT)
    assert cli.main(shlex.split(block.replace("\\\n", " "))[1:]) == 0
    said = " ".join(capsys.readouterr().out.split())
    (true,) = re.findall(r"with the notch at (\d+) rpm", README)
    assert float(true) == VAN_QUIET_RPM
    low, high = re.findall(r"bites at \d+ rpm \((\d+) to (\d+)", said)[0]
    assert float(low) < float(true) < float(high)


def test_readme_names_extras_commands_and_options_that_there_are():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    named = {e for group in re.findall(r"\.\[([a-z,]+)\]", README) for e in group.split(",")}
    assert named <= set(project["optional-dependencies"])
    for command, rest in re.findall(r"(?<!from )warmbranch ([a-z]+)((?: [^`\n|;#]*)?)", README):
        if command not in cli.warmbranch.commands:
            assert command in ("demo", "serve"), command
        known = {o for p in cli.warmbranch.commands[command].params for o in p.opts} | {"--help"}
        assert {w for w in rest.split() if re.match("--[a-z]", w)} <= known, (command, rest)


def test_pictures_in_the_readme_are_there():
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README)
    assert len(pictures) >= 3
    assert all((ROOT / name).is_file() for name in pictures)


def test_other_servers_find_the_application():
    (factory,) = re.findall(r"uvicorn --factory ([\w.:]+)`", README)
    module, _, name = factory.partition(":")
    assert callable(getattr(importlib.import_module(module), name))


def test_readme_client_is_answered(monkeypatch):
    (program,) = [block for block in _blocks("python") if "Client(" in block]
    monkeypatch.setenv("WARMBRANCH_WARM_UP", "0")
    with LocalService(0) as service:
        frequencies, remedy = _printed_by(
            program.replace("http://localhost:8000", service.address)
        ).splitlines()
    assert len(re.findall(r"\d+\.\d+", frequencies)) == 3
    said = program.rpartition("# ")[2].partition("…")[0]
    assert len(said) > 20
    assert remedy.startswith(said)


def _printed_by(program: str) -> str:
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(compile(program, "README.md", "exec"), {})
    return printed.getvalue()


def test_readme_curl_is_answered(client):
    (block,) = [b for b in _blocks("sh") if b.startswith("curl")]
    words = shlex.split(block)
    body = words[words.index("-d") + 1]
    response = client.post("/v1/steady", content=body, headers={"content-type": "application/json"})
    assert response.status_code == 200, response.text
    assert response.json()["resonance"]["quiet_rpm"] > 0


def test_developers_names_every_dependency():
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    named = set(re.findall(r'^    "([A-Za-z][\w-]*)(?:\[\w+\])?>=', text, flags=re.MULTILINE))
    named |= set(re.findall(r'"([a-z-]+)>=', text))
    missing = {n for n in named if n.lower() not in DEVELOPERS.lower()} - {"hatchling"}
    assert not missing


def test_demonstrations_are_marked_as_invented():
    fixtures = (ROOT / "fixtures" / "README.md").read_text(encoding="utf-8")
    assert "invented" in README
    assert all("nvented" in text for _, text in DEMOS.values())
    assert "invented" in fixtures


def test_no_address_of_the_project_is_invented():
    """Either it has a public home, which the package names, or the README says that it has none."""
    named = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    homeless = "has no public home yet" in " ".join(README.split())
    assert homeless == ("urls" not in named)
