"""docs/jobs.md: every job is there, and what it points to exists: pages, places on them, commands and options."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import urlsplit

import pytest
import typer
from starlette.testclient import TestClient

from dashboards import entries
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.desk import Desk
from dashboards.terminal import commands
from shared.settings import Settings
from shared.store import Store

PROJECT = Path(__file__).resolve().parent.parent
TEMPLATES = PROJECT / "dashboards" / "templates"
IDS = [f"{user}{number}" for user, last in (("O", 18), ("D", 18), ("M", 20)) for number in range(1, last + 1)]
STATES = ("**served**", "**in part**", "**not served**")
NOW_MS = 1_795_600_800_000
COLUMNS = 6


class Row(NamedTuple):
    """One row of the table, as it is written."""

    number: str
    job: str
    state: str
    pages: str
    commands: str
    note: str


def rows() -> list[Row]:
    lines = (PROJECT / "docs" / "jobs.md").read_text(encoding="utf-8").splitlines()
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if re.match(r"\| [ODM]\d", line)]
    assert all(len(one) == COLUMNS for one in cells), [one for one in cells if len(one) != COLUMNS]
    return [Row(*one) for one in cells]


def spans(cell: str) -> list[str]:
    """Return what stands in backticks; the cell holds nothing else."""
    assert not re.sub(r"`[^`]+`", "", cell).strip(), cell
    return re.findall(r"`([^`]+)`", cell)


PAGES = sorted({page for row in rows() for page in spans(row.pages)})
COMMANDS = sorted({command for row in rows() for command in spans(row.commands)})


def test_all_jobs_are_there_in_order() -> None:
    assert [row.number for row in rows()] == IDS
    assert len(IDS) == 56


@pytest.mark.parametrize("row", rows(), ids=lambda row: row.number)
def test_each_job_says_whether_it_is_served_and_where(row: Row) -> None:
    assert row.job
    assert row.state in STATES
    assert row.pages or row.commands
    assert row.note or row.state == "**served**", "what is missing has to be said"


# --- pages ---


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """The pages of a yard that has a thing of each kind with the code CODE."""
    folder = tmp_path_factory.mktemp("yard")
    store = Store(folder / "yard.sqlite3")
    store.create_or_upgrade()
    said: dict[str, Any] = {"by": "Ida", "now_ms": NOW_MS}
    board: dict[str, Any] = {
        "species": "Fraxinus americana",
        "origin": "water-reclaimed",
        "cut": "flat-sawn",
        "thickness_mm": 27,
        "width_mm": 190,
        "length_mm": 1500,
    }
    with store.writing() as connection:
        entries.add_place(connection, "CODE", kind="shed", **said)
        entries.add_probe(connection, "CODE", topic="workshop/CODE", place="CODE", **said)
        entries.add_stack(connection, "CODE", place="CODE", **said)
        entries.add_set(connection, "CODE", **said)
        for code, role in (("CODE", "left half"), ("CODE-b", "right half")):  # a joint is asked for of two pieces
            entries.add_board(connection, code, **board, stack="CODE", **said)
            entries.put_in_set(connection, code, set_code="CODE", role=role, **said)
    app = create_app(store, Settings(), folder / SECRETS_NAME, lambda: NOW_MS)
    yield TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost", follow_redirects=False)
    store.close()


def ids_in(template: str) -> set[str]:
    """Return the ids that stand in a template and in those that it includes, whether or not they are shown today."""
    source = (TEMPLATES / template).read_text(encoding="utf-8")
    found = set(re.findall(r'\sid="([^"{]+)"', source))
    for included in re.findall(r'\{%-? include "([^"]+)"', source):
        found |= ids_in(included)
    return found


def fetched(client: TestClient, path: str, monkeypatch: pytest.MonkeyPatch) -> tuple[int, set[str]]:
    """Return the status of a page, and every id that is on it or could be."""
    used: list[str] = []
    render = Desk.render

    def noting(desk: Desk, request: Any, template: str, *rest: Any) -> Any:
        used.append(template)
        return render(desk, request, template, *rest)

    monkeypatch.setattr(Desk, "render", noting)
    answer = client.get(path)
    shown = set(re.findall(r'\sid="([^"]+)"', answer.text))
    return answer.status_code, shown.union(*(ids_in(one) for one in used))


@pytest.mark.parametrize("page", PAGES)
def test_each_page_is_there_and_has_the_place_that_is_named(
    page: str, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = urlsplit(page)
    status, ids = fetched(client, f"{asked.path}?{asked.query}", monkeypatch)
    assert status == 200, page
    assert not asked.fragment or asked.fragment in ids, page


@pytest.mark.parametrize("page", ["/board/CODE/harms", "/bord/CODE", "/board/NONE", "/work-out/price"])
def test_a_page_that_is_not_there_would_be_seen(page: str, client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    assert fetched(client, page, monkeypatch)[0] != 200


def test_a_place_that_is_not_on_a_page_would_be_seen(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    ids = fetched(client, "/board/CODE", monkeypatch)[1]
    assert {"weigh-in", "harms", "movement", "lifted"} <= ids
    assert not {"price", "insects", "form.name"} & ids


# --- commands ---


def trouble(spoken: str) -> str:
    """Return what is wrong with a command as it is written; empty when nothing is."""
    program, *words = shlex.split(spoken)
    if program != "benchdry":
        return f"{program} is no command of this project"
    here: Any = typer.main.get_command(commands.app)
    while hasattr(here, "commands"):
        name = words.pop(0) if words else ""
        if name not in here.commands:
            return f"no command {name or 'after ' + spoken}"
        here = here.commands[name]
    options = {name for one in here.params for name in (*one.opts, *one.secondary_opts) if name.startswith("--")}
    unknown = [word for word in words if word.startswith("--") and word not in options]
    if unknown:
        return f"no option {', '.join(unknown)}"
    room = sum(1 if one.nargs > 0 else len(words) for one in here.params if one.param_type_name == "argument")
    given = words[: next((at for at, word in enumerate(words) if word.startswith("--")), len(words))]
    return "" if len(given) <= room else f"{' '.join(given)} is more than it takes"


@pytest.mark.parametrize("spoken", COMMANDS)
def test_each_command_is_there_with_the_options_that_are_named(spoken: str) -> None:
    assert trouble(spoken) == ""


@pytest.mark.parametrize(
    ("spoken", "told"),
    [
        ("benchdry board price CODE", "no command price"),
        ("benchdry board", "no command after benchdry board"),
        ("benchdry board weigh CODE --pounds", "no option --pounds"),
        ("benchdry board ahead CODE CODE", "CODE CODE is more than it takes"),
        ("other board weigh", "other is no command of this project"),
    ],
)
def test_a_command_that_is_not_there_would_be_seen(spoken: str, told: str) -> None:
    assert trouble(spoken) == told
