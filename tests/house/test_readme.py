"""What the README says of settings, commands and limits is what the program has."""

import dataclasses
import re
from pathlib import Path

import pytest
from typer.main import get_command

from service.cli import commands
from service.settings import PREFIX, Secret, Settings, SettingsFaults

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def settings_table() -> str:
    rows = ["| variable | default | what |", "|---|---|---|"]
    for setting in dataclasses.fields(Settings):
        plain = setting.default if isinstance(setting.default, bool | tuple) else str(setting.default)
        shown = {True: "yes", False: "no", (): ""}.get(plain, plain)  # 1.0 would be found as True
        name = f"`{PREFIX}{setting.name.upper()}`"
        rows.append(f"| {name} | {f'`{shown}`' if shown else ''} | {setting.metadata['help']} |")
    return "\n".join(rows)


def test_settings_table() -> None:
    found = re.search(r"<!-- settings -->\n(.*?)\n<!-- /settings -->", README, re.DOTALL)
    assert found is not None
    assert found[1] == settings_table()


def test_every_command_is_in_the_table() -> None:
    command = get_command(commands)
    missing = [name for name in command.commands if f"`{name}" not in README]  # type: ignore[attr-defined]
    assert missing == []


def test_settings_are_read_once_and_all_faults_told(tmp_path: Path) -> None:
    secret = tmp_path / "url"
    secret.write_text("postgresql://someone@127.0.0.1/somewhere\n", encoding="utf-8")
    read = Settings.read({"SONOLEDGER_DATABASE_URL_FILE": str(secret), "SONOLEDGER_DOCS": "no", "HOME": "/nowhere"})
    assert (read.database_url, read.docs) == ("postgresql://someone@127.0.0.1/somewhere", False)
    assert "someone" not in repr(read)
    with pytest.raises(SettingsFaults) as refused:
        Settings.read({"SONOLEDGER_DOCS": "maybe", "SONOLEDGER_COLOUR": "red", "SONOLEDGER_DATABASE_URL": "mysql://x"})
    assert len(refused.value.faults) == 3
    assert any("SONOLEDGER_COLOUR is not a setting" in fault for fault in refused.value.faults)


def test_origins_are_origins_and_nothing_else() -> None:
    read = Settings.read({"SONOLEDGER_CORS_ORIGINS": "https://pages.example, http://127.0.0.1:8080"})
    assert read.cors_origins == ("https://pages.example", "http://127.0.0.1:8080")
    for wrong in ("*", "https://pages.example/", "pages.example", "null", "https://*.example"):
        with pytest.raises(SettingsFaults):
            Settings.read({"SONOLEDGER_CORS_ORIGINS": wrong})


def test_a_secret_does_not_show_itself() -> None:
    assert repr(Secret("hunter2")) == "'***'"
