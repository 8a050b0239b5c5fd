"""What must stay true of the project's own files."""

from __future__ import annotations

import ast
import re
import string
import tomllib
from typing import TypeGuard

import pytest
from places import ROOT

from evac.__main__ import plan
from evac.words import Words, sentences

README = (ROOT / "README.md").read_text("utf-8")
SOURCES = {
    path: path.read_text("utf-8") for path in sorted((ROOT / "evac").rglob("*.py"))
}


def test_environment_yml_leaves_the_list_of_dependencies_to_pyproject() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    lines = (ROOT / "environment.yml").read_text("utf-8").splitlines()
    wanted = [line.strip()[2:] for line in lines if line.strip().startswith("- ")]

    assert wanted == ["conda-forge", "python >=3.11", "pip", "pip:", "-e .[test]"]
    assert project["requires-python"] == ">=3.11"
    assert "test" in project["optional-dependencies"]


def test_import_rules_name_every_module() -> None:
    pyproject = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    rules = {
        rule["name"]: rule for rule in pyproject["tool"]["importlinter"]["contracts"]
    }
    inside = {path.relative_to(ROOT / "evac").parts[0] for path in SOURCES}
    modules = {f"evac.{name.removesuffix('.py')}" for name in inside - {"__init__.py"}}
    for name, free in (
        ("Only inputs reads foreign files", "evac.inputs"),
        ("networkx only in access", "evac.access"),
    ):
        assert set(rules[name]["source_modules"]) == modules - {free}, name


def test_ci_runs_the_readmes_test_command() -> None:
    command = re.search(r"^(python3 -m venv .*-m pytest.*)$", README, re.MULTILINE)
    assert command is not None
    steps = command[1].replace("pip install", "pip install --quiet")
    assert steps in (ROOT / ".ci" / "run").read_text("utf-8")


def test_the_readme_shows_both_commands_for_unix_and_windows() -> None:
    for pattern in (
        r"\.venv/bin/python -m evac plan data_demo/larkfell_four --out plan_out",
        r"\.venv\\Scripts\\python -m evac plan data_demo\\larkfell_four --out plan_out",
        r"\.venv/bin/python -m pytest",
        r"\.venv\\Scripts\\python -m pytest",
    ):
        assert re.search(pattern, README), pattern


@pytest.mark.parametrize(
    "caution",
    [
        "planning aid, not a rescue instruction",
        "trained rescuers",
        "authority having jurisdiction prevail",
        "qualified person must review",
    ],
)
def test_the_readme_carries_the_cautions(caution: str) -> None:
    assert caution in README


@pytest.mark.parametrize("text", [README, plan.__doc__ or ""], ids=["README", "help"])
def test_exit_code_2_is_said_to_be_more_than_bad_input(text: str) -> None:
    # A script that takes every 2 for a bad folder would look for a fault in vain.
    for reason in ("cannot be written", "memory", "fault"):
        assert reason in text, reason


def test_no_source_file_names_a_place_of_one_machine() -> None:
    for path, text in SOURCES.items():
        assert not re.search(r"/(work|root|home)/", text), path


def placeholders(template: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(template) if name}


UNIT_TWICE = re.compile(
    r"(m/s|kg/m|min|mm|kg|kN|MJ|°C|°|%|m|s|/h)\s?\b(m/s|kg/m|min|mm|kg|kN|MJ|m|s)\b"
)


def test_every_sentence_can_be_filled() -> None:
    # Filling each sentence once checks braces; a number brings the unit of its name,
    # which the sentence must not write again.
    for key, template in sentences("en").items():
        names = placeholders(template)
        assert all(name.isidentifier() for name in names), key
        filled = Words().say(key, **dict.fromkeys(names, 12.0))
        assert "{" not in filled.replace("{where}", ""), key
        assert not UNIT_TWICE.search(filled), f"{key}: {filled}"


def literal_values(call: ast.Call) -> tuple[str, set[str]] | None:
    """Key and names of a `say` or `Finding` whose key and values stand in the code."""
    function = call.func
    name = function.attr if isinstance(function, ast.Attribute) else None
    if name == "say":
        if any(keyword.arg is None for keyword in call.keywords) or not call.args:
            return None
        names = {str(keyword.arg) for keyword in call.keywords}
        key = call.args[0]
        return (key.value, names) if literal_text(key) else None
    if isinstance(function, ast.Name) and function.id == "Finding":
        given = {keyword.arg: keyword.value for keyword in call.keywords}
        key, values = given.get("key"), given.get("values", ast.Dict([], []))
        if not isinstance(values, ast.Dict) or not all(map(literal_text, values.keys)):
            return None
        names = {part.value for part in values.keys}
        return (f"finding.{key.value}", names) if literal_text(key) else None
    return None


