"""The environment becomes settings, or every mistake in it is told."""

from pathlib import Path

import pytest

from loopmargin_service.http.settings import Settings, SettingsError, read


def test_an_empty_environment_gives_the_defaults() -> None:
    """Nothing needs to be set."""
    assert Settings() == read({"PATH": "/bin"})


def test_text_becomes_numbers() -> None:
    """A number in the environment is text and is read as its setting's type."""
    actual = read({"LOOPMARGIN_PORT": "0", "LOOPMARGIN_DRAIN_S": "2.5"})

    assert (actual.port, actual.drain_s) == (0, 2.5)


def test_every_mistake_is_told_at_once() -> None:
    """A range, a type and an unknown name come back together."""
    environment = {
        "LOOPMARGIN_PORT": "70000",
        "LOOPMARGIN_BODY_BYTES": "many",
        "LOOPMARGIN_STORE_BYTE": "1",
    }

    with pytest.raises(SettingsError) as caught:
        read(environment)

    assert caught.value.mistakes[:2] == [
        (
            "LOOPMARGIN_BODY_BYTES is 'many'; wanted: whole number, 1024 to 16777216. "
            "Longest question accepted."
        ),
        (
            "LOOPMARGIN_PORT is '70000'; wanted: whole number, 0 to 65535. "
            "Port to listen on; 0 takes a free one."
        ),
    ]
    assert caught.value.mistakes[2].startswith("LOOPMARGIN_STORE_BYTE is not a setting")


def test_a_mistake_shows_what_would_be_right() -> None:
    """The words of a list, or an example where a pattern is wanted; never the pattern itself."""
    with pytest.raises(SettingsError) as caught:
        read({"LOOPMARGIN_LOG_LEVEL": "loud", "LOOPMARGIN_REDIS_URL": "store"})

    level, url = caught.value.mistakes
    assert "wanted: debug or error or info or warning" in level
    assert url.startswith("LOOPMARGIN_REDIS_URL cannot be used; wanted: text")
    assert "such as redis://store:6379/0" in url


def test_the_variable_of_the_client_is_left_alone() -> None:
    """One shell may hold the settings of client and service."""
    assert Settings() == read({"LOOPMARGIN_BASE_URL": "http://127.0.0.1:1"})


def test_a_secret_may_come_from_a_file(tmp_path: Path) -> None:
    """A mounted secret ends with a line end that is not part of it."""
    secret = tmp_path / "url"
    secret.write_text("redis://:pass@127.0.0.1:6379/0\n")

    actual = read({"LOOPMARGIN_REDIS_URL_FILE": str(secret)})

    assert actual.redis_url == "redis://:pass@127.0.0.1:6379/0"


def test_a_secret_is_given_once(tmp_path: Path) -> None:
    """Two sources of one secret are a mistake."""
    (tmp_path / "url").write_text("redis://127.0.0.1")
    environment = {
        "LOOPMARGIN_REDIS_URL": "redis://127.0.0.1",
        "LOOPMARGIN_REDIS_URL_FILE": str(tmp_path / "url"),
    }

    with pytest.raises(SettingsError, match="both set; keep one"):
        read(environment)


def test_a_missing_secret_file_is_told(tmp_path: Path) -> None:
    """The variable is named, and what is wrong with its file."""
    with pytest.raises(SettingsError, match="names a file that cannot be read: No such file"):
        read({"LOOPMARGIN_REDIS_URL_FILE": str(tmp_path / "gone")})


@pytest.mark.parametrize("url", ["http://127.0.0.1", "redis://a b", "redis://a\n"])
def test_a_wrong_url_is_refused_without_being_shown(url: str) -> None:
    """A secret never stands in an error."""
    with pytest.raises(SettingsError) as caught:
        read({"LOOPMARGIN_REDIS_URL": url})

    assert url not in str(caught.value)


def test_secrets_are_hidden_when_shown() -> None:
    """The settings can be logged."""
    shown = Settings(redis_url="redis://:pass@127.0.0.1").shown()

    assert shown["redis_url"] == "(hidden)"
    assert shown["port"] == "8000"
    assert Settings().shown()["redis_url"] == ""


@pytest.mark.parametrize(
    "url",
    [
        "redis://store:6379/0?ssl=true",
        "redis://:s3cret/pw@store:6379/0",
        "redis://:s3cret@store:99999/0",
        "redis://:s3cret@store:6379/0?db=zz",
        "redis://:s3cret@store:6379/notadb",
        "redis://:s3cret@[::1/0",
    ],
)
def test_an_address_of_no_store_is_told_at_the_start_and_not_shown(url: str) -> None:
    """What the client could not use would fail question after question."""
    with pytest.raises(SettingsError) as caught:
        read({"LOOPMARGIN_REDIS_URL": url, "LOOPMARGIN_PORT": "x"})

    assert len(caught.value.mistakes) == 2
    assert "s3cret" not in str(caught.value)
    assert "LOOPMARGIN_REDIS_URL cannot be used" in str(caught.value)


@pytest.mark.parametrize(
    "url",
    ["redis://store", "rediss://:p%2Fw@store:6379/3?health_check_interval=5", "unix:///run/s"],
)
def test_an_address_of_a_store_is_taken(url: str) -> None:
    """With a database, without one, over TLS or a file."""
    assert read({"LOOPMARGIN_REDIS_URL": url}).redis_url == url
