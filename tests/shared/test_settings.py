"""The settings table: which source wins, and what is refused."""

from __future__ import annotations

import tomllib
from dataclasses import asdict, fields
from pathlib import Path

import pytest

from shared import settings
from shared.errors import BadInput
from shared.tables import Region


def write(folder: Path, text: str) -> Path:
    path = folder / settings.FILE_NAME
    path.write_text(text, encoding="utf-8")
    return path


def origin(sources: list[settings.Source], name: str) -> str:
    return next(one.origin for one in sources if one.name == name)


def test_without_any_source_every_setting_is_its_default(tmp_path: Path) -> None:
    found, sources = settings.load(tmp_path / "absent.toml", environment={})
    assert found == settings.Settings()
    assert {one.origin for one in sources} == {"default"}
    assert [one.name for one in sources] == [one.name for one in fields(settings.Settings)]


def test_option_beats_environment_beats_file_beats_default(tmp_path: Path) -> None:
    path = write(tmp_path, 'web_port = 8001\nbroker_port = 8001\nbroker_host = "in-file"\n')
    environment = {"BENCHDRY_WEB_PORT": "8002", "BENCHDRY_BROKER_PORT": "8002"}
    found, sources = settings.load(path, environment, {"web_port": 8003, "broker_port": None})
    assert (found.web_port, found.broker_port, found.broker_host) == (8003, 8002, "in-file")
    assert origin(sources, "web_port") == "command line"
    assert origin(sources, "broker_port") == "environment (BENCHDRY_BROKER_PORT)"
    assert origin(sources, "broker_host") == f"file ({path})"
    assert origin(sources, "commit_rows") == "default"


def test_an_unknown_key_in_the_file_is_refused_with_the_known_ones(tmp_path: Path) -> None:
    path = write(tmp_path, 'broker_hots = "typo"\n')
    with pytest.raises(BadInput, match=r"setting broker_hots .* is typo; accepted: one of .*broker_host"):
        settings.load(path, {})


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ('web_port = "many"', "setting web_port is many; accepted: a whole number"),
        ("web_port = 80.5", "setting web_port is 80.5; accepted: a whole number"),
        ("web_port = true", "setting web_port is True; accepted: a whole number"),
        ("web_port = inf", "setting web_port is inf; accepted: a whole number"),
        ("web_port = nan", "setting web_port is nan; accepted: a whole number"),
        ("web_port = 0", "setting web_port is 0; accepted: 1 to 65535"),
        ("web_port = 65536", "setting web_port is 65536; accepted: 1 to 65535"),
        ('temperature_unit = "K"', "setting temperature_unit is K; accepted: C or F"),
        ('length_unit = "inch"', "setting length_unit is inch; accepted: mm or in"),
        ("commit_every_s = []", r"setting commit_every_s is \[\]; accepted: a number"),
        ("commit_every_s = nan", "setting commit_every_s is nan; accepted: 0.05 to 60 s"),
        ("commit_every_s = 0.01", "setting commit_every_s is 0.01; accepted: 0.05 to 60 s"),
        ("broker_host = 5", "setting broker_host is 5; accepted: text"),
        ("broker_host = ['a']", r"setting broker_host is \['a'\]; accepted: text"),
        ("web_port == 1", "settings file .* accepted: a TOML file"),
    ],
)
def test_a_wrong_value_is_refused_naming_field_value_and_what_is_accepted(
    tmp_path: Path, line: str, complaint: str
) -> None:
    with pytest.raises(BadInput, match=complaint):
        settings.load(write(tmp_path, line), {})


def test_an_integer_of_four_hundred_digits_is_refused_in_a_sentence() -> None:
    with pytest.raises(BadInput, match="setting web_port"):
        settings.load(None, {"BENCHDRY_WEB_PORT": "9" * 400})


def test_a_file_that_is_no_text_is_refused_in_a_sentence(tmp_path: Path) -> None:
    path = tmp_path / settings.FILE_NAME
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(BadInput, match="settings file"):
        settings.load(path, {})


def test_a_folder_where_the_file_should_be_is_refused_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"settings file .* accepted: a file that can be read"):
        settings.load(tmp_path, {})


def test_the_commented_file_says_every_default_once_uncommented(tmp_path: Path) -> None:
    text = settings.commented_file()
    assert tomllib.loads(text) == {}
    named = [line[2:] for line in text.splitlines() if " = " in line]
    assert tomllib.loads("\n".join(named)) == asdict(settings.Settings())
    found, _ = settings.load(write(tmp_path, "\n".join(named)), {})
    assert found == settings.Settings()


def test_every_number_has_a_range_and_every_setting_a_sentence() -> None:
    for entry in fields(settings.Settings):
        assert entry.metadata["help"].endswith("."), entry.name
        if not isinstance(entry.default, str | bool):
            assert entry.metadata["low"] <= entry.default <= entry.metadata["high"], entry.name


@pytest.mark.parametrize(("typed", "held"), [(True, True), ("yes", True), ("false", False), ("0", False)])
def test_yes_and_no_are_taken_as_words_too(typed, held):
    assert settings.load(environment={}, options={"broker_tls": typed})[0].broker_tls is held


def test_what_is_neither_yes_nor_no_is_refused():
    with pytest.raises(BadInput, match="setting broker_tls is perhaps; accepted: true or false"):
        settings.load(environment={"BENCHDRY_BROKER_TLS": "perhaps"})


def test_the_password_is_never_shown() -> None:
    held, _ = settings.load(environment={"BENCHDRY_BROKER_PASSWORD": "hunter2"})
    assert held.broker_password == "hunter2"
    assert "hunter2" not in repr(held)


def test_a_password_of_the_wrong_kind_is_refused_without_showing_it(tmp_path: Path) -> None:
    file = tmp_path / "benchdry.toml"
    file.write_text("broker_password = 4711\n", encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        settings.load(file, {})
    assert "4711" not in str(caught.value)


def test_the_regions_of_limits_are_those_of_the_table() -> None:
    words = next(one.metadata["words"] for one in fields(settings.Settings) if one.name == "limits_region")
    assert words == tuple(Region)
    assert settings.Settings().limits_region == Region.LOWEST
    with pytest.raises(BadInput, match="setting limits_region is Mars; accepted: lowest or US or GB"):
        settings.load(environment={"BENCHDRY_LIMITS_REGION": "Mars"})
