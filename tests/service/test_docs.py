"""What README and DEVELOPERS tell people to type exists."""

import importlib
import re
import shlex
from argparse import ArgumentParser, _SubParsersAction
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.cli import COMMANDS, Parser

HOUSE = Path(__file__).parents[2]
DOCUMENTS = ("README.md", "DEVELOPERS.md")
PLACEHOLDERS = ("COMMAND", "-h", "--help")


def quoted(document: str) -> Iterator[str]:
    """Lines of code blocks, and what stands between backticks."""
    text = (HOUSE / document).read_text(encoding="utf-8")
    for block in re.findall(r"^```[a-z]*\n(.*?)^```", text, re.MULTILINE | re.DOTALL):
        yield from block.replace("\\\n", " ").splitlines()
    yield from re.findall(r"`([^`\n]+)`", re.sub(r"^```.*?^```", "", text, flags=re.MULTILINE | re.DOTALL))


def told_commands(document: str) -> list[list[str]]:
    tellings = (re.findall(r"(?:^|[\s/$])whichrotor((?: [^|;&#]*)?)", line) for line in quoted(document))
    commands = [shlex.split(told) for line in tellings for told in line]
    return [words for words in commands if words]


def options_of(parser: ArgumentParser) -> set[str]:
    options: set[str] = set()
    for action in parser._actions:
        options.update(action.option_strings)
        if isinstance(action, _SubParsersAction):
            for child in action.choices.values():
                options |= options_of(child)
    return options


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_command_that_is_told_exists_with_its_options(document: str) -> None:
    commands = told_commands(document)
    for name, *words in commands:
        if name in PLACEHOLDERS:
            continue
        assert name in COMMANDS, f"{document} tells 'whichrotor {name}'"
        parser = Parser(prog=name)
        importlib.import_module(f"service.commands.{name}").add_arguments(parser)
        told = {word.partition("=")[0] for word in words if word.startswith("--")}
        assert told <= options_of(parser), f"{document}: whichrotor {name} {' '.join(words)}"


def test_the_readme_tells_the_main_job() -> None:
    assert {"identify", "measure", "serve"} <= {words[0] for words in told_commands("README.md")}


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_file_that_is_linked_is_there(document: str) -> None:
    text = (HOUSE / document).read_text(encoding="utf-8")
    links = [link for link in re.findall(r"\]\(([^)#\s]+)", text) if "://" not in link]
    missing = [link for link in links if not (HOUSE / link).exists()]
    assert missing == []
