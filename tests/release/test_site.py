"""The documentation site builds without a warning (a link that leads nowhere is one), and what it tells a newcomer to do works."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from canalwright.cli.app import app
from canalwright.hazards import caution

HOUSE = Path(__file__).parents[2]
START = (HOUSE / "docs" / "start.md").read_text(encoding="utf-8")


def blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", text, re.DOTALL)


def test_the_site_builds_and_no_link_leads_nowhere(tmp_path: Path) -> None:
    command = [
        sys.executable,
        "-m",
        "sphinx",
        "-b",
        "html",
        "-W",
        "--keep-going",
        "-q",
        str(HOUSE / "docs"),
        str(tmp_path / "site"),
    ]
    done = subprocess.run([*command, "-d", str(tmp_path / "doctrees")], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-3000:]
    api = (tmp_path / "site" / "api" / "planning.html").read_text(encoding="utf-8")
    assert "canalwright.planning.plan" in api
    assert caution() in (tmp_path / "site" / "hazards.html").read_text(encoding="utf-8").replace("’", "'")


def test_the_first_program_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (program,) = blocks(START, "python")
    exec(compile(program, "docs/start.md", "exec"), {})
    assert (tmp_path / "card.pdf").read_bytes().startswith(b"%PDF")


def test_the_first_case_file_is_good(tmp_path: Path) -> None:
    (text,) = blocks(START, "toml")
    case = tmp_path / "my-case.toml"
    case.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(app, ["check-case", str(case)])
    assert done.exit_code == 0, done.output
    assert "good" in done.output


def test_readme_and_start_name_only_verbs_that_exist() -> None:
    known = {c.name for c in app.registered_commands} | {g.name for g in app.registered_groups}
    for page in ("README.md", *(f"docs/{p.name}" for p in (HOUSE / "docs").glob("*.md"))):
        text = (HOUSE / page).read_text(encoding="utf-8")
        code = "\n".join(blocks(text, "(?:sh)?")) + "\n".join(
            f"{span}" for span in re.findall(r"`(canalwright [^`]+)`", text)
        )
        named = set(re.findall(r"^canalwright ([a-z][a-z0-9-]+)", code, re.MULTILINE))
        assert named <= known, f"{page}: {sorted(named - known)}"
