"""The commands, as a user types them."""

import contextlib
import io
import json
import os
import re
import subprocess
import sys
import time
from unittest import mock

import pytest

from dashboards.terminal import main
from shared import tables


def benchdry(*words, folder=None, code=0, **environment):
    """Run one command and return what it said; ``code`` is the exit it must have."""
    command = ["benchdry", *words, *(["--folder", str(folder)] if folder else [])]
    said, left = io.StringIO(), 0
    settings = {"COLUMNS": "200", **environment}
    with (
        mock.patch.dict(os.environ, settings),
        mock.patch.object(sys, "argv", command),
        contextlib.redirect_stdout(said),
        contextlib.redirect_stderr(said),
    ):
        try:
            main()
        except SystemExit as ended:
            left = ended.code or 0
    assert left == code, said.getvalue()
    return said.getvalue()


def benchdry_process(*words, folder, **environment):
    """Start one command as a child of ours would be started."""
    command = [sys.executable, "-m", "dashboards.terminal", *words, "--folder", str(folder)]
    return subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "BENCHDRY_CHILD": "1", **environment},
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A yard made by commands alone."""
    made = tmp_path_factory.mktemp("yard")
    benchdry("init", folder=made)
    benchdry("place", "add", "shed", "--kind", "shed", "--name", "Long shed", folder=made)
    benchdry("probe", "add", "north", "--topic", "workshop/shed/north", "--place", "shed", folder=made)
    benchdry("stack", "add", "S1", "--place", "shed", folder=made)
    benchdry(
        "board",
        "add",
        "A1",
        "--species",
        "Acer saccharum",
        "--thickness",
        "30",
        "--width",
        "150",
        "--length",
        "900",
        "--stack",
        "S1",
        "--when",
        "2026-09-01",
        folder=made,
    )
    return made


def test_init_writes_a_commented_settings_file_that_changes_nothing_and_keeps_one_that_is_there(tmp_path):
    benchdry("init", folder=tmp_path)
    file = tmp_path / "benchdry.toml"
    assert all(line.startswith("#") or not line for line in file.read_text().splitlines())
    file.write_text("web_port = 9001\n")
    benchdry("init", folder=tmp_path)
    assert file.read_text() == "web_port = 9001\n"
    shown = benchdry("settings", folder=tmp_path, BENCHDRY_BROKER_PORT="2000")
    assert "9001" in shown and "BENCHDRY_BROKER_PORT" in shown and "default" in shown


def test_an_unknown_setting_is_one_sentence(tmp_path):
    benchdry("init", folder=tmp_path)
    (tmp_path / "benchdry.toml").write_text("web_prot = 9001\n")
    said = benchdry("status", folder=tmp_path, code=2)
    assert "web_prot" in said and said.count("\n") == 1


def test_without_a_store_the_command_says_how_to_make_one(tmp_path):
    assert "benchdry init" in benchdry("status", folder=tmp_path, code=2)


def test_a_weigh_in_is_entered_shown_exported_and_undone(folder, tmp_path):
    said = benchdry("board", "weigh", "A1", "--kg", "3.6", "--by", "Ida", folder=folder)
    assert "3600 g" in said
    undo = said[said.index("benchdry undo") : said.index(")")].split()[1:]
    benchdry("export", str(tmp_path / "out"), folder=folder)
    assert "3.6" in (tmp_path / "out" / "weigh-in.csv").read_text()
    benchdry(*undo, folder=folder)
    benchdry("export", str(tmp_path / "out"), folder=folder)
    assert "3.6" not in (tmp_path / "out" / "weigh-in.csv").read_text()


def test_what_was_known_at_a_date_is_shown_and_what_came_later_is_not(folder):
    said = benchdry("board", "show", "A1", folder=folder)
    assert "Acer saccharum" in said and "board" in said
    assert "Acer saccharum" not in benchdry("board", "show", "A1", "--known-at", "2026-09-02", folder=folder)


@pytest.mark.parametrize(
    ("words", "names"),
    [
        (("board", "weigh", "A1", "--g", "0"), ("mass", "more than 0")),
        (("board", "weigh", "A1", "--g", "400"), ("mass of A1", "lighter than oven-dry wood")),
        (("board", "weigh", "A9", "--g", "3000"), ("board", "A9", "A1")),
        (("board", "weigh", "A1", "--g", "3000", "--when", "2031-01-01"), ("time", "2031")),
        (("board", "pin", "A1", "900"), ("pin reading", "900", "4 to 120")),
        (("board", "oven-dry", "A1", "--wet", "50", "--dry", "60"), ("wet mass of the section",)),
        (
            (
                "board",
                "add",
                "B1",
                "--species",
                "sycamore",
                "--thickness",
                "30",
                "--width",
                "150",
                "--length",
                "900",
                "--stack",
                "S1",
            ),
            ("species", "Platanus occidentalis", "Acer pseudoplatanus"),
        ),
        (
            (
                "board",
                "add",
                "B1",
                "--species",
                "Acer saccharum",
                "--thickness",
                "1.25",
                "--width",
                "7",
                "--length",
                "48",
                "--stack",
                "S1",
            ),
            ("sizes", "inches"),
        ),
        (
            (
                "board",
                "add",
                "B1",
                "--species",
                "Acer sacharum",
                "--thickness",
                "30",
                "--width",
                "150",
                "--length",
                "900",
                "--stack",
                "S1",
            ),
            ("species", "Acer saccharum"),
        ),
        (
            (
                "board",
                "add",
                "B1",
                "--species",
                "hard maple",
                "--thickness",
                "30",
                "--width",
                "150",
                "--length",
                "900",
                "--stack",
                "S1",
            ),
            ("species", "Acer saccharum"),
        ),
        (("board", "weigh", "A1", "--g", "3000", "--when", "2025-01-01"), ("time", "since when A1")),
        (("board", "use", "A1", "glue", "--booked", "2025-03-01"), ("booked date", "today or")),
        (("place", "add", "shed"), ("already", "shed")),
        (("place", "close", "shed"), ("in use", "stack S1")),
        (("place", "add", "attic", "--kind", "cave"), ("kind of place", "cave", "yard")),
        (("probe", "move", "north", "moon"), ("place", "moon", "shed")),
        (("board", "use", "A1", "paint"), ("use", "paint", "machine")),
    ],
)
def test_bad_input_gets_one_sentence_that_names_field_value_and_what_is_accepted(folder, words, names):
    before = benchdry("status", "--json", folder=folder)
    said = benchdry(*words, folder=folder, code=2)
    assert all(name in said for name in names), said
    assert said.strip().count("\n") == 0
    after = benchdry("status", "--json", folder=folder)
    assert json.loads(after)["boards"] == json.loads(before)["boards"]


def test_state_says_the_same_as_plain_text_and_as_json(folder):
    plain = benchdry("status", folder=folder)
    as_json = json.loads(benchdry("status", "--json", folder=folder))
    board = as_json["boards"][0]
    assert board["code"] == "A1" and board["verdict"] == "CAN'T SAY"
    assert "board A1" in plain and "CAN'T SAY" in plain


def test_a_timber_that_is_not_in_the_table_is_one_sentence_and_one_that_is_shows_its_source():
    assert "unobtainium" in benchdry("species", "unobtainium", code=2)
    assert "Platanus occidentalis" in benchdry("species", "sycamore")


def test_pages_beyond_this_machine_are_refused_until_a_password_is_set(folder):
    with benchdry_process("serve", folder=folder, BENCHDRY_WEB_HOST="0.0.0.0") as refused:
        said = refused.stdout.read()
        assert refused.wait(60) == 2
    assert "set a password" in said and said.count("\n") == 1


def test_a_second_recorder_on_one_store_is_refused_and_the_first_leaves_with_its_parent(folder):
    lock = folder / "benchdry.recorder-lock"
    with benchdry_process("record", folder=folder, BENCHDRY_BROKER_PORT="9") as first:
        deadline = time.monotonic() + 60
        while not (lock.exists() and _held(lock)) and time.monotonic() < deadline:
            time.sleep(0.05)
        with benchdry_process("record", folder=folder, BENCHDRY_BROKER_PORT="9") as second:
            assert "already writing" in second.stdout.read()
            assert second.wait(60) == 2
        first.stdin.close()
        assert first.wait(60) == 0


def _held(lock):
    import fcntl

    with lock.open("a") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return True
    return False


# --- instruments and timbers of one's own ------------------------------------------------------------


def test_a_check_a_meter_and_a_bag_test_are_entered_by_command_and_can_be_taken_back(yard):
    folder = yard.folder
    (folder / "benchdry.toml").write_text('store = "yard.sqlite3"\n', encoding="utf-8")
    over = ("--at-c", "20", "--low-salt", "MgCl2", "--low-read", "34", "--high-salt", "NaCl", "--high-read", "76.2")
    assert "is checked" in benchdry("probe", "check", "north", *over, folder=folder)
    assert "is entered" in benchdry("meter", "add", "pm", "--species", "Fraxinus americana", folder=folder)
    pair = ("--reading", "14", "--wet", "56", "--dry", "50", "--wood-c", "18")
    assert "read 14 % on wood at 12.0 %" in benchdry("meter", "pair", "pm", *pair, folder=folder)
    assert "Fraxinus americana" in benchdry("meter", "list", folder=folder)
    assert "reads 15 %" in benchdry("board", "pin", "A1", "15", "--wood-c", "12", "--meter", "pm", folder=folder)
    bag = ("--rh", "55", "--at-c", "20", "--hours", "48", "--litres", "3", "--before", "dried", "--probe", "north")
    said = benchdry("board", "bag-test", "A1", *bag, folder=folder)
    assert "55 %RH at 20 °C in the bag" in said
    kind, number = re.search(r"undo (\S+) (\d+)", said).groups()
    assert "taken back" in benchdry("undo", kind, number, folder=folder)


def test_a_timber_of_ones_own_is_found_by_every_command_and_a_bad_file_says_where(yard):
    folder = yard.folder
    head = benchdry("species", "--columns").strip()
    row = dict.fromkeys(head.split(","), "")
    row |= {"botanical_name": "Alnus glutinosa", "common_name": "Common alder", "group": "hardwood"}
    row |= {
        "basic_specific_gravity": "0.44",
        "basic_source": "twelve offcuts of ours",
        "basic_status": "own measurement",
    }
    (folder / "ours.csv").write_text(f"{head}\n{','.join(row.values())}\n", encoding="utf-8")
    (folder / "benchdry.toml").write_text('store = "yard.sqlite3"\nspecies_file = "ours.csv"\n', encoding="utf-8")
    assert "Alnus glutinosa" in benchdry("species", "alder", folder=folder)
    sizes = ("--thickness", "25", "--width", "150", "--length", "900", "--stack", "S1")
    assert "lies" in benchdry("board", "add", "AL-1", "--species", "common alder", *sizes, folder=folder)
    (folder / "ours.csv").write_text(f"{head}\n{','.join({**row, 'basic_specific_gravity': '44'}.values())}\n")
    said = benchdry("species", folder=folder, code=2)
    assert "ours.csv" in said and "basic_specific_gravity" in said and "44" in said and len(said.splitlines()) == 1
    tables.use_own_species(None)
