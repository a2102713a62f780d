"""The folder for sweeps on several machines agrees with the service, the base and itself."""

from pathlib import Path
from typing import Any

import pytest
import yaml

from loopmargin_service.http.settings import read
from tests.unit.test_deploy import KUSTOMIZATION, RESOURCES

FOLDER = Path(__file__).parents[2] / "deploy/kubernetes/sweeps"
OVERLAY: dict[str, Any] = yaml.safe_load((FOLDER / "kustomization.yaml").read_text())
ADDED: dict[tuple[str, str], Any] = {
    (row["kind"], row["metadata"]["name"]): row
    for name in OVERLAY["resources"]
    if name.endswith(".yaml")
    for row in yaml.safe_load_all((FOLDER / name).read_text())
}
SCHEDULER, WORKER = "sweep-scheduler", "sweep-worker"


def pod(name: str) -> Any:  # noqa: ANN401 - YAML
    """Give the pod of a Deployment."""
    return ADDED["Deployment", name]["spec"]["template"]["spec"]


def port(name: str) -> int:
    """Give the one port of a pod."""
    (found,) = pod(name)["containers"][0]["ports"]
    number: int = found["containerPort"]
    return number


def test_every_manifest_is_in_the_folder() -> None:
    """The base with the same image, and no file that is forgotten."""
    files = {path.name for path in FOLDER.glob("*.yaml")} - {"kustomization.yaml"}

    assert set(OVERLAY["resources"]) == {"../base", *files}
    assert OVERLAY["images"] == KUSTOMIZATION["images"]
    assert {pod(name)["containers"][0]["image"] for name in (SCHEDULER, WORKER)} == {"loopmargin"}


def test_service_workers_and_scheduler_name_the_same_address() -> None:
    """The setting is understood, and leads to the Service of the scheduler."""
    (patch,) = OVERLAY["patches"]
    (change,) = yaml.safe_load(patch["patch"])
    variable = change["path"].removeprefix("/data/")
    base = RESOURCES["ConfigMap", "loopmargin"]["data"]
    address = read({**base, variable: change["value"]}).dask_scheduler
    service = ADDED["Service", SCHEDULER]["spec"]

    assert address == f"tcp://{SCHEDULER}:{service['ports'][0]['port']}"
    assert address in pod(WORKER)["containers"][0]["args"]
    assert service["ports"][0]["port"] == port(SCHEDULER)
    assert service["selector"] == pod_labels(SCHEDULER)


def pod_labels(name: str) -> Any:  # noqa: ANN401 - YAML
    """Give the labels of a pod."""
    return ADDED["Deployment", name]["spec"]["template"]["metadata"]["labels"]


@pytest.mark.parametrize("name", [SCHEDULER, WORKER])
def test_pods_may_do_no_more_than_those_of_the_base(name: str) -> None:
    """The same user, the same rights, no token, memory that is had."""
    base = RESOURCES["Deployment", "loopmargin"]["spec"]["template"]["spec"]
    container = pod(name)["containers"][0]

    for same in ("securityContext", "serviceAccountName", "automountServiceAccountToken"):
        assert pod(name)[same] == base[same]
    assert container["securityContext"] == base["containers"][0]["securityContext"]
    assert (
        container["resources"]["requests"]["memory"] == container["resources"]["limits"]["memory"]
    )


def test_only_the_service_and_the_workers_reach_the_scheduler() -> None:
    """Whoever does can have code run."""
    rules = {name: row["spec"] for (kind, name), row in ADDED.items() if kind == "NetworkPolicy"}
    (inward,) = rules["sweeps-to-scheduler"]["ingress"]
    (allowed,) = inward["from"]
    (matched,) = allowed["podSelector"]["matchExpressions"]
    leaving = rules["sweeps-leaving"]["egress"][0]["ports"]

    assert rules["sweeps-to-scheduler"]["podSelector"]["matchLabels"] == pod_labels(SCHEDULER)
    assert allowed.keys() == {"podSelector"}
    assert matched["values"] == ["loopmargin", WORKER]
    assert [row["port"] for row in inward["ports"]] == [port(SCHEDULER)]
    assert [row["port"] for row in leaving] == [port(SCHEDULER), port(WORKER)]


def test_a_worker_is_one_core_and_stays_on_its_port() -> None:
    """As much as it is given, and where the network policy expects it."""
    arguments = pod(WORKER)["containers"][0]["args"]

    assert {"--nworkers=1", "--nthreads=1", f"--worker-port={port(WORKER)}"} <= set(arguments)
