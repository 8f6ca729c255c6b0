"""The set-up: pins without addresses, browser files by hash, and one clear sentence where it cannot go on."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import tomllib
from importlib import metadata
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parent.parent


def make(folder: Path, *arguments: str, path: str | None = None) -> subprocess.CompletedProcess[str]:
    environment = {key: value for key, value in os.environ.items() if not key.startswith(("MAKE", "MFLAGS"))}
    if path is not None:
        environment["PATH"] = path
    return subprocess.run(
        ["/usr/bin/make", *arguments], cwd=folder, env=environment, capture_output=True, text=True, check=False,
        stdin=subprocess.DEVNULL, timeout=120,
    )  # fmt: skip


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A folder with what the set-up reads, without an environment."""
    for name in ("Makefile", "pyproject.toml", "constraints.txt", "package.json", "package-lock.json"):
        shutil.copy(PROJECT / name, tmp_path)
    return tmp_path


def fake_python(folder: Path, body: str) -> Path:
    """A Python that answers as another machine's would."""
    path = folder / "python"
    path.write_text(f"#!/bin/sh\n{body}\n", encoding="utf-8")
    path.chmod(0o755)
    return path


def pins() -> dict[str, str]:
    lines = (PROJECT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    return dict(line.split("==") for line in lines if line and not line.startswith("#"))


def normal(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def test_every_pin_is_a_name_and_a_version_and_nothing_else() -> None:
    for name, version in pins().items():
        assert re.fullmatch(r"[A-Za-z0-9._-]+", name), name
        assert re.fullmatch(r"[0-9][A-Za-z0-9.]*", version), (name, version)


def test_what_the_project_asks_for_is_pinned_and_installed_at_its_pin() -> None:
    project = tomllib.loads((PROJECT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = project["dependencies"] + project["optional-dependencies"]["dev"]
    pinned = {normal(name): version for name, version in pins().items()}
    for requirement in asked:
        name = re.match(r"[A-Za-z0-9._-]+", requirement)
        assert name is not None
        assert pinned.get(normal(name[0])) == metadata.version(name[0]), requirement


def test_the_browser_files_are_pinned_by_hash_and_without_addresses() -> None:
    named = json.loads((PROJECT / "package.json").read_text(encoding="utf-8"))
    wanted = named["dependencies"] | named["devDependencies"]
    locked = json.loads((PROJECT / "package-lock.json").read_text(encoding="utf-8"))["packages"]
    for name, version in wanted.items():
        entry = locked[f"node_modules/{name}"]
        assert entry["version"] == version
        assert entry["integrity"].startswith("sha512-")
        assert "resolved" not in entry
    assert len(locked) == len(wanted) + 1, "a browser file brings others along"


def test_the_browser_files_are_installed_with_their_licences() -> None:
    vendor = PROJECT / "dashboards" / "static" / "vendor"
    assert (vendor / "htmx.min.js").stat().st_size > 10_000, "make setup brings them"
    assert (vendor / "plotly-basic.min.js").stat().st_size > 100_000
    for name in ("htmx", "plotly"):
        assert (vendor / f"{name}-LICENSE.txt").stat().st_size > 100


def test_help_names_every_target() -> None:
    shown = make(PROJECT, "help").stdout
    for target in ("demo", "test", "test-all", "setup", "setup-test", "check", "bench", "clean"):
        assert re.search(rf"make {target}\s", shown), target


def sentence(result: subprocess.CompletedProcess[str]) -> str:
    """The one line, apart from make's own, that a failed set-up says."""
    assert result.returncode != 0, result.stdout
    lines = [line for line in result.stderr.splitlines() if not line.startswith("make")]
    assert len(lines) == 1, result.stderr
    assert "Traceback" not in result.stderr
    return lines[0]


@pytest.mark.parametrize("target", ["setup", "demo", "test"])
def test_a_python_that_is_too_old_is_named_in_one_sentence(checkout: Path, target: str) -> None:
    old = fake_python(checkout, 'case "$2" in *version_info*) exit 1;; esac; exit 0')
    assert "is older than Python 3.11" in sentence(make(checkout, target, f"PYTHON={old}"))
    assert not (checkout / ".venv").exists()


def test_a_python_that_is_not_there_is_named_in_one_sentence(checkout: Path) -> None:
    assert "no-such-python was not found" in sentence(make(checkout, "demo", "PYTHON=no-such-python"))


def test_a_missing_venv_module_is_named_in_one_sentence(checkout: Path) -> None:
    bare = fake_python(checkout, 'case "$2" in *ensurepip*) echo "no module" >&2; exit 1;; esac; exit 0')
    assert "has no venv module: install it" in sentence(make(checkout, "demo", f"PYTHON={bare}"))


def test_a_folder_that_cannot_be_written_to_is_named_in_one_sentence(checkout: Path) -> None:
    if os.geteuid() == 0:  # root may write anywhere: a test program that says no stands in for the permission
        (checkout / "bin").mkdir()
        fake_python(checkout / "bin", "exit 0")
        makefile = (checkout / "Makefile").read_text(encoding="utf-8").replace("test -w .", "false")
        (checkout / "Makefile").write_text(makefile, encoding="utf-8")
    else:
        checkout.chmod(0o555)
    try:
        assert "cannot be written to" in sentence(make(checkout, "demo"))
    finally:
        checkout.chmod(0o755)


def tools(folder: Path, *names: str) -> str:
    """A PATH on which there is nothing but these programs."""
    folder.mkdir()
    for name in names:
        found = shutil.which(name)
        assert found, name
        (folder / name).symlink_to(found)
    return str(folder)


def without_services(checkout: Path) -> None:
    """Take the places where daemons lie out of the search, as on a machine that has none."""
    text = (checkout / "Makefile").read_text(encoding="utf-8")
    text = text.replace(":/usr/sbin:/usr/local/sbin", "").replace("/usr/lib/postgresql/", "/nowhere/")
    (checkout / "Makefile").write_text(text, encoding="utf-8")


def test_a_test_run_that_would_leave_something_out_says_what_and_fails(checkout: Path) -> None:
    without_services(checkout)
    path = tools(checkout / "bin", "sh", "id", "tr", "echo", "test", "make")
    (checkout / "bin" / "id").unlink()
    fake_python(checkout / "bin", "echo 1000").rename(checkout / "bin" / "id")  # not root
    result = make(checkout, "test-needs", path=path)
    said = sentence(result)
    assert "mosquitto" in said and "chromium" in said and "postgresql" in said and "make setup-test" in said
    assert "as root" in sentence(make(checkout, "setup-test", path=path))


def test_a_set_up_that_may_install_and_has_no_installer_says_so(checkout: Path) -> None:
    without_services(checkout)
    path = tools(checkout / "bin", "sh", "tr", "echo", "test", "make")
    fake_python(checkout / "bin", "echo 0").rename(checkout / "bin" / "id")  # root
    assert "there is no apt-get here" in sentence(make(checkout, "setup-test", path=path))


def test_what_is_missing_is_installed_without_a_question_and_tried_again_once(checkout: Path) -> None:
    without_services(checkout)
    path = tools(checkout / "bin", "sh", "tr", "echo", "test", "make", "env")
    log = checkout / "log"
    fake_python(checkout / "bin", "exit 0").rename(checkout / "bin" / "sleep")
    fake_python(checkout / "bin", "echo 0").rename(checkout / "bin" / "id")
    script = f'echo "$DEBIAN_FRONTEND $*" >> {log}; case "$*" in *install*) exit 1;; esac'
    fake_python(checkout / "bin", script).rename(checkout / "bin" / "apt-get")
    wanted = "mosquitto chromium openssl strace postgresql"
    assert f"Could not install: {wanted}." in sentence(make(checkout, "setup-test", path=path))
    calls = log.read_text(encoding="utf-8").splitlines()
    assert len(calls) == 4  # update, install; and both again
    assert all(call.startswith("noninteractive ") and " -y " in call for call in calls)
    assert calls[1].endswith(f"install --no-install-recommends {wanted}")
