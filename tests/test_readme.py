"""What README shows is run: Python blocks and command lines; the install lines run in CI."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language, text=README):
    return re.findall(rf"^```{language}\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)


def command_lines(text=README):
    return [
        line[2:]
        for block in blocks("console", text)
        for line in block.splitlines()
        if line.startswith("$ ")
    ]


def test_the_readme_has_the_blocks_it_should():
    assert len(blocks("bash")) == 2
    assert len(blocks("python")) >= 1
    assert len(command_lines()) >= 2
    # nothing hides in a fence this test does not run
    fences = set(re.findall(r"^```(\w*)$", README, flags=re.MULTILINE)) - {""}
    assert fences <= {"bash", "python", "console"}


def test_an_empty_readme_would_be_noticed():
    assert blocks("python", "no code here") == []
    assert command_lines("```console\n$ soilflow --help\n```\n") == ["soilflow --help"]


@pytest.mark.parametrize("code", blocks("python"))
def test_python_block_runs(code, monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    exec(compile(code, "README.md", "exec"), {"__name__": "readme"})
    assert capsys.readouterr().out.strip()


@pytest.mark.parametrize("line", command_lines())
def test_command_line_runs(line, tmp_path):
    program, *arguments = shlex.split(line)
    assert program == "soilflow"
    arguments = [str(ROOT / a) if a.startswith("cases/") else a for a in arguments]
    done = subprocess.run(
        [sys.executable, "-m", "soilflow.cli", *arguments],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()


@pytest.mark.parametrize("target", re.findall(r"\]\(([^)#]+)\)", README))
def test_linked_files_exist(target):
    assert (ROOT / target).exists(), target