def literal_text(node: ast.expr | None) -> TypeGuard[ast.Constant]:
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


def test_every_sentence_gets_its_values() -> None:
    known = sentences("en")
    checked = 0
    for path, text in SOURCES.items():
        for node in ast.walk(ast.parse(text)):
            found = literal_values(node) if isinstance(node, ast.Call) else None
            if found is None:
                continue
            key, names = found
            parts = ("text", "remedy") if key.startswith("finding.") else ()
            for whole in [f"{key}.{part}" for part in parts] or [key]:
                # `where` is added for every finding that has a place.
                lacking = placeholders(known[whole]) - names - {"where"}
                assert not lacking, f"{path.name}: {whole} lacks {lacking}"
                checked += 1
    assert checked > 500


def test_every_finding_has_a_text_and_a_remedy() -> None:
    keys = [
        key
        for key in sentences("en")
        if key.startswith("finding.") and not key.endswith("_one")
    ]
    stems = {key.rpartition(".")[0] for key in keys}
    assert keys
    assert sorted(keys) == sorted(
        f"{stem}.{part}" for stem in stems for part in ("text", "remedy")
    )


def test_one_thing_has_a_sentence_of_its_own() -> None:
    say = Words().say
    assert say("summary.more_notes", count=2).startswith("(2 notes stand")
    assert say("summary.more_notes", count=1).startswith("(1 note stands")
    known = sentences("en")
    twins = [key for key in known if f"{key}_one" in known]
    assert len(twins) >= 5
    for key in twins:
        # A finding's count stands in its text; its remedy may speak of it or not.
        stem, _, part = key.rpartition(".")
        told = f"{stem}.text" if part == "remedy" else key
        assert "{count}" in known[told], key


def test_every_sentence_that_the_code_names_exists() -> None:
    known = sentences("en")
    for path, text in SOURCES.items():
        for key in re.findall(r'\.say\(\s*"([a-z_]+\.[a-z0-9_.]+)"', text):
            assert key in known, f"{path.name}: {key}"
        for key in re.findall(r'Finding\(\s*key="([a-z0-9_.]+)"', text):
            assert f"finding.{key}.text" in known, f"{path.name}: {key}"


RULE = re.compile(r"\brules? ((?:\d+)(?:(?:, | and | to )\d+)*)")


def test_every_rule_of_the_trade_that_is_cited_stands_in_the_list() -> None:
    listed = re.findall(
        r"^(\d+)\. ", (ROOT / "RULES.md").read_text("utf-8"), re.MULTILINE
    )
    assert [int(number) for number in listed] == list(range(1, 28))
    cited = 0
    for path, text in SOURCES.items():
        for numbers in RULE.findall(text):
            cited += 1
            for number in re.findall(r"\d+", numbers):
                assert number in listed, f"{path.name}: rule {number}"
    assert cited > 50


TWINS = ("_one", "_cabin", "_reached")
"""Endings that the code adds by itself: one thing, cabins, some are not reached."""


def test_every_sentence_is_said_somewhere() -> None:
    """A sentence that nothing names is a promise that no paper keeps.

    A key counts as named where it stands whole in the code, alone or without the ending
    of a twin, or where the code builds it from a beginning (f"module.{...}").
    """
    code = "\n".join(SOURCES.values())
    texts = set(re.findall(r'"([A-Za-z0-9_. -]+)"', code))
    begun = {start for start in re.findall(r'f"([a-z_.]+)\{', code) if "." in start}

    def is_said(key: str) -> bool:
        names = {key, *(key.removesuffix(ending) for ending in TWINS)}
        return bool(names & texts) or any(key.startswith(start) for start in begun)

    unsaid = [
        key
        for key in sentences("en")
        if not key.startswith("finding.") and not is_said(key)
    ]
    assert unsaid == []


def test_every_finding_is_made_somewhere() -> None:
    code = "\n".join(SOURCES.values())
    texts = set(re.findall(r'"([A-Za-z0-9_. -]+)"', code))
    begun = {start for start in re.findall(r'f"([a-z_.]+)\{', code) if "." in start}
    stems = {
        key.removeprefix("finding.").rpartition(".")[0]
        for key in sentences("en")
        if key.startswith("finding.")
    }
    unmade = [
        stem
        for stem in sorted(stems)
        if stem not in texts and not any(stem.startswith(start) for start in begun)
    ]
    assert unmade == []
