"""The rules of the layout, executed: import arrows, packages, sizes, names."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import shared

PROJECT = Path(__file__).resolve().parent.parent
PACKAGES = ("dashboards", "kiln", "sensors", "shared")
NAMELESS = {"utils", "util", "helpers", "helper", "common", "misc"}
LONGEST_FILE = 350


def tracked() -> list[Path]:
    """Every file that is, or would be, in the repository."""
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, cwd=PROJECT, capture_output=True, check=True).stdout.decode().split("\0")
    return [PROJECT / name for name in listed if name and (PROJECT / name).is_file()]


def lint_imports(folder: Path) -> subprocess.CompletedProcess[str]:
    program = "import sys; sys.path.insert(0, '.'); from importlinter.cli import lint_imports; sys.exit(lint_imports())"
    return subprocess.run(
        [sys.executable, "-c", program], cwd=folder, capture_output=True, text=True, check=False, timeout=200
    )


def test_the_program_under_test_is_this_project() -> None:
    assert Path(shared.__file__).is_relative_to(PROJECT)


def test_imports_follow_the_arrows_of_the_layout() -> None:
    result = lint_imports(PROJECT)
    assert result.returncode == 0, result.stdout + result.stderr
    assert "0 broken" in result.stdout


@pytest.mark.parametrize(
    ("module", "line", "contract"),
    [
        ("kiln/planted.py", "import sensors.quality", "Screens stand on physics"),
        ("shared/planted.py", "import kiln.errors", "Screens stand on physics"),
        ("sensors/planted.py", "import kiln.errors", "Screens stand on physics"),
        ("dashboards/planted.py", "import sensors.quality", "Screens and sensors meet only at the store"),
        ("kiln/planted.py", "import shared.store", "Physics is pure"),
        ("kiln/planted.py", "import sqlite3", "Physics is pure"),
        ("dashboards/planted.py", "import sqlalchemy", "Screens hold no SQL"),
    ],
)
def test_a_planted_violation_is_caught(tmp_path: Path, module: str, line: str, contract: str) -> None:
    for package in PACKAGES:
        shutil.copytree(PROJECT / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__", "static"))
    shutil.copy(PROJECT / "pyproject.toml", tmp_path)
    (tmp_path / module).write_text(f"{line}\n", encoding="utf-8")
    result = lint_imports(tmp_path)
    assert result.returncode != 0
    broken = [row for row in result.stdout.splitlines() if " BROKEN" in row]
    assert any(row.startswith(contract) for row in broken), result.stdout + result.stderr
    assert "planted" in result.stdout


def test_the_packages_named_for_packaging_are_those_on_disk() -> None:
    named = tomllib.loads((PROJECT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]["packages"]
    on_disk = {
        path.parent.relative_to(PROJECT).as_posix().replace("/", ".")
        for package in PACKAGES
        for path in (PROJECT / package).rglob("*.py")
    }
    assert sorted(named) == sorted(on_disk)
    for name in named:
        assert (PROJECT / name.replace(".", "/") / "__init__.py").exists(), name


def python_files() -> list[Path]:
    return [path for path in tracked() if path.suffix == ".py"]


def test_no_file_outgrows_one_subject() -> None:
    code = [path for path in python_files() if path.relative_to(PROJECT).parts[0] in PACKAGES]
    assert code
    lengths = {path.relative_to(PROJECT).as_posix(): len(path.read_text().splitlines()) for path in code}
    too_long = {name: lines for name, lines in lengths.items() if lines > LONGEST_FILE and "/migrations/" not in name}
    assert too_long == {}


def test_no_module_is_named_after_nothing() -> None:
    named = {part for path in python_files() for part in path.relative_to(PROJECT).with_suffix("").parts}
    assert named & NAMELESS == set()


def test_no_file_names_a_package_registry_or_a_machine() -> None:
    # Put together here, so that this file does not name them either.
    hosts = ["registry." + "npmjs", "pypi." + "org", "files.python" + "hosted", "deb." + "debian", "regi" + "stry.yarn"]
    paths = ["/" + "work/", "/" + "root/", "/opt/" + "pypi", ".py" + "env/"]
    forbidden = re.compile("|".join(re.escape(one) for one in hosts + paths))
    found = []
    for path in tracked():
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue  # a picture
        found += [f"{path.relative_to(PROJECT)}: {match[0]}" for match in forbidden.finditer(text)]
    assert found == []
