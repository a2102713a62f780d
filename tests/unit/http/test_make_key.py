"""The command that makes keys."""

from pathlib import Path

import pytest

from loopmargin_service.http.keys import Keyring, read_keys
from loopmargin_service.http.make_key import main


def made(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """Run the command and take the key that it prints."""
    assert main(arguments) == 0
    heard = capsys.readouterr()
    assert heard.err == ""
    return heard.out.strip()


def test_the_key_it_prints_opens_what_it_wrote(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """And the file does not hold it."""
    path = tmp_path / "keys.jsonl"
    first = made(capsys, "bench", "--file", str(path))
    second = made(capsys, "tool", "--file", str(path), "--days", "0", "--at-once", "3")
    keyring = Keyring(path)
    holders = [keyring.holder(key.encode()) for key in (first, second)]

    assert [key.id for key in holders if key] == ["bench", "tool"]
    assert all(key and keyring.outside(key) == "" for key in holders)
    assert first.partition(".")[2] not in path.read_text()
    assert path.stat().st_mode & 0o777 == 0o600


def test_a_secret_has_256_random_bits(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """43 characters of 6 bits, never the same."""
    secrets = {
        made(capsys, f"key-{number}", "--file", str(tmp_path / "keys")).partition(".")[2]
        for number in range(20)
    }

    assert len(secrets) == 20
    assert {len(secret) for secret in secrets} == {43}


def test_limits_of_its_own_are_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Only those that are given."""
    path = tmp_path / "keys.jsonl"
    made(capsys, "bench", "--file", str(path), "--units-per-min", "60", "--burst-units", "5")
    (held,) = read_keys(path).values()

    assert (held.key.units_per_min, held.key.burst_units, held.key.at_once) == (60, 5, None)


@pytest.mark.parametrize(
    "arguments", [("bench",), ("No Name",), ("other", "--units-per-min", "0")], ids=str
)
def test_what_cannot_be_is_refused_and_changes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...]
) -> None:
    """An id that is taken, one that is none, a quota of nothing."""
    path = tmp_path / "keys.jsonl"
    made(capsys, "bench", "--file", str(path))
    before = path.read_bytes()

    assert main([*arguments, "--file", str(path)]) == 2
    assert path.read_bytes() == before
    assert capsys.readouterr().out == ""


def test_a_broken_file_is_not_added_to(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is mended first."""
    path = tmp_path / "keys.jsonl"
    path.write_text("{\n")

    assert main(["bench", "--file", str(path)]) == 2
    assert "line 1" in capsys.readouterr().err


def test_a_place_that_is_not_there_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With its reason; the folder of the file is made, and none above it."""
    assert main(["bench", "--file", str(tmp_path / "none" / "none" / "keys")]) == 2
    assert "No such file" in capsys.readouterr().err
    assert main(["bench", "--file", str(tmp_path / "made" / "keys")]) == 0
    assert (tmp_path / "made" / "keys").exists()


def test_a_name_that_is_none_is_told_in_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not by the pattern that it fails."""
    assert main(["No Name", "--file", str(tmp_path / "keys")]) == 2
    said = capsys.readouterr().err
    assert "such as quoting-tool" in said
    assert "regex" not in said
