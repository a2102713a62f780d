"""The client needs httpx, msgspec and what those need; nothing of the server."""

import json
import re
import subprocess
import sys
from importlib.metadata import PackageNotFoundError, requires
from pathlib import Path

import loopmargin

ROOT = Path(__file__).parents[3]

# Run in a fresh interpreter: everything but the allowed packages cannot be imported.
ONLY = """
import sys

class Only:
    def find_spec(self, name, path=None, target=None):
        top = name.partition(".")[0]
        if top not in ALLOWED and top not in sys.stdlib_module_names:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)

ALLOWED = set(sys.argv[1].split(","))
sys.path[:0] = ["sdk"]
sys.meta_path.insert(0, Only())
"""
ASK = """
import asyncio, httpx, loopmargin, msgspec
from loopmargin_wire.radiator_area import RadiatorAreaQuestion

path = "openapi/examples/radiator-area.question.json"
question = msgspec.json.decode(open(path).read(), type=RadiatorAreaQuestion)

def refuse(request):
    return httpx.Response(422, json={}, headers={"content-type": "application/problem+json"})

async def ask():
    async with loopmargin.AsyncClient("http://127.0.0.1:9") as client:
        await client.with_options(max_retries=0).radiator_area(question)

for attempt in (
    lambda: loopmargin.Client(http_client=httpx.Client(transport=httpx.MockTransport(refuse))),
    lambda: loopmargin.Client("http://127.0.0.1:9", max_retries=0),
):
    try:
        attempt().radiator_area(question)
    except loopmargin.LoopmarginError as error:
        print(type(error).__name__)
try:
    asyncio.run(ask())
except loopmargin.NoAnswer as error:
    print(type(error).__name__)
"""


def needed(distribution: str) -> set[str]:
    """Distributions that one needs, and those that these need, extras left out."""
    try:
        lines = requires(distribution) or []
    except PackageNotFoundError:
        # Needed by another version of Python only.
        return set()
    names = {re.split(r"[^A-Za-z0-9_-]", line)[0] for line in lines if "extra ==" not in line}
    return {distribution}.union(*(needed(name) for name in names))


def python(program: str, *arguments: str) -> str:
    """Run a program in a fresh interpreter in the project's root."""
    done = subprocess.run(  # noqa: S603 - our own program
        [sys.executable, "-c", program, *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout


def allowed() -> str:
    """List the packages of the base install for the command line."""
    ours = {"loopmargin", "loopmargin_wire"}
    return ",".join(sorted(ours | needed("httpx") | needed("msgspec")))


def test_client_works_with_httpx_and_msgspec_alone() -> None:
    """Import, refusal and lost connection need no other package, in both clients."""
    said = python(ONLY + ASK, allowed())

    assert said.split() == ["InvalidQuestion", "NoAnswer", "NoAnswer"]


def test_ban_on_other_packages_works() -> None:
    """The interpreter of the test above really refuses what is not allowed."""
    program = (
        "try:\n    import numpy\nexcept ModuleNotFoundError as error:\n    print(error.name)\n"
    )

    assert python(ONLY + program, allowed()).strip() == "numpy"


def test_import_loads_no_numpy_and_nothing_of_the_server() -> None:
    """With everything installed, importing the client still leaves it alone."""
    heavy = "numpy scipy litestar redis loopmargin_service uvicorn"
    program = f"import sys, loopmargin; print(sorted(set({heavy.split()!r}) & set(sys.modules)))"

    assert python(program).strip() == "[]"


def test_public_names_are_these() -> None:
    """What is exported is a promise; a change here belongs into the changelog."""
    expected = [
        "NOISE",
        "PUMP_HEAD",
        "RADIATOR_AREA",
        "SOLVE_FOR",
        "STEADY_STATE",
        "SUPPLY_HEADROOM",
        "SWEEP",
        "WARM_UP",
        "AsyncClient",
        "Client",
        "Clock",
        "HeadTooLong",
        "InvalidQuestion",
        "KeyRefused",
        "LoopmarginError",
        "NoAnswer",
        "NotUnderstood",
        "OverQuota",
        "Refused",
        "Reply",
        "RetryBudget",
        "Route",
        "TimedOut",
        "TooSlow",
        "Unavailable",
        "__version__",
        "margins_table",
    ]

    assert expected == loopmargin.__all__
    assert all(hasattr(loopmargin, name) for name in expected)


def test_clients_have_the_same_methods() -> None:
    """What one client can be asked the other can be asked; only closing is spelled apart."""
    blocking, asynchronous = (
        {name for name in vars(client) if not name.startswith("_")}
        for client in (loopmargin.Client, loopmargin.AsyncClient)
    )

    assert blocking - {"close"} == asynchronous - {"aclose"}


def test_every_route_has_its_method() -> None:
    """Every published question has a route, and what can be asked by route has a method."""
    paths = json.loads((ROOT / "openapi" / "openapi.json").read_bytes())["paths"]
    routes = [value for value in vars(loopmargin).values() if isinstance(value, loopmargin.Route)]

    assert {f"/v1/{route.name}" for route in routes} == {
        path for path, operations in paths.items() if "post" in operations
    }
    for route in routes:
        assert hasattr(loopmargin.Client, route.name.replace("-", "_"))


def test_package_carries_its_types() -> None:
    """Type checkers of callers read our annotations."""
    package = Path(loopmargin.__file__).parent

    assert (package / "py.typed").exists()
