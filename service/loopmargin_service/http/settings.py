"""What the environment may set: `LOOPMARGIN_*` variables into one frozen record.

Every mistake is reported at once, and a variable with our prefix that means nothing
here is refused, because a misspelt limit would otherwise be a limit that is not there.
"""

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Annotated, Literal

import msgspec
from msgspec import Meta, Struct

from loopmargin_service.http.accepted import accepted
from loopmargin_service.http.caller import networks
from loopmargin_service.http.keys import read_keys

PREFIX = "LOOPMARGIN_"
SECRETS = frozenset({"redis_url"})
# The client reads these from the same shell; they say nothing to the service.
CLIENT_VARIABLES = frozenset({"base_url", "api_key"})


def _usable_store(url: str) -> None:
    """Look at the address of a shared store; its client is only then worth importing."""
    if url:
        from loopmargin_service.http.redis_link import require_usable  # noqa: PLC0415 - see above

        require_usable(url)


# What a type cannot say of a setting; each raises ValueError.
CHECKS: dict[str, Callable[[str], object]] = {
    "keys_file": lambda path: read_keys(Path(path)) if path else None,
    "trusted_proxies": networks,
    "redis_url": _usable_store,
}


class Settings(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one service process is told from outside."""

    host: Annotated[
        str, Meta(min_length=1, max_length=255, description="Address to listen on.")
    ] = "127.0.0.1"
    port: Annotated[
        int, Meta(ge=0, le=65535, description="Port to listen on; 0 takes a free one.")
    ] = 8000
    redis_url: Annotated[
        str,
        Meta(
            max_length=2000,
            pattern=r"^((redis|rediss|unix)://[^\s]+)?(?![\s\S])",
            description="Answer store shared with other replicas; empty for none.",
            examples=["redis://store:6379/0"],
        ),
    ] = ""
    redis_timeout_s: Annotated[
        float,
        Meta(ge=0.005, le=10.0, description="Longest wait for one call to the shared store."),
    ] = 0.04
    store_bytes: Annotated[
        int, Meta(ge=0, le=16 * 2**30, description="Memory for answers stored in this process.")
    ] = 64 * 2**20
    store_ttl_s: Annotated[
        int, Meta(ge=1, le=31_536_000, description="How long an answer stays stored.")
    ] = 86_400
    body_bytes: Annotated[
        int, Meta(ge=1024, le=16 * 2**20, description="Longest question accepted.")
    ] = 256 * 2**10
    log_level: Annotated[
        Literal["debug", "info", "warning", "error"],
        Meta(description="Least level that is logged; requests are `info`, mistakes `error`."),
    ] = "info"
    log_share: Annotated[
        float,
        Meta(ge=0.0, le=1.0, description="Share of requests logged; refusals always are."),
    ] = 1.0
    traces_endpoint: Annotated[
        str,
        Meta(
            max_length=2000,
            pattern=r"^(https?://[^\s@]+)?(?![\s\S])",
            description="Where traces are sent by OTLP over HTTP; empty for nowhere. "
            "Needs the extra `tracing`.",
            examples=["http://collector:4318/v1/traces"],
        ),
    ] = ""
    traces_share: Annotated[
        float,
        Meta(
            ge=0.0,
            le=1.0,
            description="Share of requests traced that come without a decision of their own.",
        ),
    ] = 0.05
    metrics_port: Annotated[
        int,
        Meta(
            ge=-1,
            le=65535,
            description="Port of /metrics, on the same address; 0 takes a free one, -1 is none.",
        ),
    ] = -1
    drain_s: Annotated[
        float,
        Meta(ge=0.0, le=300.0, description="Time served as not ready between SIGTERM and closing."),
    ] = 0.0
    deadline_s: Annotated[
        float,
        Meta(ge=0.1, le=3600.0, description="Longest time that an answer may take."),
    ] = 30.0
    stream_s: Annotated[
        float,
        Meta(ge=1.0, le=86_400.0, description="Longest time that a sweep may be sent as a stream."),
    ] = 900.0
    queue_s: Annotated[
        float,
        Meta(
            ge=0.0,
            le=3600.0,
            description="Longest estimated wait for a worker before a question is refused.",
        ),
    ] = 10.0
    worker_processes: Annotated[
        int,
        Meta(
            ge=-1,
            le=256,
            description="Processes for long calculations; -1 takes one for each core that may be "
            "used, 0 a thread of the process that listens.",
        ),
    ] = -1
    worker_bytes: Annotated[
        int,
        Meta(ge=2**28, le=2**40, description="Memory that one worker process may take."),
    ] = 2 * 2**30
    dask_scheduler: Annotated[
        str,
        Meta(
            max_length=2000,
            pattern=r"^((tcp|tls|ws|wss|ucx)://[^\s@]+)?(?![\s\S])",
            description="Dask scheduler whose workers solve large sweeps; empty for the worker "
            "processes here. Needs the extra `dask`.",
            examples=["tcp://scheduler:8786"],
        ),
    ] = ""
    keys_file: Annotated[
        str,
        Meta(max_length=4096, description="File of the keys that may ask; empty to ask for none."),
    ] = ""
    quota_units_per_min: Annotated[
        int,
        Meta(
            ge=1,
            le=600_000,
            description="Units of 10 ms of work that a caller may ask for in a minute, over all "
            "replicas. Counts for keys without a quota of their own.",
        ),
    ] = 6_000
    quota_burst_units: Annotated[
        int, Meta(ge=2, le=600_000, description="Units that a caller may ask for at once.")
    ] = 1_000
    quota_at_once: Annotated[
        int, Meta(ge=1, le=10_000, description="Requests of a caller open at once, in a replica.")
    ] = 32
    quota_by_address: Annotated[
        bool, Meta(description="Hold callers to a quota by their address, where there are no keys.")
    ] = False
    replicas: Annotated[
        int,
        Meta(
            ge=1,
            le=1_000,
            description="Replicas that share a quota; while they have no shared store each grants "
            "its part.",
        ),
    ] = 1
    connections: Annotated[
        int, Meta(ge=1, le=100_000, description="Connections open at once; more are turned away.")
    ] = 1_000
    patience_s: Annotated[
        float,
        Meta(
            ge=0.1,
            le=300.0,
            description="Time for the head of a request, and for a body before it must keep to its "
            "rate.",
        ),
    ] = 10.0
    body_bytes_per_s: Annotated[
        int, Meta(ge=1, le=2**20, description="Slowest rate at which a body may come.")
    ] = 1024
    trusted_proxies: Annotated[
        str,
        Meta(
            max_length=2000,
            description="Addresses or networks whose X-Forwarded-For is believed, by commas.",
        ),
    ] = ""
    origins: Annotated[
        str,
        Meta(
            max_length=2000,
            pattern=r"^(https?://[a-z0-9.:\[\]-]+(,https?://[a-z0-9.:\[\]-]+)*)?(?![\s\S])",
            description="Origins whose pages may ask from a browser, by commas; empty for none.",
            examples=["https://quotes.example"],
        ),
    ] = ""

    def shown(self) -> dict[str, str]:
        """Every setting as text, secrets hidden."""
        return {name: self._shown(name) for name in self.__struct_fields__}

    def _shown(self, name: str) -> str:
        value = getattr(self, name)
        return "(hidden)" if name in SECRETS and value else str(value)


_ABOUT = msgspec.json.schema(Settings)["$defs"]["Settings"]["properties"]


class SettingsError(ValueError):
    """The environment cannot be used; one sentence for each mistake."""

    def __init__(self, mistakes: list[str]) -> None:
        super().__init__("\n".join(mistakes))
        self.mistakes = mistakes


class CannotServeError(Exception):
    """The settings are well formed but ask for what cannot be had here; one sentence."""


def read(environment: Mapping[str, str]) -> Settings:
    """Turn the environment into settings, or say everything that is wrong with it."""
    given = dict(_ours(environment))
    mistakes = [mistake for name, value in given.items() for mistake in _mistakes(name, value)]
    mistakes += [
        f"{PREFIX}{name.upper()} and {PREFIX}{name.upper()}_FILE are both set; keep one."
        for name in SECRETS
        if name in given and f"{name}_file" in given
    ]
    if mistakes:
        raise SettingsError(mistakes)
    values = dict(_resolved(name, value) for name, value in given.items())
    return msgspec.convert(values, Settings, strict=False)


def _ours(environment: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    for variable, value in sorted(environment.items()):
        name = variable.removeprefix(PREFIX).lower()
        if variable.startswith(PREFIX) and name not in CLIENT_VARIABLES:
            yield name, value


def _mistakes(name: str, value: str) -> Iterator[str]:
    variable = f"{PREFIX}{name.upper()}"
    secret = name.removesuffix("_file") in SECRETS
    if name not in Settings.__struct_fields__ and not (secret and name.endswith("_file")):
        known = ", ".join(f"{PREFIX}{field.upper()}" for field in Settings.__struct_fields__)
        yield f"{variable} is not a setting of this service; the settings are {known}."
        return
    try:
        field, text = _resolved(name, value)
        msgspec.convert({field: text}, Settings, strict=False)
        CHECKS.get(field, str)(text)
    except OSError as error:
        yield f"{variable} names a file that cannot be read: {error.strerror}."
    except msgspec.ValidationError:
        said = " cannot be used" if secret else f" is {value!r}"
        wanted = accepted(_ABOUT[field]).replace("`", "")
        yield f"{variable}{said}; wanted: {wanted}. {_ABOUT[field]['description']}"
    except ValueError as error:
        said = " cannot be used" if secret else f" is {value!r}"
        yield f"{variable}{said}: {str(error).removesuffix('.')}."


def _resolved(name: str, value: str) -> tuple[str, str]:
    """Read a secret from the file that its `_FILE` variable names."""
    field = name.removesuffix("_file")
    if field != name and field in SECRETS:
        return field, Path(value).read_text(encoding="utf-8").strip()
    return name, value
