"""What documents and files claim about each other holds."""

from __future__ import annotations

import json
import re
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def tracked() -> list[Path]:
    """Files of the checkout, without what git ignores."""
    done = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        check=False,
        capture_output=True,
        text=True,
    )
    if done.returncode != 0:
        pytest.skip("not a git checkout")
    return [ROOT / name for name in done.stdout.split("\0") if name and (ROOT / name).is_file()]


def documents() -> list[Path]:
    return sorted(
        {*ROOT.glob("*.md"), *ROOT.glob("docs/**/*.md"), *ROOT.glob("sample_meshes/*.md")}
    )


@pytest.mark.parametrize("path", documents(), ids=lambda p: str(p.relative_to(ROOT)))
def test_links_lead_somewhere(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        if re.match(r"[a-z]+:", target):
            continue
        name, _, anchor = target.partition("#")
        aim = (path.parent / name) if name else path
        assert aim.exists(), target
        if anchor:
            inside = aim.read_text(encoding="utf-8")
            heads = [
                re.sub(r"[^\w\- ]", "", head.lower()).strip().replace(" ", "-")
                for head in re.findall(r"^#+ (.*)$", inside, re.MULTILINE)
            ]
            assert anchor in heads or f'name="{anchor}"' in inside, target


def test_every_document_is_reached_from_the_readme() -> None:
    reached, todo = set(), [ROOT / "README.md"]
    while todo:
        path = todo.pop()
        if path in reached:
            continue
        reached.add(path)
        if path.suffix != ".md":
            continue
        for target in re.findall(r"\]\(([^)#\s]+)[^)]*\)", path.read_text(encoding="utf-8")):
            aim = (path.parent / target).resolve()
            if aim.is_dir():
                todo += aim.glob("*.md")
            elif aim.is_file():
                todo.append(aim)
    assert set(documents()) <= reached


def test_every_decision_is_in_the_list_once_and_numbered_without_holes() -> None:
    folder = ROOT / "docs" / "decisions"
    names = sorted(p.name for p in folder.glob("[0-9]*.md"))
    assert [int(name[:4]) for name in names] == list(range(1, len(names) + 1))
    text = (folder / "README.md").read_text(encoding="utf-8")
    assert re.findall(r"\]\((\d{4}[^)]*\.md)\)", text) == names
    for name in names:
        head = (folder / name).read_text(encoding="utf-8").partition("\n")[0]
        assert head.startswith(f"# {name[:4]} ")


def test_every_schema_is_valid_json_schema() -> None:
    from jsonschema import Draft202012Validator

    schemas = sorted((ROOT / "docs").rglob("*schema*.json"))
    assert schemas
    for path in schemas:
        Draft202012Validator.check_schema(json.loads(path.read_text(encoding="utf-8")))


def test_no_file_names_a_host_of_a_package_registry() -> None:
    # In pieces, so that this file does not name one either.
    hosts = [
        "pypi" + ".org",
        "python" + "hosted",
        "npm" + "js.",
        "deb." + "debian",
        "crates" + ".io",
    ]
    for path in tracked():
        data = path.read_bytes().lower()
        assert not [host for host in hosts if host.encode() in data], path


def test_files_are_of_bearable_size_and_none_is_made() -> None:
    for path in tracked():
        assert path.stat().st_size <= 6_300_000, path
        assert "__pycache__" not in path.parts


def test_version_is_the_same_everywhere() -> None:
    import clearturn

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == clearturn.__version__
    assert f"## {project['version']}" in (ROOT / "docs" / "CHANGELOG.md").read_text(
        encoding="utf-8"
    )


def test_manual_names_every_command() -> None:
    from clearturn_app.cli.main import COMMANDS

    text = (ROOT / "docs" / "manual" / "command-line.md").read_text(encoding="utf-8")
    assert re.findall(r"^## (\w+):", text, re.MULTILINE) == sorted(
        COMMANDS, key=lambda name: text.find(f"## {name}:")
    )


def test_pins_are_explained() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    table = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## Pins")[2]
    extras = [r for group in project["optional-dependencies"].values() for r in group]
    for requirement in project["dependencies"] + extras:
        if "<" in requirement:  # a pin that keeps newer ones out needs its reason
            assert re.split(r"[<>=\[]", requirement)[0] in table, requirement
